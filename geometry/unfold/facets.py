"""A mesh as flat facets: repaired, its coplanar faces joined, its edges found."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import shapely

from ..transforms import Array
from .crossings import crossing_notes
from .data import CUT, Facets, Flags, Ints, Mesh, MeshNote
from .joining import halved, joined
from .levelling import furthest_off, levelled, region_frames
from .mesh_options import MeshOptions
from .repair import Repaired, area_vectors, repaired
from .rings import Outlines, outlines
from .triangulating import flat_polygons, triangulated
from .wording import counted

__all__ = ["facets_of"]

#: An outline that holds another area than its triangles by more than this part of it is not theirs.
_SAME_AREA = 1e-4
#: Corners of a flattened region lie no further from its plane than this part of the size: its edges are then nearly as
#: long in the plane as in space, by the square of that.
_LEVEL = 3e-4
#: Of what is flat but for the rounding of coordinates every corner is brought as near to its plane, as a part of the
#: size: folded back along many creases, the tilt of short edges would add up otherwise.
_EXACT = 1e-10
#: No vertex is moved further than this part of the size to keep the area.
_LEAST_SCALED, _MOST_SCALED = 1e-11, 2e-7


@dataclass(frozen=True)
class _Drawn:
    """Regions drawn in their planes.

    Parameters
    ----------
    vertices : (v, 3) float, mm
    region : (t,) int, of each triangle of the repaired mesh
    lines : Outlines, the outer ring of each region first
    frames : (f, 4, 4) float
    flat : of each region its rings, each (k, 2) float
    triangles : (t, 3) int, without new corners
    of : (t,) int, the region of each
    """

    vertices: Array
    region: Ints
    lines: Outlines
    frames: Array
    flat: list[list[Array]]
    triangles: Ints
    of: Ints


def facets_of(mesh: Mesh, options: MeshOptions | None = None) -> Facets:
    """Repair a mesh and join its coplanar faces.

    Parameters
    ----------
    mesh : Mesh, mm
    options : MeshOptions; those of MeshOptions() if None

    Returns
    -------
    Facets; its mesh is the one given, scaled

    Raises
    ------
    HingeleafError
        Nothing can be unfolded: no faces, or none with an area.
    """
    options = MeshOptions() if options is None else options
    state = repaired(mesh, options)
    flat_rad = math.radians(options.flat_deg)
    region = joined(state, flat_rad)
    parted: set[int] = set()
    while True:
        drawn, done = _drawn(state, region, loose=flat_rad > 0)
        if done.all():
            break
        parted |= set(np.flatnonzero(~done[region]).tolist())
        region = halved(state, region, ~done)
    drawn = _as_large_as(state, drawn)
    facets = _assembled(state, drawn)
    notes = [*facets.notes, *_joining_notes(state, drawn, np.array(sorted(parted)), flat_rad)]
    if options.crossings:
        notes += crossing_notes(facets, state.rounding_mm)
    return replace(facets, notes=tuple(notes))


def _drawn(state: Repaired, region: Ints, *, loose: bool) -> tuple[_Drawn, Flags]:
    """Regions in their planes, and of each whether its outline is simple and holds the area of its triangles."""
    lines = outlines(state, region, loose=loose)
    count = len(lines.rings)
    sizes = np.bincount(region, minlength=count)
    near_mm = state.rounding_mm if loose else _EXACT * _size_mm(state)
    vertices = _levelled(state, lines, state.corners[(sizes == 1)[region]], near_mm)
    broken = np.array([not each for each in lines.rings])
    if broken.any():
        empty = _Drawn(vertices, region, lines, np.zeros((count, 4, 4)), [], np.zeros((0, 3), int), np.zeros(0, int))
        return empty, ~broken
    frames = region_frames(vertices, lines.rings)
    rings, flat, areas, simple = _outer_first(vertices, lines, frames)
    held = np.bincount(region, np.linalg.norm(area_vectors(vertices, state.corners), axis=1), minlength=count)
    done = (sizes == 1) | simple
    if loose:
        done &= (sizes == 1) | (furthest_off(vertices, lines.rings, frames) <= _LEVEL * _size_mm(state))
    else:
        done &= (sizes == 1) | (np.abs(areas - held) <= _SAME_AREA * held)
    large = np.flatnonzero(done & (sizes > 1))
    cut, within, fine = triangulated([rings[n] for n in large], [flat[n] for n in large])
    done[large] &= fine
    alone = (sizes == 1)[region]
    triangles = np.concatenate([state.corners[alone], cut])
    of = np.concatenate([region[alone], large[within]]) if len(large) else region[alone]
    order = np.argsort(of, kind="stable")
    return _Drawn(vertices, region, replace(lines, rings=rings), frames, flat, triangles[order], of[order]), done


def _size_mm(state: Repaired) -> float:
    """Diagonal of the box about what is left of the mesh."""
    return float(np.linalg.norm(np.ptp(state.vertices[state.corners].reshape(-1, 3), axis=0)))


def _levelled(state: Repaired, lines: Outlines, alone: Ints, near_mm: float) -> Array:
    """Vertices moved so that regions are flat, but for those of triangles on their own that this would collapse."""
    vertices = levelled(state.vertices, lines.rings, near_mm)
    before, after = area_vectors(state.vertices, alone), area_vectors(vertices, alone)
    lost = np.einsum("ti,ti->t", before, after) <= 0.1 * np.einsum("ti,ti->t", before, before)
    kept = np.unique(alone[lost])
    vertices[kept] = state.vertices[kept]
    return vertices


def _outer_first(
    vertices: Array, lines: Outlines, frames: Array
) -> tuple[list[list[Ints]], list[list[Array]], Array, Flags]:
    """Rings of each region with the outer one first; their places in its plane; its area; whether it has one outer
    ring."""
    counts = np.array([len(each) for each in lines.rings])
    every = [ring for each in lines.rings for ring in each]
    sizes = np.array([len(ring) for ring in every])
    of_ring = np.repeat(np.arange(len(counts)), counts)
    of = np.repeat(of_ring, sizes)
    numbers = np.concatenate(every)
    moved = vertices[numbers] - frames[of, :3, 3]
    places = np.stack([np.einsum("ki,ki->k", moved, frames[of, :3, axis]) for axis in (0, 1)], axis=1)
    ends = np.cumsum(sizes)
    after = np.arange(1, len(numbers) + 1)
    after[ends - 1] = ends - sizes
    crossed = places[:, 0] * places[after, 1] - places[after, 0] * places[:, 1]
    areas = np.add.reduceat(crossed, ends - sizes) / 2
    outer = np.bincount(of_ring, areas > 0, minlength=len(counts))
    order = np.lexsort((-areas, of_ring)).tolist()
    parts = np.split(places, ends[:-1])
    rings: list[list[Ints]] = [[] for _ in counts]
    flat: list[list[Array]] = [[] for _ in counts]
    for ring, number in zip(order, of_ring.tolist(), strict=True):
        rings[number].append(every[ring])
        flat[number].append(parts[ring])
    total = np.asarray(np.bincount(of_ring, areas, minlength=len(counts)), dtype=float)
    return rings, flat, total, (outer == 1) & (total > 0)


def _as_large_as(state: Repaired, drawn: _Drawn) -> _Drawn:
    """Give back the area that lines lost or won which were straight but for the rounding of coordinates.

    A corner left out that lies a rounding beside its edge changes the area by a part of 1e-8 or so; the whole is
    scaled by
    as little, far less than the rounding itself, so that a net has the area of its mesh.
    """
    meant = float(np.linalg.norm(area_vectors(state.vertices, state.corners), axis=1).sum())
    is_ = float(shapely.area(flat_polygons(drawn.flat)).sum())
    scale = math.sqrt(meant / is_)
    if not _LEAST_SCALED < abs(scale - 1) < _MOST_SCALED:
        return drawn
    centre = drawn.vertices[drawn.triangles].mean(axis=(0, 1))
    frames = drawn.frames.copy()
    frames[:, :3, 3] = centre + scale * (frames[:, :3, 3] - centre)
    vertices = centre + scale * (drawn.vertices - centre)
    flat = [[scale * ring for ring in each] for each in drawn.flat]
    return replace(drawn, vertices=vertices, frames=frames, flat=flat)


def _assembled(state: Repaired, drawn: _Drawn) -> Facets:
    used = np.unique(drawn.triangles)
    number = np.full(len(drawn.vertices), -1)
    number[used] = np.arange(len(used))
    faces = np.unique(drawn.region * len(state.mesh.starts) + state.source)
    of, faces = np.divmod(faces, len(state.mesh.starts))
    sources = np.split(faces, np.flatnonzero(np.diff(of)) + 1)
    vertices = drawn.vertices[used]
    edges = number[drawn.lines.edges]
    return Facets(
        vertices=vertices,
        rings=tuple(tuple(number[ring] for ring in each) for each in drawn.lines.rings),
        frames=drawn.frames,
        flat=tuple(tuple(each) for each in drawn.flat),
        triangles=number[drawn.triangles],
        facet_of=drawn.of,
        edges=edges,
        sides=drawn.lines.sides,
        bends=_bends(vertices, edges, drawn.lines.sides, drawn.frames),
        marks=drawn.lines.marks,
        mesh=state.mesh,
        source=tuple(sources),
        notes=state.notes,
    )


def _bends(vertices: Array, edges: Ints, sides: Ints, frames: Array) -> Array:
    """How far the card bends at each edge, (e,) float, radians; 0 at a rim."""
    along = vertices[edges[:, 1]] - vertices[edges[:, 0]]
    along /= np.linalg.norm(along, axis=1)[:, None]
    one, other = frames[sides[:, 0], :3, 2], frames[sides[:, 1], :3, 2]
    sine = np.einsum("ei,ei->e", np.cross(one, other), along)
    bends = np.arctan2(sine, np.einsum("ei,ei->e", one, other))
    return np.where(sides[:, 1] < 0, 0.0, bends)


def _joining_notes(state: Repaired, drawn: _Drawn, parted: Ints, flat_rad: float) -> list[MeshNote]:
    notes = []
    if len(parted):
        faces = np.unique(state.source[parted])
        text = f"{counted(len(faces), 'face')} in regions that were cut in parts: as one facet they would not be flat."
        notes.append(
            MeshNote("parted", "note", text, state.vertices[state.corners[parted[0], 0]], tuple(faces.tolist()))
        )
    half = np.flatnonzero((state.twins >= 0) & (state.marks == CUT))
    inside = half[drawn.region[half // 3] == drawn.region[state.twins[half] // 3]]
    if len(inside):
        text = f"{counted(len(inside) // 2, 'edge')} marked to be cut lie inside one flat facet; they are not cut."
        notes.append(MeshNote("mark-inside", "warning", text, state.vertices[state.corners.reshape(-1)[inside[0]]]))
    if flat_rad > 0:
        notes += _shape_error(state, drawn, flat_rad)
    return notes


def _shape_error(state: Repaired, drawn: _Drawn, flat_rad: float) -> list[MeshNote]:
    """How far the facets lie from the mesh that they were flattened from."""
    frames = drawn.frames[drawn.region]
    moved = state.vertices[state.corners] - frames[:, None, :3, 3]
    off = np.abs(np.einsum("tci,ti->tc", moved, frames[:, :3, 2]))
    shifted = np.linalg.norm(drawn.vertices - state.vertices, axis=1)
    furthest = max(float(off.max()), float(shifted.max()))
    if furthest <= 2 * state.rounding_mm:
        return []
    at = int(np.argmax(off.max(axis=1)))
    flattened = int(np.count_nonzero(np.bincount(drawn.region) > 1))
    text = (
        f"{counted(flattened, 'facet')} made of faces that bend by up to {math.degrees(flat_rad):g} degrees: "
        f"the shape is off by up to {furthest:.2g} mm."
    )
    return [MeshNote("flattened", "warning", text, state.vertices[state.corners[at, 0]], (int(state.source[at]),))]
