"""The pictures of checks: each scene fails just the check that it shows, and the pictures are those of the code."""

from __future__ import annotations

import re
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from geometry.checks import run_checks
from scenes import draw_checks
from tests.geometry import pages

#: What comes with it: a spread that jams does so because panels meet.
ALSO = {"closes-flat": {"collides", "through-host"}}
TEXT = pages.page_text("scenes/README.md")


def found(code):
    return run_checks(draw_checks.spread_of(code))


@pytest.mark.parametrize("code", draw_checks.PICTURES)
def test_the_scene_fails_that_check(code):
    assert {finding.code for finding in found(code)} == {code} | ALSO.get(code, set())


@pytest.mark.parametrize("code", draw_checks.PICTURES)
def test_the_picture_is_that_of_the_code(code):
    file = draw_checks.HERE / "pictures" / f"check-{code}.svg"
    drawn, kept = (list(ET.fromstring(text).iter()) for text in (draw_checks.picture(code), file.read_bytes()))
    assert [(each.tag, each.get("fill")) for each in drawn] == [(each.tag, each.get("fill")) for each in kept]
    for one, two in zip(drawn, kept, strict=True):
        numbers = [np.array(re.findall(r"-?\d+\.\d+", each.get("d", "")), dtype=float) for each in (one, two)]
        np.testing.assert_allclose(*numbers, atol=0.02)
    assert any(each.get("fill") in draw_checks._FOUND for each in drawn)


def test_the_words_beside_them_have_their_numbers():
    words = dict(re.findall(r"\(pictures/check-[\w-]+\.svg\) \| `([\w-]+)`: (.*) \|", TEXT))
    assert set(words) == set(draw_checks.PICTURES)
    (locked,) = found("opens-fully")
    assert f"at {locked.opening_deg:.2f}°" in words["opens-fully"]
    assert f"by {found('stays-inside')[0].measure:.1f} mm" in words["stays-inside"]
    deepest = found("collides")[0]
    assert f"at {draw_checks.PICTURES['collides'][0]:.0f}° they are {deepest.measure:.0f} mm deep" in words["collides"]
    assert re.search(r"only (11) %", found("glue")[0].message)[1] + " %" in words["glue"]
    (turns,) = (finding.message for finding in found("closes-flat") if finding.code == "through-host")
    drawn = draw_checks.PICTURES["closes-flat"][0]
    assert 0.0 < drawn - float(re.search(r"to ([\d.]+) degrees", turns)[1]) < 1.0
    assert f"At {drawn:.0f}°" in words["closes-flat"]
