"""Writing back: what was read stays to the byte; a change touches its key and nothing else."""

from __future__ import annotations

import numpy as np
import pytest

from geometry import (
    DescriptionError,
    FileError,
    HingeleafError,
    assemble,
    change_mechanism,
    parse_description,
    read_description,
    write_description,
)
from tests.geometry.scene_texts import BIG, COMMENTED, FILES, HEAD, HILL, SCENES, tent


@pytest.mark.parametrize("encoding", ["plain", "carriage returns", "byte order mark", "no end", "both"])
def test_writing_back_what_was_read_changes_no_byte(tmp_path, encoding):
    data = (COMMENTED + "\n").encode()
    if encoding in ("carriage returns", "both"):
        data = data.replace(b"\n", b"\r\n")
    if encoding in ("byte order mark", "both"):
        data = b"\xef\xbb\xbf" + data
    if encoding == "no end":
        data = data.rstrip()
    (tmp_path / "in.toml").write_bytes(data)
    write_description(read_description(tmp_path / "in.toml"), tmp_path / "out.toml")
    assert (tmp_path / "out.toml").read_bytes() == data


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.name)
def test_every_scene_file_is_written_back_as_it_was(file, tmp_path):
    write_description(read_description(file), tmp_path / "out.toml")
    assert (tmp_path / "out.toml").read_bytes() == file.read_bytes()


@pytest.mark.parametrize("name", SCENES)
def test_changing_a_key_to_what_it_was_changes_nothing_else(name):
    description = parse_description(SCENES[name])
    spec = description.mechanisms[0]
    key = "at"
    value = spec.values[key]
    again = change_mechanism(description, spec.id, {key: list(value) if isinstance(value, tuple) else value})
    assert [item.values for item in again.mechanisms] == [item.values for item in description.mechanisms]
    different = [(a, b) for a, b in zip(description.text.splitlines(), again.text.splitlines(), strict=True) if a != b]
    assert all(a.startswith("at =") and b.startswith("at =") for a, b in different)
    assert len(different) <= 1


def test_a_change_keeps_comments_and_layout():
    changed = change_mechanism(parse_description(COMMENTED), "hill", {"angle": 50.0, "width": 44})
    expected = COMMENTED.replace("angle = 45 # degrees", "angle = 50.0 # degrees")
    assert changed.text.replace("width = 44\n", "") == expected
    assert changed.mechanisms[0].values["width"] == 44.0
    assert assemble(changed).panels


def test_none_takes_a_key_out():
    description = parse_description(HEAD + HILL + "width = 30\n")
    changed = change_mechanism(description, "hill", {"width": None, "edge": None})
    assert "width" not in changed.mechanisms[0].values
    assert changed.text == HEAD + HILL


def test_the_other_mechanisms_stay_as_they_are():
    description = parse_description(HEAD + BIG + tent("tent"))
    changed = change_mechanism(description, "tent", {"base": 21, "lean": "away", "edge_end": [[10, 5], [20, -3.5]]})
    assert changed.text.startswith(HEAD + BIG)
    assert changed.mechanisms[1].values["edge_end"] == [[10, 5], [20, -3.5]]
    assert description.mechanisms[1].values["base"] == 30.0


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"angle": 0}, "angle"),
        ({"widht": 5}, "is no key here"),
        ({"kind": "tent"}, "needs"),
        ({"fold": None}, "needs fold"),
    ],
)
def test_an_unsound_change_is_refused_and_nothing_is_changed(values, words):
    description = parse_description(HEAD + HILL)
    with pytest.raises(DescriptionError, match=words):
        change_mechanism(description, "hill", values)
    assert description.text == HEAD + HILL


def test_a_change_of_a_mechanism_that_is_not_there():
    with pytest.raises(HingeleafError, match='there is no mechanism "hil"'):
        change_mechanism(parse_description(HEAD + HILL), "hil", {"at": 5})


def test_mechanisms_written_in_one_list_can_be_changed():
    text = HEAD.replace(
        "[page]",
        "mechanism = [{kind = 'v-fold', id = 'hill', fold = 'spine', at = 60, angle = 45, height = 50}]\n[page]",
    )
    changed = change_mechanism(parse_description(text), "hill", {"at": 70})
    assert changed.mechanisms[0].values["at"] == 70.0


@pytest.mark.parametrize(
    "value", [np.float64(50.5), (1, 2), 10**400, float("nan"), "x"], ids=lambda value: str(value)[:9]
)
def test_any_value_is_taken_or_refused_in_words(value):
    try:
        changed = change_mechanism(parse_description(HEAD + HILL), "hill", {"angle": value})
    except HingeleafError:
        assert not isinstance(value, np.floating)
    else:
        assert changed.mechanisms[0].values["angle"] == float(value)


def test_a_description_that_cannot_be_written(tmp_path):
    with pytest.raises(FileError):
        write_description(parse_description(HEAD), tmp_path / "none" / "out.toml")
