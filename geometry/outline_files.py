"""Outlines from SVG files: every visible shape as a line of straight and curved parts, in millimetres, y upwards.

A file from anywhere is read as data alone: nothing that it refers to is fetched, and one that would grow without bound
is refused.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np
import svgelements

from .design.strokes import Stroke, stroke_from_path, value_of
from .errors import FileError, HingeleafError
from .outline_bounds import check_bounds

__all__ = ["PathOutline", "read_outlines"]

_MM_PER_PX = 25.4 / 96.0
_LARGEST_BYTES = 20_000_000
_MOST_ELEMENTS = 50_000
_MOST_POINTS = 20_000
_DEEPEST = 100
_LIMIT_MM = 10_000.0
#: Points nearer than this, mm, close a line.
_SAME_MM = 1e-3
_SVG = "{http://www.w3.org/2000/svg}"
#: What is never drawn itself, or is no shape; a symbol is drawn where it is used.
_NOT_DRAWN = {"clipPath", "mask", "marker", "pattern", "text", "image", "script", "foreignObject", "metadata"}
_NAMES = ("{http://www.inkscape.org/namespaces/inkscape}label", "id")
_READING = (
    ValueError,
    IndexError,
    KeyError,
    TypeError,
    AttributeError,
    ZeroDivisionError,
    OverflowError,
    RecursionError,
)


@dataclass(frozen=True)
class PathOutline:
    """One line of a file; a shape of several strokes gives several.

    Parameters
    ----------
    number : counted from 1, in the order in which they are drawn
    name : of the shape in the file, "" where it has none
    stroke : mm, x to the right and y up from the lower left corner of the drawing
    """

    number: int
    name: str
    stroke: Stroke

    @property
    def closed(self) -> bool:
        """Whether it is an outline, not an open line."""
        return self.stroke.closed

    @property
    def data(self) -> str | list[list[float]]:
        """As a description says it: points or path data."""
        return value_of(self.stroke)

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height of the box about its points, mm."""
        width, height = np.ptp(self.stroke.points, axis=0)
        return float(width), float(height)

    def __str__(self) -> str:
        width, height = self.size_mm
        name = f" {self.name}" if self.name else ""
        return f"{self.number}{name} ({'closed' if self.closed else 'open'}, {width:.1f} x {height:.1f} mm)"


def read_outlines(path: str | Path) -> tuple[PathOutline, ...]:
    """Every visible shape of an SVG file.

    Parameters
    ----------
    path : an SVG file; its units, viewBox and transforms count, a pixel is 1/96 inch

    Returns
    -------
    tuple of PathOutline, at least one

    Raises
    ------
    FileError
        The file cannot be read, is no SVG, holds no shape, or is too large.
    """
    file = Path(path)
    root = _parsed(file, _text(file))
    shapes = _measured(file, root)
    _clear(root)
    try:
        check_bounds(root, shapes)
    except HingeleafError as error:
        raise FileError(f"{file.name}: {error}") from None
    except RecursionError:
        raise FileError(f"{file.name}: is nested too deeply") from None
    try:
        width, height = _viewport(root)
        drawing = svgelements.SVG.parse(
            io.BytesIO(ElementTree.tostring(root, encoding="utf-8")), reify=False, ppi=96.0, width=width, height=height
        )
        top = float(drawing.height)
        strokes = [(name, stroke) for name, shape in _shapes(drawing) for stroke in _strokes(shape, top)]
    except HingeleafError as error:
        raise FileError(f"{file.name}: a shape {error}") from None
    except _READING as error:
        raise FileError(f"{file.name}: has a shape that cannot be read ({error})") from None
    if not strokes:
        raise FileError(f"{file.name}: has no shape; draw a path, a line, a circle or the like (turn text into paths)")
    if sum(len(stroke.points) for _, stroke in strokes) > _MOST_POINTS:
        raise FileError(f"{file.name}: has more than {_MOST_POINTS} points; simplify the paths")
    return tuple(PathOutline(number, name, stroke) for number, (name, stroke) in enumerate(strokes, start=1))


def _text(file: Path) -> bytes:
    try:
        if file.stat().st_size > _LARGEST_BYTES:
            raise FileError(f"{file.name}: is larger than {_LARGEST_BYTES // 1_000_000} MB; save the outlines alone")
        return file.read_bytes()
    except OSError as error:
        raise FileError(f"{file}: cannot be read ({error.strerror or error})") from None


