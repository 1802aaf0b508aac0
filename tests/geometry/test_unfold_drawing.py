"""Nets as drawings: true lengths, every cut drawn once, numbers that can be read and lie over nothing."""

import dataclasses
import itertools

import numpy as np
import pytest
import shapely
import shapely.affinity

from geometry.model import Stock
from geometry.nets import lay_out
from geometry.nets.lettering import text_box
from geometry.unfold.cut_options import CutOptions
from geometry.unfold.drawing import DrawingOptions, drawn_nets, net_drawings
from geometry.unfold.facets import facets_of
from geometry.unfold.labels import Number, lettering
from geometry.unfold.tabs import joins_of
from geometry.unfold.unfolding import unfold_facets
from tests.geometry import unfold_meshes

CARD = Stock("card", 200.0, 0.26, "any", (1.0, 1.0, 1.0))
MODELS = ("box", "house", "ring_cube", "icosphere", "star", "slab", "letter_l")


def drawn(name, *, cut=None, **options):
    model = unfold_facets(facets_of(getattr(unfold_meshes, name)()), cut)
    joins = joins_of(model)
    drawings, notes = drawn_nets(model, joins, stock=CARD, title=name, options=DrawingOptions(**options))
    return model, joins, drawings, notes


@pytest.fixture(scope="module")
def plain():
    """Each model, its joins, drawings and notes."""
    return {name: drawn(name) for name in MODELS}


def stroke(line):
    return shapely.LinearRing(line.points) if line.closed else shapely.LineString(line.points)


@pytest.mark.parametrize("name", MODELS)
def test_creases_are_the_folds_and_the_tabs(plain, name):
    model, joins, drawings, _ = plain[name]
    facets = model.facets
    folds = [edge for net in model.nets for edge in net.folds.tolist() if edge >= 0 and abs(facets.bends[edge]) > 1e-5]
    wanted = facets.lengths_mm[folds].sum() + sum(facets.lengths_mm[j.edge] for j in joins if j.tab is not None)
    lines = [line for drawing in drawings for line in drawing.lines if line.hinge]
    assert sum(stroke(line).length for line in lines) == pytest.approx(wanted, rel=1e-9)
    edges = {join.label: join.edge for join in joins}
    for line in lines:
        kind, label = line.hinge.split("-")
        bend = facets.bends[int(label) - 1 if kind == "fold" else edges[label]]
        assert line.line_class == ("valley" if bend < 0 else "mountain")


@pytest.mark.parametrize("name", MODELS)
def test_card_is_the_facets_and_the_tabs_and_its_border_is_cut(plain, name):
    model, joins, drawings, _ = plain[name]
    area = model.facets.areas_mm2.sum() + sum(shapely.Polygon(j.tab).area for j in joins if j.tab is not None)
    # A grid joins what lies side by side: a millionth of a millimetre along every edge.
    assert sum(drawing.card.area for drawing in drawings) == pytest.approx(area, rel=1e-6)
    for drawing in drawings:
        creases = shapely.union_all([stroke(line) for line in drawing.lines if line.hinge])
        cuts = shapely.union_all([stroke(line) for line in drawing.lines if line.line_class == "cut"])
        along = shapely.points(shapely.get_coordinates(shapely.segmentize(drawing.card.boundary, 0.7)))
        assert shapely.distance(along, cuts).max() < 1e-4
        assert cuts.intersection(creases.buffer(1e-5)).length < 1e-2


@pytest.mark.parametrize("name", MODELS)
def test_outlines_and_holes_are_one_line_each_and_nothing_is_cut_twice(plain, name):
    _, _, drawings, _ = plain[name]
    for drawing in drawings:
        (card,) = drawing.card.geoms
        cuts = [line for line in drawing.lines if line.line_class == "cut"]
        closed = [stroke(line) for line in cuts if line.closed]
        assert sorted(ring.length for ring in closed) == pytest.approx(
            sorted(ring.length for ring in (card.exterior, *card.interiors)), abs=1e-3
        )
        # What is left are slits without width; the outline comes last, when all else is cut.
        assert cuts[-1].closed
        strokes = [stroke(line) for line in cuts]
        for number, one in enumerate(strokes):
            for other in strokes[:number]:
                assert one.intersection(other).length < 1e-6


