"""The nets and cost commands: what they say about sheets, and what they refuse."""

from __future__ import annotations

import json

import pytest

from geometry.__main__ import main
from tests.geometry.scene_texts import HEAD, HILL


@pytest.fixture
def scene(tmp_path):
    path = tmp_path / "scene.toml"
    path.write_text(HEAD + HILL, encoding="utf-8")
    return str(path)


def nets(scene, tmp_path, *arguments):
    return main(["nets", scene, "--out", str(tmp_path / "nets"), "--format", "svg", *arguments])


def test_which_piece_is_on_which_sheet_is_listed(scene, tmp_path, capsys):
    target = tmp_path / "nets.json"
    assert nets(scene, tmp_path, "--sheet", "A3", "--copies", "2", "--json", str(target)) == 0
    lines = capsys.readouterr().out.splitlines()
    sheets = json.loads(target.read_text(encoding="utf-8"))["sheets"]
    assert [line.split(" (")[0] for line in lines] == [f"sheet {sheet['number']}" for sheet in sheets]
    assert lines[0].startswith("sheet 1 (A3, card): page card (cop")
    found = sorted((piece["id"], piece["copy"]) for sheet in sheets for piece in sheet["pieces"])
    assert found == [("hill", 1), ("hill", 2), ("page", 1), ("page", 2)]


def test_json_to_the_screen_is_json_alone(scene, tmp_path, capsys):
    assert nets(scene, tmp_path, "--sheet", "A5", "--json", "-") == 0
    data = json.loads(capsys.readouterr().out)
    assert data["sheets"][0]["pieces"]
    assert "--tile" in data["notes"][0]


def test_tiles_from_the_command_line(scene, tmp_path, capsys):
    assert nets(scene, tmp_path, "--sheet", "A5", "--tile", "--overlap", "8", "--margin", "5", "--gap", "4") == 0
    out = capsys.readouterr().out
    assert "page card tile A1" in out
    assert "that overlap by 8 mm" in out


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--margin", "-1"], "a margin of -1 mm: write 0 to 200 mm"),
        (["--margin", "wide"], '--margin "wide": write a number of millimetres, e.g. 8'),
        (["--gap", "inf"], "a gap of inf mm"),
        (["--copies", "0"], "0 copies: write a whole number from 1"),
        (["--copies", "1e9"], "1000000000 copies: write a whole number from 1"),
        (["--copies", "2.5"], '--copies "2.5": write a whole number, e.g. 3'),
        (["--copies", "many"], '--copies "many": write a whole number'),
        (["--copies", "inf"], '--copies "inf": write a whole number'),
        (["--overlap", "5"], "--overlap is how far tiles overlap: write --tile with it"),
        (["--tile", "--overlap", "0"], "an overlap of 0 mm: write 5 to 50 mm"),
        (["--grain", "up"], 'grain "up": write long or short'),
        (["--sheet", "roll:wide"], 'sheet "roll:wide" is not known'),
        (["--sheet", "A8"], "sheet A8 is too small"),
        (["--sheet", "roll:90"], "sheet roll of 90 mm is too small"),
        (["--sheet", "roll:610", "--grain", "short"], "the grain of a roll runs along its length"),
    ],
)
@pytest.mark.parametrize("command", ["nets", "cost"])
def test_what_cannot_be_is_one_sentence_and_nothing_is_written(scene, tmp_path, capsys, command, arguments, words):
    out = ["--out", str(tmp_path / "nets")] if command == "nets" else []
    assert main([command, scene, *out, *arguments]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.startswith(words)
    assert said.err.count("\n") == 1
    assert not (tmp_path / "nets").exists()


def test_the_cost_of_several_copies(scene, tmp_path, capsys):
    figures = {}
    for copies in (1, 4):
        assert (
            main(["cost", scene, "--sheet", "A3", "--copies", str(copies), "--json", str(tmp_path / "cost.json")]) == 0
        )
        figures[copies] = json.loads((tmp_path / "cost.json").read_text(encoding="utf-8"))
    assert "for 4 copies" in capsys.readouterr().out
    one, four = figures[1], figures[4]
    assert {key: one[key] for key in ("cut_mm", "weight_g", "glue_points")} == {
        key: four[key] for key in ("cut_mm", "weight_g", "glue_points")
    }
    assert one["stocks"][0]["sheets"] < four["stocks"][0]["sheets"] <= 4
    stock = four["stocks"][0]
    assert stock["used"] == pytest.approx(4 * one["stocks"][0]["area_mm2"] / stock["sheet_area_mm2"])
