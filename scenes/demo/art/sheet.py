"""A sheet of artwork: flat shapes in flat inks, laid one over the other, written as SVG and as a picture."""

from __future__ import annotations

import io
import os
import re
from pathlib import Path

import numpy as np
import pymupdf
import shapely
from numpy.typing import NDArray
from PIL import Image
from shapely.geometry.base import BaseGeometry

__all__ = ["Box", "Sheet", "moved", "write_picture", "write_svg"]

Box = tuple[float, float, float, float]

#: Unit of the written coordinates, and how far a written line may be from the drawn one, mm.
_UNIT_MM = 0.01
_SIMPLIFY_MM = 0.05
#: Colours that a picture keeps for an ink beside itself: how it mixes with others at soft edges.
_MIXES_AN_INK = 4
_INCH_MM = 25.4


class Sheet:
    """Layers of one ink each, lowest first, in the net coordinates of a piece.

    Attributes
    ----------
    box : (left, low, right, high) float, mm; the art box that the sheet fills
    layers : ink and shape of every layer
    """

    def __init__(self, box: Box, ground: str) -> None:
        self.box = box
        self.layers: list[tuple[str, BaseGeometry]] = []
        self.lay(self.area, ground)

    @property
    def area(self) -> BaseGeometry:
        """The whole sheet as a polygon."""
        return shapely.box(*self.box)

    def lay(self, shape: BaseGeometry, ink: str, *, within: BaseGeometry | None = None) -> None:
        """Print a shape over what is there, cut to the sheet and, if given, to a region."""
        for region in (within, self.area):
            if region is not None and not region.contains(shape):
                shape = shapely.intersection(shape, region)
        if not shape.is_empty:
            self.layers.append((ink, shape))

    def paste(self, other: Sheet, matrix: NDArray[np.float64], within: BaseGeometry) -> None:
        """Print what another sheet shows, so that a piece continues what it is glued on.

        Parameters
        ----------
        other : the other sheet
        matrix : (4, 4) float; the other sheet's net coordinates to this one's
        within : region of this sheet that is printed
        """
        there = moved(within, np.linalg.inv(matrix))
        for ink, shape in other.layers:
            piece = shapely.intersection(shape, there)
            if not piece.is_empty:
                self.lay(moved(piece, matrix), ink, within=within)


def moved(shape: BaseGeometry, matrix: NDArray[np.float64]) -> BaseGeometry:
    """A shape carried by a transform of the plane, (4, 4) float."""
    return shapely.transform(shape, lambda points: points @ matrix[:2, :2].T + matrix[:2, 3])


def write_svg(sheet: Sheet, path: Path) -> str:
    """Write a sheet as SVG, in millimetres, y downwards; returns its text."""
    left, low, right, high = sheet.box
    width, height = right - left, high - low
    head = f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:.3f}mm" height="{height:.3f}mm"'
    lines = [f'{head} viewBox="{left:.3f} {-high:.3f} {width:.3f} {height:.3f}">', f'<g transform="scale({_UNIT_MM})">']
    for ink, shape in sheet.layers:
        parts = shapely.get_parts(shapely.get_parts(shape))
        data = "".join(_path(part) for part in parts if part.geom_type == "Polygon")
        if data:
            lines.append(f'<path fill="{ink}" fill-rule="evenodd" d="{data}"/>')
    text = "\n".join([*lines, "</g>", "</svg>", ""])
    _replace(path, text.encode())
    return text


def write_picture(svg: str, path: Path, box: Box, *, dots_per_inch: int) -> None:
    """Write an SVG as PNG: sRGB, a palette of its own inks, true size in its header."""
    size = [max(1, round(length / _INCH_MM * dots_per_inch)) for length in (box[2] - box[0], box[3] - box[1])]
    with pymupdf.open(stream=svg.encode(), filetype="svg") as document:
        page = document[0]
        whole = pymupdf.Matrix(size[0] / page.rect.width, size[1] / page.rect.height)
        pixels = page.get_pixmap(matrix=whole, alpha=False)
    picture = Image.frombytes("RGB", (pixels.width, pixels.height), pixels.samples).crop((0, 0, *size))
    small = _reduced(picture, svg)
    buffer = io.BytesIO()
    small.save(buffer, "PNG", optimize=True, dpi=(dots_per_inch, dots_per_inch))
    _replace(path, buffer.getvalue())


def _reduced(picture: Image.Image, svg: str) -> Image.Image:
    """A picture with a palette: its inks, exactly, and the colours they mix to at soft edges."""
    names = sorted(set(re.findall('fill="#([0-9a-f]{6})"', svg)))
    inks = np.frombuffer(bytes.fromhex("".join(names)), dtype=np.uint8).reshape(-1, 3)
    colors, places = np.unique(np.asarray(picture).reshape(-1, 3), axis=0, return_inverse=True)
    mixed = np.asarray(picture).reshape(-1, 3)[~(colors[:, None] == inks).all(axis=2).any(axis=1)[places.ravel()]]
    count = min(256 - len(inks), _MIXES_AN_INK * len(inks))
    edges = Image.fromarray(mixed[None]).quantize(count, method=Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE)
    palette = np.vstack([inks, np.array(edges.getpalette()).reshape(-1, 3)[:count]]).astype(int)
    nearest = np.array([np.argmin(((palette - color) ** 2).sum(axis=1)) for color in colors.astype(int)])
    result = Image.fromarray(nearest[places].reshape(picture.height, picture.width).astype(np.uint8), "P")
    result.putpalette(palette.ravel().tolist())
    return result


def _path(polygon: shapely.Polygon) -> str:
    """Path data of one polygon with its holes, y turned downwards."""
    rings = [polygon.exterior, *polygon.interiors]
    return "".join(_ring(shapely.simplify(ring, _SIMPLIFY_MM)) for ring in rings)


def _ring(ring: shapely.LinearRing) -> str:
    """A closed subpath in relative steps of whole units."""
    points = np.round(np.asarray(ring.coords)[:-1] * [1.0, -1.0] / _UNIT_MM).astype(int)
    steps = np.vstack([points[:1], np.diff(points, axis=0)])
    steps = steps[np.any(steps != 0, axis=1) | (np.arange(len(steps)) == 0)]
    if len(steps) < 3:
        return ""
    words = "".join(f"{x:+d}{y:+d}" for x, y in steps[1:].tolist()).replace("+", " ")
    return f"M{steps[0, 0]} {steps[0, 1]}l{words.lstrip()}z"


def _replace(path: Path, data: bytes) -> None:
    """Write a whole file or none."""
    beside = path.with_suffix(path.suffix + ".part")
    beside.write_bytes(data)
    os.replace(beside, path)
