"""Layers and thickness of the closed spread, panel by panel."""

from __future__ import annotations

import numpy as np
import pytest

from geometry import assemble, parse_description
from geometry.checks.bulk import bulk_map
from geometry.design.lying import layer_numbers, thicknesses_mm
from geometry.layers import pile_of
from tests.geometry.scene_texts import FILES, HEAD, ROOT, SCENES, tent, v_fold

TEXTS = {**SCENES, **{file.name: file.read_text(encoding="utf-8") for file in FILES}}


def spread_of(text):
    return assemble(parse_description(text, folder=ROOT / "scenes"))


@pytest.mark.parametrize("name", TEXTS)
def test_what_lies_above_has_the_higher_number(name):
    spread = spread_of(TEXTS[name])
    numbers, pile = layer_numbers(spread), pile_of(spread)
    assert set(numbers) == set(pile.panels)
    assert min(numbers.values()) == 1
    for face in range(len(pile.faces)):
        rows = np.flatnonzero(pile.covers[:, face])
        order = rows[np.argsort(pile.heights[rows, face])]
        # What is slid or turned within its host's plane, and the card glued over it, lie at one height.
        apart = np.diff(pile.heights[order, face]) > 1e-5
        assert (np.diff([numbers[pile.panels[row]] for row in order])[apart] > 0).all()


def test_layers_of_a_v_fold():
    """From the bottom: right page, right panel with its tab before it, left panel with its tab, left page."""
    panels = {"hill.right": 2, "hill.right.tab": 2, "hill.left": 3, "hill.left.tab": 3}
    assert layer_numbers(spread_of(HEAD + v_fold("hill"))) == {"page.right": 1, **panels, "page.left": 4}


@pytest.mark.parametrize("name", [file.name for file in FILES])
def test_thickness_lies_between_that_of_the_thinnest_and_the_thickest_place(name):
    spread = spread_of(TEXTS[name])
    found, regions = thicknesses_mm(spread), bulk_map(spread).regions
    thick = [region.thickness_mm for region in regions]
    assert all(min(thick) - 1e-6 <= value <= max(thick) + 1e-6 for value in found.values())


def test_thickness_of_the_page_is_the_mean_of_the_map():
    spread = spread_of(HEAD + tent("roof"))
    regions = bulk_map(spread).regions
    mean = sum(region.thickness_mm * region.outline.area for region in regions) / (148 * 210)
    found = thicknesses_mm(spread)
    assert found["page.right"] == pytest.approx(mean, abs=1e-4)
    assert found["roof.left"] > found["page.right"]
