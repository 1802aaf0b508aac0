"""Lines of tables and keys, which the TOML parser does not keep."""

from __future__ import annotations

import pytest

from geometry import DescriptionError, parse_description
from geometry.description.locate import key_lines

TEXT = """\
# a comment with format = 2
format = 1
title = '''
[page]
size = 3
'''

[ page ]   # the pages
size = [
  148, # width = 3
  210,
]
"margin" = 2

[stock."card"]
caliper = 0.3
[[mechanism]]
id = "a"
holes = [[[1, 2], [3, 4]],
  [[5, 6]]]
note = "]] [["
[[mechanism]] # second
  id = "b"
text = \"\"\"one line\"\"\"
  at = 5
"""


def test_every_head_and_key_has_its_line():
    assert key_lines(TEXT) == {
        ("", 0, "format"): 2,
        ("", 0, "title"): 3,
        ("page", 0, ""): 8,
        ("page", 0, "size"): 9,
        ("page", 0, "margin"): 13,
        ("stock.card", 0, ""): 15,
        ("stock.card", 0, "caliper"): 16,
        ("mechanism", 0, ""): 17,
        ("mechanism", 0, "id"): 18,
        ("mechanism", 0, "holes"): 19,
        ("mechanism", 0, "note"): 21,
        ("mechanism", 1, ""): 22,
        ("mechanism", 1, "id"): 23,
        ("mechanism", 1, "text"): 24,
        ("mechanism", 1, "at"): 25,
    }


@pytest.mark.parametrize("ending", ["\n", "\r\n"])
def test_lines_are_counted_the_same_with_either_line_ending(ending):
    assert key_lines(TEXT.replace("\n", ending))[("mechanism", 1, "at")] == 25


@pytest.mark.parametrize("character", ["\u2028", "\u2029", "\x85"])
def test_only_line_feeds_end_a_line(character):
    """An editor counts lines as TOML does; a line separator inside a text ends none."""
    text = f'format = 1\ntitle = "two{character}lines"\n[page]\nsize = "A5"\nmargin = -1\n'
    assert key_lines(text)[("page", 0, "margin")] == 5


def test_dotted_keys_have_the_line_they_stand_on():
    with pytest.raises(DescriptionError) as caught:
        parse_description('format = 1\npage.size = "A5"\npage.margin = -1\n')
    (problem,) = caught.value.problems
    assert (problem.place, problem.line) == ("page, margin", 3)
