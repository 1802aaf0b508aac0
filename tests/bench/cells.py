"""Benchmark: the closed form of 200 nested cells at 181 angles, against scipy's least_squares closing the same loops.

Both are timed in one run on one spread; printed are the times, their spread over the repeats, the ratio, and how far
the two solutions are apart. Exit status 1 if the ratio is below the wanted one or the solutions differ. Run it as
``python -m tests.bench.cells``.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable, Mapping, Sequence

import numpy as np

from geometry import Spread
from geometry.linkage import PlanarCell
from geometry.motion import solve_cells
from tests.bench import peer
from tests.bench.figures import Figure, noted, spread_of
from tests.bench.nested import CELLS_A_CHAIN, CHAINS, nested_spread

WANTED_RATIO = 200.0
AGREE_MM = 1e-6
ANGLES = 181
#: A direction is compared by what it moves on a panel of this size.
REACH_MM = 100.0


def timed(function: Callable[[], object], repeats: int) -> np.ndarray:
    """Seconds of each repeat."""
    seconds = []
    for _ in range(repeats):
        start = time.perf_counter()
        function()
        seconds.append(time.perf_counter() - start)
    return np.array(seconds)


def creases_of(spread: Spread, openings: np.ndarray) -> dict[str, np.ndarray]:
    """Where the core has every middle crease: (n, 3) directions, or (n, 2) places in mm."""
    variables = solve_cells(openings, spread.cells)
    found = {}
    for item in spread.cells:
        host = item.host.offset + item.host.scale * variables[str(item.host.variable)]
        crease = item.cell.solve(host).crease
        found[item.id] = crease[:, 1:] if isinstance(item.cell, PlanarCell) else crease
    return found


def apart_mm(spread: Spread, ours: dict[str, np.ndarray], theirs: dict[str, np.ndarray]) -> np.ndarray:
    """Largest distance of any middle crease between the two solutions at each opening, mm."""
    worst = np.zeros(ANGLES)
    for item in spread.cells:
        scale = 1.0 if isinstance(item.cell, PlanarCell) else REACH_MM
        worst = np.maximum(worst, scale * np.linalg.norm(ours[item.id] - theirs[item.id], axis=1))
    return worst


def chains_that_fit(openings: np.ndarray, most_seconds: float, repeats: int) -> tuple[int, float]:
    """How many chains the peer can do in the time, all of them if it can; and what one chain takes."""
    small = nested_spread(1)
    middle = {name: crease[len(openings) // 2] for name, crease in creases_of(small, openings).items()}
    seconds = float(timed(lambda: peer.solve_cells(openings, small.cells, middle), 1)[0])
    return min(CHAINS, max(1, int(most_seconds / (repeats * seconds)))), seconds


def print_times(times: Mapping[str, np.ndarray]) -> None:
    """A line a name: the middle, the fastest and the slowest of its repeats, seconds."""
    print(f"\n{'':34}{'median':>12}{'fastest':>12}{'slowest':>12}")
    for name, values in times.items():
        print(f"{name:34}{np.median(values):10.4f} s{values.min():10.4f} s{values.max():10.4f} s")


def print_outcome(core: np.ndarray, other: np.ndarray, apart: np.ndarray) -> None:
    """How many times as fast the core is, and how far its creases are from the peer's."""
    ratio = float(np.median(other) / np.median(core))
    print(
        f"{'ratio':34}{ratio:11.0f}x{other.min() / core.max():11.0f}x{other.max() / core.min():11.0f}x"
        f"   wanted: {WANTED_RATIO:.0f}x"
    )
    print(f"{'apart, 1 to 179 degrees':34}{apart[1:-1].max():10.1e} mm")
    print(
        f"{'apart, shut and flat open':34}{max(apart[0], apart[-1]):10.1e} mm"
        "   (there branches meet, and the peer loses half its digits)"
    )


def options_of(arguments: Sequence[str] | None) -> argparse.Namespace:
    """What the command line says."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--repeats", type=int, default=3, help="of the peer; the core is repeated ten times as often")
    parser.add_argument(
        "--most-seconds", type=float, default=180.0, help="if the peer would take longer, a part of the chains"
    )
    return parser.parse_args(arguments)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the benchmark and print its table."""
    options = options_of(arguments)
    openings = np.radians(np.linspace(0.0, 180.0, ANGLES))
    spread = nested_spread()
    if spread.reachable() != (0.0, np.pi):
        print("the spread of the benchmark does not stand at every opening", file=sys.stderr)
        return 1
    chains, seconds = chains_that_fit(openings, options.most_seconds, options.repeats)
    part = nested_spread(chains)
    scale = CHAINS / chains
    print(f"{len(spread.cells)} cells in {CHAINS} chains of {CELLS_A_CHAIN}, {ANGLES} angles each")
    if chains < CHAINS:
        print(
            f"the peer does {chains} chains of {CHAINS}, its time scaled up {scale:.2f} times: "
            f"all would take {CHAINS * seconds:.0f} s"
        )
    ours = creases_of(part, openings)
    middle = {name: crease[ANGLES // 2] for name, crease in ours.items()}
    solved: dict[str, np.ndarray] = {}

    def by_peer() -> None:
        solved.update(peer.solve_cells(openings, part.cells, middle)[1])

    core = timed(lambda: solve_cells(openings, spread.cells), 10 * options.repeats)
    other = timed(by_peer, options.repeats) * scale
    poses = timed(lambda: spread.pose(openings), options.repeats)
    apart = apart_mm(part, ours, solved)
    ratio = float(np.median(other) / np.median(core))
    print_times(
        {
            "closed form, all cells": core,
            "scipy least_squares, all cells": other,
            f"poses of {len(spread.panels)} panels too": poses,
        }
    )
    print_outcome(core, other, apart)
    each = [slow / fast for slow in other for fast in core]
    noted(
        Figure(
            f"{len(spread.cells)} cells at {ANGLES} openings, closed form",
            "scipy least_squares, one after the other",
            f"{spread_of(each, 0)} times as fast",
            f"at least {WANTED_RATIO:.0f}",
        )
    )
    good = ratio >= WANTED_RATIO and apart[1:-1].max() <= AGREE_MM
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
