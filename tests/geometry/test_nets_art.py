"""Artwork on the nets: rendered, it lies where its panel lies, also on a piece given a quarter turn."""

import warnings
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from PIL import Image, ImageDraw

with warnings.catch_warnings():
    warnings.simplefilter("ignore", DeprecationWarning)  # from its compiled part, on import
    import pymupdf

from geometry import assemble, parse_description
from geometry.nets import BLEED_MM, draw_piece, lay_out, write_nets
from geometry.nets.halo import halos
from geometry.nets.lettering import text_box

TEXT = """
format = 1
title = "Art"
[page]
size = "A6"
art_front = "{file}"
art_back = "{file}"
[[mechanism]]
kind = "rider"
id = "sun"
panel = "page.right"
at = [50, 100]
size = [20, 20]
"""
RED, GREEN, BLUE, YELLOW = (220, 30, 30), (30, 160, 60), (40, 60, 200), (230, 200, 40)


@pytest.fixture(params=["pages.png", "pages.jpg", "pages.bmp"])
def spread(request, tmp_path):
    """Four quarters: red and green at the foot of the page, left and right; blue and yellow at its head."""
    width, height = 210 + 6, 148 + 6
    image = Image.new("RGB", (2 * width, 2 * height))
    draw = ImageDraw.Draw(image)
    for color, (column, row) in {RED: (0, 1), GREEN: (1, 1), BLUE: (0, 0), YELLOW: (1, 0)}.items():
        draw.rectangle((column * width, row * height, (column + 1) * width, (row + 1) * height), fill=color)
    image.save(tmp_path / request.param)
    return assemble(parse_description(TEXT.format(file=request.param), folder=tmp_path))


class Rendered:
    """A rendered sheet, with colours read at places of the spread's net, x from -105 to 105 and y from 0 to 148."""

    def __init__(self, path, spread, sheet_name, *, behind=False):
        sheets, _ = lay_out(spread.title, [draw_piece(spread, piece.id) for piece in spread.pieces], sheet_name)
        self.sheet = sheets[0]
        card = next(drawing.card for drawing in self.sheet.pieces if drawing.piece.id == "page")
        self.left, self.low, self.right, high = card.bounds
        self.turned = self.right - self.left < high - self.low
        self.behind = behind
        self.pixels = pymupdf.open(path)[0].get_pixmap(matrix=pymupdf.Matrix(4.0, 4.0))

    def color_at(self, net_x, net_y):
        if self.turned:
            x, y = self.right - net_y, self.low + net_x + 105
        else:
            x, y = self.left + net_x + 105, self.low + net_y
        if self.behind and self.sheet.width_mm > self.sheet.height_mm:
            y = self.sheet.height_mm - y
        elif self.behind:
            x = self.sheet.width_mm - x
        scale = self.pixels.width / self.sheet.width_mm
        return np.array(self.pixels.pixel(int(x * scale), int((self.sheet.height_mm - y) * scale))[:3], dtype=float)


SHEETS = pytest.mark.parametrize(("sheet_name", "turned"), [("A4", False), ("170x400", True)])
QUARTERS = ((-1, 0, RED), (1, 0, GREEN), (-1, 1, BLUE), (1, 1, YELLOW))


def assert_quarters(rendered, mirror):
    edge = 0.6 * BLEED_MM
    for sign_x, sign_y, color in QUARTERS:
        side = sign_x * mirror
        np.testing.assert_allclose(rendered.color_at(side * 30, 130 if sign_y else 30), color, atol=12)
        np.testing.assert_allclose(rendered.color_at(side * 60, 148 + edge if sign_y else -edge), color, atol=12)
        beyond = rendered.color_at(side * 60, 148 + 2 * BLEED_MM if sign_y else -2 * BLEED_MM)
        np.testing.assert_allclose(beyond, (255, 255, 255), atol=2)


@SHEETS
@pytest.mark.parametrize("ending", [".pdf", "-1.svg"])
def test_artwork_lies_where_the_panel_lies(spread, tmp_path, sheet_name, turned, ending):
    write_nets(spread, tmp_path / "nets", sheet=sheet_name)
    rendered = Rendered(tmp_path / "nets" / f"art-nets{ending}", spread, sheet_name)
    assert rendered.turned == turned
    assert_quarters(rendered, 1)


