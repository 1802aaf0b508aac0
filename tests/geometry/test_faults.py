"""When the disk fails: whatever is written, what was there before stays, whole, and no half file bears its name."""

from __future__ import annotations

import contextlib
import json
import os
import re
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path
from random import Random
from xml.etree import ElementTree

import pytest
from PIL import Image

from geometry import DescriptionError, parse_description
from geometry.__main__ import main
from geometry.binding.reader import parse_book
from tests.geometry.scene_texts import HEAD, ROOT, v_fold

#: Every command that writes, with a file that it makes.
COMMANDS = {
    "poses": (["poses", "scene.toml", "--angles", "0:180:1", "--out", "out/poses.json"], "out/poses.json"),
    "check": (["check", "scene.toml", "--json", "out/check.json"], "out/check.json"),
    "bulk": (["check", "scene.toml", "--bulk-map", "out/bulk.svg"], "out/bulk.svg"),
    "apply": (["check", "jams.toml", "--apply", "closes-flat", "--out", "out/new.toml"], "out/new.toml"),
    "fit": (
        [
            "fit",
            "scene.toml",
            "--mechanism",
            "hill",
            "--wish",
            "height=40@90",
            "--free",
            "height",
            "--out",
            "out/new.toml",
        ],
        "out/new.toml",
    ),
    "nets": (["nets", "scene.toml", "--out", "out", "--format", "svg,pdf,dxf"], "out/scene-nets.pdf"),
    "cutting": (["nets", "scene.toml", "--out", "out", "--format", "cutting"], "out/scene-cutting-1.svg"),
    "booklet": (["booklet", "scene.toml", "--out", "out/booklet.pdf"], "out/booklet.pdf"),
    "templates": (["templates", "scene.toml", "--out", "out", "--dpi", "72"], "out/page-front-template.png"),
    "trace": (["trace", "figure.png", "--width", "40", "--out", "out/figure.svg"], "out/figure.svg"),
}
every_command = pytest.mark.parametrize("name", COMMANDS)
OLD = b"what was there before"


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """A folder with a scene; the folder out in it, with an old file of each name, is where things are written."""
    furnish(tmp_path)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def furnish(path):
    (path / "scene.toml").write_text(HEAD + v_fold("hill"), encoding="utf-8")
    jams = v_fold("hill", body="at = 60; angle_left = 50; angle_right = 35; crease_angle_left = 90; height = 60")
    (path / "jams.toml").write_text(HEAD + jams.replace("height", "crease_angle_right = 100\nheight"), encoding="utf-8")
    figure = Image.new("LA", (40, 30))
    figure.paste((90, 255), (8, 6, 30, 24))
    figure.save(path / "figure.png")
    (path / "out").mkdir(exist_ok=True)


def contents(path):
    return {file.relative_to(path).as_posix(): file.read_bytes() for file in path.rglob("*") if file.is_file()}


def refused(name, capsys, *words):
    """Run a command that cannot write: exit status 2, and one sentence with these words."""
    assert main(COMMANDS[name][0]) == 2
    said = capsys.readouterr().err.strip()
    assert "\n" not in said
    assert any(word in said for word in words), said


@every_command
def test_a_command_writes_what_the_faults_below_are_tried_on(folder, name):
    words, made = COMMANDS[name]
    assert main(words) in (0, 1)
    assert len((folder / made).read_bytes()) > 150
    if name in ("bulk", "poses", "nets", "booklet", "templates"):
        # So that a limit below, of the size of files, is passed in the middle of one.
        assert len((folder / made).read_bytes()) > 700


# --- a full disk ------------------------------------------------------------------------------------------------------


@pytest.fixture
def mounted(folder):
    """Mount something at the folder out; skips where this user may not."""
    used = []

    def mount(*words):
        if not shutil.which("mount") or os.name == "nt":
            pytest.skip("there is no command to mount anything with")
        done = subprocess.run(["mount", *words, str(folder / "out")], capture_output=True, text=True)
        if done.returncode:
            pytest.skip(f"this user may not mount: {done.stderr.strip()}")
        used.append(folder / "out")

    yield mount
    for path in reversed(used):
        subprocess.run(["umount", str(path)], check=True)


