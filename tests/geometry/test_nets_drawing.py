"""Drawings of a spread made by hand from the core's data classes: two pages and a v-fold."""

import dataclasses

import numpy as np
import pytest
from shapely import LineString, Point, Polygon, box
from shapely.affinity import translate

from geometry import assemble, parse_description
from geometry.model import Angle, Axis, GlueArea, Hinge, Panel, Piece, Stock
from geometry.nets import BLEED_MM, Placement, draw_piece
from geometry.nets.glue import GLUE_INSET_MM
from geometry.nets.lettering import place_text, text_box, text_width_mm
from geometry.nets.lines import NetText, readable
from geometry.spread import Spread

STOCK = Stock("card", 250.0, 0.3, "any", (1.0, 1.0, 1.0))
TAB = Polygon([(4.0, 0.0), (56.0, 0.0), (50.0, -10.0), (10.0, -10.0)])
MIRROR = np.diag([-1.0, 1.0])


def both(*points):
    return np.array([points, points], dtype=float)


@pytest.fixture
def spread():
    fixed, over, under = np.eye(4), np.diag([1.0, -1.0, -1.0, 1.0]), np.eye(4)
    over[:2, 3], under[:2, 3] = (20.0, 100.0), (-20.0, 100.0)
    spine = Axis(np.zeros(3), np.array([0.0, 1.0, 0.0]), Angle("spine", -1.0, np.pi))
    hinge = Axis(np.zeros(3), np.array([1.0, 0.0, 0.0]), Angle("hill:right"))
    left_tab = Polygon(np.asarray(TAB.exterior.coords) @ MIRROR)
    panels = {
        "page.right": Panel("page.right", "page", box(0, 0, 148, 210), None, fixed, role="page"),
        "page.left": Panel("page.left", "page", box(-148, 0, 0, 210), "page.right", fixed, spine, "page"),
        "hill.right": Panel("hill.right", "hill", box(0, 0, 60, 70), "page.right", fixed, hinge),
        "hill.left": Panel("hill.left", "hill", box(-60, 0, 0, 70), "page.left", fixed, hinge),
        "hill.right.tab": Panel("hill.right.tab", "hill", TAB, "page.right", over, role="tab"),
        "hill.left.tab": Panel("hill.left.tab", "hill", left_tab, "page.left", under, role="tab"),
    }
    hinges = (
        Hinge("spine", "spine", ("page.left", "page.right"), both((0, 0), (0, 210)), Angle("spine")),
        Hinge("hill.right", "crease", ("hill.right", "hill.right.tab"), both((4, 0), (56, 0)), Angle(None, offset=4.0)),
        Hinge("hill.left", "crease", ("hill.left", "hill.left.tab"), both((-4, 0), (-56, 0)), Angle(None, offset=2.0)),
        Hinge("hill.middle", "crease", ("hill.left", "hill.right"), both((0, 0), (0, 70)), Angle(None, offset=5.0)),
        Hinge("hill.right.glue", "glue", ("hill.right", "page.right"), both((0, 0), (60, 0)), Angle(None)),
    )
    areas = (
        GlueArea(
            "page.right",
            "hill.right.tab",
            Polygon(np.asarray(TAB.exterior.coords) * [1.0, -1.0] + [20.0, 100.0]),
            "front",
        ),
        GlueArea("page.left", "hill.left.tab", translate(left_tab, -20, 100), "back"),
    )
    pieces = (
        Piece("page", "page card", STOCK, ("page.right", "page.left"), art_front="pages.png"),
        Piece("hill", "hill", STOCK, ("hill.left", "hill.right", "hill.left.tab", "hill.right.tab")),
    )
    return Spread("By hand", (148.0, 210.0), 0.0, pieces, panels, hinges, {}, (), areas)


def of_class(drawing, name):
    return [line for line in drawing.lines if line.line_class == name]


def test_classes_and_names_of_the_lines(spread):
    page, hill = draw_piece(spread, "page"), draw_piece(spread, "hill")
    assert [(line.hinge, round(line.length_mm, 6)) for line in of_class(page, "valley")] == [("spine", 210.0)]
    assert {line.hinge for line in of_class(hill, "mountain")} == {"hill.right", "hill.middle"}
    assert {line.hinge for line in of_class(hill, "valley")} == {"hill.left"}
    assert not of_class(page, "mountain")
    (outline,) = of_class(hill, "cut")
    assert outline.closed
    assert Polygon(outline.points).area == pytest.approx(2 * 60 * 70 + 2 * TAB.area, abs=1e-6)


def test_a_glue_line_is_not_drawn_as_a_crease(spread):
    assert all(line.hinge != "hill.right.glue" for line in draw_piece(spread, "hill").lines)


def test_gluing_marks_lie_inside_the_tab_that_covers_them(spread):
    marks = {line.glued: line for line in of_class(draw_piece(spread, "page"), "glue")}
    assert marks.keys() == {"hill.right.tab", "hill.left.tab"}
    for area in spread.glue_areas:
        mark = marks[area.glued]
        assert mark.panel == area.host
        ring = Polygon(mark.points)
        assert area.outline.contains(ring)
        assert ring.boundary.distance(area.outline.boundary) == pytest.approx(GLUE_INSET_MM, abs=1e-6)


