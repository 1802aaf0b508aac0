"""Outlines from SVG files: true sizes whatever the units, every shape, and nothing that a bad file could do."""

import numpy as np
import pytest

from geometry import HingeleafError, assemble, parse_description
from geometry.design.outline_fitting import placed
from geometry.design.outline_keys import outline_keys, with_outline
from geometry.design.strokes import chains_of, stroke_of, value_of
from geometry.errors import FileError
from geometry.outline import closed_outline, polyline
from geometry.outline_files import read_outlines
from tests.geometry.scene_texts import HILL, head, rider_on

NAMESPACES = 'xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'


@pytest.fixture
def read(tmp_path):
    def read(inside, head=""):
        file = tmp_path / "drawing.svg"
        file.write_text(
            inside if inside.startswith("<") and "svg" in inside[:80] else f"<svg {NAMESPACES} {head}>{inside}</svg>"
        )
        return read_outlines(file)

    return read


def bounds(outline):
    points = np.array(polyline(outline.data))
    return [*points.min(axis=0), *points.max(axis=0)]


RECT = '<rect x="10" y="20" width="30" height="40"/>'
PX = 25.4 / 96


@pytest.mark.parametrize(
    ("head", "scale", "height"),
    [
        ('width="200mm" height="100mm" viewBox="0 0 200 100"', 1.0, 100.0),
        ('width="20cm" height="10cm" viewBox="0 0 400 200"', 0.5, 100.0),
        ('width="2in" height="1in" viewBox="0 0 200 100"', 0.254, 25.4),
        ('width="200" height="100"', PX, 100 * PX),
        ('width="200px" height="100px"', PX, 100 * PX),
        ('viewBox="0 0 200 100"', PX, 100 * PX),
        ('width="100%" height="100%" viewBox="0 0 200 100"', PX, 100 * PX),
        ('width="150pt" height="75pt" viewBox="0 0 200 100"', PX, 100 * PX),
    ],
)
def test_sizes_are_true_in_every_unit(read, head, scale, height):
    (outline,) = read(RECT, head)
    expected = [10 * scale, height - 60 * scale, 40 * scale, height - 20 * scale]
    assert bounds(outline) == pytest.approx(expected, abs=2e-3)
    assert outline.closed
    assert outline.size_mm == pytest.approx((30 * scale, 40 * scale), abs=2e-3)


MM = 'width="200mm" height="100mm" viewBox="0 0 200 100"'


@pytest.mark.parametrize(
    ("shape", "area"),
    [
        ('<circle cx="50" cy="50" r="20"/>', np.pi * 400),
        ('<ellipse cx="50" cy="50" rx="20" ry="10"/>', np.pi * 200),
        ('<rect width="30" height="20" rx="5"/>', 600 - (4 - np.pi) * 25),
        ('<polygon points="0,0 30,0 0,30"/>', 450),
        ('<path d="M0 0h30v20h-30z"/>', 600),
        ('<path d="M0 0h30v20h-30L0 0"/>', 600),
        ('<g transform="translate(50 50) rotate(30) scale(2 1)"><rect width="10" height="10"/></g>', 200),
        ('<defs><rect id="r" width="10" height="10"/></defs><use xlink:href="#r" transform="scale(3)"/>', 900),
        ('<symbol id="r"><rect width="10" height="10"/></symbol><use href="#r"/>', 100),
        (
            '<path d="M20 0 A 10 10 0 0 1 40 0 A 10 10 0 0 1 20 0 Z" transform="translate(0 50) skewX(20)"/>',
            np.pi * 100,
        ),
        ('<style>.no {display: none}</style><rect class="no" width="9" height="9"/><rect width="5" height="5"/>', 25),
    ],
)
def test_every_shape(read, shape, area):
    (outline,) = read(shape, MM)
    assert closed_outline(outline.data).area == pytest.approx(area, rel=2e-3)


def test_open_lines_curves_and_names(read):
    outlines = read(
        '<path id="hill" d="M0 100 C 20 60 40 60 60 100"/><polyline points="0,0 5,5 10,0"/><line x2="9"/>', MM
    )
    assert [outline.closed for outline in outlines] == [False] * 3
    assert outlines[0].data.startswith("M 0 0 C 20 40 40 40 60")
    assert [str(outline) for outline in outlines][:1] == ["1 hill (open, 60.0 x 0.0 mm)"]


