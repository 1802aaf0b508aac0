"""Through the host: openings in closed form, depths by hand, and the side of the host from the poses."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from shapely import Point, Polygon, box

from geometry import assemble, parse_description, read_description
from geometry.checks.through_host import check_through_host
from tests.geometry import corpus
from tests.geometry.scene_texts import FILES, HEAD, SCENES, cut_in, rider_on, tent, v_fold

_TEXTS = {
    **{f"scenes/{path.name}": path for path in FILES},
    **{f"corpus/{path.stem}": path for path in (*corpus.FAULTY, *corpus.SOUND)},
    **SCENES,
}


def spread_of(text):
    return assemble(parse_description(text) if isinstance(text, str) else read_description(text))


def found(body):
    return check_through_host(spread_of(HEAD + body))


def span(finding):
    """The openings that the message names."""
    return tuple(float(number) for number in re.search(r"from (\S+) to (\S+) degrees", finding.message).groups())


def behind(spread, openings_deg):
    """Glued panels on the wrong side of their host, judged by a point just off the glue line: name to (n,) bool."""
    motion = spread.pose(np.radians(openings_deg))
    faces = {area.glued: area.face for area in spread.glue_areas}
    judged = {}
    for hinge in spread.hinges:
        panel, host = hinge.panels
        tab = f"{hinge.id.split('#')[0].removesuffix('.glue')}.tab"
        if hinge.kind != "glue" or tab not in faces:
            continue
        start, end = hinge.lines[0]
        along = (end - start) / np.hypot(*(end - start))
        aside = np.array([-along[1], along[0]])
        middle = (start + end) / 2
        outline = spread.panels[panel].outline
        points = (middle + side * 0.1 * aside for side in (1, -1))
        point = next(item for item in points if outline.contains(Point(item)))
        world = motion.matrices[panel] @ np.array([*point, 0.0, 1.0])
        there = np.einsum("nij,nj->ni", np.linalg.inv(motion.matrices[host]), world)
        # A tab that goes through a slot is glued on the other face than that on which its panel stands.
        on_host = Point(hinge.lines[1].mean(axis=0))
        slotted = any(Polygon(ring).contains(on_host) for ring in spread.panels[host].outline.interiors)
        height = there[:, 2] * (1 if (faces[tab] == "front") != slotted else -1)
        judged[panel] = (height < -1e-6) | judged.get(panel, False)
    return judged


@pytest.mark.parametrize("name", _TEXTS)
def test_the_same_side_as_the_poses_say(name):
    spread = spread_of(_TEXTS[name])
    low, high = np.degrees(spread.reachable())
    if not np.isfinite(low):
        pytest.skip("it cannot stand at any opening")
    told = {item.panel: item for item in check_through_host(spread) if spread.panels[item.panel].role == "panel"}
    openings = np.linspace(low, high, 50)
    for panel, wrong in behind(spread, openings).items():
        if panel not in told:
            # What goes behind by less than 0.1 mm is not told: a degree or so, on these small panels.
            assert np.count_nonzero(wrong) <= 1, panel
            continue
        start, end = span(told[panel])
        assert wrong[(openings > start + 0.1) & (openings < end - 0.1)].all(), panel
        assert not wrong[(openings < start - 0.1) | (openings > end + 0.1)].any(), panel
        del told[panel]
    assert not told


def test_scenes_that_are_sound_are_silent():
    for name, text in SCENES.items():
        assert check_through_host(spread_of(text)) == [], name


@pytest.mark.parametrize(
    ("bases", "heights"), [((40, 20), (40, 60.5)), ((40, 20), (40, 59.5)), ((40, 25), (38, 54)), ((30, 30), (40, 40.5))]
)
def test_where_a_tent_lies_on_its_host_near_the_closed_end(bases, heights):
    """The ridge meets the plane of the host at base + height from the fold: law of cosines about the other side."""
    (a, b), (c, d) = bases, heights
    body = f"at = 60; length = 50; base_left = {a}; base_right = {b}; height_left = {c}; height_right = {d}"
    (finding,) = found(tent("roof", body=body))
    if finding.panel == "roof.right":
        (a, b), (c, d) = (b, a), (d, c)
    lies = np.degrees(np.arccos((b**2 + (a + c) ** 2 - d**2) / (2 * b * (a + c))))
    jam = (d - c) ** 2 - (a - b) ** 2
    low = np.degrees(2 * np.arcsin(np.sqrt(jam / (4 * a * b)))) if jam > 0 else 0.0
    assert span(finding) == pytest.approx((low, lies), abs=0.1)
    assert finding.opening_deg == pytest.approx(low, abs=0.1)
    # At its lowest the ridge lies c sin(foot) below the page; the foot angle from the triangle at the first opening.
    opening = np.radians(low)
    ridge = np.array([a, 0.0])
    other = b * np.array([np.cos(opening), np.sin(opening)])
    apart = np.hypot(*(other - ridge))
    turn = np.arccos(np.clip((apart**2 + c**2 - d**2) / (2 * apart * c), -1, 1))
    foot = np.arctan2(*(other - ridge)[::-1]) - turn
    assert finding.measure == pytest.approx(c * abs(np.sin(foot)), abs=1e-3)


@pytest.mark.parametrize("card", [0.0, 2.0, 30.0])
def test_only_card_that_is_there_is_in_the_way(card):
    """The left page ends so far beyond the glue line at 40 mm."""
    body = "at = 60; length = 50; base_left = 40; base_right = 20; height_left = 40; height_right = 60.5"
    spread = spread_of(HEAD + tent("roof", body=body))
    whole = check_through_host(spread)[0].measure
    page = spread.panels["page.left"].with_outline(box(-40 - card, 0, 0, 210))
    findings = check_through_host(replace(spread, panels={**spread.panels, "page.left": page}))
    assert [item.measure for item in findings] == ([pytest.approx(whole * card / 40, abs=1e-6)] if card else [])


def test_a_slot_in_the_host_lets_the_panel_through():
    body = "at = 60; length = 50; base_left = 40; base_right = 20; height_left = 40; height_right = 60.5"
    spread = spread_of(HEAD + tent("roof", body=body))
    outline = spread.panels["page.left"].outline.difference(box(-81, 59, -40, 111))
    page = spread.panels["page.left"].with_outline(outline)
    assert check_through_host(replace(spread, panels={**spread.panels, "page.left": page})) == []


@pytest.mark.parametrize(("angle", "crease"), [(30, 100), (45, 100), (60, 80), (60, 100), (90, 100), (140, 100)])
def test_a_v_fold_that_leans_over_through_its_host_all_the_way(angle, crease):
    """Its foot angle goes past 270 degrees in some of these and would come back at -90."""
    findings = found(
        v_fold("wall", body=f'at = 100; angle = {angle}; crease_angle = {crease}; height = 30; lean = "over"')
    )
    assert [item.panel for item in findings] == ["wall.left", "wall.right"]
    for finding in findings:
        assert finding.opening_deg == pytest.approx(0.0, abs=0.1)
        assert span(finding)[1] >= 90


def test_a_panel_that_comes_round_to_the_free_edge_from_behind_went_through_first():
    """The left page ends at the glue line; the foot angle goes from 180 to 327 degrees, which is also -33."""
    spread = spread_of(
        HEAD + v_fold("wall", body='at = 100; angle = 45; crease_angle = 130; height = 30; lean = "over"')
    )
    page = spread.panels["page.left"].with_outline(Polygon([(0, 100), (0, 210), (-110, 210)]))
    cut = replace(spread, panels={**spread.panels, "page.left": page})
    findings = check_through_host(cut)
    assert [item.panel for item in findings] == ["wall.left", "wall.right"]
    assert all(span(item) == pytest.approx((0.0, 180.0), abs=0.1) for item in findings)


def test_a_strip_that_passes_its_own_slot_is_free():
    """Turned the other way about, by hand: a strip that folds to the back of the page."""
    spread = spread_of(HEAD + cut_in("step"))
    panels = dict(spread.panels)
    for name in ("step.left", "step.right"):
        axis = panels[name].axis
        panels[name] = replace(panels[name], axis=replace(axis, direction=-axis.direction))
    hinges = tuple(
        replace(item, dihedral=item.dihedral.other_side()) if item.id in ("step.left", "step.right") else item
        for item in spread.hinges
    )
    assert check_through_host(spread) == []
    assert check_through_host(replace(spread, panels=panels, hinges=hinges)) == []


def test_a_strip_that_turns_into_its_host_is_not():
    """Its slot is free, the page beyond its crease is not: a strip folded 60 degrees too far, by hand."""
    spread = spread_of(HEAD + cut_in("step"))
    hinges = tuple(
        replace(item, dihedral=replace(item.dihedral, offset=item.dihedral.offset - np.pi / 3))
        if item.id == "step.left"
        else item
        for item in spread.hinges
    )
    (finding,) = check_through_host(replace(spread, hinges=hinges))
    assert (finding.panel, finding.other) == ("step.left", "page.left")
    assert finding.measure == pytest.approx(20.0 * np.sin(np.pi / 3), abs=1e-6)
    assert span(finding) == pytest.approx((0.0, 60.0), abs=0.1)


@pytest.mark.parametrize("first", ["step", "rider"])
@pytest.mark.parametrize("over", [-1.0, 0.05, 0.5, 12.0])
def test_a_rider_beyond_the_crease_of_its_host(over, first):
    """The strip's crease is 20 mm off the spine; glued on the page before or after the strip is cut."""
    step, sun = cut_in("step"), rider_on("sun", "page.left", f"at = [{-35 + over / 2}, 85]; size = [{30 + over}, 20]")
    findings = found(step + sun if first == "step" else sun + step)
    if over < 0.1:
        assert findings == []
        return
    (finding,) = findings
    assert (finding.panel, finding.other) == ("sun", "step.left")
    assert finding.measure == pytest.approx(over, abs=1e-6)
    assert finding.severity == "error"
    assert span(finding) == pytest.approx((0.0, 180.0), abs=0.1)
    sheet = spread_of(HEAD + step + sun).panels["sun"].outline
    assert sheet.distance(Point(finding.place_mm)) < 1e-6


