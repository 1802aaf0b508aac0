"""Templates: their size, their layers, where their lines are, and what they say about what is seen."""

import io
import json
import warnings
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pytest
import shapely
from PIL import Image

with warnings.catch_warnings():
    warnings.simplefilter("ignore", DeprecationWarning)  # from its compiled part, on import
    import pymupdf

from geometry import HingeleafError, assemble, parse_description, read_description
from geometry.__main__ import main
from geometry.artwork import art_box
from geometry.nets import draw_piece
from geometry.templates import TemplateOptions, templates_of, write_templates
from geometry.templates.contact import contacts
from geometry.templates.guides import hatched
from geometry.templates.sight import reader_eyes, sight_of, views_while_opening
from geometry.templates.up import up_on
from tests.geometry.scene_texts import HEAD, HILL, ROOT

SVG = "{http://www.w3.org/2000/svg}"
LABEL = "{http://www.inkscape.org/namespaces/inkscape}label"
MODE = "{http://www.inkscape.org/namespaces/inkscape}groupmode"
LOCKED = "{http://sodipodi.sourceforge.net/DTD/sodipodi-0.dtd}insensitive"
#: So far from the border of what is seen a point is, mm, before it is asked whether it is seen.
CLEAR_MM = 0.1
#: An eye that is so near to a panel's plane sees it on edge.
ON_EDGE_MM = 1.0


def read(name):
    return assemble(read_description(ROOT / "scenes" / f"{name}.toml"))


@pytest.fixture(scope="module")
def tide(tmp_path_factory):
    """The demo's spread, its templates, and the folder that they were written into."""
    spread, folder = read("demo/low-tide"), tmp_path_factory.mktemp("templates")
    pieces = ("page", "cliff", "boathouse")
    options = TemplateOptions(dpi=200, formats=("png", "svg", "white"), pieces=pieces)
    files = write_templates(spread, folder, options)
    return spread, files, folder


def test_size_is_the_art_box_at_the_resolution(tide):
    """25.4 mm an inch: ISO 31-1."""
    spread, _, folder = tide
    for piece in ("page", "cliff", "boathouse"):
        left, low, right, high = art_box(spread, piece)
        for face in ("front", "back"):
            for ending in ("", "-on-white"):
                with Image.open(folder / f"{piece}-{face}-template{ending}.png") as image:
                    assert image.size == (round((right - left) / 25.4 * 200), round((high - low) / 25.4 * 200))
                    # PNG counts in whole pixels a metre.
                    assert image.info["dpi"] == pytest.approx((200, 200), abs=0.02)
                    assert image.mode == ("RGB" if ending else "RGBA")
            root = ET.parse(folder / f"{piece}-{face}-template.svg").getroot()
            size = np.array([right - left, high - low])
            assert [float(root.get(side).removesuffix("mm")) for side in ("width", "height")] == pytest.approx(size)
            assert [float(value) for value in root.get("viewBox").split()] == pytest.approx([0, 0, *size])


def test_layers_are_an_empty_one_to_paint_on_and_locked_guides_above_it(tide):
    root = ET.parse(tide[2] / "cliff-front-template.svg").getroot()
    layers = [element for element in root if element.get(MODE) == "layer"]
    assert [layer.get(LABEL) for layer in layers] == ["paint here", "guides"]
    paint, guides = layers
    assert len(paint) == 0
    assert paint.get(LOCKED) is None
    assert guides.get(LOCKED) == "true"
    names = [layer.get(LABEL) for layer in guides]
    assert all(layer.get(MODE) == "layer" for layer in guides)
    assert {"never seen", "tabs", "glue", "bleed edge", "safe zone", "outline", "creases", "up", "words"} <= set(names)


def test_words_say_what_it_is_and_how_large(tide):
    spread, _, folder = tide
    left, low, right, high = art_box(spread, "cliff")
    words = [text.text for text in ET.parse(folder / "cliff-back-template.svg").iter(f"{SVG}text")]
    assert "cliff, back" in words
    assert f"{right - left:.1f} x {high - low:.1f} mm" in words
    with Image.open(folder / "cliff-back-template.png") as image:
        assert f"{image.width} x {image.height} px at 200 dpi" in words


