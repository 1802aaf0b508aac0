"""Loops against scipy: positions solved a second, by the core and by least_squares on the same residuals.

Straps of every sort of the tests, each at many openings. The peer is given no Jacobian, MINPACK's method ("lm"), the
answer at 90 degrees, and at every opening the answer at the one beside it as its start. The core is timed twice, and
has to be faster by the wanted ratio both times: once with every loop found from its guesses and followed anew by
continuation, as when a description is read, and once on loops that are followed already, as for every further pose,
sample and check. All have to come to the same angles.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from scipy.optimize import least_squares

from geometry import assemble, parse_description
from geometry.loops import Loop
from geometry.motion import solve_units
from geometry.transforms import Array
from tests.bench.figures import Figure, noted, spread_of
from tests.geometry import strap_texts
from tests.geometry.scene_texts import HEAD

WANTED_RATIO = 30.0
AGREE_RAD = 1e-7
POSITIONS = 721
TEXTS = (strap_texts.ROW, strap_texts.TWO_FOLDS, strap_texts.ARM, strap_texts.ON_A_STRAP)


def loops() -> list[Loop]:
    """The loops of the benchmark."""
    return [loop for text in TEXTS for loop in assemble(parse_description(HEAD + text)).loops]


def known_to(loop: Loop, openings: Array) -> dict[str, Array]:
    """What the loop is solved from: both solvers are given it."""
    known = solve_units(loop.upstream, {"spine": openings})
    return {name: known[name] for name in loop.needs}


def by_core(loop: Loop, known: dict[str, Array]) -> Array:
    """(n, m) float, the unknowns at each opening."""
    found = loop.solve(known)
    return np.stack([found[name] for name in loop.geometry.unknowns], axis=1)


def by_peer(loop: Loop, known: dict[str, Array], start: Array) -> Array:
    """The same by least_squares, from the middle towards both ends."""
    unknowns, geometry = loop.geometry.unknowns, loop.geometry
    inputs = [{name: values[[row]] for name, values in known.items()} for row in range(len(known[loop.driver]))]

    def residual(angles: Array, row: int) -> Array:
        return geometry.misfit(inputs[row] | {name: angles[[index]] for index, name in enumerate(unknowns)})[0]

    result = np.empty((len(inputs), len(unknowns)))
    middle = len(inputs) // 2
    for order in (range(middle, len(inputs)), range(middle - 1, -1, -1)):
        here = start if order.start == middle else result[middle]
        for row in order:
            here = least_squares(residual, here, args=(row,), method="lm", xtol=1e-12, ftol=1e-12, gtol=1e-12).x
            result[row] = here
    return result


def seconds_of(function: Callable[[], object]) -> float:
    """How long a call takes."""
    start = time.perf_counter()
    function()
    return time.perf_counter() - start


def main(repeats: int = 3) -> int:
    """Run the benchmark and print its table; 1 if a ratio is below the wanted one or the solutions differ."""
    openings = np.radians(np.linspace(0.0, 180.0, POSITIONS))
    ready = loops()
    given = [known_to(loop, openings) for loop in ready]
    starts = [by_core(loop, known)[POSITIONS // 2] for loop, known in zip(ready, given, strict=True)]
    ours = [by_core(replace(loop), known) for loop, known in zip(ready, given, strict=True)]
    theirs: list[Array] = []

    def peer() -> None:
        theirs[:] = [by_peer(*item) for item in zip(ready, given, starts, strict=True)]

    def core(*, anew: bool) -> None:
        for loop, known in zip(ready, given, strict=True):
            by_core(replace(loop) if anew else loop, known)

    other = np.array([seconds_of(peer) for _ in range(repeats)])
    fresh = np.array([seconds_of(lambda: core(anew=True)) for _ in range(3 * repeats)])
    again = np.array([seconds_of(lambda: core(anew=False)) for _ in range(10 * repeats)])
    # Flat at an end every direction fades, and the peer keeps half its digits: compared between 5 and 175 degrees.
    inside = slice(POSITIONS * 5 // 180, POSITIONS * 175 // 180)
    apart = max(float(np.abs(first[inside] - second[inside]).max()) for first, second in zip(ours, theirs, strict=True))
    count = len(ready) * POSITIONS
    print(f"{len(ready)} loops at {POSITIONS} openings each, loops solved a second")
    print(f"\n{'':34}{'median':>12}{'slowest':>12}{'fastest':>12}")
    for name, taken in (("core", again), ("core, followed anew", fresh), ("scipy least_squares", other)):
        print(f"{name:34}{count / np.median(taken):12.0f}{count / taken.max():12.0f}{count / taken.min():12.0f}")
    good = apart <= AGREE_RAD
    for name, taken in (("ratio, core", again), ("ratio, core, followed anew", fresh)):
        middle, least, most = np.median(other) / np.median(taken), other.min() / taken.max(), other.max() / taken.min()
        print(f"{name:34}{middle:11.0f}x{least:11.0f}x{most:11.0f}x   wanted: {WANTED_RATIO:.0f}x")
        good &= bool(middle >= WANTED_RATIO)
    for kind, taken in (("followed before", again), ("followed anew", fresh)):
        each = [slow / fast for slow in other for fast in taken]
        what = f"{len(ready)} loops at {POSITIONS} openings, {kind}"
        wanted = f"at least {WANTED_RATIO:.0f}"
        noted(Figure(what, "scipy least_squares", f"{spread_of(each, 0)} times as fast", wanted))
    print(f"{'apart, 5 to 175 degrees':34}{np.degrees(apart):10.1e} degrees")
    return 0 if good else 1


if __name__ == "__main__":
    raise SystemExit(main())
