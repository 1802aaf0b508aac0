"""`check --apply` and `fit` as a person types them: what is written, what is said, and what is left alone."""

from __future__ import annotations

import json
import shutil

import pytest

from geometry import assemble, read_description
from geometry.__main__ import main
from geometry.checks import run_checks
from tests.geometry import corpus
from tests.geometry.scene_texts import HEAD, HILL, v_fold

SAMPLE = [
    "jam-tent-unequal",
    "lock-v-fold",
    "out-tent",
    "spine-rider",
    "margin-tent",
    "glue-narrow-wall",
    "small-rider",
]


def copy_of(stem, tmp_path):
    source = next(path for path in corpus.FAULTY if path.stem == stem)
    return shutil.copy(source, tmp_path / source.name)


@pytest.mark.parametrize("stem", SAMPLE)
def test_apply_writes_a_description_that_passes(stem, tmp_path, capsys):
    path = copy_of(stem, tmp_path)
    before = path.read_bytes()
    code = corpus.expected(path).values["code"]
    assert main(["check", str(path), "--apply", code]) == 0
    target = tmp_path / f"{stem}-changed.toml"
    out = capsys.readouterr().out
    assert f"written: {target}" in out
    assert "change " in out
    assert path.read_bytes() == before
    assert not [item for item in run_checks(assemble(read_description(target))) if item.code == code]
    # Comments, titles and every other line stay; only numbers change, or are added.
    old, new = before.decode().splitlines(), target.read_text(encoding="utf-8").splitlines()
    assert [line for line in old if line.startswith("#")] == [line for line in new if line.startswith("#")]
    kept = [line for line in old if line in new]
    assert len(old) - len(kept) <= 2


def test_apply_to_a_file_of_choice_and_as_json(tmp_path, capsys):
    path = copy_of("jam-tent-unequal", tmp_path)
    target, data = tmp_path / "new.toml", tmp_path / "new.json"
    assert main(["check", str(path), "--apply", "closes-flat", "--out", str(target), "--json", str(data)]) == 0
    written = json.loads(data.read_text(encoding="utf-8"))
    assert written["written"] == [str(target)]
    assert written["changes"][0] == {
        "mechanism": "roof",
        "key": "height_right",
        "before": 60.5,
        "after": pytest.approx(60.0),
    }
    assert target.exists()


def test_apply_never_overwrites_the_description(tmp_path, capsys):
    path = copy_of("jam-tent-unequal", tmp_path)
    before = path.read_bytes()
    assert main(["check", str(path), "--apply", "closes-flat", "--out", str(path)]) == 2
    assert "another file" in capsys.readouterr().err
    assert path.read_bytes() == before


@pytest.mark.parametrize("code", ["glue", "nonsense"])
def test_apply_of_what_is_not_there_writes_nothing(code, tmp_path, capsys):
    path = copy_of("jam-tent-unequal", tmp_path)
    assert main(["check", str(path), "--apply", code]) == 2
    assert code in capsys.readouterr().err
    assert [item.name for item in tmp_path.iterdir()] == [path.name]


def test_check_prints_remedies(tmp_path, capsys):
    assert main(["check", str(copy_of("lock-tent", tmp_path))]) == 1
    assert "change height of roof from 30 to 40 mm" in capsys.readouterr().out


@pytest.fixture
def hill(tmp_path):
    path = tmp_path / "hill.toml"
    body = v_fold("hill", body="at = 60; angle = 45; crease_angle = 80; height = 50; width = 40")
    path.write_text("# A hill.\n" + HEAD + body, encoding="utf-8")
    return path


def test_fit_prints_and_writes(hill, tmp_path, capsys):
    target, data = tmp_path / "fit.toml", tmp_path / "fit.json"
    arguments = ["fit", str(hill), "--mechanism", "hill", "--wish", "square@90", "--free", "crease_angle"]
    assert main([*arguments, "--out", str(target), "--json", str(data)]) == 0
    out = capsys.readouterr().out
    assert "crease_angle of hill from 80 to 60" in out
    assert "square at 90 degrees: met" in out
    assert target.read_text(encoding="utf-8").startswith("# A hill.")
    written = json.loads(data.read_text(encoding="utf-8"))
    assert written["granted"] is True
    assert written["changes"][0]["after"] == pytest.approx(60.0, abs=1e-3)


def test_fit_of_the_impossible_is_exit_1_and_says_why(hill, capsys):
    assert main(["fit", str(hill), "--mechanism", "hill", "--wish", "height=90@180", "--free", "height:20:60"]) == 1
    out = capsys.readouterr().out
    assert "missed by" in out
    assert "in the way: " in out


@pytest.mark.parametrize(
    "arguments",
    [
        ["--mechanism", "door", "--wish", "square@90", "--free", "height"],
        ["--mechanism", "hill", "--wish", "tall", "--free", "height"],
        ["--mechanism", "hill", "--wish", "square@90", "--free", "beauty"],
        ["--mechanism", "hill", "--wish", "square@90", "--free", ","],
        ["--mechanism", "hill", "--wish", "square@90", "--free", "height:3:1"],
    ],
)
def test_fit_of_nonsense_is_exit_2_in_words(hill, tmp_path, capsys, arguments):
    before = sorted(tmp_path.iterdir())
    assert main(["fit", str(hill), *arguments, "--out", str(tmp_path / "x.toml")]) == 2
    assert capsys.readouterr().err.strip()
    assert sorted(tmp_path.iterdir()) == before


def test_a_scene_without_faults_says_so(tmp_path, capsys):
    path = tmp_path / "good.toml"
    path.write_text(HEAD + HILL, encoding="utf-8")
    assert main(["check", str(path)]) == 0
    out = capsys.readouterr().out
    assert "nothing else is wrong" in out
    assert "copies cut and glued by hand" in out
