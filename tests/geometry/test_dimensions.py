"""Dimensions on nets: what they say is what is drawn, and every key that is a size appears.

What a dimension points at is looked up on the drawing without dimensions, as a person with a ruler would.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
import shapely
from shapely import LineString

from geometry import assemble, parse_description
from geometry.description.fields import expand
from geometry.mechanisms import KINDS
from geometry.nets import draw_piece
from geometry.nets.kind_sizes import SIZES_OF, sizes_on
from geometry.nets.measures import Sector, Span
from tests.geometry.dimensioned import PRINTED, SCENES, number, scene
from tests.geometry.scene_texts import HEAD

NAMES = sorted(path.stem for path in SCENES.glob("*.toml"))
ON_LINE_MM = 1e-3

#: A size of its own for every key of every kind that is a number, so that none is missed or taken for another.
EVERY = {
    "v-fold": [
        'kind = "v-fold"\nfold = "spine"\nat = 61\nangle_left = 40\nangle_right = 62\nheight = 48\n'
        "crease_angle_left = 95\ncrease_angle_right = 73\nwidth_left = 56\nwidth_right = 42.5\napex_cut_left = 9\n"
        "apex_cut_right = 7\ntab_width_left = 8\ntab_width_right = 6.5\n"
    ],
    "tent": [
        'kind = "tent"\nfold = "spine"\nat = 41\nlength = 63\nbase_left = 24\nbase_right = 20\nheight_left = 30\n'
        "height_right = 34\ntab_width_left = 8\ntab_width_right = 6.5\n"
    ],
    "slit-cut-in": [
        'kind = "slit-cut-in"\nfold = "spine"\nat = 41\nlength = 37\nwidth_start_left = 30\nwidth_start_right = 20\n'
        "width_end_left = 15\nwidth_end_right = 10\n",
        'kind = "slit-cut-in"\nfold = "spine"\nat = 41\nlength = 37\nwidth_left = 18\nwidth_right = 26\n',
        'kind = "slit-cut-in"\nfold = "spine"\nat = 41\nlength = 37\nwidth = 18\n',
        'kind = "slit-cut-in"\nfold = "spine"\nat = 41\nlength = 37\nwidth_start = 18\nwidth_end = 23\n',
    ],
    "platform": [
        'kind = "platform"\nfold = "spine"\nat = 41\nlength = 62\nbase = 8\nheight = 33\nwidth_left = 47\n'
        "width_right = 44\ntab_width_left = 9\ntab_width_right = 7.5\n"
    ],
    "box": [
        'kind = "box"\nfold = "spine"\nat = 41\nlength = 81\nbase = 30\nheight = 37\nend_width_left = 31\n'
        "end_width_right = 31\ntab_width_left = 8\ntab_width_right = 6.5\n"
    ],
    "layer": [
        'kind = "box"\nid = "crate"\nfold = "spine"\nat = 41\nlength = 81\nbase = 30\nheight = 37\n',
        'kind = "layer"\nbox = "crate"\nat = 33\nheight = 29\nwidth_left = 32\nwidth_right = 32\ntab_width_left = 8\n'
        "tab_width_right = 6.5\n",
    ],
    "accordion": [
        'kind = "accordion"\nfold = "spine"\nat = 41\nlength = 82\nbases = [16, 20]\nheights = [31, 27]\n'
        "tab_width_left = 8\ntab_width_right = 6.5\n"
    ],
    "strap": [
        'kind = "strap"\nfrom = "page.left"\nfrom_at = [-40, 80]\nfrom_turn = 90\nto = "page.right"\nto_at = [40, 80]\n'
        "to_turn = 90\nlength = 21\nwidths = [50, 50]\ntab_width_left = 8\ntab_width_right = 6.5\n"
    ],
    "rider": ['kind = "rider"\npanel = "page.right"\nat = [41, 63]\nturn = 17\nsize = [30, 22]\n'],
    "flap": [
        'kind = "flap"\npanel = "page.right"\nat = [41, 63]\nturn = 17\nlength = 31\nwidth = 26\nopens_to = 120\n'
        "rest = 20\ntab_width = 8\n"
    ],
    "pull-strip": [
        'kind = "flap"\nid = "lid"\npanel = "page.right"\nat = [90, 100]\nturn = 180\nlength = 50\nwidth = 44\n'
        "driven = true\n",
        'kind = "pull-strip"\npanel = "page.right"\nat = [34, 101]\nturn = 180\nway = "in"\nlength = 112\nwidth = 20\n'
        "travel = 27\nguides = [12, 20]\nguide_width = 7\nbeyond = 160\n",
        'kind = "pull-strip"\nid = "other"\npanel = "page.right"\nat = [34, 100]\nlength = 112\nwidth = 20\n'
        'travel = 28\nguides = [72, 99]\nguide_width = 7\nbeyond = 40\ndrives = "lid"\nlink_at = 16\nlink_reach = 15\n'
        "link_length = 25\nlink_width = 15.5\nlink_tab = 6\n",
    ],
    "solid": [
        'kind = "solid"\npanel = "page.right"\nat = [71, 63]\nturn = 17\nmodel = "models/keepers-house.obj"\n'
        'height = 44\nfoot = "inward"\nfoot_width = 7\nflatten = 1\nsmooth = 2\ntab_width = 5\nroom = [290, 200]\n',
        'kind = "solid"\npanel = "page.left"\nat = [-71, 63]\nmodel = "models/keepers-house.obj"\nscale = 0.9\n',
    ],
    "wheel": [
        'kind = "wheel"\npanel = "page.right"\nat = [80, 111]\nradius = 40\nturns_to = 180\nbeyond = 3\npivot = 5\n'
    ],
}

#: Keys of numbers that no line of a net shows, and why.
NO_PLACE = {
    ("solid", "height"): "its nets are those of its model; how high it stands is no line of them",
    ("solid", "scale"): "how many times as large as its model it is made",
    ("solid", "foot_width"): "how far its tabs reach where there is room for them",
    ("solid", "tab_width"): "how far its tabs reach where there is room for them",
    ("solid", "flatten"): "an angle up to which facets are one",
    ("solid", "smooth"): "an angle up to which facets stay together",
    ("solid", "room"): "a limit of its nets",
    ("flap", "opens_to"): "how far a hand turns it; the net lies flat",
    ("flap", "rest"): "how far it stands open; the net lies flat",
    ("wheel", "turns_to"): "how far a hand turns it; the disc is round",
    ("wheel", "beyond"): "a limit of the checks",
    ("pull-strip", "beyond"): "a limit of the checks",
}
SIZES = ("number", "length", "lengths", "angle", "point")


def every(kind: str):
    """Spreads with every key of a kind: all tables in one, but cut-ins in one each."""
    heads = [f'[[mechanism]]\nid = "item{number}"\n' for number in range(len(EVERY[kind]))]
    tables = [
        ("[[mechanism]]\n" if "id =" in text else head) + text for head, text in zip(heads, EVERY[kind], strict=True)
    ]
    groups = [[table] for table in tables] if kind == "slit-cut-in" else [tables]
    return [assemble(parse_description(HEAD + "".join(group), folder=SCENES)) for group in groups]


def segments(lines) -> np.ndarray:
    chains = [np.concatenate([line.points, line.points[:1]]) if line.closed else line.points for line in lines]
    return np.concatenate([np.stack([chain[:-1], chain[1:]], axis=1) for chain in chains])


def is_shown(point: np.ndarray, bits: np.ndarray) -> bool:
    """Whether a line goes through a point, or two that are drawn out meet there, as at an apex that is cut away."""
    if any(LineString(bit).distance(shapely.Point(point)) < ON_LINE_MM for bit in bits):
        return True
    ways = (bits[:, 1] - bits[:, 0]) / np.hypot(*(bits[:, 1] - bits[:, 0]).T)[:, None]
    off = np.abs((point - bits[:, 0])[:, 0] * ways[:, 1] - (point - bits[:, 0])[:, 1] * ways[:, 0])
    through = ways[off < ON_LINE_MM]
    return any(abs(one[0] * two[1] - one[1] * two[0]) > 1e-3 for one, two in combinations(through, 2))


def check_points(size, drawing) -> None:
    """A dimension's number against the lines that it points at."""
    lines = [line for line in drawing.lines if line.line_class in ("cut", "mountain", "valley")]
    bits = np.concatenate([segments(lines), *(np.stack([mark[:-1], mark[1:]], axis=1) for mark in size.marks)])
    if isinstance(size, Span):
        for point in size.points:
            assert is_shown(point, bits), (size.text, point)
        said = float((size.points[1] - size.points[0]) @ size.along)
        assert abs(abs(number(size.text)) - abs(said)) <= PRINTED, size.text
        if size.signed:
            assert number(size.text) * said > 0, size.text
    elif isinstance(size, Sector):
        assert is_shown(size.apex, bits), size.text
        assert abs(abs(number(size.text)) - abs(np.degrees(size.turn_rad))) <= PRINTED, size.text
        if "turn" not in str(size.name.key):
            # Both legs run along lines of the net, near the apex or further out.
            for leg in (size.leg(0.0), size.leg(1.0)):
                square = np.array([-leg[1], leg[0]])
                on = np.all(np.abs((bits - size.apex) @ square) < ON_LINE_MM, axis=1)
                assert (((bits[on] - size.apex) @ leg).max(axis=1) > 1.0).any(), (size.text, leg)
    else:
        rings = [line.points for line in lines if line.closed]
        radii = [np.hypot(*(ring - size.centre).T) for ring in rings]
        assert any(np.ptp(each) < 1e-6 and abs(each[0] - size.radius) < 1e-6 for each in radii)
        assert abs(number(size.text.replace("ø", "")) - size.radius * (2 if size.whole else 1)) <= PRINTED


