"""The test card: what its data say is what its pixels show, and it is printed where the net's own lines are.

In the PDF only what a print shop sees is read: the matrices of the pictures, the drawn cut lines, the rendered pixels.
"""

import json
import re
import warnings
from dataclasses import replace
from xml.etree import ElementTree as ET

import numpy as np
import pytest
import shapely
from PIL import Image

with warnings.catch_warnings():
    warnings.simplefilter("ignore", DeprecationWarning)  # from its compiled part, on import
    import pymupdf

from geometry import assemble, read_description
from geometry.nets import draw_piece, write_nets
from geometry.templates import TemplateOptions, write_templates
from tests.geometry.chequerboards import corner_in
from tests.geometry.scene_texts import ROOT

SCENES = ("demo/low-tide", "tent-unequal", "tab-through-a-slot")
LIMIT_MM = 0.05
POINT_MM = 25.4 / 72
#: How clear the corners of a card are in a picture of 256 greys.
LIGHT = {"least_step": 30, "most_uneven": 0.2}
SVG = "{http://www.w3.org/2000/svg}"


class Printed:
    """A scene with a test card on every face, and its nets as files."""

    def __init__(self, name, folder):
        plain = assemble(read_description(ROOT / "scenes" / f"{name}.toml"))
        options = TemplateOptions(dpi=150, formats=("png",), test_card=True)
        write_templates(plain, folder / "art", options)
        self.cards = {}
        for file in sorted((folder / "art").glob("*-test-card.json")):
            data = json.loads(file.read_text())
            self.cards[data["piece"], data["side"]] = data
        pieces = []
        for piece in plain.pieces:
            if (piece.id, "front") not in self.cards:
                pieces.append(piece)
                continue
            files = [folder / "art" / self.cards[piece.id, face]["picture"] for face in ("front", "back")]
            pieces.append(replace(piece, art_front=str(files[0]), art_back=str(files[1])))
        self.spread = replace(plain, pieces=tuple(pieces))
        self.pictures = folder / "art"
        self.nets = write_nets(self.spread, folder / "nets", formats=("pdf", "svg"), duplex=True, sheet="A1")
        (self.duplex,) = (path for path in self.nets.paths if path.name.endswith("duplex.pdf"))
        self.svgs = [path for path in self.nets.paths if path.suffix == ".svg"]

    @property
    def painted(self):
        """The pieces with artwork."""
        return [piece for piece in self.spread.pieces if piece.art_front]

    def outline(self, piece):
        """Where the cut line about a piece begins and goes on, (n, 2) float, mm of the net."""
        lines = [line for line in draw_piece(self.spread, piece).lines if line.line_class == "cut" and line.closed]
        longest = max(lines, key=lambda line: line.length_mm)
        return np.array([stretch.start for stretch in longest.stretches])

    def corners(self, piece, face, *, inside_mm=None):
        """Corners of the card, on the net and in the picture, those inside the piece's card, or all."""
        data = self.cards[piece, face]
        net = np.array([corner["net"] for corner in data["corners"]])
        art = np.array([corner["art"] for corner in data["corners"]])
        if inside_mm is None:
            return net, art
        drawing = draw_piece(self.spread, piece)
        lines = shapely.union_all([shapely.LineString(line.points) for line in drawing.lines])
        room = drawing.card.buffer(-inside_mm).difference(lines.buffer(inside_mm))
        texts = [shapely.Point(text.place).buffer(2 * len(text.text) + 3) for text in drawing.texts]
        kept = shapely.contains_xy(room.difference(shapely.union_all(texts)), net[:, 0], net[:, 1])
        return net[kept], art[kept]


@pytest.fixture(scope="module", params=SCENES)
def printed(request, tmp_path_factory):
    return Printed(request.param, tmp_path_factory.mktemp("cards"))


def fitted(source, target):
    """The rigid motion of the plane, perhaps mirrored, that carries points onto points best; and how far it is off."""
    middle, onto = source.mean(axis=0), target.mean(axis=0)
    left, _, right = np.linalg.svd((source - middle).T @ (target - onto))
    turn = (left @ right).T
    shift = onto - turn @ middle
    return turn, shift, np.abs(source @ turn.T + shift - target).max()


