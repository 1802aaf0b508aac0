"""Two solids at which unfolding carelessly goes wrong.

Sources: tetrahedra have nets that overlap themselves, a sharp one is enough (K. Fukuda, about 1990; M. Namiki; told
in E. Demaine and J. O'Rourke, Geometric Folding Algorithms, 2007, section 22.1; recalled). Solids that have no net in
one piece: M. Bern, E. Demaine, D. Eppstein, E. Kuo, A. Mantler, J. Snoeyink, Ununfoldable polyhedra with convex
faces, Comput. Geom. 24, 2003; the cube on a cube, whose square ring is one face, is the plain case with a face that
is not convex (recalled).
"""

from __future__ import annotations

from itertools import combinations

import networkx as nx
import numpy as np
import pytest
import shapely

from geometry.unfold.cut_options import CutOptions
from geometry.unfold.cutting import with_edge_joined
from geometry.unfold.facets import facets_of
from geometry.unfold.hinges import hinges_of
from geometry.unfold.unfolding import nets_from, unfold_facets
from tests.geometry import unfold_judge as judge
from tests.geometry import unfold_meshes as meshes

SHARP = meshes.mesh_of([(4, 7, 1), (5, 6, 1), (3, 9, 1), (10, 0, 0)], [(0, 1, 2), (0, 3, 1), (1, 3, 2), (2, 3, 0)])
PRESETS = ["fewest", "shortest", "compact"]


def trees(hinges, among):
    """Sets of hinges that span these facets without a ring."""
    inside = [h for h in range(len(hinges.edges)) if {int(hinges.first[h]), int(hinges.second[h])} <= set(among)]
    for chosen in combinations(inside, len(among) - 1):
        graph = nx.Graph()
        graph.add_nodes_from(among)
        graph.add_edges_from((int(hinges.first[h]), int(hinges.second[h])) for h in chosen)
        if graph.number_of_edges() == len(chosen) and nx.is_connected(graph):
            yield chosen


def unfolded_along(facets, hinges, chosen):
    folded = np.zeros(len(hinges.edges), dtype=bool)
    folded[list(chosen)] = True
    return nets_from(facets, hinges, folded)


def covered_twice(unfolded):
    """Area that facets of nets have in common, mm2, by what they cover: another way than by the judge's pairs."""
    twice = 0.0
    for number in range(len(unfolded.nets)):
        shapes = shapely.polygons(judge.net_triangles(unfolded, number)[0])
        twice += float(shapely.area(shapes).sum() - shapely.union_all(shapes).area)
    return twice


def test_some_trees_of_the_sharp_tetrahedron_overlap_and_the_judge_sees_just_these():
    facets = facets_of(SHARP)
    hinges = hinges_of(facets)
    every = [unfolded_along(facets, hinges, chosen) for chosen in trees(hinges, range(4))]
    assert len(every) == 16
    common = [covered_twice(unfolded) / facets.areas_mm2.sum() for unfolded in every]
    overlapping = [share > 1e-6 for share in common]
    assert 0 < sum(overlapping) < 16
    assert [bool(judge.overlaps(unfolded, 0)) for unfolded in every] == overlapping
    assert max(share for share, bad in zip(common, overlapping, strict=True) if not bad) < 1e-9


@pytest.mark.parametrize("preset", PRESETS)
def test_the_sharp_tetrahedron_gets_one_net_without_overlap(preset):
    unfolded = unfold_facets(facets_of(SHARP), CutOptions(preset=preset))
    assert judge.faults(unfolded, area_mm2=meshes.area_of(SHARP)) == []
    assert len(unfolded.nets) == 1
    assert covered_twice(unfolded) < 1e-9 * unfolded.facets.areas_mm2.sum()


def test_no_hand_can_make_the_sharp_tetrahedron_overlap():
    """From every good tree, each cut can be joined by hand, and what comes of it is whole again."""
    facets = facets_of(SHARP)
    hinges = hinges_of(facets)
    every = [unfolded_along(facets, hinges, chosen) for chosen in trees(hinges, range(4))]
    good = [unfolded for unfolded in every if not judge.overlaps(unfolded, 0)]
    for unfolded in good:
        for edge in unfolded.cuts.tolist():
            changed = with_edge_joined(unfolded, edge)
            assert edge not in changed.cuts
            assert len(changed.nets) == 1
            assert judge.faults(changed) == []


def test_the_cube_on_a_cube_has_no_net_in_one_piece():
    """All ways in which the small cube can hang in the ring overlap; the rest of the solid hangs on the ring alone."""
    facets = facets_of(meshes.ring_cube())
    hinges = hinges_of(facets)
    (ring,) = [number for number, rings in enumerate(facets.rings) if len(rings) == 2]
    small = [number for number, area in enumerate(facets.areas_mm2) if area == pytest.approx(100.0)]
    assert (len(small), len(facets.rings)) == (5, 11)
    rest = nx.Graph(pair for pair in facets.sides.tolist() if ring not in pair)
    assert sorted(map(sorted, nx.connected_components(rest))) == sorted([small, [*_others(facets, {ring, *small})]])
    ways = 0
    for chosen in trees(hinges, [ring, *small]):
        unfolded = unfolded_along(facets, hinges, chosen)
        (number,) = [number for number, net in enumerate(unfolded.nets) if ring in net.facets]
        assert len(unfolded.nets[number].facets) == 6
        assert judge.overlaps(unfolded, number)
        ways += 1
    assert ways == 384


def _others(facets, known):
    return (facet for facet in range(len(facets.rings)) if facet not in known)


@pytest.mark.parametrize("preset", PRESETS)
def test_the_cube_on_a_cube_is_made_of_two_nets(preset):
    mesh = meshes.ring_cube()
    unfolded = unfold_facets(facets_of(mesh), CutOptions(preset=preset))
    assert judge.faults(unfolded, area_mm2=meshes.area_of(mesh)) == []
    assert len(unfolded.nets) == 2