def test_strokes_of_one_path_and_what_is_not_seen(read):
    outlines = read(
        '<path id="two" d="M0 0h9v9z M20 0h9v9z"/><rect display="none" width="5" height="5"/>'
        '<rect visibility="hidden" width="5" height="5"/><clipPath id="c"><rect width="5" height="5"/></clipPath>'
        '<symbol id="s"><rect width="5" height="5"/></symbol><text>word</text><image href="file:///etc/passwd"/>',
        MM,
    )
    assert [(outline.number, outline.name) for outline in outlines] == [(1, "two"), (2, "two")]


BOMB = "".join(f'<g id="a{i + 1}"><use href="#a{i}"/><use href="#a{i}"/></g>' for i in range(40))
LAUGHS = "".join(f'<!ENTITY e{i} "{f"&e{i - 1};" * 10 if i else "ha" * 50}">' for i in range(9))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("hello", "no SVG file"),
        ("<html/>", "begins with html"),
        ("", "no SVG file"),
        (f"<svg {NAMESPACES}/>", "no shape"),
        (f"<svg {NAMESPACES}><text>word</text></svg>", "no shape"),
        (f'<svg {NAMESPACES}><use id="a" href="#a"/></svg>', "uses itself"),
        (f'<svg {NAMESPACES}><g id="a0"><path d="M0 0L1 1"/></g>{BOMB}</svg>', "more than 50000"),
        (f'<!DOCTYPE s [{LAUGHS}]><svg xmlns="http://www.w3.org/2000/svg"><title>&e8;</title></svg>', "no SVG file"),
        ('<!DOCTYPE s [<!ENTITY x SYSTEM "file:///etc/passwd">]><svg><title>&x;</title></svg>', "no SVG file"),
        (f"<svg {NAMESPACES}>{'<g>' * 500}{'</g>' * 500}</svg>", "nested too deeply"),
        (f'<svg {NAMESPACES}><path d="M0 0L1e400 1"/></svg>', "not a number"),
        (f'<svg {NAMESPACES}><path d="M0 0L1e9 1"/></svg>', "10 m away"),
        (f'<svg {NAMESPACES}><polyline points="{"1,1 5,5 " * 15000}"/></svg>', "20000 points"),
        (
            f'<svg {NAMESPACES} width="x" height="-" viewBox="a b c d"><rect width="1e3" height="q"/></svg>',
            "cannot be read|no shape",
        ),
    ],
)
def test_bad_files_are_told_in_one_sentence(tmp_path, text, words):
    file = tmp_path / "bad.svg"
    file.write_text(text)
    with pytest.raises(FileError, match=words) as caught:
        read_outlines(file)
    assert str(caught.value).startswith("bad.svg")
    assert "\n" not in str(caught.value)


def test_files_that_are_not_there_or_too_large(tmp_path):
    with pytest.raises(FileError, match="cannot be read"):
        read_outlines(tmp_path / "none.svg")
    large = tmp_path / "large.svg"
    with large.open("wb") as file:
        file.truncate(20_000_001)
    with pytest.raises(FileError, match="larger than 20 MB"):
        read_outlines(large)


def test_an_entity_that_only_shortens_a_name_is_read(read):
    """A well-known drawing program writes its files so."""
    text = '<!DOCTYPE svg [<!ENTITY ns "http://www.w3.org/2000/svg">]><svg xmlns="&ns;"><path d="M0 0L10 10"/></svg>'
    assert len(read(text)) == 1


STAGE = parse_description(
    head("Stage", "[140, 200]") + HILL + rider_on("sun", "hill.left", "at = [-20, 30]; size = [10, 20]")
)
SPREAD = assemble(STAGE)


def key_of(name, mechanism="hill"):
    return next(key for key in outline_keys(STAGE, SPREAD, mechanism) if key.key == name)