def cut_rings(page):
    """Starts of all stretches of each closed cut line on a page, mm from its lower left."""
    height = page.rect.height
    for drawing in page.get_drawings():
        if drawing["layer"] == "cut" and drawing["items"] and drawing["type"] == "s":
            starts = [item[1] for item in drawing["items"] if item[0] in ("l", "c")]
            for item in drawing["items"]:
                if item[0] in ("re", "qu"):
                    quad = item[1].quad if item[0] == "re" else item[1]
                    starts = [quad.ll, quad.lr, quad.ur, quad.ul]
            yield POINT_MM * np.array([(point.x, height - point.y) for point in starts])


def placements(printed):
    """By piece: the number of its page, and the motion of its net onto that page, from the lines that are drawn."""
    document, found = pymupdf.open(printed.duplex), {}
    for number in range(0, len(document), 2):
        rings = list(cut_rings(document[number]))
        for piece in printed.painted:
            outline = printed.outline(piece.id)
            for ring in rings:
                # The last stretch of a closed line may be drawn by closing it, and a rectangle begins anywhere.
                if piece.id not in found and len(ring) in (len(outline), len(outline) - 1):
                    for first in range(len(ring) if len(ring) == 4 else 1):
                        turn, shift, off = fitted(np.roll(outline, first, axis=0)[: len(ring)], ring)
                        # As it lies on its net, or a quarter turn to the left.
                        if off < 0.02 and np.linalg.det(turn) > 0 and turn[0, 0] > -0.5 and turn[1, 0] > -0.5:
                            found[piece.id] = number, turn, shift
    assert set(found) == {piece.id for piece in printed.painted}
    return found


def picture_of(document, number, image):
    """The size of a picture on a page and the motion of its unit square onto the page, mm from the lower left."""
    a, b, c, d, e, f = image["transform"]
    height = document[number].rect.height
    # The unit square of pymupdf hangs from the upper left; pictures' shares count from the lower left.
    linear = POINT_MM * np.array([[a, -c], [-b, d]])
    shift = POINT_MM * np.array([e + c, height - f - d])
    return (image["width"], image["height"]), linear, shift


def pictures(printed, number):
    document = pymupdf.open(printed.duplex)
    return [picture_of(document, number, image) for image in document[number].get_image_info()]


def nearest(found, size, expected, art):
    """The picture of that size whose corners lie best, and how far the worst is off."""
    offs = [np.abs(art @ linear.T + shift - expected).max() for own, linear, shift in found if own == tuple(size)]
    assert offs
    return min(offs)


def test_every_corner_of_the_card_is_printed_where_the_cut_lines_say(printed):
    for piece, (number, turn, shift) in placements(printed).items():
        net, art = printed.corners(piece, "front")
        size = printed.cards[piece, "front"]["size_px"]
        assert nearest(pictures(printed, number), size, net @ turn.T + shift, art) < LIMIT_MM


def turned_over(printed, number, points):
    """Where points of a sheet are on its back, turned over along its long edge."""
    width, height = POINT_MM * np.array(pymupdf.open(printed.duplex)[number].rect)[2:]
    if height >= width:
        return points * [-1.0, 1.0] + [width, 0.0]
    return points * [1.0, -1.0] + [0.0, height]


def test_every_corner_of_the_backs_is_printed_behind_the_same_place_of_the_net(printed):
    for piece, (number, turn, shift) in placements(printed).items():
        net, art = printed.corners(piece, "back")
        size = printed.cards[piece, "back"]["size_px"]
        expected = turned_over(printed, number, net @ turn.T + shift)
        assert nearest(pictures(printed, number + 1), size, expected, art) < LIMIT_MM


def test_the_backs_read_right_from_behind(printed):
    """On the back no picture is mirrored: its sides turn the same way as the page's."""
    for number in range(1, len(pymupdf.open(printed.duplex)), 2):
        assert all(np.linalg.det(linear) > 0 for _, linear, _ in pictures(printed, number))


