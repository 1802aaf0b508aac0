"""What a person wishes of the nets: few of them, short cuts, nothing larger than the sheet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite
from typing import Literal, get_args

from ..errors import HingeleafError

__all__ = ["CutOptions", "Preset"]

Preset = Literal["fewest", "shortest", "compact"]


@dataclass(frozen=True, kw_only=True)
class CutOptions:
    """How a model is cut into nets.

    Parameters
    ----------
    preset : "fewest" nets; "shortest" cuts, which are glued again; or "compact" nets that fill their sheets well
    room_mm : width and height that a net may have, turned as it likes; None for any size
    smooth_deg : neighbours that bend by less than this are kept together in bands where the surface is bent one way
        only, so that a tube is one strip with light scores; degrees, 0 for none
    seen_from : direction from the model to whoever looks at it, x, y, z; a cut that is seen from there is dearer

    Raises
    ------
    HingeleafError : for a preset that does not exist, a room without size, an angle that is none, a direction without
        length
    """

    preset: Preset = "fewest"
    room_mm: tuple[float, float] | None = None
    smooth_deg: float = 0.0
    seen_from: Sequence[float] | None = None

    def __post_init__(self) -> None:
        if self.preset not in get_args(Preset):
            raise HingeleafError(f"there is no preset {self.preset!r}; there are {', '.join(get_args(Preset))}")
        if self.room_mm is not None and not (
            len(self.room_mm) == 2 and all(isfinite(side) and side > 0 for side in self.room_mm)
        ):
            raise HingeleafError(f"room for a net is a width and a height above 0 mm, not {self.room_mm}")
        if not 0 <= self.smooth_deg <= 180:
            raise HingeleafError(f"the angle up to which a bend is smooth is 0 to 180 degrees, not {self.smooth_deg}")
        if self.seen_from is not None and not (
            len(self.seen_from) == 3 and all(isfinite(part) for part in self.seen_from) and any(self.seen_from)
        ):
            raise HingeleafError(f"seen_from is a direction x, y, z with a length, not {tuple(self.seen_from)}")
