"""Pull-strips: the slider-crank against its closed form, guides, slots and handles over the whole travel."""

from __future__ import annotations

import re

import numpy as np
import pytest

from geometry import DescriptionError, assemble, parse_description
from geometry.checks import CHECKS, run_checks
from geometry.figures import figures_of
from geometry.report import report_text
from geometry.sampling import hand_range, sample_hand
from tests.geometry.hand_texts import HEAD, flap, strip


def built(text):
    return assemble(parse_description(HEAD + text))


#: Where the link's end on the strip is at rest from the flap's hinge, the crank, the travel, and which way it goes.
CASES = {
    "stretched": (40.0, 15.0, 28.0, -1.0),
    "stretched, half a turn": (40.0, 15.0, 30.0, -1.0),
    "long link": (60.0, 20.0, 25.0, -1.0),
    "under the flap": (8.0, 26.0, 30.0, 1.0),
    "under the flap and down again": (8.0, 26.0, 36.0, 1.0),
    "beyond the hinge": (-20.0, 15.0, 28.0, -1.0),
    "link as long as the crank": (30.0, 15.0, 29.0, -1.0),
}


def of_case(name, flap_face="front", face="front", turn=180.0, out=180.0):
    start, crank, travel, way = CASES[name]
    pulled = "out" if (way > 0) == (out == 0.0) else "in"
    return built(
        flap(more=f'driven = true\nface = "{flap_face}"', turn=turn)
        + strip(start, crank, travel, pulled, face, turn, out)
    )


def closed_form(name, moved):
    """The flap's turn by the law of cosines, radians."""
    start, crank, _, way = CASES[name]
    place = start + way * moved
    cosine = (place**2 + crank**2 - (start - crank) ** 2) / (2 * place * crank)
    return np.arccos(np.clip(cosine, -1.0, 1.0))


def worst_hinge_mm(spread, motion):
    worst = 0.0
    for hinge in spread.hinges:
        ends = [
            motion.matrices[panel] @ np.column_stack([line, np.zeros(2), np.ones(2)]).T
            for panel, line in zip(hinge.panels, hinge.lines, strict=True)
        ]
        worst = max(worst, float(np.abs(ends[0] - ends[1]).max()))
    return worst


@pytest.mark.parametrize("flap_face", ["front", "back"])
@pytest.mark.parametrize("face", ["front", "back"])
@pytest.mark.parametrize("turn", [0.0, 127.0])
@pytest.mark.parametrize("out", [0.0, 180.0])
@pytest.mark.parametrize("name", CASES)
def test_the_loop_is_the_slider_crank(name, flap_face, face, turn, out):
    spread = of_case(name, flap_face, face, turn, out)
    travel = CASES[name][2]
    moved = np.concatenate([np.linspace(0.0, travel, 61), np.geomspace(1e-7, 1e-2, 20)])
    motion = spread.pose(np.full(len(moved), 2.5), {"pull": moved})
    # Where the arc cosine is steep its own rounding is what is left: two digits are half lost there.
    wanted = closed_form(name, moved)
    steep = np.sin(wanted) < 1e-2
    assert motion.variables["lid:flap"][~steep] == pytest.approx(wanted[~steep], abs=1e-9)
    assert motion.variables["lid:flap"] == pytest.approx(wanted, abs=1e-7)
    assert worst_hinge_mm(spread, motion) < 1e-9


def test_the_crank_itself_is_where_the_flap_is_glued():
    """Not the closed form but the poses: the link is as long as it is cut, and begins on the strip's middle line."""
    spread = of_case("stretched")
    moved = np.linspace(0.0, 28.0, 29)
    matrices = spread.pose(np.full(29, np.pi), {"pull": moved}).matrices
    begin = matrices["pull.strip"] @ [20.0, 0.0, 0.0, 1.0]
    end = matrices["lid.flap"] @ [0.0, 15.0, 0.0, 1.0]
    assert np.linalg.norm(begin - end, axis=1) == pytest.approx(np.full(29, 25.0), abs=1e-9)
    assert begin[:, 0] == pytest.approx(160.0 + moved)


