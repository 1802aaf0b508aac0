"""What a command line says about openings, turns and hands, and where results go."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

import numpy as np

from .errors import HingeleafError
from .files import write_file
from .spread import Spread
from .transforms import Array

__all__ = ["parse_angles", "parse_hands", "parse_turns", "write_json"]

_MOST_ANGLES = 20_000


def parse_angles(text: str) -> Array:
    """Opening angles from "start:stop:step" or "0,45,90".

    Returns
    -------
    (n,) float, degrees

    Raises
    ------
    HingeleafError
        The text is neither, or an angle lies outside 0 to 180.

    Examples
    --------
    >>> parse_angles("0:180:90")
    array([  0.,  90., 180.])
    """
    angles = _numbers(text, "--angles", "0:180:5", "0,45,90")
    if not (np.isfinite(angles).all() and (angles >= 0).all() and (angles <= 180).all()):
        raise HingeleafError(f'--angles "{text}": openings lie between 0 and 180 degrees')
    return angles


def parse_turns(text: str, spreads: int) -> Array:
    """How far a bound book is turned through, from "start:stop:step" or "0,0.5,1"; 0 to one more than its spreads.

    Returns
    -------
    (n,) float

    Raises
    ------
    HingeleafError
        The text is neither, or a turn lies outside the book.

    Examples
    --------
    >>> parse_turns("0:1:0.5", 3)
    array([0. , 0.5, 1. ])
    """
    turns = _numbers(text, "--turns", f"0:{spreads + 1}:0.1", f"0,1,{spreads + 1}")
    if not (np.isfinite(turns).all() and (turns >= 0).all() and (turns <= spreads + 1 + 1e-9).all()):
        raise HingeleafError(
            f'--turns "{text}": turns lie between 0, closed on its back, and {spreads + 1}, closed face down; '
            "at 1 the first spread lies open"
        )
    return np.minimum(turns, float(spreads + 1))


def _numbers(text: str, option: str, steps: str, listed: str) -> Array:
    """Numbers from "start:stop:step" or a list; the other two are examples of both."""
    try:
        if ":" in text:
            start, stop, step = (float(part) for part in text.split(":"))
            count = (stop - start) / step
            if not (step > 0 and 0 <= count < _MOST_ANGLES):
                raise ValueError
            return np.asarray(start + step * np.arange(int(np.floor(count + 1e-9)) + 1), dtype=np.float64)
        return np.array([float(part) for part in text.split(",")])
    except (ValueError, ZeroDivisionError, OverflowError):
        right = f"write start:stop:step, e.g. {steps}, or a list, e.g. {listed}"
        raise HingeleafError(f'{option} "{text}": {right}') from None


def parse_hands(texts: Sequence[str], spread: Spread) -> dict[str, float]:
    """How far hands have moved what they move, from "ID=VALUE" each.

    Returns
    -------
    dict of float, by mechanism, degrees or mm

    Raises
    ------
    HingeleafError
        It is written in another way, nothing of that name is moved by hand, or it does not move so far.
    """
    hands = {hand.id: hand for hand in spread.hands}
    moved: dict[str, float] = {}
    for text in texts:
        name, _, number = text.partition("=")
        try:
            value = float(number)
        except ValueError:
            raise HingeleafError(f'--hand "{text}": write ID=VALUE, e.g. door=90') from None
        if name not in hands:
            known = f"a hand moves {', '.join(hands)}" if hands else "a hand moves nothing in this spread"
            raise HingeleafError(f'--hand "{text}": no hand moves {name or "that"}; {known}')
        if name in moved:
            raise HingeleafError(f'--hand "{text}": {name} is moved twice; write it once')
        hands[name].inside(value)
        moved[name] = value
    return moved


def write_json(target: str, data: dict[str, Any]) -> None:
    """Write a result as JSON to a file, or to the screen where the target is -."""
    text = json.dumps(data, indent=1, ensure_ascii=False) + "\n"
    if target == "-":
        print(text, end="")
    else:
        # File names may hold what UTF-8 does not; the code that stands for it is one of JSON's own escapes.
        write_file(target, text.encode("utf-8", "backslashreplace"))
