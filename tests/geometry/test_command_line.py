"""The commands as a person types them: exit codes, files, JSON, and nothing written where the input is bad."""

from __future__ import annotations

import json
import os
import subprocess
import sys

import numpy as np
import pytest

from geometry import HingeleafError
from geometry.__main__ import main, parse_angles
from tests.geometry.scene_texts import FILES, HEAD, HILL, ROOT, WRONG, v_fold


@pytest.fixture
def scene(tmp_path):
    def write(text, name="scene.toml"):
        path = tmp_path / name
        path.write_text(text, encoding="utf-8")
        return str(path)

    return write


GOOD = HEAD + HILL
BAD = HEAD + v_fold("a", body="at = 600; angle = 45; height = 50") + v_fold("b", "spien")


def test_check_of_a_sound_scene(scene, capsys):
    assert main(["check", scene(GOOD)]) == 0
    out = capsys.readouterr()
    assert "closes flat, opens fully, stays inside the page" in out.out
    assert "moves from 0.00 to 180.00 degrees" in out.out
    assert out.err == ""


@pytest.mark.parametrize("name", WRONG)
def test_check_with_findings_of_severity_error(scene, capsys, name):
    assert main(["check", scene(HEAD + WRONG[name][0])]) == 1
    out = capsys.readouterr().out
    assert "ERROR" in out
    assert "closes flat, opens fully" not in out


def test_warnings_alone_are_no_failure(scene, capsys):
    assert main(["check", scene(GOOD + 'art_front = "none.png"\n')]) == 0
    assert "WARNING artwork" in capsys.readouterr().out


@pytest.mark.parametrize("command", ["check", "poses", "nets"])
@pytest.mark.parametrize("text", [BAD, "format = ", "", HEAD + HILL + "widht = 3\n"])
def test_bad_input_is_exit_2_with_nothing_written(scene, tmp_path, capsys, command, text):
    path = scene(text)
    before = sorted(tmp_path.iterdir())
    arguments = [command, path] + ([] if command == "check" else ["--out", str(tmp_path / "out")])
    assert main(arguments) == 2
    assert sorted(tmp_path.iterdir()) == before
    out = capsys.readouterr()
    assert out.out == ""
    assert "scene.toml" in out.err
    assert "Traceback" not in out.err


def test_every_problem_is_told_with_its_line(scene, capsys):
    assert main(["check", scene(BAD)]) == 2
    lines = capsys.readouterr().err.splitlines()
    assert lines[0] == "scene.toml: 2 problems"
    assert lines[1].strip().startswith('line 11: v-fold "a", at: is 600')
    assert lines[2].strip().startswith('line 17: v-fold "b", fold: "spien" is no fold')


def test_a_file_that_is_not_there(tmp_path, capsys):
    assert main(["check", str(tmp_path / "none.toml")]) == 2
    assert "cannot be read" in capsys.readouterr().err


def test_check_writes_json(scene, tmp_path, capsys):
    target = tmp_path / "check.json"
    assert main(["check", scene(HEAD + WRONG["jams"][0]), "--json", str(target)]) == 1
    data = json.loads(target.read_text(encoding="utf-8"))
    assert data["format"] == 1
    finding = data["findings"][0]
    assert set(finding) >= {
        "code",
        "severity",
        "piece",
        "panel",
        "place_mm",
        "opening_deg",
        "measure",
        "unit",
        "message",
        "remedy",
    }
    assert finding["code"] == "closes-flat"
    assert data["reach_deg"][0] == pytest.approx(finding["measure"])
    assert capsys.readouterr().out


def test_json_to_the_screen_is_json_alone(scene, capsys):
    assert main(["check", scene(GOOD), "--json", "-"]) == 0
    assert json.loads(capsys.readouterr().out)["findings"] == []


@pytest.mark.parametrize("command", ["check", "poses", "nets"])
def test_errors_come_as_json_too(scene, tmp_path, capsys, command):
    target = tmp_path / "errors.json"
    arguments = [command, scene(BAD), "--json", str(target)] + (
        [] if command == "check" else ["--out", str(tmp_path / "o")]
    )
    assert main(arguments) == 2
    data = json.loads(target.read_text(encoding="utf-8"))
    assert data["source"] == "scene.toml"
    assert [(item["place"], item["line"]) for item in data["problems"]] == [
        ('v-fold "a", at', 11),
        ('v-fold "b", fold', 17),
    ]
    assert capsys.readouterr().err


