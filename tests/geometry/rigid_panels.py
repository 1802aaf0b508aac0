"""Spreads put together by hand, for checks that no description's mechanism sets off."""

from __future__ import annotations

import numpy as np
from shapely import Polygon

from geometry import assemble, parse_description
from geometry.model import Panel
from geometry.spread import Spread
from tests.geometry.scene_texts import HEAD


def with_panels(panels: dict[str, tuple[Polygon, np.ndarray]]) -> Spread:
    """The bare pages, and panels fixed to the right one at given (4, 4) places."""
    bare = assemble(parse_description(HEAD))
    added = {
        name: Panel(name, "page", outline, "page.right", place, None, "rider")
        for name, (outline, place) in panels.items()
    }
    return Spread(
        title=bare.title,
        page_size_mm=bare.page_size_mm,
        margin_mm=0.0,
        limits=bare.limits,
        pieces=bare.pieces,
        panels={**bare.panels, **added},
        hinges=bare.hinges,
        folds=bare.folds,
        units=(),
        glue_areas=(),
    )


def tilted(centre: tuple[float, float, float], turn_deg: float, slope_deg: float) -> np.ndarray:
    """A panel's place: its middle, turned about z, its own x rising by a slope."""
    turn, slope = np.radians(turn_deg), np.radians(slope_deg)
    about_z = np.array([[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1]])
    about_y = np.array([[np.cos(slope), 0, -np.sin(slope)], [0, 1, 0], [np.sin(slope), 0, np.cos(slope)]])
    place = np.eye(4)
    place[:3, :3] = about_z @ about_y
    place[:3, 3] = centre
    return place
