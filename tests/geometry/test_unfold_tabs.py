"""Tabs: one at each cut, behind the facet beyond it, and clear of everything on its net."""

import numpy as np
import pytest
import shapely
from shapely import Polygon

from geometry import HingeleafError
from geometry.unfold.facets import facets_of
from geometry.unfold.placing import placed_rings
from geometry.unfold.tabs import TabOptions, joins_of
from geometry.unfold.unfolding import unfold_facets
from tests.geometry import unfold_meshes

MODELS = ("box", "house", "star", "ring_cube", "icosphere", "letters")


@pytest.fixture(scope="module")
def unfolded():
    """Each model as nets."""
    return {name: unfold_facets(facets_of(getattr(unfold_meshes, name)())) for name in MODELS}


def on_other_facet(model, join):
    """A tab's corners in space, laid behind the facet beyond the cut; and that facet's corners in its own plane."""
    own, other = join.sides[join.tab_side], join.sides[1 - join.tab_side]
    # The cut's ends are the same two vertices on both sides, the other way round.
    a, b = own.line
    d, c = other.line
    turn = np.arctan2(*(d - c)[::-1]) - np.arctan2(*(b - a)[::-1])
    cos, sin = np.cos(turn), np.sin(turn)
    return (join.tab - a) @ np.array([[cos, -sin], [sin, cos]]).T + c


@pytest.mark.parametrize("name", MODELS)
def test_tab_lies_inside_the_facet_it_is_glued_behind(unfolded, name):
    model = unfolded[name]
    place = {
        (number, facet): Polygon(rings[0], rings[1:])
        for number, net in enumerate(model.nets)
        for facet, rings in zip(net.facets.tolist(), placed_rings(model, number), strict=True)
    }
    joins = [join for join in joins_of(model) if join.tab is not None]
    assert joins
    for join in joins:
        other = join.sides[1 - join.tab_side]
        tab = Polygon(on_other_facet(model, join))
        assert tab.difference(place[other.net, other.facet]).area <= 1e-6 * tab.area + 1e-8


@pytest.mark.parametrize("name", MODELS)
def test_nothing_on_a_net_lies_on_a_tab(unfolded, name):
    model = unfolded[name]
    for number in range(len(model.nets)):
        rings = placed_rings(model, number)
        lying = [Polygon(ring[0], ring[1:]) for ring in rings]
        lying += [Polygon(j.tab) for j in joins_of(model) if j.tab is not None and j.sides[j.tab_side].net == number]
        tree = shapely.STRtree(lying)
        first, second = tree.query(lying, predicate="intersects")
        apart = first < second
        shapes = np.array(lying, dtype=object)
        shared = shapely.area(shapely.intersection(shapes[first[apart]], shapes[second[apart]]))
        least = np.minimum(shapely.area(shapes[first[apart]]), shapely.area(shapes[second[apart]]))
        assert np.all(shared <= 2e-6 * least + 1e-8)


@pytest.mark.parametrize("name", MODELS)
def test_every_cut_has_one_number_on_both_sides(unfolded, name):
    model = unfolded[name]
    joins = joins_of(model)
    assert sorted(join.edge for join in joins) == sorted(model.cuts.tolist())
    assert [join.label for join in joins] == [str(number) for number in range(1, len(joins) + 1)]
    for join in joins:
        lengths = [np.hypot(*(side.line[1] - side.line[0])) for side in join.sides]
        assert lengths == pytest.approx([model.facets.lengths_mm[join.edge]] * 2, abs=1e-9)
        assert (join.tab is None) == (join.tab_side == -1)
        if join.tab is not None:
            line = join.sides[join.tab_side].line
            assert Polygon(join.tab).exterior.is_ccw
            assert np.allclose(join.tab[:2], line[::-1], atol=1e-9)


def test_box_has_a_tab_at_every_cut_as_wide_as_asked(unfolded):
    joins = joins_of(unfolded["box"], TabOptions(width_mm=7.0))
    assert len(joins) == 7  # V - 1
    for join in joins:
        a, b = join.sides[join.tab_side].line
        along = (b - a) / np.hypot(*(b - a))
        beyond = (join.tab - a) @ np.array([along[1], -along[0]])
        assert beyond.max() == pytest.approx(7.0)


def test_edge_to_edge():
    model = unfold_facets(facets_of(unfold_meshes.box()))
    assert all(join.tab is None for join in joins_of(model, TabOptions(edge_to_edge=True)))
    bare = frozenset(model.cuts[:2].tolist())
    without = {join.edge for join in joins_of(model, TabOptions(edge_to_edge=bare)) if join.tab is None}
    assert without == bare


@pytest.mark.parametrize("wrong", [{"width_mm": 0.0}, {"width_mm": float("nan")}, {"angle_deg": 5.0}])
def test_wrong_sizes_are_refused(wrong):
    with pytest.raises(HingeleafError, match="write"):
        TabOptions(**wrong)
