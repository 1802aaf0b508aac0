"""A net as the points, faces and lines of a mesh that unfolds: what is drawn, and where it is while it folds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .geometry.transforms import Array
from .geometry.unfold.data import Facets, Ints, Unfolded
from .geometry.unfold.tabs import Join

__all__ = ["CUT_LINE", "NetMesh", "net_meshes", "posed"]

#: Kinds of lines: cut or rim, mountain, valley, and the crease of a tab.
CUT_LINE, MOUNTAIN_LINE, VALLEY_LINE, TAB_LINE = 0, 1, 2, 3
#: A facet whose faces have another area by more than this part of it is drawn by its triangles.
_SAME_AREA = 1e-5
#: A tab goes in by so much more than the card beyond its cut, radians, so that it lies behind that.
_BEHIND = np.radians(3.0)


@dataclass(frozen=True)
class NetMesh:
    """A net as a mesh.

    Parameters
    ----------
    flat : (n, 2) float, mm, net coordinates; the ends of lines come last, two a line
    at : (n,) int, the position in its net of the facet that each point lies on
    hinge : (n,) int, number in tabs of the tab that each point is turned with, -1 for none
    tabs : (k, 5) float; of each tab the two ends of its crease on the net, and how far it bends when folded, radians
    faces : of each face its points
    surfaces : (m,) int, surface of each face, -1 for plain card
    uv : (c, 2) float, of each corner of the faces
    edges : (l,) int, edge of each line, -1 for the outline of a tab
    kinds : (l,) int, kind of each line
    labels : of each line, "" for none
    """

    flat: Array
    at: Ints
    hinge: Ints
    tabs: Array
    faces: Sequence[Sequence[int]]
    surfaces: Ints
    uv: Array
    edges: Ints
    kinds: Ints
    labels: Sequence[str]


@dataclass(frozen=True)
class _Face:
    """One face: its corners in the facet's plane, their UV coordinates, its surface."""

    corners: Array
    uv: Array
    surface: int


def net_meshes(unfolded: Unfolded, joins: Sequence[Join]) -> list[NetMesh]:
    """Every net of a model as a mesh."""
    facets = unfolded.facets
    faces = _faces_of(facets)
    ends = _ends_in_planes(facets)
    around = _edges_of(facets)
    label = {join.edge: join.label for join in joins}
    tabs = _tabs_of(joins)
    return [_net_mesh(unfolded, number, faces, ends, around, label, tabs) for number in range(len(unfolded.nets))]


def _net_mesh(
    unfolded: Unfolded,
    number: int,
    faces: Sequence[Sequence[_Face]],
    ends: Array,
    around: Sequence[Sequence[tuple[int, int]]],
    label: dict[int, str],
    tabs: dict[tuple[int, int], Array],
) -> NetMesh:
    net, made, facets = unfolded.nets[number], _Maker(), unfolded.facets
    folds = {int(edge) for edge in net.folds if edge >= 0}
    for position, facet in enumerate(net.facets.tolist()):
        placed = net.placed[position]
        for face in faces[facet]:
            made.face(face.corners @ placed[:, :2].T + placed[:, 2], position, face.uv, face.surface)
        for edge, side in around[facet]:
            # The facet lies left of its lines.
            line = ends[edge, side, :: 1 - 2 * side] @ placed[:, :2].T + placed[:, 2]
            if edge in folds:
                if net.folds[position] == edge:
                    kind = MOUNTAIN_LINE if facets.bends[edge] > 0 else VALLEY_LINE
                    made.line(line, position, edge, kind, "")
                continue
            tab = tabs.get((edge, facet))
            made.line(line, position, edge, CUT_LINE if tab is None else TAB_LINE, label.get(edge, ""))
            if tab is not None:
                made.tab(tab, line, position, float(facets.bends[edge]))
    return made.done()