def cut_places(spread, piece, face, count=60):
    """Points on the cut lines of a piece, as shares of the picture from its upper left, clear of other lines' ends."""
    left, low, right, high = art_box(spread, piece)
    cuts = [line for line in draw_piece(spread, piece).lines if line.line_class == "cut"]
    rings = [shapely.LinearRing(line.points) if line.closed else shapely.LineString(line.points) for line in cuts]
    every = [ring.interpolate(share, normalized=True) for ring in rings for share in np.linspace(0.02, 0.98, count)]
    points = np.array([(point.x, point.y) for point in every])
    x = (points[:, 0] - left) / (right - left)
    return np.stack([x if face == "front" else 1 - x, (high - points[:, 1]) / (high - low)], axis=1)


@pytest.mark.parametrize("face", ["front", "back"])
@pytest.mark.parametrize("piece", ["page", "cliff"])
@pytest.mark.parametrize("kind", ["png", "svg"])
def test_outline_is_drawn_where_the_net_has_it(tide, piece, face, kind):
    """Nearly every point of a cut line is dark within a line's width; mirrored, most would not be."""
    spread, _, folder = tide
    file = folder / f"{piece}-{face}-template"
    if kind == "png":
        with Image.open(f"{file}-on-white.png") as image:
            pixels = np.asarray(image.convert("L"), dtype=float)
    else:
        shot = pymupdf.open(f"{file}.svg")[0].get_pixmap(dpi=200, colorspace=pymupdf.csGRAY)
        pixels = np.frombuffer(shot.samples, np.uint8).reshape(shot.height, shot.stride)[:, : shot.width].astype(float)
    height, width = pixels.shape
    places = cut_places(spread, piece, face) * [width, height]
    dark = [pixels[max(0, int(y) - 1) : int(y) + 2, max(0, int(x) - 1) : int(x) + 2].min() < 110 for x, y in places]
    assert np.mean(dark) > 0.97
    mirrored = [
        pixels[max(0, int(y) - 1) : int(y) + 2, max(0, width - int(x) - 2) : width - int(x) + 1].min() < 110
        for x, y in places
    ]
    if piece == "cliff":
        assert np.mean(mirrored) < 0.6


def test_ground_is_transparent_where_there_are_no_guides(tide):
    with Image.open(tide[2] / "page-front-template.png") as image:
        alpha = np.asarray(image.getchannel("A"))
    assert np.mean(alpha == 0) > 0.8
    assert alpha.max() == 255


def seen_by_rays(view, eyes, index, points, face):
    """Whether points on a panel are seen from any of several eyes: rays against every other panel, one by one."""
    pose = view.poses[index]
    places = points @ pose[:3, :2].T + pose[:3, 3]
    seen = np.zeros(len(points), dtype=bool)
    for eye in eyes:
        height = (eye - pose[:3, 3]) @ pose[:3, 2]
        if (height > 0) != (face == "front") or abs(height) < ON_EDGE_MM:
            continue
        open_to = np.ones(len(points), dtype=bool)
        for other, outline in enumerate(view.outlines):
            if other == index:
                continue
            across, at = view.poses[other][:3, 2], view.poses[other][:3, 3]
            ways = eye - places
            with np.errstate(divide="ignore", invalid="ignore"):
                share = ((at - places) @ across) / (ways @ across)
            hits = places + share[:, None] * ways
            net = (hits - at) @ view.poses[other][:3, :2]
            inside = shapely.contains_xy(outline, net[:, 0], net[:, 1])
            # What is met nearer than a hundredth of the card's own thickness is met at a hinge.
            open_to &= ~(inside & (share * np.linalg.norm(ways, axis=1) > 3e-3) & (share < 1.0))
        seen |= open_to
    return seen


def points_in(outline, rng, count=40):
    left, low, right, high = outline.bounds
    points = rng.uniform((left, low), (right, high), (6 * count, 2))
    return points[shapely.contains_xy(outline.buffer(-CLEAR_MM), points[:, 0], points[:, 1])][:count]


def judged(outline, region, points):
    """Those of the points that are clear of a region's border, and whether they are inside."""
    clear = shapely.distance(region.boundary, shapely.points(points)) > CLEAR_MM if not region.is_empty else True
    return np.broadcast_to(clear, len(points)), shapely.contains_xy(region, points[:, 0], points[:, 1])