@pytest.mark.parametrize(
    ("name", "face"), [("stretched", "back"), ("under the flap", "back"), ("beyond the hinge", "front")]
)
def test_the_link_is_glued_on_the_side_on_which_it_lies(name, face):
    """Under the flap, on its back; over it, on its printed face, where its end on the strip lies beyond the hinge."""
    (area,) = (area for area in of_case(name).glue_areas if area.host == "lid.flap")
    assert area.face == face


def test_at_rest_the_flap_is_shut_and_the_book_closes_flat():
    spread = of_case("stretched", face="back")
    assert abs(float(spread.pose(np.zeros(1)).variables["lid:flap"][0])) < 1e-9
    assert CHECKS["closes-flat"](spread) == []
    assert spread.reachable() == (0.0, np.pi)


def test_a_link_of_another_length_leaves_the_flap_ajar():
    text = flap() + strip(40.0, more="link_length = 25.5")
    spread = built(text)
    ajar = np.arccos((40.0**2 + 15.0**2 - 25.5**2) / (2 * 40 * 15))
    found = CHECKS["closes-flat"](spread)
    assert {item.piece for item in found} == {"lid", "pull.link"}
    assert found[0].measure == pytest.approx(44 * np.sin(ajar), abs=1e-6)


def test_a_strip_that_its_link_stops_is_found():
    """Crank 15 and link 25: the link is folded back when the strip has gone 30 mm."""
    spread = built(flap() + strip(40.0, travel=34.0))
    (finding,) = CHECKS["hand-locks"](spread)
    assert finding.measure == pytest.approx(30.0, abs=1e-6)
    assert "pull moves only from 0.00 to 30.00 mm, not from 0 to 34" in finding.message
    assert "its link of 25 mm, glued 15 mm from the hinge, lies in line with the flap and stops it" in finding.message
    assert hand_range(spread, spread.hands[0])[1] == pytest.approx(30.0, abs=1e-6)
    assert CHECKS["hand-locks"](of_case("stretched, half a turn")) == []


@pytest.mark.parametrize(
    ("start", "crank", "travel", "out", "instead"),
    [
        (40.0, 15.0, 34.0, 180.0, 17.0),
        # Glued further from the hinge it would move less: the link is shorter than the crank.
        (40.0, 30.0, 28.0, 180.0, 26.0),
        (10.0, 15.0, 28.0, 0.0, 24.0),
        (-20.0, 10.0, 28.0, 180.0, 14.0),
        # Too near the hinge for so much, wherever it is glued.
        (20.0, 14.0, 28.0, 180.0, None),
    ],
)
def test_what_it_says_of_a_stopped_strip_lets_it_move(start, crank, travel, out, instead):
    text = flap() + strip(start, crank, travel, "out", "front", out=out)
    (finding,) = CHECKS["hand-locks"](built(text))
    less = re.search(r"write travel = ([\d.]+)", finding.message)[1]
    assert float(less) == pytest.approx(finding.measure, abs=0.01)
    assert CHECKS["hand-locks"](built(text.replace(f"travel = {travel}", f"travel = {less}"))) == []
    other = re.search(r"or link_reach = ([\d.]+)$", finding.message)
    assert (other and float(other[1])) == instead
    if instead:
        glued = text.replace(f"link_reach = {crank}", f"link_reach = {instead}")
        assert CHECKS["hand-locks"](built(glued)) == []


@pytest.mark.parametrize("start", [3.0, 10.0, -5.0])
def test_a_strip_that_is_stuck_at_rest_is_refused_though_it_would_reach_further_on(start):
    """It passes through the hinge's line and reaches the flap from its other side, where no hand ever gets it."""
    out = 180.0 if start > 0 else 0.0
    with pytest.raises(DescriptionError, match=r'left alone it is as near as that.*Write way = "in"'):
        built(flap() + strip(start, out=out))
    assert built(flap() + strip(start, way="in", out=out)).reachable() == (0.0, np.pi)


