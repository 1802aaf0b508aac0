"""Hidden surfaces against rays, one point at a time, with nothing of the code's own clipping."""

from functools import cache
from itertools import pairwise

import numpy as np
import pytest
import shapely

from geometry import assemble, read_description
from geometry.booklet.hidden import Camera, lifts, see
from geometry.booklet.plan import assembly_steps
from geometry.booklet.states import flat, lying, standing
from geometry.booklet.steps import Mark, SpreadPicture
from geometry.booklet.view import best_view, draw_view
from geometry.booklet.write import booklet_bytes
from tests.geometry import corpus
from tests.geometry.scene_texts import FILES

STEMS = [
    "low-tide",
    "box",
    "scenery",
    "pull-strip",
    "accordion",
    "tab-through-a-slot",
    "wheel",
    "strap-between-v-folds",
]
CAMERAS = [Camera(np.radians(-20.0), np.radians(42.0)), Camera(np.radians(115.0), np.radians(30.0))]


@cache
def spread_of(stem):
    return assemble(read_description(next(path for path in FILES if path.stem == stem)))


def inside(ring, point):
    """Whether a ring winds round a point an odd number of times, by counting crossings."""
    odd = False
    for (x0, y0), (x1, y1) in pairwise(ring):
        if (y0 > point[1]) != (y1 > point[1]) and point[0] < x0 + (point[1] - y0) / (y1 - y0) * (x1 - x0):
            odd = not odd
    return odd


def hits(spread, matrices, camera, point):
    """Depths at which a ray through a point of the picture meets panels, by name."""
    right, up, towards = camera.axes
    start = point[0] * right + point[1] * up
    found = {}
    for name, matrix in matrices.items():
        normal = matrix[:3, 2]
        slope = normal @ towards
        if abs(slope) < 2e-3:
            continue
        depth = normal @ (matrix[:3, 3] - start) / slope
        net = (matrix[:3, :3].T @ (start + depth * towards - matrix[:3, 3]))[:2]
        outline = spread.panels[name].outline
        rings = [np.asarray(ring.coords) for ring in (outline.exterior, *outline.interiors)]
        if sum(inside(ring, net) for ring in rings) % 2:
            found[name] = depth
    return found


@pytest.mark.parametrize("stem", STEMS)
@pytest.mark.parametrize("camera", CAMERAS, ids=["reader", "behind"])
@pytest.mark.parametrize("opening", [40.0, 125.0], ids=["half shut", "open"])
def test_visible_parts_are_what_rays_meet_first(stem, camera, opening):
    spread = spread_of(stem)
    matrices = standing(spread, np.radians(opening), lifted=0.2)
    seen = see({name: spread.panels[name].outline for name in matrices}, matrices, camera, lifts(spread, matrices))
    every = shapely.union_all([each.outline for each in seen], grid_size=1e-6)
    assert sum(each.visible.area for each in seen) == pytest.approx(every.area, rel=1e-5)
    rng = np.random.default_rng(5)
    low, high = np.array(every.bounds).reshape(2, 2)
    edges = shapely.union_all([each.outline.boundary for each in seen] + [each.visible.boundary for each in seen])
    points = rng.uniform(low, high, (200, 2))
    points = points[shapely.distance(shapely.points(points), edges) > 0.02]
    checked = 0
    for point in points:
        depths = hits(spread, matrices, camera, point)
        shown = [each.panel for each in seen if shapely.contains_xy(each.visible, *point)]
        assert len(shown) == bool(depths)
        if depths:
            # Card that lies on card is as near as its host.
            assert depths[shown[0]] > max(depths.values()) - 0.05
            checked += 1
    assert checked > 30


