"""What a person chooses about how a mesh is read as flat facets."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..errors import HingeleafError

__all__ = ["MeshOptions"]


@dataclass(frozen=True)
class MeshOptions:
    """How a mesh is scaled, repaired and joined.

    Parameters
    ----------
    scale : the mesh is made so many times as large
    height_mm : instead of the scale, how high the mesh is along z, mm; None to take the scale
    weld_mm : vertices nearer than this, mm, become one; None for what rounding to single precision leaves between them
    flat_deg : neighbours that bend by no more than this are made one flat facet, degrees; 0 joins only what is flat but
        for the rounding of its coordinates to single precision
    crossings : whether to look for faces that pass through each other

    Raises
    ------
    HingeleafError
        A number is not one that can be worked with.
    """

    scale: float = 1.0
    height_mm: float | None = None
    weld_mm: float | None = None
    flat_deg: float = 0.0
    crossings: bool = True

    def __post_init__(self) -> None:
        """Refuse numbers that no mesh can be made with."""
        if not (math.isfinite(self.scale) and self.scale > 0):
            raise HingeleafError(f"scale is {self.scale:g}; it must be above 0")
        if self.height_mm is not None and not (math.isfinite(self.height_mm) and self.height_mm > 0):
            raise HingeleafError(f"height is {self.height_mm:g} mm; it must be above 0")
        if self.weld_mm is not None and not (math.isfinite(self.weld_mm) and self.weld_mm >= 0):
            raise HingeleafError(f"welding distance is {self.weld_mm:g} mm; it must be 0 or more")
        if not 0 <= self.flat_deg < 90:
            raise HingeleafError(f"flat angle is {self.flat_deg:g} degrees; it must be from 0 up to less than 90")