@pytest.mark.parametrize(
    "name",
    ["demo/low-tide", "tent-unequal", "cut-in-in-a-cut-in", "platforms-in-layers", "rider-across-a-fold", "flap"],
)
def test_what_is_seen_of_the_open_spread_is_what_rays_see(name):
    spread = read(name)
    (view,), _ = views_while_opening(spread)
    eyes, sight, rng = reader_eyes(spread), sight_of(spread), np.random.default_rng(7)
    asked = 0
    for index, panel in enumerate(view.names):
        for face in ("front", "back"):
            if face == "back" and spread.panels[panel].role == "page":
                continue
            points = points_in(view.outlines[index], rng)
            clear, inside = judged(view.outlines[index], sight[panel, face].seen, points)
            rays = seen_by_rays(view, eyes, index, points, face)
            assert np.array_equal(rays[clear], inside[clear]), (panel, face, points[clear & (rays != inside)])
            asked += int(clear.sum())
    assert asked > 150


@pytest.mark.parametrize("name", ["tent-unequal", "cut-in-on-a-tab", "flap"])
def test_what_shows_while_opening_is_what_rays_see(name):
    """A reader looks from in front while either page lies on the table and the other is turned."""
    spread = read(name)
    still, opening = views_while_opening(spread)
    eyes, sight, rng = reader_eyes(spread), sight_of(spread), np.random.default_rng(11)
    for panel in spread.panels:
        for face in ("front", "back"):
            if face == "back" and spread.panels[panel].role == "page":
                continue
            points = points_in(spread.panels[panel].outline, rng, 25)
            seen = np.zeros(len(points), dtype=bool)
            for view in [*still, *opening]:
                turn = np.pi - view.opening_rad
                back = np.array([[np.cos(turn), 0, np.sin(turn)], [0, 1, 0], [-np.sin(turn), 0, np.cos(turn)]])
                some = eyes if view is still[0] else eyes[[0, 3, 4]]
                some = np.concatenate([some, some @ back.T]) if turn > 1e-6 else some
                seen |= seen_by_rays(view, some, view.names.index(panel), points, face)
            glued = contacts(spread).get((panel, face), shapely.Polygon())
            seen &= ~shapely.contains_xy(glued, points[:, 0], points[:, 1])
            shown = shapely.union(sight[panel, face].seen, sight[panel, face].opening)
            clear, inside = judged(spread.panels[panel].outline, shown, points)
            # Pieces of what is seen that meet leave borders inside.
            border = shapely.distance(sight[panel, face].opening.boundary, shapely.points(points)) > CLEAR_MM
            clear = clear & (border if not sight[panel, face].opening.is_empty else True)
            assert np.array_equal(seen[clear], inside[clear]), (panel, face)


def test_the_three_parts_of_a_face_are_all_of_it_and_do_not_overlap():
    spread = read("demo/low-tide")
    for (name, _), sight in sight_of(spread).items():
        parts = [sight.seen, sight.opening, sight.never]
        assert sum(part.area for part in parts) == pytest.approx(spread.panels[name].outline.area, abs=0.05)
        assert shapely.union_all(parts).area == pytest.approx(spread.panels[name].outline.area, abs=0.05)


def test_supports_have_no_artwork_and_so_no_template():
    """What can be painted is what has artwork keys in the description: the pages, and the piece of each mechanism."""
    spread = read("platform")
    names = [template.name for template in templates_of(spread, TemplateOptions(dpi=72))]
    assert names == [name for name in ("page", *(spec.id for spec in spread.mechanisms)) for _ in range(2)]
    support = next(piece.id for piece in spread.pieces if "support" in piece.id)
    with pytest.raises(HingeleafError, match="there is no piece"):
        templates_of(spread, TemplateOptions(pieces=(support,)))


def test_what_is_glued_is_never_seen():
    """Two millimetres inside each glue area, on both cards."""
    spread = read("rider")
    sight = sight_of(spread)
    for area in spread.glue_areas:
        place = shapely.point_on_surface(area.outline.buffer(-2.0))
        assert sight[area.host, area.face].never.contains(place)
    rider = next(area for area in spread.glue_areas if spread.panels[area.glued].role == "rider")
    behind = "back" if rider.face == "front" else "front"
    assert sight[rider.glued, behind].seen.is_empty