def test_a_mark_on_the_back_is_not_tinted(spread):
    marks = of_class(draw_piece(spread, "page"), "glue")
    assert {line.glued: line.tinted for line in marks} == {"hill.right.tab": True, "hill.left.tab": False}


def test_a_tab_is_tinted_where_its_printed_face_is_glued(spread):
    """hill.right.tab lies printed face down on the page's face; hill.left.tab lies under the page, printed face up."""
    marks = of_class(draw_piece(spread, "hill"), "glue")
    assert {line.panel: line.tinted for line in marks} == {"hill.right.tab": True, "hill.left.tab": True}
    faced = tuple(dataclasses.replace(area, face="front") for area in spread.glue_areas)
    drawing = draw_piece(dataclasses.replace(spread, glue_areas=faced), "hill")
    assert {line.panel: line.tinted for line in of_class(drawing, "glue")} == {
        "hill.right.tab": True,
        "hill.left.tab": False,
    }


def test_tab_and_mark_carry_the_same_name_inside_their_outlines(spread):
    page, hill = draw_piece(spread, "page"), draw_piece(spread, "hill")
    on_page = {text.text: text for text in page.texts}
    on_hill = {text.text: text for text in hill.texts}
    assert {"hill right", "hill left (on the back)", "page card"} == on_page.keys()
    assert {"hill right", "hill left", "hill"} == on_hill.keys()
    assert TAB.contains(text_box(on_hill["hill right"]))
    assert spread.glue_areas[0].outline.contains(text_box(on_page["hill right"]))


def test_no_text_lies_on_a_line_or_on_another_text(spread):
    for piece in spread.pieces:
        drawing = draw_piece(spread, piece.id)
        boxes = [text_box(text) for text in drawing.texts]
        strokes = [
            LineString(np.concatenate([line.points, line.points[:1]]) if line.closed else line.points)
            for line in drawing.lines
        ]
        for index, one in enumerate(boxes):
            assert drawing.card.contains(one)
            assert not any(one.intersects(stroke) for stroke in strokes)
            assert not any(one.intersects(other) for other in boxes[:index])


def test_a_piece_too_small_for_its_title_has_it_underneath(spread):
    tiny = dataclasses.replace(spread.panels["hill.right"], id="dot", piece="dot", outline=box(0, 0, 3, 3))
    piece = Piece("dot", "a dot with a long name", STOCK, ("dot",))
    drawing = draw_piece(
        dataclasses.replace(spread, pieces=(*spread.pieces, piece), panels={**spread.panels, "dot": tiny}), "dot"
    )
    (title,) = drawing.texts
    assert text_box(title).bounds[3] < -BLEED_MM
    left, low, right, high = drawing.bounds()
    assert box(left, low, right, high).buffer(1e-9).contains(text_box(title))
    assert (left, high) == (pytest.approx(text_box(title).bounds[0]), 3.0)
    assert right == pytest.approx(text_box(title).bounds[2])


def test_artwork_fills_the_box_about_the_piece_grown_by_the_bleed(spread):
    art = draw_piece(spread, "page").art
    np.testing.assert_allclose(art.corner, [-151, -3])
    np.testing.assert_allclose(art.along, [302, 0])
    np.testing.assert_allclose(art.up, [0, 216])
    assert art.shown.bounds == pytest.approx((-151, -3, 151, 213))
    assert draw_piece(spread, "hill").art is None


def test_a_drawing_does_not_depend_on_the_order_of_its_panels(spread):
    pieces = tuple(dataclasses.replace(piece, panels=piece.panels[::-1]) for piece in spread.pieces)
    other = dataclasses.replace(spread, pieces=pieces)
    for piece in pieces:
        first, second = draw_piece(spread, piece.id), draw_piece(other, piece.id)
        for name in ("cut", "mountain", "valley"):
            lengths = [sum(line.length_mm for line in of_class(drawing, name)) for drawing in (first, second)]
            assert lengths[0] == pytest.approx(lengths[1], abs=1e-9)


@pytest.mark.parametrize("quarter", [0, 1])
def test_moved_drawings_keep_shape_and_readable_texts(spread, quarter):
    drawing = draw_piece(spread, "page")
    placement = Placement(quarter, np.array([300.0, 20.0]))
    moved = drawing.moved(placement)
    for before, after in zip(drawing.lines, moved.lines, strict=True):
        assert after.length_mm == pytest.approx(before.length_mm, abs=1e-9)
        assert (after.hinge, after.panel, after.glued) == (before.hinge, before.panel, before.glued)
    assert moved.card.area == pytest.approx(drawing.card.area, abs=1e-6)
    assert moved.art.shown.area == pytest.approx(drawing.art.shown.area, abs=1e-6)
    for before, after in zip(drawing.texts, moved.texts, strict=True):
        assert -np.pi / 2 < after.turn_rad <= np.pi / 2 + 1e-9
        assert moved.card.contains(text_box(after)) == drawing.card.contains(text_box(before))
    page_corner = placement.apply(np.array([148.0, 210.0]))
    expected = [448.0, 230.0] if quarter == 0 else [90.0, 168.0]
    np.testing.assert_allclose(page_corner, expected)


