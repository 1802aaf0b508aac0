"""Artwork of nets: textures where their coordinates say, never mirrored, with bleed; each colour in its own region."""

import dataclasses
import io

import numpy as np
import pytest
import shapely
from PIL import Image

from geometry import FileError, HingeleafError
from geometry.model import Stock
from geometry.unfold.artwork import painted, picture_frame
from geometry.unfold.coloring import PICTURE, printed_regions
from geometry.unfold.covering import covering_of
from geometry.unfold.data import Mesh, Surface
from geometry.unfold.drawing import DrawingOptions, drawn_nets
from geometry.unfold.facets import facets_of
from geometry.unfold.net_lines import net_lines
from geometry.unfold.tabs import joins_of
from geometry.unfold.unfolding import unfold_facets
from tests.geometry import unfold_meshes

CARD = Stock("card", 200.0, 0.26, "any", (1.0, 1.0, 1.0))
RED, BLUE = (0.8, 0.2, 0.1), (0.1, 0.3, 0.9)
#: A picture whose every pixel says where it is.
SIDE = 256


@pytest.fixture(scope="module")
def chart(tmp_path_factory):
    """A picture: red grows to the right, green upwards."""
    file = tmp_path_factory.mktemp("chart") / "chart.png"
    x, y = np.meshgrid(np.arange(SIDE), np.arange(SIDE)[::-1])
    Image.fromarray(np.stack([x, y, np.full_like(x, 90)], axis=-1).astype(np.uint8)).save(file)
    return str(file)


def textured(mesh, uv, file, *, surface_of=None, more=()):
    count = len(mesh.starts) - 1
    numbers = np.zeros(count, dtype=np.int64) if surface_of is None else np.asarray(surface_of)
    surfaces = (Surface("picture", (1.0, 1.0, 1.0), file), *more)
    return dataclasses.replace(mesh, surface_of=numbers, surfaces=surfaces, uv=np.asarray(uv, dtype=float))


def laid_over(mesh):
    """Texture coordinates of every corner: the model seen from a slant."""
    places = mesh.vertices[mesh.corners] @ np.array([[0.8, 0.1], [0.3, 0.5], [-0.2, 0.8]])
    low, high = places.min(axis=0), places.max(axis=0)
    return 0.1 + 0.8 * (places - low) / (high - low)


def cover_of(model, number=0):
    return covering_of(model.facets).on_net(model.nets[number])


def picture(model, number=0, *, dpi=150.0, bleed_mm=3.0):
    """The pixels of a net's picture, and what gives the pixel at a place of the net."""
    mesh, cover = model.facets.mesh, cover_of(model, number)
    frame = picture_frame(mesh, cover, dpi=dpi, bleed_mm=bleed_mm)
    made = painted(mesh, cover, frame, bleed_mm)
    with Image.open(io.BytesIO(made.data)) as image:
        pixels = np.asarray(image).astype(int)
    assert pixels.shape[:2] == (frame.height, frame.width) == (made.height, made.width)

    def at(places):
        x, y = np.floor(frame.pixels(np.asarray(places))).astype(int).T
        return pixels[y, x]

    return pixels, at


def expected(uv):
    """What the chart shows: half a pixel from the border it is evenly graded."""
    return np.column_stack([uv * SIDE - 0.5, np.full(len(uv), 90.0)])


@pytest.mark.parametrize("name", ["box", "icosphere", "star", "torus"])
def test_every_place_of_a_face_shows_what_its_coordinates_look_up(name, chart):
    made = getattr(unfold_meshes, name)()
    mesh = textured(made, laid_over(made), chart)
    model = unfold_facets(facets_of(mesh))
    rng = np.random.default_rng(3)
    for number, net in enumerate(model.nets):
        _, at = picture(model, number)
        for facet, placed in zip(net.facets.tolist(), net.placed, strict=True):
            frame = model.facets.frames[facet]
            for face in model.facets.source[facet].tolist():
                part = slice(mesh.starts[face], mesh.starts[face + 1])
                if part.stop - part.start > 4:
                    continue
                # Between three corners in a row, in space and in the texture.
                share = rng.dirichlet([2.0, 2.0, 2.0])
                place, uv = share @ mesh.vertices[mesh.corners[part][:3]], share @ mesh.uv[part][:3]
                flat = (place - frame[:3, 3]) @ frame[:3, :2] @ placed[:, :2].T + placed[:, 2]
                assert np.abs(at(flat[None]) - expected(uv[None])).max() < 3.5


