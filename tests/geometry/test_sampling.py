"""Samples for the rig: straight lines between them are exact enough for every corner, through every chain."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from geometry import HingeleafError, assemble, parse_description
from geometry.motion import pose_panels
from geometry.sampling import sample_turns
from geometry.tolerances import RIG_MM
from tests.geometry.scene_texts import FILES, HEAD, ROOT, SCENES, WRONG

TEXTS = {
    **{name: SCENES[name] for name in SCENES if "deep" in name or "edge" not in name},
    **{name: HEAD + body for name, (body, _) in WRONG.items() if name != "never stands"},
    **{file.name: file.read_text(encoding="utf-8") for file in FILES},
}


def interpolated(spread, openings, turns, at):
    """Poses with every turning panel's angle read off in straight lines, as a driver does."""
    matrices = {}
    for panel in spread.panels.values():
        above = np.broadcast_to(np.eye(4), (len(at), 4, 4)) if panel.parent is None else matrices[panel.parent]
        if panel.axis is None:
            matrices[panel.id] = above @ panel.rest
        else:
            # What the opening does not turn stays as it is at rest.
            still = spread.pose(np.full(1, np.pi)).angle(panel.axis.turn)
            angle = np.interp(at, openings, turns[panel.id]) if panel.id in turns else np.repeat(still, len(at))
            matrices[panel.id] = above @ panel.axis.motion(angle) @ panel.rest
    return matrices


@pytest.mark.parametrize("name", TEXTS)
def test_corners_between_samples_are_within_the_tolerance(name):
    spread = assemble(parse_description(TEXTS[name], folder=ROOT / "scenes"))
    openings, turns = sample_turns(spread)
    by_hand = {name for hand in spread.hands for name in spread.moved_by(hand.variable)}
    turning = [panel for panel in spread.panels.values() if panel.axis is not None]
    assert set(turns) == {panel.id for panel in turning if panel.axis.turn.variable not in by_hand}
    assert (np.diff(openings) > 0).all()
    low, high = np.degrees(spread.reachable())
    assert (openings[0], openings[-1]) == pytest.approx((low, high), abs=1e-9)
    places = np.random.default_rng(1).uniform(low, high, 200)
    near_ends = np.concatenate([low + np.geomspace(1e-9, 0.2, 40), high - np.geomspace(1e-9, 0.2, 40)])
    at = np.concatenate([places, near_ends, (openings[:-1] + openings[1:]) / 2])
    at = np.clip(at, low, high)
    near = interpolated(spread, openings, turns, at)
    exact = pose_panels(spread.panels.values(), spread.pose(np.radians(at)).variables)
    for panel in spread.panels.values():
        corners = np.column_stack(
            [shapely.get_coordinates(panel.outline), np.zeros(len(shapely.get_coordinates(panel.outline)))]
        )
        off = np.einsum("nij,kj->nki", (near[panel.id] - exact[panel.id])[:, :3, :3], corners)
        off = off + (near[panel.id] - exact[panel.id])[:, None, :3, 3]
        assert np.nanmax(np.linalg.norm(off, axis=2)) <= RIG_MM, panel.id
    assert len(openings) < 3000


def test_a_finer_tolerance_takes_more_samples():
    spread = assemble(parse_description(SCENES["v-fold unequal"]))
    counts = [len(sample_turns(spread, tolerance)[0]) for tolerance in (1.0, 0.02, 0.0005)]
    assert counts[0] <= counts[1] < counts[2]


def test_a_spread_that_never_stands_cannot_be_sampled():
    with pytest.raises(HingeleafError, match="cannot stand together at any opening"):
        sample_turns(assemble(parse_description(HEAD + WRONG["never stands"][0])))