class _Maker:
    """Collects the parts of one mesh."""

    def __init__(self) -> None:
        self._points: list[Array] = []
        self._at: list[tuple[int, int]] = []
        self._faces: list[list[int]] = []
        self._surfaces: list[int] = []
        self._uv: list[Array] = []
        self._tabs: list[Array] = []
        self._lines: list[tuple[Array, int, int, int, int, str]] = []

    def face(self, corners: Array, position: int, uv: Array, surface: int, hinge: int = -1) -> None:
        """Add a face."""
        first = len(self._at)
        self._faces.append(list(range(first, first + len(corners))))
        self._points.append(corners)
        self._at += [(position, hinge)] * len(corners)
        self._surfaces.append(surface)
        self._uv.append(uv)

    def line(self, ends: Array, position: int, edge: int, kind: int, label: str, hinge: int = -1) -> None:
        """Add a line."""
        self._lines.append((ends, position, hinge, edge, kind, label))

    def tab(self, outline: Array, line: Array, position: int, bend: float) -> None:
        """Add a tab with its outline, turned about a line."""
        hinge = len(self._tabs)
        self._tabs.append(np.array([*line.ravel(), bend]))
        self.face(outline, position, np.zeros((len(outline), 2)), -1, hinge)
        for one, other in zip(outline, np.roll(outline, -1, axis=0), strict=True):
            if not (_on(one, line) and _on(other, line)):
                self.line(np.array([one, other]), position, -1, CUT_LINE, "", hinge)

    def done(self) -> NetMesh:
        """The mesh."""
        ends = [line[0] for line in self._lines]
        at = np.array([*self._at, *(line[1:3] for line in self._lines for _ in range(2))], dtype=np.int64)
        return NetMesh(
            flat=np.concatenate([*self._points, *ends]),
            at=at[:, 0],
            hinge=at[:, 1],
            tabs=np.array(self._tabs).reshape(-1, 5),
            faces=self._faces,
            surfaces=np.array(self._surfaces, dtype=np.int64),
            uv=np.concatenate(self._uv),
            edges=np.array([line[3] for line in self._lines], dtype=np.int64),
            kinds=np.array([line[4] for line in self._lines], dtype=np.int64),
            labels=[line[5] for line in self._lines],
        )


def _on(point: Array, line: Array) -> bool:
    """Whether a point lies on a line, to a thousandth of its length."""
    along = line[1] - line[0]
    away = point - line[0]
    return bool(abs(along[0] * away[1] - along[1] * away[0]) < 1e-3 * float(along @ along))


def posed(mesh: NetMesh, matrices: Array, folded: float) -> Array:
    """Where the points of a net are.

    Parameters
    ----------
    mesh : NetMesh
    matrices : (k, 4, 4) float, where each facet of the net is, from net coordinates
    folded : how far tabs are turned in, 1 in the solid, 0 laid flat

    Returns
    -------
    (n, 3) float, mm
    """
    points = np.column_stack([mesh.flat, np.zeros(len(mesh.flat))])
    turned = mesh.hinge >= 0
    if turned.any():
        points[turned] = _turned_in(points[turned], mesh.tabs[mesh.hinge[turned]], folded)
    onto = matrices[mesh.at]
    return np.asarray(np.einsum("nij,nj->ni", onto[:, :3, :3], points) + onto[:, :3, 3])


def _turned_in(points: Array, tabs: Array, folded: float) -> Array:
    """Points of tabs turned about their creases, down for a mountain."""
    start, end, bend = tabs[:, 0:2], tabs[:, 2:4], tabs[:, 4]
    along = (end - start) / np.linalg.norm(end - start, axis=1)[:, None]
    moved = points[:, :2] - start
    along_it = np.einsum("ni,ni->n", moved, along)
    away = moved - along_it[:, None] * along
    angle = folded * (bend + _BEHIND)
    flat = start + along_it[:, None] * along + np.cos(angle)[:, None] * away
    return np.column_stack([flat, -np.sin(angle) * np.linalg.norm(away, axis=1)])


def _tabs_of(joins: Sequence[Join]) -> dict[tuple[int, int], Array]:
    """Outlines of tabs by their edge and the facet that they hang on."""
    found: dict[tuple[int, int], Array] = {}
    for join in joins:
        if join.tab is not None:
            facet = join.sides[join.tab_side].facet
            found[(join.edge, facet)] = np.asarray(join.tab, dtype=float)
    return found


