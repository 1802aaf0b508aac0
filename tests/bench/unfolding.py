"""Benchmark: models of 1,000 to 80,000 triangles as nets, against a plain breadth-first unfolding.

The peer grows one tree from a facet, breadth first, and lays it flat; it looks for no overlaps. Its time is the floor
that ours is measured by. Its tree is then split where it overlaps, in as few places as our own greedy choice finds: the
pieces that makes are what our nets are counted against. How time grows is fitted over all sizes; times are processor
time. Run it as ``python -m tests.bench.unfolding``.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable, Iterator

import numpy as np

from geometry.unfold.data import Facets, Mesh
from geometry.unfold.facets import facets_of
from geometry.unfold.forests import forest_of, laid_out, split
from geometry.unfold.hinges import Hinges, hinges_of
from geometry.unfold.unfolding import unfold_facets
from tests.bench.figures import Figure, noted, spread_of

__all__ = ["main"]

SIZES = (1_000, 5_000, 20_000, 80_000)
WANTED_GROWTH, WANTED_FEWER, WANTED_SECONDS = 1.2, 3.0, 20.0


def triangle_mesh(name: str, vertices: np.ndarray, triangles: np.ndarray) -> Mesh:
    """A mesh of triangles alone."""
    return Mesh(name, vertices, triangles.ravel().astype(np.int64), np.arange(0, triangles.size + 1, 3))


def tube(name: str, line: Callable[[np.ndarray], np.ndarray], radius: float, count: int, along: float) -> Mesh:
    """A closed tube about a closed line, of about so many triangles, `along` times as many round as along."""
    long = int(np.sqrt(count / 2 * along))
    wide = count // 2 // long
    at = 2 * np.pi * np.arange(long) / long
    centres = line(at)
    ahead = np.roll(centres, -1, axis=0) - np.roll(centres, 1, axis=0)
    ahead /= np.linalg.norm(ahead, axis=1)[:, None]
    out = np.cross(ahead, (0.1, 0.2, 1.0))
    out /= np.linalg.norm(out, axis=1)[:, None]
    up = np.cross(ahead, out)
    turn = 2 * np.pi * np.arange(wide) / wide
    ring = np.cos(turn)[None, :, None] * out[:, None] + np.sin(turn)[None, :, None] * up[:, None]
    vertices = (centres[:, None] + radius * ring).reshape(-1, 3)
    i, j = (part.ravel() for part in np.meshgrid(np.arange(long), np.arange(wide), indexing="ij"))
    corners = [(i + a) % long * wide + (j + b) % wide for a, b in ((0, 0), (1, 0), (1, 1), (0, 1))]
    a, b, c, d = corners
    return triangle_mesh(name, vertices, np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)]))


def ball(name: str, count: int, bumps: float, waves: float, seed: int) -> Mesh:
    """Points in a spiral over a sphere, their hull, pushed in and out by smooth noise."""
    from scipy.spatial import ConvexHull

    number = np.arange(count // 2 + 2) + 0.5
    down, round_it = np.arccos(1 - 2 * number / len(number)), np.pi * (1 + 5**0.5) * number
    way = np.stack([np.cos(round_it) * np.sin(down), np.sin(round_it) * np.sin(down), np.cos(down)], 1)
    faces = ConvexHull(way)
    a, b, c = (way[faces.simplices[:, corner]] for corner in range(3))
    inwards = np.einsum("ij,ij->i", np.cross(b - a, c - a), a) < 0
    triangles = np.where(inwards[:, None], faces.simplices[:, ::-1], faces.simplices)
    chance = np.random.default_rng(seed)
    noise = sum(
        chance.uniform(0.3, 1) * np.sin(way @ (chance.normal(size=3) * waves) + chance.uniform(0, 6)) for _ in range(12)
    )
    return triangle_mesh(name, 50 * way * (1 + bumps * noise / 4)[:, None], triangles)


def models(count: int) -> Iterator[Mesh]:
    """Our own models of about so many triangles."""
    yield ball("blob", count, 0.25, 6.0, 1)
    yield ball("rough ball", count, 0.08, 40.0, 1)
    yield tube("ring", lambda at: 50 * np.stack([np.cos(at), np.sin(at), 0 * at], 1), 20.0, count, 2.0)
    yield tube(
        "trefoil",
        lambda at: (
            15 * np.stack([np.sin(at) + 2 * np.sin(2 * at), np.cos(at) - 2 * np.cos(2 * at), -np.sin(3 * at)], 1)
        ),
        8.0,
        count,
        6.0,
    )
    yield ball("sphere", count, 0.0, 1.0, 1)


def breadth_first(hinges: Hinges) -> np.ndarray:
    """Folds of one tree from facet 0, (m,) bool, laid flat; the time of this is the floor."""
    around: list[list[tuple[int, int]]] = [[] for _ in range(hinges.count)]
    for hinge, (one, two) in enumerate(zip(hinges.first.tolist(), hinges.second.tolist(), strict=True)):
        around[one].append((two, hinge))
        around[two].append((one, hinge))
    seen, folded, queue = {0}, np.zeros(len(hinges.edges), dtype=bool), deque([0])
    while queue:
        for other, hinge in around[queue.popleft()]:
            if other not in seen:
                seen.add(other)
                folded[hinge] = True
                queue.append(other)
    laid_out(hinges, forest_of(hinges, np.flatnonzero(folded).tolist()))
    return folded


def measured(facets: Facets) -> tuple[float, float, int, int]:
    """Seconds of ours, seconds of the peer, our nets, the peer's pieces."""
    start = time.process_time()
    nets = len(unfold_facets(facets).nets)
    ours = time.process_time() - start
    start = time.process_time()
    hinges = hinges_of(facets)
    folded = breadth_first(hinges)
    theirs = time.process_time() - start
    pieces = hinges.count - int(split(hinges, folded, np.ones(len(hinges.edges))).sum())
    return ours, theirs, nets, pieces


