"""PDF files for a print shop and a duplex printer, read back by pymupdf: objects, operators, paths and pixels.

Sources: ISO 32000-1, 8.6.6.4 (separations), 8.6.7 (overprint), 8.6.5.6 (default colour spaces), 8.11 (optional
content), 12.2 (viewer preferences: Duplex), 14.11.2 (page boundaries). IEC 61966-2-1 (primaries of sRGB). All recalled.
"""

import itertools
import re
import warnings

import numpy as np
import pytest
import shapely
from PIL import Image, ImageDraw
from shapely import LineString, MultiPolygon

with warnings.catch_warnings():
    warnings.simplefilter("ignore", DeprecationWarning)  # from its compiled part, on import
    import pymupdf

from geometry import assemble, parse_description
from geometry.nets import SheetOptions, write_nets
from geometry.nets.backs import turned_over
from geometry.nets.registration import REGISTRATION

MM = 72.0 / 25.4
TEXT = """
format = 1
title = "Print"
[page]
size = "A6"
art_front = "art.png"
art_back = "art.png"
[[mechanism]]
kind = "slit-cut-in"
id = "step"
fold = "spine"
at = 40
length = 50
width = 20
[[mechanism]]
kind = "rider"
id = "ring"
title = "The ring"
panel = "page.right"
at = [60, 70]
size = [40, 40]
holes = [[[-12, -12], [12, -12], [12, 12], [-12, 12]]]
art_front = "art.png"
[[mechanism]]
kind = "tent"
id = "roof"
fold = "spine"
at = 100
length = 40
base = 15
height = 20
"""
#: A sheet on its side, and an upright one.
SHEETS = ("A4", "240x330")


@pytest.fixture(scope="module")
def spread(tmp_path_factory):
    folder = tmp_path_factory.mktemp("art")
    image = Image.new("RGB", (432, 308), (90, 140, 200))
    ImageDraw.Draw(image).rectangle((0, 0, 30, 30), fill=(200, 30, 30))
    image.save(folder / "art.png")
    return assemble(parse_description(TEXT, folder=folder))


@pytest.fixture(scope="module", params=SHEETS)
def duplex(request, spread, tmp_path_factory):
    folder = tmp_path_factory.mktemp("duplex")
    written = write_nets(spread, folder, sheet=request.param, formats=("pdf",), duplex=True)
    return written, pymupdf.open(folder / "print-nets-duplex.pdf")


@pytest.fixture(scope="module")
def spot(spread, tmp_path_factory):
    folder = tmp_path_factory.mktemp("spot")
    written = write_nets(spread, folder, sheet="A3", formats=("pdf",), spot=True)
    return written, pymupdf.open(written.paths[0])


def operators(document, page):
    return document.xref_stream(page.get_contents()[0]).decode("latin-1")


def layers(document):
    return {group["name"]: number for number, group in document.get_ocgs().items()}


def without(document, *names):
    """The document with some of its layers switched off."""
    known = layers(document)
    document.set_layer(-1, off=[known[name] for name in names])
    changed = pymupdf.open("pdf", document.tobytes())
    document.set_layer(-1, off=[])
    return changed


def lines_of(page, layer):
    """Straight stretches of a layer, millimetres from the upper left corner."""
    return [
        np.array([[*item[1]], [*item[2]]]) / MM
        for drawing in page.get_drawings()
        if drawing["layer"] == layer and "s" in drawing["type"]
        for item in drawing["items"]
        if item[0] == "l"
    ]


def length_of(drawing):
    """Length of a path of straight lines, millimetres."""
    length = 0.0
    for kind, *parts in drawing["items"]:
        if kind == "l":
            length += abs(parts[0] - parts[1]) / MM
        else:
            quad = parts[0].quad if kind == "re" else parts[0]
            corners = (quad.ul, quad.ur, quad.lr, quad.ll)
            length += sum(abs(one - two) for one, two in itertools.pairwise((*corners, corners[0]))) / MM
    return length


