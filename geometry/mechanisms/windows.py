"""Windows: holes that a description cuts into a panel."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np
from shapely import Polygon

from ..errors import HingeleafError, MechanismError
from ..outline import closed_outline, cut_window

__all__ = ["windows"]


def windows(outline: Polygon, holes: Iterable[Any], key: str, mirror: float = 1.0) -> Polygon:
    """The outline with windows cut into it.

    Parameters
    ----------
    outline : Polygon, mm
    holes : as they are written, each a closed outline
    key : that lists them
    mirror : -1 where they are written with x the other way

    Raises
    ------
    MechanismError
        A window does not lie inside the outline.
    """
    for hole in holes:
        try:
            ring = np.asarray(closed_outline(hole).exterior.coords) * [mirror, 1.0]
            outline = cut_window(outline, Polygon(ring))
        except HingeleafError as error:
            raise MechanismError(str(error), key) from None
    return outline