def main(sizes: tuple[int, ...] = SIZES) -> int:
    """Print times, nets and how they grow; 1 where a wanted figure is missed."""
    print("unfolding, against a plain breadth-first tree that looks for no overlaps (processor time)")
    print(f"  {'':12}{'triangles':>10}{'ours':>10}{'peer':>10}{'ratio':>8}{'nets':>7}{'pieces':>8}{'fewer':>8}")
    rows: dict[str, list[tuple[int, float, float, int, int]]] = {}
    for size in sizes:
        for mesh in models(size):
            facets = facets_of(mesh)
            row = (len(facets.rings), *measured(facets))
            rows.setdefault(mesh.name, []).append(row)
            count, ours, theirs, nets, pieces = row
            print(
                f"  {mesh.name:12}{count:10}{ours:9.2f}s{theirs:9.3f}s{ours / theirs:7.0f}x{nets:7}{pieces:8}"
                f"{pieces / nets:7.1f}x",
                flush=True,
            )
    good = True
    for name, found in rows.items():
        counts, seconds = np.log([row[0] for row in found]), np.log([row[1] for row in found])
        growth = float(np.polyfit(counts, seconds, 1)[0]) if len(found) > 1 else 0.0
        nets, pieces = sum(row[3] for row in found), sum(row[4] for row in found)
        # Where the peer's tree falls in few pieces already, nothing is left to save: one net is the fewest there are.
        enough = pieces >= WANTED_FEWER * nets or nets == len(found)
        print(
            f"  {name:12} time grows as n^{growth:.2f}, {nets} nets against {pieces} pieces: {pieces / nets:.1f}x fewer"
        )
        good = good and growth <= WANTED_GROWTH and enough
        noted(
            Figure(
                f"nets of a {name}, {found[0][0]} to {found[-1][0]} triangles: {pieces / nets:.1f} times fewer",
                "a breadth-first tree, no overlaps looked for",
                f"{spread_of([row[1] / row[2] for row in found], 0)} times as long",
                "",
                f"n^{growth:.2f}",
            )
        )
    middle = [row[1] for found in rows.values() for row in found if 10_000 < row[0] < 40_000]
    if middle:
        print(
            f"  20,000 triangles take {min(middle):.1f} to {max(middle):.1f} s, at most {WANTED_SECONDS:.0f} s wanted"
        )
        good = good and max(middle) <= WANTED_SECONDS
    return 0 if good else 1


if __name__ == "__main__":
    raise SystemExit(main())
