"""Draws what checks find: for some of them a spread that fails, at the opening where it shows.

Run by `python3 build.py pictures`, which puts the core on the path. The pieces that are found are colored; all is
drawn from the exact poses, as in the booklet of assembly.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import shapely
from shapely import Polygon

from geometry import Spread, assemble, read_description
from geometry.booklet.hidden import Camera, lifts, see
from geometry.booklet.states import standing
from geometry.checks import CHECKS
from geometry.files import write_file
from geometry.tolerances import SLIVER_MM2

HERE = Path(__file__).resolve().parent
#: Spreads that fail on purpose; no scenes, which all pass.
FAULTY = HERE.parent / "tests" / "geometry" / "corpus" / "shown"

#: The code of each check that has a picture: its spread in FAULTY, the opening that is drawn and from where it is seen
#: (to the right of the reader, above the table), all in degrees.
PICTURES: Mapping[str, tuple[float, float, float]] = {
    "closes-flat": (34.0, -12.0, 24.0),
    "opens-fully": (99.7, -20.0, 35.0),
    "stays-inside": (4.0, 60.0, 15.0),
    "collides": (145.0, -25.0, 35.0),
    "glue": (150.0, -25.0, 35.0),
}
_SPACE = "http://www.w3.org/2000/svg"
_EDGE_MM, _PIXELS_A_MM = 3.0, 1.6
#: Front and back of what is found, and of the rest.
_FOUND, _OTHER = ("#f2a08a", "#d9795f"), ("#f9f7f2", "#d4d4d4")
_LINE = {"stroke": "#202020", "stroke-width": "0.5", "stroke-linejoin": "round"}


def spread_of(code: str) -> Spread:
    """The spread that fails a check."""
    return assemble(read_description(FAULTY / f"{code}.toml"))


def found_in(spread: Spread, code: str) -> set[str]:
    """The panels of all pieces that a check names, but for the pages, which are always there."""
    named = [name for finding in CHECKS[code](spread) for name in (finding.panel, finding.other) if name]
    return {name for panel in named for name in spread.piece(spread.panels[panel].piece).panels} - {
        "page.left",
        "page.right",
    }


def picture(code: str) -> bytes:
    """What the check of that code finds, as SVG on white."""
    spread = spread_of(code)
    opening, azimuth, elevation = (float(np.radians(degrees)) for degrees in PICTURES[code])
    matrices = standing(spread, opening)
    outlines = {name: spread.panels[name].outline for name in matrices}
    seen = see(outlines, matrices, Camera(azimuth, elevation), lifts(spread, matrices))
    left, low, right, high = shapely.total_bounds([each.visible for each in seen])
    width, height = right - left + 2 * _EDGE_MM, high - low + 2 * _EDGE_MM
    size = {"width": f"{_PIXELS_A_MM * width:.0f}", "height": f"{_PIXELS_A_MM * height:.0f}"}
    root = ET.Element("svg", {"xmlns": _SPACE, **size, "viewBox": f"0 0 {width:.2f} {height:.2f}"})
    ET.SubElement(root, "title").text = f"{code}: {spread.title}, open by {PICTURES[code][0]:g} degrees"
    ET.SubElement(root, "rect", {"width": "100%", "height": "100%", "fill": "#ffffff"})
    found, corner = found_in(spread, code), np.array([left - _EDGE_MM, high + _EDGE_MM])
    for each in seen:
        fill = (_FOUND if each.panel in found else _OTHER)[0 if each.front else 1]
        for part in shapely.get_parts(each.visible):
            if isinstance(part, Polygon) and part.area > SLIVER_MM2:
                rings = [
                    (shapely.get_coordinates(ring) - corner) * [1, -1] for ring in (part.exterior, *part.interiors)
                ]
                line = " ".join("M" + " ".join(f"{x:.2f} {y:.2f}" for x, y in ring[:-1]) + "Z" for ring in rings)
                ET.SubElement(root, "path", {"d": line, "fill": fill, "fill-rule": "evenodd", **_LINE})
    ET.indent(root)
    return b'<?xml version="1.0" encoding="UTF-8"?>\n' + ET.tostring(root) + b"\n"


def main() -> None:
    """Draw every picture."""
    for number, code in enumerate(PICTURES, start=1):
        write_file(HERE / "pictures" / f"check-{code}.svg", picture(code))
        print(f"PROGRESS {number} {len(PICTURES)} check-{code}", flush=True)


if __name__ == "__main__":
    main()