def test_json_that_cannot_be_written(scene, tmp_path, capsys):
    assert main(["check", scene(GOOD), "--json", str(tmp_path / "none" / "x.json")]) == 2
    assert main(["check", scene(BAD), "--json", str(tmp_path / "none" / "x.json")]) == 2
    assert "cannot be written" in capsys.readouterr().err


def test_poses_are_written(scene, tmp_path):
    target = tmp_path / "poses.json"
    assert main(["poses", scene(GOOD), "--angles", "0:180:60", "--out", str(target)]) == 0
    data = json.loads(target.read_text(encoding="utf-8"))
    assert data["angles_deg"] == [0.0, 60.0, 120.0, 180.0]
    assert {panel["id"] for panel in data["panels"]} >= {"page.left", "hill.right.tab"}


def test_poses_that_cannot_be_written(scene, tmp_path, capsys):
    assert main(["poses", scene(GOOD), "--out", str(tmp_path / "none" / "x.json")]) == 2
    assert "cannot be written" in capsys.readouterr().err


def test_a_bad_angle_is_exit_2_with_nothing_written(scene, tmp_path, capsys):
    assert main(["poses", scene(GOOD), "--angles", "0:270:5", "--out", str(tmp_path / "x.json")]) == 2
    assert "between 0 and 180" in capsys.readouterr().err
    assert not (tmp_path / "x.json").exists()


@pytest.mark.parametrize(
    ("text", "angles"),
    [
        ("0:180:90", [0, 90, 180]),
        ("0:180:0.1", np.arange(1801) / 10),
        ("0:180:7", np.arange(0, 180, 7)),
        ("45", [45]),
        ("180,0,90.5", [180, 0, 90.5]),
        ("10:10:1", [10]),
        ("0:1:0.3", [0, 0.3, 0.6, 0.9]),
    ],
)
def test_angles_from_a_range_or_a_list(text, angles):
    assert parse_angles(text) == pytest.approx(np.asarray(angles, dtype=float), abs=1e-9)
    assert parse_angles(text).max() <= 180.0


@pytest.mark.parametrize(
    "text",
    [
        "",
        ":",
        "0:180",
        "0:180:0",
        "0:180:-5",
        "180:0:5",
        "0:180:1e-300",
        "0:inf:5",
        "nan",
        "1,,2",
        "a:b:c",
        "-1",
        "181",
        "0:180:5:5",
        "inf",
    ],
)
def test_other_angles_are_refused_in_words(text):
    with pytest.raises(HingeleafError, match="--angles"):
        parse_angles(text)


def run(*arguments, **environment):
    return subprocess.run(
        [sys.executable, "-m", "geometry", *arguments],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT), **environment},
        capture_output=True,
        timeout=120,
        check=False,
    )


def test_as_a_program_of_its_own(scene):
    good = run("check", scene(GOOD))
    assert (good.returncode, good.stderr) == (0, b"")
    assert run("check", scene(HEAD + WRONG["locks"][0])).returncode == 1
    bad = run("check", scene(BAD))
    assert bad.returncode == 2
    assert b"Traceback" not in bad.stderr
    assert run().returncode == 2
    assert run("chekc", "x").returncode == 2


def test_a_screen_that_cannot_show_every_letter_is_no_crash(scene):
    """As on Windows, where the console has a code page of its own."""
    path = scene('title = "Zwei Hügel im Ωktober"\n' + GOOD)
    for arguments in (["check", path], ["check", path, "--json", "-"]):
        result = run(*arguments, PYTHONIOENCODING="ascii", PYTHONUTF8="0")
        assert result.returncode == 0, result.stderr.decode()
    named = scene(BAD, "Hügel.toml")
    assert run("check", named, PYTHONIOENCODING="ascii:strict", PYTHONUTF8="0").returncode == 2


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.name)
def test_every_scene_of_the_project_passes(file, capsys):
    assert main(["check", str(file)]) == 0
    assert "ERROR" not in capsys.readouterr().out
