"""Collisions over the whole motion, against python-fcl on the same panels, openings and shrink."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from shapely import box

from geometry import assemble, parse_description, read_description
from geometry.checks.collisions import check_collisions, sampled_openings_deg
from geometry.crossing import CLEARANCE_MM, find_crossings, panel_edges
from geometry.linkage import PlanarCell
from geometry.model import Angle, CellOnFold
from tests.geometry import corpus
from tests.geometry.scene_texts import FILES, HEAD, SCENES, rider_on, tent
from tests.geometry.solids import SHRINK_MM, Panels, depth_mm

_TEXTS = {
    **{f"scenes/{path.name}": path for path in FILES},
    **{f"corpus/{path.stem}": path for path in (*corpus.FAULTY, *corpus.SOUND)},
    **SCENES,
}
#: Nearer than this to touching the two may differ: fcl's and the core's rounding.
_HAIR_MM = 1e-3


def spread_of(name):
    found = _TEXTS[name]
    return assemble(parse_description(found) if isinstance(found, str) else read_description(found))


def moving_pairs(spread):
    """Pairs of panels that are not fixed to each other."""
    body = {}
    for panel in spread.panels.values():
        fixed = panel.parent is not None and panel.axis is None
        body[panel.id] = body[panel.parent] if fixed else panel.id
    names = list(spread.panels)
    return [(a, b) for i, a in enumerate(names) for b in names[i + 1 :] if body[a] != body[b]]


def boxes(spread, motion):
    """Bounds of every panel at every opening, (n, 2, 3)."""
    found = {}
    for name, panel in spread.panels.items():
        corners = np.asarray(panel.outline.exterior.coords)
        world = (
            np.einsum("nij,kj->nki", motion.matrices[name][:, :3, :2], corners) + motion.matrices[name][:, None, :3, 3]
        )
        found[name] = np.stack([world.min(axis=1), world.max(axis=1)], axis=1)
    return found


def judged(spread, openings_deg):
    """(opening index, one, two) of all pairs that fcl finds touching."""
    motion = spread.pose(np.radians(openings_deg))
    bounds = boxes(spread, motion)
    panels = Panels({name: panel.outline for name, panel in spread.panels.items()})
    found = set()
    for one, two in moving_pairs(spread):
        a, b = bounds[one], bounds[two]
        near = (a[:, 0] < b[:, 1] + 1e-6).all(axis=1) & (b[:, 0] < a[:, 1] + 1e-6).all(axis=1)
        for index in np.flatnonzero(near):
            panels.put(one, motion.matrices[one][index])
            panels.put(two, motion.matrices[two][index])
            if panels.touch(one, two):
                found.add((int(index), one, two))
    return found


def told(spread, openings_deg):
    motion = spread.pose(np.radians(openings_deg))
    edges = panel_edges({name: panel.outline for name, panel in spread.panels.items()})
    number = {name: index for index, name in enumerate(edges.names)}
    pairs = [(number[a], number[b]) for a, b in moving_pairs(spread) if a in number and b in number]
    matrices = np.stack([motion.matrices[name] for name in edges.names], axis=1)
    found = find_crossings(edges, matrices, pairs)
    rows = zip(found.opening, found.first, found.second, strict=True)
    return {(int(row), edges.names[a], edges.names[b]) for row, a, b in rows}


def test_both_sides_are_drawn_in_by_the_same():
    assert SHRINK_MM == CLEARANCE_MM


@pytest.mark.parametrize("name", _TEXTS)
def test_same_verdicts_as_fcl(name):
    spread = spread_of(name)
    low, high = np.degrees(spread.reachable())
    if not np.isfinite(low):
        pytest.skip("it cannot stand at any opening")
    openings = sampled_openings_deg(low, high)[::3]
    ours, theirs = told(spread, openings), judged(spread, openings)
    motion = spread.pose(np.radians(openings))
    panels = Panels({name: panel.outline for name, panel in spread.panels.items()})
    for index, one, two in ours ^ theirs:
        # Only a touch without depth may be seen differently.
        depth = depth_mm(
            panels.outlines[one], motion.matrices[one][index], panels.outlines[two], motion.matrices[two][index]
        )
        assert depth < _HAIR_MM, (openings[index], one, two, depth)


HITS = [path for path in corpus.FAULTY if path.stem.startswith("hit")]


@pytest.mark.parametrize("path", HITS, ids=lambda path: path.stem)
def test_first_contact_and_depth(path):
    """To 0.1 degrees against fcl on a sweep of 0.02 degrees about it; the depth against shapely at every opening."""
    _, spread = corpus.built(path)
    for finding in check_collisions(spread):
        one, two = finding.panel, finding.other
        panels = Panels({name: spread.panels[name].outline for name in (one, two)})
        if finding.opening_deg > 0.25:
            fine = np.arange(finding.opening_deg - 1.0, finding.opening_deg + 0.2, 0.02)
            motion = spread.pose(np.radians(fine))
            touch = []
            for index in range(len(fine)):
                for name in (one, two):
                    panels.put(name, motion.matrices[name][index])
                touch.append(panels.touch(one, two))
            assert any(touch)
            # The first tenth of a degree in contact, so never before the contact itself.
            assert -0.03 <= finding.opening_deg - fine[touch.index(True)] <= 0.11
        every = sampled_openings_deg(*np.degrees(spread.reachable()))
        motion = spread.pose(np.radians(every))
        poses = zip(motion.matrices[one], motion.matrices[two], strict=True)
        depths = [depth_mm(panels.outlines[one], a, panels.outlines[two], b) for a, b in poses]
        assert finding.measure == pytest.approx(max(depths), abs=1e-6)
        assert (finding.code, finding.severity, finding.unit) == ("collides", "error", "mm")
        assert finding.piece == spread.panels[one].piece
        said = re.fullmatch(
            rf"{one} and {two} pass through each other from ([\d.]+) to ([\d.]+) degrees, deepest at ([\d.]+) degrees "
            r"with ([\d.]+) mm \(looked at every degree from ([\d.]+) to ([\d.]+)\)",
            finding.message,
        )
        first, last, at, depth, lowest, highest = map(float, said.groups())
        assert first == pytest.approx(finding.opening_deg, abs=0.051)
        assert depth == pytest.approx(finding.measure, abs=0.051)
        assert (lowest, highest) == pytest.approx((every[0], every[-1]), rel=1e-5)
        assert depths[int(np.argmin(np.abs(every - at)))] == pytest.approx(max(depths), abs=1e-6)
        # Rounded to a tenth, beside the last sample with any depth.
        assert last == pytest.approx(every[np.flatnonzero(np.array(depths) > _HAIR_MM)[-1]], abs=0.051)


@pytest.mark.parametrize("path", HITS, ids=lambda path: path.stem)
def test_what_is_in_contact_at_the_only_sample_is_in_contact_from_the_jam_on(path):
    """A cell without panels holds the book within half a degree about the middle of a contact: one sample is left."""
    _, spread = corpus.built(path)
    for finding in check_collisions(spread):
        openings = sampled_openings_deg(finding.opening_deg, 179.0)
        one, two = finding.panel, finding.other
        outlines = Panels({name: spread.panels[name].outline for name in (one, two)}).outlines
        motion = spread.pose(np.radians(openings))
        poses = zip(motion.matrices[one], motion.matrices[two], strict=True)
        depths = [depth_mm(outlines[one], a, outlines[two], b) for a, b in poses]
        sample, depth = openings[int(np.argmax(depths))], max(depths)
        # The hinge lines of the cell, 40 mm from the spine, come from c - d to c + d apart.
        total, difference = (80.0 * np.sin(np.radians(sample + half) / 2) for half in (0.5, -0.5))
        cell = PlanarCell(40.0, 40.0, (total + difference) / 2, (total - difference) / 2)
        held = replace(spread, units=(*spread.units, CellOnFold("stop", cell, Angle("spine"), "spine")))
        assert np.degrees(held.reachable()) == pytest.approx((sample - 0.5, sample + 0.5))
        (found,) = check_collisions(held, (one, two))
        assert found.measure == pytest.approx(depth, abs=1e-6)
        if finding.opening_deg < sample - 0.5:
            assert found.opening_deg == pytest.approx(sample - 0.5, abs=0.006)
        assert found.message.endswith(f"(looked at every degree from {sample:g} to {sample:g})")


def test_the_place_lies_in_both_panels():
    for path in HITS:
        _, spread = corpus.built(path)
        for finding in check_collisions(spread):
            from shapely import Point

            assert spread.panels[finding.panel].outline.distance(Point(finding.place_mm)) < 1e-6


def two_flags():
    """A tent with a flag on each side, 8 mm too long for it: each passes through its page."""
    flags = rider_on("sun", "roof.left", "at = [-34, 30]; size = [38, 20]") + rider_on(
        "moon", "roof.right", "at = [34, 30]; size = [38, 20]"
    )
    return assemble(parse_description(HEAD + tent("roof", body="at = 40; length = 60; base = 30; height = 45") + flags))


def test_a_look_at_two_panels_alone_finds_what_the_whole_look_finds_of_them():
    spread = two_flags()
    found = check_collisions(spread)
    assert {frozenset((item.panel, item.other)) for item in found} >= {
        frozenset(("page.left", "sun")),
        frozenset(("page.right", "moon")),
    }
    for finding in found:
        assert check_collisions(spread, (finding.panel, finding.other)) == [finding]
    assert check_collisions(spread, ("roof.left", "roof.right")) == []


def test_many_pairs_at_once_begin_where_each_of_them_begins_alone():
    """Inner tents too high for their outer ones, at several openings; two in one degree under one outer tent."""

    def sized(name, at, length, base, height):
        return tent(name, body=f"at = {at}; length = {length}; base = {base}; height = {height}; tab_width = 5")

    spread = assemble(
        parse_description(
            HEAD
            + sized("low", 10, 70, 40, 45)
            + sized("one", 12, 25, 20, 38)
            + sized("two", 45, 25, 20, 38.1)
            + sized("high", 90, 30, 40, 50)
            + sized("three", 92, 20, 20, 41)
            + sized("wide", 130, 30, 38, 50)
            + sized("four", 132, 20, 22, 47)
        )
    )
    found = check_collisions(spread)
    assert len(found) == 8
    for finding in found:
        (alone,) = check_collisions(spread, (finding.panel, finding.other))
        assert alone == finding
    begins = {item.other: item.opening_deg for item in found}
    assert len({begins[f"{name}.left"] for name in ("one", "two", "three", "four")}) == 4
    assert np.ceil(begins["one.left"]) == np.ceil(begins["two.left"])


def test_what_is_in_contact_from_the_shut_book_on_begins_at_the_first_opening_looked_at():
    """Shut, card lies on card; nothing is looked at between that and a quarter of a degree."""
    spread = two_flags()
    for names in (("page.left", "sun"), ("page.right", "moon")):
        (finding,) = check_collisions(spread, names)
        assert finding.opening_deg == 0.25


def test_a_look_among_some_panels_finds_only_pairs_with_one_of_them():
    spread = two_flags()
    found = check_collisions(spread)
    for among in ({"sun"}, {"moon", "roof.left"}, {"roof.right.tab"}, set(spread.panels)):
        expected = [item for item in found if {item.panel, item.other} & among]
        assert check_collisions(spread, among=among) == expected
    assert check_collisions(spread, among={"sun"}) != found
    assert check_collisions(spread, among=set()) == []


def test_the_openings_looked_at_are_said():
    finding = check_collisions(corpus.built(HITS[0])[1])[0]
    assert "looked at every degree from 0.25 to 179.75" in finding.message


def test_openings_are_every_degree_and_closer_at_both_ends():
    openings = sampled_openings_deg(0.0, 180.0)
    assert set(np.arange(1.0, 180.0)) <= set(openings)
    assert {0.25, 0.5, 179.5, 179.75} <= set(openings)
    assert openings.min() > 0
    assert openings.max() < 180
    assert len(openings) == 179 + 4
    assert (np.diff(openings) > 0).all()
    assert sampled_openings_deg(9.1, 100.0).tolist() == list(np.arange(10.0, 100.0))


@pytest.mark.parametrize(("reach", "hit"), [(21.9, False), (22.3, True)])
def test_a_rider_just_above_and_just_below_the_page(reach, hit):
    """The rider's middle lies 34 of 45 mm down the panel; half its width decides."""
    body = tent("roof", body="at = 40; length = 60; base = 30; height = 45") + rider_on(
        "flag", "roof.left", f"at = [-34, 30]; size = [{reach}, 20]"
    )
    found = check_collisions(assemble(parse_description(HEAD + body)))
    assert bool(found) is hit


@pytest.mark.parametrize("swapped", [False, True])
@pytest.mark.parametrize(("teeth", "place"), [((0, 20), 5.0), ((40, 60), 45.0), ((80, 100), 85.0)])
def test_each_tooth_of_a_comb_and_each_side_of_a_window_counts(teeth, place, swapped):
    """A narrow card stands upright in a comb's plane, through one tooth or through none of the gaps."""
    comb = box(0, -30, 100, 30).difference(box(20, -20, 40, 20)).difference(box(60, -20, 80, 20))
    upright = np.array([[1.0, 0, 0, 0], [0, 0, -1.0, 0], [0, 1.0, 0, 0], [0, 0, 0, 1.0]])
    for x, hit in ((place, True), (teeth[1] + 5.0, False)):
        if x > 100:
            continue
        cards = {"comb": comb, "card": box(x, -10, x + 10, 10)}
        edges = panel_edges(cards)
        matrices = np.stack([np.eye(4), upright])[None]
        found = find_crossings(edges, matrices, [(1, 0) if swapped else (0, 1)])
        assert bool(len(found.opening)) is hit, (x, hit)
        if hit:
            assert found.depth[0] == pytest.approx(10.0 - 2 * CLEARANCE_MM)
