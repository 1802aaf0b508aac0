"""Flat colours on nets, and artwork's own: what is given in sRGB is printed in sRGB, inside the card and its bleed."""

from __future__ import annotations

import base64
import io
import warnings
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from PIL import Image, ImageCms

with warnings.catch_warnings():
    warnings.simplefilter("ignore", DeprecationWarning)  # from its compiled part, on import
    import pymupdf

from geometry import DescriptionError, assemble, parse_description
from geometry.nets import BLEED_MM, write_nets
from geometry.nets.drawing import draw_piece
from geometry.nets.halo import halos

SVG = "{http://www.w3.org/2000/svg}"
PATCHES = ((200, 120, 40), (12, 40, 90), (3, 5, 7), (255, 0, 64), (250, 251, 246))
TEXT = """
format = 1
title = "Color"
[page]
size = "A6"
{page}
[[mechanism]]
kind = "rider"
id = "ring"
panel = "page.right"
at = [50, 90]
size = [40, 40]
holes = [[[-12, -12], [12, -12], [12, 12], [-12, 12]]]
{ring}
"""


def spread_of(folder, *, page="", ring=""):
    return assemble(parse_description(TEXT.format(page=page, ring=ring), folder=folder))


def hexadecimal(color):
    return "#" + "".join(f"{part:02x}" for part in color)


@pytest.mark.parametrize("color", PATCHES)
def test_a_flat_color_is_the_same_number_in_svg_and_pdf(tmp_path, color):
    spread = spread_of(tmp_path, ring=f'color_front = "{hexadecimal(color)}"')
    write_nets(spread, tmp_path / "nets", formats=("svg", "pdf"))
    root = ET.parse(tmp_path / "nets" / "color-nets-1.svg").getroot()
    art = next(group for group in root.iter(f"{SVG}g") if group.get("data-class") == "art")
    (shape,) = art.iter(f"{SVG}path")
    assert (shape.get("fill"), shape.get("stroke")) == (hexadecimal(color), "none")
    page = pymupdf.open(tmp_path / "nets" / "color-nets.pdf")[0]
    fills = [drawing for drawing in page.get_drawings() if drawing["layer"] == "art"]
    assert [tuple(round(255 * part) for part in drawing["fill"]) for drawing in fills] == [color]
    assert fills[0]["type"] == "f"


@pytest.mark.parametrize("ending", [".pdf", "-1.svg"])
def test_a_color_reaches_as_far_as_the_bleed_and_no_further(tmp_path, ending):
    color = (200, 120, 40)
    spread = spread_of(tmp_path, ring=f'color_front = "{hexadecimal(color)}"')
    written = write_nets(spread, tmp_path / "nets", formats=("svg", "pdf"))
    drawing = next(each for each in written.sheets[0].pieces if each.piece.id == "ring")
    left, low, right, high = drawing.card.bounds
    scale = 6.0
    pixels = pymupdf.open(tmp_path / "nets" / f"color-nets{ending}")[0].get_pixmap(matrix=pymupdf.Matrix(scale, scale))
    per_mm = pixels.width / written.sheets[0].width_mm

    def at(x, y):
        place = int(x * per_mm), int((written.sheets[0].height_mm - y) * per_mm)
        return pixels.pixel(*place)[:3]

    middle = ((left + right) / 2, (low + high) / 2)
    inside = [(left + 3, middle[1] + 5), (right - 3, middle[1] - 5), (left - 0.6 * BLEED_MM, middle[1] + 5)]
    for place in inside:
        np.testing.assert_allclose(at(*place), color, atol=1)
    # Into the window as far as the bleed, and not across it.
    np.testing.assert_allclose(at(middle[0] - 12 + 0.6 * BLEED_MM, middle[1] + 5), color, atol=1)
    for place in [middle, (left - 1.5 * BLEED_MM, middle[1] + 5)]:
        np.testing.assert_allclose(at(*place), (255, 255, 255), atol=1)


