"""The limits that the checks hold a spread to: each with its reason, each overridable in the description."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields

from .description.fields import Field

__all__ = ["LIMITS", "Limits"]

LIMITS = (
    Field("tab_width", "length", "narrowest tab that a hand can glue well (common practice)", default="4"),
    Field("fold_clearance", "length", "nearest that glue may come to the host fold, or it binds the fold", default="1"),
    Field("neck", "length", "narrowest strip of card between cuts; thinner ones tear (common practice)", default="3"),
    Field("panel_width", "length", "narrowest panel that folds cleanly (common practice)", default="3"),
    Field("crease_to_cut", "length", "nearest that a crease may run beside a cut (common practice)", default="2"),
    Field("bulk", "length", "thickest that the closed spread may become", default="6"),
    Field(
        "dead_point",
        "angle",
        "nearer than this to flat or shut a middle crease may go either way, degrees; at 10 it takes a quarter of a "
        "millimetre in panels of 30 to lock it",
        default="10",
    ),
    Field(
        "snap",
        "number",
        "most degrees that a panel may turn for each degree of opening; at 8 half a degree of play becomes 4",
        default="8",
        low=1,
        high=1000,
    ),
    Field("glued_share", "number", "smallest part of a rider's area that is glued", default="0.15", low=0, high=1),
    Field("gap", "length", "how far the fore edge may stay open after cutting and gluing errors", default="2"),
    Field(
        "sd_length",
        "length",
        "standard deviation of a cut, a crease or a glue position (common practice)",
        default="0.3",
    ),
    Field("sd_angle", "angle", "standard deviation of a glued or cut angle, degrees (common practice)", default="0.5"),
    Field(
        "sd_caliper",
        "number",
        "standard deviation of the card's caliper, as a part of it: nearly all card comes within a tenth of what its "
        "maker states, which is two deviations (common practice)",
        default="0.05",
        low=0,
        high=1,
    ),
)


@dataclass(frozen=True)
class Limits:
    """Limits in mm and degrees; see LIMITS for what each means."""

    tab_width: float = 4.0
    fold_clearance: float = 1.0
    neck: float = 3.0
    panel_width: float = 3.0
    crease_to_cut: float = 2.0
    bulk: float = 6.0
    dead_point: float = 10.0
    snap: float = 8.0
    glued_share: float = 0.15
    gap: float = 2.0
    sd_length: float = 0.3
    sd_angle: float = 0.5
    sd_caliper: float = 0.05

    @classmethod
    def of(cls, values: Mapping[str, float]) -> Limits:
        """The limits with some of them replaced."""
        return cls(**{item.name: values[item.name] for item in fields(cls) if item.name in values})
