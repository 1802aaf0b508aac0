"""Nets as drawings and as files: true lengths, every cut drawn once, artwork in its place."""

import json
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import shapely
from PIL import Image

from geometry import HingeleafError
from geometry.__main__ import main
from geometry.model import Stock
from geometry.unfold.artwork import net_picture
from geometry.unfold.data import Mesh, Surface
from geometry.unfold.drawing import net_drawings
from geometry.unfold.facets import facets_of
from geometry.unfold.placing import placed_rings
from geometry.unfold.tabs import joins_of
from geometry.unfold.unfolding import unfold_facets
from tests.geometry import unfold_meshes

ROOT = Path(__file__).resolve().parents[2]
CARD = Stock("card", 200.0, 0.26, "any", (1.0, 1.0, 1.0))
MODELS = ("box", "house", "ring_cube", "icosphere", "letters")


def drawn(name, **options):
    model = unfold_facets(facets_of(getattr(unfold_meshes, name)()))
    joins = joins_of(model)
    return model, joins, net_drawings(model, joins, stock=CARD, title=name, **options)


def length(line):
    points = np.concatenate([line.points, line.points[:1]]) if line.closed else line.points
    return float(np.hypot(*np.diff(points, axis=0).T).sum())


@pytest.mark.parametrize("name", MODELS)
def test_creases_are_the_folds_and_the_tabs(name):
    model, joins, drawings = drawn(name)
    facets = model.facets
    folds = [edge for net in model.nets for edge in net.folds.tolist() if edge >= 0 and abs(facets.bends[edge]) > 1e-6]
    wanted = facets.lengths_mm[folds].sum() + sum(facets.lengths_mm[j.edge] for j in joins if j.tab is not None)
    lines = [line for drawing in drawings for line in drawing.lines]
    assert sum(length(line) for line in lines if line.hinge) == pytest.approx(wanted, rel=1e-9)
    for line in lines:
        if line.hinge and line.hinge.startswith("fold-"):
            bend = facets.bends[int(line.hinge.removeprefix("fold-")) - 1]
            assert line.line_class == ("mountain" if bend > 0 else "valley")


@pytest.mark.parametrize("name", MODELS)
def test_card_is_the_facets_and_the_tabs(name):
    model, joins, drawings = drawn(name)
    area = model.facets.areas_mm2.sum() + sum(shapely.Polygon(j.tab).area for j in joins if j.tab is not None)
    # A grid joins what lies side by side: a millionth of a millimetre along every edge.
    assert sum(drawing.card.area for drawing in drawings) == pytest.approx(area, rel=1e-6)
    for drawing in drawings:
        outline = shapely.union_all([shapely.LineString(line.points) for line in drawing.lines if line.hinge])
        cuts = shapely.union_all(
            [
                shapely.LinearRing(line.points) if line.closed else shapely.LineString(line.points)
                for line in drawing.lines
                if line.line_class == "cut"
            ]
        )
        assert drawing.card.boundary.hausdorff_distance(drawing.card.boundary.intersection(cuts.buffer(1e-4))) < 1e-3
        assert cuts.intersection(outline.buffer(1e-5)).length < 1e-2


def test_numbers_stand_on_both_sides():
    _, joins, (drawing,) = drawn("box")
    for join in joins:
        assert sum(text.text == join.label for text in drawing.texts) >= 2


def test_angles_are_written_where_wanted():
    _, _, (drawing,) = drawn("box", angles=True)
    assert sum(text.text == "90°" for text in drawing.texts) == 5
    _, _, (plain,) = drawn("box")
    assert not any("°" in text.text for text in plain.texts)


def test_creases_of_a_band_are_light():
    _, _, drawings = drawn("cone", smooth_deg=20.0)
    light = [line for drawing in drawings for line in drawing.lines if line.light]
    assert len(light) >= 20
    assert all(line.hinge.startswith("fold-") for line in light)


def checkered(folder):
    """A cube of 40 mm with a texture of 4 x 4 squares of its own colours on every face."""
    mesh = unfold_meshes.box(40.0, 40.0, 40.0)
    colors = np.zeros((64, 64, 3), np.uint8)
    for row in range(4):
        for column in range(4):
            colors[16 * row : 16 * row + 16, 16 * column : 16 * column + 16] = (60 * column + 20, 60 * row + 20, 128)
    Image.fromarray(colors).save(folder / "squares.png")
    uv = np.tile(np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]]), (6, 1))
    surfaces = (Surface("squares", (1.0, 1.0, 1.0), str(folder / "squares.png")),)
    return Mesh("cube", mesh.vertices, mesh.corners, mesh.starts, np.zeros(6, dtype=np.int64), surfaces, uv)