def marks_of(page, sheet):
    """Lines of the page's registration marks, both ends in order."""
    wanted = [line.points * [1, -1] + [0, sheet.height_mm] for line in sheet.lines if line.name == REGISTRATION]
    found = lines_of(page, "mark")
    return [
        next(each for each in found if np.allclose(np.sort(each, axis=0), np.sort(line, axis=0), atol=0.01))
        for line in wanted
    ]


def test_duplex_has_front_and_back_in_turn(duplex):
    written, document = duplex
    assert len(document) == 2 * len(written.sheets)
    for number, sheet in enumerate(written.sheets):
        front, back = document[2 * number], document[2 * number + 1]
        assert front.mediabox == back.mediabox
        assert f"sheet {number + 1} of" in front.get_text()
        assert f"back of sheet {number + 1} of" in back.get_text()
        assert {each["layer"] for each in back.get_drawings()} == {"mark", "label"}
        assert sheet.width_mm == pytest.approx(front.rect.width / MM, abs=1e-3)


def test_duplex_tells_the_printer_to_turn_about_the_long_edge(duplex):
    _, document = duplex
    kept = document.xref_get_key(document.pdf_catalog(), "ViewerPreferences")[1]
    preferences = document.xref_object(int(kept.split()[0]), compressed=True)
    assert "/Duplex/DuplexFlipLongEdge" in preferences
    assert "/PrintScaling/None" in preferences


def test_registration_marks_coincide_when_the_sheet_is_turned(duplex):
    """Measured in the file: turned about its long edge, each cross of the back lies on one of the front."""
    written, document = duplex
    for number, sheet in enumerate(written.sheets):
        front = marks_of(document[2 * number], sheet)
        back = marks_of(document[2 * number + 1], turned_over(sheet))
        assert len(front) == len(back) == 8
        axis = 1 if sheet.width_mm > sheet.height_mm else 0
        size = (sheet.width_mm, sheet.height_mm)[axis]
        for line in back:
            turned = line.copy()
            turned[:, axis] = size - turned[:, axis]
            assert any(np.allclose(np.sort(turned, axis=0), np.sort(each, axis=0), atol=1e-3) for each in front)


def test_registration_marks_stand_in_the_margin_off_all_artwork(duplex):
    written, _ = duplex
    for sheet in itertools.chain(written.sheets, map(turned_over, written.sheets)):
        inner = shapely.box(8, 8, sheet.width_mm - 8, sheet.height_mm - 8)
        printed = shapely.union_all([drawing.art.shown for drawing in sheet.pieces if drawing.art is not None])
        for line in sheet.lines:
            if line.name == REGISTRATION:
                assert not LineString(line.points).intersects(inner)
                assert LineString(line.points).distance(printed) > 0.2
                assert shapely.box(0, 0, sheet.width_mm, sheet.height_mm).contains(LineString(line.points))


def test_the_back_lies_behind_its_piece(duplex):
    """Pixels: where the back is printed, the card is, or its bleed, seen through the sheet."""
    written, document = duplex
    for number, sheet in enumerate(written.sheets):
        pixels = document[2 * number + 1].get_pixmap(dpi=72)
        colors = np.frombuffer(pixels.samples, np.uint8).reshape(pixels.height, pixels.width, 3)
        blue = (np.abs(colors.astype(int) - [90, 140, 200]).max(axis=2) < 12) | (
            np.abs(colors.astype(int) - [200, 30, 30]).max(axis=2) < 12
        )
        flipped = blue[::-1] if sheet.width_mm > sheet.height_mm else blue[:, ::-1]
        rows, columns = np.nonzero(flipped)
        points = shapely.points((columns + 0.5) / MM, sheet.height_mm - (rows + 0.5) / MM)
        backed = shapely.union_all([drawing.card for drawing in sheet.pieces if drawing.back is not None])
        assert shapely.contains(backed.buffer(3.5), points).all()
        assert len(points) / MM**2 == pytest.approx(backed.buffer(3.0).area, rel=0.02)


