"""A sheet as SVG: millimetres, one layer a line class, in it one group a piece, in it one path a line."""

from __future__ import annotations

import base64
from collections.abc import Callable, Sequence
from xml.etree import ElementTree as ET

import numpy as np
import shapely
from shapely import MultiPolygon

from ..paper import hex_color
from ..transforms import Array
from .classes import LINE_CLASSES, STYLES, LineClass, dashes_mm
from .drawing import PieceDrawing
from .halo import HALO_OPACITY, Halo, halos
from .lettering import CAP_HEIGHT
from .lines import ArtImage, Fill, NetLine, NetText
from .pictures import Picture
from .sheets import Sheet

__all__ = [
    "add_group",
    "add_layer",
    "child",
    "line_data",
    "number",
    "path_data",
    "sheet_svg",
    "svg_bytes",
    "svg_root",
    "text_element",
]

_SVG = "http://www.w3.org/2000/svg"
_LAYERS = "http://www.inkscape.org/namespaces/inkscape"
#: Of SVG 1.1: some drawing programs show no picture that is named by the plain href of SVG 2.
_HREF = "{http://www.w3.org/1999/xlink}href"
_FONT = "'Bitstream Vera Sans','DejaVu Sans',Verdana,sans-serif"


def sheet_svg(sheet: Sheet, pictures: Callable[[str], Picture]) -> bytes:
    """Write one sheet.

    Parameters
    ----------
    sheet : Sheet
    pictures : gives the picture of an artwork file

    Returns
    -------
    bytes, UTF-8
    """
    title = f"{sheet.footer.title}, sheet {sheet.footer.number} of {sheet.footer.count}"
    root = svg_root(title, sheet.width_mm, sheet.height_mm)
    if any(drawing.art for drawing in sheet.pieces):
        _clips(child(root, "defs"), sheet)
    for name in LINE_CLASSES:
        layer = add_layer(root, name)
        for index, drawing in enumerate(sheet.pieces):
            group = ET.Element(f"{{{_SVG}}}g", {"data-piece": drawing.piece.id, **drawing.part.attributes})
            if name == "art":
                for fill in drawing.fills:
                    _fill(group, fill, sheet)
            if name == "art" and drawing.art is not None:
                clip = child(group, "g", {"clip-path": f"url(#bleed-{index})"})
                _image(clip, f"art-{index}", drawing.art, sheet, pictures)
            if name == "label":
                _halos(group, halos(drawing), sheet)
            _content(group, sheet, name, drawing.lines, drawing.texts)
            if len(group):
                layer.append(group)
        group = ET.Element(f"{{{_SVG}}}g", {"id": f"sheet-{name}"})
        _content(group, sheet, name, sheet.lines, sheet.texts)
        if len(group):
            layer.append(group)
    return svg_bytes(root)


def svg_root(title: str, width_mm: float, height_mm: float) -> ET.Element:
    """An empty drawing in millimetres, true to scale."""
    ET.register_namespace("", _SVG)
    ET.register_namespace("xlink", _HREF[1:].partition("}")[0])
    width, height = number(width_mm), number(height_mm)
    root = ET.Element(f"{{{_SVG}}}svg", {"version": "1.1", "width": f"{width}mm", "height": f"{height}mm"})
    root.set("viewBox", f"0 0 {width} {height}")
    child(root, "title").text = title
    return root


def svg_bytes(root: ET.Element) -> bytes:
    """A finished drawing as a file's contents, UTF-8."""
    ET.indent(root)
    text: str = ET.tostring(root, encoding="unicode")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{text}\n'.encode()


def child(parent: ET.Element, tag: str, attributes: dict[str, str] | None = None) -> ET.Element:
    """A new element at the end of another."""
    return ET.SubElement(parent, f"{{{_SVG}}}{tag}", attributes or {})


def number(value: float) -> str:
    """A number to a tenth of a micrometre."""
    text = f"{value:.4f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def _down(points: Array, height_mm: float) -> Array:
    """Sheet coordinates to SVG's, which run downwards."""
    return np.asarray(points * [1.0, -1.0] + [0.0, height_mm])


def path_data(points: Array, closed: bool, height_mm: float) -> str:
    """Points on a sheet of that height as the data of a path."""
    pairs = [f"{number(x)},{number(y)}" for x, y in _down(points, height_mm)]
    return f"M{pairs[0]} L{' '.join(pairs[1:])}{' Z' if closed else ''}"


def line_data(line: NetLine, height_mm: float) -> str:
    """A line as the data of a path: lines, cubic Béziers and arcs."""
    first = _down(line.stretches[0].start, height_mm)
    data = [f"M{_pair(first)}"]
    for part in line.stretches:
        if part.controls is None:
            data.append(f"L{_pair(_down(part.end, height_mm))}")
        elif part.arc is not None:
            # The sheet's y runs downwards: what turns to the left there turns against SVG's positive angles.
            radii, turn = part.arc.radii, -np.degrees(part.arc.turn_rad)
            sweep = 0 if part.arc.left else 1
            data.append(f"A{_pair(radii)} {number(float(turn))} 0 {sweep} {_pair(_down(part.end, height_mm))}")
        else:
            data.append(f"C{' '.join(_pair(_down(point, height_mm)) for point in (*part.controls, part.end))}")
    if line.closed:
        if line.stretches[-1].controls is None:
            # Z draws the last straight stretch.
            data.pop()
        data.append("Z")
    return " ".join(data)


def _pair(point: Array) -> str:
    return f"{number(float(point[0]))},{number(float(point[1]))}"