def _ends_in_planes(facets: Facets) -> Array:
    """Both ends of every edge in the planes of its two facets, (e, 2, 2 ends, 2) float; at a rim twice the same."""
    sides = np.where(facets.sides < 0, facets.sides[:, :1], facets.sides)
    frames = facets.frames[sides]
    away = facets.vertices[facets.edges][:, None] - frames[:, :, None, :3, 3]
    return np.asarray(np.einsum("esvi,esij->esvj", away, frames[:, :, :3, :2]))


def _edges_of(facets: Facets) -> list[list[tuple[int, int]]]:
    """Of each facet its edges, and which of the edge's two sides it is."""
    found: list[list[tuple[int, int]]] = [[] for _ in facets.rings]
    for edge, (one, other) in enumerate(facets.sides.tolist()):
        found[one].append((edge, 0))
        if other >= 0:
            found[other].append((edge, 1))
    return found


def _faces_of(facets: Facets) -> list[list[_Face]]:
    """The faces that each facet is drawn by: those that it was joined from, else its triangles."""
    mesh = facets.mesh
    sizes = np.diff(mesh.starts)
    of = np.repeat(np.arange(len(sizes)), sizes)
    after = np.arange(1, len(mesh.corners) + 1)
    after[mesh.starts[1:][sizes > 0] - 1] = mesh.starts[:-1][sizes > 0]
    vectors = np.zeros((len(sizes), 3))
    np.add.at(vectors, of, np.cross(mesh.vertices[mesh.corners], mesh.vertices[mesh.corners[after]]) / 2)
    areas = np.linalg.norm(vectors, axis=1)
    wanted = facets.areas_mm2
    triangles: list[list[Ints]] = [[] for _ in facets.rings]
    for facet, triangle in zip(facets.facet_of.tolist(), facets.triangles, strict=True):
        triangles[facet].append(triangle)
    found = []
    for facet, source in enumerate(facets.source):
        whole = abs(float(areas[source].sum()) - wanted[facet]) <= _SAME_AREA * wanted[facet]
        found.append(_whole_faces(facets, facet) if whole else _triangles(facets, facet, triangles[facet]))
    return found


def _whole_faces(facets: Facets, facet: int) -> list[_Face]:
    mesh, found = facets.mesh, []
    for face in facets.source[facet].tolist():
        corners = np.arange(mesh.starts[face], mesh.starts[face + 1])
        flat = _in_plane(facets.frames[facet], mesh.vertices[mesh.corners[corners]])
        after = np.roll(flat, -1, axis=0)
        if float((flat[:, 0] * after[:, 1] - after[:, 0] * flat[:, 1]).sum()) < 0:
            flat, corners = flat[::-1], corners[::-1]
        found.append(_Face(flat, _uv_of(facets, corners), _surface_of(facets, face)))
    return found


def _triangles(facets: Facets, facet: int, triangles: Sequence[Ints]) -> list[_Face]:
    """Triangles of a facet; each takes the surface and the UV coordinates of the face that its middle is nearest to."""
    mesh, found = facets.mesh, []
    source = facets.source[facet].tolist()
    middles = np.array([mesh.vertices[mesh.face(face)].mean(axis=0) for face in source])
    for triangle in triangles:
        places = facets.vertices[triangle]
        face = source[int(np.argmin(np.linalg.norm(middles - places.mean(axis=0), axis=1)))]
        own = mesh.vertices[mesh.face(face)]
        nearest = np.argmin(np.linalg.norm(own[None] - places[:, None], axis=2), axis=1)
        uv = _uv_of(facets, mesh.starts[face] + nearest)
        found.append(_Face(_in_plane(facets.frames[facet], places), uv, _surface_of(facets, face)))
    return found


def _in_plane(frame: Array, places: Array) -> Array:
    return np.asarray((places - frame[:3, 3]) @ frame[:3, :2])


def _uv_of(facets: Facets, corners: Ints) -> Array:
    return np.zeros((len(corners), 2)) if facets.mesh.uv is None else np.asarray(facets.mesh.uv[corners])


def _surface_of(facets: Facets, face: int) -> int:
    return -1 if facets.mesh.surface_of is None else int(facets.mesh.surface_of[face])
