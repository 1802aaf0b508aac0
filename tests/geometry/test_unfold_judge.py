"""The judge of unfolded meshes sees every kind of mistake that is made on purpose here."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geometry.unfold.facets import facets_of
from geometry.unfold.hinges import hinges_of
from geometry.unfold.unfolding import nets_from, unfold_facets
from tests.geometry import unfold_judge as judge
from tests.geometry import unfold_meshes as meshes

PARTS = ("facets", "placed", "parents", "folds")
MIRROR = np.diag([-1.0, 1.0])


def unfolded_box():
    return unfold_facets(facets_of(meshes.moved(meshes.box(), turn=meshes.turned_by(np.random.default_rng(3)))))


def with_net(unfolded, **changes):
    return replace(unfolded, nets=(replace(unfolded.nets[0], **changes), *unfolded.nets[1:]))


def with_facets(unfolded, **changes):
    return replace(unfolded, facets=replace(unfolded.facets, **changes))


def placed(unfolded, change):
    """The last facet of the first net placed in another way."""
    each = unfolded.nets[0].placed.copy()
    each[-1] = change(each[-1])
    return with_net(unfolded, placed=each)


def bends_with(unfolded, change):
    bends = unfolded.facets.bends.copy()
    fold = unfolded.nets[0].folds[1]
    bends[fold] = change(bends[fold])
    return with_facets(unfolded, bends=bends)


def moved_vertex(unfolded):
    vertices = unfolded.facets.vertices.copy()
    vertices[0] += 3e-6 * unfolded.facets.size_mm
    return with_facets(unfolded, vertices=vertices)


def wider(unfolded):
    flat = list(unfolded.facets.flat)
    flat[0] = [ring * (1 + 1e-8) for ring in flat[0]]
    return with_facets(unfolded, flat=tuple(flat))


def inside_out(unfolded):
    rings = tuple(tuple(ring[::-1] for ring in each) for each in unfolded.facets.rings)
    flat = tuple(tuple(ring[::-1] for ring in each) for each in unfolded.facets.flat)
    return with_facets(unfolded, rings=rings, flat=flat)


MISTAKES = {
    "mirrored": (lambda u: placed(u, lambda p: np.c_[p[:, :2] @ MIRROR, p[:, 2]]), "mirrored"),
    "stretched": (lambda u: placed(u, lambda p: np.c_[p[:, :2] * (1 + 1e-9), p[:, 2]]), "stretched"),
    "shifted": (lambda u: placed(u, lambda p: p + [[0, 0, 1e-4], [0, 0, 0]]), "apart"),
    "left out": (lambda u: with_net(u, **{part: getattr(u.nets[0], part)[:-1] for part in PARTS}), "exactly one net"),
    "order": (lambda u: with_net(u, parents=np.array([-1, *[5] * 5])), "comes after"),
    "wrong fold": (lambda u: with_net(u, folds=np.r_[-1, u.nets[0].folds[:0:-1]]), "does not lie between"),
    "a cut too few": (lambda u: replace(u, cuts=u.cuts[1:]), "cuts are not"),
    "a cut that is a fold": (lambda u: replace(u, cuts=np.r_[u.cuts, u.nets[0].folds[1]]), "cuts are not"),
    "valley for mountain": (lambda u: bends_with(u, lambda bend: -bend), "bends"),
    "bends a hair more": (lambda u: bends_with(u, lambda bend: bend + 2e-6), "bends"),
    "a vertex elsewhere": (moved_vertex, "off"),
    "a facet a hair wider": (wider, "mm2"),
    "inside out": (inside_out, "wrong way"),
    "to be cut": (lambda u: with_facets(u, marks=np.ones_like(u.facets.marks)), "is to be cut"),
}  # fmt: skip


def test_a_box_is_well():
    unfolded = unfolded_box()
    assert judge.faults(unfolded, area_mm2=2 * (60 * 40 + 40 * 30 + 30 * 60)) == []
    assert len(unfolded.nets) == 1


@pytest.mark.parametrize("mistake", MISTAKES)
def test_a_mistake_is_seen(mistake):
    make, word = MISTAKES[mistake]
    assert any(word in fault for fault in judge.faults(make(unfolded_box())))


def test_another_area_than_the_mesh_has_is_seen():
    assert any("the mesh" in fault for fault in judge.faults(unfolded_box(), area_mm2=10800 * (1 + 1e-8)))


def test_bodies_in_one_net_are_seen():
    unfolded = unfold_facets(facets_of(meshes.merged(meshes.box(), meshes.moved(meshes.box(), (100, 0, 0)))))
    assert judge.faults(unfolded) == []
    assert any("bodies" in fault for fault in judge.faults(replace(unfolded, nets=unfolded.nets[:1])))


def test_an_overlap_is_seen_where_all_else_is_well():
    """The spikes of a star on end, all hung round its middle, and its walls in one row, lie on each other."""
    facets = facets_of(meshes.star(9, 40.0, 8.0))
    hinges = hinges_of(facets)
    walls = np.flatnonzero([len(rings[0]) == 4 for rings in facets.rings])
    front, back = (number for number in range(len(facets.rings)) if number not in walls)
    folded = (hinges.first == front) | (hinges.second == front)
    first = np.flatnonzero((hinges.first == back) | (hinges.second == back))[0]
    folded[first] = True
    unfolded = nets_from(facets, hinges, folded)
    faults = judge.faults(unfolded)
    assert len(unfolded.nets) == 1
    assert len(faults) == 2
    assert "overlaps itself" in faults[0]
    assert "cover" in faults[1]


def test_a_net_larger_than_its_room_is_seen():
    unfolded = unfolded_box()
    assert judge.too_large(unfolded, (400.0, 400.0)) == []
    assert judge.too_large(unfolded, (60.0, 400.0)) == [0]
