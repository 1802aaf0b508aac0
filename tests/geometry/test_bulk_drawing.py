"""The drawing of the bulk map, read back from SVG and PDF, and the command that writes it."""

from __future__ import annotations

import json
import warnings
from xml.etree import ElementTree as ET

import numpy as np
import pytest
import shapely
from shapely import Polygon, box
from svgelements import Path as SvgPath

with warnings.catch_warnings():
    warnings.simplefilter("ignore", DeprecationWarning)  # from its compiled part, on import
    import pymupdf

from geometry import HingeleafError, assemble, parse_description, read_description
from geometry.__main__ import main
from geometry.bulk_drawing.drawing import draw_bulk
from geometry.bulk_drawing.patches import REGION, RING, page_patches
from geometry.bulk_drawing.tints import ink_on, luminance, thickness_tint
from geometry.bulk_drawing.write import map_format, write_bulk
from geometry.checks.bulk import bulk_map
from geometry.nets.lettering import text_box, text_width_mm
from tests.geometry.scene_texts import FILES, HEAD, HILL, SCENES, WRONG

SVG = "{http://www.w3.org/2000/svg}"
MM = 25.4 / 72.0
CHOSEN = [path for path in FILES if path.stem in ("low-tide", "cut-in-step", "rider", "v-fold-unequal")]

#: What eyes without the red, green or blue cones see, in linear sRGB: Machado, Oliveira and Fernandes, "A
#: physiologically-based model for simulation of color vision deficiency" (2009), severity 1.0 (recalled).
EYES = {
    "all cones": np.eye(3),
    "no red": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "no green": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "no blue": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
}


@pytest.fixture(scope="module", params=CHOSEN, ids=lambda path: path.stem)
def drawn(request, tmp_path_factory):
    """A scene's map, its sheet, and both files."""
    spread = assemble(read_description(request.param))
    folder = tmp_path_factory.mktemp(request.param.stem)
    for ending in ("svg", "pdf"):
        write_bulk(spread, folder / f"bulk.{ending}")
    bulk = bulk_map(spread)
    return bulk, draw_bulk(bulk, spread.title), folder


def page_corner(sheet):
    """Lower left corner of the page on the sheet."""
    return shapely.total_bounds([patch.outline for patch in sheet.patches if patch.region])[:2]


def svg_groups(folder):
    root = ET.parse(folder / "bulk.svg").getroot()
    return root, {group.get("data-class"): group for group in root.findall(f"{SVG}g")}


def svg_polygon(element, height):
    rings = []
    for subpath in SvgPath(element.get("d")).as_subpaths():
        points = [(segment.end.x, height - segment.end.y) for segment in SvgPath(subpath)]
        rings.append(points)
    return Polygon(rings[0], rings[1:])


def test_svg_is_true_to_scale_and_holds_the_very_regions(drawn):
    bulk, sheet, folder = drawn
    root, groups = svg_groups(folder)
    width, height = (float(root.get(name).removesuffix("mm")) for name in ("width", "height"))
    assert [float(value) for value in root.get("viewBox").split()] == [0.0, 0.0, width, height]
    paths = [path for path in groups["region"] if path.get("data-layers")]
    corner = page_corner(sheet)
    assert len(paths) == len(bulk.regions)
    for path, region in zip(paths, bulk.regions, strict=True):
        assert path.get("fill-rule") == "evenodd"
        assert int(path.get("data-layers")) == region.layers
        assert float(path.get("data-thickness-mm")) == pytest.approx(region.thickness_mm, abs=1e-4)
        outline = shapely.affinity.translate(svg_polygon(path, height), *-corner)
        assert outline.symmetric_difference(region.outline).area < 2e-4 * region.outline.length + 1e-6


def test_pdf_is_true_to_scale_with_embedded_fonts_and_the_same_areas(drawn):
    bulk, sheet, folder = drawn
    document = pymupdf.open(folder / "bulk.pdf")
    (page,) = document
    assert (page.rect.width * MM, page.rect.height * MM) == pytest.approx((sheet.width_mm, sheet.height_mm), abs=0.01)
    assert all(kind == "ttf" and "+" in name for _, kind, _, name, *_ in document.get_page_fonts(0))
    corner = page_corner(sheet)
    filled = [item for item in page.get_drawings() if item["type"] == "f"]
    regions = filled[: len(bulk.regions)]
    for item, patch in zip(regions, page_patches(bulk), strict=False):
        assert [round(255 * channel) for channel in item["fill"]] == list(patch.color)
        left, low, right, high = patch.outline.bounds
        rect = item["rect"]
        found = (rect.x0 * MM, sheet.height_mm - rect.y1 * MM, rect.x1 * MM, sheet.height_mm - rect.y0 * MM)
        assert np.subtract(found, [*corner, *corner]) == pytest.approx((left, low, right, high), abs=0.02)


