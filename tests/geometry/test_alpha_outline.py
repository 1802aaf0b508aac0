"""Outlines from alpha on every kind that has a free edge: the edge follows the paint, hinges do not move."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import Point, Polygon, box

from geometry import HingeleafError, assemble, parse_description
from geometry.artwork import art_box
from geometry.design.alpha_outline import outline_from_alpha
from geometry.tracing import TraceOptions
from tests.geometry.painted_shapes import alpha_of
from tests.geometry.scene_texts import HEAD

V_FOLD = '[[mechanism]]\nkind = "v-fold"\nid = "m"\nfold = "spine"\nat = 60\nangle = 50\nheight = 60\n'
TENT = '[[mechanism]]\nkind = "tent"\nid = "m"\nfold = "spine"\nat = 40\nlength = 60\nbase = 25\nheight = 40\n'
RIDER = '[[mechanism]]\nkind = "rider"\nid = "m"\npanel = "page.right"\nat = [60, 80]\nsize = [60, 60]\n'
FLAP = '[[mechanism]]\nkind = "flap"\nid = "m"\npanel = "page.right"\nat = [40, 60]\nlength = 30\nwidth = 40\n'
BOX = '[[mechanism]]\nkind = "box"\nid = "m"\nfold = "spine"\nat = 40\nlength = 60\nbase = 30\nheight = 40\n'
LAYER = BOX.replace('"m"', '"crate"') + '[[mechanism]]\nkind = "layer"\nid = "m"\nbox = "crate"\nat = 30\n'
ACCORDION = (
    '[[mechanism]]\nkind = "accordion"\nid = "m"\nfold = "spine"\nat = 40\nlength = 80\nbases = [16, 20]\n'
    "heights = [30, 28]\n"
)
PLATFORM = (
    '[[mechanism]]\nkind = "platform"\nid = "m"\nfold = "spine"\nat = 40\nlength = 60\nbase = 8\nheight = 30\n'
    "width = 40\n"
)


def card(spread):
    """All panels of the piece but its tabs, joined."""
    names = [name for name in spread.piece("m").panels if spread.panels[name].role != "tab"]
    return shapely.union_all([spread.panels[name].outline.buffer(1e-4) for name in names])


def arches(whole):
    """What is painted: all of it, with arches out of its upper edge."""
    left, _, right, high = whole.bounds
    return whole.difference(shapely.union_all([Point(x, high).buffer(5) for x in np.arange(left + 9, right - 6, 14)]))


PAINTED = {
    "v-fold": (V_FOLD, lambda whole: shapely.union_all([Point(0, 30).buffer(26), box(-60, -5, 60, 20)])),
    "tent": (TENT, lambda whole: whole.union(Point(-20, 58).buffer(9)).difference(Point(20, 60).buffer(12))),
    "flap": (FLAP, lambda whole: Point(0, 20).buffer(18).union(box(-15, -8, 15, 12))),
    "box": (BOX, arches),
    "layer": (LAYER, arches),
    "accordion": (ACCORDION, arches),
}


#: Kinds whose edges run across creases.
ACROSS = ("box", "layer", "accordion")


def is_shortened(one, two):
    """Whether a crease lies on another."""
    return all(
        shapely.LineString(whole).distance(Point(end)) < 1e-5
        for whole, part in zip(one.lines, two.lines, strict=True)
        for end in part
    )


def traced(text, paint, **options):
    description = parse_description(HEAD + text)
    spread = assemble(description)
    bounds = art_box(spread, "m")
    alpha = alpha_of(paint, bounds, 0.15, fine=3)
    return spread, outline_from_alpha(description, spread, "m", alpha, **options)


@pytest.mark.parametrize("kind", PAINTED)
def test_free_edges_follow_the_paint_and_hinges_stay(kind):
    text, paint = PAINTED[kind]
    before = assemble(parse_description(HEAD + text))
    painted = paint(card(before))
    _, found = traced(text, painted)
    after = assemble(found.description)
    assert [hinge.id for hinge in after.hinges] == [hinge.id for hinge in before.hinges]
    for one, two in zip(before.hinges, after.hinges, strict=True):
        # A crease that an edge runs across ends at that edge; it is not moved.
        assert np.allclose(one.lines, two.lines, atol=1e-5) or (kind in ACROSS and is_shortened(one, two)), one.id
    hinges = shapely.union_all([shapely.LineString(line) for hinge in before.hinges for line in hinge.lines])
    # A strip of card stays along every hinge, whatever is painted there.
    edge = card(after).boundary.difference(hinges.buffer(2.5))
    places = shapely.points(shapely.get_coordinates(shapely.segmentize(edge, 0.5)))
    bounds = art_box(before, "m")
    border = painted.intersection(box(*bounds)).boundary
    assert len(places) > 20
    # To the tolerance, and where the paint meets a strip or another edge in a sharp corner two pixels more.
    assert np.quantile(shapely.distance(places, border), 0.98) < 0.2
    assert shapely.distance(places, border).max() < 0.45
    assert found.off_mm < 0.2
    assert card(after).symmetric_difference(card(before)).area > 20


@pytest.mark.parametrize("kind", [*PAINTED, "rider"])
def test_the_picture_stays_where_it_was(kind):
    text, paint = PAINTED.get(kind, (RIDER, lambda whole: Point(3, 2).buffer(20)))
    before, found = traced(text, paint(card(assemble(parse_description(HEAD + text)))))
    assert art_box(assemble(found.description), "m") == pytest.approx(art_box(before, "m"), abs=1e-4)


def test_a_rider_is_its_figure_with_its_holes():
    figure = Polygon(Point(3, 2).buffer(20).exterior, [Point(0, 0).buffer(4).exterior, Point(12, 2).buffer(3).exterior])
    _, found = traced(RIDER, figure)
    outline = assemble(found.description).panels["m"].outline
    assert outline.symmetric_difference(figure).area / figure.boundary.length < 0.1
    assert len(outline.interiors) == 2
    assert "size" not in found.description.mechanisms[0].values
    _, plain = traced(RIDER, figure, windows=False)
    assert not assemble(plain.description).panels["m"].outline.interiors


def test_the_back_is_traced_as_seen_from_behind():
    _, found = traced(RIDER, Point(8, 0).buffer(15), face="back")
    assert assemble(found.description).panels["m"].outline.centroid.x == pytest.approx(-8.0, abs=0.1)


def test_a_second_trace_of_the_same_picture_changes_little():
    spread, once = traced(V_FOLD, PAINTED["v-fold"][1](None))
    alpha = alpha_of(PAINTED["v-fold"][1](None), art_box(spread, "m"), 0.15, fine=3)
    again = outline_from_alpha(once.description, assemble(once.description), "m", alpha)
    one, two = (card(assemble(found.description)) for found in (once, again))
    assert shapely.hausdorff_distance(one, two) < 0.05


def test_a_platform_gets_windows_alone():
    description = parse_description(HEAD + PLATFORM)
    whole = card(assemble(description))
    _, found = traced(PLATFORM, whole.difference(Point(20, 30).buffer(6)))
    assert found.keys == ("holes_right",)
    (hole,) = assemble(found.description).panels["m.right"].outline.interiors
    assert Polygon(hole).area == pytest.approx(np.pi * 36, rel=0.02)
    with pytest.raises(HingeleafError, match="no free edge, and its artwork has no window"):
        traced(PLATFORM, whole)


def test_parts_that_hang_on_nothing_are_left_out_and_said():
    painted = shapely.union_all([box(-60, -5, 60, 25), Point(-30, 40).buffer(6)])
    _, found = traced(V_FOLD, painted)
    assert any("1 other part hangs on nothing" in note for note in found.notes)


def test_paint_beyond_the_middle_crease_is_said():
    _, found = traced(V_FOLD.replace("height = 60", "height = 60\nedge = [[10, 70]]"), box(-60, -5, 60, 66))
    assert any("beyond the end of m.middle" in note for note in found.notes)


def test_where_hinges_are_not_painted_it_is_refused():
    with pytest.raises(HingeleafError, match="clear along the hinges"):
        traced(FLAP, Point(0, 30).buffer(6))


@pytest.mark.parametrize("name", ["cut", "nothing"])
def test_what_has_no_edge_of_its_own_is_refused(name):
    cut = '[[mechanism]]\nkind = "slit-cut-in"\nid = "cut"\nfold = "spine"\nat = 40\nlength = 40\nwidth = 18\n'
    description = parse_description(HEAD + cut)
    alpha = np.full((40, 40), 255, dtype=np.uint8)
    with pytest.raises(HingeleafError, match=r'no free edge|there is no mechanism "nothing"'):
        outline_from_alpha(description, assemble(description), name, alpha)


def test_a_coarse_tolerance_still_keeps_hinges():
    text, paint = PAINTED["tent"]
    painted = paint(card(assemble(parse_description(HEAD + text))))
    before, found = traced(text, painted, options=TraceOptions(0.5, 2.0, 3.0))
    after = assemble(found.description)
    for one, two in zip(before.hinges, after.hinges, strict=True):
        assert np.allclose(one.lines, two.lines, atol=1e-5)


def test_a_crease_beyond_the_paint_is_said():
    _, found = traced(V_FOLD, box(-60, -5, 60, 40))
    assert any("clear along 19.0 mm of m.middle" in note for note in found.notes)
    _, high = traced(V_FOLD, box(-60, -5, 60, 66))
    assert not any("clear along" in note for note in high.notes)