def fill(file):
    with file.open("wb", buffering=0) as filler, contextlib.suppress(OSError):
        while filler.write(b"x" * 512):
            pass


@every_command
def test_a_full_disk(folder, mounted, name, capsys):
    mounted("-t", "tmpfs", "-o", "size=64k", "tmpfs")
    _, made = COMMANDS[name]
    (folder / made).write_bytes(OLD)
    fill(folder / "out/filler")
    before = contents(folder / "out")
    refused(name, capsys, "No space left on device")
    assert contents(folder / "out") == before


@pytest.mark.skipif(os.name == "nt", reason="there is no limit to set")
@pytest.mark.parametrize("name", ["bulk", "poses", "nets", "booklet", "templates"])
def test_a_file_that_may_not_grow_so_large(folder, name, capsys):
    """As a quota does it: the write fails when half of the file is there. (What is wrong would still fit in a JSON.)"""
    import resource

    _, made = COMMANDS[name]
    (folder / made).write_bytes(OLD)
    before = contents(folder)
    limits, ignored = resource.getrlimit(resource.RLIMIT_FSIZE), signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    try:
        resource.setrlimit(resource.RLIMIT_FSIZE, (700, limits[1]))
        refused(name, capsys, "File too large")
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
        signal.signal(signal.SIGXFSZ, ignored)
    assert contents(folder) == before


# --- a folder that is closed, a file that is held ---------------------------------------------------------------------


@every_command
def test_a_read_only_folder(folder, mounted, name, capsys):
    _, made = COMMANDS[name]
    (folder / made).write_bytes(OLD)
    before = contents(folder)
    if hasattr(os, "geteuid") and os.geteuid() != 0:
        (folder / "out").chmod(0o555)
    else:
        # Permissions do not hold for root, a read-only mount does.
        mounted("--bind", str(folder / "out"))
        subprocess.run(["mount", "-o", "remount,ro,bind", str(folder / "out")], check=True)
    try:
        refused(name, capsys, "Read-only file system", "Permission denied")
        assert contents(folder) == before
    finally:
        if hasattr(os, "geteuid") and os.geteuid() != 0:
            (folder / "out").chmod(0o755)


@every_command
def test_a_folder_stands_where_the_file_should(folder, name, capsys):
    _, made = COMMANDS[name]
    (folder / made / "mine").mkdir(parents=True)
    refused(name, capsys, "Is a directory", "is a folder", "Permission denied")
    assert [path.name for path in (folder / "out").iterdir()] == [Path(made).name]
    assert (folder / made / "mine").is_dir()


@every_command
def test_a_file_stands_where_the_folder_should(folder, name, capsys):
    shutil.rmtree(folder / "out")
    (folder / "out").write_bytes(OLD)
    refused(name, capsys, "Not a directory", "File exists", "cannot be made", "No such file")
    assert (folder / "out").read_bytes() == OLD


@every_command
def test_a_file_that_another_program_holds(folder, name, capsys, monkeypatch):
    """On Windows nothing takes the place of an open file: error 32, which Python raises as PermissionError."""
    _, made = COMMANDS[name]
    (folder / made).write_bytes(OLD)
    before, replace = contents(folder), os.replace

    def held(source, target):
        if Path(target).name == Path(made).name:
            raise PermissionError(13, "The process cannot access the file because it is being used by another process")
        replace(source, target)

    monkeypatch.setattr(os, "replace", held)
    refused(name, capsys, f"{Path(made).name}: cannot be written (The process cannot access the file")
    assert contents(folder) == before


# --- killed in the middle of it ---------------------------------------------------------------------------------------

#: Writes one scene and the other by turns until it is killed.
_CHILD = """
import os, sys
from geometry.__main__ import main
sys.stdout = open(os.devnull, "w")
while True:
    for scene in ("one.toml", "two.toml"):
        main([scene if word == "scene.toml" else word for word in sys.argv[1:]])
        os.write(1, b"ready\\n")
"""


