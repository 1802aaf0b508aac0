"""The pictures of checks: each scene fails just the check that it shows, the pictures are those of the code, and what
the page says beside them is so: its figures, and that what it advises mends the spread.
"""

from __future__ import annotations

import re
import shutil
from functools import cache
from xml.etree import ElementTree as ET

import numpy as np
import pytest
import shapely
from PIL import Image

from geometry import assemble, parse_description
from geometry.binding import check_binding, read_bound
from geometry.checks import CHECKS, run_checks
from geometry.limits import LIMITS, Limits
from scenes import check_views, draw_checks
from tests.geometry import pages

#: What comes with it, and why.
ALSO = {
    # A spread that jams does so because panels meet.
    "closes-flat": {"collides", "through-host"},
    # A ring takes a rider over the spine and a tent outside the book, which meet as the book opens.
    "order": {"stays-inside", "collides"},
    # Where a row flops to is anywhere.
    "free-motion": {"closes-flat", "collides", "through-host"},
    # A crease that touches a cut runs at no distance from it.
    "crease-crosses-cut": {"strength"},
    # A solid does not fold, whatever else is wrong with it.
    "solid-collides": {"solid-stands"},
    "solid-mesh": {"solid-stands"},
}
#: What the page advises: what is written otherwise then, one piece of advice a row.
ADVICE = [
    ("closes-flat", {"height_right = 45\n": ""}),
    ("opens-fully", {"height = 26": "height = 34"}),
    ("stays-inside", {"at = 60": "at = 87"}),
    ("stays-inside", {"height = 100": "height = 60"}),
    ("collides", {"at = 75": "at = 15"}),
    ("through-host", {"at = [-36, 73]": "at = [-54, 73]"}),
    ("through-host", {'"page.left"': '"step.left"', "at = [-36, 73]": "at = [-7, 73]"}),
    ("order", {"at = [15, 44]": "at = [15, 4]"}),
    ("dead-point", {"height = 18.06": "height = 18.56"}),
    ("snaps", {"angle = 88": "angle = 84"}),
    ("free-motion", {"widths = [30, 40, 30]": "widths = [50, 50]"}),
    ("crease-crosses-cut", {"[[0, 30], [12, 18]": "[[2, 30], [12, 18]"}),
    ("crease-crosses-cut", {"[[0, 30], [12, 18]": "[[-6, 30], [12, 18]"}),
    (
        "cut-ends-loose",
        {"-29.999 -0.0005 C -20 0 -10 3 4 4": "-29 -1.5 C -20 -1 -10 1 4 3", "-10 3.0005 -20 0.0005": "-10 4 -20 1"},
    ),
    ("strength", {"at = 45.5": "at = 47", "[[24, 1.2], [40, 1.2]": "[[24, 2], [40, 2]"}),
    ("glue", {"at = [-30, 57.5]": "at = [-30, 53.5]"}),
    ("bulk", {"caliper = 0.8": "caliper = 0.7"}),
    ("bulk", {"[stock.board]": "[checks]\nbulk = 6.4\n[stock.board]"}),
    ("pull-strip", {"travel = 36": "travel = 26"}),
    ("pull-strip", {"at = [12, 70]": "at = [2, 70]", "length = 96": "length = 106", "[30, 74]": "[40, 84]"}),
    ("hand-locks", {"link_reach = 15": "link_reach = 18"}),
    ("hand-locks", {"travel = 36": "travel = 30"}),
    ("wheel", {"C 30 68 -30 68": "C 30 55 -30 55"}),
    ("hand-collides", {"width = 46\n": "width = 46\nopens_to = 90\n"}),
    ("hand-collides", {"at = [50, 75]\nturn = 0": "at = [96, 75]\nturn = 180"}),
    ("hands-collide", {"turn = 0\n": "turn = 0\nopens_to = 90\n"}),
    ("hands-collide", {"at = [51, 65]": "at = [10, 65]"}),
    ("solid-stands", {"at = [54, 70]": "at = [54, 70]\nloose = true"}),
    ("solid-collides", {"at = [26, 96]": "at = [66, 96]"}),
    ("solid-mesh", {"tower-with-a-flag": "tower"}),
]
#: What the words beside a picture say, from the worst that the check finds.
FIGURES = {
    "stays-inside": "by {0.measure:.1f} mm",
    "opens-fully": "at {0.opening_deg:.2f}°",
    "collides": "they are {0.measure:.0f} mm deep",
    "through-host": "by {0.measure:.0f} mm",
    "dead-point": "straight but for {0.measure:.1f}°",
    "snaps": "by {0.measure:.1f}° for each degree",
    "free-motion": "{0.measure:.0f} motion too many",
    "crease-ends-loose": "{0.measure:.1f} mm of it",
    "cut-ends-loose": "{0.measure:.1f} mm from the edge",
    "strength": "{0.measure:.1f} mm wide",
    "bulk": "{0.measure:.1f} mm in the ring",
    "pull-strip": "{0.measure:.0f} mm out of its inner guide",
    "hand-locks": "after {0.measure:.0f} of 36 mm",
    "wheel": "reaches {0.measure:.0f} mm past",
    "hand-collides": "{0.measure:.0f} mm deep",
    "hands-collide": "{0.measure:.0f} mm deep",
    "solid-stands": "{0.measure:.0f} mm high, does not fold, and at {0.opening_deg:.1f}°",
    "solid-collides": "{0.measure:.1f} mm deep",
    "solid-mesh": "at {0.measure:.0f} edge",
    "artwork": "by {0.measure:.1f} mm",
}
#: Numbers in the words that are worked out from others: see the last test.
DERIVED = {"closes-flat": (34.0,), "snaps": (7.0,)}
TEXT = pages.page_text("scenes/README.md")
WORDS = dict(re.findall(r"\(pictures/check-[\w-]+\.svg\) \| `([\w-]+)`: (.*) \|", TEXT))