@SHEETS
def test_artwork_of_the_back_lies_behind_its_panel_and_reads_right(spread, tmp_path, sheet_name, turned):
    """The left of the picture, seen from behind, is behind the right of the net, seen from the printed face."""
    files = write_nets(spread, tmp_path / "nets", sheet=sheet_name)
    rendered = Rendered(tmp_path / "nets" / "art-nets-backs.pdf", spread, sheet_name, behind=True)
    assert rendered.turned == turned
    assert_quarters(rendered, -1)
    assert files.notes == ("art-nets-backs.pdf is for the back of each sheet, turned over along its long edge",)


def test_backs_have_nothing_to_cut_and_a_foot_of_their_own(spread, tmp_path):
    write_nets(spread, tmp_path / "nets")
    front, back = (pymupdf.open(tmp_path / "nets" / name) for name in ("art-nets.pdf", "art-nets-backs.pdf"))
    assert len(front) == len(back)
    assert {drawing["layer"] for drawing in back[0].get_drawings()} == {"mark", "label"}
    assert "back of sheet 1 of 1" in back[0].get_text()
    assert back[0].mediabox == front[0].mediabox


def test_without_pdf_the_backs_are_told(spread, tmp_path):
    files = write_nets(spread, tmp_path / "nets", formats=("svg",))
    assert files.notes == ("the artwork of the backs is only in the PDF files, which were not asked for",)


def test_artwork_is_on_the_art_layer_of_the_pdf(spread, tmp_path):
    files = write_nets(spread, tmp_path / "nets", formats=("pdf",))
    document = pymupdf.open(files.paths[0])
    groups = {group["name"]: number for number, group in document.get_ocgs().items()}
    (shown,) = document[0].get_images()
    assert shown[2:4] == (432, 308)
    before = document[0].get_pixmap(dpi=50).samples
    document.set_layer(-1, off=[groups["art"]])
    hidden = pymupdf.open("pdf", document.tobytes())[0].get_pixmap(dpi=50)
    assert hidden.samples != before
    assert min(hidden.pixel(hidden.width // 4, hidden.height // 6)) == 255


def luminance(color):
    return float(color @ [0.2126, 0.7152, 0.0722])


@pytest.mark.parametrize("ending", [".pdf", "-1.svg"])
def test_lines_and_texts_on_artwork_have_light_about_them(spread, tmp_path, ending):
    write_nets(spread, tmp_path / "nets", sheet="A4")
    rendered = Rendered(tmp_path / "nets" / f"art-nets{ending}", spread, "A4")
    blue, beside_the_spine = rendered.color_at(-30, 130), rendered.color_at(-0.25, 130)
    assert luminance(beside_the_spine) > luminance(blue) + 60
    text = next(text for text in draw_piece(spread, "page").texts if text.text == "page card")
    left, low, right, _ = text_box(text, clear_mm=0.2).bounds
    assert luminance(rendered.color_at((left + right) / 2, low)) > luminance(rendered.color_at(30, 30)) + 60


def test_halos_are_no_lines_of_the_net(spread, tmp_path):
    """Machines take strokes and paths for lines: in SVG halos are other shapes, in PDF they are filled only."""
    write_nets(spread, tmp_path / "nets")
    svg = "{http://www.w3.org/2000/svg}"
    groups = list(ET.parse(tmp_path / "nets" / "art-nets-1.svg").getroot().iter(f"{svg}g"))
    holders = {
        group.get("data-class")
        for group in groups
        if any(element.tag in (f"{svg}polygon", f"{svg}polyline") for element in group.iter())
    }
    assert holders - {None} == {"label"}
    page = pymupdf.open(tmp_path / "nets" / "art-nets.pdf")[0]
    light = [drawing for drawing in page.get_drawings() if drawing["fill"] == (1.0, 1.0, 1.0)]
    assert light
    assert {(drawing["type"], drawing["layer"]) for drawing in light} == {("f", "label")}


def test_there_are_no_halos_without_artwork(spread):
    assert halos(draw_piece(spread, "page"))
    assert not halos(draw_piece(spread, "sun"))
