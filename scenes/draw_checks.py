"""Draws what checks find: for each a spread that fails, at the opening or on the net where it shows.

Run by `python3 build.py pictures`, which puts the core on the path. What is found is colored; all is drawn from the
exact poses, as in the booklet of assembly, and from the nets.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import shapely
from shapely import Polygon
from shapely.affinity import translate

from geometry import Spread, assemble, read_description
from geometry.binding import Binding, check_binding, read_bound
from geometry.checks import CHECKS, Finding
from geometry.files import write_file
from scenes.book_views import Leaf, Turned
from scenes.check_views import Closed, Form, Lying, Painted, Standing, View

HERE = Path(__file__).resolve().parent
#: Spreads that fail on purpose; no scenes, which all pass.
FAULTY = HERE.parent / "tests" / "geometry" / "corpus" / "shown"

#: What the picture of each check shows, from left to right; its spread is the file in FAULTY that bears its code.
PICTURES: Mapping[str, tuple[View, ...]] = {
    "closes-flat": (Standing(34.0, -12.0, 24.0),),
    "opens-fully": (Standing(99.7, -20.0, 35.0),),
    "stays-inside": (Standing(4.0, 60.0, 15.0),),
    "collides": (Standing(145.0, -25.0, 35.0),),
    "through-host": (Standing(110.0, -20.0, 35.0, colored=("sun",)),),
    "order": (
        Standing(1.0, 90.0, 0.0, without=("page.left", "roof.left", "roof.left.tab", "roof.right.tab"), through=True),
    ),
    "dead-point": (Standing(120.0, -10.0, 8.0), Standing(180.0, -10.0, 8.0)),
    "snaps": (Standing(172.0, -20.0, 25.0), Standing(180.0, -20.0, 25.0)),
    "free-motion": (
        Standing(100.0, -12.0, 14.0, guess=(40.0, 90.0, 60.0)),
        Standing(100.0, -12.0, 14.0, guess=(85.0, 60.0, 80.0)),
    ),
    "crease-crosses-cut": (Lying("page", (-50.0, 25.0, 50.0, 115.0)),),
    "crease-ends-loose": (Lying("page", (-50.0, 30.0, 50.0, 110.0)),),
    "cut-ends-loose": (Lying("leaf"),),
    "strength": (Lying("page", (-45.0, 0.0, 45.0, 90.0)), Lying("wall")),
    "glue": (Standing(150.0, -25.0, 35.0),),
    "bulk": (Standing(80.0, -20.0, 20.0, colored=("barn", "house", "hut")), Closed()),
    "pull-strip": (
        Standing(180.0, -15.0, 45.0, {"pull": 0.0}, without=("page.left",)),
        Standing(180.0, -15.0, 45.0, {"pull": 36.0}, without=("page.left",)),
    ),
    "hand-locks": (
        Standing(180.0, -20.0, 30.0, {"pull": 12.0}, without=("page.left",)),
        Standing(180.0, -20.0, 30.0, {"pull": 29.9}, without=("page.left",)),
    ),
    "wheel": (Standing(180.0, 0.0, 90.0, without=("page.left",), through=True),),
    "hand-collides": (Standing(180.0, 20.0, 30.0, {"door": 155.0}),),
    "hands-collide": (Standing(180.0, 20.0, 30.0, {"west": 152.3, "east": 152.3}, without=("page.left",)),),
    "solid-stands": (Standing(150.0, -20.0, 30.0), Standing(47.1, -20.0, 30.0)),
    "solid-collides": (Standing(180.0, -35.0, 30.0, colored=("wall",)),),
    "solid-mesh": (Standing(180.0, 35.0, 25.0, without=("page.left",), colored=("tower.f10",)),),
    "artwork": (Painted("moon", (72, 54)), Painted("moon")),
}
#: The same of a bound book, whose file names its spreads.
BOOK_PICTURES: Mapping[str, tuple[Turned | Leaf, ...]] = {
    "leaf-collides": (Turned((150.0, 80.0, 0.0), -30.0, 20.0),),
    "leaf-glue": (Leaf(1),),
}
_SPACE = "http://www.w3.org/2000/svg"
_EDGE_MM, _APART_MM = 3.0, 8.0
#: As large as that, but small pictures no narrower and large ones no wider than these.
_PIXELS_A_MM, _LEAST_PIXELS, _MOST_PIXELS = 1.6, 240.0, 460.0


def spread_of(code: str) -> Spread:
    """The spread that fails a check."""
    spread = assemble(read_description(FAULTY / f"{code}.toml"))
    return creased_in_mid_card(spread) if code == "crease-ends-loose" else spread


def book_of(code: str) -> Binding:
    """The bound book that fails a check."""
    return read_bound(FAULTY / f"{code}.toml")


def creased_in_mid_card(spread: Spread) -> Spread:
    """A spread whose step has its left crease beside its place: no description leads to such a net."""
    aside = np.array([[-30.0, 45.0], [-12.0, 80.0]])
    hinges = tuple(
        replace(hinge, lines=np.array([aside, aside])) if hinge.id == "step.left" else hinge for hinge in spread.hinges
    )
    return replace(spread, hinges=hinges)


def found_by(spread: Spread, code: str) -> Sequence[Finding]:
    """What that check finds, whatever other checks find besides."""
    return [finding for finding in CHECKS[code](spread) if finding.code == code]


def arranged(views: Sequence[Sequence[Form]]) -> list[Form]:
    """Views beside each other, their lower edges in line, the first one's left end at 0."""
    placed: list[Form] = []
    x = 0.0
    for forms in views:
        left, low, right, _ = shapely.total_bounds([form.shape for form in forms])
        placed += [replace(form, shape=translate(form.shape, x - left, -low)) for form in forms]
        x += right - left + _APART_MM
    return placed