def test_every_region_shows_its_own_tint_in_the_pdf(drawn):
    """Pixels of the rendered page; a region that filled its holes would hide what lies in them."""
    bulk, sheet, folder = drawn
    pixels = pymupdf.open(folder / "bulk.pdf")[0].get_pixmap(dpi=254)
    over = [patch.outline.buffer(0.2) for patch in sheet.patches if patch.level != REGION]
    over += [text_box(text, clear_mm=0.2) for text, _ in sheet.texts]
    seen = 0
    for patch in [item for item in sheet.patches if item.region]:
        free = patch.outline.difference(shapely.union_all(over)).buffer(-0.15)
        if not free.is_empty:
            place = free.representative_point()
            color = pixels.pixel(int(10 * place.x), int(10 * (sheet.height_mm - place.y)))
            assert np.abs(np.subtract(color, patch.color)).max() <= 1
            seen += 1
    assert seen >= 0.8 * len(bulk.regions)


def test_both_files_say_the_same_words(drawn):
    _, sheet, folder = drawn
    expected = sorted(text.text for text, _ in sheet.texts)
    _, groups = svg_groups(folder)
    assert sorted(element.text for element in groups["label"]) == expected
    words = " ".join(pymupdf.open(folder / "bulk.pdf")[0].get_text().split())
    assert sorted(words.split()) == sorted(" ".join(expected).split())


def test_files_are_the_same_each_time(drawn, tmp_path):
    _, _, folder = drawn
    spread = assemble(read_description(next(path for path in CHOSEN if path.stem in str(folder))))
    for ending in ("svg", "pdf"):
        write_bulk(spread, tmp_path / f"bulk.{ending}")
        assert (tmp_path / f"bulk.{ending}").read_bytes() == (folder / f"bulk.{ending}").read_bytes()


def numbers_of(sheet, bulk):
    """The numbers in the regions: texts with only digits that lie on the page."""
    page = shapely.affinity.translate(box(0.0, 0.0, *bulk.page_size_mm), *page_corner(sheet))
    return [(text, color) for text, color in sheet.texts if text.text.isdigit() and page.covers(text_box(text))]


def test_every_number_stands_in_a_region_of_so_many_layers_and_can_be_read(drawn):
    bulk, sheet, _ = drawn
    numbers = numbers_of(sheet, bulk)
    assert numbers
    ring = shapely.union_all([item.outline for item in sheet.patches if item.level == RING])
    for text, color in numbers:
        assert not ring.intersects(text_box(text))
        (patch,) = [item for item in sheet.patches if item.region and item.outline.contains(text_box(text))]
        assert int(text.text) == patch.region.layers
        light, dark = sorted((luminance(color), luminance(patch.color)), reverse=True)
        assert (light + 0.05) / (dark + 0.05) > 4.5


def test_every_region_with_room_has_its_number(drawn):
    """Room: beside the ring a circle as wide as the smallest number."""
    bulk, sheet, _ = drawn
    boxes = [text_box(text) for text, _ in numbers_of(sheet, bulk)]
    for patch in [item for item in sheet.patches if item.region]:
        size = 1.5
        radius = float(np.hypot(size, text_width_mm(str(patch.region.layers), size))) / 2
        ring = [item.outline for item in sheet.patches if item.level == RING]
        room = patch.outline.difference(shapely.union_all(ring).buffer(1.0))
        if not room.is_empty and shapely.maximum_inscribed_circle(room).length > 1.3 * radius:
            assert sum(patch.outline.contains(each) for each in boxes) == 1, patch.region


def test_nothing_overlaps_and_nothing_is_off_the_sheet(drawn):
    _, sheet, _ = drawn
    whole = box(0.0, 0.0, sheet.width_mm, sheet.height_mm).buffer(-5.0)
    boxes = [text_box(text) for text, _ in sheet.texts]
    for each in boxes:
        assert whole.contains(each)
    assert all(whole.contains(patch.outline) for patch in sheet.patches)
    for first, second in np.argwhere(shapely.intersects(np.array(boxes)[:, None], np.array(boxes)[None])):
        assert first == second, (sheet.texts[first][0].text, sheet.texts[second][0].text)


def test_the_ring_is_about_the_worst_place(drawn):
    bulk, sheet, _ = drawn
    rings = [patch.outline for patch in sheet.patches if patch.level == RING]
    for ring in rings:
        assert shapely.get_coordinates(ring.centroid)[0] - page_corner(sheet) == pytest.approx(
            bulk.worst.place_mm, abs=1e-6
        )
    assert sheet.patches.index(next(p for p in sheet.patches if p.level == RING)) > len(bulk.regions)


