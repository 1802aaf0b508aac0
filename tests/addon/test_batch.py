"""Films, stills and .blend files by command, without a window: made, gone on with, and refused in a sentence."""

import json
import os
import subprocess
import sys

import numpy as np
import pytest

from tests.addon.conftest import ROOT
from tests.addon.films import batch, read_film

SMALL = ("--size", "64x36", "--samples", "1")


@pytest.mark.slow
def test_eevee_has_its_name_in_this_blender(package, tmp_path):
    words = ["--engine", "preview", "--frames", "30-30", "--film", tmp_path / "a.mp4", *SMALL]
    done = batch(package, tmp_path, ROOT / "scenes/v-fold.toml", *words)
    assert done.returncode == 0, done.stderr
    assert size_of(tmp_path / "a.mp4.frames" / "0030.png") == (64, 36)


def size_of(picture):
    from PIL import Image

    with Image.open(picture) as image:
        return image.size


def test_batch_makes_blend_stills_and_film(package, tmp_path):
    out = tmp_path / "out"
    words = ["--blend", out / "book.blend", "--stills", out / "stills", "--still-angles", "0,180"]
    done = batch(package, tmp_path, ROOT / "scenes/v-fold.toml", *words, "--film", out / "a.mp4", "--quick", *SMALL)
    assert done.returncode == 0, done.stderr
    assert sorted(path.name for path in out.iterdir()) == ["a.mp4", "book.blend", "stills"]
    stills = sorted((out / "stills").iterdir())
    assert [path.name for path in stills] == ["opening-000.png", "opening-180.png"]
    assert [size_of(path) for path in stills] == [(64, 36)] * 2
    codec, size, rate, frames = read_film(out / "a.mp4")
    assert (codec, size, rate) == ("h264", (64, 36), 24.0)
    assert len(frames) == 12 + 62 + 24
    steps = [line.split(" ", 3) for line in done.stdout.splitlines() if line.startswith("PROGRESS ")]
    numbers = [(int(done), int(total)) for _, done, total, _ in steps]
    assert [number for number, _ in numbers] == sorted(number for number, _ in numbers)
    assert len({total for _, total in numbers}) == 1
    assert numbers[-1][0] == numbers[-1][1]


def test_film_that_was_killed_goes_on_where_it_was(package, tmp_path):
    """Pictures of the same film are taken as they are; those of another are thrown away."""
    words = (ROOT / "scenes/v-fold.toml", "--film", tmp_path / "a.mp4", "--seconds", "0.5", *SMALL)
    folder = tmp_path / "a.mp4.frames"
    process = subprocess.Popen(
        [sys.executable, "-m", "hingeleaf.batch", *map(str, words)],
        env={**os.environ, "PYTHONPATH": str(package), "BLENDER_USER_RESOURCES": str(tmp_path / "user")},
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
    )
    for line in process.stdout:
        if line.startswith("PROGRESS 18 "):
            break
    process.kill()
    process.wait()
    process.stdout.close()
    assert not (tmp_path / "a.mp4").exists()
    kept = sorted(path for path in folder.glob("0*.png"))
    assert 16 <= len(kept) <= 24
    assert json.loads((folder / "settings.json").read_text())["quality"]["size"] == [64, 36]
    # The kept pictures are really used: one is swapped for a white one, which must be seen in the film.
    from PIL import Image

    Image.new("RGB", (64, 36), "white").save(folder / "0015.png")
    done = batch(package, tmp_path, *words)
    assert done.returncode == 0, done.stderr
    assert done.stdout.count("LEFT ") == 48 - len(kept), "only what was missing is rendered"
    frames = read_film(tmp_path / "a.mp4")[3]
    assert len(frames) == 12 + 12 + 24
    assert [number for number, frame in enumerate(frames) if frame.mean() > 240.0] == [14]
    assert not folder.exists()


