"""Nets as drawings: true lengths, every cut drawn once, numbers that can be read and lie over nothing."""

import itertools

import numpy as np
import pytest
import shapely

from geometry.model import Stock
from geometry.nets import lay_out
from geometry.nets.lettering import text_box
from geometry.unfold.cut_options import CutOptions
from geometry.unfold.drawing import DrawingOptions, drawn_nets, net_drawings
from geometry.unfold.facets import facets_of
from geometry.unfold.tabs import TabOptions, joins_of
from geometry.unfold.unfolding import unfold_facets
from tests.geometry import unfold_meshes

CARD = Stock("card", 200.0, 0.26, "any", (1.0, 1.0, 1.0))
MODELS = ("box", "house", "ring_cube", "icosphere", "letters", "slab")


def drawn(name, *, cut=None, tabs=None, **options):
    model = unfold_facets(facets_of(getattr(unfold_meshes, name)()), cut)
    joins = joins_of(model, tabs)
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
        assert drawing.card.boundary.difference(cuts.buffer(1e-4)).length < 1e-3
        assert cuts.intersection(creases.buffer(1e-5)).length < 1e-2


def test_outline_is_one_line():
    # The star's net has no hole: one closed line, and nothing else to cut.
    _, _, (drawing,), _ = drawn("star")
    (cut,) = [line for line in drawing.lines if line.line_class == "cut"]
    assert cut.closed
    assert len(drawing.card.geoms) == 1 and not drawing.card.geoms[0].interiors


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
        lines = np.array([stroke(line) for line in drawing.lines], dtype=object)
        readable = np.array([text.size_mm >= 1.2 for text in numbers])
        small += int((~readable).sum())
        crossing, _ = shapely.STRtree(lines).query(boxes, predicate="intersects")
        assert not readable[crossing].any()
        one, other = shapely.STRtree(boxes).query(boxes, predicate="intersects")
        assert not (readable[one] & (one != other)).any()
    said = [note for note in notes if "smaller than" in note]
    assert [note.split()[0] for note in said] == ([str(small)] if small else [])


def test_number_stands_at_its_own_cut(plain):
    model, joins, drawings, _ = plain["house"]
    for join in joins:
        for which, side in enumerate(join.sides):
            cut = shapely.LineString(side.line)
            near = [cut.distance(shapely.Point(t.place)) for t in drawings[side.net].texts if t.text == join.label]
            tab = shapely.Polygon(join.tab) if which == join.tab_side else shapely.Polygon()
            assert min(near) < max(4.0, np.sqrt(tab.area))


def test_numbers_that_have_no_room_are_led_out():
    # A slab a hundredth of a millimetre thick: no number fits on its narrow sides.
    model, joins, drawings, notes = drawn("slab", tabs=TabOptions(edge_to_edge=True))
    thin = {join.label for join in joins if min(model.facets.areas_mm2[s.facet] for s in join.sides) < 1.0}
    assert thin
    led = [line for drawing in drawings for line in drawing.lines if line.line_class == "mark" and len(line.points) == 2]
    assert led or any("smaller than" in note for note in notes)


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
    model, _, drawings, _ = drawn("letters", angles=True)
    said = {text.text for drawing in drawings for text in drawing.texts if text.text.endswith("°")}
    folds = [edge for net in model.nets for edge in net.folds.tolist() if edge >= 0]
    wanted = {f"{180 - np.degrees(model.facets.bends[edge]):.0f}°" for edge in folds}
    assert said == wanted and "270°" in said


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
    assert light == wanted and len(light) >= 20
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
