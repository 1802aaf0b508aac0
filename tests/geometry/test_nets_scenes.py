"""What must hold of the nets of every scene: checked with shapely alone, on the drawings in net coordinates."""

from itertools import combinations

import numpy as np
import pytest
import shapely
from shapely import LinearRing, LineString, Polygon
from shapely.ops import substring

from geometry import assemble, read_description
from geometry.nets import GAP_MM, MARGIN_MM, draw_piece, lay_out
from geometry.nets.lettering import text_box
from tests.geometry.scene_texts import FILES as SCENES


@pytest.fixture(scope="module", params=SCENES, ids=lambda path: path.stem)
def spread(request):
    return assemble(read_description(request.param))


@pytest.fixture(scope="module")
def drawings(spread):
    return {piece.id: draw_piece(spread, piece.id) for piece in spread.pieces}


def stroke(line):
    return LinearRing(line.points) if line.closed else LineString(line.points)


def strokes(drawing, *names):
    return [stroke(line) for line in drawing.lines if line.line_class in names]


def folds(drawing):
    return [line for line in drawing.lines if line.line_class in ("mountain", "valley")]


def area_inside(cut_lines):
    """Area of the card within closed cuts: a ring inside an odd number of others is a hole."""
    rings = [Polygon(line.points) for line in cut_lines if line.closed]
    # A corner: a point within a ring may lie in one of its holes.
    inside = [shapely.Point(ring.exterior.coords[0]) for ring in rings]
    depth = [
        sum(other.contains(point) for other in rings if other is not ring)
        for ring, point in zip(rings, inside, strict=True)
    ]
    return sum(ring.area * (-1) ** level for ring, level in zip(rings, depth, strict=True))


def test_there_are_scenes():
    assert len(SCENES) >= 10


def test_panels_and_tabs_fill_the_cut_outline(spread, drawings):
    for piece in spread.pieces:
        cuts = [line for line in drawings[piece.id].lines if line.line_class == "cut"]
        panels = sum(spread.panels[name].outline.area for name in piece.panels)
        assert area_inside(cuts) == pytest.approx(panels, abs=1e-3), piece.id


def test_creases_never_cross_cuts(drawings):
    for drawing in drawings.values():
        cuts = shapely.union_all(strokes(drawing, "cut"))
        for line in folds(drawing):
            inner = substring(stroke(line), 0.02, line.length_mm - 0.02)
            assert inner.distance(cuts) > 0.0, (drawing.piece.id, line.hinge)


def test_creases_end_on_cuts_or_where_other_creases_end(drawings):
    for drawing in drawings.values():
        cuts = shapely.union_all(strokes(drawing, "cut"))
        for line in folds(drawing):
            ends = [point for other in folds(drawing) if other is not line for point in other.points]
            for point in line.points:
                on_end = any(np.hypot(*(point - end)) < 1e-3 for end in ends)
                assert on_end or cuts.distance(shapely.Point(point)) < 1e-3, (drawing.piece.id, line.hinge, point)


def test_no_line_is_drawn_twice(drawings):
    for drawing in drawings.values():
        lines = strokes(drawing, "cut", "mountain", "valley")
        joined = shapely.union_all(lines)
        assert joined.length == pytest.approx(sum(line.length for line in lines), abs=1e-4), drawing.piece.id


def test_cuts_and_creases_together_are_the_borders_of_the_panels(spread, drawings):
    for piece in spread.pieces:
        drawn = shapely.union_all(strokes(drawings[piece.id], "cut", "mountain", "valley"))
        borders = shapely.union_all([spread.panels[name].outline.boundary for name in piece.panels])
        assert borders.difference(drawn.buffer(1e-3)).length == pytest.approx(0.0, abs=1e-9), piece.id
        assert drawn.difference(borders.buffer(1e-3)).length == pytest.approx(0.0, abs=1e-9), piece.id


def test_mountains_fold_away_from_the_printed_face_and_valleys_towards_it(spread, drawings):
    """Measured on the posed panels: on which side of one panel's printed face the other one stands."""
    openings = np.radians(np.linspace(20.0, 160.0, 8))
    part_way = {hand.id: hand.low + 0.4 * (hand.high - hand.low) for hand in spread.hands}
    poses = spread.pose(openings).matrices, spread.pose(openings, part_way).matrices
    matrices = {name: np.concatenate([each[name] for each in poses]) for name in spread.panels}
    for drawing in drawings.values():
        hinges = {hinge.id: hinge for hinge in spread.creases(drawing.piece.id)}
        for line in folds(drawing):
            heights = _heights(spread, matrices, hinges[line.hinge])
            furthest = heights[np.nanargmax(np.abs(heights))]
            assert abs(furthest) > 1e-6
            assert (furthest < 0.0) == (line.line_class == "mountain"), line.hinge