def _parsed(file: Path, text: bytes) -> ElementTree.Element:
    """The file as a tree. The parser fetches nothing, and limits by itself how far entities may grow."""
    try:
        root = ElementTree.fromstring(text)
    except (ElementTree.ParseError, ValueError, LookupError) as error:
        raise FileError(f"{file.name}: is no SVG file ({error})") from None
    if root.tag.removeprefix(_SVG) != "svg":
        raise FileError(f"{file.name}: is no SVG file; it begins with {root.tag[:40]}")
    return root


def _measured(file: Path, root: ElementTree.Element) -> int:
    """How many shapes there are, each as often as it is used; refuses what would grow without bound."""
    named = {element.get("id"): element for element in root.iter()}
    known: dict[ElementTree.Element, int] = {}

    def count(element: ElementTree.Element, depth: int) -> int:
        if depth > _DEEPEST:
            raise FileError(f"{file.name}: is nested too deeply, or a shape uses itself")
        if element not in known:
            total = 1 + sum(count(child, depth + 1) for child in element)
            target = named.get(_used(element)) if _used(element) else None
            known[element] = total + (count(target, depth + 1) if target is not None else 0)
        return known[element]

    shapes = count(root, 0)
    if shapes > _MOST_ELEMENTS:
        raise FileError(f"{file.name}: has more than {_MOST_ELEMENTS} shapes; save the outlines alone")
    return shapes


def _used(element: ElementTree.Element) -> str:
    """The id of what an element uses, "" for none."""
    if element.tag.removeprefix(_SVG) != "use":
        return ""
    link = element.get("href") or element.get("{http://www.w3.org/1999/xlink}href") or ""
    return link[1:] if link.startswith("#") else ""


def _clear(root: ElementTree.Element) -> None:
    """Take out what is never drawn, and put symbols where they are drawn only if used."""
    for parent in list(root.iter()):
        for child in list(parent):
            name = child.tag.removeprefix(_SVG) if isinstance(child.tag, str) else ""
            if not name or name in _NOT_DRAWN:
                parent.remove(child)
            elif name == "symbol" and parent.tag != f"{_SVG}defs":
                parent[list(parent).index(child)] = defs = ElementTree.Element(f"{_SVG}defs")
                defs.append(child)


def _viewport(root: ElementTree.Element) -> tuple[float, float]:
    """Width and height where the file gives none, pixels: those of its viewBox, so that a unit is a pixel."""
    numbers = re.split(r"[\s,]+", root.get("viewBox", "").strip())
    if len(numbers) != 4:
        return 1000.0, 1000.0
    return float(numbers[2]), float(numbers[3])


def _shapes(drawing: Any) -> Iterator[tuple[str, Any]]:
    """Every visible shape, with its name."""
    for element in drawing.elements():
        if not isinstance(element, svgelements.Shape):
            continue
        values = element.values
        if str(values.get("visibility", "visible")) in ("hidden", "collapse"):
            continue
        attributes = values.get("attributes", {})
        name = next((str(attributes[key]) for key in _NAMES if attributes.get(key)), "")
        yield name, element


def _strokes(shape: Any, top_px: float) -> Iterator[Stroke]:
    """The strokes of a shape, mm, y up."""
    turn = shape.transform
    # Made into cubic curves first, and only then moved: an arc that is skewed is no arc that svgelements knows.
    moved = np.array([[turn.a, turn.c, turn.e], [turn.b, turn.d, turn.f], [0.0, 0.0, 1.0]])
    upward = np.array([[_MM_PER_PX, 0.0, 0.0], [0.0, -_MM_PER_PX, top_px * _MM_PER_PX], [0.0, 0.0, 1.0]])
    frame = upward @ moved
    for part in svgelements.Path(*shape.segments(transformed=False)).as_subpaths():
        drawn = stroke_from_path(part)
        if not len(drawn.points):
            continue
        if not np.isfinite([drawn.points, drawn.before, drawn.after]).all():
            raise HingeleafError("has a point that is not a number")
        stroke = drawn.moved(frame)
        if np.abs(stroke.points).max() > _LIMIT_MM:
            raise HingeleafError("lies more than 10 m away")
        if np.ptp(np.concatenate([stroke.points, stroke.before, stroke.after]), axis=0).max() > _SAME_MM:
            yield _closed_where_it_meets(stroke)


def _closed_where_it_meets(stroke: Stroke) -> Stroke:
    """A line whose end is drawn onto its beginning is closed, whether or not its file says so."""
    if stroke.closed or len(stroke.points) < 3 or np.hypot(*(stroke.points[0] - stroke.points[-1])) > _SAME_MM:
        return stroke
    before = stroke.before.copy()
    before[0] = before[-1]
    return replace(stroke, points=stroke.points[:-1], before=before[:-1], after=stroke.after[:-1], closed=True)
