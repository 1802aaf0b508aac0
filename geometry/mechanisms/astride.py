"""The stretch of a fold that a mechanism stands astride, given by its keys at and length."""

from __future__ import annotations

import numpy as np

from ..building import Building
from ..description.data import MechanismSpec
from ..description.fields import SIDE, Field
from ..errors import MechanismError
from ..model import Fold
from ..tolerances import ANGLE_RAD, TOUCH_MM

__all__ = ["ASTRIDE_FIELDS", "astride"]

ASTRIDE_FIELDS = (
    Field("fold", "name", "the fold it stands astride"),
    SIDE,
    Field("at", "number", "where it begins along the fold, mm"),
    Field("length", "length", "how long it is along the fold", positive=True),
)


def astride(spec: MechanismSpec, building: Building, ridge: str | None = None) -> Fold:
    """The fold that a mechanism names, measured from where it begins.

    Parameters
    ----------
    spec : its keys fold, side, at and length are read
    building : Building
    ridge : what would be wrong on a ridge, for the message; None where nothing is

    Raises
    ------
    MechanismError
        The mechanism reaches beyond the fold, or the fold is a ridge on which it cannot stand.
    """
    named = building.fold(spec)
    at, length = spec.values["at"], spec.values["length"]
    if at < named.start - TOUCH_MM or at + length > named.end + TOUCH_MM:
        raise MechanismError(
            f"begins at {at:g} and ends at {at + length:g}; {named.id} runs from {named.start:g} to {named.end:g} mm",
            "at",
        )
    closed = building.closed_angle(named)
    if ridge is not None and closed is not None and closed > np.pi + ANGLE_RAD:
        key = "side" if "side" in spec.values else "fold"
        raise MechanismError(f"is a ridge, and {ridge}; build on the other side of the fold", key)
    return named.moved(at)
