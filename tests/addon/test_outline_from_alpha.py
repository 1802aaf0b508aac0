"""A cut silhouette from alpha: what is cut follows what is opaque; hinges and the artwork stay where they are."""

import numpy as np
import pytest
import shapely
from shapely import Point, Polygon, box

from tests.addon.painted_books import text

DESCRIPTION = """
format = 1
title = "Figures"
[page]
size = [150, 210]
[stock.card]
[[mechanism]]
kind = "v-fold"
id = "hill"
fold = "spine"
at = 60
angle = 50
height = 60
art_front = "hill.png"
[[mechanism]]
kind = "rider"
id = "sun"
panel = "page.right"
at = [90, 160]
size = [50, 50]
art_front = "sun.png"
"""
#: On their nets, mm.
HILL = shapely.union_all([Point(0, 30).buffer(25), box(-50, -5, 50, 22), Point(30, 30).buffer(14)])
SUN = Polygon(Point(0, 0).buffer(20).exterior, [Point(4, 3).buffer(5).exterior.coords])


def paint(file, shape, bounds, *, pixels_per_mm=8):
    """Write what is inside a shape on a net as a picture that fills a box, its edges smooth."""
    from PIL import Image

    left, low, right, high = bounds
    width, height = round((right - left) * pixels_per_mm), round((high - low) * pixels_per_mm)
    fine = 3
    across = left + (np.arange(fine * width) + 0.5) * (right - left) / (fine * width)
    down = high - (np.arange(fine * height) + 0.5) * (high - low) / (fine * height)
    shapely.prepare(shape)
    inside = shapely.contains_xy(shape, *(each.ravel() for each in np.meshgrid(across, down)))
    alpha = inside.reshape(height, fine, width, fine).mean(axis=(1, 3))
    picture = np.dstack([np.full((height, width, 3), 120.0), 255 * alpha]).round().astype(np.uint8)
    Image.fromarray(picture).save(file)


@pytest.fixture
def book(bpy, tmp_path):
    from geometry import assemble, parse_description
    from geometry.artwork import art_box

    spread = assemble(parse_description(DESCRIPTION, folder=tmp_path))
    for name, shape in (("hill", HILL), ("sun", SUN)):
        paint(tmp_path / f"{name}.png", shape, art_box(spread, name))
    file = tmp_path / "figures.toml"
    file.write_text(DESCRIPTION)
    bpy.ops.hingeleaf.open_description(filepath=str(file), studio=False)
    return bpy.context.view_layer.objects.active


def built(root):
    from geometry import assemble, parse_description

    return assemble(parse_description(text(root)))


def activate(bpy, rig, root, panel):
    bpy.context.view_layer.objects.active = rig.panels(root)[panel]


def test_a_rider_is_cut_along_its_figure_with_its_window(bpy, book, rig):
    activate(bpy, rig, book, "sun")
    assert bpy.ops.hingeleaf.outline_from_alpha(tolerance=0.15) == {"FINISHED"}
    outline = built(book).panels["sun"].outline
    assert len(outline.interiors) == 1
    assert shapely.hausdorff_distance(outline.exterior, SUN.exterior, densify=0.02) < 0.15
    assert shapely.hausdorff_distance(outline.interiors[0], SUN.interiors[0], densify=0.02) < 0.15
    corners = 1000 * np.array([tuple(vertex.co) for vertex in rig.panels(book)["sun"].data.vertices])
    assert np.hypot(*corners[:, :2].T).max() == pytest.approx(20.0, abs=0.2)


def test_a_v_fold_keeps_its_hinges(bpy, book, rig):
    before = built(book)
    activate(bpy, rig, book, "hill.right")
    bpy.ops.hingeleaf.outline_from_alpha()
    after = built(book)
    for hinge in before.hinges:
        same = next(other for other in after.hinges if other.id == hinge.id)
        assert np.allclose(same.lines, hinge.lines, atol=1e-6), hinge.id
    card = shapely.union_all([after.panels[f"hill.{side}"].outline for side in ("left", "right")])
    free = card.boundary.difference(box(-100, -100, 100, 3)).difference(box(-0.1, 0, 0.1, 100))
    # Away from the strips that stay along the hinges, the border of the card is the border of the figure.
    glue = shapely.union_all([shapely.LineString(line) for hinge in after.hinges for line in hinge.lines])
    places = shapely.points(shapely.get_coordinates(shapely.segmentize(free.difference(glue.buffer(3.0)), 0.5)))
    assert len(places) > 100
    assert shapely.distance(places, HILL.boundary).max() < 0.2


