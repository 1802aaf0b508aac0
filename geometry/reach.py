"""How far a spread opens and closes before one of its cells locks."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from .motion import Unit, solve_cells
from .transforms import Array

__all__ = ["chain_of", "locking_cells", "reach"]

_STEP_RAD = np.radians(0.25)
#: Between two samples it is looked for in so many parts at once, at the most so many times: until no number is between.
_PARTS, _MOST_PARTED = 16, 20


def _sampled() -> Array:
    """Openings at which existence is looked at: every quarter degree, and ever denser towards both ends."""
    even = np.arange(0.0, np.pi + _STEP_RAD / 2, _STEP_RAD)
    near = np.radians(np.geomspace(1e-7, 0.25, 60))
    return np.unique(np.clip(np.concatenate([even, near, np.pi - near, [np.pi]]), 0.0, np.pi))


def _stands(cells: Sequence[Unit], openings: Array) -> np.ndarray:
    variables = solve_cells(openings, cells)
    good = np.ones(len(openings), dtype=bool)
    for value in variables.values():
        good &= np.isfinite(value)
    return good


def reach(cells: Sequence[Unit]) -> tuple[float, float]:
    """The openings between which every cell stands: the stretch about 90 degrees, or else the longest one.

    Parameters
    ----------
    cells : in solving order

    Returns
    -------
    (low, high) : float, radians, both reached; NaN, NaN where the cells never stand together

    Notes
    -----
    Looked for every 0.25 degrees and more densely towards 0 and 180, then between two samples in ever finer parts; a
    shorter stretch that lies between two samples is not seen.
    """
    openings = _sampled()
    good = _stands(cells, openings)
    if not good.any():
        return float("nan"), float("nan")
    edges = np.flatnonzero(np.diff(np.concatenate([[False], good, [False]]).astype(int)))
    runs = list(zip(edges[0::2], edges[1::2] - 1, strict=True))
    middle = np.pi / 2
    about = [run for run in runs if openings[run[0]] <= middle <= openings[run[1]]]
    first, last = about[0] if about else max(runs, key=lambda run: openings[run[1]] - openings[run[0]])
    low, high = float(openings[first]), float(openings[last])
    if first > 0:
        low = _narrowed(cells, float(openings[first - 1]), low)
    if last < len(openings) - 1:
        high = _narrowed(cells, float(openings[last + 1]), high)
    return low, high


def _narrowed(cells: Sequence[Unit], outside: float, inside: float) -> float:
    """The last opening at which all stand, looked for at many between the two at once, in ever smaller parts."""
    for _ in range(_MOST_PARTED):
        between = np.linspace(outside, inside, _PARTS + 1)[1:-1]
        between = between[(between != outside) & (between != inside)]
        if not len(between):
            break
        fails = np.flatnonzero(~_stands(cells, between))
        last = int(fails[-1]) if len(fails) else -1
        inside = float(between[last + 1]) if last + 1 < len(between) else inside
        outside = float(between[last]) if last >= 0 else outside
    return inside


def chain_of(cells: Sequence[Unit], item: Unit) -> list[Unit]:
    """A cell or loop and those on whose folds it stands, in solving order."""
    wanted = set(item.gives)
    chain = []
    for cell in reversed(cells):
        if wanted & set(cell.gives):
            chain.append(cell)
            wanted |= cell.needs
    return chain[::-1]


def locking_cells(cells: Sequence[Unit], opening_rad: float) -> list[Unit]:
    """Cells that cannot stand at an opening although the folds they stand on are there.

    Parameters
    ----------
    cells : in solving order
    opening_rad : float

    Returns
    -------
    list of Unit
    """
    variables = solve_cells(np.array([opening_rad]), cells)
    missing = {name for name, value in variables.items() if not np.isfinite(value[0])}
    return [item for item in cells if missing & set(item.gives) and not missing & item.needs]
