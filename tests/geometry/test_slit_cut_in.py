"""Slit cut-in: its creases on the flat card, its slits, what is cut away, and what cannot be cut."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
import shapely.ops
from shapely import LineString, Polygon

from geometry import DescriptionError, assemble, parse_description
from geometry.checks import run_checks
from tests.geometry.scene_texts import BIG, FORWARD, HEAD, SCENES, cut_in, rider_on


def built(body, fold="spine", before=""):
    return assemble(parse_description(HEAD + before + cut_in("cut", fold, body)))


def problem(body, before="", fold="spine"):
    with pytest.raises(DescriptionError) as caught:
        built(body, fold, before)
    (found,) = caught.value.problems
    return found


def creases(spread):
    """Ends of every crease on the net, mm."""
    return {hinge.id: hinge.lines[0].round(9).tolist() for hinge in spread.hinges if hinge.kind != "glue"}


ROWS = [
    # widths, corners left and right at 60, left and right at 110, middle crease from and to
    ("width = 20", (20, 20, 20, 20), (0, 0)),
    ("width_start = 0; width_end = 30", (0, 0, 30, 30), (0, 0)),
    ("width_start = 30; width_end = 0", (30, 30, 0, 0), (0, 0)),
    ("width_start = 10; width_end = 30", (10, 10, 30, 30), (0, 0)),
    ("width_left = 10; width_right = 30", (10, 30, 10, 30), (20, 20)),
    ("width_left = 30; width_right = 10", (30, 10, 30, 10), (-20, -20)),
    ("width = 20; width_end = 25", (20, 20, 25, 25), (0, 0)),
    ("width = 20; width_left = 25", (25, 20, 25, 20), (-5, -5)),
]


@pytest.mark.parametrize(("widths", "corners", "middle"), ROWS)
def test_creases_lie_where_the_widths_say(widths, corners, middle):
    found = creases(built(f"at = 60; length = 50; {widths}"))
    a1, b1, a2, b2 = corners
    assert np.allclose(found["cut.left"], [[-a1, 60], [-a2, 110]], atol=1e-9)
    assert np.allclose(found["cut.right"], [[b1, 60], [b2, 110]], atol=1e-9)
    assert np.allclose(found["cut.middle"], [[middle[0], 60], [middle[1], 110]], atol=1e-9)
    assert found["spine"] == [[0, 0], [0, 60]]
    assert found["spine#2"] == [[0, 110], [0, 210]]


def test_the_middle_crease_of_a_beak_is_turned_by_the_difference_of_its_sectors():
    found = creases(built("at = 60; length = 50; width_start = 0; width_end_left = 20; width_end_right = 30"))
    turn = np.arctan(30 / 50) - np.arctan(20 / 50)
    start, end = np.array(found["cut.middle"])
    assert start == pytest.approx([0, 60], abs=1e-9)
    assert np.arctan2(*(end - start)) == pytest.approx(turn)


@pytest.mark.parametrize("more", [10.0, 1.0, 0.2, 1e-3, 1e-6, 1e-9])
@pytest.mark.parametrize("right", [40.0, 30.0])
def test_a_nearly_parallel_step_is_as_good_as_a_parallel_one(more, right):
    """Its apex is metres or miles away."""
    body = f"at = 30; length = 150; width_start_left = 40; width_start_right = {right}; width_end_left = {40 + more!r}"
    spread = built(body)
    found = creases(spread)
    assert np.allclose(found["cut.left"], [[-40, 30], [-40 - more, 180]], atol=1e-8)
    scale = 1 + more / 40
    assert np.allclose(found["cut.right"], [[right, 30], [right * scale, 180]], atol=1e-8)
    # Between the slits the middle crease runs towards the apex as well.
    steepness = (more / 150) ** 2 * right / 40
    start = (right - 40) / (1 + steepness)
    assert np.allclose(found["cut.middle"], [[start, 30], [start * scale, 180]], atol=1e-6)
    assert run_checks(spread) == ()
    motion = spread.pose(np.radians(np.arange(0.0, 181.0, 10.0)))
    for hinge in spread.hinges:
        ends = [
            motion.matrices[panel] @ np.column_stack([line, np.zeros(2), np.ones(2)]).T
            for panel, line in zip(hinge.panels, hinge.lines, strict=True)
        ]
        assert np.abs(ends[0] - ends[1]).max() <= 1e-6


def test_one_corner_left_out_follows_from_the_other_three():
    for key in ("start_left", "start_right", "end_left", "end_right"):
        given = {"start_left": 10, "start_right": 20, "end_left": 15, "end_right": 30}
        given.pop(key)
        found = creases(
            built("at = 60; length = 50; " + "; ".join(f"width_{name} = {value}" for name, value in given.items()))
        )
        assert np.allclose(np.abs(np.array(found["cut.right"])[:, 0]), [20, 30], atol=1e-9)
        assert np.allclose(np.abs(np.array(found["cut.left"])[:, 0]), [10, 15], atol=1e-9)


def test_a_cut_in_that_cannot_move_says_by_how_much_which_corner_must_move():
    found = problem(
        "at = 60; length = 50; width_start_left = 30; width_start_right = 20; width_end_left = 15; width_end_right = 12"
    )
    assert "right corner at the second slit must move by 2.000 mm, to a width of 10.000 mm" in found.message
    found = problem("at = 60; length = 50; width_start = 0; width_end_left = 15; width_end_right = 0")
    assert found.line


@pytest.mark.parametrize(
    "widths",
    [
        "30; width_start_right = 10; width_end_left = 20; width_end_right = 6.667",
        "10; width_start_right = 20; width_end_left = 16.667; width_end_right = 33.333",
    ],
)
def test_widths_written_to_a_thousandth_are_near_enough(widths):
    """A third of a millimetre cannot be written out; nobody cuts to a thousandth."""
    assert run_checks(built(f"at = 60; length = 50; width_start_left = {widths}")) == ()


@pytest.mark.parametrize("name", [name for name in SCENES if name.startswith("cut-in") and "wrong" not in name])
def test_no_crease_crosses_a_cut_and_creases_end_on_cuts_or_edges(name):
    spread = assemble(parse_description(SCENES[name]))
    for piece in spread.pieces:
        panels = [spread.panels[panel] for panel in piece.panels]
        lines = [LineString(hinge.lines[0]) for hinge in spread.creases(piece.id)]
        for line in lines:
            inside = line.interpolate(0.5, normalized=True).buffer(1e-4)
            touching = [panel for panel in panels if panel.outline.distance(inside) == 0]
            assert len(touching) == 2
            # Not crossed by a cut: the crease runs in the common boundary of its two panels, nowhere inside any.
            for panel in panels:
                assert panel.outline.buffer(-1e-5).intersection(line).length <= 1e-6
        inner = [shapely.ops.substring(line, 1e-6, line.length - 1e-6) for line in lines]
        for first, line in enumerate(inner):
            for other in inner[first + 1 :]:
                assert not line.intersects(other)


def test_a_slit_of_any_shape_leaves_the_creases_where_they_are():
    plain = creases(built("at = 60; length = 50; width = 25"))
    shaped = creases(
        built('at = 60; length = 50; width = 25; slit_start = "M -25 0 C -20 -30 20 -30 25 0"; slit_end = [[0, 9]]')
    )
    assert shaped["cut.left"] == plain["cut.left"]
    assert shaped["cut.right"] == plain["cut.right"]
    # A cubic's middle is at three quarters of its control points' height.
    assert np.allclose(shaped["cut.middle"], [[0, 60 - 22.5], [0, 119]], atol=0.02)
    assert np.allclose(shaped["spine"], [[0, 0], [0, 60 - 22.5]], atol=0.02)


def test_strips_take_the_shape_of_their_slits():
    spread = built("at = 60; length = 50; width = 25; slit_start = [[0, -10]]; slit_end = [[-5, 8], [5, -3]]")
    ring = Polygon([(-25, 60), (0, 50), (25, 60), (25, 110), (5, 107), (-5, 118), (-25, 110)])
    strips = shapely.union_all([spread.panels["cut.left"].outline, spread.panels["cut.right"].outline])
    assert strips.symmetric_difference(ring).area <= 1e-5
    pages = shapely.union_all([spread.panels["page.left"].outline, spread.panels["page.right"].outline])
    assert pages.area == pytest.approx(2 * 148 * 210 - ring.area, abs=1e-5)


@pytest.mark.parametrize(
    ("body", "corners"),
    [
        ('at = 20; length = 30; width = 25; slit_start = "edge"', [[-25, 0], [-25, 50]]),
        ('at = 150; length = 30; width = 25; slit_end = "edge"', [[-25, 150], [-25, 210]]),
        ('at = 150; length = 30; width_start = 20; width_end = 26; slit_end = "edge"', [[-20, 150], [-32, 210]]),
        ('at = 20; length = 40; width_start = 30; width_end = 20; slit_start = "edge"', [[-35, 0], [-20, 60]]),
        ('at = 150; length = 30; width_start = 30; width_end = 20; slit_end = "edge"', [[-30, 150], [-10, 210]]),
    ],
)
def test_a_slit_that_is_the_edge_leads_the_hinge_lines_to_the_edge(body, corners):
    found = creases(built(body))
    assert np.allclose(found["cut.left"], corners, atol=1e-6)
    assert np.allclose(found["cut.right"], np.array(corners) * [-1, 1], atol=1e-6)
    assert np.allclose(found["cut.middle"], [[0, corners[0][1]], [0, corners[1][1]]], atol=1e-6)


@pytest.mark.parametrize(
    "body",
    [
        'at = 40; length = 60; width = 40; slit_start = "edge"',
        'at = 150; length = 20; width = 20; slit_end = "edge"',
        'at = 100; length = 30; width_start = 30; width_end = 20; slit_end = "edge"',
        "at = 60; length = 50; width = 25; slit_start = [[0, -20]]; slit_end = [[0, -10]]",
    ],
)
def test_the_folds_of_a_strip_are_as_long_as_its_creases(body):
    """What is built on them may stand along all of the crease, and nowhere beside it."""
    spread = built(body)
    for part in ("left", "right", "middle"):
        hinge = next(hinge for hinge in spread.hinges if hinge.id == f"cut.{part}")
        fold = spread.folds[(f"cut.{part}", "valley")]
        ends = sorted((point - fold.left.origin) @ fold.left.along for point in hinge.lines[0])
        assert (fold.start, fold.end) == pytest.approx(tuple(ends), abs=1e-3), part


def test_mountain_and_valley_alternate_around_the_strip():
    for fold, before, normal in (("spine", "", "mountain"), ("hill.middle", BIG, "valley")):
        spread = built("at = 20; length = 30; width = 12", fold, before)
        classes = {hinge.id: spread.crease_class(hinge) for hinge in spread.hinges}
        assert classes["cut.middle"] == normal
        assert classes["cut.left"] == classes["cut.right"] != normal
        assert classes[fold] == classes["cut.left"]


def test_a_cut_in_on_a_tab_uses_tab_and_panel_as_one_card():
    spread = built("at = 30; length = 20; width = 12", "hill.right", FORWARD)
    strip = {hinge.panels for hinge in spread.hinges if hinge.id.startswith("cut")}
    assert strip == {("cut.left", "hill.right"), ("cut.right", "hill.right.tab"), ("cut.left", "cut.right")}
    assert spread.panels["cut.right"].piece == "hill"


@pytest.mark.parametrize(
    ("body", "key", "words"),
    [
        ("at = 60; length = 50; width = 0", "width", "is 0 at both slits"),
        ("at = 60; length = 50", "width", "needs width, or width_start and width_end"),
        ("at = 60; length = 50; width_start = 0", "width", "needs width"),
        ("at = 60; length = 50; width = 148", "length", "cuts apart"),
        ("at = 60; length = 50; width = 200", "at", "by 52.00 mm"),
        ("at = 190; length = 50; width = 20", "at", "by 30.00 mm"),
        ("at = -1; length = 50; width = 20", "at", "by 1.00 mm"),
        ("at = 60; length = 50; width = 20; slit_start = [[-10, 60], [10, 60]]", "slit_start", "cross"),
        ("at = 60; length = 50; width = 20; slit_start = [[-30, 20], [10, 5]]", "slit_start", "cross"),
        ("at = 60; length = 50; width = 20; slit_end = [[-30, -20], [10, -5]]", "slit_end", "cross"),
        (
            "at = 60; length = 50; width = 20; slit_end = [[-10, 10], [5, 10], [-5, 5], [10, 3]]",
            "slit_end",
            "middle crease",
        ),
        ("at = 60; length = 50; width = 20; holes = [[[5, 10], [30, 10], [10, 20]]]", "holes", "not inside"),
        ('at = 60; length = 50; width = 20; slit_end = "M 0 0 L"', "slit_end", "path data|must"),
    ],
)
def test_what_cannot_be_cut_is_told_with_its_key(body, key, words):
    found = problem(body)
    assert any(word in found.message for word in words.split("|")), found.message
    assert found.place == f'slit-cut-in "cut", {key}'


@pytest.mark.parametrize("at", [60, 80, 100])
def test_a_cut_that_meets_another_cut_says_so(at):
    message = problem(
        f"at = {at}; length = 50; width = 25", cut_in("step", body="at = 60; length = 50; width = 20")
    ).message
    assert "another cut" in message
    assert "0.00 mm" not in message


def test_two_cut_ins_may_share_a_slit():
    spread = built("at = 110; length = 30; width = 20", before=cut_in("step", body="at = 60; length = 50; width = 20"))
    assert run_checks(spread) == ()


def test_card_of_two_pieces_is_no_card_to_cut():
    found = problem(
        "at = 5; length = 10; width = 2", rider_on("sun", "page.left", "at = [-50, 50]; size = [9, 9]"), "sun.middle"
    )
    assert "is no fold" in found.message
    inner = problem("at = 20; length = 10; width = 30", BIG, "hill.left")
    assert inner.place == 'slit-cut-in "cut", at'


def test_windows_of_a_strip_are_cut_out_of_it_and_not_of_its_host():
    spread = built("at = 60; length = 50; width = 20; holes = [[[5, 10], [10, 10], [10, 20], [5, 20]]]")
    assert spread.panels["cut.right"].outline.area == pytest.approx(950.0, abs=1e-5)
    assert spread.panels["page.right"].outline.area == pytest.approx(148 * 210 - 1000.0, abs=1e-5)
