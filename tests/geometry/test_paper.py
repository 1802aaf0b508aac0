"""Paper: names of sizes, caliper and colours, and words for what is none."""

from __future__ import annotations

import pytest

from geometry.errors import HingeleafError
from geometry.paper import caliper_mm, iso_216_size, parse_color


def test_landscape_lies_on_its_side():
    for series in "AB":
        for number in range(11):
            width, height = iso_216_size(f"{series}{number}")
            assert width < height
            assert iso_216_size(f"{series}{number} landscape") == (height, width)


@pytest.mark.parametrize(
    "name", ["A11", "A-1", "C5", "a5", "A05", "A", "5", "", " ", "A5 portrait", "A5 landscape x", "A５", "A²", "Letter"]
)
def test_other_names_are_refused_in_words(name):
    with pytest.raises(HingeleafError, match=r"is no ISO 216 size; write A0 to A10 or B0 to B10"):
        iso_216_size(name)


def test_colors():
    assert parse_color("#000000") == (0.0, 0.0, 0.0)
    assert parse_color("#FFff00") == (1.0, 1.0, 0.0)
    assert parse_color("#80407f") == pytest.approx((128 / 255, 64 / 255, 127 / 255))


@pytest.mark.parametrize(
    "text", ["", "#", "red", "#fff", "#12345g", "#1234567", "123456", "#１23456", "# 12345", "#+12345"]
)
def test_other_texts_are_no_colors(text):
    with pytest.raises(HingeleafError, match="is no colour"):
        parse_color(text)


def test_caliper_is_grammage_times_bulk():
    assert caliper_mm(200.0, 1.0) == pytest.approx(0.2)
