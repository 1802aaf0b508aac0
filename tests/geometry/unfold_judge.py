"""What must hold of any unfolded mesh, judged by numpy and shapely from the numbers alone.

Nothing of the core is used here but the values it hands over: areas, bends, hinges and the folded solid are worked out
again in another way, so that a mistake in the core is not made twice.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import shapely

from geometry.unfold.data import CUT, Facets, Net, Unfolded

__all__ = [
    "MEETS",
    "bodies_of",
    "edge_in",
    "facet_faults",
    "faults",
    "folded_back",
    "net_triangles",
    "overlaps",
    "perimeter_mm",
    "too_large",
]

#: Folded back, a net lands on the mesh within this part of its size.
LANDS = 1e-6
#: Both sides of a fold lie on each other in the net within this part of the size: as rounding to single precision does.
MEETS = 2e-7
#: Area is kept to this part of it.
AREA = 1e-9
#: Two triangles of a net have no more than this part of the smaller one in common.
COMMON = 1e-9
#: What is left of a turn that should be one.
TURN = 1e-11


def faults(unfolded: Unfolded, *, area_mm2: float | None = None, exact: bool = True) -> list[str]:
    """Everything that is wrong with an unfolded mesh, one sentence each; empty if all is right.

    Parameters
    ----------
    unfolded : Unfolded
    area_mm2 : area of the mesh as it is known from elsewhere, mm2, or None
    exact : whether the facets are those of the mesh; not so where they were flattened by a given angle
    """
    return [
        *facet_faults(unfolded.facets, exact=exact),
        *_partition_faults(unfolded),
        *_cut_faults(unfolded),
        *(fault for number in range(len(unfolded.nets)) for fault in _net_faults(unfolded, number, exact=exact)),
        *_area_faults(unfolded, area_mm2, exact=exact),
    ]


# Facets


def facet_faults(facets: Facets, *, exact: bool = True) -> list[str]:
    """What is wrong with the facets themselves: their planes, rings, triangles, edges and bends."""
    found = []
    size, frames = facets.size_mm, facets.frames[:, :3, :3]
    if len(frames) and (
        np.abs(np.einsum("fki,fkj->fij", frames, frames) - np.eye(3)).max() > TURN
        or np.abs(np.linalg.det(frames) - 1).max() > TURN
    ):
        found.append("a facet's frame is not right-handed with unit axes at right angles")
    for number, (rings, flat, frame) in enumerate(zip(facets.rings, facets.flat, facets.frames, strict=True)):
        for ring, places in zip(rings, flat, strict=True):
            gap = np.abs(_lifted(places) @ frame.T - _padded(facets.vertices[ring])).max()
            if exact and gap > LANDS * size:
                found.append(f"facet {number} lies {gap:.3g} mm off its vertices, size {size:.6g} mm")
        shape = shapely.Polygon(flat[0], flat[1:])
        if not shape.is_valid:
            found.append(f"facet {number} is not a simple outline: {shapely.is_valid_reason(shape)}")
        if not all(shapely.LinearRing(each).is_ccw == (place == 0) for place, each in enumerate(flat)):
            found.append(f"facet {number} has a ring that runs the wrong way")
    return [*found, *_edge_faults(facets), *_bend_faults(facets, exact=exact)]


def _edge_faults(facets: Facets) -> list[str]:
    """Whether each stretch of each ring is a side of just one edge, as the contract says."""
    found = []
    stretches = {
        (start, end, number)
        for number, rings in enumerate(facets.rings)
        for ring in rings
        for start, end in pairwise([*ring.tolist(), int(ring[0])])
    }
    count = sum(len(ring) for rings in facets.rings for ring in rings)
    if len(stretches) != count:
        found.append("a facet runs twice along one edge in one direction")
    left = set(stretches)
    for edge, ((start, end), (one, other)) in enumerate(zip(facets.edges.tolist(), facets.sides.tolist(), strict=True)):
        for side in ((start, end, one), (end, start, other)):
            if side[2] < 0:
                continue
            if side not in left:
                found.append(f"edge {edge} is no stretch of facet {side[2]}, or one of another edge too")
            left.discard(side)
        if one == other:
            found.append(f"edge {edge} lies between facet {one} and itself")
    if left:
        found.append(f"{len(left)} stretches of rings belong to no edge, one of them {min(left)}")
    return found


def _bend_faults(facets: Facets, *, exact: bool) -> list[str]:
    """Whether bends are the angles between the normals, above 0 where the edge stands out."""
    inner = facets.sides[:, 1] >= 0
    found = [] if not facets.bends[~inner].any() else ["a rim bends"]
    if not inner.any():
        return found
    normals = facets.frames[:, :3, 2]
    one, other = (normals[facets.sides[inner, side]] for side in (0, 1))
    along = facets.vertices[facets.edges[inner, 1]] - facets.vertices[facets.edges[inner, 0]]
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    turn = np.arctan2(np.einsum("ei,ei->e", np.cross(one, other), along), np.einsum("ei,ei->e", one, other))
    gap = np.abs((turn - facets.bends[inner] + np.pi) % (2 * np.pi) - np.pi)
    # A short edge between facets that were levelled points a little out of their planes.
    allowed = 1e-6 if exact else 0.1
    if gap.max() > allowed:
        worst = int(np.argmax(gap))
        edge = int(np.flatnonzero(inner)[worst])
        found.append(f"edge {edge} bends {turn[worst]:.9g}, not {facets.bends[edge]:.9g} radians")
    return found


# Nets


def _partition_faults(unfolded: Unfolded) -> list[str]:
    """Whether every facet is in one net, once."""
    every = np.concatenate([net.facets for net in unfolded.nets]) if unfolded.nets else np.zeros(0, dtype=int)
    count = len(unfolded.facets.rings)
    return [] if sorted(every.tolist()) == list(range(count)) else ["not every facet is in exactly one net"]


def _cut_faults(unfolded: Unfolded) -> list[str]:
    """Whether cuts and folds share out the edges between facets, and what is to be cut is."""
    facets, found = unfolded.facets, []
    folds = [edge for net in unfolded.nets for edge in net.folds[1:].tolist()]
    inner = set(np.flatnonzero(facets.sides[:, 1] >= 0).tolist())
    cuts = unfolded.cuts.tolist()
    if len(set(folds)) != len(folds) or not set(folds) <= inner:
        found.append("an edge is a fold twice, or is a rim")
    if sorted(cuts) != sorted(inner - set(folds)):
        found.append("the cuts are not the edges between facets that are no folds")
    if len(folds) != len(facets.rings) - len(unfolded.nets):
        found.append(f"{len(facets.rings)} facets in {len(unfolded.nets)} nets have {len(folds)} folds")
    if len(unfolded.nets) < bodies_of(facets):
        found.append(f"{bodies_of(facets)} bodies that do not meet are in {len(unfolded.nets)} nets")
    if set(np.flatnonzero(facets.marks == CUT).tolist()) & set(folds):
        found.append("an edge that is to be cut is a fold")
    return found


def bodies_of(facets: Facets) -> int:
    """How many parts of the facets do not meet at an edge."""
    above = list(range(len(facets.rings)))

    def top(facet: int) -> int:
        while above[facet] != facet:
            above[facet] = above[above[facet]]
            facet = above[facet]
        return facet

    for one, other in facets.sides[facets.sides[:, 1] >= 0].tolist():
        above[top(one)] = top(other)
    return len({top(facet) for facet in range(len(above))})


def _net_faults(unfolded: Unfolded, number: int, *, exact: bool) -> list[str]:
    """What is wrong with one net."""
    facets, net = unfolded.facets, unfolded.nets[number]
    found, size = [], facets.size_mm
    linear = net.placed[:, :, :2]
    if np.abs(np.einsum("kij,klj->kil", linear, linear) - np.eye(2)).max() > TURN:
        found.append("a facet is stretched")
    if (np.linalg.det(linear) < 0).any():
        found.append("a facet is mirrored")
    if net.parents[0] != -1 or net.folds[0] != -1:
        found.append("its first facet hangs on something")
    for place in range(1, len(net.facets)):
        parent, edge = int(net.parents[place]), int(net.folds[place])
        if not 0 <= parent < place:
            return [f"net {number}: {text}" for text in [*found, f"facet at {place} hangs on what comes after it"]]
        pair = {int(net.facets[place]), int(net.facets[parent])}
        if set(facets.sides[edge].tolist()) != pair:
            found.append(f"edge {edge} does not lie between facets {sorted(pair)}")
            continue
        gap = np.abs(edge_in(facets, net, place, edge) - edge_in(facets, net, parent, edge)).max()
        if gap > (MEETS if exact else 1e-4) * size:
            found.append(f"both sides of edge {edge} lie {gap:.3g} mm apart, size {size:.6g} mm")
    if exact and not found:
        gap = max(
            float(np.abs(places - facets.vertices[ring]).max())
            for facet, folded in zip(net.facets.tolist(), folded_back(unfolded, number), strict=True)
            for ring, places in zip(facets.rings[facet], folded, strict=True)
        )
        if gap > LANDS * size:
            found.append(f"folded back it lies {gap:.3g} mm off the mesh, size {size:.6g} mm")
    worst = overlaps(unfolded, number)
    if worst:
        found.append(f"overlaps itself at {len(worst)} pairs of triangles, facets and share {worst[0]}")
    return [f"net {number}: {text}" for text in found]


def edge_in(facets: Facets, net: Net, place: int, edge: int) -> np.ndarray:
    """Start and end of an edge where a facet of a net has it, (2, 2) float, mm."""
    facet = int(net.facets[place])
    where = {
        int(vertex): spot
        for ring, flat in zip(facets.rings[facet], facets.flat[facet], strict=True)
        for vertex, spot in zip(ring, flat, strict=True)
    }
    ends = np.array([where[int(vertex)] for vertex in facets.edges[edge]])
    return ends @ net.placed[place, :, :2].T + net.placed[place, :, 2]


def folded_back(unfolded: Unfolded, number: int) -> list[list[np.ndarray]]:
    """Corners of a net's facets in space when it is folded at each crease by its bend, facet after facet.

    Only the first facet is put where the mesh has it; all others get there by turns about creases of the net.

    Returns
    -------
    of each facet of the net its rings, each (k, 3) float, mm
    """
    facets, net = unfolded.facets, unfolded.nets[number]
    turns: list[np.ndarray] = []
    found = []
    for place, facet in enumerate(net.facets.tolist()):
        sheet = _sheet(net.placed[place])
        if place == 0:
            turns.append(facets.frames[facet] @ np.linalg.inv(sheet))
        else:
            parent, edge = int(net.parents[place]), int(net.folds[place])
            start, end = edge_in(facets, net, parent, edge)
            if facets.sides[edge, 0] != net.facets[parent]:
                start, end = end, start  # so that the facet that it hangs on lies to the left of the crease
            turns.append(turns[parent] @ _turn_about(start, end, float(facets.bends[edge])))
        found.append([(_lifted(ring) @ (turns[place] @ sheet).T)[:, :3] for ring in facets.flat[facet]])
    return found


def _turn_about(start: np.ndarray, end: np.ndarray, angle: float) -> np.ndarray:
    """Turn about a line of the plane; what lies to the right of it goes down for an angle above 0 (Rodrigues)."""
    x, y = (end - start) / np.linalg.norm(end - start)
    cross = np.array([[0, 0, y], [0, 0, -x], [-y, x, 0]])
    matrix = np.eye(4)
    matrix[:3, :3] = np.eye(3) + np.sin(angle) * cross + (1 - np.cos(angle)) * cross @ cross
    origin = np.array([*start, 0.0])
    matrix[:3, 3] = origin - matrix[:3, :3] @ origin
    return matrix


def _sheet(placed: np.ndarray) -> np.ndarray:
    """A placement in the plane as a matrix of space, (4, 4) float."""
    matrix = np.eye(4)
    matrix[:2, :2], matrix[:2, 3] = placed[:, :2], placed[:, 2]
    return matrix


def _lifted(places: np.ndarray) -> np.ndarray:
    return np.c_[places, np.zeros(len(places)), np.ones(len(places))]


def _padded(points: np.ndarray) -> np.ndarray:
    return np.c_[points, np.ones(len(points))]


# Overlaps and areas


def net_triangles(unfolded: Unfolded, number: int) -> tuple[np.ndarray, np.ndarray]:
    """Triangles of a net as they lie in it: corners (t, 3, 2) float, mm, and the facet of each, (t,) int."""
    facets, net = unfolded.facets, unfolded.nets[number]
    place_of = np.full(len(facets.rings), -1)
    place_of[net.facets] = np.arange(len(net.facets))
    mine = place_of[facets.facet_of] >= 0
    of = facets.facet_of[mine]
    frames = facets.frames[of]
    # Into each facet's own plane through its frame, not through the outline that the core has drawn there.
    away = facets.vertices[facets.triangles[mine]] - frames[:, None, :3, 3]
    own = np.einsum("tck,tki->tci", away, frames[:, :3, :2])
    placed = net.placed[place_of[of]]
    return np.einsum("tij,tcj->tci", placed[:, :, :2], own) + placed[:, None, :, 2], of


def overlaps(unfolded: Unfolded, number: int) -> list[tuple[int, int, float]]:
    """Pairs of facets of a net that have an area in common, with its share of the smaller triangle, the worst first."""
    corners, of = net_triangles(unfolded, number)
    shapes = shapely.polygons(corners)
    areas = shapely.area(shapes)
    one, other = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    one, other = one[one < other], other[one < other]
    common = shapely.area(shapely.intersection(shapes[one], shapes[other]))
    # A place in the net is rounded to a few parts in 1e16 of its coordinates, all along a common edge.
    rounding = 1e-14 * np.abs(corners).max() * np.minimum(*(shapely.length(shapes[part]) for part in (one, other)))
    smaller = np.minimum(areas[one], areas[other])
    bad = common > COMMON * smaller + rounding
    shares = common[bad] / smaller[bad]
    found = zip(of[one[bad]].tolist(), of[other[bad]].tolist(), shares.tolist(), strict=True)
    return sorted(found, key=lambda pair: -pair[2])


def _area_faults(unfolded: Unfolded, area_mm2: float | None, *, exact: bool) -> list[str]:
    """Whether the nets have the area of the facets, and these that of the mesh."""
    facets, found = unfolded.facets, []
    a, b, c = np.moveaxis(facets.vertices[facets.triangles], 1, 0)
    solid = float(np.linalg.norm(np.cross(b - a, c - a), axis=1).sum() / 2)
    flat, filled = 0.0, 0.0
    for net in unfolded.nets:
        shapes = []
        for facet, placed in zip(net.facets.tolist(), net.placed, strict=True):
            rings = [ring @ placed[:, :2].T + placed[:, 2] for ring in facets.flat[facet]]
            shapes.append(shapely.Polygon(rings[0], rings[1:]))
        flat += float(shapely.area(shapes).sum())
        filled += float(shapely.union_all(shapely.make_valid(np.array(shapes))).area)
    if exact and abs(flat - solid) > AREA * solid:
        found.append(f"the nets have {flat:.12g} mm2, the facets {solid:.12g}")
    if abs(filled - flat) > AREA * flat:
        found.append(f"the facets in the nets have {flat:.12g} mm2 and cover {filled:.12g}")
    if exact and area_mm2 is not None and abs(solid - area_mm2) > AREA * area_mm2:
        found.append(f"the facets have {solid:.12g} mm2, the mesh {area_mm2:.12g}")
    return found


def perimeter_mm(unfolded: Unfolded) -> float:
    """Length of the outlines of all nets by shapely: of what their facets cover together, mm."""
    total = 0.0
    for net in unfolded.nets:
        rings = [
            shapely.Polygon(*_outline(unfolded.facets, facet, placed))
            for facet, placed in zip(net.facets.tolist(), net.placed, strict=True)
        ]
        total += float(shapely.union_all(rings, grid_size=1e-9 * unfolded.facets.size_mm).length)
    return total


def _outline(facets: Facets, facet: int, placed: np.ndarray) -> tuple[np.ndarray, list[np.ndarray]]:
    outer, *holes = (ring @ placed[:, :2].T + placed[:, 2] for ring in facets.flat[facet])
    return outer, holes


def too_large(unfolded: Unfolded, room_mm: tuple[float, float]) -> list[int]:
    """Nets of two facets or more that fit in no turn, by quarter degrees, in a room of this size."""
    low, high = sorted(room_mm)
    found = []
    for number, net in enumerate(unfolded.nets):
        corners = net_triangles(unfolded, number)[0].reshape(-1, 2)
        hull = shapely.get_coordinates(shapely.convex_hull(shapely.multipoints(corners)))
        sides = np.diff(hull, axis=0)
        angles = np.concatenate([np.radians(np.arange(0, 180, 0.25)), np.arctan2(sides[:, 1], sides[:, 0])])
        across = np.stack([np.cos(angles), np.sin(angles)], axis=1)
        along = np.stack([-np.sin(angles), np.cos(angles)], axis=1)
        width, height = (np.ptp(hull @ way.T, axis=0) for way in (across, along))
        fits = (np.minimum(width, height) <= low * (1 + 1e-9)) & (np.maximum(width, height) <= high * (1 + 1e-9))
        if len(net.facets) > 1 and not fits.any():
            found.append(number)
    return found
