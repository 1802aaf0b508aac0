"""Edges cut and joined by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geometry import HingeleafError
from geometry.unfold.cutting import with_edge_cut, with_edge_joined
from geometry.unfold.data import KEEP
from geometry.unfold.facets import facets_of
from geometry.unfold.unfolding import unfold_facets
from tests.geometry import unfold_meshes as meshes
from tests.geometry.unfold_judge import faults


def folds_of(result) -> list[int]:
    return [edge for net in result.nets for edge in net.folds.tolist() if edge >= 0]


@pytest.fixture(scope="module")
def box():
    return unfold_facets(facets_of(meshes.box()))


def test_every_fold_can_be_cut_and_joined_again(box):
    for edge in folds_of(box):
        cut = with_edge_cut(box, edge)
        assert faults(cut) == []
        assert len(cut.nets) == 2
        assert edge in cut.cuts
        # What stays lies as it lay.
        kept = {facet: place for place, facet in enumerate(box.nets[0].facets.tolist())}
        larger = cut.nets[0]
        assert len(larger.facets) >= len(cut.nets[1].facets)
        assert (larger.placed == box.nets[0].placed[[kept[facet] for facet in larger.facets.tolist()]]).all()
        joined = with_edge_joined(cut, edge)
        assert faults(joined) == []
        assert set(folds_of(joined)) == set(folds_of(box))


def test_a_cut_within_a_net_opens_it_elsewhere(box):
    for edge in box.cuts.tolist():
        joined = with_edge_joined(box, edge)
        assert faults(joined) == []
        assert len(joined.nets) == 1
        assert len(set(folds_of(joined)) ^ set(folds_of(box))) == 2
        assert edge in folds_of(joined)


def test_a_part_cut_off_hangs_elsewhere_if_asked(box):
    for edge in folds_of(box):
        moved = with_edge_cut(box, edge, whole=True)
        assert faults(moved) == []
        assert len(moved.nets) == 1
        assert edge in moved.cuts


def test_what_is_kept_is_not_opened(box):
    facets = replace(box.facets, marks=np.where(np.isin(np.arange(12), folds_of(box)), KEEP, box.facets.marks))
    with pytest.raises(HingeleafError, match="cannot be joined"):
        with_edge_joined(replace(box, facets=facets), int(box.cuts[0]))


def test_nets_that_would_overlap_are_not_joined():
    result = unfold_facets(facets_of(meshes.star(9, 40.0, 15.0)))
    for edge in result.cuts.tolist():
        if 18 not in {
            len(net.facets) for net in result.nets if set(result.facets.sides[edge]) <= set(net.facets.tolist())
        }:
            with pytest.raises(HingeleafError, match="would lie over"):
                with_edge_joined(result, edge)


def test_other_nets_stay_as_they_are():
    facets = facets_of(meshes.merged(meshes.box(), meshes.moved(meshes.box(), (200.0, 0.0, 0.0))))
    result = unfold_facets(facets)
    assert len(result.nets) == 2
    cut = with_edge_cut(result, int(result.nets[1].folds[1]))
    assert cut.nets[0] is result.nets[0]


@pytest.mark.parametrize("edge", [-1, 12, 1000])
def test_edges_that_are_not_there(box, edge):
    with pytest.raises(HingeleafError, match="0 to 11"):
        with_edge_cut(box, edge)
    with pytest.raises(HingeleafError, match="0 to 11"):
        with_edge_joined(box, edge)


def test_a_cut_is_not_cut_and_a_fold_not_joined(box):
    with pytest.raises(HingeleafError, match="is no fold"):
        with_edge_cut(box, int(box.cuts[0]))
    with pytest.raises(HingeleafError, match="is no cut"):
        with_edge_joined(box, folds_of(box)[0])