def test_outsides_of_bound_pages_are_never_seen():
    spread = read("v-fold")
    assert sight_of(spread)["page.left", "back"].never.is_empty
    bound = sight_of(spread, bound=True)["page.left", "back"]
    assert bound.never.area == pytest.approx(spread.panels["page.left"].outline.area)


@pytest.mark.parametrize("name", ["demo/low-tide", "v-fold-unequal", "tent"])
def test_up_stands_upright_in_the_readers_picture(name):
    """Seen straight from the front at 45 degrees: no way to the side, and upwards."""
    spread = read(name)
    motion = spread.pose([np.pi])
    right, up = np.array([1.0, 0, 0]), np.array([0, np.sqrt(0.5), np.sqrt(0.5)])
    for panel in spread.panels:
        way = motion.matrices[panel][0][:3, :2] @ up_on(motion.matrices[panel][0])
        assert way @ up > 0
        if abs(np.linalg.det(np.array([right, up]) @ motion.matrices[panel][0][:3, :2])) > 0.1:
            assert way @ right == pytest.approx(0.0, abs=1e-9)


def test_arrows_of_the_back_are_mirrored():
    """A panel that leans has an arrow that leans the other way on its back."""
    spread = read("demo/low-tide")
    found = {}
    for template in templates_of(spread, TemplateOptions(pieces=("hills",))):
        arrows = [guide.area for guide in template.guides if guide.look == "up" and guide.layer == "up" and guide.area]
        rings = [np.asarray(area.exterior.coords) for area in arrows]
        ways = [ring[3] - (ring[0] + ring[6]) / 2 for ring in rings]
        found[template.frame.face] = sorted(round(float(np.arctan2(way[0], way[1])), 6) for way in ways)
    assert any(abs(turn) > 0.01 for turn in found["front"])
    assert found["back"] == sorted(-turn for turn in found["front"])


def test_folds_are_named_as_they_are_seen_from_each_side():
    spread = assemble(parse_description(HEAD + HILL))
    looks = {
        template.frame.face: [guide.look for guide in template.guides if guide.layer == "creases"]
        for template in templates_of(spread, TemplateOptions(pieces=("hill",)))
    }
    swapped = {"mountain": "valley", "valley": "mountain"}
    assert "mountain" in looks["front"]
    assert looks["back"] == [swapped[look] for look in looks["front"]]


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--dpi", "5"], "5 dpi: write 30 to 2400"),
        (["--dpi", "nan"], "nan dpi: write 30 to 2400"),
        (["--dpi", "many"], '--dpi "many": write a number'),
        (["--dpi", "2400"], "pixels, more than programs open; at most"),
        (["--pieces", "mill"], 'there is no piece "mill"'),
        (["--pieces", ","], "no piece is asked for"),
        (["--format", "psd"], 'format "psd" is not known'),
        (["--format", ""], "no format is asked for"),
    ],
)
def test_what_cannot_be_is_refused_in_a_sentence_and_nothing_is_written(tmp_path, capsys, arguments, said):
    scene = tmp_path / "scene.toml"
    scene.write_text(HEAD + HILL, encoding="utf-8")
    out = tmp_path / "out"
    assert main(["templates", str(scene), "--out", str(out), "--json", "-", *arguments]) == 2
    told = capsys.readouterr()
    assert said in told.err
    assert said in json.loads(told.out)["problems"][0]["message"]
    assert not out.exists()


def test_no_two_pieces_share_a_file_where_capitals_do_not_count(tmp_path):
    twice = parse_description(HEAD + HILL + HILL.replace("hill", "Hill").replace("at = 100", "at = 40"))
    with pytest.raises(HingeleafError, match=r'"hill" and "Hill" would have the same file names'):
        write_templates(assemble(twice), tmp_path / "out")
    assert not (tmp_path / "out").exists()
    write_templates(assemble(twice), tmp_path / "out", TemplateOptions(pieces=("Hill",), dpi=40))
    assert {path.name.split("-")[0] for path in (tmp_path / "out").iterdir()} == {"Hill"}