def test_texture_lies_where_its_coordinates_say(tmp_path):
    model = unfold_facets(facets_of(checkered(tmp_path)))
    mesh, facets = model.facets.mesh, model.facets
    picture = net_picture(model, 0, dpi=254.0, bleed_mm=3.0)
    file = tmp_path / "net.png"
    file.write_bytes(picture.data)
    pixels = np.asarray(Image.open(file).convert("RGB")).astype(int)
    dots = pixels.shape[1] / picture.along[0]
    for place, facet in enumerate(model.nets[0].facets.tolist()):
        (face,) = facets.source[facet].tolist()
        corners = mesh.vertices[mesh.face(face)]
        frame, placed = facets.frames[facet], model.nets[0].placed[place]
        flat = ((corners - frame[:3, 3]) @ frame[:3, :2]) @ placed[:, :2].T + placed[:, 2]
        for u in (0.02, 0.23, 0.27, 0.48, 0.6, 0.98):
            for v in (0.03, 0.22, 0.28, 0.7, 0.97):
                at = flat[0] + u * (flat[1] - flat[0]) + v * (flat[3] - flat[0])
                x, y = (at - picture.corner) * dots
                found = pixels[pixels.shape[0] - 1 - int(y), int(x)]
                wanted = [60 * int(4 * u) + 20, 60 * int(4 * (1 - v)) + 20, 128]
                assert np.abs(found - wanted).max() <= 2


def test_bleed_carries_the_colours_on(tmp_path):
    model = unfold_facets(facets_of(checkered(tmp_path)))
    picture = net_picture(model, 0, dpi=100.0, bleed_mm=3.0)
    file = tmp_path / "net.png"
    file.write_bytes(picture.data)
    alpha = np.asarray(Image.open(file).convert("RGBA"))[..., 3]
    dots = alpha.shape[1] / picture.along[0]
    grown = shapely.union_all([shapely.Polygon(rings[0]) for rings in placed_rings(model, 0)]).buffer(2.9)
    rows, columns = np.nonzero(alpha < 250)
    points = np.column_stack([columns + 0.5, alpha.shape[0] - rows - 0.5]) / dots + picture.corner
    assert not shapely.contains_xy(grown, *points.T).any()


def test_wrong_resolution_is_refused(tmp_path):
    model = unfold_facets(facets_of(checkered(tmp_path)))
    with pytest.raises(HingeleafError, match="write 20 to 1200"):
        net_picture(model, 0, dpi=5.0, bleed_mm=3.0)


MODEL = ROOT / "scenes/models/keepers-house.obj"


def test_command_writes_nets_and_how_they_fold(tmp_path, capsys):
    out = tmp_path / "nets"
    arguments = ["unfold", str(MODEL), "--out", str(out), "--format", "all", "--folding", str(tmp_path / "fold.json")]
    assert main([*arguments, "--json", str(tmp_path / "made.json"), "--height", "41"]) == 0
    assert "cuts to glue" in capsys.readouterr().out
    names = sorted(path.name for path in out.iterdir())
    stem = "keepers-house"
    assert names == sorted(
        [
            f"{stem}-nets-1.svg",
            f"{stem}-nets.pdf",
            f"{stem}-nets-1.dxf",
            f"{stem}-cutting-1.svg",
            f"{stem}-cutting-1.dxf",
        ]
    )
    made = json.loads((tmp_path / "made.json").read_text())
    svg = (out / f"{stem}-nets-1.svg").read_text()
    assert {f"net.{number}" for number in range(1, len(made["nets"]) + 1)} == set(
        re.findall(r'data-piece="([^"]+)"', svg)
    )
    folding = json.loads((tmp_path / "fold.json").read_text())
    assert folding["angles_deg"][0] == 0.0
    assert folding["angles_deg"][-1] == 180.0
    assert len(folding["panels"]) == made["facets"]
    assert made["area_mm2"] == pytest.approx(sum(net["area_mm2"] for net in made["nets"]), rel=1e-12)


def test_command_splits_what_is_larger_than_its_sheet(tmp_path):
    arguments = ["unfold", str(MODEL), "--out", str(tmp_path), "--sheet", "A5", "--height", "120", "--format", "svg"]
    assert main([*arguments, "--json", str(tmp_path / "made.json")]) == 0
    made = json.loads((tmp_path / "made.json").read_text())
    assert len(made["nets"]) > 2
    assert not any("does not fit" in remark for remark in made["remarks"])


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--height", "0"], "height"),
        (["--scale", "nan"], "--scale"),
        (["--tab", "0"], "tabs"),
        (["--format", "booklet"], "format"),
        (["--dpi", "3"], "dots an inch"),
        (["--caliper", "-1"], "--caliper"),
        (["--dimensions"], "--angles"),
        (["--preset", "best"], "preset"),
    ],
)
def test_command_says_what_is_wrong_and_writes_nothing(arguments, said, tmp_path, capsys):
    out = tmp_path / "out"
    assert main(["unfold", str(MODEL), "--out", str(out), *arguments]) == 2
    assert said in capsys.readouterr().err
    assert not out.exists() or not any(out.iterdir())


def test_command_on_no_mesh(tmp_path):
    (tmp_path / "note.txt").write_text("no mesh")
    done = subprocess.run(
        [sys.executable, "-m", "geometry", "unfold", str(tmp_path / "note.txt"), "--out", str(tmp_path / "out")],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 2
    assert "Traceback" not in done.stderr
    assert done.stderr.strip()
