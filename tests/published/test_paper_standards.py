"""Paper against its standards.

Sources: ISO 216:2007, table of trimmed sizes of the A and B series (mm; recalled); ISO 536 grammage and ISO 534
thickness: thickness in micrometres = grammage in g/m^2 x bulk in cm^3/g. A sheet weighs area x grammage: A4 at 250
g/m^2 15.59 g.
"""

from __future__ import annotations

import numpy as np
import pytest

from geometry import assemble, parse_description
from geometry.paper import caliper_mm, iso_216_size

ISO_216_MM = {
    "A0": (841, 1189), "A1": (594, 841), "A2": (420, 594), "A3": (297, 420), "A4": (210, 297), "A5": (148, 210),
    "A6": (105, 148), "A7": (74, 105), "A8": (52, 74), "A9": (37, 52), "A10": (26, 37),
    "B0": (1000, 1414), "B1": (707, 1000), "B2": (500, 707), "B3": (353, 500), "B4": (250, 353), "B5": (176, 250),
    "B6": (125, 176), "B7": (88, 125), "B8": (62, 88), "B9": (44, 62), "B10": (31, 44),
}  # fmt: skip


@pytest.mark.parametrize("name", ISO_216_MM)
def test_sizes_are_those_of_the_table(name):
    assert iso_216_size(name) == ISO_216_MM[name]


@pytest.mark.parametrize("series", "AB")
def test_sides_are_in_the_ratio_of_the_square_root_of_two(series):
    for number in range(7):
        width, height = iso_216_size(f"{series}{number}")
        assert height / width == pytest.approx(np.sqrt(2.0), rel=0.006)


@pytest.mark.parametrize(
    ("grammage", "bulk", "micrometres"), [(250, 1.2, 300), (80, 1.25, 100), (300, 0.93, 279), (350, 1.3, 455)]
)
def test_thickness_is_grammage_times_bulk(grammage, bulk, micrometres):
    assert caliper_mm(grammage, bulk) * 1000 == pytest.approx(micrometres)


def test_a_measured_caliper_overrides_the_bulk():
    text = 'format = 1\n[page]\nsize = "A5"\n[stock.card]\ngrammage = 250\nbulk = 1.2\n'
    assert parse_description(text).stocks["card"].caliper_mm == pytest.approx(0.3)
    assert parse_description(text + "caliper = 0.27\n").stocks["card"].caliper_mm == 0.27


def test_an_a4_sheet_of_250_grams_weighs_15_59_grams():
    """The page card of an A5 book is one A4 sheet; weighed as its panels' area times its stock's grammage."""
    spread = assemble(parse_description('format = 1\n[page]\nsize = "A5"\n[stock.card]\ngrammage = 250\n'))
    card = spread.piece("page")
    area_m2 = sum(spread.panels[panel].outline.area for panel in card.panels) * 1e-6
    assert area_m2 == pytest.approx(0.148 * 2 * 0.210)
    width, height = iso_216_size("A4")
    assert width * height * 1e-6 * card.stock.grammage_gsm == pytest.approx(15.59, abs=0.005)