@pytest.mark.parametrize("name", MODELS)
def test_every_cut_has_its_number_at_both_sides(plain, name):
    _, joins, drawings, _ = plain[name]
    texts = [text.text for drawing in drawings for text in drawing.texts]
    for join in joins:
        assert texts.count(join.label) == 2


@pytest.mark.parametrize("name", MODELS)
def test_numbers_lie_over_no_line_and_no_other(plain, name):
    _, joins, drawings, notes = plain[name]
    labels = {join.label for join in joins}
    small = 0
    for drawing in drawings:
        numbers = [text for text in drawing.texts if text.text in labels]
        boxes = np.array([text_box(text) for text in numbers], dtype=object)
        lines = np.array([stroke(line) for line in drawing.lines if line.line_class != "label"], dtype=object)
        readable = np.array([text.size_mm >= 1.2 for text in numbers])
        small += int((~readable).sum())
        crossing, _ = shapely.STRtree(lines).query(boxes, predicate="intersects")
        assert not readable[crossing].any()
        one, other = shapely.STRtree(boxes).query(boxes, predicate="intersects")
        assert not (readable[one] & (one != other)).any()
    said = [note for note in notes if "smaller than" in note]
    assert [note.split()[0] for note in said] == ([str(small)] if small else [])


def test_number_stands_at_its_own_cut(plain):
    _, joins, drawings, _ = plain["house"]
    for join in joins:
        for which, side in enumerate(join.sides):
            cut = shapely.LineString(side.line)
            near = [cut.distance(shapely.Point(t.place)) for t in drawings[side.net].texts if t.text == join.label]
            tab = shapely.Polygon(join.tab) if which == join.tab_side else shapely.Polygon()
            assert min(near) < max(4.0, np.sqrt(tab.area))


def test_number_that_has_no_room_inside_is_led_out():
    # A strip 0.8 mm high, too low for a number: it stands right beside it, or beyond what lies there, or is small.
    strip, wall = shapely.box(0.0, 0.0, 30.0, 0.8), shapely.box(10.0, -2.6, 20.0, -1.4)
    number = Number("12", np.array([[0.0, 0.0], [30.0, 0.0]]), 0)
    (text,), leaders, small, _ = written([strip], [number])
    assert not leaders
    assert small == 0
    assert text.place[1] < -0.7
    blocked = [strip, *(shapely.affinity.translate(wall, dx) for dx in (-10.0, 0.0, 10.0))]
    (text,), leaders, small, _ = written(blocked, [number])
    assert small == 1
    assert not leaders
    assert strip.contains(text_box(text))
    low = [strip, shapely.box(5.0, -2.6, 14.7, -1.4), shapely.box(15.3, -2.6, 25.0, -1.4)]
    (text,), (leader,), small, _ = written(low, [number])
    assert small == 0
    assert text.size_mm >= 1.2
    assert leader.points[0] == pytest.approx([15.0, -0.3])
    assert not any(text_box(text).intersects(shape) for shape in low)
    assert not any(shapely.LineString(leader.points).intersects(shape) for shape in low)


def test_number_that_is_another_upside_down_is_underlined():
    square = shapely.box(0.0, 0.0, 30.0, 30.0)
    for name, expected in (("6", 1), ("9", 1), ("61", 1), ("8", 0), ("69", 0), ("25", 0), ("10", 0)):
        (text,), lines, *_ = written([square], [Number(name, np.array([[0.0, 0.0], [30.0, 0.0]]), 0)])
        assert len(lines) == expected
        for line in lines:
            assert line.line_class == "label"
            assert np.all(line.points[:, 1] < text.place[1] - 0.36 * text.size_mm)
            assert square.contains(shapely.LineString(line.points))