def test_changed_quality_starts_the_film_anew(package, tmp_path):
    from PIL import Image

    folder = tmp_path / "a.mp4.frames"
    folder.mkdir()
    (folder / "settings.json").write_text("{}")
    Image.new("RGB", (64, 36), "white").save(folder / "0001.png")
    words = ["--film", tmp_path / "a.mp4", "--seconds", "0.1", "--size", "64x36", "--engine", "draft"]
    done = batch(package, tmp_path, ROOT / "scenes/v-fold.toml", *words)
    assert done.returncode == 0, done.stderr
    assert read_film(tmp_path / "a.mp4")[3][0].mean() < 250.0


def test_batch_refuses_bad_input_and_writes_nothing(package, tmp_path):
    bad = tmp_path / "bad.toml"
    bad.write_text('format = 1\n[page]\nsize = "A99"\n')
    done = batch(package, tmp_path, bad, "--blend", tmp_path / "out" / "book.blend")
    assert done.returncode == 2
    assert "A99" in done.stderr
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    "words",
    [
        ("--size", "65x36"),
        ("--size", "big"),
        ("--still-angles", "0,200"),
        ("--samples", "0"),
        ("--still-hand", "door"),
        ("--still-hand", "door=0,ajar"),
        ("--still-hand", "door=nan"),
        ("--preset", "somersault"),
        ("--engine", "steam"),
        ("--background", "mars"),
        ("--format", "gif"),
        ("--frames", "9-3"),
        ("--frames", "0-3"),
        ("--seconds", "nan"),
        ("--f-stop", "0"),
    ],
    ids=" ".join,
)
def test_batch_refuses_bad_options(package, tmp_path, words):
    done = batch(package, tmp_path, ROOT / "scenes/v-fold.toml", *words)
    assert done.returncode == 2
    assert words[1].split(",")[-1] in done.stderr
    assert "Traceback" not in done.stderr


def test_batch_moves_hands_still_by_still(package, tmp_path):
    """The opening and one hand stay, another hand moves: three stills of one opening, all different."""
    words = ["--stills", tmp_path / "stills", "--still-angles", "170", "--still-hand", "door=0,60,150"]
    words += ["--still-hand", "hatch=90", "--size", "256x144", "--engine", "BLENDER_WORKBENCH"]
    done = batch(package, tmp_path, ROOT / "scenes/flap.toml", *words)
    assert done.returncode == 0, done.stderr
    stills = sorted((tmp_path / "stills").iterdir())
    assert [path.name for path in stills] == [f"opening-170-{number}.png" for number in (1, 2, 3)]
    from PIL import Image

    pictures = [np.asarray(Image.open(path), dtype=float) for path in stills]
    for one, two in ((0, 1), (1, 2), (0, 2)):
        assert abs(pictures[one] - pictures[two]).max() > 20.0
    assert "PROGRESS 4 4 done" in done.stdout


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--still-hand=gate=90"], "--still-hand gate: no hand moves that; a hand moves door, hatch"),
        (["--still-hand=hatch=136"], "--still-hand hatch: hatch moves from 0 to 135 deg, not to 136"),
        (["--still-hand=door=-1"], "--still-hand door: door moves from 0 to 180 deg, not to -1"),
        (["--still-hand=door=0,90"], "--still-hand door: 2 values for 5 stills; write one for all, or 5"),
        (
            ["--still-angles=0,90", "--still-hand=door=0,1,2"],
            "--still-angles: 2 values for 3 stills; write one for all, or 3",
        ),
        (
            ["--still-hand=door=1", "--still-hand=door=2"],
            "--still-hand door: it is moved twice; write all its values with commas",
        ),
    ],
)
def test_batch_says_how_hands_cannot_move(installed, capsys, tmp_path, words, sentence):
    from bl_ext.user_default.hingeleaf import batch

    stills = tmp_path / "stills"
    assert batch.main([str(ROOT / "scenes/flap.toml"), "--stills", str(stills), *words]) == 2
    assert capsys.readouterr().err.splitlines() == [sentence]
    assert not stills.exists()