def test_words_legend_and_bar(drawn):
    bulk, sheet, _ = drawn
    words = " ".join(text.text for text, _ in sheet.texts)
    x, y = bulk.worst.place_mm
    thickest = f"Thickest: {bulk.worst.layers} layers, {bulk.worst.thickness_mm:.2f} mm"
    assert f"{thickest}, in the ring, {x:.1f} mm from the spine and {y:.1f} mm above the foot." in words
    assert f"Spine gusset: {bulk.gusset_mm:.2f} mm." in words
    for region in bulk.regions:
        assert f"{region.layers} layers, {region.thickness_mm:.2f} mm" in words
    samples = [patch for patch in sheet.patches if patch.level == REGION and patch.region is None]
    stacks = sorted({(region.thickness_mm, region.layers) for region in bulk.regions})
    colors = {region.region.thickness_mm: region.color for region in sheet.patches if region.region}
    assert [patch.color for patch in samples] == [colors[thickness] for thickness, _ in stacks]
    (bar,) = [line for line in sheet.lines if line.name == "scale-bar"]
    assert bar.length_mm == pytest.approx(100.0)


@pytest.mark.parametrize("eyes", EYES)
def test_the_scale_darkens_evenly_for_all_eyes(eyes):
    """Lightness (CIE 1976 L*) falls by at least 4 from each twelfth of the scale to the next."""

    def lightness(share):
        channels = np.array(thickness_tint(share)) / 255.0
        linear = np.where(channels <= 0.04045, channels / 12.92, ((channels + 0.055) / 1.055) ** 2.4)
        seen = np.clip(np.array(EYES[eyes]) @ linear, 0.0, 1.0)
        return 116.0 * np.cbrt(seen @ [0.2126, 0.7152, 0.0722]) - 16.0

    steps = np.diff([lightness(share) for share in np.linspace(0.0, 1.0, 13)])
    assert (steps < -4.0).all(), steps


def test_lettering_contrasts_with_every_tint():
    for share in np.linspace(0.0, 1.0, 101):
        tint = thickness_tint(share)
        light, dark = sorted((luminance(tint), luminance(ink_on(tint))), reverse=True)
        assert (light + 0.05) / (dark + 0.05) > 4.5


def test_bare_pages_and_a_jammed_book_are_drawn_too(tmp_path):
    bare = assemble(parse_description(HEAD))
    sheet = draw_bulk(bulk_map(bare), bare.title)
    assert "none is needed" in " ".join(text.text for text, _ in sheet.texts)
    jams = assemble(parse_description(HEAD + WRONG["jams"][0]))
    bulk = bulk_map(jams)
    words = " ".join(text.text for text, _ in draw_bulk(bulk, jams.title).texts)
    assert "Not counted" in words
    assert all(name in words for name in bulk.left_out)
    write_bulk(jams, tmp_path / "jams.pdf")


@pytest.mark.parametrize("name", list(SCENES)[::5])
def test_every_kind_of_scene_is_drawn_without_overlaps(name):
    spread = assemble(parse_description('title = "A rather long title\\nwith Σ in it"\n' + SCENES[name]))
    bulk = bulk_map(spread)
    test_nothing_overlaps_and_nothing_is_off_the_sheet((bulk, draw_bulk(bulk, spread.title), None))


def test_other_endings_are_refused():
    assert [map_format(name) for name in ("a.svg", "b/c.PDF")] == ["svg", "pdf"]
    for name in ("a.png", "a", "svg", ".pdf/"):
        with pytest.raises(HingeleafError, match=r"let the name end in \.svg or \.pdf"):
            map_format(name)


@pytest.fixture
def scene(tmp_path):
    path = tmp_path / "scene.toml"
    path.write_text(HEAD + HILL, encoding="utf-8")
    return str(path)


def test_the_command_writes_both(scene, tmp_path, capsys):
    files = [tmp_path / "map.svg", tmp_path / "map.pdf"]
    options = [word for file in files for word in ("--bulk-map", str(file))]
    assert main(["check", scene, *options, "--json", "-"]) == 0
    data = json.loads(capsys.readouterr().out)["figures"]["bulk"]
    assert all(file.stat().st_size > 1000 for file in files)
    assert sum(region["area_mm2"] for region in data["regions"]) == pytest.approx(148 * 210, abs=0.01)
    assert f"{data['layers']} layers, {data['thickness_mm']:.2f} mm" in files[0].read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (["--bulk-map", "map.png"], "map.png: a bulk map is an SVG or a PDF file"),
        (["--bulk-map", "none/map.svg"], "cannot be written"),
        (["--bulk-map", "map.svg", "--apply", "glue"], "leave out --apply"),
    ],
)
def test_what_cannot_be_written_is_told_in_one_sentence(scene, tmp_path, monkeypatch, capsys, options, message):
    monkeypatch.chdir(tmp_path)
    before = sorted(tmp_path.iterdir())
    assert main(["check", scene, *options]) == 2
    assert sorted(tmp_path.iterdir()) == before
    out = capsys.readouterr()
    assert out.out == ""
    assert message in out.err
    assert len(out.err.splitlines()) == 1