def test_number_on_artwork_stands_off_the_card_where_it_can():
    square = shapely.box(0.0, 0.0, 30.0, 30.0)
    numbers = [Number("1", np.array([[0.0, 0.0], [30.0, 0.0]]), 0)]
    (inside,), *_ = written([square], numbers)
    (outside,), *_ = written([square], numbers, is_printed=True)
    assert square.contains(text_box(inside))
    assert not square.intersects(text_box(outside))
    tab = shapely.Polygon([(30.0, 0.0), (0.0, 0.0), (4.0, -6.0), (26.0, -6.0)])
    (on_tab,), *_ = written([square, tab], [dataclasses.replace(numbers[0], tab=1)], is_printed=True)
    assert tab.contains(text_box(on_tab))


def test_two_numbers_in_one_place_move_apart():
    square = shapely.box(0.0, 0.0, 20.0, 3.4)
    lines = np.array([[[0.0, 0.0], [20.0, 0.0]], [[20.0, 3.4], [0.0, 3.4]]])
    texts, _, small, _ = written([square], [Number(name, line, 0) for name, line in zip("12", lines, strict=True)])
    assert small == 0
    assert not text_box(texts[0]).intersects(text_box(texts[1]))


def written(shapes, numbers, notes=(), **options):
    found = lettering(shapes, numbers, notes, **options)
    return found.texts, found.lines, found.small, found.missing


def test_angles_and_lengths_are_written_where_wanted():
    _, _, (drawing,), _ = drawn("box", angles=True)
    assert sorted(text.text for text in drawing.texts if "°" in text.text) == ["90°"] * 5
    _, _, (plain_one,), _ = drawn("box")
    assert not any("°" in text.text for text in plain_one.texts)
    model, _, (sized,), _ = drawn("box", lengths=True)
    lengths = [model.facets.lengths_mm[edge] for edge in model.nets[0].folds.tolist() if edge >= 0]
    written = [float(text.text) for text in sized.texts if "." in text.text]
    assert sorted(written) == pytest.approx(sorted(lengths), abs=0.051)


def test_angle_of_a_valley_is_above_half_a_turn():
    model, _, drawings, _ = drawn("house", angles=True)
    said = {text.text for drawing in drawings for text in drawing.texts if text.text.endswith("°")}
    folds = [edge for net in model.nets for edge in net.folds.tolist() if edge >= 0]
    wanted = {f"{180 - np.degrees(model.facets.bends[edge]):.0f}°" for edge in folds}
    assert said == wanted
    assert "270°" in said


def test_creases_of_a_band_are_light_and_the_foot_says_so():
    model, _, drawings, _ = drawn("cone", cut=CutOptions(smooth_deg=20.0), smooth_deg=20.0)
    facets = model.facets
    light = {line.hinge for drawing in drawings for line in drawing.lines if line.light}
    wanted = {
        f"fold-{edge + 1}"
        for net in model.nets
        for edge in net.folds.tolist()
        if edge >= 0 and abs(np.degrees(facets.bends[edge])) < 20.0
    }
    assert light == wanted
    assert len(light) >= 20
    (sheet, *_), _ = lay_out("cone", drawings)
    assert any("score thin folds only lightly" in text.text for text in sheet.texts)
    (sheet, *_), _ = lay_out("box", drawn("box")[2])
    assert not any("lightly" in text.text for text in sheet.texts)


def test_pieces_are_numbered():
    model, joins, _, _ = drawn("house")
    drawings = net_drawings(model, joins, stock=CARD, title="Hut", piece_id="hut")
    assert [drawing.piece.id for drawing in drawings] == [f"hut.{n}" for n in range(1, len(model.nets) + 1)]
    assert drawings[0].piece.title == f"Hut 1 of {len(model.nets)}"
    panels = list(itertools.chain.from_iterable(drawing.piece.panels for drawing in drawings))
    tabs = [f"t{join.label}" for join in joins if join.tab is not None]
    assert sorted(panels) == sorted([f"f{n + 1}" for n in range(len(model.facets.rings))] + tabs)