def test_a_color_of_the_back_is_in_the_file_of_the_backs(tmp_path):
    spread = spread_of(tmp_path, page='color_back = "#0c285a"')
    files = write_nets(spread, tmp_path / "nets", formats=("pdf",))
    assert [path.name for path in files.paths] == ["color-nets.pdf", "color-nets-backs.pdf"]
    front, back = (pymupdf.open(path)[0] for path in files.paths)
    assert not [drawing for drawing in front.get_drawings() if drawing["layer"] == "art"]
    (fill,) = [drawing for drawing in back.get_drawings() if drawing["layer"] == "art"]
    assert tuple(round(255 * part) for part in fill["fill"]) == (12, 40, 90)


def test_artwork_with_alpha_lies_over_the_color(tmp_path):
    image = Image.new("RGBA", (400, 400), (0, 0, 0, 0))
    image.paste((255, 0, 0, 255), (0, 0, 200, 400))
    image.save(tmp_path / "ring.png")
    spread = spread_of(tmp_path, ring='color_front = "#0000ff"\nart_front = "ring.png"')
    written = write_nets(spread, tmp_path / "nets", formats=("pdf",))
    drawing = next(each for each in written.sheets[0].pieces if each.piece.id == "ring")
    left, _, right, high = drawing.card.bounds
    pixels = pymupdf.open(written.paths[0])[0].get_pixmap(matrix=pymupdf.Matrix(4, 4))
    per_mm = pixels.width / written.sheets[0].width_mm
    row = int((written.sheets[0].height_mm - high + 4) * per_mm)
    colors = [pixels.pixel(int(x * per_mm), row)[:3] for x in (left + 8, right - 8)]
    colors.sort()
    np.testing.assert_allclose(colors, [(0, 0, 255), (255, 0, 0)], atol=1)


def test_lines_have_light_about_them_on_a_color_too(tmp_path):
    plain, colored = spread_of(tmp_path), spread_of(tmp_path, ring='color_front = "#000000"')
    assert not halos(draw_piece(plain, "ring"))
    assert halos(draw_piece(colored, "ring"))


def test_a_color_that_is_none_is_refused(tmp_path):
    with pytest.raises(DescriptionError, match='"red" is no colour'):
        spread_of(tmp_path, ring='color_front = "red"')


@pytest.mark.parametrize("color", PATCHES)
@pytest.mark.parametrize("kind", ["png", "jpg", "tif", "lying", "profile"])
def test_what_is_painted_srgb_prints_srgb(tmp_path, color, kind):
    """The numbers in the files are the numbers that were painted, and the PDF says that they are sRGB."""
    image, options, name = Image.new("RGB", (60, 40), color), {}, "patch.png"
    if kind == "jpg":
        name, options = "patch.jpg", {"quality": 100, "subsampling": 0}
    elif kind == "tif":
        name = "patch.tif"
    elif kind == "lying":
        exif = Image.Exif()
        exif[0x0112] = 8
        options = {"exif": exif}
    elif kind == "profile":
        srgb = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
        options = {"icc_profile": srgb.replace("sRGB".encode("utf-16-be"), "mine".encode("utf-16-be"))}
    image.save(tmp_path / name, **options)
    spread = spread_of(tmp_path, ring=f'art_front = "{name}"')
    write_nets(spread, tmp_path / "nets", formats=("svg", "pdf"))
    root = ET.parse(tmp_path / "nets" / "color-nets-1.svg").getroot()
    (link,) = [element.get("{http://www.w3.org/1999/xlink}href") for element in root.iter(f"{SVG}image")]
    data = base64.b64decode(link.partition(",")[2])
    in_svg = np.asarray(Image.open(io.BytesIO(data)).convert("RGB"))
    document = pymupdf.open(tmp_path / "nets" / "color-nets.pdf")
    (found,) = document[0].get_images()
    in_pdf = pymupdf.Pixmap(document, found[0])
    limit = 1 if kind in ("jpg", "profile") else 0
    assert np.abs(in_svg.reshape(-1, 3).astype(int) - color).max() <= limit
    assert np.abs(np.array(in_pdf.pixel(5, 5)[:3]) - color).max() <= limit
    assert (in_svg.shape[1], in_svg.shape[0]) == ((40, 60) if kind == "lying" else (60, 40))
    # ISO 32000-1, 8.6.5.6: the numbers of DeviceRGB are those of the profile.
    resources = document.xref_object(document[0].xref)
    assert "DefaultRGB" in resources or "DefaultRGB" in "".join(
        document.xref_object(number) for number in range(1, document.xref_length())
    )
