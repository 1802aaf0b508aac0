"""The sheet of a bulk map as SVG: millimetres, one path a region, texts that can be searched."""

from __future__ import annotations

import shapely

from ..nets.classes import STYLES
from ..nets.svg import child, number, path_data, svg_bytes, svg_root, text_element
from .drawing import BulkSheet
from .patches import BORDER, REGION, RING
from .tints import Color

__all__ = ["bulk_svg"]

_GROUPS = {REGION: "region", BORDER: "border", RING: "worst"}


def bulk_svg(sheet: BulkSheet) -> bytes:
    """Write the sheet.

    Parameters
    ----------
    sheet : BulkSheet

    Returns
    -------
    bytes, UTF-8
    """
    root = svg_root(f"{sheet.title}, bulk map", sheet.width_mm, sheet.height_mm)
    groups = {level: child(root, "g", {"data-class": name}) for level, name in _GROUPS.items()}
    for patch in sheet.patches:
        rings = [ring for part in patch.parts for ring in (part.exterior, *part.interiors)]
        points = [shapely.get_coordinates(ring)[:-1] for ring in rings]
        data = " ".join(path_data(each, True, sheet.height_mm) for each in points)
        path = child(groups[patch.level], "path", {"d": data, "fill": _hex(patch.color), "fill-rule": "evenodd"})
        if patch.region is not None:
            path.set("data-layers", str(patch.region.layers))
            path.set("data-thickness-mm", number(patch.region.thickness_mm))
    style = STYLES["mark"]
    marks = child(root, "g", {"data-class": "mark", "fill": "none", "stroke": style.hex})
    marks.set("stroke-width", number(style.width_mm))
    for line in sheet.lines:
        data = path_data(line.points, line.closed, sheet.height_mm)
        child(marks, "path", {"d": data, "data-name": line.name or ""})
    labels = child(root, "g", {"data-class": "label"})
    for text, color in sheet.texts:
        text_element(labels, text, sheet.height_mm, _hex(color))
    return svg_bytes(root)


def _hex(color: Color) -> str:
    return "#{:02x}{:02x}{:02x}".format(*color)