def whole(path, data):
    """Whether a file is complete, as whoever opens it would see."""
    if path.endswith(".json"):
        return bool(json.loads(data))
    if path.endswith(".svg"):
        return ElementTree.fromstring(data) is not None
    if path.endswith(".toml"):
        return bool(parse_description(data.decode()))
    ends = {".pdf": b"%%EOF", ".png": b"IEND\xaeB`\x82", ".dxf": b"EOF"}
    return data.rstrip().endswith(ends[Path(path).suffix])


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="processes are not killed there so")
@pytest.mark.parametrize("name", ["poses", "nets", "booklet", "templates", "fit"])
def test_killed_while_it_writes(folder, name):
    """Killed outright at any moment, in a loop: each file there is one that was written, to its last byte."""
    words, _ = COMMANDS[name]
    for scene, height in (("one", 50), ("two", 60)):
        text = HEAD + v_fold("hill", body=f"at = 60; angle = 45; height = {height}")
        (folder / f"{scene}.toml").write_text(text, encoding="utf-8")
    rng, env = Random(name), {**os.environ, "PYTHONPATH": str(ROOT)}
    seen = 0
    for _ in range(3):
        command = [sys.executable, "-c", _CHILD, *words]
        pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.DEVNULL}
        with subprocess.Popen(command, cwd=folder, env=env, **pipes) as child:
            assert child.stdout.readline() == b"ready\n"
            time.sleep(rng.uniform(0.0, 0.7))
            child.kill()
        for path, data in contents(folder / "out").items():
            if not Path(path).name.startswith("."):
                seen += 1
                assert whole(path, data), path
        # What is left behind has a name that nobody takes for a result, and is in nobody's way.
        left = [path.name for path in (folder / "out").iterdir() if path.name.startswith(".")]
        assert all(re.fullmatch(r"\..+\.\w{8}", each) for each in left), left
    assert main([word.replace("scene.toml", "one.toml") for word in words]) == 0
    assert seen


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="processes are not killed there so")
def test_killed_between_one_file_and_the_next(tmp_path):
    """Several files take their places one by one; each is an old one or a new one, none is half."""
    code = """
import itertools, sys
from pathlib import Path
from geometry.files import write_files
folder = Path(sys.argv[1])
print("ready", flush=True)
for number in itertools.count():
    write_files({folder / name: (b"%09d" % number) * 30_000 for name in "abcdef"})
"""
    rng, env = Random(1), {**os.environ, "PYTHONPATH": str(ROOT)}
    last = -1
    for _ in range(8):
        command = [sys.executable, "-c", code, str(tmp_path)]
        with subprocess.Popen(command, env=env, stdout=subprocess.PIPE) as child:
            assert child.stdout.readline() == b"ready\n"
            time.sleep(rng.uniform(0.02, 0.2))
            child.kill()
        there = {name: (tmp_path / name).read_bytes() for name in "abcdef" if (tmp_path / name).is_file()}
        for name, data in there.items():
            assert len(data) == 270_000, name
            assert data == data[:9] * 30_000, name
        numbers = [int(data[:9]) for data in there.values()]
        last = max([last, *numbers])
    assert last > 0


# --- from another version ---------------------------------------------------------------------------------------------


def test_a_description_from_a_later_version_says_so():
    """What a later version may add is called unknown, and it is said that the file is later."""
    text = HEAD.replace("format = 1", "format = 2") + v_fold("hill").replace("height", 'glow = "soft"\nheight')
    with pytest.raises(DescriptionError) as caught:
        parse_description(f'{text}\n[light]\nfrom = "left"\n', source="scene.toml")
    said = {problem.place: problem.message for problem in caught.value.problems}
    assert said["format"].startswith("is 2; this version reads format 1; a later Hingeleaf wrote it: update this one")
    assert said.keys() == {"format", "light", 'v-fold "hill", glow'}


def test_a_book_from_a_later_version_says_so(tmp_path):
    (tmp_path / "a.toml").write_text(HEAD, encoding="utf-8")
    with pytest.raises(DescriptionError, match="this version reads format 1; a later Hingeleaf wrote"):
        parse_book('format = 3\n[[spread]]\nfile = "a.toml"\n', folder=tmp_path)


@pytest.mark.parametrize("number", ["0", "-1", "0.5"])
def test_no_later_version_is_blamed_for_a_number_that_is_none(number):
    with pytest.raises(DescriptionError, match=r"this version reads format 1$"):
        parse_description(HEAD.replace("format = 1", f"format = {number}"))