def _halos(group: ET.Element, shapes: Sequence[Halo], sheet: Sheet) -> None:
    """Light shapes, which are no paths, so that they are not taken for lines of the net."""
    for shape in shapes:
        points = " ".join(f"{number(x)},{number(y)}" for x, y in _down(shape.points, sheet.height_mm))
        element = child(group, "polygon" if shape.closed else "polyline", {"points": points})
        if shape.width_mm:
            element.set("stroke", "#ffffff")
            element.set("stroke-opacity", number(HALO_OPACITY))
            element.set("stroke-width", number(shape.width_mm))
        else:
            element.set("stroke", "none")
            element.set("fill", "#ffffff")
            element.set("fill-opacity", number(HALO_OPACITY))


def add_group(layer: ET.Element, drawing: PieceDrawing) -> ET.Element:
    """The group of one piece on a layer."""
    return child(layer, "g", {"data-piece": drawing.piece.id, **drawing.part.attributes})


def add_layer(root: ET.Element, name: LineClass, label: str = "") -> ET.Element:
    """The layer of a line class, at the end of a drawing; its label is the class unless another is given."""
    ET.register_namespace("inkscape", _LAYERS)
    style = STYLES[name]
    layer = child(root, "g", {"id": f"class-{label or name}", "data-class": name})
    layer.set(f"{{{_LAYERS}}}groupmode", "layer")
    layer.set(f"{{{_LAYERS}}}label", label or name)
    layer.set("fill", "none")
    layer.set("stroke", style.hex)
    layer.set("stroke-width", number(style.width_mm))
    layer.set("stroke-linejoin", "round")
    return layer


def _content(
    group: ET.Element, sheet: Sheet, name: LineClass, lines: tuple[NetLine, ...], texts: tuple[NetText, ...]
) -> None:
    for line in lines:
        if line.line_class == name:
            _path(group, line, sheet)
    for text in texts:
        if text.line_class == name:
            text_element(group, text, sheet.height_mm, STYLES[name].hex)


def _path(group: ET.Element, line: NetLine, sheet: Sheet) -> None:
    path = child(group, "path", {"d": line_data(line, sheet.height_mm)})
    for key, value in (("panel", line.panel), ("hinge", line.hinge), ("glued", line.glued), ("name", line.name)):
        if value is not None:
            path.set(f"data-{key}", value)
    style = STYLES[line.look or line.line_class]
    if line.look is not None:
        path.set("stroke", style.hex)
        path.set("stroke-width", number(style.width_mm))
    if line.light:
        path.set("data-score", "light")
        path.set("stroke-width", number(style.width_mm / 2))
    if style.dashes:
        path.set("stroke-dasharray", " ".join(number(dash) for dash in dashes_mm(style, line.length_mm)))
    if style.tint and line.closed and line.tinted:
        path.set("fill", style.hex)
        path.set("fill-opacity", number(style.tint))


def text_element(group: ET.Element, text: NetText, height_mm: float, fill: str) -> None:
    """A text on a sheet of that height, in a colour #rrggbb."""
    x, y = _down(text.place, height_mm)
    element = child(group, "text", {"x": number(x), "y": number(y + text.size_mm * CAP_HEIGHT / 2)})
    element.set("font-family", _FONT)
    element.set("font-size", number(text.size_mm))
    element.set("fill", fill)
    element.set("stroke", "none")
    if text.bold:
        element.set("font-weight", "bold")
    if text.anchor != "start":
        element.set("text-anchor", text.anchor)
    if abs(text.turn_rad) > 1e-9:
        element.set("transform", f"rotate({number(-np.degrees(text.turn_rad))} {number(x)} {number(y)})")
    element.text = text.text


def _clips(defs: ET.Element, sheet: Sheet) -> None:
    """Artwork is shown inside the card grown by the bleed."""
    for index, drawing in enumerate(sheet.pieces):
        if drawing.art is not None:
            data = _region_data(drawing.art.shown, sheet)
            clip = child(defs, "clipPath", {"id": f"bleed-{index}"})
            child(clip, "path", {"d": data, "clip-rule": "evenodd"})


def _fill(group: ET.Element, fill: Fill, sheet: Sheet) -> None:
    """A flat colour: filled and not stroked, so that it is no line. No clipped box: some programs know no clipping."""
    style = {"fill": hex_color(fill.color), "fill-rule": "evenodd", "stroke": "none", "data-fill": "color"}
    child(group, "path", {"d": _region_data(fill.shown, sheet), **style})


def _region_data(region: MultiPolygon, sheet: Sheet) -> str:
    rings = [ring for part in region.geoms for ring in (part.exterior, *part.interiors)]
    return " ".join(path_data(shapely.get_coordinates(ring)[:-1], True, sheet.height_mm) for ring in rings)


def _image(group: ET.Element, name: str, art: ArtImage, sheet: Sheet, pictures: Callable[[str], Picture]) -> None:
    """The picture once, with its mirror images as uses of it."""
    picture = art.picture(pictures)
    width, height = float(np.hypot(*art.along)), float(np.hypot(*art.up))
    for corner, across, upwards in art.laid():
        origin = _down(corner + upwards, sheet.height_mm)
        along, down = across * [1.0, -1.0] / width, upwards * [-1.0, 1.0] / height
        matrix = " ".join(number(value) for value in (*along, *down, *origin))
        placed = child(group, "g", {"transform": f"matrix({matrix})"})
        if len(group) > 1:
            child(placed, "use", {_HREF: f"#{name}"})
            continue
        size = {"x": "0", "y": "0", "width": number(width), "height": number(height)}
        image = child(placed, "image", {"id": name, **size, "preserveAspectRatio": "none"})
        image.set(_HREF, f"data:{picture.mime};base64,{base64.b64encode(picture.data).decode('ascii')}")