def test_without_artwork_behind_there_is_nothing_for_duplex(tmp_path):
    plain = assemble(parse_description(re.sub(r"art_\w+ = .*\n", "", TEXT)))
    written = write_nets(plain, tmp_path, formats=("pdf",), duplex=True)
    assert [path.name for path in written.paths] == ["print-nets.pdf"]
    assert "no piece has artwork on its back, so there is no print-nets-duplex.pdf" in written.notes
    assert not any(line.name == REGISTRATION for sheet in written.sheets for line in sheet.lines)


def test_separations_have_the_names_that_a_cutting_table_reads(spot):
    _, document = spot
    spaces = [document.xref_object(number) for number in range(1, document.xref_length())]
    found = [re.match(r"\[ /Separation /(\w+) /DeviceCMYK \d+ 0 R \]", space) for space in spaces]
    assert sorted(match[1] for match in found if match) == ["All", "Crease", "Cut"]


def test_all_cuts_and_creases_lie_on_their_separation_and_nothing_else_does(spot):
    written, document = spot
    for sheet, page in zip(written.sheets, document, strict=True):
        strokes = {"Cut": 0, "Crease": 0, "All": 0}
        ink, overprinting = None, None
        on = {key for key, value in states(document, page).items() if value == "OP true"}
        off = {key for key, value in states(document, page).items() if value == "OP false"}
        for operator in operators(document, page).replace("\n", " ").split(" "):
            if operator in ("RG", "K", "G"):
                ink = None
            elif operator.lstrip("/") in strokes:
                ink = operator.lstrip("/")
            elif operator.lstrip("/") in on | off:
                overprinting = operator.lstrip("/") in on
            elif operator in ("S", "s", "B", "b") and ink is not None:
                strokes[ink] += 1
                assert overprinting
        drawn = [line for drawing in sheet.pieces for line in drawing.lines]
        assert strokes["Cut"] == sum(line.line_class == "cut" for line in drawn)
        assert strokes["Crease"] == sum(line.line_class in ("mountain", "valley") for line in drawn)
        assert strokes["All"] == sum(line.name == REGISTRATION for line in sheet.lines)


def states(document, page):
    """The graphics states of a page, each as one entry."""
    text = document.xref_object(page.xref)
    return {name: entry.strip().lstrip("/") for name, entry in re.findall(r"/(gRLs\d+) <<\s*([^>]*?)\s*>>", text)}


def test_spot_and_plain_files_hold_the_same_lines(spot, spread, tmp_path):
    _, document = spot
    plain = write_nets(spread, tmp_path, sheet="A3", formats=("pdf",))
    for one, two in zip(document, pymupdf.open(plain.paths[0]), strict=True):
        lengths = []
        for page in (one, two):
            found = {}
            for drawing in page.get_drawings():
                if "s" in drawing["type"]:
                    found[drawing["layer"]] = found.get(drawing["layer"], 0.0) + length_of(drawing)
            lengths.append(found)
        assert lengths[0] == pytest.approx(lengths[1], abs=0.01)
        assert {"cut", "mountain", "valley", "glue", "mark"} <= set(lengths[0])


def test_artwork_is_whole_under_lines_that_overprint(spot):
    """With all layers but the artwork off, and with only the spot colours off too, the artwork has no white in it."""
    written, document = spot
    for page, sheet in zip(
        without(document, "cut", "mountain", "valley", "glue", "mark", "label"), written.sheets, strict=True
    ):
        pixels = page.get_pixmap(dpi=144)
        colors = np.frombuffer(pixels.samples, np.uint8).reshape(pixels.height, pixels.width, 3)
        inside = shapely.union_all([drawing.card for drawing in sheet.pieces if drawing.art is not None]).buffer(2.5)
        rows, columns = np.mgrid[0 : pixels.height, 0 : pixels.width]
        mask = shapely.contains_xy(inside, (columns + 0.5) / 2 / MM, sheet.height_mm - (rows + 0.5) / 2 / MM)
        assert mask.any()
        assert not (colors[mask] > 245).all(axis=1).any()


