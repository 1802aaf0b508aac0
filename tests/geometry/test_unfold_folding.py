"""Nets that fold up: exact at both ends, every crease whole on the way."""

import numpy as np
import pytest

from geometry.unfold.facets import facets_of
from geometry.unfold.folding import folded_poses
from geometry.unfold.placing import placed_rings
from geometry.unfold.unfolding import unfold_facets
from tests.geometry import unfold_meshes

MODELS = ("box", "house", "torus", "letters")
AMOUNTS = (0.0, 1e-9, 0.25, 0.7, 1.0)


@pytest.fixture(scope="module", params=MODELS)
def folding(request):
    """A model's nets, and their poses at all amounts."""
    model = unfold_facets(facets_of(getattr(unfold_meshes, request.param)()))
    return model, folded_poses(model, AMOUNTS)


def carried(matrix, ring):
    """Points of a net in space."""
    return np.column_stack([ring, np.zeros(len(ring)), np.ones(len(ring))]) @ matrix[:3].T


def test_folded_nets_are_the_solid(folding):
    model, poses = folding
    for number, net in enumerate(model.nets):
        for place, (facet, rings) in enumerate(zip(net.facets.tolist(), placed_rings(model, number), strict=True)):
            for ring, vertices in zip(rings, model.facets.rings[facet], strict=True):
                for amount in (0, 1):
                    apart = carried(poses[number][amount, place], ring) - model.facets.vertices[vertices]
                    assert np.abs(apart).max() < 1e-6 * model.facets.size_mm


def test_flat_nets_lie_beside_each_other_and_the_solid(folding):
    model, poses = folding
    right = model.facets.vertices[:, 0].max()
    for number, each in enumerate(poses):
        corners = np.concatenate(
            [carried(matrix, rings[0]) for matrix, rings in zip(each[-1], placed_rings(model, number), strict=True)]
        )
        assert np.allclose(corners[:, 2], model.facets.vertices[:, 2].min(), atol=1e-9)
        assert corners[:, 0].min() > right + 1.0
        right = corners[:, 0].max()


def test_creases_stay_whole_and_facets_rigid(folding):
    model, poses = folding
    facets = model.facets
    for number, net in enumerate(model.nets):
        rotations = poses[number][..., :3, :3]
        assert np.allclose(np.swapaxes(rotations, -1, -2) @ rotations, np.eye(3), atol=1e-9)
        assert np.all(np.linalg.det(rotations) > 0.0)
        rings = placed_rings(model, number)
        for place, edge in enumerate(net.folds.tolist()):
            if edge < 0:
                continue
            ends = []
            for at in (place, int(net.parents[place])):
                facet = int(net.facets[at])
                corner = dict(zip(facets.rings[facet][0].tolist(), rings[at][0], strict=True))
                for vertices, ring in zip(facets.rings[facet][1:], rings[at][1:], strict=True):
                    corner |= dict(zip(vertices.tolist(), ring, strict=True))
                line = np.array([corner[v] for v in facets.edges[edge].tolist()])
                ends.append(np.array([carried(matrix, line) for matrix in poses[number][:, at]]))
            assert np.abs(ends[0] - ends[1]).max() < 1e-8 * facets.size_mm


def test_creases_turn_evenly():
    model = unfold_facets(facets_of(unfold_meshes.box()))
    (poses,) = folded_poses(model, [0.0, 0.5, 1.0])
    net = model.nets[0]
    for place, parent in enumerate(net.parents.tolist()):
        if parent >= 0:
            turns = [pose[parent, :3, 2] @ pose[place, :3, 2] for pose in poses]
            assert np.degrees(np.arccos(np.clip(turns, -1, 1))) == pytest.approx([90.0, 45.0, 0.0], abs=1e-5)
