"""The same net in SVG, PDF and DXF, read back by an XML parser, svgelements, pymupdf and ezdxf."""

import warnings
from xml.etree import ElementTree as ET

import ezdxf
import numpy as np
import pytest
from svgelements import Path as SvgPath

with warnings.catch_warnings():
    warnings.simplefilter("ignore", DeprecationWarning)  # from its compiled part, on import
    import pymupdf

from geometry import assemble, read_description
from geometry.nets import LINE_CLASSES, write_nets
from tests.geometry.scene_texts import FILES as SCENES

SVG = "{http://www.w3.org/2000/svg}"
MM = 25.4 / 72.0


@pytest.fixture(scope="module", params=SCENES, ids=lambda path: path.stem)
def written(request, tmp_path_factory):
    folder = tmp_path_factory.mktemp(request.param.stem)
    return write_nets(assemble(read_description(request.param)), folder)


def paths_of(written, ending):
    return [path for path in written.paths if path.suffix == ending]


def svg_lengths(path):
    """Length of every class, of pieces by their id and of the sheet itself under None."""
    lengths = {}
    for layer in ET.parse(path).getroot().iter(f"{SVG}g"):
        if (name := layer.get("data-class")) is None:
            continue
        for group in layer.findall(f"{SVG}g"):
            for element in group.findall(f"{SVG}path"):
                if element.get("data-fill"):  # a flat colour, no line
                    continue
                key = (group.get("data-piece"), name)
                lengths[key] = lengths.get(key, 0.0) + SvgPath(element.get("d")).length(error=1e-9)
    return lengths


def piece_at(sheet, x, y):
    """The piece in whose box a point lies, None for the foot."""
    for drawing in sheet.pieces:
        left, low, right, high = drawing.bounds()
        if left - 0.5 <= x <= right + 0.5 and low - 0.5 <= y <= high + 0.5:
            return drawing.piece.id
    return None


def polyline_length(points, closed):
    points = np.array(points, dtype=float)
    if closed:
        points = np.concatenate([points, points[:1]])
    return float(np.hypot(*np.diff(points, axis=0).T).sum())


def pdf_points(drawing):
    """Corners of one stroked path, in points, and whether it closes."""
    points = []
    for item in drawing["items"]:
        if item[0] == "l":
            points.extend(item[1:3])
        elif item[0] == "c":
            start, one, two, end = (np.array(corner) for corner in item[1:5])
            for t in np.linspace(0.0, 1.0, 33):
                u = 1.0 - t
                points.append(u**3 * start + 3 * u * u * t * one + 3 * u * t * t * two + t**3 * end)
        elif item[0] == "re":
            rect = item[1]
            points.extend([rect.tl, rect.tr, rect.br, rect.bl, rect.tl])
        else:
            quad = item[1]
            points.extend([quad.ul, quad.ur, quad.lr, quad.ll, quad.ul])
    return points, drawing.get("closePath", False)


def pdf_lengths(page, sheet):
    lengths = {}
    for drawing in page.get_drawings():
        if "s" not in drawing["type"]:
            continue
        points, closed = pdf_points(drawing)
        where = piece_at(sheet, points[0][0] * MM, sheet.height_mm - points[0][1] * MM)
        key = (where, drawing["layer"])
        lengths[key] = lengths.get(key, 0.0) + polyline_length(points, closed) * MM
    return lengths


def dxf_lengths(document, sheet):
    lengths = {}
    owner = {entity.dxf.handle: group.dxf.description for _, group in document.groups for entity in group}
    for line in document.modelspace().query("LWPOLYLINE"):
        key = (owner.get(line.dxf.handle), line.dxf.layer)
        lengths[key] = lengths.get(key, 0.0) + polyline_length(line.get_points("xy"), line.closed)
    return lengths


def test_lengths_agree_by_class_and_piece_in_all_three_formats(written):
    document = pymupdf.open(paths_of(written, ".pdf")[0])
    assert len(document) == len(written.sheets)
    parts = zip(written.sheets, paths_of(written, ".svg"), paths_of(written, ".dxf"), document, strict=True)
    for sheet, svg, dxf, page in parts:
        expected = {}
        for drawing in sheet.pieces:
            for line in drawing.lines:
                key = (drawing.piece.id, line.line_class)
                expected[key] = expected.get(key, 0.0) + line.length_mm
        for line in sheet.lines:
            expected[None, line.line_class] = expected.get((None, line.line_class), 0.0) + line.length_mm
        assert {name for _, name in expected} >= {"cut", "label", "mark"}
        for found in (svg_lengths(svg), dxf_lengths(ezdxf.readfile(dxf), sheet), pdf_lengths(page, sheet)):
            assert found == pytest.approx(expected, abs=0.01)


