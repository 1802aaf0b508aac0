"""The command unfold: all of its files or none, and a sheet that its margins leave room on."""

import json
from pathlib import Path

import pytest

from geometry.__main__ import main

HOUSE = Path(__file__).resolve().parents[2] / "scenes/models/keepers-house.obj"


def run(*arguments):
    return main(["unfold", str(HOUSE), "--format", "svg", *map(str, arguments)])


def contents(folder):
    return {path.relative_to(folder): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.mark.parametrize("place", ["taken/folding.json", "missing/folding.json", "folder"])
def test_folding_file_that_cannot_be_written_leaves_the_nets_as_they_were(place, tmp_path, capsys):
    (tmp_path / "taken").write_text("a file where a folder is wanted")
    (tmp_path / "folder").mkdir()
    assert run("--out", tmp_path / "nets", "--height", "30") == 0
    before = contents(tmp_path)
    assert run("--out", tmp_path / "nets", "--folding", tmp_path / place) == 2
    assert f"{tmp_path / place}: cannot be written" in capsys.readouterr().err
    assert contents(tmp_path) == before
    assert run("--out", tmp_path / "new", "--folding", tmp_path / place) == 2
    assert contents(tmp_path) == before


def test_folding_file_stands_where_it_is_asked_for(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert run("--out", "nets", "--folding", "here.json", "--json", "made.json") == 0
    made = json.loads((tmp_path / "made.json").read_text())
    assert str(tmp_path / "here.json") in made["written"]
    assert json.loads((tmp_path / "here.json").read_text())["angles_deg"][-1] == 180.0
    assert [path.suffix for path in (tmp_path / "nets").iterdir()] == [".svg"]


def test_sheets_whose_margins_leave_no_room_are_passed_over(tmp_path, capsys):
    assert run("--out", tmp_path / "nets", "--margin", "100") == 0
    # A4 is 210 x 297 mm (ISO 216): nothing is left of it.
    assert "sheet 1 (A4" not in capsys.readouterr().out
    assert run("--out", tmp_path / "none", "--margin", "100", "--sheet", "A4") == 2
    assert "A4 is too small" in capsys.readouterr().err
    assert not (tmp_path / "none").exists()