@cache
def found(code):
    return run_checks(draw_checks.spread_of(code))


def own(code):
    """The findings of the check itself, the worst first."""
    return [finding for finding in found(code) if finding.code == code]


def drawn_line(path):
    """The line of a path in a picture, mm."""
    rings = [np.array(part.strip("Z ").split(), dtype=float).reshape(-1, 2) for part in path.split("M")[1:]]
    closed = [np.vstack([ring, ring[:1]]) if "Z" in path else ring for ring in rings]
    return shapely.MultiLineString(closed)


def test_every_check_has_a_picture_and_words():
    assert list(WORDS) == [*draw_checks.BOOK_PICTURES, *draw_checks.PICTURES]
    assert set(draw_checks.PICTURES) == set(CHECKS)


@pytest.mark.parametrize("code", draw_checks.PICTURES)
def test_the_scene_fails_that_check(code):
    assert {finding.code for finding in found(code)} == {code} | ALSO.get(code, set())


@pytest.mark.parametrize("code", [*draw_checks.PICTURES, *draw_checks.BOOK_PICTURES])
def test_the_picture_is_that_of_the_code(code):
    file = draw_checks.HERE / "pictures" / f"check-{code}.svg"
    drawn, kept = (list(ET.fromstring(text).iter()) for text in (draw_checks.picture(code), file.read_bytes()))
    looks = ("fill", "stroke", "stroke-dasharray", "href")
    assert [(each.tag, *map(each.get, looks)) for each in drawn] == [(each.tag, *map(each.get, looks)) for each in kept]
    for one, two in zip(drawn, kept, strict=True):
        if one.get("d"):
            # A ring may begin at another of its points.
            assert drawn_line(one.get("d")).hausdorff_distance(drawn_line(two.get("d"))) < 0.02
    assert any({each.get("fill"), each.get("stroke")} & set(check_views.FOUND) for each in drawn)


@pytest.mark.parametrize(("code", "changes"), ADVICE, ids=[code for code, _ in ADVICE])
def test_what_the_page_advises_mends_it(code, changes):
    text = (draw_checks.FAULTY / f"{code}.toml").read_text(encoding="utf-8")
    for written, better in changes.items():
        assert text.count(written) == 1
        text = text.replace(written, better)
    after = CHECKS[code](assemble(parse_description(text, folder=draw_checks.FAULTY)))
    assert [finding.message for finding in after if finding.severity != "note"] == []


def test_artwork_that_is_painted_on_its_template_is_not_found(tmp_path):
    shutil.copy(draw_checks.FAULTY / "artwork.toml", tmp_path)
    (tmp_path / "art").mkdir()
    across, down = map(int, re.search(r"with (\d+) x (\d+) pixels", WORDS["artwork"]).groups())
    Image.new("RGB", (across, down)).save(tmp_path / "art" / "moon.png")
    text = (tmp_path / "artwork.toml").read_text(encoding="utf-8")
    assert run_checks(assemble(parse_description(text, folder=tmp_path))) == ()


