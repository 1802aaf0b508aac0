"""How many nets the regular solids have, by unfolding along every spanning tree.

Sources: tetrahedron 2, cube 11, octahedron 11 nets; dodecahedron and icosahedron 43,380 each (F. Buekenhout and M.
Parker, The number of nets of the regular convex polytopes in dimension <= 4, Discrete Mathematics 186, 1998;
recalled). Trees by Kirchhoff's theorem (1847), by networkx: 16, 384, 384, 5,184,000, 5,184,000. No net of a regular
solid overlaps itself (T. Horiyama and W. Shoji, CCCG 2011; recalled).
"""

from __future__ import annotations

from itertools import combinations

import networkx as nx
import numpy as np
import pytest

from geometry.unfold.facets import facets_of
from geometry.unfold.hinges import hinges_of
from geometry.unfold.placing import placed_rings
from geometry.unfold.unfolding import nets_from
from tests.geometry import unfold_judge as judge
from tests.published.test_unfold_platonic import SOLIDS, solid

#: Trees, nets.
COUNTS = {
    "tetrahedron": (16, 2),
    "cube": (384, 11),
    "octahedron": (384, 11),
    "dodecahedron": (5_184_000, 43_380),
    "icosahedron": (5_184_000, 43_380),
}


def dual(facets):
    """Facets as nodes, edges as edges."""
    graph = nx.Graph()
    graph.add_edges_from((one, other, {"edge": edge}) for edge, (one, other) in enumerate(facets.sides.tolist()))
    return graph


def unfoldings(name):
    """One Unfolded for each spanning tree."""
    facets = facets_of(solid(name))
    hinges = hinges_of(facets)
    pairs = list(zip(hinges.first.tolist(), hinges.second.tolist(), strict=True))
    for chosen in combinations(range(len(pairs)), len(facets.rings) - 1):
        graph = nx.Graph([pairs[hinge] for hinge in chosen])
        if len(graph) == len(facets.rings) and nx.is_tree(graph):
            folded = np.zeros(len(pairs), dtype=bool)
            folded[list(chosen)] = True
            yield nets_from(facets, hinges, folded)


def shape_of(unfolded):
    """The same for congruent nets, mirrored ones too: all corners and middles of facets, from the best of all sides."""
    rings = [ring[0] for ring in placed_rings(unfolded, 0)]
    corners = np.concatenate([*rings, [ring.mean(axis=0) for ring in rings]])
    kind = np.array([0] * sum(map(len, rings)) + [1] * len(rings))
    z = corners[:, 0] + 1j * corners[:, 1]
    z -= np.concatenate([ring.mean(axis=0)[None] for ring in rings]).mean(axis=0) @ [1, 1j]
    far = z[np.abs(z) > np.abs(z).max() - 1e-6]
    looks = []
    for point in far:
        for view in (z * np.conj(point), np.conj(z) * point):
            view = view / np.abs(point)
            keys = np.round(np.c_[kind, view.real, view.imag], 4) + 0.0
            looks.append(tuple(map(tuple, np.unique(keys, axis=0).tolist())))
    return min(looks)


@pytest.mark.parametrize("name", COUNTS)
def test_trees_by_kirchhoff(name):
    facets = facets_of(solid(name))
    trees, nets = COUNTS[name]
    assert round(nx.number_of_spanning_trees(dual(facets))) == trees
    # Each net comes from as many trees as the solid has symmetries, or fewer if it is symmetrical itself.
    symmetries = {4: 24, 6: 48, 8: 48, 12: 120, 20: 120}[len(facets.rings)]
    assert trees / symmetries <= nets <= 2 * trees / symmetries + 2


@pytest.mark.parametrize("name", ["tetrahedron", "cube", "octahedron"])
def test_every_tree_unfolds_and_as_many_nets_are_different(name):
    trees, nets = COUNTS[name]
    every = list(unfoldings(name))
    assert len(every) == trees
    by_shape = {}
    for unfolded in every:
        by_shape.setdefault(shape_of(unfolded), unfolded)
    assert len(by_shape) == nets
    for unfolded in by_shape.values():
        assert judge.faults(unfolded) == []


@pytest.mark.parametrize("name", ["dodecahedron", "icosahedron"])
def test_trees_drawn_by_chance_never_overlap(name):
    facets = facets_of(solid(name))
    hinges = hinges_of(facets)
    graph, rng = dual(facets), np.random.default_rng(17)
    for _ in range(12):
        for _, _, data in graph.edges(data=True):
            data["weight"] = float(rng.random())
        folds = [data["edge"] for _, _, data in nx.minimum_spanning_edges(graph, data=True)]
        unfolded = nets_from(facets, hinges, np.isin(hinges.edges, folds))
        assert len(unfolded.nets) == 1
        assert judge.faults(unfolded) == []
    assert len(SOLIDS[name][0]) - 1 == len(unfolded.cuts)