@pytest.mark.parametrize("kept", ["label", "cut"])
def test_no_light_is_left_behind_by_a_layer_that_is_switched_off(spread, tmp_path, kept):
    written = write_nets(spread, tmp_path, sheet="A3", formats=("pdf",))
    document = pymupdf.open(written.paths[0])
    off = {"cut", "mountain", "valley", "glue", "mark", "label"} - {kept}
    sheet = written.sheets[0]
    page = next(drawing for drawing in sheet.pieces if drawing.piece.id == "page")
    cut = next(line for line in page.lines if line.line_class == "cut" and line.closed)
    # Beside the middle of the longest edge, where the light of the cut is.
    ends = np.stack([cut.points, np.roll(cut.points, -1, axis=0)], axis=1)
    start, end = ends[np.argmax(np.hypot(*(ends[:, 1] - ends[:, 0]).T))]
    x, y = (start + end) / 2
    around = pymupdf.Rect(x - 2, sheet.height_mm - y - 2, x + 2, sheet.height_mm - y + 2) * MM
    pixels = without(document, *off)[0].get_pixmap(dpi=600, clip=around)
    colors = np.frombuffer(pixels.samples, np.uint8).reshape(-1, 3).astype(int)
    light = np.abs(colors - [90, 140, 200]).max(axis=1) > 25
    assert light.any() == (kept == "cut")
    if kept == "cut":
        # The line itself, and nothing lighter than the artwork.
        assert not (colors > np.array([90, 140, 200]) + 8).all(axis=1).any()


def test_artwork_keeps_its_numbers_and_is_named_srgb(spread, spot):
    _, document = spot
    page = document[0]
    profile = int(re.search(r"/DefaultRGB \[ /ICCBased (\d+) 0 R \]", document.xref_object(page.xref))[1])
    data = document.xref_stream(profile)
    assert data[12:20] == b"mntrRGB "
    # Primaries of IEC 61966-2-1, adapted to D50: the red one's X is 0.4360.
    place = data.index(b"rXYZ")
    offset = int.from_bytes(data[place + 4 : place + 8], "big")
    assert int.from_bytes(data[offset + 8 : offset + 12], "big") / 65536 == pytest.approx(0.4360, abs=2e-4)
    for image in page.get_images():
        found = document.extract_image(image[0])
        assert found["colorspace"] == 3
        pixels = pymupdf.Pixmap(document, image[0])
        assert pixels.pixel(200, 200) == (90, 140, 200)
        assert pixels.pixel(5, 5) == (200, 30, 30)


def test_every_font_is_embedded(spot, duplex):
    for document in (spot[1], duplex[1]):
        for page in document:
            assert page.get_fonts()
            for xref, extension, *_ in page.get_fonts():
                assert extension == "ttf"
                assert len(document.extract_font(xref)[3]) > 1000


