"""The kinds of mechanism: one module a kind, each with its keys (FIELDS), hints and a build function."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Protocol

from . import accordion, box, flap, layer, platform, pull_strip, rider, slit_cut_in, solid, strap, tent, v_fold, wheel

if TYPE_CHECKING:
    from ..building import Building
    from ..description.data import MechanismSpec
    from ..description.fields import Field

__all__ = ["KINDS", "Kind"]


class Kind(Protocol):
    """What a module of this package offers."""

    @property
    def FIELDS(self) -> tuple[Field, ...]:  # noqa: N802 - a module's constant
        """Every key that a mechanism of this kind may have, besides kind and id."""

    @property
    def HINTS(self) -> Mapping[str, str]:  # noqa: N802 - a module's constant
        """What to say where a key is written that is none, by key."""

    def build(self, spec: MechanismSpec, building: Building) -> None:
        """Add the mechanism to what stands; MechanismError where that cannot be."""


KINDS: dict[str, Kind] = {
    "v-fold": v_fold,
    "tent": tent,
    "slit-cut-in": slit_cut_in,
    "rider": rider,
    "strap": strap,
    "flap": flap,
    "pull-strip": pull_strip,
    "wheel": wheel,
    "platform": platform,
    "box": box,
    "layer": layer,
    "accordion": accordion,
    "solid": solid,
}
