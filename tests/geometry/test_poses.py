"""The poses file: its contract of DESIGN.md, section 6, to the letter."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from shapely import Polygon

from geometry import assemble, parse_description
from geometry.poses import poses_data
from tests.geometry.scene_texts import FILES, HEAD, ROOT, SCENES, WRONG


def data_of(text, angles):
    return poses_data(assemble(parse_description(text, folder=ROOT / "scenes")), angles)


@pytest.mark.parametrize("name", [*SCENES, *WRONG, *(file.name for file in FILES)])
def test_the_file_has_what_the_contract_says_and_nothing_else(name):
    texts = {file.name: file.read_text(encoding="utf-8") for file in FILES}
    text = SCENES.get(name) or texts.get(name) or HEAD + WRONG[name][0]
    data = json.loads(json.dumps(data_of(text, [0.0, 33.3, 180.0]), allow_nan=False))
    # What a hand moves has its own part, in files that have it.
    hands = ["hands"] * ("hands" in data)
    assert list(data) == ["format", "units", "angles_deg", "panels", "hinges", *hands]
    assert bool(hands) == any(f'kind = "{kind}"' in text for kind in ("flap", "pull-strip", "wheel"))
    for hand in data.get("hands", ()):
        assert set(hand) == {"id", "unit", "low", "high", "rest", "value"}
        assert hand["unit"] in ("deg", "mm")
        assert hand["low"] <= hand["value"] == hand["rest"] <= hand["high"]
    assert (data["format"], data["units"], data["angles_deg"]) == (1, "mm", [0.0, 33.3, 180.0])
    names = [panel["id"] for panel in data["panels"]]
    assert len(names) == len(set(names))
    for panel in data["panels"]:
        assert set(panel) == {"id", "piece", "outline", "holes", "matrices"}
        assert len(panel["matrices"]) == 3
        assert all(matrix is None or np.shape(matrix) == (4, 4) for matrix in panel["matrices"])
        ring = Polygon(panel["outline"], panel["holes"])
        assert ring.is_valid
        assert panel["outline"][0] != panel["outline"][-1]
    identities = [hinge["id"] for hinge in data["hinges"]]
    assert len(identities) == len(set(identities))
    for hinge in data["hinges"]:
        assert set(hinge) == {"id", "kind", "panels", "line", "dihedral_deg"}
        assert hinge["kind"] in ("spine", "crease", "glue")
        assert set(hinge["panels"]) <= set(names)
        assert len(set(hinge["panels"])) == 2
        assert np.shape(hinge["line"]) == (2, 2, 2)
        assert len(hinge["dihedral_deg"]) == 3
        assert math.dist(*hinge["line"][0]) == pytest.approx(math.dist(*hinge["line"][1]), abs=1e-9)
        assert math.dist(*hinge["line"][0]) > 1e-3


def test_every_panel_hangs_together_with_the_pages_by_hinges():
    """Riders are glued flat on one panel and have no hinge with it; everything else is reached from a page."""
    for text in SCENES.values():
        spread = assemble(parse_description(text, folder=ROOT / "scenes"))
        joined = {"page.right"}
        links = [set(hinge.panels) for hinge in spread.hinges]
        links += [{panel.id, panel.parent} for panel in spread.panels.values() if panel.role == "rider"]
        for _ in range(len(links)):
            joined |= set().union(*(link for link in links if link & joined))
        assert joined == set(spread.panels)


def test_what_cannot_be_reached_is_null_and_so_are_the_angles_of_its_hinges():
    data = data_of(HEAD + WRONG["locks"][0], [0.0, 97.0, 98.0, 180.0])
    panels = {panel["id"]: [matrix is not None for matrix in panel["matrices"]] for panel in data["panels"]}
    assert panels["tent.left"] == panels["tent.right.tab"][:2] + [False, False] == [True, True, False, False]
    hinges = {hinge["id"]: [angle is not None for angle in hinge["dihedral_deg"]] for hinge in data["hinges"]}
    assert hinges["tent.middle"] == hinges["tent.left"] == [True, True, False, False]


def test_one_angle_may_be_given_bare():
    assert data_of(HEAD, 45.0)["angles_deg"] == [45.0]
