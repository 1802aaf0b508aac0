"""Faces of nets as one picture: each colour and each texture where the net has it, nothing where nothing is printed."""

import io

import numpy as np
import pytest
import shapely
from PIL import Image

from geometry import assemble, parse_description
from geometry.artwork import art_box
from geometry.errors import HingeleafError
from geometry.nets.drawing import draw_piece
from geometry.unfold.face_picture import face_picture
from tests.geometry.scene_texts import HEAD

#: A block of two colours and a texture that is red on its left and green on its right; its lid has the texture.
_MODEL = """mtllib block.mtl
v 0 0 0
v 30 0 0
v 30 20 0
v 0 20 0
v 0 0 25
v 30 0 25
v 30 20 25
v 0 20 25
vt 0 0
vt 1 0
vt 1 1
vt 0 1
usemtl blue
f 1 4 3 2
f 1 2 6 5
usemtl yellow
f 2 3 7 6
f 3 4 8 7
f 4 1 5 8
usemtl halves
f 5/1 6/2 7/3 8/4
"""
_COLORS = "newmtl blue\nKd 0 0 1\nnewmtl yellow\nKd 1 1 0\nnewmtl halves\nKd 1 1 1\nmap_Kd halves.png\n"
_SEEN = {"blue": (0, 0, 255), "yellow": (255, 255, 0), "left": (255, 0, 0), "right": (0, 255, 0)}


@pytest.fixture
def block(tmp_path):
    """A spread with the block on a page, and the names of its panels by the colour that they must have."""
    halves = np.zeros((32, 32, 3), dtype=np.uint8)
    halves[:, :16], halves[:, 16:] = _SEEN["left"], _SEEN["right"]
    Image.fromarray(halves).save(tmp_path / "halves.png")
    (tmp_path / "block.mtl").write_text(_COLORS)
    (tmp_path / "block.obj").write_text(_MODEL)
    text = (
        HEAD + '[[mechanism]]\nkind = "solid"\nid = "block"\nmodel = "block.obj"\npanel = "page.right"\nat = [60, 90]\n'
    )
    return assemble(parse_description(text + "loose = true\n", folder=tmp_path))


def seen(spread, piece, dpi=100.0):
    """The picture of a piece, and what gives its pixel at a place of the net."""
    box = art_box(spread, piece)
    made = face_picture(draw_piece(spread, piece), box, dpi=dpi)
    with Image.open(io.BytesIO(made.data)) as image:
        pixels = np.asarray(image).astype(int)
    assert pixels.shape == (made.height, made.width, 4)

    def at(place):
        x, y = (place[0] - box[0]) / (box[2] - box[0]), (box[3] - place[1]) / (box[3] - box[1])
        return pixels[int(y * made.height), int(x * made.width)]

    return pixels, at


@pytest.mark.parametrize("dpi", [60.0, 200.0])
def test_every_facet_shows_its_colour_and_the_texture_its_halves(block, dpi):
    (solid,) = block.solids
    (piece,) = solid.pieces
    _, at = seen(block, piece, dpi)
    facets, mesh = solid.unfolded.facets, solid.unfolded.facets.mesh
    shown = set()
    for number, name in enumerate(solid.facets):
        outline, rest = block.panels[name].outline, facets.frames[number]
        surfaces = {mesh.surfaces[mesh.surface_of[face]].name for face in facets.source[number].tolist()}
        (surface,) = surfaces
        middle = np.asarray(outline.centroid.coords[0])
        if surface != "halves":
            assert tuple(at(middle)) == (*_SEEN[surface], 255), name
        else:
            # The lid, 30 by 20 mm: the long way runs across both halves.
            assert rest[2, 2] == pytest.approx(1.0)
            net = next(each for each in solid.unfolded.nets if number in each.facets)
            placed = net.placed[net.facets.tolist().index(number)]
            along = placed[:, :2] @ (rest[:3, :2].T @ np.array([1.0, 0.0, 0.0]))
            for half, side in (("left", -9.0), ("right", 9.0)):
                assert tuple(at(middle + side * along)) == (*_SEEN[half], 255), half
        shown.add(surface)
    assert shown == {"blue", "yellow", "halves"}


def test_nothing_is_shown_where_nothing_is_printed(block):
    (solid,) = block.solids
    (piece,) = solid.pieces
    drawing = draw_piece(block, piece)
    pixels, at = seen(block, piece)
    printed = shapely.union_all([drawing.art.shown, *(fill.shown for fill in drawing.fills)])
    left, low, right, high = art_box(block, piece)
    rng = np.random.default_rng(5)
    clear = 0
    for place in rng.uniform((left, low), (right, high), (400, 2)):
        near = printed.boundary.distance(shapely.Point(place))
        if near > 0.6:
            inside = printed.contains(shapely.Point(place))
            assert (at(place)[3] == 255) == inside
            clear += not inside
    assert clear > 20
    assert set(np.unique(pixels[..., 3])) == {0, 255}


def test_plain_card_has_no_picture(block, tmp_path):
    (tmp_path / "block.mtl").write_text("newmtl other\nKd 1 0 0\n")
    text = HEAD + '[[mechanism]]\nkind = "solid"\nid = "block"\nmodel = "block.obj"\npanel = "page.right"\n'
    plain = assemble(parse_description(text + "at = [60, 90]\nloose = true\n", folder=tmp_path))
    (solid,) = plain.solids
    assert solid.picture(solid.pieces[0], art_box(plain, solid.pieces[0])) is None


def test_a_resolution_outside_its_limits_is_refused(block):
    (solid,) = block.solids
    with pytest.raises(HingeleafError, match="5 dots an inch: write 20 to 1200"):
        face_picture(draw_piece(block, solid.pieces[0]), art_box(block, solid.pieces[0]), dpi=5.0)
