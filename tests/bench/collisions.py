"""Benchmark: collisions over a whole motion, against trimesh with python-fcl doing the same work.

The same panels in the same poses, drawn in by the same hair, at the same 181 openings; both must find the same
pairs. Run it as ``python -m tests.bench.collisions``.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from typing import Any

import numpy as np
import trimesh

from geometry import Spread, assemble, parse_description
from geometry.checks.collisions import check_collisions
from geometry.crossing import CLEARANCE_MM, Crossings, PanelEdges, find_crossings, panel_edges
from tests.bench.figures import Figure, noted, spread_of
from tests.geometry.solids import mesh_of

__all__ = ["crowd", "main"]

_OPENINGS_DEG = np.linspace(0.25, 179.75, 181)
_REPEATS = 5
_PITCH_MM = 20.0
Pairs = set[tuple[int, str, str]]


def crowd(panels: int) -> Spread:
    """A long page with so many turning panels: v-folds and tents by turns along the spine, near enough to meet now and
    then; two panels each.

    Parameters
    ----------
    panels : an even number; pages and tabs come on top, but turn with no one or are left out
    """
    count = panels // 2
    text = f"format = 1\n[page]\nsize = [160, {_PITCH_MM * (count + 3):g}]\n"
    for index in range(count):
        at = _PITCH_MM * (index + 1)
        table = f'[[mechanism]]\nid = "m{index}"\nfold = "spine"\ntab_width = 4\n'
        if index % 3 == 1:
            text += f'{table}kind = "tent"\nat = {at + 8}\nlength = 18\nbase = 26\nheight = {40 + index % 5}\n'
        else:
            edge = "edge = [[9, 44], [13, 30], [18, 42], [24, 33], [30, 38], [36, 22]]\n" if index % 2 else ""
            text += f'{table}kind = "v-fold"\nat = {at}\nangle = {48 + index % 7}\nheight = 38\nwidth = 34\n{edge}'
    return assemble(parse_description(text))


def _outlines(spread: Spread) -> dict[str, object]:
    return {
        name: panel.outline for name, panel in spread.panels.items() if panel.role != "tab" and panel.role != "page"
    }


def _ours(spread: Spread) -> tuple[Callable[[], Any], Callable[[Any], Pairs]]:
    """The sweep, and what makes named pairs of its result."""
    outlines, motion = _outlines(spread), spread.pose(np.radians(_OPENINGS_DEG))

    def run() -> tuple[PanelEdges, Crossings]:
        edges = panel_edges(outlines)
        matrices = np.stack([motion.matrices[name] for name in edges.names], axis=1)
        pairs = np.stack(np.triu_indices(len(edges.names), 1), axis=1)
        return edges, find_crossings(edges, matrices, pairs)

    def named(result: tuple[PanelEdges, Crossings]) -> Pairs:
        edges, found = result
        rows = zip(found.opening, found.first, found.second, strict=True)
        return {(int(row), *sorted((edges.names[a], edges.names[b]))) for row, a, b in rows}

    return run, named


def _theirs(spread: Spread) -> tuple[Callable[[], Any], Callable[[Any], Pairs]]:
    """The same with trimesh's collision manager, which is python-fcl's; its meshes are made within the time."""
    motion = spread.pose(np.radians(_OPENINGS_DEG))
    drawn_in = {name: outline.buffer(-CLEARANCE_MM, join_style="mitre") for name, outline in _outlines(spread).items()}

    def run() -> list[set[tuple[str, str]]]:
        manager = trimesh.collision.CollisionManager()
        for name, outline in drawn_in.items():
            corners, faces = mesh_of(outline)
            manager.add_object(name, trimesh.Trimesh(corners, faces, process=False))
        found = []
        for row in range(len(_OPENINGS_DEG)):
            for name in drawn_in:
                manager.set_transform(name, motion.matrices[name][row])
            _, pairs = manager.in_collision_internal(return_names=True)
            found.append(pairs)
        return found

    def named(result: list[set[tuple[str, str]]]) -> Pairs:
        return {(row, *sorted(pair)) for row, pairs in enumerate(result) for pair in pairs}

    return run, named


def _times(task: tuple[Callable[[], Any], Callable[[Any], Pairs]], repeats: int) -> tuple[list[float], Pairs]:
    run, named = task
    result, times = run(), []
    for _ in range(repeats):
        start = time.perf_counter()
        result = run()
        times.append(time.perf_counter() - start)
    return times, named(result)


def _line(name: str, times: list[float]) -> str:
    return (
        f"  {name:26s} {statistics.median(times):8.3f} s   ({min(times):.3f} to {max(times):.3f} in {len(times)} runs)"
    )


def main() -> int:
    """Print times, their ratio and how time grows; returns 1 where the two do not find the same pairs."""
    spread = crowd(120)
    ours, mine = _times(_ours(spread), _REPEATS)
    theirs, other = _times(_theirs(spread), _REPEATS)
    print(f"collisions: {len(_outlines(spread))} panels, {len(_OPENINGS_DEG)} openings")
    print(_line("Hingeleaf", ours))
    print(_line("trimesh with python-fcl", theirs))
    ratios = sorted(b / a for a in ours for b in theirs)
    print(
        f"  ratio {statistics.median(theirs) / statistics.median(ours):.1f} (every run against every run: "
        f"{ratios[0]:.1f} to {ratios[-1]:.1f})"
    )
    same = mine == other
    times = []
    print(f"  pairs found: {len(mine)} and {len(other)}, {'the same' if same else f'{len(mine ^ other)} differ'}")
    print("how time grows (sweep, and the whole check with first contacts)")
    for panels in (30, 60, 120, 240, 480):
        larger = crowd(panels)
        sweep, found = _times(_ours(larger), 3)
        start = time.perf_counter()
        findings = check_collisions(larger)
        whole = time.perf_counter() - start
        times.append((len(_outlines(larger)), statistics.median(sweep)))
        print(
            f"  {len(_outlines(larger)):4d} panels {statistics.median(sweep):8.3f} s, {len(found)} hits; "
            f"check {whole:.3f} s, {len(findings)} findings"
        )
    growth = float(np.polyfit(*np.log(np.array(times)).T, 1)[0])
    print(f"  time grows as n^{growth:.2f}")
    what = f"collisions of {len(_outlines(spread))} panels at {len(_OPENINGS_DEG)} openings"
    noted(Figure(what, "trimesh with python-fcl", f"{spread_of(ratios)} times as fast", "", f"n^{growth:.2f}"))
    return 0 if same and mine else 1


if __name__ == "__main__":
    raise SystemExit(main())