def test_faces_that_are_not_flat_keep_to_their_own_facets(chart):
    made = unfold_meshes.terrain(5)
    model = unfold_facets(facets_of(textured(made, laid_over(made), chart)))
    cover = covering_of(model.facets)
    for facet, rings in enumerate(model.facets.flat):
        triangles = shapely.polygons(cover.flat[cover.facet == facet])
        own = shapely.Polygon(rings[0], rings[1:])
        assert shapely.area(triangles).sum() == pytest.approx(own.area, rel=1e-9)
        assert shapely.union_all(triangles).symmetric_difference(own).area < 1e-6 * own.area


def test_a_face_turned_over_shows_the_same_from_outside(chart):
    made = unfold_meshes.box()
    mesh = textured(made, laid_over(made), chart)
    # The same faces, half of them running the other way round in the file.
    corners, uv = mesh.corners.copy(), mesh.uv.copy()
    for face in (0, 3, 4):
        part = slice(mesh.starts[face], mesh.starts[face + 1])
        corners[part], uv[part] = corners[part][::-1], uv[part][::-1]
    turned = dataclasses.replace(mesh, corners=corners, uv=uv)
    found = []
    for each in (mesh, turned):
        model = unfold_facets(facets_of(each))
        _, at = picture(model)
        seen = {}
        for facet, placed in zip(model.nets[0].facets.tolist(), model.nets[0].placed, strict=True):
            frame, middle = model.facets.frames[facet], model.facets.flat[facet][0].mean(axis=0)
            place = np.round(frame[:3, :2] @ middle + frame[:3, 3], 6)
            seen[tuple(place)] = at((middle @ placed[:, :2].T + placed[:, 2])[None])[0]
        found.append(seen)
    assert found[0].keys() == found[1].keys()
    assert all(np.abs(found[0][place] - found[1][place]).max() <= 2 for place in found[0])


def test_bleed_goes_on_with_the_nearest_colour_of_the_rim(chart):
    made = unfold_meshes.box()
    model = unfold_facets(facets_of(textured(made, laid_over(made), chart)))
    _, at = picture(model, dpi=200.0)
    lines = net_lines(model, 0, joins_of(model), 0.0)
    rng = np.random.default_rng(5)
    facets = shapely.union_all(lines.facets)
    for start, end in lines.rims:
        along = (end - start) / np.hypot(*(end - start))
        out = np.array([along[1], -along[0]])
        for share, far in rng.uniform([0.1, 0.4], [0.9, 2.9], (6, 2)):
            foot = start + share * (end - start)
            place = foot + far * out
            if abs(shapely.Point(place).distance(facets) - far) > 1e-6:
                continue
            assert np.abs(at(place[None]) - at((foot - 0.3 * out)[None])).max() <= 8


def test_what_has_no_texture_is_not_smeared(chart):
    made = unfold_meshes.box()
    mesh = textured(made, laid_over(made), chart, surface_of=[0, -1, 1, 0, -1, 1], more=(Surface("red", RED),))
    model = unfold_facets(facets_of(mesh))
    drawings, _ = drawn_nets(model, joins_of(model), stock=CARD, title="box")
    (drawing,) = drawings
    lines = net_lines(model, 0, joins_of(model), 0.0)
    kinds = [mesh.surface_of[model.facets.source[facet][0]] for facet in model.nets[0].facets.tolist()]
    (fill,) = drawing.fills
    assert fill.color == RED
    for kind, shape in zip(kinds, lines.facets, strict=True):
        shown = {0: drawing.art.shown, 1: fill.shown}
        for number, region in shown.items():
            common = region.intersection(shape).area
            assert common == pytest.approx(shape.area if number == kind else 0.0, abs=1e-5)
    assert drawing.art.shown.intersection(fill.shown).area < 1e-5


