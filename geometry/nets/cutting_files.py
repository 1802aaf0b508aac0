"""Tool paths as SVG and DXF: a layer a step, in the order of work, nothing but lines."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

from .classes import LineClass
from .dxf import add_line, document_bytes, fixed_dates, new_document
from .svg import add_group, add_layer, child, line_data, svg_bytes, svg_root

if TYPE_CHECKING:
    from .cutting import CuttingOptions, ToolPath
    from .sheets import Sheet

__all__ = ["paths_dxf", "paths_svg"]

#: What machines take for a line to follow rather than a shape to fill: as thin as can be seen.
_HAIRLINE = "0.1"


def _layers(paths: Sequence[ToolPath], options: CuttingOptions) -> list[tuple[str, LineClass, list[ToolPath]]]:
    """Name, line class and paths of each layer that has any, in the order of work."""
    style = {"score": "crease", "dashes": "dashed cut", "half-cut": "half-cut"}[options.crease]
    wanted: list[tuple[str, LineClass, str]] = [
        (f"mountain {style}", "mountain", "crease"),
        (f"valley {style}", "valley", "crease"),
        ("slits", "cut", "slit"),
        ("outlines", "cut", "outline"),
    ]
    found = [
        (name, line_class, [path for path in paths if (path.line.line_class, path.step) == (line_class, step)])
        for name, line_class, step in wanted
    ]
    return [layer for layer in found if layer[2]]


def paths_svg(title: str, sheet: Sheet, paths: Sequence[ToolPath], options: CuttingOptions) -> bytes:
    """Tool paths of one face of a sheet as SVG, true to scale.

    Parameters
    ----------
    title : of the file
    sheet : whose size it has
    paths : in order
    options : which name the layers of the creases

    Returns
    -------
    bytes, UTF-8
    """
    root = svg_root(title, sheet.width_mm, sheet.height_mm)
    for number, (name, line_class, own) in enumerate(_layers(paths, options), 1):
        layer = add_layer(root, line_class, f"{number} {name}")
        layer.set("id", f"step-{number}")
        layer.set("stroke-width", _HAIRLINE)
        group: ET.Element | None = None
        before = None
        for path in own:
            if group is None or path.drawing is not before:
                group, before = add_group(layer, path.drawing), path.drawing
            element = child(group, "path", {"d": line_data(path.line, sheet.height_mm)})
            score = "light" if path.line.light else None
            for key, value in (("panel", path.line.panel), ("hinge", path.line.hinge), ("score", score)):
                if value is not None:
                    element.set(f"data-{key}", value)
    return svg_bytes(root)


def paths_dxf(sheet: Sheet, paths: Sequence[ToolPath], options: CuttingOptions) -> bytes:
    """Tool paths of one face of a sheet as DXF; see paths_svg. Layers are mountain, valley, slit and cut."""
    with fixed_dates():
        document = new_document(sheet.width_mm, sheet.height_mm)
        document.layers.add("slit", color=document.layers.get("cut").color)
        space = document.modelspace()
        for _, _, own in _layers(paths, options):
            for path in own:
                entity = add_line(space, path.line)
                entity.dxf.linetype = "Continuous"
                if path.step == "slit":
                    entity.dxf.layer = "slit"
        return document_bytes(document)
