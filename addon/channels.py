"""The channels of a book: the opening, and one for whatever a hand moves; each with the samples that drive panels."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from .geometry.model import Hand
from .geometry.sampling import sample_hand, sample_turns
from .geometry.spread import Spread
from .geometry.transforms import Array

__all__ = ["HANDS", "OPENING", "Channel", "channels_of", "hand_key"]

#: The property of the root that opens the book, degrees.
OPENING = "opening"
#: The property of the root that says the label of each property that a hand moves, by its name.
HANDS = "hingeleaf_hands"

#: Blender's longest name of a property.
_LONGEST_KEY = 63
_OPENING_LABEL = "Opening (degrees)"
_OPENING_TEXT = "Angle between the two pages, in degrees: 0 is closed, 180 lies flat open"


@dataclass(frozen=True)
class Channel:
    """One property of the root and what it moves.

    Parameters
    ----------
    key : name of the property
    label : of its slider, with its unit
    text : what it is, for its tooltip
    values : (n,) float, rising; degrees or mm, the samples
    turns : (n,) float by panel, radians, or mm where the panel slides
    start : value that the property has at first
    """

    key: str
    label: str
    text: str
    values: Array
    turns: Mapping[str, Array]
    start: float


def hand_key(hand: str) -> str:
    """The property of the root for what a hand moves, by the mechanism's id; the end of a long one is digested."""
    key = f"hand_{hand}"
    if len(key) <= _LONGEST_KEY:
        return key
    digest = hashlib.sha256(hand.encode()).hexdigest()[:8]
    return f"{key[: _LONGEST_KEY - 9]}_{digest}"


def channels_of(spread: Spread) -> tuple[Channel, ...]:
    """The opening first, then one channel a hand.

    Parameters
    ----------
    spread : the assembled spread

    Returns
    -------
    tuple of Channel

    Raises
    ------
    HingeleafError
        The spread cannot stand at any opening.
    """
    openings_deg, turns = sample_turns(spread)
    values = np.asarray(openings_deg)
    return (
        Channel(OPENING, _OPENING_LABEL, _OPENING_TEXT, values, turns, float(values[-1])),
        *(_hand_channel(spread, hand) for hand in spread.hands),
    )


def _hand_channel(spread: Spread, hand: Hand) -> Channel:
    values, turns = sample_hand(spread, hand)
    said = np.degrees(values) if hand.unit == "deg" else values
    moved, unit, short = ("turned", "degrees", "degrees") if hand.unit == "deg" else ("moved", "millimeters", "mm")
    name = " ".join(word[:1].upper() + word[1:] for word in re.split("[-_]+", hand.id))
    text = f"How far a hand has {moved} {hand.id}, in {unit}: from {said[0]:.4g} to {said[-1]:.4g}"
    return Channel(hand_key(hand.id), f"{name} ({short})", text, said, turns, hand.said(hand.rest))
