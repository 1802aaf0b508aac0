"""Outlines traced from alpha, held against the shapes that were painted; hostile pictures are refused in a sentence."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from PIL import Image
from shapely import MultiPolygon, Point, Polygon, box

from geometry import FileError, HingeleafError
from geometry.tracing import TraceOptions, read_alpha, trace_alpha
from geometry.tracing.contours import level_rings
from geometry.tracing.fitting import fitted, flattened
from tests.counting import calls_of
from tests.geometry.painted_shapes import alpha_of, apart_mm

WIDTH = 100.0
BOX = (0.0, 0.0, WIDTH, WIDTH)
DISC = Point(50, 50).buffer(30, quad_segs=400)
_TURNS = np.arange(10) * np.pi / 5 + np.pi / 2
_RADII = np.where(np.arange(10) % 2 == 0, 40.0, 20.0)
#: Tips of 48 degrees.
STAR = Polygon(np.column_stack([50 + _RADII * np.cos(_TURNS), 50 + _RADII * np.sin(_TURNS)]))
#: An A, with its counter.
LETTER = Polygon(
    [(15, 10), (32, 10), (38, 30), (62, 30), (68, 10), (85, 10), (60, 90), (40, 90)], [[(41, 42), (59, 42), (50, 68)]]
)
SHAPES = {"disc": DISC, "star": STAR, "letter": LETTER}


def card_of(trace):
    return MultiPolygon([shape.polygon for shape in trace.shapes])


@pytest.mark.parametrize("name", SHAPES)
@pytest.mark.parametrize(
    ("pixel_mm", "fine", "tolerance"), [(0.1, 4, 0.2), (0.1, 1, 0.3), (0.25, 4, 0.5), (0.1, 4, 1.0)]
)
def test_known_shapes_are_traced_within_the_tolerance(name, pixel_mm, fine, tolerance):
    """A corner sharper than a right angle ends, in pixels, up to two of them before its tip."""
    shape = SHAPES[name]
    trace = trace_alpha(alpha_of(shape, BOX, pixel_mm, fine=fine), WIDTH, TraceOptions(tolerance_mm=tolerance))
    tips = 0.0 if name == "disc" else 2 * pixel_mm
    assert apart_mm(card_of(trace), shape) < tolerance + tips
    assert len(trace.shapes) == 1
    assert [len(found.holes) for found in trace.shapes] == [len(shape.interiors)]
    # What it says of itself is true of what it was fitted to.
    assert trace.off_mm < tolerance
    assert trace.off_mm == pytest.approx(apart_mm(card_of(trace), trace.edge.cleaned.region), abs=0.02)
    assert card_of(trace).is_valid


def test_a_disc_takes_few_points_and_is_smooth():
    trace = trace_alpha(alpha_of(DISC, BOX, 0.1), WIDTH)
    assert trace.points <= 10
    assert all(not trace.shapes[0].outline.is_straight(part) for part in range(trace.shapes[0].outline.count))


def test_a_shape_lies_where_it_was_painted():
    """Its middle to a quarter of a pixel, and its area; half a pixel aside would be 0.14 mm."""
    for name, shape in SHAPES.items():
        card = card_of(trace_alpha(alpha_of(shape, BOX, 0.2), WIDTH, TraceOptions(tolerance_mm=0.1)))
        assert np.hypot(card.centroid.x - shape.centroid.x, card.centroid.y - shape.centroid.y) < 0.05, name
        assert card.area == pytest.approx(shape.area, rel=5e-3), name


def test_a_star_has_its_ten_corners():
    outline = trace_alpha(alpha_of(STAR, BOX, 0.05), WIDTH).shapes[0].outline
    assert 10 <= len(outline.points) <= 14
    corners = shapely.points(shapely.get_coordinates(STAR.exterior)[:-1])
    assert shapely.distance(corners[:, None], shapely.points(outline.points)).min(axis=1).max() < 0.3


def test_a_finer_tolerance_is_nearer():
    alpha = alpha_of(DISC.union(box(50, 45, 95, 55)), BOX, 0.05)
    wide, fine = (trace_alpha(alpha, WIDTH, TraceOptions(tolerance_mm=mm)) for mm in (1.0, 0.1))
    assert fine.off_mm < 0.1 < wide.off_mm < 1.0
    assert wide.points < fine.points


def test_pixels_that_are_not_square():
    wide = alpha_of(DISC, BOX, 0.2)[:, ::2]
    assert apart_mm(card_of(trace_alpha(wide, WIDTH, height_mm=WIDTH)), DISC) < 0.5


def test_the_threshold_moves_the_edge():
    ramp = np.tile(np.linspace(0, 255, 201).round().astype(np.uint8), (101, 1))
    for threshold in (0.2, 0.5, 0.9):
        trace = trace_alpha(ramp, 201.0, TraceOptions(threshold=threshold, tolerance_mm=0.2))
        low = float(shapely.get_coordinates(card_of(trace))[:, 0].min())
        assert low == pytest.approx(200 * threshold + 0.5, abs=1.3)


def test_nothing_narrower_than_the_least_feature_is_left():
    """A hair, a neck, a slot, a pinhole and a speck, each half as wide as the least feature, beside what is wide."""
    two = shapely.union_all([Point(28, 40).buffer(16), Point(72, 40).buffer(16)])
    hair, neck, speck = box(27.6, 50, 28.4, 90), box(40, 39.6, 60, 40.4), Point(80, 80).buffer(0.4)
    slot, pinhole = box(65, 39.6, 90, 40.4), Point(22, 36).buffer(0.4)
    painted = shapely.union_all([two, hair, neck, speck]).difference(shapely.union_all([slot, pinhole]))
    trace = trace_alpha(alpha_of(painted, BOX, 0.1), WIDTH, TraceOptions(tolerance_mm=0.2, feature_mm=1.6))
    card = card_of(trace)
    assert apart_mm(card, two) < 0.35
    assert len(trace.shapes) == 2
    found = trace.edge.cleaned
    assert (found.specks, found.holes, found.thin, found.narrow) == (1, 1, 2, 1)
    assert "2 hairs" in str(trace)
    kept = trace_alpha(alpha_of(painted, BOX, 0.1), WIDTH, TraceOptions(tolerance_mm=0.2, feature_mm=0.5))
    assert apart_mm(card_of(kept), painted) < 0.5
    assert len(kept.shapes) == 2  # joined by the neck, and the speck


def test_what_is_wide_enough_stays():
    painted = shapely.union_all([DISC, box(50, 49, 95, 51)]).difference(Point(40, 55).buffer(1.2))
    trace = trace_alpha(alpha_of(painted, BOX, 0.1), WIDTH)
    assert apart_mm(card_of(trace), painted) < 0.3
    assert str(trace.edge.cleaned.thin + trace.edge.cleaned.narrow + trace.edge.cleaned.holes) == "0"


@pytest.mark.parametrize("seed", range(3))
def test_noise_and_specks_do_not_move_the_edge(seed):
    dice = np.random.default_rng(seed)
    clean = alpha_of(STAR, BOX, 0.1)
    noisy = np.clip(clean + dice.normal(0, 25, clean.shape), 0, 255).astype(np.uint8)
    specked = np.where(dice.random(clean.shape) < 0.002, 255 - clean, clean).astype(np.uint8)
    for alpha in (noisy, specked):
        trace = trace_alpha(alpha, WIDTH, TraceOptions(tolerance_mm=0.3))
        assert apart_mm(card_of(trace), STAR) < 0.5
        assert len(trace.shapes) == 1
        assert not trace.shapes[0].holes


def test_work_grows_with_the_outline_not_with_the_pixels():
    """With grain in it; sixteen times as many pixels have an outline four times as long."""
    calls = []
    for scale in (1, 4):
        alpha = np.kron(alpha_of(LETTER, BOX, 0.1), np.ones((scale, scale), dtype=np.uint8))
        alpha = np.clip(alpha + np.random.default_rng(0).normal(0, 20, alpha.shape), 0, 255).astype(np.uint8)
        trace, count = calls_of(trace_alpha, alpha, WIDTH)
        assert apart_mm(card_of(trace), LETTER) < 0.4
        calls.append(count)
    assert calls[1] < 4 * calls[0]


def test_rings_run_round_what_is_inside():
    """An independent count: the area within all rings is what linear interpolation gives, holes taken off."""
    values = np.zeros((7, 7))
    values[1:6, 1:6] = 1.0
    values[3, 3] = 0.0
    rings = level_rings(values, 0.5)
    areas = sorted(Polygon(ring).area for ring in rings)
    # Half a pixel beyond the outer centres, corners cut off; the hole is a diamond of half a pixel about its centre.
    assert areas == pytest.approx([0.5, 25.0 - 4 * 0.125])
    signs = {np.sign(shapely.LinearRing(ring).is_ccw - 0.5) for ring in rings}
    assert signs == {-1.0, 1.0}


@pytest.mark.parametrize("level", [12.0, 100.0, 240.0])
def test_crossings_lie_between_pixels_where_the_level_is(level):
    """A ramp of 25 a pixel to the right: the level is crossed at level / 25."""
    ramp = np.tile(25.0 * np.arange(11), (9, 1))
    (ring,) = level_rings(ramp, level)
    middle = ring[(ring[:, 1] > 2) & (ring[:, 1] < 6) & (ring[:, 0] < 10)]
    assert len(middle) == 3
    assert middle[:, 0] == pytest.approx(level / 25.0, abs=1e-6)


def test_corners_of_a_checkerboard_are_parted():
    values = np.zeros((4, 4))
    values[1, 1] = values[2, 2] = 1.0
    assert len(level_rings(values, 0.5)) == 2


def test_a_line_is_fitted_to_its_ends():
    points = np.column_stack([np.linspace(0, 60, 200), 8 * np.sin(np.linspace(0, 6, 200))])
    stroke = fitted(points, 0.1, closed=False)
    drawn = shapely.LineString(flattened(stroke))
    assert np.allclose(stroke.points[[0, -1]], points[[0, -1]])
    assert shapely.hausdorff_distance(drawn, shapely.LineString(points), densify=0.01) < 0.11
    assert len(stroke.points) < 12


@pytest.mark.parametrize(
    ("picture", "words"),
    [
        (Image.new("RGBA", (50, 50), (1, 2, 3, 0)), "clear throughout"),
        (Image.new("RGBA", (50, 50), (1, 2, 3, 255)), "opaque throughout"),
        (Image.new("RGBA", (1, 1), (1, 2, 3, 100)), "1 x 1 pixels; nothing so small"),
        (Image.new("RGB", (50, 50), (1, 2, 3)), "has no alpha"),
        (Image.new("RGBA", (1, 9000), (1, 2, 3, 100)), "nothing so small"),
    ],
)
def test_pictures_without_an_outline_are_refused(tmp_path, picture, words):
    picture.save(tmp_path / "art.png")
    with pytest.raises(FileError, match=rf"art\.png: .*{words}"):
        read_alpha(tmp_path / "art.png")


def test_absurd_sizes_are_refused_unread(tmp_path):
    """A head that claims more pixels than anybody paints, and nothing behind it."""
    import struct
    import zlib

    for side, words in ((11_500, "11500 x 11500 pixels; at most 120 million"), (2_000_000, "too many pixels")):
        body = struct.pack(">IIBBBBB", side, side, 8, 6, 0, 0, 0)
        head = struct.pack(">I", 13) + b"IHDR" + body + struct.pack(">I", zlib.crc32(b"IHDR" + body))
        data = struct.pack(">I", 8000) + b"IDAT" + bytes(8004)
        (tmp_path / "art.png").write_bytes(b"\x89PNG\r\n\x1a\n" + head + data)
        with pytest.raises(FileError, match=words):
            read_alpha(tmp_path / "art.png")


@pytest.mark.parametrize("data", [b"", b"GIF89a", b"\x89PNG\r\n\x1a\nbroken"])
def test_what_is_no_picture_is_refused(tmp_path, data):
    (tmp_path / "art.png").write_bytes(data)
    with pytest.raises(FileError, match="use PNG or JPEG"):
        read_alpha(tmp_path / "art.png")


def test_half_a_file_is_refused(tmp_path):
    Image.effect_noise((300, 300), 80).convert("RGBA").save(tmp_path / "whole.png")
    (tmp_path / "art.png").write_bytes((tmp_path / "whole.png").read_bytes()[:-4000])
    with pytest.raises(FileError, match="use PNG or JPEG"):
        read_alpha(tmp_path / "art.png")


@pytest.mark.parametrize("mode", ["RGBA", "LA", "P"])
def test_alpha_of_every_kind_is_read(tmp_path, mode):
    image = Image.new("RGBA", (40, 40), (9, 9, 9, 0))
    image.paste((9, 9, 9, 255), (10, 10, 30, 30))
    image.convert(mode).save(tmp_path / "art.png")
    alpha = read_alpha(tmp_path / "art.png")
    assert (alpha.shape, alpha[20, 20], alpha[2, 2]) == ((40, 40), 255, 0)


def test_grain_is_refused():
    grain = np.random.default_rng(0).integers(0, 256, (4000, 4000), dtype=np.uint8)
    with pytest.raises(HingeleafError, match="grain, not a shape"):
        trace_alpha(grain, 500.0)


@pytest.mark.parametrize(("side", "width"), [(200, 90.0), (450, 200.0), (900, 360.0)])
def test_grain_is_refused_before_it_takes_long(side, width):
    """About a million calls of functions at most, however large it is; to trace it took many times that."""
    grain = np.random.default_rng(0).integers(0, 256, (side, side), dtype=np.uint8)

    def refused():
        with pytest.raises(HingeleafError, match="separate lines: that is grain, not a shape"):
            trace_alpha(grain, width)

    assert calls_of(refused)[1] < 2_000_000


def test_a_sieve_is_no_grain():
    """225 holes of 3 mm, and what is between them 3 mm wide."""
    holes = shapely.union_all([Point(6 + 6 * i, 6 + 6 * j).buffer(1.5) for i in range(15) for j in range(15)])
    trace = trace_alpha(alpha_of(box(1, 1, 95, 95).difference(holes), BOX, 0.2), WIDTH)
    assert [len(shape.holes) for shape in trace.shapes] == [225]


@pytest.mark.parametrize("feature", [0.0, 0.1])
def test_a_line_a_pixel_wide_has_an_outline(feature):
    """Narrower than the tolerance, so that a fitted line would run there and back and hold nothing."""
    alpha = np.zeros((40, 60), dtype=np.uint8)
    alpha[20, 10:50] = 255
    (shape,) = trace_alpha(alpha, 60.0, TraceOptions(feature_mm=feature)).shapes
    assert shape.polygon.is_valid
    # A pixel each, corners cut off.
    assert shape.polygon.area == pytest.approx(40.0, abs=1.0)


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"threshold": 0.0}, "threshold is 0"),
        ({"tolerance_mm": 0.0}, "tolerance is 0 mm"),
        ({"feature_mm": -1.0}, "least feature is -1 mm"),
        ({"tolerance_mm": float("nan")}, "tolerance is nan"),
    ],
)
def test_impossible_options_are_refused(values, words):
    with pytest.raises(HingeleafError, match=words):
        TraceOptions(**values)


@pytest.mark.parametrize("width", [0.0, -1.0, float("nan"), 1e9])
def test_impossible_sizes_are_refused(width):
    with pytest.raises(HingeleafError, match="it must be above 0"):
        trace_alpha(alpha_of(DISC, BOX, 1.0), width)


def test_what_is_too_fine_throughout_is_refused():
    lines = shapely.union_all([box(10, y, 90, y + 0.5) for y in range(10, 90, 4)])
    with pytest.raises(HingeleafError, match="as wide as the least feature"):
        trace_alpha(alpha_of(lines, BOX, 0.1), WIDTH)
