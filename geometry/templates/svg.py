"""A template as SVG: millimetres, an empty layer to paint on, and above it the guides, locked, a layer a kind."""

from __future__ import annotations

from xml.etree import ElementTree as ET

import shapely

from ..nets.svg import child, number, path_data, svg_bytes, svg_root, text_element
from ..outline import parts_of
from .drawing import Template
from .guides import LAYERS, LOOKS, Guide, dashes_of

__all__ = ["template_svg"]

#: Attributes by which drawing programs know layers, and locked ones.
_LAYERS = "http://www.inkscape.org/namespaces/inkscape"
_LOCKED = "http://sodipodi.sourceforge.net/DTD/sodipodi-0.dtd"
_HALO_OPACITY = 0.7


def template_svg(template: Template) -> bytes:
    """Write one template.

    Parameters
    ----------
    template : Template

    Returns
    -------
    bytes, UTF-8; its page is the art box
    """
    ET.register_namespace("inkscape", _LAYERS)
    ET.register_namespace("sodipodi", _LOCKED)
    width, height = template.frame.size_mm
    root = svg_root(template.title, width, height)
    root.set("data-piece", template.name)
    root.set("data-side", template.frame.face)
    _layer(root, "paint here")
    guides = _layer(root, "guides")
    guides.set(f"{{{_LOCKED}}}insensitive", "true")
    guides.set("style", "pointer-events:none")
    for name in LAYERS:
        found = [guide for guide in template.guides if guide.layer == name]
        if found:
            layer = _layer(guides, name)
            for halo in (True, False):
                for guide in found:
                    _guide(layer, guide, height, halo=halo)
    return svg_bytes(root)


def _layer(parent: ET.Element, name: str) -> ET.Element:
    layer = child(parent, "g", {"id": name.replace(" ", "-")})
    layer.set(f"{{{_LAYERS}}}groupmode", "layer")
    layer.set(f"{{{_LAYERS}}}label", name)
    return layer


def _guide(layer: ET.Element, guide: Guide, height: float, *, halo: bool) -> None:
    """A guide, or the light under it."""
    look = LOOKS[guide.look]
    if halo and not look.halo_mm:
        return
    light = {"stroke": "#ffffff", "stroke-opacity": number(_HALO_OPACITY), "stroke-linejoin": "round", "fill": "none"}
    for points in guide.lines:
        attributes = {"d": path_data(points, False, height), "fill": "none"}
        dashes = dashes_of(guide.look, points)
        if dashes:
            attributes["stroke-dasharray"] = " ".join(number(dash) for dash in dashes)
        wider = 2 * look.halo_mm if halo else 0.0
        attributes |= light if halo else {"stroke": look.hex, "stroke-linejoin": "round"}
        child(layer, "path", attributes | {"stroke-width": number(look.width_mm + wider)})
    if guide.area is not None:
        rings = [ring for part in parts_of(guide.area) for ring in (part.exterior, *part.interiors)]
        data = " ".join(path_data(shapely.get_coordinates(ring)[:-1], True, height) for ring in rings)
        own = {"fill": look.hex, "fill-opacity": number(look.fill), "fill-rule": "evenodd", "stroke": "none"}
        child(layer, "path", {"d": data, **(light | {"stroke-width": number(2 * look.halo_mm)} if halo else own)})
    if guide.text is not None:
        text_element(layer, guide.text, height, look.hex)
        if halo:
            element = layer[-1]
            for key, value in (light | {"stroke-width": number(2 * look.halo_mm), "fill": "#ffffff"}).items():
                element.set(key, value)