def test_the_rig_samples_it_from_its_dead_point_on():
    spread = of_case("stretched")
    values, turns = sample_hand(spread, spread.hands[0])
    assert (values[0], values[-1]) == (0.0, 28.0)
    assert set(turns) == {"pull.strip", "pull.link.arm", "lid.flap"}
    exact = spread.pose(np.full(len(values), np.pi), {"pull": values}).variables["lid:flap"]
    assert turns["lid.flap"] == pytest.approx(exact, abs=1e-12)


def test_a_link_that_lies_in_line_at_rest_is_told():
    """A figure and no finding: the usual way to make it. A longer link leaves the flap ajar, and is not in line."""
    spread = of_case("stretched")
    assert figures_of(spread).in_line_at_rest == ("pull",)
    assert "in line with its link at rest" in report_text(spread, ())
    ajar = built(flap() + strip(40.0, more="link_length = 25.3"))
    assert figures_of(ajar).in_line_at_rest == ()
    assert ajar.pose([np.pi]).variables["lid:flap"][0] == pytest.approx(
        np.arccos((40**2 + 15**2 - 25.3**2) / (2 * 40 * 15)), abs=1e-9
    )


def test_a_strip_on_the_other_face_has_its_link_through_a_slot():
    front, back = of_case("stretched"), of_case("stretched", face="back")
    assert len(front.panels["page.right"].outline.interiors) == 0
    (slot,) = back.panels["page.right"].outline.interiors
    # From where the link begins to where it gets, half a millimetre more all round.
    low_x, low_y, high_x, high_y = slot.bounds
    assert (low_x, high_x) == pytest.approx((160 - 0.5, 160 + 28 + 0.5))
    assert (low_y, high_y) == pytest.approx((200 - 8.5, 200 + 8.5))


PLAIN = (
    '[[mechanism]]\nkind = "pull-strip"\nid = "pull"\npanel = "page.right"\nat = [250, 200]\nlength = 120\nwidth = 20\n'
    "travel = 30\nguides = [40, 100]\n"
)


#: A strip with a handle that is 3 mm wider on one side.
TEE = "M 0 -10 L 92 -10 L 92 -13 L 120 -13 L 120 10 L 0 10 Z"


def test_a_plain_strip_slides_along_its_way():
    spread = built(PLAIN)
    moved = spread.pose(np.full(2, np.pi), {"pull": np.array([0.0, 30.0])}).matrices["pull.strip"]
    assert moved[:, :3, 3] == pytest.approx(np.array([[250, 200, 0], [280, 200, 0]]))
    assert run_checks(spread) == ()


@pytest.mark.parametrize(
    ("change", "measure", "said"),
    [
        (("guides = [40, 100]", "guides = [30, 100]"), 4.0, "leaves pull.guide1 by 4.00 mm within its travel"),
        (("guides = [40, 100]", "guides = [40, 119]"), 3.0, "leaves pull.guide2 by 3.00 mm within its travel"),
        (("at = [250, 200]", "at = [263, 200]"), 13.0, "moved 30 mm, stands 13.00 mm out of the page"),
        (
            ("travel = 30\nguides = [40, 100]", f"travel = 30\nguides = [40, 80]\nway = 'in'\noutline = '{TEE}'"),
            2.5,
            "sticks in pull.guide2: it is 2.50 mm too wide",
        ),
    ],
)
def test_guides_and_page_over_the_whole_travel(change, measure, said):
    (finding,) = CHECKS["pull-strip"](built(PLAIN.replace(*change)))
    assert finding.measure == pytest.approx(measure)
    assert said in finding.message