@pytest.mark.parametrize(
    ("panel", "at", "face", "other"),
    [
        ("page.left", [-26, 40], "back", None),
        ("step.left", [-18, 40], "front", "page.left"),
        ("step.left", [-18, 40], "back", None),
        ("step.left", [-5, 40], "front", None),
        ("step.left", [-5, 40], "back", "step.right"),
        ("page.right", [12, 100], "front", "page.left"),
        ("page.right", [12, 100], "back", None),
    ],
)
def test_only_towards_the_side_that_folds(panel, at, face, other):
    sun = rider_on("sun", panel, f'at = {at}; size = [30, 10]; face = "{face}"')
    findings = found(cut_in("step", body="at = 30; length = 20; width = 20") + sun)
    assert [(item.panel, item.other) for item in findings] == ([("sun", other)] if other else [])


def test_a_rider_on_a_rider_counts_on_the_side_of_the_lower_one():
    step = cut_in("step")
    low = '; face = "back"'
    for face, hit in (("", True), (low, False)):
        lower = rider_on("sun", "page.left", f"at = [-40, 85]; size = [36, 20]{face}")
        upper = rider_on("moon", "sun", "at = [0, 0]; size = [60, 10]")
        panels = {item.panel for item in found(step + lower + upper)}
        assert ("moon" in panels) is hit


def test_what_is_thinner_than_the_card_is_a_warning():
    path = next(path for path in corpus.FAULTY if path.stem == "off-tent-a-hair")
    (finding,) = check_through_host(corpus.built(path)[1])
    assert finding.severity == "warning"
    assert 0.1 < finding.measure < 0.3
