"""The five regular solids, unfolded: counts, angles, areas and outlines that are known.

Sources: dihedral angles arccos(1/3), 90, arccos(-1/3), arccos(-1/sqrt 5), arccos(-sqrt 5/3), that is 70.5288, 90,
109.4712, 116.5651, 138.1897 degrees; areas for edge 1: sqrt 3, 6, 2 sqrt 3, 3 sqrt(25 + 10 sqrt 5), 5 sqrt 3 (H. S.
M. Coxeter, Regular Polytopes, table I; recalled). A net in one piece cuts V - 1 edges, along a tree that spans the
vertices, and keeps F - 1 folds; cut open, each cut is twice in its outline (E. Demaine and J. O'Rourke, Geometric
Folding Algorithms, 2007, chapter 22; recalled). Angle deficits sum to 2 pi chi (Descartes; Gauss and Bonnet).
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial import ConvexHull

from geometry.unfold.cut_options import CutOptions
from geometry.unfold.facets import facets_of
from geometry.unfold.unfolding import unfold_facets
from tests.geometry import unfold_judge as judge
from tests.geometry import unfold_meshes as meshes

GOLDEN = (1 + 5**0.5) / 2
CUBE = [(x, y, z) for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)]


def cyclic(a, b):
    return [p for s in (-a, a) for t in (-b, b) for p in ((0, s, t), (s, t, 0), (t, 0, s))]


#: Corners, edge length; faces, edges, vertices; cosine of the dihedral angle, its degrees; area for edge 1.
SOLIDS = {
    "tetrahedron": ([(1, 1, 1), (1, -1, -1), (-1, 1, -1), (-1, -1, 1)], 8**0.5, (4, 6, 4), 1 / 3, 70.5288, 3**0.5),
    "cube": (CUBE, 2.0, (6, 12, 8), 0.0, 90.0, 6.0),
    "octahedron": (
        [p for s in (-1, 1) for p in ((s, 0, 0), (0, s, 0), (0, 0, s))],
        2**0.5, (8, 12, 6), -1 / 3, 109.4712, 2 * 3**0.5,
    ),
    "dodecahedron": (
        CUBE + cyclic(1 / GOLDEN, GOLDEN),
        2 / GOLDEN, (12, 30, 20), -1 / 5**0.5, 116.5651, 3 * (25 + 10 * 5**0.5) ** 0.5,
    ),
    "icosahedron": (cyclic(1, GOLDEN), 2.0, (20, 30, 12), -(5**0.5) / 3, 138.1897, 5 * 3**0.5),
}  # fmt: skip
EDGE_MM = 25.0
#: Preset, and single precision or double.
WAYS = [("fewest", False), ("shortest", False), ("compact", False), ("fewest", True)]


def solid(name, seed=11):
    """The solid with this edge, turned anyhow and moved."""
    corners, edge, *_ = SOLIDS[name]
    points = np.array(corners, dtype=float) * EDGE_MM / edge
    hull = ConvexHull(points)
    faces = [
        face if np.linalg.det(points[face]) > 0 else face[::-1]  # it holds the origin
        for face in hull.simplices.tolist()
    ]
    turn = meshes.turned_by(np.random.default_rng(seed))
    return meshes.moved(meshes.mesh_of(points, faces, name), (31.0, -17.0, 8.0), turn=turn)


def deficits(facets):
    """2 pi less the angles of the facets at each vertex, (v,) float."""
    left = np.full(len(facets.vertices), 2 * np.pi)
    for rings, flat in zip(facets.rings, facets.flat, strict=True):
        for ring, places in zip(rings, flat, strict=True):
            back, on = np.roll(places, 1, axis=0) - places, np.roll(places, -1, axis=0) - places
            turn = np.arctan2(on[:, 0] * back[:, 1] - on[:, 1] * back[:, 0], np.einsum("ki,ki->k", on, back))
            np.add.at(left, ring, -(turn % (2 * np.pi)))
    return left


@pytest.mark.parametrize(("preset", "single"), WAYS, ids=lambda value: str(value))
@pytest.mark.parametrize("name", SOLIDS)
def test_one_net_with_the_known_counts_area_and_outline(name, preset, single):
    _, _, (faces, edges, vertices), _, _, unit = SOLIDS[name]
    mesh = meshes.single(solid(name)) if single else solid(name)
    unfolded = unfold_facets(facets_of(mesh), CutOptions(preset=preset))
    facets = unfolded.facets
    assert (len(facets.rings), len(facets.edges), len(facets.vertices)) == (faces, edges, vertices)
    assert judge.faults(unfolded, area_mm2=meshes.area_of(mesh)) == []
    assert len(unfolded.nets) == 1
    assert len(unfolded.cuts) == vertices - 1
    assert len(unfolded.nets[0].folds) - 1 == faces - 1
    rel = 1e-6 if single else 1e-9
    assert facets.areas_mm2.sum() == pytest.approx(unit * EDGE_MM**2, rel=rel)
    assert judge.perimeter_mm(unfolded) == pytest.approx(2 * (vertices - 1) * EDGE_MM, rel=max(rel, 1e-7))


@pytest.mark.parametrize("name", SOLIDS)
def test_dihedral_angles(name):
    _, _, _, cosine, degrees, _ = SOLIDS[name]
    facets = facets_of(solid(name))
    dihedral = np.pi - facets.bends
    assert dihedral == pytest.approx(np.full(len(dihedral), np.arccos(cosine)), abs=1e-9)
    assert np.degrees(dihedral) == pytest.approx(np.full(len(dihedral), degrees), abs=5e-5)


@pytest.mark.parametrize("name", SOLIDS)
def test_turned_inside_out_every_edge_is_a_valley_or_it_is_turned_back(name):
    """A closed solid has an outside; whichever way its faces run, they are printed there."""
    mesh = solid(name)
    inverted = meshes.mesh_of(mesh.vertices, [face[::-1] for face in meshes.faces_of(mesh)])
    assert (facets_of(inverted).bends > 0).all()


@pytest.mark.parametrize(
    ("make", "characteristic"),
    [
        *((lambda name=name: solid(name), 2) for name in SOLIDS),
        (meshes.torus, 0),
        (meshes.ring_cube, 2),
        (meshes.star, 2),
        (meshes.creature, 2),
        (meshes.letters, 0 + 0 - 2),  # A and O have one hole, B has two: 2 - 2 g each
        (lambda: meshes.many(4), 8),
    ],
    ids=[*SOLIDS, "torus", "ring cube", "star", "creature", "letters", "four bodies"],
)
def test_angle_deficits_sum_to_the_curvature_of_the_whole(make, characteristic):
    facets = facets_of(make())
    assert (facets.sides[:, 1] >= 0).all()
    assert deficits(facets).sum() == pytest.approx(2 * np.pi * characteristic, abs=1e-6)
