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
from tests.geometry.lidded_block import SOLID, write_block
from tests.geometry.scene_texts import HEAD

#: What is seen of the block: its walls by their material, and the halves of the picture on its lid.
_SEEN = {"first": (0, 0, 255), "second": (255, 255, 0), "left": (255, 0, 0), "right": (0, 255, 0)}


@pytest.fixture
def block(tmp_path):
    """A spread with the block on a page."""
    write_block(tmp_path, "0 0 1", "1 1 0")
    return assemble(parse_description(HEAD + SOLID.format(folder=""), folder=tmp_path))


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
        if surface != "lid":
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
    assert shown == {"first", "second", "lid"}


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
    plain = assemble(parse_description(HEAD + SOLID.format(folder=""), folder=tmp_path))
    (solid,) = plain.solids
    assert solid.picture(solid.pieces[0], art_box(plain, solid.pieces[0])) is None


def test_a_resolution_outside_its_limits_is_refused(block):
    (solid,) = block.solids
    with pytest.raises(HingeleafError, match="5 dots an inch: write 20 to 1200"):
        face_picture(draw_piece(block, solid.pieces[0]), art_box(block, solid.pieces[0]), dpi=5.0)
