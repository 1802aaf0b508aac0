"""Outlines by key: what is shown is what is cut, in the right place, and writing it back unchanged changes no card."""

import numpy as np
import pytest
import shapely
from shapely import LineString, Point, Polygon

from geometry import HingeleafError, assemble, parse_description, read_description
from geometry.design.outline_keys import outline_keys, with_outline
from geometry.design.strokes import Stroke, stroke_of, value_of
from geometry.outline import polyline
from tests.geometry.scene_texts import FILES as SCENES
from tests.geometry.scene_texts import HILL, ROOT, head


def keys_of(description, spread):
    for spec in description.mechanisms:
        if spec.kind not in ("strap", "solid"):
            yield from outline_keys(description, spread, spec.id)


def on_net(key, stroke):
    """A stroke as a polyline on its panel's net."""
    value = value_of(stroke.moved(key.frame))
    return polyline(value)


@pytest.mark.parametrize("file", SCENES, ids=lambda file: file.stem)
def test_written_back_unchanged_every_outline_cuts_the_same_card(file):
    description = read_description(file)
    spread = assemble(description)
    for key in keys_of(description, spread):
        for both in (False, True):
            if key.form == "outlines" and not key.strokes:
                continue
            if both and (key.key == key.base or not symmetrical(description, key)):
                continue
            again = assemble(with_outline(description, key, key.strokes, both=both))
            for name, panel in spread.panels.items():
                moved = again.panels[name].outline.symmetric_difference(panel.outline).area
                assert moved < 2e-3 * panel.outline.length, (key.mechanism, key.key, name, moved)


def symmetrical(description, key):
    spec = next(spec for spec in description.mechanisms if spec.id == key.mechanism)
    return not [name for name in spec.values if name.endswith(("_left", "_right"))]


@pytest.mark.parametrize("file", SCENES, ids=lambda file: file.stem)
def test_every_outline_lies_on_the_edge_of_its_card(file):
    description = read_description(file)
    spread = assemble(description)
    for key in keys_of(description, spread):
        piece = spread.piece(spread.panels[key.panel].piece)
        panels = [spread.panels[name].outline for name in piece.panels]
        edges = shapely.union_all([panel.boundary for panel in panels])
        for stroke in key.strokes:
            for point in on_net(key, stroke):
                assert edges.distance(Point(point)) < 0.01, (key.mechanism, key.key, point)


def hill(edges=""):
    return parse_description(head("Stage", "[140, 200]") + HILL + edges)


def key_of(description, name):
    return next(key for key in outline_keys(description, assemble(description), "hill") if key.key == name)


def test_the_other_side_keeps_what_both_had():
    description = hill('edge = "M 0 50 C 20 70 40 20 50 0"')
    changed = with_outline(
        description, key_of(description, "edge_left"), [stroke_of([[0, 50], [30, 40], [50, 0]], closed=False)]
    )
    values = changed.mechanisms[0].values
    assert values["edge_right"] == "M 0 50 C 20 70 40 20 50 0"
    assert values["edge_left"] == [[30.0, 40.0]]
    assert "edge" not in values


def test_both_sides_get_the_same():
    description = hill("edge_left = [[30, 40]]\nedge_right = [[35, 45]]")
    changed = with_outline(
        description,
        key_of(description, "edge_right"),
        [stroke_of([[0, 50], [31, 41], [50, 0]], closed=False)],
        both=True,
    )
    assert {key: value for key, value in changed.mechanisms[0].values.items() if "edge" in key} == {
        "edge": [[31.0, 41.0]]
    }


def test_ends_are_set_on_the_hinge_and_either_way_of_drawing_will_do():
    description = hill()
    key = key_of(description, "edge_left")
    tip, foot = key.ends
    drawn = stroke_of([[*(foot + [2, -3])], [40, 30], [20, 60], [*(tip + [1, 1])]], closed=False)
    changed = with_outline(description, key, [drawn])
    assert changed.mechanisms[0].values["edge_left"] == [[20.0, 60.0], [40.0, 30.0]]
    before, after = (assemble(each).middle_of("hill").lines for each in (description, changed))
    assert np.allclose(before, after)
    curve = stroke_of("M 0 49 C 20 70 40 20 51 1", closed=False)
    outline = assemble(with_outline(description, key, [curve])).panels["hill.left"].outline
    assert outline.exterior.distance(Point(0, 50)) < 1e-6
    assert outline.is_valid


