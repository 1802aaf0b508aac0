"""Where card lies glued on card: what of a face never shows because something is glued to it."""

from __future__ import annotations

import shapely
from shapely import MultiPolygon
from shapely.geometry.base import BaseGeometry

from ..booklet.view import contact_face
from ..outline import carried, common_part, parts_of
from ..spread import Spread
from ..transforms import inverse
from .faces import Face

__all__ = ["contacts"]


def contacts(spread: Spread) -> dict[tuple[str, Face], BaseGeometry]:
    """What is glued of every face.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    dict of MultiPolygon, mm, in net coordinates, by panel and face; faces with nothing glued are left out
    """
    found: dict[tuple[str, Face], list[BaseGeometry]] = {}
    for area in spread.glue_areas:
        host, glued = spread.panels[area.host], spread.panels[area.glued]
        face: Face = area.face
        on_host = common_part(area.outline, host.outline)
        # A part that is glued at one place lies on its host with all of it that reaches there.
        back_on_glued = common_part(carried(host.outline, inverse(glued.rest)), glued.outline)
        own: Face = "front" if contact_face(spread, area.glued, area.face) else "back"
        found.setdefault((area.host, face), []).append(on_host)
        mark = common_part(carried(area.outline, inverse(glued.rest)), back_on_glued)
        found.setdefault((area.glued, own), []).append(mark)
    joined = {key: shapely.union_all(shapes) for key, shapes in found.items()}
    return {key: MultiPolygon(parts_of(shape)) for key, shape in joined.items() if parts_of(shape)}
