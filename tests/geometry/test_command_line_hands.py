"""What a hand moves, on the command line and in the report."""

from __future__ import annotations

import json

import pytest

from geometry.__main__ import main
from tests.geometry.scene_texts import ROOT


def poses(tmp_path, *arguments):
    target = tmp_path / "poses.json"
    status = main(["poses", str(ROOT / "scenes" / "flap.toml"), "--angles", "0,180", "--out", str(target), *arguments])
    return status, json.loads(target.read_text(encoding="utf-8")) if target.exists() else None


def test_hands_move_what_is_named_and_the_rest_rests(tmp_path):
    status, data = poses(tmp_path, "--hand", "door=90", "--hand", "hatch=135")
    assert status == 0
    assert {hand["id"]: hand["value"] for hand in data["hands"]} == pytest.approx({"door": 90.0, "hatch": 135.0})
    dihedral = {hinge["id"]: hinge["dihedral_deg"] for hinge in data["hinges"]}
    assert dihedral["door.flap.glue"] == pytest.approx([90.0, 90.0])
    _, plain = poses(tmp_path)
    assert {hand["id"]: hand["value"] for hand in plain["hands"]} == {"door": 0.0, "hatch": 0.0}
    assert {hinge["id"]: hinge["dihedral_deg"] for hinge in plain["hinges"]}["door.flap.glue"] == [0.0, 0.0]


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (["door"], '--hand "door": write ID=VALUE, e.g. door=90'),
        (["door=wide"], '--hand "door=wide": write ID=VALUE, e.g. door=90'),
        (["gate=9"], '--hand "gate=9": no hand moves gate; a hand moves door, hatch'),
        (["door=181"], "door moves from 0 to 180 deg, not to 181"),
        (["door=nan"], "door moves from 0 to 180 deg, not to nan"),
        (["door=1", "door=2"], '--hand "door=2": door is moved twice; write it once'),
    ],
)
def test_a_hand_that_cannot_be_is_one_sentence(tmp_path, capsys, given, said):
    status, data = poses(tmp_path, *(part for text in given for part in ("--hand", text)))
    assert (status, data) == (2, None)
    assert capsys.readouterr().err.strip() == said


def test_the_report_lists_hands_and_their_ranges(tmp_path, capsys):
    target = tmp_path / "report.json"
    assert main(["check", str(ROOT / "scenes" / "pull-strip.toml"), "--json", str(target)]) == 0
    assert "a hand moves pull from 0 to 28 mm; left alone it is at 0" in capsys.readouterr().out
    (hand,) = json.loads(target.read_text(encoding="utf-8"))["hands"]
    assert hand == {"id": "pull", "unit": "mm", "low": 0.0, "high": 28.0, "rest": 0.0, "reach": [0.0, 28.0]}