def test_every_check_that_a_description_can_fail_has_advice():
    assert {code for code, _ in ADVICE} == set(CHECKS) - {"crease-ends-loose", "artwork"}


@pytest.mark.parametrize("code", FIGURES)
def test_the_words_beside_it_have_its_measure(code):
    assert FIGURES[code].format(own(code)[0]) in WORDS[code]


def numbers(text):
    """All numbers in a text, as written."""
    return re.findall(r"\d+(?:\.\d+)?", text)


@pytest.mark.parametrize("code", draw_checks.PICTURES)
def test_every_number_in_the_words_has_a_source(code):
    """What the check says of the spread, its file, its limits, or what is written otherwise by the advice."""
    told = " ".join(finding.message for finding in own(code))
    known = [*map(float, numbers(told)), *(getattr(Limits(), field.name) for field in LIMITS)]
    known += map(float, numbers((draw_checks.FAULTY / f"{code}.toml").read_text(encoding="utf-8")))
    known += [value for finding in own(code) for value in (finding.measure, finding.opening_deg) if value]
    for written, better in (item for one, changes in ADVICE if one == code for item in changes.items()):
        before, after = (list(map(float, numbers(text))) for text in (written, better))
        known += after + [abs(one - two) for one, two in zip(before, after, strict=False)]
    known += DERIVED.get(code, ())
    for number in numbers(re.sub(r"`[^`]*`", "", WORDS[code])):
        digits = len(number.partition(".")[2])
        assert any(round(value, digits) == float(number) for value in known), f"{number}: {WORDS[code]}"


def test_numbers_that_are_worked_out_from_others():
    (turns,) = (finding.message for finding in found("closes-flat") if finding.code == "through-host")
    (drawn,) = DERIVED["closes-flat"]
    assert 0.0 < drawn - float(re.search(r"to ([\d.]+) degrees", turns)[1]) < 1.0
    assert drawn == draw_checks.PICTURES["closes-flat"][0].opening
    # Half a degree of opening, in degrees of the wall.
    assert DERIVED["snaps"] == (round(own("snaps")[0].measure / 2),)


# --- bound books ---------------------------------------------------------------------------------------------------

#: In which file of a book what is written otherwise mends it.
BOOK_ADVICE = [
    ("leaf-collides", "bound/outside.toml", {'side = "mountain"': 'side = "valley"'}),
    ("leaf-glue", "bound/step.toml", {"width = 40": "width = 18"}),
    ("leaf-glue", "leaf-glue.toml", {"bound/wheel": "bound/first", "bound/step": "bound/wheel"}),
]


def wrong(book):
    """What its check finds, but for notes."""
    return [finding for finding in check_binding(book) if finding.severity != "note"]


@pytest.mark.parametrize("code", draw_checks.BOOK_PICTURES)
def test_the_book_fails_just_that_check_and_the_words_have_its_measure(code):
    errors = wrong(draw_checks.book_of(code))
    assert {finding.code for finding in errors} == {code}
    worst = max(errors, key=lambda finding: finding.measure)
    figure = {"leaf-collides": f"at the most {worst.measure:.1f} mm deep", "leaf-glue": f"on {worst.measure:.0f} mm²"}
    assert figure[code] in WORDS[code]


def test_the_wall_goes_through_the_left_page_and_both_boards():
    through = {finding.other for finding in wrong(draw_checks.book_of("leaf-collides"))}
    assert {"plain/page.left", "cover/front", "cover/back"} <= through


@pytest.mark.parametrize(("code", "file", "changes"), BOOK_ADVICE)
def test_what_the_page_advises_mends_the_book(code, file, changes, tmp_path):
    shutil.copytree(draw_checks.FAULTY, tmp_path, dirs_exist_ok=True)
    shutil.copy(tmp_path / "bound/step.toml", tmp_path / "bound/first.toml")
    text = (tmp_path / file).read_text(encoding="utf-8")
    for written, better in changes.items():
        assert text.count(written) == 1
        text = text.replace(written, better)
    (tmp_path / file).write_text(text, encoding="utf-8")
    assert wrong(read_bound(tmp_path / f"{code}.toml")) == []