@pytest.mark.parametrize("name", ["box", "star", "icosphere"])
def test_colours_lie_on_their_facets_and_bleed_to_the_nearest(name):
    made = getattr(unfold_meshes, name)()
    count = len(made.starts) - 1
    rng = np.random.default_rng(8)
    surfaces = (Surface("red", RED), Surface("blue", BLUE))
    mesh = dataclasses.replace(made, surface_of=rng.integers(-1, 2, count), surfaces=surfaces)
    model = unfold_facets(facets_of(mesh))
    for number, net in enumerate(model.nets):
        lines = net_lines(model, number, (), 0.0)
        regions = printed_regions(mesh, cover_of(model, number), lines.facets, lines.rims, 3.0)
        kinds = [mesh.surface_of[model.facets.source[facet]] for facet in net.facets.tolist()]
        own = np.array([each[0] if len(set(each.tolist())) == 1 else -2 for each in kinds])
        facets = np.array(lines.facets, dtype=object)
        for kind, color in ((0, RED), (1, BLUE)):
            wanted = shapely.union_all(facets[own == kind])
            assert wanted.is_empty or wanted.difference(regions[color]).area < 1e-4
            others = shapely.union_all(facets[(own != kind) & (own != -2)])
            assert color not in regions or regions[color].intersection(others).area < 1e-4
        # Beyond the outline: the nearest facet alone decides, but where two are about as near.
        low, high = np.array(shapely.union_all(facets).bounds).reshape(2, 2) + [[-3.0], [3.0]]
        points = shapely.points(rng.uniform(low, high, (4000, 2)))
        away = shapely.distance(points[:, None], facets[None])
        order = np.sort(away, axis=1)
        clear = (order[:, 0] > 0.05) & (order[:, 0] < 2.7) & (order[:, 1] - order[:, 0] > 0.3)
        clear &= own[np.argmin(away, axis=1)] != -2
        assert clear.sum() > 30
        for kind, color in ((0, RED), (1, BLUE)):
            inside = shapely.contains(regions.get(color, shapely.MultiPolygon()), points[clear])
            wrong = inside != (own[np.argmin(away, axis=1)][clear] == kind)
            assert wrong.mean() < 0.01


def test_a_picture_with_clear_places_lets_the_card_be_seen(tmp_path):
    pixels = np.full((64, 64, 4), (200, 40, 40, 255), dtype=np.uint8)
    pixels[:, 32:] = (0, 0, 0, 0)
    Image.fromarray(pixels).save(tmp_path / "half.png")
    made = unfold_meshes.box()
    uv = np.tile([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]], (6, 1))
    model = unfold_facets(facets_of(textured(made, uv, str(tmp_path / "half.png"))))
    found, _ = picture(model)
    assert found.shape[2] == 4
    solid = found[found[..., 3] == 255]
    # No black from the clear half is mixed in.
    assert len(solid)
    assert np.abs(solid[:, :3] - [200, 40, 40]).max() <= 1
    assert np.abs(found[found[..., 3] > 20][:, :3] - [200, 40, 40]).max() <= 12


def test_fine_pictures_are_averaged(tmp_path):
    # Squares of one pixel, black and white, far finer than what is printed: grey.
    x, y = np.meshgrid(np.arange(2048), np.arange(2048))
    Image.fromarray((255 * ((x + y) % 2)).astype(np.uint8)).save(tmp_path / "fine.png")
    made = unfold_meshes.box(10.0, 10.0, 10.0)
    uv = np.tile([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]], (6, 1))
    model = unfold_facets(facets_of(textured(made, uv, str(tmp_path / "fine.png"))))
    found, _ = picture(model, dpi=100.0, bleed_mm=0.0)
    shown = found[found[..., :3].max(axis=2) < 255]
    assert np.abs(shown - 127.5).max() <= 1.5


