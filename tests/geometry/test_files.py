"""Files appear complete or not at all."""

from __future__ import annotations

import os
import stat
import sys

import pytest

from geometry.errors import FileError
from geometry.files import make_folder, write_file


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


def test_folders_are_made_with_those_above_them(tmp_path):
    assert make_folder(tmp_path / "a" / "b").is_dir()
    assert make_folder(tmp_path / "a" / "b").is_dir()
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(FileError, match="cannot be made"):
        make_folder(tmp_path / "file" / "below")
