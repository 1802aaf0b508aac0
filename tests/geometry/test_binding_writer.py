"""Writing a book's file back: what a person wrote in it stays, to the letter."""

import tomllib

import pytest

from geometry.binding import parse_book
from geometry.binding.writer import new_book_text, set_book

WRITTEN = """# our book
format = 1
title = "Sea"

# how it begins
[[spread]] # first
# still
file = "calm.toml" # yes

# then wind
[[spread]]
file = "storm.toml"

# the end
"""


def files(text: str) -> list[str]:
    return list(parse_book(text, look=False).files)


def test_a_new_title_changes_nothing_else() -> None:
    assert set_book(WRITTEN, title="Rock") == WRITTEN.replace('"Sea"', '"Rock"')


def test_the_same_files_change_nothing() -> None:
    assert set_book(WRITTEN, files=["calm.toml", "storm.toml"]) == WRITTEN


def test_a_first_cover_goes_before_the_spreads_and_what_is_said_above_them() -> None:
    changed = set_book(WRITTEN, cover={"board": 3.0})
    assert changed == WRITTEN.replace("# how it begins", "[cover]\nboard = 3.0\n\n# how it begins")
    assert parse_book(changed, look=False).cover.board_mm == 3.0
    assert set_book(WRITTEN, cover={"board": None}) == WRITTEN


def test_a_key_taken_out_leaves_the_comments_of_its_table() -> None:
    text = WRITTEN.replace("# how", "[cover]\n# thick\nboard = 3\n\n# how")
    changed = set_book(text, cover={"board": None})
    assert "# thick\n" in changed
    assert parse_book(changed, look=False).cover.board_mm == 2.0
    bare = 'format = 1\n[cover]\nboard = 3\n[[spread]]\nfile = "a.toml"\n'
    assert "[cover]" not in set_book(bare, cover={"board": None})


def test_spreads_in_another_order_take_their_comments_along() -> None:
    changed = set_book(WRITTEN, files=["storm.toml", "calm.toml", "new.toml"])
    assert files(changed) == ["storm.toml", "calm.toml", "new.toml"]
    assert '[[spread]] # first\n# still\nfile = "calm.toml" # yes\n' in changed
    assert files(set_book(WRITTEN, files=["calm.toml", "calm.toml"])) == ["calm.toml", "calm.toml"]


@pytest.mark.parametrize(
    "text",
    [
        'spread = [{file = "a.toml"}]\nformat = 1\n',
        'cover = {square = 1}\nformat = 1\n[[spread]]\nfile = "a.toml"\n',
        'cover.square = 1\nformat = 1\n[[spread]]\nfile = "a.toml"\n',
        'format = 1\r\n\r\n[[spread]]\r\nfile = "a.toml"\r\n',
        'format = 1\n[[spread]]\nfile = "a.toml"\n[cover]\nsquare = 1\n',
    ],
)
def test_however_it_is_written_it_is_read_back(text) -> None:
    changed = set_book(text, title="Sea", cover={"board": 3.0}, files=["a.toml", "b.toml"])
    book = parse_book(changed, look=False)
    assert (book.title, book.files, book.cover.board_mm) == ("Sea", ("a.toml", "b.toml"), 3.0)
    before = tomllib.loads(text).get("cover", {})
    assert tomllib.loads(changed)["cover"] == before | {"board": 3.0}
    again = set_book(changed, cover={"board": 2.5})
    assert files(again) == ["a.toml", "b.toml"]


def test_a_new_book_is_read_back() -> None:
    assert files(new_book_text("Sea", ["a.toml", "b.toml"])) == ["a.toml", "b.toml"]
