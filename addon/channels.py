"""The channels of a book: the opening, and one for whatever a hand moves; each with the samples that drive panels."""

from __future__ import annotations

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
#: The property of the root that names the properties of what hands move, with spaces between.
HANDS = "hingeleaf_hands"

_OPENING_TEXT = "Angle between the two pages, in degrees: 0 is closed, 180 lies flat open"


@dataclass(frozen=True)
class Channel:
    """One property of the root and what it moves.

    Parameters
    ----------
    key : name of the property
    text : what it is, for its tooltip
    values : (n,) float, rising; degrees or mm, the samples
    turns : (n,) float by panel, radians, or mm where the panel slides
    start : value that the property has at first
    """

    key: str
    text: str
    values: Array
    turns: Mapping[str, Array]
    start: float


def hand_key(hand: str) -> str:
    """The property of the root for what a hand moves, by the mechanism's id."""
    return f"hand_{hand}"


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
        Channel(OPENING, _OPENING_TEXT, values, turns, float(values[-1])),
        *(_hand_channel(spread, hand) for hand in spread.hands),
    )


def _hand_channel(spread: Spread, hand: Hand) -> Channel:
    values, turns = sample_hand(spread, hand)
    said = np.degrees(values) if hand.unit == "deg" else values
    words = "turned, in degrees" if hand.unit == "deg" else "pulled, in millimetres"
    return Channel(hand_key(hand.id), f"How far a hand has {words}: {hand.id}", said, turns, hand.said(hand.rest))