@pytest.mark.parametrize("side", ["left", "right"])
def test_a_line_is_fitted_from_end_to_end_as_it_was_drawn(side):
    """Drawn from lower left to upper right or back, it keeps its bulge on the side where it was drawn."""
    key = key_of(f"edge_{side}")
    sign = -1 if side == "left" else 1
    bulge = [[0, 0], [sign * 8, 8], [sign * 10, 0]] if side == "right" else [[-10, 0], [-8, 8], [0, 0]]
    for points in (bulge, bulge[::-1]):
        (line,) = placed([stroke_of(points, closed=False)], key, SPREAD)
        assert np.allclose(line.points[[0, -1]], key.ends)
        length = np.hypot(50, 50)
        # 8 aside on a base of 10: the peak stands 0.8 of the base off it, on the outer side.
        across = np.array([1, 1]) / np.sqrt(2)
        offset = (line.points[1] - key.ends[0]) @ across
        assert offset == pytest.approx(0.8 * length)


def test_a_line_at_true_size_begins_at_the_hinge_and_is_led_to_its_end():
    key = key_of("edge_right")
    (line,) = placed([stroke_of([[0, 0], [10, 10], [20, 0]], closed=False)], key, SPREAD, size="true")
    assert line.points.tolist() == pytest.approx(np.array([[0, 50], [10, 60], [20, 50], [50, 0]]))
    assert assemble(with_outline(STAGE, key, [line])).panels["hill.right"].outline.is_valid


def test_closed_lines_fill_the_box_of_what_they_replace():
    key = key_of("outline", "sun")
    square = stroke_of([[100, 100], [104, 100], [104, 104], [100, 104]], closed=True)
    (fitted,) = placed([square], key, SPREAD)
    assert [*fitted.points.min(axis=0), *fitted.points.max(axis=0)] == pytest.approx([-5, -5, 5, 5])
    (true,) = placed([square], key, SPREAD, size="true")
    assert [*true.points.min(axis=0), *true.points.max(axis=0)] == pytest.approx([-2, -2, 2, 2])


def test_windows_stand_in_the_middle_of_the_panel_and_read_as_drawn():
    key = key_of("holes_left")
    letter = stroke_of([[0, 0], [4, 0], [1, 1], [0, 4]], closed=True)
    (window,) = placed([letter], key, SPREAD, size="true")
    on_net = window.moved(key.frame)
    assert (on_net.points - on_net.points[0]).tolist() == pytest.approx(letter.points - letter.points[0])
    (turned,) = placed([letter], key, SPREAD, size="true", mirrored=True)
    assert (turned.points - turned.points[0]).tolist() == pytest.approx(letter.points - letter.points[0])
    assert assemble(with_outline(STAGE, key, [window])).panels["hill.left"].outline.interiors


@pytest.mark.parametrize(
    ("name", "mechanism", "closed", "count", "words"),
    [
        ("edge_left", "hill", True, 1, "one open line; there are 0"),
        ("edge_left", "hill", False, 2, "one open line; there are 2"),
        ("outline", "sun", False, 1, "one closed outline; there are 0"),
        ("holes_left", "hill", False, 1, "closed outlines; there are none"),
    ],
)
def test_what_does_not_fit_is_said(name, mechanism, closed, count, words):
    lines = [stroke_of([[0, 0], [10, 0], [0, 10]], closed=closed)] * count
    with pytest.raises(HingeleafError, match=words):
        placed(lines, key_of(name, mechanism), SPREAD)


def test_chains_of_a_mesh():
    points = np.array([[0, 0], [10, 0], [10, 10], [0, 10], [50, 50], [60, 50], [55, 60]], dtype=float)
    chain, ring = chains_of(points, [(2, 1), (3, 2), (0, 1), (4, 5), (5, 6), (6, 4)])
    assert sorted([chain.closed, ring.closed]) == [False, True]
    assert value_of(chain) in ([[0, 0], [10, 0], [10, 10], [0, 10]], [[0, 10], [10, 10], [10, 0], [0, 0]])
    assert closed_outline(value_of(ring)).area == pytest.approx(50)
    with pytest.raises(HingeleafError, match=r"branches near 10\.0, 0\.0"):
        chains_of(points, [(0, 1), (1, 2), (1, 3)])
    with pytest.raises(HingeleafError, match="no edges"):
        chains_of(points, np.empty((0, 2)))
