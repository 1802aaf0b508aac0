"""Net files against the standards they follow, read back by an XML parser, pymupdf and ezdxf.

Sources: ISO 216 (sizes of the A and B series; the table as published in the standard, recalled). ISO 32000-1, 8.3.2.3
(user unit 1/72 inch), 14.11.2 (page boundaries), 8.11 (optional content). PDF/X, ISO 15930 (TrimBox inside BleedBox
inside MediaBox; recalled). SVG 1.1, 7.10 (units; a viewBox of the same numbers makes the user unit 1 mm). DXF
reference, header variables: $INSUNITS 4 = millimetres, $MEASUREMENT 1 = metric (recalled). ISO 128-2, line types 02
(dashed) and 04 (dash-dot; recalled).
"""

import re
import warnings
from xml.etree import ElementTree as ET

import ezdxf
import numpy as np
import pytest

with warnings.catch_warnings():
    warnings.simplefilter("ignore", DeprecationWarning)  # from its compiled part, on import
    import pymupdf

from geometry import assemble, parse_description
from geometry.nets import sheet_size, write_nets

#: ISO 216, main series A and additional series B, trimmed sizes in mm.
ISO_216 = {
    "A0": (841, 1189), "A1": (594, 841), "A2": (420, 594), "A3": (297, 420), "A4": (210, 297), "A5": (148, 210),
    "A6": (105, 148), "A7": (74, 105), "A8": (52, 74), "A9": (37, 52), "A10": (26, 37),
    "B0": (1000, 1414), "B1": (707, 1000), "B2": (500, 707), "B3": (353, 500), "B4": (250, 353), "B5": (176, 250),
    "B6": (125, 176), "B7": (88, 125), "B8": (62, 88), "B9": (44, 62), "B10": (31, 44),
}  # fmt: skip
SVG = "{http://www.w3.org/2000/svg}"
TEXT = """
format = 1
title = "Units"
[page]
size = "A6"
[[mechanism]]
kind = "tent"
id = "roof"
fold = "spine"
at = 40
length = 50
base = 20
height = 30
"""


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    folder = tmp_path_factory.mktemp("nets")
    nets = write_nets(assemble(parse_description(TEXT)), folder, sheet="A4")
    return {path.suffix: path for path in nets.paths}


@pytest.mark.parametrize(("name", "size"), ISO_216.items())
def test_iso_216(name, size):
    found = sheet_size(name)
    assert (found.width_mm, found.height_mm) == size


def test_svg_user_unit_is_one_millimetre(files):
    root = ET.parse(files[".svg"]).getroot()
    width, height = (re.fullmatch(r"([\d.]+)mm", root.get(key)) for key in ("width", "height"))
    size = float(width[1]), float(height[1])
    assert tuple(sorted(size)) == ISO_216["A4"]
    assert [float(number) for number in root.get("viewBox").split()] == [0.0, 0.0, *size]


def test_svg_bar_measures_100_mm(files):
    root = ET.parse(files[".svg"]).getroot()
    (bar,) = [path for path in root.iter(f"{SVG}path") if path.get("data-name") == "scale-bar"]
    (x1, y1), (x2, y2) = (map(float, pair) for pair in re.findall(r"(-?[\d.]+),(-?[\d.]+)", bar.get("d")))
    assert x2 - x1 == pytest.approx(100.0, abs=1e-6)
    assert y1 == y2


def test_pdf_page_is_an_a4_sheet_in_points(files):
    (page,) = pymupdf.open(files[".pdf"])
    assert sorted(page.mediabox[2:]) == pytest.approx([595.276, 841.890], abs=1e-3)
    assert page.rotation == 0


def test_pdf_bar_measures_283_465_points(files):
    (page,) = pymupdf.open(files[".pdf"])
    marks = [drawing for drawing in page.get_drawings() if drawing["layer"] == "mark"]
    assert max(drawing["rect"].width for drawing in marks) == pytest.approx(100.0 / 25.4 * 72.0, abs=1e-3)


def test_pdf_boxes_nest(files):
    (page,) = pymupdf.open(files[".pdf"])
    media, bleed, trim = page.mediabox, page.bleedbox, page.trimbox
    assert media.contains(bleed)
    assert bleed.contains(trim)
    margins = [trim.x0 - bleed.x0, trim.y0 - bleed.y0, bleed.x1 - trim.x1, bleed.y1 - trim.y1]
    assert margins == pytest.approx([3.0 / 25.4 * 72.0] * 4, abs=1e-3)


def test_pdf_has_a_layer_a_class_that_is_on(files):
    groups = pymupdf.open(files[".pdf"]).get_ocgs().values()
    assert sorted(group["name"] for group in groups) == ["art", "cut", "glue", "label", "mark", "mountain", "valley"]
    assert all(group["on"] for group in groups)


def test_dxf_units_are_millimetres(files):
    document = ezdxf.readfile(files[".dxf"])
    assert document.header["$INSUNITS"] == 4
    assert document.header["$MEASUREMENT"] == 1
    assert document.dxfversion == "AC1024"


def test_dxf_bar_measures_100_mm(files):
    document = ezdxf.readfile(files[".dxf"])
    marks = [np.array(line.get_points("xy")) for line in document.modelspace().query('LWPOLYLINE[layer=="mark"]')]
    assert max(np.ptp(points[:, 0]) for points in marks) == pytest.approx(100.0, abs=1e-9)


def test_dxf_line_types_are_dashed_and_dash_dot(files):
    document = ezdxf.readfile(files[".dxf"])
    elements = {
        name: [
            tag.value
            for tag in document.linetypes.get(document.layers.get(name).dxf.linetype).pattern_tags.tags
            if tag.code == 49
        ]
        for name in ("valley", "mountain")
    }
    assert [value > 0 for value in elements["valley"]] == [True, False]
    assert [value > 0 for value in elements["mountain"]] == [True, False, True, False]
    assert elements["mountain"][2] < 0.25 * elements["mountain"][0]
