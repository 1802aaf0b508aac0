"""How a hand moves a book in time, and how card follows it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike

from .geometry.transforms import Array

__all__ = ["Spring", "Timeline", "reached", "turned_back"]

#: The hand starts gently and takes longer to settle than to start.
_SETTLE = 0.82
#: What is left of the way beyond its end that card springs back by.
_BOUNCE = 0.9


def reached(time: ArrayLike) -> Array:
    """Part of its way that a hand has gone after a part of its time, both 0 to 1, of the same shape.

    Notes
    -----
    Source: the minimum-jerk reach of a hand, 10 t^3 - 15 t^4 + 6 t^5 (Flash and Hogan 1985, recalled), with the time
    bent so that settling takes longer than starting.
    """
    bent = np.clip(np.asarray(time, dtype=float), 0.0, 1.0) ** _SETTLE
    return np.asarray(bent**3 * (10.0 + bent * (6.0 * bent - 15.0)))


@dataclass(frozen=True)
class Spring:
    """Card that a hand draws along: a mass on a spring with a damper.

    Parameters
    ----------
    per_second : swings a second, were there no damper
    damping : 0 swings for ever, 1 does not swing at all
    """

    per_second: float = 0.65
    damping: float = 0.38

    def follow(self, led: Array, seconds: float) -> Array:
        """Where the card is while the hand leads it.

        Parameters
        ----------
        led : (n,) float, where the hand is, in straight lines between; the card begins at rest at the first
        seconds : from one to the next

        Returns
        -------
        (n,) float

        Notes
        -----
        Source: derived here. x'' + 2 d w x' + w^2 (x - u) = 0, with u = u0 + s t over a step, has the solution
        x = u - 2 d s / w + e, where e'' + 2 d w e' + w^2 e = 0 swings out as exp(-d w t) (a cos v t + b sin v t),
        v = w sqrt(1 - d^2), a = e(0), b = (e'(0) + d w a) / v. So every step is exact, whatever its length.
        """
        pulse, decay = 2.0 * np.pi * self.per_second, 2.0 * np.pi * self.per_second * self.damping
        swing = pulse * np.sqrt(1.0 - self.damping**2)
        fade, cos, sin = np.exp(-decay * seconds), np.cos(swing * seconds), np.sin(swing * seconds)
        place, speed = float(led[0]), 0.0
        followed = np.empty(len(led))
        followed[0] = place
        for number in range(1, len(led)):
            slope = (led[number] - led[number - 1]) / seconds
            lag = 2.0 * self.damping * slope / pulse
            a = place - (led[number - 1] - lag)
            b = (speed - slope + decay * a) / swing
            place = led[number] - lag + fade * (a * cos + b * sin)
            speed = slope + fade * ((b * swing - a * decay) * cos - (a * swing + b * decay) * sin)
            followed[number] = place
        return followed


def turned_back(values: Array, low: Array, high: Array) -> Array:
    """Values that spring back where they would go beyond their ends.

    Parameters
    ----------
    values, low, high : (n,) float, low <= high

    Returns
    -------
    (n,) float between low and high
    """
    back = np.where(values > high, high - _BOUNCE * (values - high), values)
    back = np.where(values < low, low + _BOUNCE * (low - values), back)
    return np.clip(back, low, high)


@dataclass
class Timeline:
    """What a hand does, one thing after the other: builds the values of every property, frame by frame.

    Parameters
    ----------
    rate : frames a second
    now : by property, where it is
    columns : by property, its value at every frame so far
    ends : of the property that moves at each frame, the ends of its way
    """

    rate: int
    now: dict[str, float]
    columns: dict[str, list[float]] = field(default_factory=dict)
    ends: list[tuple[str, float, float]] = field(default_factory=list)

    def hold(self, seconds: float) -> None:
        """Let everything rest."""
        key, low, high = self.ends[-1] if self.ends else (next(iter(self.now)), *2 * (next(iter(self.now.values())),))
        for _ in range(round(seconds * self.rate)):
            self._add({}, (key, low, high))

    def move(self, key: str, target: float, seconds: float) -> None:
        """Move one property to a value, at least one frame long."""
        start = self.now[key]
        steps = max(1, round(seconds * self.rate))
        for share in reached(np.arange(1, steps + 1) / steps):
            self._add({key: start + (target - start) * float(share)}, (key, min(start, target), max(start, target)))
        self.now[key] = self.columns[key][-1] = target

    def _add(self, changed: dict[str, float], ends: tuple[str, float, float]) -> None:
        self.now |= changed
        for name, value in self.now.items():
            self.columns.setdefault(name, []).append(value)
        self.ends.append(ends)

    def values(self, *, lively: Sequence[str] = (), loop: bool = False) -> dict[str, Array]:
        """The values of every property at every frame.

        Parameters
        ----------
        lively : the properties that lag behind the hand and spring a little at the end of their way
        loop : whether what is before the first frame is the end
        """
        result = {key: np.array(column) for key, column in self.columns.items()}
        for key in lively:
            led = result[key]
            # In a loop the card has been swinging before: so often round that nothing is left of how it began.
            rounds = 4 if loop else 1
            followed = Spring().follow(np.tile(led, rounds), 1.0 / self.rate)[-len(led) :]
            low, high = self._ends_of(key, led, loop)
            result[key] = turned_back(followed, low, high)
        return result

    def _ends_of(self, key: str, led: Array, loop: bool) -> tuple[Array, Array]:
        """At every frame the ends of the way that a property is on, or was on last; in a loop also the round before."""
        low, high = np.empty(len(led)), np.empty(len(led))
        ways = [(a, b) for name, a, b in self.ends if name == key and a < b] or [(led[0], led[0])]
        last = ways[-1] if loop else (led[0], led[0])
        for number, (name, a, b) in enumerate(self.ends):
            if name == key and a < b:
                last = (a, b)
            low[number], high[number] = last
        return low, high