def _heights(spread, matrices, hinge):
    """Height of the second panel over the first panel's printed face, just beside the hinge."""
    first, second = hinge.panels
    start, end = hinge.lines[1]
    middle, along = (start + end) / 2, (end - start) / np.hypot(*(end - start))
    sides = [middle + sign * 0.01 * np.array([-along[1], along[0]]) for sign in (1.0, -1.0)]
    beside = next(side for side in sides if spread.panels[second].outline.contains(shapely.Point(side)))
    world = matrices[second] @ np.array([*beside, 0.0, 1.0])
    plane = matrices[first]
    return np.einsum("ni,ni->n", world[:, :3] - plane[:, :3, 3], plane[:, :3, 2])


def test_every_hinge_of_a_piece_is_drawn(spread, drawings):
    for piece in spread.pieces:
        drawn = {line.hinge for line in folds(drawings[piece.id])}
        assert drawn == {hinge.id for hinge in spread.creases(piece.id)}


def test_every_glue_area_is_marked_on_its_host_and_named_on_both(spread, drawings):
    # The cuts of a solid are numbered, see test_solid.py.
    for area in spread.folding.glue_areas:
        host, glued = spread.panels[area.host].piece, spread.panels[area.glued].piece
        marks = [line for line in drawings[host].lines if line.glued == area.glued and line.panel == area.host]
        assert any(area.outline.buffer(1e-6).contains(Polygon(line.points)) for line in marks), area.glued
        name = area.glued.removesuffix(".tab").replace(".", " ")
        back = " (on the back)" if area.face == "back" else ""
        assert name + back in {text.text for text in drawings[host].texts}
        if spread.panels[area.glued].role == "tab":
            assert name in {text.text for text in drawings[glued].texts}


def test_gluing_marks_never_cross_cuts_or_creases(drawings):
    """A cut-in between a tab and its panel takes its strip out of what is glued."""
    for drawing in drawings.values():
        lines = shapely.union_all(strokes(drawing, "cut", "mountain", "valley"))
        for line in drawing.lines:
            if line.line_class == "glue" and line.panel == line.glued:
                assert not Polygon(line.points).intersects(lines), (drawing.piece.id, line.glued)


def test_no_text_lies_on_a_line_or_on_another_text(drawings):
    for drawing in drawings.values():
        boxes = [text_box(text, clear_mm=-0.1) for text in drawing.texts]
        lines = shapely.union_all(strokes(drawing, "cut", "mountain", "valley", "glue", "mark"))
        for text, one in zip(drawing.texts, boxes, strict=True):
            assert not one.intersects(lines), (drawing.piece.id, text.text)
        for one, other in combinations(boxes, 2):
            assert not one.intersects(other), drawing.piece.id


@pytest.mark.parametrize("size", [None, "A4", "A3", "letter", "500x700"])
def test_sheets_hold_every_piece_once_apart_and_inside_the_margins(spread, drawings, size):
    sheets, notes = lay_out(spread.title, list(drawings.values()), size)
    assert sorted(drawing.piece.id for sheet in sheets for drawing in sheet.pieces) == sorted(drawings)
    own = [sheet for sheet in sheets if sheet.footer.size_name.endswith("mm")]
    assert len(own) == len(notes)
    for sheet in sheets:
        page = shapely.box(MARGIN_MM, MARGIN_MM, sheet.width_mm - MARGIN_MM, sheet.height_mm - MARGIN_MM).buffer(0.002)
        foot = shapely.union_all([*(stroke(line) for line in sheet.lines), *(text_box(text) for text in sheet.texts)])
        assert page.contains(foot.buffer(-1e-3))
        for drawing in sheet.pieces:
            assert page.contains(drawing.card), drawing.piece.id
            assert drawing.card.distance(foot) > GAP_MM - 1e-3
            assert drawing.card.area == pytest.approx(drawings[drawing.piece.id].card.area, abs=1e-6)
        for one, other in combinations(sheet.pieces, 2):
            assert one.card.distance(other.card) > GAP_MM - 0.002, (one.piece.id, other.piece.id)


def test_laying_out_again_gives_the_same_sheets(spread, drawings):
    first, second = (lay_out(spread.title, list(drawings.values()))[0] for _ in range(2))
    for one, other in zip(first, second, strict=True):
        for before, after in zip(one.pieces, other.pieces, strict=True):
            assert before.piece.id == after.piece.id
            assert before.card.equals_exact(after.card, 0.0)