def test_every_path_of_a_piece_says_what_it_belongs_to(written):
    for path in paths_of(written, ".svg"):
        root = ET.parse(path).getroot()
        for layer in root.iter(f"{SVG}g"):
            if layer.get("data-class") in ("mountain", "valley"):
                assert all(element.get("data-hinge") for element in layer.iter(f"{SVG}path"))
            if layer.get("data-class") == "glue":
                assert all(
                    element.get("data-panel") and element.get("data-glued") for element in layer.iter(f"{SVG}path")
                )


def test_svg_layers_come_in_order_and_hold_nothing_of_another_class(written):
    for path in paths_of(written, ".svg"):
        root = ET.parse(path).getroot()
        layers = [child.get("data-class") for child in root if child.tag == f"{SVG}g"]
        assert layers == list(LINE_CLASSES)
        strokes = {child.get("data-class"): child.get("stroke") for child in root if child.tag == f"{SVG}g"}
        assert len({strokes["cut"], strokes["mountain"], strokes["valley"], strokes["glue"]}) == 4


def test_svg_dashes_tell_mountain_from_valley_and_both_from_cut(written):
    for path in paths_of(written, ".svg"):
        for layer in ET.parse(path).getroot().iter(f"{SVG}g"):
            counts = {"cut": 0, "valley": 2, "mountain": 4}
            if (name := layer.get("data-class")) in counts:
                for element in layer.iter(f"{SVG}path"):
                    assert len((element.get("stroke-dasharray") or "").split()) == counts[name]


def test_each_format_carries_the_same_texts(written):
    document = pymupdf.open(paths_of(written, ".pdf")[0])
    parts = zip(written.sheets, paths_of(written, ".svg"), paths_of(written, ".dxf"), document, strict=True)
    for sheet, svg, dxf, page in parts:
        expected = sorted(text.text for drawing in sheet.pieces for text in drawing.texts)
        expected = sorted([*expected, *(text.text for text in sheet.texts)])
        in_svg = sorted(element.text for element in ET.parse(svg).getroot().iter(f"{SVG}text"))
        in_dxf = sorted(text.dxf.text for text in ezdxf.readfile(dxf).modelspace().query("TEXT"))
        in_pdf = sorted("".join(chr(char[0]) for char in span["chars"]) for span in page.get_texttrace())
        assert in_svg == in_dxf == expected
        assert in_pdf == expected


def test_pdf_layers_boxes_and_fonts(written):
    document = pymupdf.open(paths_of(written, ".pdf")[0])
    assert [group["name"] for group in document.get_ocgs().values()] == list(LINE_CLASSES)
    for sheet, page in zip(written.sheets, document, strict=True):
        assert {drawing["layer"] for drawing in page.get_drawings()} <= set(LINE_CLASSES)
        assert {span["layer"] for span in page.get_texttrace()} == {"label"}
        assert page.mediabox.contains(page.bleedbox)
        assert page.bleedbox.contains(page.trimbox)
        for drawing in sheet.pieces:
            left, low, right, high = (value / MM for value in drawing.card.bounds)
            top = page.mediabox.height
            assert page.trimbox.x0 - 0.01 <= left < right <= page.trimbox.x1 + 0.01
            assert page.trimbox.y0 - 0.01 <= top - high < top - low <= page.trimbox.y1 + 0.01
        for font in page.get_fonts(full=True):
            assert len(document.extract_font(font[0])[3]) > 1000, font[3]


def test_dxf_is_sound(written):
    for path in paths_of(written, ".dxf"):
        document = ezdxf.readfile(path)
        auditor = document.audit()
        assert not auditor.errors
        assert not auditor.fixes
        assert document.dxfversion == "AC1024"
        assert {entity.dxf.layer for entity in document.modelspace()} <= set(LINE_CLASSES)
        assert all(name in document.layers for name in LINE_CLASSES)
        assert document.layers.get("mountain").dxf.linetype == "DASHDOT"
        assert document.layers.get("valley").dxf.linetype == "DASHED"