@pytest.mark.parametrize("name", NAMES)
def test_every_number_is_what_is_measured_on_the_lines_it_points_at(name):
    spread = scene(name)
    found = 0
    for piece in spread.pieces:
        drawing = draw_piece(spread, piece.id)
        for size in sizes_on(spread, piece.id):
            check_points(size, drawing)
            found += 1
    assert found >= 2


@pytest.mark.parametrize("kind", EVERY)
def test_so_are_the_numbers_where_every_key_is_given(kind):
    for spread in every(kind):
        for piece in spread.pieces:
            drawing = draw_piece(spread, piece.id)
            for size in sizes_on(spread, piece.id):
                check_points(size, drawing)


def said(spread) -> dict[tuple[str, str, str], list[float]]:
    """What all nets together say: by mechanism, key as written and part, the numbers."""
    found: dict[tuple[str, str, str], list[float]] = {}
    for piece in spread.pieces:
        for size in sizes_on(spread, piece.id):
            if size.name.key is not None:
                key = (size.name.mechanism, size.name.written, size.name.part)
                found.setdefault(key, []).append(number(size.text.replace("ø", "")))
    return found


def missing(spread) -> list[tuple[str, str, object]]:
    """Keys of numbers that the description gives and that no net says, or says wrongly."""
    nets, wrong = said(spread), []
    for spec in spread.mechanisms:
        fields = expand(KINDS[spec.kind].FIELDS)
        for key, value in spec.values.items():
            if fields[key].type not in SIZES or (spec.kind, fields[key].name) in NO_PLACE:
                continue
            parts = zip("xy", value, strict=True) if fields[key].type == "point" else [("", value)]
            for part, given in parts:
                if not given:
                    continue
                # Equal on both sides, a key stands without its side; the place on a fold of a rider is its y.
                names = [key, fields[key].name, *(f"{key}_{side}" for side in ("left", "right"))]
                told = [n for each in names for p in (part, "") for n in nets.get((spec.id, each, p), [])]
                wanted = given if isinstance(given, (list, tuple)) else [given]
                if any(all(abs(one - number_) > PRINTED for number_ in told) for one in wanted):
                    wrong.append((spec.id, key, given))
    return wrong


