"""Bulk: layers counted one by one with shapely at points of the closed page."""

from __future__ import annotations

import numpy as np
import pytest
from shapely import Point, Polygon

from geometry import assemble, parse_description, read_description
from geometry.checks.bulk import bulk_map, check_bulk
from tests.geometry import corpus
from tests.geometry.scene_texts import FILES, HEAD, SCENES, tent


def layers_at(spread, x, y):
    """How many panels lie over a point of the closed page, and how thick they are; shapely, panel by panel."""
    motion = spread.pose([0.0])
    count, thick = 0, 0.0
    for panel in spread.panels.values():
        matrix = motion.matrices[panel.id][0]
        rings = [
            (np.asarray(ring.coords) @ matrix[:2, :2].T + matrix[:2, 3])
            for ring in (panel.outline.exterior, *panel.outline.interiors)
        ]
        if Polygon(rings[0], rings[1:]).contains(Point(x, y)):
            count += 1
            thick += spread.piece(panel.piece).stock.caliper_mm
    return count, thick


@pytest.mark.parametrize("path", [*FILES, *corpus.SOUND[::4]], ids=lambda path: path.stem)
def test_layers_are_those_counted_one_by_one(path):
    spread = assemble(read_description(path))
    bulk = bulk_map(spread)
    rng = np.random.default_rng(3)
    rows, columns = rng.integers(len(bulk.y), size=60), rng.integers(len(bulk.x), size=60)
    top = np.unravel_index(int(np.argmax(bulk.thickness)), bulk.thickness.shape)
    for row, column in [*zip(rows, columns, strict=True), top]:
        count, thick = layers_at(spread, bulk.x[column], bulk.y[row])
        assert bulk.layers[row, column] == count
        assert bulk.thickness[row, column] == pytest.approx(thick)


def test_a_sheet_of_two_pages_has_two_layers_and_needs_no_spine():
    bulk = bulk_map(assemble(parse_description(HEAD)))
    assert (bulk.layers == 2).all()
    assert bulk.gusset_mm == 0.0
    assert bulk.layers.shape == (210, 148)


def test_every_map_adds_up_to_the_area_of_the_card():
    """Cells of 1 mm: their number is the area, but for the border's rounding."""
    spread = assemble(parse_description(HEAD + tent("roof", body="at = 60; length = 50; base = 30; height = 40")))
    area = sum(panel.outline.area for panel in spread.panels.values())
    assert bulk_map(spread).layers.sum() == pytest.approx(area, rel=2e-3)


def test_the_measure_follows_the_caliper():
    body = tent("roof", body="at = 60; length = 50; base = 30; height = 40")
    text = (HEAD + body).replace("caliper = 0.3", "caliper = 1.6")
    (finding,) = check_bulk(assemble(parse_description(text)))
    assert finding.measure == pytest.approx(4 * 1.6)
    assert finding.place_mm is not None
    assert layers_at(assemble(parse_description(text)), *finding.place_mm)[0] == 4
    assert check_bulk(assemble(parse_description(text + "[checks]\nbulk = 6.5\n"))) == []


@pytest.mark.parametrize("name", list(SCENES)[::6])
def test_the_spine_is_as_wide_as_what_lies_between_the_pages(name):
    spread = assemble(parse_description(SCENES[name]))
    bulk = bulk_map(spread)
    assert 0 <= bulk.gusset_mm <= bulk.thickness.max()
    if not any(panel.role == "strip" for panel in spread.panels.values()) and len(spread.panels) > 2:
        assert bulk.gusset_mm == pytest.approx(bulk.thickness.max() - 2 * 0.3)