@pytest.mark.parametrize("face", ["front", "back"])
def test_corners_are_found_in_the_pixels_of_the_printed_page(printed, face):
    """Rendered at 1016 dpi, 0.025 mm a pixel, because MuPDF lays the edges of pictures on whole pixels."""
    scale = 1016 / 25.4
    document = pymupdf.open(printed.duplex)
    asked = 0
    for piece, (number, turn, shift) in placements(printed).items():
        net, _ = printed.corners(piece, face, inside_mm=2.5)
        page = number if face == "front" else number + 1
        places = net @ turn.T + shift
        if face == "back":
            places = turned_over(printed, number, places)
        for place in places[:: max(1, len(places) // 12)]:
            height = document[page].rect.height
            low, high = (place - 3) / POINT_MM, (place + 3) / POINT_MM
            clip = pymupdf.Rect(low[0], height - high[1], high[0], height - low[1])
            shot = document[page].get_pixmap(dpi=1016, clip=clip, colorspace=pymupdf.csGRAY)
            rows = np.frombuffer(shot.samples, np.uint8).reshape(shot.height, shot.stride)[:, : shot.width]
            here = np.array([place[0] * scale - shot.x, (height * POINT_MM - place[1]) * scale - shot.y])
            assert np.abs(corner_in(rows, here, 44, **LIGHT) - here).max() < LIMIT_MM * scale, (piece, place)
            asked += 1
    assert asked >= 8


def test_svg_and_pdf_agree(printed):
    """Every picture of an SVG sheet lies as the PDF's page has it, to a tenth of the limit."""
    for number, file in enumerate(sorted(printed.svgs, key=lambda path: int(path.stem.rsplit("-", 1)[1]))):
        root = ET.parse(file).getroot()
        height = float(root.get("viewBox").split()[3])
        parents = {child: parent for parent in root.iter() for child in parent}
        found = pictures(printed, 2 * number)
        images = list(root.iter(f"{SVG}image"))
        assert len(images) == len(found)
        for image, (_, linear, shift) in zip(images, found, strict=True):
            a, b, c, d, e, f = map(float, re.findall(r"[-\d.e]+", parents[image].get("transform")))
            size = float(image.get("width")), float(image.get("height"))
            for across, up in ((0, 0), (1, 0), (0, 1), (1, 1)):
                x, y = across * size[0], (1 - up) * size[1]
                drawn = np.array([a * x + c * y + e, height - (b * x + d * y + f)])
                assert np.abs(drawn - (linear @ [across, up] + shift)).max() < LIMIT_MM / 10


def test_data_of_the_card_are_what_its_pixels_show(printed):
    """Corners found in the card's own pixels, within a tenth of a pixel of what its file says."""
    asked = 0
    for (piece, face), data in printed.cards.items():
        with Image.open(printed.pictures / data["picture"]) as image:
            pixels = np.asarray(image.convert("L"))
            assert list(image.size) == data["size_px"]
        net, art = printed.corners(piece, face, inside_mm=2.5)
        for share in art[::7]:
            place = np.array([share[0], 1 - share[1]]) * data["size_px"]
            if (place > 12).all() and (np.array(data["size_px"]) - place > 12).all():
                assert np.abs(corner_in(pixels, place, 9, **LIGHT) - place).max() < 0.1, (piece, face, share)
                asked += 1
        left, low, right, high = data["box"]
        x = (net[:, 0] - left) / (right - left) if face == "front" else (right - net[:, 0]) / (right - left)
        assert np.allclose(art, np.stack([x, (net[:, 1] - low) / (high - low)], axis=1), atol=1e-8)
    assert asked > 10


def test_fields_are_numbered_as_one_reads(printed):
    """The first number is at the upper left of the picture, as seen: on the back that is the right of the net."""
    for (_, face), data in printed.cards.items():
        numbers = [field["number"] for field in data["fields"]]
        assert numbers == list(range(1, len(numbers) + 1))
        places = np.array([field["net"] for field in data["fields"]])
        assert places[0, 1] == places[:, 1].max()
        assert places[0, 0] == (places[:, 0].min() if face == "front" else places[:, 0].max())