@pytest.mark.parametrize("bleed", [0.0, 1.5, 3.0, 5.0])
def test_bleed_follows_outlines_and_windows(spread, tmp_path, bleed):
    """Pixels: all that is printed is the card and so much about it, in windows too."""
    options = SheetOptions(bleed_mm=bleed, gap_mm=12.0, margin_mm=10.0)
    written = write_nets(spread, tmp_path, sheet="A3", formats=("pdf",), options=options)
    document = without(pymupdf.open(written.paths[0]), "cut", "mountain", "valley", "glue", "mark", "label")
    for page, sheet in zip(document, written.sheets, strict=True):
        pixels = page.get_pixmap(dpi=144)
        colors = np.frombuffer(pixels.samples, np.uint8).reshape(pixels.height, pixels.width, 3)
        rows, columns = np.nonzero((colors < 245).any(axis=2))
        points = shapely.points((columns + 0.5) / 2 / MM, sheet.height_mm - (rows + 0.5) / 2 / MM)
        cards = MultiPolygon(
            [part for drawing in sheet.pieces if drawing.art is not None for part in drawing.card.geoms]
        )
        grown = cards.buffer(bleed)
        assert shapely.dwithin(grown, points, 0.3).all()
        assert len(points) / (2 * MM) ** 2 == pytest.approx(grown.area, rel=0.01)
        media, box, trim = (np.array(getattr(page, name)) / MM for name in ("mediabox", "bleedbox", "trimbox"))
        bounds = shapely.total_bounds([drawing.card for drawing in sheet.pieces])
        expected = [bounds[0], sheet.height_mm - bounds[3], bounds[2], sheet.height_mm - bounds[1]]
        np.testing.assert_allclose(trim, expected, atol=1e-3)
        np.testing.assert_allclose(box, trim + bleed * np.array([-1, -1, 1, 1]), atol=1e-3)
        assert (media[:2] <= box[:2]).all()


def test_boxes_end_at_the_sheet(spread, tmp_path):
    """A margin narrower than the bleed: the BleedBox may not leave the MediaBox (14.11.2.1)."""
    options = SheetOptions(margin_mm=1.0)
    (page, *_) = pymupdf.open(write_nets(spread, tmp_path, sheet="A3", formats=("pdf",), options=options).paths[0])
    assert page.bleedbox.x0 == 0.0
    assert page.mediabox.contains(page.bleedbox)
    assert page.trimbox.x0 / MM == pytest.approx(1.0, abs=1e-3)


def test_between_pieces_the_bleeds_end_half_way(spread, tmp_path):
    options = SheetOptions(gap_mm=2.0)
    written = write_nets(spread, tmp_path, sheet="A3", formats=("pdf",), options=options)
    for sheet in written.sheets:
        shown = [drawing.art.shown for drawing in sheet.pieces if drawing.art is not None]
        for drawing in sheet.pieces:
            if drawing.art is not None:
                assert drawing.card.buffer(1.001).contains(drawing.art.shown)
        assert all(one.intersection(two).area < 1e-6 for one, two in itertools.combinations(shown, 2))
    assert any("half-way between pieces" in note for note in written.notes)


def test_a_wider_bleed_continues_the_artwork_as_its_mirror_image(spread, tmp_path):
    """The corner of the picture is red for 15 mm, of which 3 are its own border; beyond that the red goes on."""
    options = SheetOptions(bleed_mm=9.0, gap_mm=20.0, margin_mm=20.0)
    written = write_nets(spread, tmp_path, sheet="A3", formats=("pdf", "svg"), options=options)
    assert any("mirror image" in note for note in written.notes)
    sheet = written.sheets[0]
    art = next(drawing.art for drawing in sheet.pieces if drawing.piece.id == "page")
    corner = art.corner + art.up
    along, down = art.along / np.hypot(*art.along), -art.up / np.hypot(*art.up)
    for path in written.paths[:2]:
        if path.suffix == ".svg" and not path.name.endswith("-1.svg"):
            continue
        pixels = pymupdf.open(path)[0].get_pixmap(matrix=pymupdf.Matrix(3, 3))
        scale = pixels.width / sheet.width_mm
        for across, below in ((-5, 8), (8, -5), (-5, 5), (5, -5)):
            x, y = corner + across * along + below * down
            color = pixels.pixel(int(x * scale), int((sheet.height_mm - y) * scale))
            np.testing.assert_allclose(color, (200, 30, 30), atol=12)


def test_a_bleed_beyond_all_reason_is_refused():
    with pytest.raises(ValueError, match=r"a bleed of -1 mm: write 0 to 20 mm"):
        SheetOptions(bleed_mm=-1.0)