def test_the_artwork_stays_where_it_was(bpy, book, rig):
    """The outline shrinks and the box about it with it; the picture must not."""
    from geometry.artwork import art_box

    before = {name: art_box(built(book), name) for name in ("hill", "sun")}
    for panel in ("sun", "hill.left"):
        activate(bpy, rig, book, panel)
        bpy.ops.hingeleaf.outline_from_alpha()
    after = built(book)
    for name, bounds in before.items():
        assert art_box(after, name) == pytest.approx(bounds, abs=1e-4)
    layer = rig.panels(book)["sun"].data.uv_layers[0].data
    mesh = rig.panels(book)["sun"].data
    left, low, right, high = before["sun"]
    for face in mesh.polygons:
        if face.material_index == 0:
            for loop in face.loop_indices:
                x, y, _ = 1000 * mesh.vertices[mesh.loops[loop].vertex_index].co
                place = (x - left) / (right - left), (y - low) / (high - low)
                assert tuple(layer[loop].uv) == pytest.approx(place, abs=2e-5)


def test_what_is_on_the_back_is_traced_as_seen_from_behind(bpy, book, rig, tmp_path):
    from geometry.artwork import art_box

    shape = Point(8, 0).buffer(14)
    paint(tmp_path / "behind.png", shape, art_box(built(book), "sun"))
    activate(bpy, rig, book, "sun")
    bpy.ops.hingeleaf.assign_artwork(filepath=str(tmp_path / "behind.png"), face="back")
    bpy.ops.hingeleaf.outline_from_alpha(face="back")
    assert built(book).panels["sun"].outline.centroid.x == pytest.approx(-8.0, abs=0.1)


def test_one_step_of_undo(bpy, book, rig):
    activate(bpy, rig, book, "sun")
    before, name = text(book), book.name
    bpy.ops.ed.undo_push(message="base")
    bpy.ops.hingeleaf.outline_from_alpha("EXEC_DEFAULT", True)
    assert "outline" in text(bpy.data.objects[name])
    bpy.ops.ed.undo()
    assert text(bpy.data.objects[name]) == before


def test_a_coarser_tolerance_is_taken_at_its_word(bpy, book, rig):
    activate(bpy, rig, book, "sun")
    apart = []
    for tolerance in (0.15, 2.0):
        bpy.ops.hingeleaf.outline_from_alpha(tolerance=tolerance, feature=0.0)
        outline = built(book).panels["sun"].outline
        apart.append(shapely.hausdorff_distance(outline.exterior, SUN.exterior, densify=0.02))
    assert apart[0] < 0.15
    assert 0.15 < apart[1] < 2.0


@pytest.mark.parametrize(
    ("picture", "words"),
    [
        ("opaque", "opaque throughout"),
        ("clear", "clear throughout"),
        ("without", "has no alpha"),
        ("dot", "nothing"),
        ("none", "There is no artwork on the back"),
    ],
)
def test_what_cannot_be_traced_is_said_and_changes_nothing(bpy, book, rig, tmp_path, picture, words):
    from PIL import Image

    activate(bpy, rig, book, "sun")
    if picture != "none":
        image = Image.new("RGBA", (200, 200), (9, 9, 9, 255 if picture == "opaque" else 0))
        if picture == "dot":
            image.putpixel((100, 100), (9, 9, 9, 255))
        image = image.convert("RGB") if picture == "without" else image
        image.save(tmp_path / "other.png")
        bpy.ops.hingeleaf.assign_artwork(filepath=str(tmp_path / "other.png"), face="back")
    before = text(book)
    with pytest.raises(RuntimeError, match=words):
        bpy.ops.hingeleaf.outline_from_alpha(face="back")
    assert text(book) == before