def test_coordinates_beyond_the_picture_repeat_it(chart):
    made = unfold_meshes.box()
    uv = np.tile([[0.0, 0.0], [2.0, 0.0], [2.0, 2.0], [0.0, 2.0]], (6, 1))
    model = unfold_facets(facets_of(textured(made, uv, chart)))
    mesh, net = model.facets.mesh, model.nets[0]
    _, at = picture(model)
    facet, placed = int(net.facets[0]), net.placed[0]
    frame, face = model.facets.frames[facet], int(model.facets.source[facet][0])
    corners = (mesh.vertices[mesh.face(face)] - frame[:3, 3]) @ frame[:3, :2] @ placed[:, :2].T + placed[:, 2]
    for u, v in ((0.2, 0.3), (0.7, 0.3), (0.2, 0.8), (0.7, 0.8)):
        place = corners[0] + u * (corners[1] - corners[0]) + v * (corners[3] - corners[0])
        assert np.abs(at(place[None]) - expected(np.array([[2 * u % 1, 2 * v % 1]]))).max() < 4


def test_resolution_is_as_asked_up_to_forty_million_pixels(chart):
    made = unfold_meshes.box()
    model = unfold_facets(facets_of(textured(made, laid_over(made), chart)))
    mesh, cover = model.facets.mesh, cover_of(model)
    assert picture_frame(mesh, cover, dpi=254.0, bleed_mm=3.0).dots_per_mm == pytest.approx(10.0)
    fine = picture_frame(mesh, cover, dpi=1200.0, bleed_mm=3.0)
    assert fine.width * fine.height <= 4.01e7
    for dpi in (5.0, 5000.0, float("nan")):
        with pytest.raises(HingeleafError, match="write 20 to 1200"):
            picture_frame(mesh, cover, dpi=dpi, bleed_mm=3.0)


def test_a_picture_that_is_none_is_named(tmp_path):
    (tmp_path / "broken.png").write_bytes(b"no picture")
    made = unfold_meshes.box()
    model = unfold_facets(facets_of(textured(made, laid_over(made), str(tmp_path / "broken.png"))))
    with pytest.raises(FileError, match=r"broken\.png"):
        picture(model)


def test_plain_card_and_missing_pictures_are_not_printed():
    made = unfold_meshes.box()
    model = unfold_facets(facets_of(made))
    assert drawn_nets(model, (), stock=CARD, title="box")[0][0].is_printed is False
    mesh = textured(made, laid_over(made), "/nowhere/chart.png")
    gone = unfold_facets(facets_of(mesh))
    (drawing,), _ = drawn_nets(gone, (), stock=CARD, title="box", options=DrawingOptions(bleed_mm=0.0))
    # Its colour is printed in place of the picture.
    assert drawing.art is None
    assert [fill.color for fill in drawing.fills] == [(1.0, 1.0, 1.0)]
    assert drawing.fills[0].shown.symmetric_difference(drawing.card).area < 1e-6


def test_two_colours_on_one_flat_facet():
    # Two triangles of one square wall, which are joined: each keeps its colour.
    made = unfold_meshes.triangles_of(unfold_meshes.box())
    surfaces = (Surface("red", RED), Surface("blue", BLUE))
    mesh: Mesh = dataclasses.replace(made, surface_of=np.arange(12) % 2, surfaces=surfaces)
    model = unfold_facets(facets_of(mesh))
    assert len(model.facets.rings) == 6
    lines = net_lines(model, 0, (), 0.0)
    regions = printed_regions(mesh, cover_of(model), lines.facets, lines.rims, 0.0)
    assert PICTURE not in regions
    half = model.facets.areas_mm2.sum() / 2
    assert regions[RED].area == pytest.approx(half, rel=1e-6)
    assert regions[BLUE].area == pytest.approx(half, rel=1e-6)
    assert regions[RED].intersection(regions[BLUE]).area < 1e-5