@pytest.mark.parametrize("name", NAMES)
def test_every_size_that_a_scene_gives_is_on_a_net(name):
    assert missing(scene(name)) == []


@pytest.mark.parametrize("kind", KINDS)
def test_every_key_of_a_kind_has_its_place_or_a_reason(kind):
    spreads = every(kind)
    for spread in spreads:
        assert missing(spread) == []
    given = {key for spread in spreads for spec in spread.mechanisms if spec.kind == kind for key in spec.values}
    for field in KINDS[kind].FIELDS:
        if field.type in SIZES:
            assert {field.name, f"{field.name}_left"} & given, f"{kind}: {field.name} is not tried"


def test_every_kind_has_sizes_and_every_reason_a_key():
    assert set(SIZES_OF) == set(KINDS) == set(EVERY)
    for kind, key in NO_PLACE:
        assert key in {field.name for field in KINDS[kind].FIELDS}


def test_equal_sides_are_said_once_and_unequal_ones_with_their_side():
    texts = [size.text for size in sizes_on(scene("tent"), "page")]
    assert texts == ["at 50", "base 25"]
    texts = [size.text for size in sizes_on(scene("tent-unequal"), "page")]
    assert texts == ["at 40", "base_left 38", "base_right 20"]


def test_a_tab_that_has_no_room_says_its_real_width_without_the_key():
    body = '[[mechanism]]\nkind = "v-fold"\nid = "low"\nfold = "spine"\nat = 60\nangle = 60\nheight = 14\nwidth = 24\n'
    spread = assemble(parse_description(HEAD + body + "tab_width = 30\n"))
    tabs = [size for size in sizes_on(spread, "low") if size.text == size.text.split(" ")[-1]]
    assert tabs
    assert all(3.0 <= tab.value < 30.0 for tab in tabs)
    assert not any("tab_width" in size.text for size in sizes_on(spread, "low"))