def test_the_highest_resolution_that_is_named_is_taken(tmp_path):
    scene = assemble(parse_description(HEAD + HILL))
    with pytest.raises(HingeleafError, match="at most") as refused:
        templates_of(scene, TemplateOptions(dpi=2400, pieces=("page",)))
    most = float(str(refused.value).rsplit("at most ", 1)[1].split()[0])
    assert templates_of(scene, TemplateOptions(dpi=most, pieces=("page",)))


def test_command_writes_what_it_says(tmp_path, capsys):
    scene = tmp_path / "scene.toml"
    scene.write_text(HEAD + HILL, encoding="utf-8")
    listed = tmp_path / "list.json"
    arguments = ["--pieces", "hill", "--dpi", "100", "--test-card", "--format", "png,svg,white", "--json", str(listed)]
    assert main(["templates", str(scene), "--out", str(tmp_path / "out"), *arguments]) == 0
    written = {Path(path).name for path in json.loads(listed.read_text())["written"]}
    assert written == {path.name for path in (tmp_path / "out").iterdir()}
    kinds = ("template.png", "template.svg", "template-on-white.png", "test-card.png", "test-card.json")
    assert written == {f"hill-{face}-{kind}" for face in ("front", "back") for kind in kinds}
    assert [line.split(":")[0] for line in capsys.readouterr().out.splitlines()] == ["hill, front", "hill, back"]


def test_a_bound_book_has_a_folder_a_spread_and_one_for_its_boards(tmp_path):
    """A board is as wide as a page and one square, and as high as it and two."""
    for name in ("sea", "land"):
        (tmp_path / f"{name}.toml").write_text(HEAD + HILL, encoding="utf-8")
    book = tmp_path / "book.toml"
    spreads = "".join(f'[[spread]]\nfile = "{name}.toml"\n' for name in ("sea", "land"))
    book.write_text(f'format = 1\ntitle = "Two"\n[cover]\nsquare = 3.0\n{spreads}', encoding="utf-8")
    out = tmp_path / "out"
    assert main(["templates", str(book), "--out", str(out), "--dpi", "100", "--pieces", "hill,cover"]) == 0
    assert {path.name for path in out.iterdir()} == {"1-sea", "2-land", "cover"}
    assert {path.name for path in (out / "1-sea").iterdir()} == {
        f"hill-{face}-template.{ending}" for face in ("front", "back") for ending in ("png", "svg")
    }
    width, height = assemble(parse_description(HEAD + HILL)).page_size_mm
    for side in ("front", "back"):
        root = ET.parse(out / "cover" / f"cover-{side}-template.svg").getroot()
        assert root.get("width") == f"{width + 3:g}mm"
        assert root.get("height") == f"{height + 6:g}mm"
        joint = next(path for path in root.iter(f"{SVG}path") if path.get("stroke-dasharray") == "2.6 1.2")
        x = float(joint.get("d")[1:].split(",")[0])
        assert x == pytest.approx(8 if side == "front" else width + 3 - 8)
    assert main(["templates", str(book), "--out", str(out), "--pieces", "mill"]) == 2


def test_a_box_that_the_description_gives_is_the_template(tmp_path):
    """Artwork with a box of its own has a template of just that box."""
    text = HEAD + HILL.rstrip() + "\nart_box = [-60, -20, 70, 80]\n"
    spread = assemble(parse_description(text))
    template = templates_of(spread, TemplateOptions(pieces=("hill",)))[0]
    assert template.frame.size_mm == pytest.approx((130, 100))


def test_hatching_of_what_lies_between_two_lines_is_none():
    assert hatched(shapely.box(0.1, 0.1, 0.2, 0.2), 1.8, 0.0) == ()


def test_hatching_lies_inside_and_covers():
    """Lines a spacing apart: their length times the spacing is the area, up to one line at the border."""
    region = shapely.Point(0, 0).buffer(30).difference(shapely.box(-5, -5, 5, 5))
    lines = shapely.multilinestrings(list(hatched(region, 2.0, np.pi / 4)))
    assert region.buffer(1e-9).contains(lines)
    assert lines.length * 2.0 == pytest.approx(region.area, rel=0.02)


def test_png_is_read_by_others(tide):
    """What is written is a PNG from its first byte to its last (Pillow verifies its checksums)."""
    data = (tide[2] / "cliff-front-template.png").read_bytes()
    Image.open(io.BytesIO(data)).verify()
