"""How dimensions are drawn on nets: their arrowheads, and texts that lie over nothing; in files and in pictures."""

from __future__ import annotations

import importlib.util
from functools import cache
from itertools import combinations
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pytest
import shapely
from shapely import LinearRing, LineString

from geometry import assemble, read_description
from geometry.__main__ import main
from geometry.mechanisms import KINDS
from geometry.nets import draw_piece
from geometry.nets.dimensions import DIMENSION, dimension_forms
from geometry.nets.kind_sizes import sizes_on
from geometry.nets.lettering import text_box
from geometry.nets.measures import Round, Sector, Span
from tests.geometry import corpus
from tests.geometry.dimensioned import PRINTED, SCENES, number, scene

_SPEC = importlib.util.spec_from_file_location("draw_nets", SCENES / "draw_nets.py")
assert _SPEC is not None
assert _SPEC.loader is not None
draw_nets = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(draw_nets)


#: Those that are crowded, and one of each way to draw.
DRAWN = [("v-fold-unequal", "fan"), ("strap", "rainbow"), ("wheel", "sky"), ("rider", "wall"), ("pull-strip", "page")]


@cache
def forms(name: str, piece_id: str):
    spread = scene(name)
    drawing = draw_piece(spread, piece_id)
    found = dimension_forms(spread, spread.piece(piece_id), drawing.lines, drawing.texts, drawing.card)
    return found, drawing


@pytest.mark.parametrize(("name", "piece"), DRAWN)
def test_arrowheads_are_as_far_apart_as_the_text_says(name, piece):
    for form in forms(name, piece)[0]:
        tips = np.array([head[1] for head in form.heads])
        value = abs(number(form.text.text.replace("ø", "")))
        if isinstance(form.size, Span):
            assert abs(np.hypot(*(tips[1] - tips[0])) - value) <= PRINTED, form.text.text
            square = np.array([-form.size.along[1], form.size.along[0]])
            ends = {tuple(np.round([tip @ form.size.along], 4)) for tip in tips}
            assert ends == {tuple(np.round([point @ form.size.along], 4)) for point in form.size.points}
            assert abs((tips[1] - tips[0]) @ square) < 1e-9
        elif isinstance(form.size, Sector):
            legs = tips - form.size.apex
            assert np.ptp(np.hypot(*legs.T)) < 1e-9
            cosine = legs[0] @ legs[1] / np.hypot(*legs[0]) / np.hypot(*legs[1])
            assert abs(np.degrees(np.arccos(np.clip(cosine, -1, 1))) - value) <= PRINTED
        else:
            assert isinstance(form.size, Round)
            assert abs(np.hypot(*(tips[0] - form.size.centre)) * (2 if form.size.whole else 1) - value) <= PRINTED


@pytest.mark.parametrize(("name", "piece"), DRAWN)
def test_texts_lie_over_no_line_no_text_and_no_dimension_line(name, piece):
    found, drawing = forms(name, piece)
    boxes = [text_box(form.text) for form in found]
    cuts = [line for line in drawing.lines if line.line_class in ("cut", "mountain", "valley")]
    net = shapely.union_all([LinearRing(x.points) if x.closed else LineString(x.points) for x in cuts])
    for box, form in zip(boxes, found, strict=True):
        assert not box.intersects(net), form.text.text
        assert not any(box.intersects(text_box(text)) for text in drawing.texts), form.text.text
        for other in found:
            assert not LineString(other.main).intersects(box), (form.text.text, other.text.text)
    for one, two in combinations(range(len(boxes)), 2):
        assert not boxes[one].intersects(boxes[two]), (found[one].text.text, found[two].text.text)


@pytest.mark.parametrize(("name", "piece"), DRAWN)
def test_texts_read_from_below_or_from_the_right(name, piece):
    for form in forms(name, piece)[0]:
        assert -np.pi / 2 < form.text.turn_rad <= np.pi / 2 + 1e-9


def test_no_line_of_a_dimension_is_a_point():
    """The page under a rider of this scene has a dimension that lies on what it measures."""
    spread = assemble(read_description(corpus.FOLDER / "sound" / "miss-rider-page.toml"))
    for piece in spread.pieces:
        assert all(line.length_mm > 1e-3 for line in draw_piece(spread, piece.id, dimensions=True).lines)


def test_the_net_itself_is_the_same_and_its_box_takes_the_dimensions_in():
    plain = draw_piece(scene("tent"), "roof")
    sized = draw_piece(scene("tent"), "roof", dimensions=True)
    assert len(sized.lines) > len(plain.lines)
    assert {line.line_class for line in sized.lines[len(plain.lines) :]} == {"mark"}
    assert {text.line_class for text in sized.texts} == {"label"}
    for one, two in zip(plain.lines, sized.lines, strict=False):
        assert one.line_class == two.line_class
        assert np.array_equal(one.points, two.points)
    left, low, right, high = sized.bounds()
    for line in sized.lines:
        if line.name == DIMENSION:
            assert (line.points >= np.array([left, low]) - 1e-9).all()
            assert (line.points <= np.array([right, high]) + 1e-9).all()


def classes(folder: Path) -> tuple[dict[str, list[str]], list[str]]:
    """Paths by class, and texts, of all SVG sheets in a folder."""
    paths: dict[str, list[str]] = {}
    texts = []
    for file in sorted(folder.glob("*.svg")):
        for layer in ET.parse(file).getroot().iter("{http://www.w3.org/2000/svg}g"):
            if name := layer.get("data-class"):
                found = layer.iter("{http://www.w3.org/2000/svg}path")
                paths.setdefault(name, []).extend(sorted(str(path.get("d")) for path in found))
                texts += [str(text.text) for text in layer.iter("{http://www.w3.org/2000/svg}text")]
    return paths, texts


def test_the_command_draws_them_when_asked(tmp_path, capsys):
    for option in ((), ("--dimensions",)):
        folder = str(tmp_path / f"nets{len(option)}")
        assert main(["nets", str(SCENES / "tent.toml"), "--out", folder, "--sheet", "A3", *option]) == 0
    plain, texts = classes(tmp_path / "nets0")
    sized, more = classes(tmp_path / "nets1")
    assert set(sized) == set(plain)
    assert not any(text.startswith(("base", "height")) for text in texts)
    assert {"base 25", "height 45", "length 60", "at 50", "tab_width 10"} <= set(more)
    for name in ("cut", "mountain", "valley", "glue"):
        assert len(sized[name]) == len(plain[name])
    assert len(list((tmp_path / "nets1").glob("*.pdf"))) == 1
    assert len(list((tmp_path / "nets1").glob("*.dxf"))) == 1


@pytest.mark.parametrize("name", draw_nets.PICTURES)
def test_pictures_show_what_the_code_says_and_stand_in_the_page(name):
    file = SCENES / "pictures" / f"{name}-net.svg"
    assert file.stat().st_size < 60_000
    texts = {str(text.text) for text in ET.parse(file).getroot().iter("{http://www.w3.org/2000/svg}text")}
    for piece in draw_nets.PICTURES[name]:
        assert {size.text for size in sizes_on(scene(name), piece)} <= texts, piece
    assert f"](pictures/{name}-net.svg)" in (SCENES / "README.md").read_text(encoding="utf-8")


def test_every_kind_has_a_picture_of_its_net():
    shown = {spec.kind for name in draw_nets.PICTURES for spec in scene(name).mechanisms}
    assert shown == set(KINDS)
