"""The channels of a book: the opening, and one for whatever a hand moves; each with the samples that drive panels.

What stands on each other is sampled by itself, so that a change is sampled again only where it is felt.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from .geometry.errors import HingeleafError
from .geometry.model import Hand
from .geometry.sampling import sample_hand, sample_turns
from .geometry.spread import Spread
from .geometry.tolerances import RIG_MM
from .geometry.transforms import Array
from .geometry.trees import trees_of

__all__ = ["HANDS", "OPENING", "Channel", "Curve", "channels_of", "hand_key"]

#: The property of the root that opens the book, degrees.
OPENING = "opening"
#: The property of the root that says the label of each property that a hand moves, by its name.
HANDS = "hingeleaf_hands"

#: Blender's longest name of a property.
_LONGEST_KEY = 63
_OPENING_LABEL = "Opening (degrees)"
_OPENING_TEXT = "Angle between the two pages, in degrees: 0 is closed, 180 lies flat open"


@dataclass(frozen=True)
class Curve:
    """How a panel turns, or slides.

    Parameters
    ----------
    values : (n,) float, rising; the property, degrees or mm
    amounts : (n,) float, radians, or mm where the panel slides
    """

    values: Array
    amounts: Array


@dataclass(frozen=True)
class Channel:
    """One property of the root and what it moves.

    Parameters
    ----------
    key : name of the property
    label : of its slider, with its unit
    text : what it is, for its tooltip
    low, high : between which it can be set, degrees or mm
    start : value that the property has at first
    curves : by panel
    """

    key: str
    label: str
    text: str
    low: float
    high: float
    start: float
    curves: Mapping[str, Curve]


def hand_key(hand: str) -> str:
    """The property of the root for what a hand moves, by the mechanism's id; the end of a long one is digested."""
    key = f"hand_{hand}"
    if len(key) <= _LONGEST_KEY:
        return key
    # Of the id alone, as in files of earlier versions.
    digest = hashlib.sha256(hand.encode()).hexdigest()[:8]
    return f"{key[: _LONGEST_KEY - 9]}_{digest}"


def channels_of(
    spread: Spread, wanted: Callable[[Spread], bool] = lambda tree: True, *, tolerance_mm: float = RIG_MM
) -> tuple[Channel, ...]:
    """The opening first, then one channel a hand.

    Parameters
    ----------
    spread : the assembled spread
    wanted : which of its trees are sampled, besides those that a hand moves; the panels of the others have no curves
    tolerance_mm : no corner may be off by more between two samples

    Returns
    -------
    tuple of Channel

    Raises
    ------
    HingeleafError
        The spread cannot stand at any opening.
    """
    low, high = spread.reachable()
    if not np.isfinite(low):
        raise HingeleafError(f"{spread.title}: its mechanisms cannot stand together at any opening")
    trees = [tree for tree in trees_of(spread) if tree.hands or wanted(tree)]
    curves: dict[str, Curve] = {}
    for tree in trees:
        openings_deg, turns = sample_turns(tree, tolerance_mm, reached=_reached(tree, (low, high)))
        curves |= {name: Curve(openings_deg, turn) for name, turn in turns.items()}
    opened = (float(np.degrees(low)), float(np.degrees(high)))
    return (
        Channel(OPENING, _OPENING_LABEL, _OPENING_TEXT, *opened, opened[1], curves),
        *(_hand_channel(tree, hand) for tree in trees for hand in tree.hands),
    )


def _reached(tree: Spread, whole: tuple[float, float]) -> tuple[float, float]:
    """How far a tree moves by itself, if that is no less than the whole; so it need not know what else there is."""
    low, high = tree.reachable()
    return (low, high) if low <= whole[0] and high >= whole[1] else whole


def _hand_channel(spread: Spread, hand: Hand) -> Channel:
    values, turns = sample_hand(spread, hand)
    said = np.degrees(values) if hand.unit == "deg" else values
    moved, unit, short = ("turned", "degrees", "degrees") if hand.unit == "deg" else ("moved", "millimeters", "mm")
    name = " ".join(word[:1].upper() + word[1:] for word in re.split("[-_]+", hand.id))
    text = f"How far a hand has {moved} {hand.id}, in {unit}: from {said[0]:.4g} to {said[-1]:.4g}"
    curves = {panel: Curve(said, turn) for panel, turn in turns.items()}
    low, high = float(said[0]), float(said[-1])
    return Channel(hand_key(hand.id), f"{name} ({short})", text, low, high, hand.said(hand.rest), curves)
