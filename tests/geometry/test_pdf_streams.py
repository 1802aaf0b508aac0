"""Streams of our PDF files are bytes, and reportlab is left as it was for others."""

from __future__ import annotations

import pytest
from reportlab import rl_config

from geometry import assemble, read_description
from geometry.booklet import write_booklet
from geometry.nets import write_nets
from geometry.nets.pdf_streams import binary_streams
from tests.geometry.scene_texts import ROOT


@pytest.mark.parametrize("writer", [write_nets, write_booklet])
def test_files_are_written_in_bytes(tmp_path, writer):
    spread = assemble(read_description(ROOT / "scenes" / "v-fold.toml"))
    writer(spread, tmp_path / "v-fold.pdf" if writer is write_booklet else tmp_path)
    files = [file.read_bytes() for file in tmp_path.rglob("*.pdf")]
    assert files
    assert all(b"FlateDecode" in data and b"ASCII85Decode" not in data for data in files)


@pytest.mark.parametrize("before", [0, 1])
def test_the_setting_of_others_comes_back(monkeypatch, before):
    monkeypatch.setattr(rl_config, "useA85", before)
    with binary_streams():
        assert not rl_config.useA85
    assert rl_config.useA85 == before
    with pytest.raises(ZeroDivisionError), binary_streams():
        _ = 1 / 0
    assert rl_config.useA85 == before
