"""Files appear complete or not at all."""

from __future__ import annotations

import os
import stat
import sys
from pathlib import Path

import pytest

from geometry.errors import FileError
from geometry.files import make_folder, write_file, write_files


def test_a_file_is_written_and_replaced(tmp_path):
    target = tmp_path / "a.txt"
    write_file(target, b"one")
    write_file(str(target), b"two")
    assert target.read_bytes() == b"two"
    assert [path.name for path in tmp_path.iterdir()] == ["a.txt"]


@pytest.mark.skipif(sys.platform == "win32", reason="permissions are others there")
def test_a_file_has_the_permissions_of_any_new_file(tmp_path):
    write_file(tmp_path / "a.txt", b"one")
    (tmp_path / "b.txt").write_bytes(b"one")
    assert stat.S_IMODE((tmp_path / "a.txt").stat().st_mode) == stat.S_IMODE((tmp_path / "b.txt").stat().st_mode)


def test_what_cannot_be_written_leaves_nothing_behind(tmp_path):
    (tmp_path / "folder").mkdir()
    for target in (tmp_path / "none" / "a.txt", tmp_path / "folder"):
        with pytest.raises(FileError, match="cannot be written"):
            write_file(target, b"data")
    assert [path.name for path in tmp_path.iterdir()] == ["folder"]


def test_an_old_file_stays_when_writing_fails(tmp_path, monkeypatch):
    target = tmp_path / "a.txt"
    write_file(target, b"old")

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(FileError, match="No space left on device"):
        write_file(target, b"new")
    assert target.read_bytes() == b"old"
    assert [path.name for path in tmp_path.iterdir()] == ["a.txt"]


def contents(folder):
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def test_several_files_are_written_and_replaced(tmp_path):
    (tmp_path / "b").write_bytes(b"old")
    write_files({tmp_path / name: name.encode() for name in "abc"})
    assert contents(tmp_path) == {"a": b"a", "b": b"b", "c": b"c"}


@pytest.mark.parametrize("third", ["old", None])
@pytest.mark.parametrize("links", [True, False])
def test_when_the_third_file_fails_all_is_as_before(tmp_path, monkeypatch, third, links):
    """The first was there before, the second is new; both have their places when the third is refused its own."""
    (tmp_path / "a").write_bytes(b"old")
    if third:
        (tmp_path / "c").write_bytes(b"old")
    before, replace = contents(tmp_path), os.replace
    seen = []

    def refuse(source, target):
        if target == tmp_path / "c":
            seen.append(contents(tmp_path))
            raise OSError(28, "No space left on device")
        replace(source, target)

    def no_links(*_):
        raise OSError(1, "Operation not permitted")

    monkeypatch.setattr(os, "replace", refuse)
    if not links:
        monkeypatch.setattr(os, "link", no_links)
    with pytest.raises(FileError, match=r"c: cannot be written \(No space left on device\)"):
        write_files({tmp_path / name: b"new" for name in "abcd"})
    assert (seen[0]["a"], seen[0]["b"]) == (b"new", b"new")
    assert contents(tmp_path) == before


def test_when_the_third_file_cannot_be_filled_none_has_its_place(tmp_path):
    (tmp_path / "a").write_bytes(b"old")
    with pytest.raises(FileError, match="cannot be written"):
        write_files({tmp_path / "a": b"new", tmp_path / "b": b"new", tmp_path / "none" / "c": b"new"})
    assert contents(tmp_path) == {"a": b"old"}


def test_an_interruption_too_leaves_all_as_before(tmp_path, monkeypatch):
    (tmp_path / "a").write_bytes(b"old")
    replace = os.replace

    def interrupt(source, target):
        if target == tmp_path / "b":
            raise KeyboardInterrupt
        replace(source, target)

    monkeypatch.setattr(os, "replace", interrupt)
    with pytest.raises(KeyboardInterrupt):
        write_files({tmp_path / name: b"new" for name in "ab"})
    assert contents(tmp_path) == {"a": b"old"}


def test_an_old_file_that_cannot_come_back_is_kept_under_another_name(tmp_path, monkeypatch):
    (tmp_path / "a").write_bytes(b"old")
    replace, calls = os.replace, []

    def once(source, target):
        calls.append(target)
        if len(calls) > 1:
            raise OSError(5, "Input/output error")
        replace(source, target)

    monkeypatch.setattr(os, "replace", once)
    with pytest.raises(FileError, match="what was there is in") as caught:
        write_files({tmp_path / name: b"new" for name in "ab"})
    kept = str(caught.value).split("what was there is in ")[1]
    assert contents(tmp_path) == {"a": b"new", Path(kept).name: b"old"}


def test_folders_are_made_with_those_above_them(tmp_path):
    assert make_folder(tmp_path / "a" / "b").is_dir()
    assert make_folder(tmp_path / "a" / "b").is_dir()
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(FileError, match="cannot be made"):
        make_folder(tmp_path / "file" / "below")
