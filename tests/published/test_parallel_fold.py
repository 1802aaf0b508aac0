"""Tents against the conditions of the parallel fold.

Source: J. O'Rourke and S. Spasova, Smith College, 2005, on pop-up cards: with A and D from the spine to the two glue
lines on the pages, and B and C the panels that meet in the ridge, the fold closes flat where A + B = C + D, opens to
180 degrees where A + D <= B + C, and stays inside the closed book where A + B <= the width of the page.

Tested through the whole chain: a description in TOML, assembled, and the three checks run on it.
"""

from __future__ import annotations

from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from geometry import assemble, parse_description
from geometry.checks import run_checks

PAGE_MM = 148
SETTINGS = settings(max_examples=150, deadline=None, derandomize=True, database=None)
#: Sizes as people write them: tenths of a millimetre.
SIZE = st.integers(min_value=80, max_value=900).map(lambda tenths: tenths / 10)
#: How far from the condition, well above rounding.
OFF = st.sampled_from([-5.0, -1.0, -0.1, -0.01, 0.0, 0.01, 0.1, 1.0, 5.0])


def codes(a, b, c, d, extra=""):
    """The findings on a tent with A, B, C, D as the spine's left base, left panel, right panel, right base."""
    text = (
        f"format = 1\n[page]\nsize = [{PAGE_MM}, 210]\n"
        '[[mechanism]]\nkind = "tent"\nid = "tent"\nfold = "spine"\nat = 60\n'
        f"length = 50\nbase_left = {a!r}\nbase_right = {d!r}\nheight_left = {b!r}\nheight_right = {c!r}\n{extra}"
    )
    return {finding.code for finding in run_checks(assemble(parse_description(text)))}


@SETTINGS
@given(SIZE, SIZE, SIZE, OFF)
@example(40.0, 40.0, 20.0, 0.01)
@example(30.0, 40.0, 30.0, 0.01)
@example(30.0, 40.0, 30.0, -0.01)
def test_it_closes_flat_exactly_where_a_plus_b_is_c_plus_d(a, b, d, off):
    c = round(a + b - d + off, 2)
    assume(c > 1.0)
    # The ridge of a mirrored fold would lie at A - B = D - C: another mechanism, which closes flat as well.
    assume(abs((a - b) - (d - c)) > 1e-6)
    assert ("closes-flat" in codes(a, b, c, d)) == (abs((a + b) - (c + d)) > 1e-9)


@SETTINGS
@given(SIZE, SIZE, SIZE, OFF)
def test_it_opens_to_180_exactly_where_a_plus_d_is_at_most_b_plus_c(a, b, d, off):
    """On folds that close flat, made so by C = A + B - D, with B set so that the sum is near the condition."""
    b = round(d + off / 2, 3)
    c = round(a + b - d, 3)
    assume(b > 1.0 and c > 1.0)
    assert ("opens-fully" in codes(a, b, c, d)) == (a + d > b + c + 1e-9)


@SETTINGS
@given(SIZE, SIZE, SIZE)
def test_any_sizes_open_to_180_exactly_where_a_plus_d_is_at_most_b_plus_c(a, b, d):
    c = round(a + b - d, 1)
    assume(c > 1.0)
    assert ("opens-fully" in codes(a, b, c, d)) == (a + d > b + c + 1e-9)


@SETTINGS
@given(SIZE, SIZE, OFF)
def test_it_stays_inside_exactly_where_a_plus_b_is_at_most_the_page(a, d, off):
    b = round(PAGE_MM - a + off, 2)
    c = round(a + b - d, 2)
    assume(b > 1.0 and c > 1.0)
    assert ("stays-inside" in codes(a, b, c, d)) == (a + b > PAGE_MM + 1e-9)


@SETTINGS
@given(SIZE, SIZE, SIZE)
def test_left_out_panels_follow_from_the_first_condition(a, b, d):
    assume(a + b - d > 1.0)
    text = (
        f"format = 1\n[page]\nsize = [{PAGE_MM}, 210]\n"
        '[[mechanism]]\nkind = "tent"\nid = "tent"\nfold = "spine"\nat = 60\n'
        f"length = 50\nbase_left = {a!r}\nbase_right = {d!r}\nheight_left = {b!r}\n"
    )
    spread = assemble(parse_description(text))
    assert abs(spread.cells[0].cell.width_right - (a + b - d)) < 1e-9
    assert "closes-flat" not in {finding.code for finding in run_checks(spread)}
