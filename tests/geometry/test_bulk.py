"""Bulk: exact regions of the closed page, their layers counted one by one with shapely."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import Point, Polygon, box

from geometry import assemble, parse_description, read_description
from geometry.checks.bulk import bulk_map, check_bulk
from geometry.figures import figures_data
from geometry.tolerances import TOUCH_MM
from tests.geometry import corpus
from tests.geometry.scene_texts import FILES, HEAD, HILL, SCENES, WRONG, rider_on, tent

PATHS = [*FILES, *corpus.SOUND[::4]]
IDS = [path.stem for path in PATHS]


def spread_of(text):
    return assemble(parse_description(text))


def closed_panels(spread):
    """Outline and caliper of every panel on the closed page, by a way of its own; of a solid only the foot is there."""
    spread = spread.folding
    motion = spread.pose([0.0])
    for panel in spread.panels.values():
        matrix = motion.matrices[panel.id][0]
        rings = [
            (np.asarray(ring.coords) @ matrix[:2, :2].T + matrix[:2, 3])
            for ring in (panel.outline.exterior, *panel.outline.interiors)
        ]
        yield Polygon(rings[0], rings[1:]), spread.piece(panel.piece).stock.caliper_mm


def layers_at(panels, point):
    """How many panels lie over a point of the closed page, and how thick they are."""
    calipers = [caliper for outline, caliper in panels if outline.contains(point)]
    return len(calipers), sum(calipers)


def points_in(outline, count, rng):
    """Random points of a region that are not within 0.01 mm of its border."""
    inner = outline.buffer(-0.01)
    low_x, low_y, high_x, high_y = outline.bounds
    tried = shapely.points(rng.uniform((low_x, low_y), (high_x, high_y), size=(20 * count, 2)))
    return list(tried[shapely.contains(inner, tried)][:count])


@pytest.mark.parametrize("path", PATHS, ids=IDS)
def test_layers_of_every_region_are_those_counted_one_by_one(path):
    spread = assemble(read_description(path))
    panels = list(closed_panels(spread))
    rng = np.random.default_rng(3)
    counted = 0
    for region in bulk_map(spread).regions:
        for point in points_in(region.outline, 8, rng):
            count, thick = layers_at(panels, point)
            assert region.layers == count
            assert region.thickness_mm == pytest.approx(thick, abs=1e-6)
            counted += 1
    assert counted >= 8


@pytest.mark.parametrize("path", PATHS, ids=IDS)
def test_regions_cover_the_page_once_and_hold_all_card(path):
    spread = assemble(read_description(path))
    page = box(0.0, 0.0, *spread.page_size_mm)
    regions = bulk_map(spread).regions
    outlines = [region.outline for region in regions]
    assert sum(outline.area for outline in outlines) == pytest.approx(page.area, abs=0.01)
    assert shapely.union_all(outlines).symmetric_difference(page).area == pytest.approx(0.0, abs=0.01)
    card = sum(outline.intersection(page).area for outline, _ in closed_panels(spread))
    # Corners snap to a tenth of a micrometre, so that areas are off by a fraction of that for each mm of border.
    slack = TOUCH_MM * sum(outline.length for outline, _ in closed_panels(spread))
    assert sum(region.layers * region.outline.area for region in regions) == pytest.approx(card, abs=slack)


@pytest.mark.parametrize("path", PATHS, ids=IDS)
def test_the_worst_place_is_the_thickest_and_lies_in_its_region(path):
    spread = assemble(read_description(path))
    bulk, panels = bulk_map(spread), list(closed_panels(spread))
    assert bulk.worst.outline.contains(Point(bulk.worst.place_mm))
    rng = np.random.default_rng(5)
    # The place itself may lie on a crease, where one panel ends and the next begins.
    for beside in np.add(bulk.worst.place_mm, rng.uniform(-1e-3, 1e-3, size=(8, 2))):
        assert layers_at(panels, Point(beside))[0] == bulk.worst.layers
    for x, y in rng.uniform((0.0, 0.0), spread.page_size_mm, size=(300, 2)):
        assert layers_at(panels, Point(x, y))[1] <= bulk.worst.thickness_mm + 1e-9


def test_regions_are_joined_where_the_same_card_lies():
    """A step of two slits from 50 to 90 mm, its panels 30 mm wide: they fold out to 60 mm and leave a window."""
    spread = assemble(read_description(next(path for path in FILES if path.stem == "cut-in-step")))
    found = {(region.layers, region.outline.bounds): region.outline.area for region in bulk_map(spread).regions}
    assert found == pytest.approx(
        {
            (4, (30.0, 50.0, 60.0, 90.0)): 1200.0,
            (2, (0.0, 0.0, 100.0, 140.0)): 100.0 * 140.0 - 2400.0,
            (0, (0.0, 50.0, 30.0, 90.0)): 1200.0,
        }
    )


def test_one_layer_of_the_page_and_one_of_the_strip_are_joined_to_the_two_pages():
    """A step 40 mm long, 18 mm wide on the left page, 32 on the right: its panels are 32 and 18 wide, up to 50 mm."""
    spread = assemble(read_description(next(path for path in FILES if path.stem == "cut-in-unequal-step")))
    found = {region.layers: region.outline.area for region in bulk_map(spread).regions}
    assert found == pytest.approx({0: 40.0 * 18.0, 4: 40.0 * (50.0 - 32.0), 2: 140.0 * 100.0 - 2 * 40.0 * 18.0})
    assert len(bulk_map(spread).regions) == 3


def test_a_tent_by_hand():
    """base 30, height 40: the panels reach from 30 to 70, the tabs behind them; nowhere do panel and tab overlap."""
    bulk = bulk_map(spread_of(HEAD + tent("roof", body="at = 60; length = 50; base = 30; height = 40")))
    assert (bulk.worst.layers, bulk.worst.thickness_mm, bulk.gusset_mm) == (4, pytest.approx(1.2), pytest.approx(0.6))
    _, low, right, high = bulk.worst.outline.bounds
    assert (low, right, high) == pytest.approx((60.0, 70.0, 110.0))
    assert {region.layers for region in bulk.regions} == {2, 4}


def test_a_sheet_of_two_pages_has_two_layers_and_needs_no_spine():
    bulk = bulk_map(spread_of(HEAD))
    assert [(region.layers, region.thickness_mm) for region in bulk.regions] == [(2, pytest.approx(0.6))]
    assert bulk.worst.outline.equals(box(0.0, 0.0, 148.0, 210.0))
    assert bulk.gusset_mm == 0.0
    assert bulk.left_out == ()


def test_edges_that_meet_but_for_rounding_leave_no_slivers():
    for name in ("cut-in beak on a tab", "cut-in in a beak", "v-folds on a beak's hinges"):
        for region in bulk_map(spread_of(SCENES[name])).regions:
            assert shapely.maximum_inscribed_circle(region.outline, tolerance=1e-5).length > 100 * TOUCH_MM


def test_riders_side_by_side_that_overlap_by_rounding_are_not_counted_twice():
    """In exact numbers they share an edge; here the second begins 0.00006 mm before the first ends."""
    riders = rider_on("one", "page.right", "at = [40, 60]; size = [30, 30]")
    riders += rider_on("two", "page.right", "at = [69.99994, 60]; size = [30, 30]")
    bulk = bulk_map(spread_of(HEAD + riders))
    assert bulk.worst.layers == 3
    assert {region.layers for region in bulk.regions} == {2, 3}


@pytest.mark.parametrize("path", [*corpus.FAULTY, *corpus.SOUND], ids=lambda path: path.stem)
def test_no_region_is_narrower_than_a_tenth_of_a_micrometre(path):
    for region in bulk_map(assemble(read_description(path))).regions:
        assert 2.0 * region.outline.area > TOUCH_MM * region.outline.length


def test_the_measure_follows_the_caliper():
    body = tent("roof", body="at = 60; length = 50; base = 30; height = 40")
    text = (HEAD + body).replace("caliper = 0.3", "caliper = 1.6")
    spread = spread_of(text)
    (finding,) = check_bulk(spread)
    assert finding.measure == pytest.approx(4 * 1.6)
    assert finding.place_mm is not None
    assert layers_at(list(closed_panels(spread)), Point(finding.place_mm))[0] == 4
    assert "4 layers, 6.4 mm thick" in finding.message
    assert check_bulk(spread_of(text + "[checks]\nbulk = 6.5\n")) == []


@pytest.mark.parametrize("name", list(SCENES)[::6])
def test_the_spine_is_as_wide_as_what_lies_between_the_pages(name):
    spread = spread_of(SCENES[name])
    bulk = bulk_map(spread)
    assert 0 <= bulk.gusset_mm <= bulk.worst.thickness_mm
    outside = any(area.face == "back" and area.host.startswith("page.") for area in spread.glue_areas)
    strips = any(panel.role == "strip" for panel in spread.panels.values())
    if not outside and not strips and len(spread.panels) > 2:
        assert bulk.gusset_mm == pytest.approx(bulk.worst.thickness_mm - 2 * 0.3)


def test_what_is_glued_outside_of_a_page_lies_not_between_the_pages():
    shape = "at = [40, 60]; size = [30, 30]"
    for face, gusset in (("front", 0.3), ("back", 0.0)):
        bulk = bulk_map(spread_of(HEAD + rider_on("card", "page.right", f'{shape}; face = "{face}"')))
        assert (bulk.worst.layers, bulk.worst.thickness_mm) == (3, pytest.approx(0.9))
        assert bulk.gusset_mm == pytest.approx(gusset)


def test_panels_that_jam_before_are_named_and_not_counted():
    bulk = bulk_map(spread_of(HEAD + WRONG["jams"][0]))
    assert bulk.left_out
    assert not [name for name in bulk.left_out if name.startswith("page.")]
    assert bulk.worst.layers >= 2


def test_the_figures_say_the_same_as_the_map():
    spread = spread_of(HEAD + HILL)
    bulk, data = bulk_map(spread), figures_data(spread)["bulk"]
    assert (data["layers"], data["thickness_mm"], data["gusset_mm"]) == (
        bulk.worst.layers,
        bulk.worst.thickness_mm,
        bulk.gusset_mm,
    )
    assert tuple(data["place_mm"]) == bulk.worst.place_mm
    assert len(data["regions"]) == len(bulk.regions)
    for entry, region in zip(data["regions"], bulk.regions, strict=True):
        assert (entry["layers"], entry["thickness_mm"]) == (region.layers, region.thickness_mm)
        assert entry["area_mm2"] == pytest.approx(region.outline.area)
        assert entry["bounds"] == pytest.approx(region.outline.bounds)
