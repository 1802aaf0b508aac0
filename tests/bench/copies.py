"""Benchmark: ten thousand copies cut and glued by hand, against copies that are closed one by one.

The peer is given the same errors. It walks each copy down from half open in steps of a twentieth of a degree, all steps
at once, and bisects the step in which it stops; a part of the copies is enough for its time. Both must find the same
openings. Run it as ``python -m tests.bench.copies``.
"""

from __future__ import annotations

import time

import numpy as np

from geometry import assemble, parse_description
from geometry.accuracy import monte_carlo
from tests.bench.figures import Figure, noted, spread_of
from tests.geometry.erring_copies import cells_of, errors_of, slow_stop
from tests.geometry.scene_texts import BIG, HEAD, cut_in

__all__ = ["main"]

COPIES, PART, REPEATS, SEED = 10_000, 100, 3, 7
WANTED_RATIO, AGREE_DEG = 50.0, 1e-4
#: A step in a v-fold: two cells, one on the other.
TEXT = HEAD + BIG + cut_in("step", "hill.middle", "at = 30; length = 25; width = 15")
GROWTH = (1_000, 10_000, 100_000)


def seconds(copies: int) -> tuple[float, np.ndarray]:
    """Processor seconds that so many copies take, and at what openings they stop, degrees."""
    spread = assemble(parse_description(TEXT))
    start = time.process_time()
    found = monte_carlo(spread, copies=copies, seed=SEED, thickness=False)
    return time.process_time() - start, found.opening_deg


def main() -> int:
    """Print the ratio, how time grows, and whether both agree; 1 where they do not, or the ratio is too small."""
    spread = assemble(parse_description(TEXT))
    ours = [seconds(COPIES)[0] for _ in range(REPEATS)]
    _, openings = seconds(PART)
    cells = cells_of(spread, errors_of(spread, PART, SEED))
    start = time.process_time()
    slow = [np.degrees(slow_stop(spread, {key: value[row] for key, value in cells.items()})) for row in range(PART)]
    theirs = (time.process_time() - start) * COPIES / PART
    apart = float(np.abs(np.array(slow) - openings).max())
    ratios = [theirs / each for each in ours]
    times = [seconds(count)[0] for count in GROWTH]
    growth = float(np.polyfit(np.log(GROWTH), np.log(times), 1)[0])
    print(f"{COPIES} copies of {len(spread.cells)} cells: {min(ours):.2f} to {max(ours):.2f} s")
    print(f"  one by one {theirs:.1f} s ({PART} of them, scaled up)")
    print(f"  ratio {spread_of(ratios)} (wanted: {WANTED_RATIO:g})")
    print(f"  openings {apart:.1e} degrees apart; time grows as n^{growth:.2f} from {GROWTH[0]} to {GROWTH[-1]} copies")
    what = f"Monte Carlo, {COPIES} copies of {len(spread.cells)} cells"
    noted(
        Figure(
            what,
            "one copy after the other",
            f"{spread_of(ratios, 0)} times as fast",
            f"at least {WANTED_RATIO:g}",
            f"n^{growth:.2f}",
        )
    )
    return 0 if apart <= AGREE_DEG and min(ratios) >= WANTED_RATIO else 1


if __name__ == "__main__":
    raise SystemExit(main())