def picture(code: str) -> bytes:
    """What the check of that code finds, as SVG on white."""
    if code in BOOK_PICTURES:
        book = book_of(code)
        wrong = [finding for finding in check_binding(book) if finding.code == code]
        return _drawn(f"{code}: {book.title}", [view.forms(book, wrong) for view in BOOK_PICTURES[code]])
    spread = spread_of(code)
    findings = found_by(spread, code)
    return _drawn(f"{code}: {spread.title}", [view.forms(spread, findings) for view in PICTURES[code]])


def _drawn(title: str, views: Sequence[Sequence[Form]]) -> bytes:
    """Views beside each other, as SVG on white."""
    forms = arranged(views)
    left, low, right, high = shapely.total_bounds([form.shape for form in forms])
    width, height = right - left + 2 * _EDGE_MM, high - low + 2 * _EDGE_MM
    scale = min(max(_PIXELS_A_MM, _LEAST_PIXELS / width), _MOST_PIXELS / width)
    size = {"width": f"{scale * width:.0f}", "height": f"{scale * height:.0f}"}
    root = ET.Element("svg", {"xmlns": _SPACE, **size, "viewBox": f"0 0 {width:.2f} {height:.2f}"})
    ET.SubElement(root, "title").text = title
    ET.SubElement(root, "rect", {"width": "100%", "height": "100%", "fill": "#ffffff"})
    for form in forms:
        _add(root, form, np.array([left - _EDGE_MM, high + _EDGE_MM]))
    ET.indent(root)
    return b'<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(root) + b"\n"


def _add(root: ET.Element, form: Form, corner: np.ndarray) -> None:
    """A form into the picture, whose upper left corner is given, mm."""
    if form.picture:
        left, low, right, high = form.shape.bounds
        place = {"x": left - corner[0], "y": corner[1] - high, "width": right - left, "height": high - low}
        attributes = {name: f"{value:.2f}" for name, value in place.items()}
        look = {"preserveAspectRatio": "none", "style": "image-rendering: pixelated", "href": form.picture}
        ET.SubElement(root, "image", attributes | look)
        return
    is_area = isinstance(form.shape, Polygon)
    rings = (form.shape.exterior, *form.shape.interiors) if isinstance(form.shape, Polygon) else (form.shape,)
    lines = [(shapely.get_coordinates(ring) - corner) * [1, -1] for ring in rings]
    end = "Z" if is_area else ""
    path = " ".join(
        "M" + " ".join(f"{x:.2f} {y:.2f}" for x, y in (line[:-1] if is_area else line)) + end for line in lines
    )
    ET.SubElement(root, "path", {"d": path, **form.style})


def main() -> None:
    """Draw every picture."""
    codes = [*PICTURES, *BOOK_PICTURES]
    for number, code in enumerate(codes, start=1):
        write_file(HERE / "pictures" / f"check-{code}.svg", picture(code))
        print(f"PROGRESS {number} {len(codes)} check-{code}", flush=True)


if __name__ == "__main__":
    main()