@pytest.mark.parametrize("stem", STEMS)
def test_card_on_card_lies_on_the_face_it_is_glued_to(stem):
    spread = spread_of(stem)
    matrices = standing(spread, np.radians(125.0))
    for camera in CAMERAS:
        seen = see({name: spread.panels[name].outline for name in matrices}, matrices, camera, lifts(spread, matrices))
        shown = {each.panel: each for each in seen}
        for area in spread.glue_areas:
            host, glued = shown[area.host], shown[area.glued]
            behind = glued if host.front != (area.face == "front") else host
            common = shapely.intersection(host.outline, glued.outline, grid_size=1e-6)
            hidden = shapely.intersection(behind.visible, common, grid_size=1e-6).area
            assert hidden < 0.02 * common.area + 0.05


def test_faces_tell_front_from_back():
    spread = spread_of("box")
    panels = ("page.left", "page.right")
    for back in (False, True):
        matrices = flat(spread, panels, back=back)
        seen = see({name: spread.panels[name].outline for name in panels}, matrices, Camera(0.0, np.pi / 2), {})
        assert [each.front for each in seen] == [not back, not back]
        assert (seen[0].outline.centroid.x < 0.0) != back


def test_what_lies_folded_shut_lies_on_the_left_page():
    spread = spread_of("low-tide")
    own = spread.piece("hills").panels
    matrices = lying(spread, np.pi, own)
    for name in own:
        corners = np.asarray(spread.panels[name].outline.exterior.coords)
        there = corners @ matrices[name][:2, :2].T + matrices[name][:2, 3]
        height = corners @ matrices[name][2, :2] + matrices[name][2, 3]
        assert there[:, 0].max() < 0.5
        assert height.min() > -1e-6
        assert height.max() < 12.0


def test_places_with_glue_are_seen_and_named():
    spread = spread_of("low-tide")
    marks = tuple(Mark(area, True, area.glued) for area in spread.glue_areas if area.host == "page.left")
    picture = SpreadPicture("", "standing", np.radians(120.0), ("page.left", "page.right"), (), marks)
    view = best_view(spread, picture)
    for mark, part, share in view.marks:
        seen = next(each for each in view.seen if each.panel == "page.left")
        assert share == pytest.approx(1.0)
        assert part.area == pytest.approx(mark.area.outline.area * abs(seen.matrix[2, 2]), rel=1e-4)
    drawing = draw_view(spread, picture)
    assert {label.text for label in drawing.labels} == {mark.text for mark in marks}
    assert len(drawing.glue) == len(marks)


def test_a_place_on_the_other_face_is_not_drawn():
    spread = spread_of("tab-through-a-slot")
    marks = tuple(Mark(area, True, area.glued) for area in spread.glue_areas)
    pages = ("page.left", "page.right")
    assert not draw_view(spread, SpreadPicture("", "standing", np.pi, pages, (), marks)).glue
    assert len(draw_view(spread, SpreadPicture("", "standing", np.pi, pages, (), marks, over=True)).glue) == 2


@pytest.mark.parametrize("scene", ["sound/v-fold-45-45_5.toml", "faulty/hit-through-a-window.toml"])
def test_a_glued_part_that_only_touches_its_mark_along_a_line_is_drawn(scene):
    """What such a part shares with its own outline holds lines beside areas."""
    _, steps = booklet_bytes(assemble(read_description(corpus.FOLDER / scene)))
    assert steps > 4


@pytest.mark.parametrize("opening", [25.0, 120.0])
def test_nothing_thinner_than_a_line_is_seen(opening):
    """Rounding leaves slivers where edges fall on edges; drawn, they would be strokes across what hides them."""
    spread = spread_of("low-tide")
    picture = SpreadPicture("", "standing", np.radians(opening), tuple(spread.panels), moved=0.4)
    for each in best_view(spread, picture).seen:
        for part in shapely.get_parts(each.visible):
            assert part.area / part.length > 4e-4, each.panel


def test_the_demo_shows_where_all_its_glue_goes():
    spread = spread_of("low-tide")
    for step in assembly_steps(spread, []):
        for picture in step.pictures:
            if isinstance(picture, SpreadPicture) and picture.marks:
                assert best_view(spread, picture).shown(()) > 0.6, step.title