def test_a_handle_may_stand_out_as_far_as_it_says():
    out = PLAIN.replace("at = [250, 200]", "at = [283, 200]")
    (at_rest,) = CHECKS["stays-inside"](built(out))
    assert at_rest.measure == pytest.approx(3.0)
    (pulled,) = CHECKS["pull-strip"](built(out + "beyond = 32.5\n"))
    assert pulled.measure == pytest.approx(0.5)
    assert "stands 33.00 mm out of the page" in pulled.message
    (still,) = CHECKS["stays-inside"](built(out + "beyond = 2\n"))
    assert "sticks out 3.00 mm, 1.00 mm more than it may, beyond the fore edge" in still.message
    fine = built(out + "beyond = 33\n")
    assert CHECKS["stays-inside"](fine) + CHECKS["pull-strip"](fine) == []


def test_glue_in_its_way_is_found():
    """Pulled out under the flap's hinge on the front it runs into the flap's own tab, behind the page it does not."""
    (finding,) = CHECKS["pull-strip"](of_case("stretched"))
    assert (finding.other, finding.measure) == ("lid.flap.tab", pytest.approx(10.0))
    assert CHECKS["pull-strip"](of_case("stretched", face="back")) == []


def test_the_links_tab_must_not_pass_under_a_guide():
    through = flap(more='driven = true\ntab = "through"')
    assert CHECKS["pull-strip"](built(through + strip(8.0, 26.0, 30.0, "out", out=0.0))) == []
    text = through + strip(8.0, 26.0, 30.0, "out", out=0.0).replace("guides = [80]", "guides = [50]")
    (finding,) = CHECKS["pull-strip"](built(text))
    # The tab takes up 12 to 20 mm of the strip; 50 - 4 - 30 = 16 and more passes through the guide.
    assert finding.measure == pytest.approx(4.0)
    assert "pull.link.arm.tab strikes pull.guide1" in finding.message


LINKED = flap() + strip(40.0, face="back")


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (('drives = "lid"', 'drives = "lit"'), '"lit" is no flap'),
        (("driven = true", ""), "lid is moved by hand"),
        (
            ('way = "out"', 'way = "in"'),
            "moves the link's end from 40 to 68 mm of the hinge of lid, counted to the flap; a link of 25 mm, glued "
            "15 mm from that hinge, lets it be 10 to 40 mm away, and left alone it is as far as that, 40 mm. "
            'Write way = "out", which it can move by 30 mm',
        ),
        (
            ("link_reach = 15.0", "link_reach = 15.0\nlink_length = 55"),
            'lets it be 40 to 70 mm away, and left alone it is as near as that, 40 mm. Write way = "in"',
        ),
        (("link_at = 20", "link_at = 130"), "is 130 mm; pull reaches from its inner end to 120 mm"),
        (("link_at = 20", "link_at = 60"), "puts the link's end on the very hinge of lid"),
        (("turn = 0.0", "turn = 1"), "1.00 degrees off square to the hinge of lid"),
        (("link_reach = 15.0", "link_reach = 60"), "lid reaches from its hinge to 44 mm"),
        (("link_at = 20\n", ""), "is missing; a pull-strip that opens a flap needs link_at and link_reach"),
        (("width = 20", "width = 60"), "runs 3.00 mm beside lid, link included"),
        (('drives = "lid"\n', ""), "belongs to a pull-strip that opens a flap"),
        (("guides = [80]", "guides = [350]"), "puts a guide beyond page.right"),
        (
            ("link_reach = 15.0", "link_reach = 15.0\nlink_length = 24.5"),
            "is 24.5 mm; left alone, its ends are 25 to 55",
        ),
        (("link_reach = 15.0", "link_reach = 40"), "puts both ends of the link on the same place"),
    ],
)
def test_what_cannot_be_is_refused(change, said):
    assert change[0] in LINKED
    with pytest.raises(DescriptionError) as caught:
        built(LINKED.replace(*change))
    assert said in str(caught.value)
    if change[0] != 'drives = "lid"' and change[0] != 'drives = "lid"\n':
        assert "moved by nothing" not in str(caught.value)