def test_readable_directions():
    degrees = np.array([-180, -135, -90, -45, 0, 45, 90, 135, 180, 270])
    turned = [round(float(np.degrees(readable(np.radians(value))))) for value in degrees]
    assert turned == [0, 45, 90, -45, 0, 45, 90, -45, 0, 90]


def test_text_width_grows_with_size_and_letters():
    assert text_width_mm("", 3.0) == 0.0
    assert text_width_mm("hill", 6.0) == pytest.approx(2 * text_width_mm("hill", 3.0))
    assert text_width_mm("hill", 3.0, bold=True) > text_width_mm("hill", 3.0)


def test_a_text_is_made_smaller_before_it_is_left_out():
    roomy = place_text(box(0, 0, 60, 20), "meadow", size_mm=4.0, least_mm=1.5)
    tight = place_text(box(0, 0, 10, 4), "meadow", size_mm=4.0, least_mm=1.5)
    assert roomy.size_mm == 4.0
    assert 1.5 <= tight.size_mm < 4.0
    assert box(0, 0, 10, 4).contains(text_box(tight))
    assert place_text(box(0, 0, 3, 3), "meadow", size_mm=4.0, least_mm=1.5) is None
    assert place_text(Polygon(), "meadow", size_mm=4.0, least_mm=1.5) is None


def test_a_text_box_turns_with_its_text():
    text = NetText("label", "hill", np.array([10.0, 20.0]), 3.0, turn_rad=np.pi / 2, anchor="start")
    width = text_width_mm("hill", 3.0)
    assert text_box(text).bounds == pytest.approx((8.5, 20.0, 11.5, 20.0 + width))


def test_a_name_that_fits_nowhere_is_set_over_its_mark_all_the_same(spread):
    name = "a-mechanism-with-a-name-far-too-long-for-any-tab-of-this-size-and-for-its-host-as-well"
    narrow = dataclasses.replace(spread.panels["page.right"], outline=box(19, 89, 77, 111))
    tab = dataclasses.replace(spread.panels["hill.right.tab"], id=f"{name}.tab")
    panels = {**spread.panels, "page.right": narrow, f"{name}.tab": tab}
    page = dataclasses.replace(spread.pieces[0], panels=("page.right",))
    areas = (dataclasses.replace(spread.glue_areas[0], glued=f"{name}.tab"),)
    changed = dataclasses.replace(
        spread, panels=panels, pieces=(page, *spread.pieces[1:]), glue_areas=areas, hinges=spread.hinges[1:]
    )
    text = next(text for text in draw_piece(changed, "page").texts if text.text == name)
    assert areas[0].outline.contains(Point(text.place))


def test_a_gluing_mark_is_not_lost_to_rounding():
    """Carried to the tab and compared with it, this area once shrank to a point."""
    text = """
        format = 1
        [page]
        size = "A6"
        [[mechanism]]
        kind = "v-fold"
        id = "fan"
        fold = "spine"
        at = 76.562
        angle = 50.1
        height = 53.0
        crease_angle = 62.5
        tab_width = 5.0
    """
    spread = assemble(parse_description(text))
    for piece in ("page", "fan"):
        marks = of_class(draw_piece(spread, piece), "glue")
        assert sorted(line.glued for line in marks) == ["fan.left.tab", "fan.right.tab"]


def test_a_cut_in_between_slanted_tabs_leaves_one_outline():
    """The overlay that cuts the strip out moves the panel's corners to a grid; the tabs are not on it."""
    text = """
        format = 1
        [page]
        size = "A5"
        [[mechanism]]
        kind = "v-fold"
        id = "fan"
        fold = "spine"
        at = 80
        angle = 50.222
        height = 58.4
        crease_angle = 107.3
        [[mechanism]]
        kind = "slit-cut-in"
        id = "beak"
        fold = "fan.middle"
        at = 8.4
        length = 8.4
        width_start = 0
        width_end = 3
    """
    spread = assemble(parse_description(text))
    drawing = draw_piece(spread, "fan")
    (outline,) = [line for line in of_class(drawing, "cut") if line.closed]
    panels = sum(spread.panels[name].outline.area for name in drawing.piece.panels)
    assert Polygon(outline.points).area == pytest.approx(panels, abs=1e-4)


def test_names_of_marks_that_lie_on_each_other_stand_apart(spread):
    twin = dataclasses.replace(spread.panels["hill.right.tab"], id="twin.tab")
    areas = (*spread.glue_areas, dataclasses.replace(spread.glue_areas[0], glued="twin.tab"))
    both_glued = dataclasses.replace(spread, panels={**spread.panels, "twin.tab": twin}, glue_areas=areas)
    texts = {text.text: text for text in draw_piece(both_glued, "page").texts}
    assert not text_box(texts["hill right"]).intersects(text_box(texts["twin"]))