def test_a_straight_way_between_the_ends_is_no_default():
    description = hill()
    key = key_of(description, "edge_left")
    cut = assemble(with_outline(description, key, [stroke_of(key.ends.tolist(), closed=False)]))
    assert cut.panels["hill.left"].outline.area == pytest.approx(50 * 50 / 2, rel=1e-6)


WRONG = [
    ("edge_left", [[[0, 50], [60, 10], [-40, 10], [50, 0]]], False, "crosses itself"),
    ("edge_left", [[[0, 0], [10, 0], [10, 10]]], True, "closed"),
    ("edge_left", [], False, "0 lines"),
    ("holes_left", [[[5, 5], [9, 5], [9, 9]]], False, "join its ends"),
    ("holes_left", [[[500, 5], [509, 5], [509, 9]]], True, "not inside"),
]


@pytest.mark.parametrize(("name", "lines", "closed", "words"), WRONG)
def test_what_cannot_be_cut_is_said(name, lines, closed, words):
    description = hill()
    with pytest.raises(HingeleafError, match=words):
        assemble(
            with_outline(description, key_of(description, name), [stroke_of(line, closed=closed) for line in lines])
        )


def test_a_strap_has_no_outline():
    description = read_description(ROOT / "scenes" / "strap.toml")
    strap = next(spec.id for spec in description.mechanisms if spec.kind == "strap")
    with pytest.raises(HingeleafError, match="no outline of its own"):
        outline_keys(description, assemble(description), strap)


def test_no_holes_take_the_key_out():
    description = hill("holes_left = [[[10, 20], [15, 20], [15, 25]]]")
    changed = with_outline(description, key_of(description, "holes_left"), [])
    assert "holes_left" not in changed.mechanisms[0].values


def test_a_rider_drawn_free_has_no_size_any_more():
    text = (
        head("Stage", "[140, 200]")
        + HILL
        + '[[mechanism]]\nkind = "rider"\nid = "sun"\npanel = "hill.left"\nat = [-20, 30]\nsize = [10, 10]\n'
    )
    description = parse_description(text)
    key = outline_keys(description, assemble(description), "sun")[0]
    assert Polygon(key.strokes[0].points).area == pytest.approx(100)
    changed = with_outline(description, key, [stroke_of("M -5 0 C -5 10 5 10 5 0 Z", closed=True)])
    assert "size" not in changed.mechanisms[1].values
    assert changed.mechanisms[1].values["outline"] == "M -5 0 C -5 10 5 10 5 0 Z"


def test_lines_of_keys_are_continuous_lines():
    description = hill('edge_left = "M 20 60 C 30 60 40 40 45 20"')
    key = key_of(description, "edge_left")
    line = LineString(on_net(key, key.strokes[0]))
    assert line.is_simple
    assert Point(line.coords[0]).distance(Point(0, 50)) < 1e-6


def test_a_straight_part_stays_straight_when_its_end_is_set_on_the_hinge():
    """Blender's vector handles lie on the way between their points; with the point moved they would make a curve."""
    description = hill()
    key = key_of(description, "edge_left")
    points = np.array([[0.0, 50.0], [30.0, 60.0], [53.0, 2.0]])
    before = np.array([[0.0, 50.0], [30.0, 65.0], [30 + 23 * 2 / 3, 60 - 58 * 2 / 3]])
    after = np.array([[10.0, 70.0], [30 + 23 / 3, 60 - 58 / 3], [53.0, 2.0]])
    changed = with_outline(description, key, [Stroke(points, before, after, False)])
    assert changed.mechanisms[0].values["edge_left"] == "M 0 50 C 10 70 30 65 30 60"
