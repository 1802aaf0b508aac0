"""Nets of a mesh as files, by the command: true size, complete or not at all, with what a person should know."""

import dataclasses
import io
import json
import re
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pymupdf
import pytest
import shapely
from PIL import Image

from geometry.__main__ import main
from geometry.nets.lettering import text_box
from geometry.nets.pictures import read_picture
from geometry.unfold.cut_options import CutOptions
from geometry.unfold.data import Surface
from geometry.unfold.facets import facets_of
from geometry.unfold.folding_file import folding_data
from geometry.unfold.mesh_files import read_mesh
from geometry.unfold.mesh_options import MeshOptions
from geometry.unfold.tabs import joins_of
from geometry.unfold.unfolding import unfold_facets
from geometry.unfold.write import write_unfolded
from tests.geometry import unfold_meshes

ROOT = Path(__file__).resolve().parents[2]
HOUSE = ROOT / "scenes/models/keepers-house.obj"
STEM = "keepers-house"
SVG = "{http://www.w3.org/2000/svg}"


def obj(mesh, file):
    lines = [f"v {x!r} {y!r} {z!r}" for x, y, z in mesh.vertices.tolist()]
    lines += ["f " + " ".join(str(v + 1) for v in face) for face in unfold_meshes.faces_of(mesh)]
    file.write_text("\n".join(lines) + "\n")
    return str(file)


def run(arguments, tmp_path, status=0):
    """What the command makes, as JSON."""
    made = tmp_path / "made.json"
    assert main(["unfold", *map(str, arguments), "--json", str(made)]) == status
    return json.loads(made.read_text())


def test_all_files_of_a_mesh(tmp_path, capsys):
    made = run([HOUSE, "--out", tmp_path / "nets", "--format", "all", "--height", "41"], tmp_path)
    said = capsys.readouterr().out
    assert f"{len(made['cuts'])} cuts to glue" in said
    assert "sheet 1 (A4, card): keepers-house 1 of 2" in said
    kinds = ("nets-1.svg", "nets.pdf", "nets-1.dxf", "cutting-1.svg", "cutting-1.dxf", "folding.json")
    assert sorted(path.name for path in (tmp_path / "nets").iterdir()) == sorted(f"{STEM}-{kind}" for kind in kinds)
    assert sorted(Path(name).name for name in made["written"]) == sorted(f"{STEM}-{kind}" for kind in kinds)


def test_data_is_that_of_the_mesh(tmp_path):
    made = run([HOUSE, "--out", tmp_path / "nets", "--scale", "1.5", "--format", "svg"], tmp_path)
    mesh = read_mesh(HOUSE)
    area = 1.5**2 * unfold_meshes.area_of(mesh)
    assert made["area_mm2"] == pytest.approx(area, rel=1e-9)
    assert sum(net["area_mm2"] for net in made["nets"]) == pytest.approx(area, rel=1e-9)
    assert made["size_mm"] == pytest.approx((1.5 * np.ptp(mesh.vertices, axis=0)).tolist())
    assert len(made["creases"]) == made["facets"] - len(made["nets"])
    assert [cut["label"] for cut in made["cuts"]] == [str(n) for n in range(1, len(made["cuts"]) + 1)]
    sizes = {round(each["dihedral_deg"], 6) for each in (*made["creases"], *made["cuts"])}
    assert 90.0 in sizes


def test_nets_have_their_true_size_in_svg(tmp_path):
    made = run([HOUSE, "--out", tmp_path / "nets", "--format", "svg"], tmp_path)
    root = ET.parse(tmp_path / "nets" / f"{STEM}-nets-1.svg").getroot()
    creases = {}
    for layer in root.iter(f"{SVG}g"):
        if layer.get("data-class") in ("mountain", "valley"):
            for path in layer.iter(f"{SVG}path"):
                if path.get("data-hinge"):
                    numbers = [float(part) for part in re.findall(r"-?[\d.]+", path.get("d"))]
                    creases[path.get("data-hinge")] = np.hypot(numbers[2] - numbers[0], numbers[3] - numbers[1])
    for crease in made["creases"]:
        assert creases[crease["id"]] == pytest.approx(crease["length_mm"], abs=3e-4)
    tabs = [cut for cut in made["cuts"] if cut["tab_on"] is not None]
    assert len(creases) == len(made["creases"]) + len(tabs)
    for cut in tabs:
        assert creases[f"tab-{cut['label']}"] == pytest.approx(cut["length_mm"], abs=3e-4)


def test_nets_without_a_sheet_go_on_the_smallest_that_takes_them_whole(tmp_path):
    sizes = {}
    for height in (41, 90, 150):
        made = run([HOUSE, "--out", tmp_path / "nets", "--height", height, "--format", "svg", "--dpi", "40"], tmp_path)
        assert len(made["nets"]) == 2
        (sizes[height],) = {sheet["size"] for sheet in made["sheets"]}
    assert sizes == {41: "A4", 90: "A3", 150: "A2"}


def test_nets_larger_than_their_sheet_are_split_and_with_tiles_are_not(tmp_path):
    arguments = [
        HOUSE,
        "--out",
        tmp_path / "nets",
        "--sheet",
        "A5",
        "--height",
        "120",
        "--format",
        "svg",
        "--dpi",
        "40",
    ]
    made = run(arguments, tmp_path)
    assert len(made["nets"]) > 2
    assert {sheet["size"] for sheet in made["sheets"]} == {"A5"}
    assert not any("does not fit" in remark for remark in made["remarks"])
    tiled = run([*arguments, "--tile"], tmp_path)
    assert len(tiled["nets"]) == 2
    assert any("tiles" in remark for remark in tiled["remarks"])


def test_folding_file_is_the_nets_and_the_solid(tmp_path):
    model = unfold_facets(facets_of(unfold_meshes.house()))
    angles = [0.0, 60.0, 180.0]
    data = json.loads(json.dumps(folding_data(model, angles)))
    panels = {panel["id"]: panel for panel in data["panels"]}
    assert len(panels) == len(model.facets.rings)
    assert data["angles_deg"] == angles

    def carried(panel, number, points):
        flat = np.column_stack([points, np.zeros(len(points)), np.ones(len(points))])
        return (flat @ np.array(panels[panel]["matrices"][number]).T)[:, :3]

    for facet, rings in enumerate(model.facets.rings):
        panel = panels[f"f{facet + 1}"]
        for ring, outline in zip(rings, [panel["outline"], *panel["holes"]], strict=True):
            apart = carried(panel["id"], 0, outline) - model.facets.vertices[ring]
            assert np.abs(apart).max() < 1e-6 * model.facets.size_mm
    assert len(data["hinges"]) == len(panels) - len(model.nets)
    for hinge in data["hinges"]:
        bend = model.facets.bends[int(hinge["id"].removeprefix("fold-")) - 1]
        assert hinge["dihedral_deg"][2] == 180.0
        for number, angle in enumerate(angles):
            ends = [carried(panel, number, line) for panel, line in zip(hinge["panels"], hinge["line"], strict=True)]
            assert np.abs(ends[0] - ends[1]).max() < 1e-6
            normals = [np.array(panels[panel]["matrices"][number])[:3, 2] for panel in hinge["panels"]]
            turned = np.degrees(np.arccos(np.clip(normals[0] @ normals[1], -1.0, 1.0)))
            assert turned == pytest.approx(np.degrees(abs(bend)) * (1 - angle / 180.0), abs=1e-4)
            # As in a spread, it is measured through the printed face.
            assert hinge["dihedral_deg"][number] - 180.0 == pytest.approx(np.sign(bend) * turned, abs=1e-4)


def test_folding_file_of_its_own(tmp_path):
    file = tmp_path / "folding.json"
    made = run([HOUSE, "--out", tmp_path / "nets", "--format", "svg", "--folding", file], tmp_path)
    assert str(file) in made["written"]
    assert json.loads(file.read_text())["angles_deg"][::18] == [0.0, 180.0]


def test_folding_file_that_cannot_be_written_leaves_no_nets(tmp_path, capsys):
    out = tmp_path / "nets"
    folding = tmp_path / "missing" / "folding.json"
    assert main(["unfold", str(HOUSE), "--out", str(out), "--format", "svg", "--folding", str(folding)]) == 2
    assert "folding.json" in capsys.readouterr().err
    assert not any(out.iterdir())


def test_what_needs_a_person_is_status_1(tmp_path, capsys):
    crossing = unfold_meshes.merged(unfold_meshes.box(), unfold_meshes.moved(unfold_meshes.box(), (20.0, 15.0, 10.0)))
    made = run([obj(crossing, tmp_path / "two.obj"), "--out", tmp_path / "nets", "--format", "svg"], tmp_path, 1)
    assert any(note["severity"] == "warning" for note in made["notes"])
    assert "warning" in capsys.readouterr().out
    # Flattening was asked for: how far it goes is said, and nobody has to look.
    ball = obj(unfold_meshes.icosphere(1), tmp_path / "ball.obj")
    made = run([ball, "--out", tmp_path / "nets", "--flat", "25", "--format", "svg"], tmp_path, 0)
    assert any("the shape is off by up to" in note["text"] for note in made["notes"])


def test_bands_are_light_in_every_format(tmp_path):
    tube = obj(unfold_meshes.prism(24, 15.0, 60.0), tmp_path / "tube.obj")
    made = run([tube, "--out", tmp_path / "nets", "--smooth", "20", "--format", "svg,cutting"], tmp_path)
    light = {crease["id"] for crease in made["creases"] if abs(crease["dihedral_deg"] - 180.0) < 20.0}
    assert len(light) == 23
    for name in ("tube-nets-1.svg", "tube-cutting-1.svg"):
        paths = ET.parse(tmp_path / "nets" / name).getroot().iter(f"{SVG}path")
        assert {path.get("data-hinge") for path in paths if path.get("data-score") == "light"} == light


def test_edge_to_edge_has_no_tabs(tmp_path):
    made = run([HOUSE, "--out", tmp_path / "nets", "--edge-to-edge", "--format", "svg"], tmp_path)
    assert all(cut["tab_on"] is None for cut in made["cuts"])
    assert any("all cuts are joined edge to edge" in remark for remark in made["remarks"])
    assert 'data-hinge="tab-' not in (tmp_path / "nets" / f"{STEM}-nets-1.svg").read_text()


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--height", "0"], "height"),
        (["--scale", "nan"], "--scale"),
        (["--scale", "-2"], "scale"),
        (["--tab", "0"], "tabs"),
        (["--tab", "5", "--edge-to-edge"], "leave one of them out"),
        (["--flat", "100"], "flat angle"),
        (["--smooth", "-1"], "smooth"),
        (["--format", "booklet"], "format"),
        (["--format", ""], "format"),
        (["--dpi", "3"], "dots an inch"),
        (["--dpi", "many"], "--dpi"),
        (["--caliper", "-1"], "--caliper"),
        (["--preset", "best"], "preset"),
        (["--sheet", "A99"], "A99"),
        (["--overlap", "12"], "--tile"),
        (["--nick-every", "50"], "--nicks"),
    ],
)
def test_what_is_wrong_is_said_and_nothing_written(arguments, said, tmp_path, capsys):
    out = tmp_path / "out"
    assert main(["unfold", str(HOUSE), "--out", str(out), *arguments]) == 2
    assert said in capsys.readouterr().err
    assert not out.exists()


def test_what_is_no_mesh_is_status_2(tmp_path):
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
    assert "note.txt" in done.stderr


def test_a_texture_that_cannot_be_read_leaves_old_files_as_they_were(tmp_path, capsys):
    text = HOUSE.read_text().replace("keepers-house.mtl", "own.mtl")
    (tmp_path / "own.obj").write_text(text)
    (tmp_path / "own.mtl").write_text("newmtl painted\nmap_Kd broken.png\nnewmtl plain\nKd 1 0 0\n")
    (tmp_path / "broken.png").write_bytes(b"no picture")
    out = tmp_path / "nets"
    out.mkdir()
    (out / "own-nets-1.svg").write_text("old")
    assert main(["unfold", str(tmp_path / "own.obj"), "--out", str(out), "--format", "svg"]) == 2
    assert "broken.png" in capsys.readouterr().err
    assert [path.name for path in out.iterdir()] == ["own-nets-1.svg"]
    assert (out / "own-nets-1.svg").read_text() == "old"


def test_the_same_mesh_gives_the_same_bytes(tmp_path):
    model = unfold_facets(facets_of(read_mesh(HOUSE)), CutOptions())
    joins = joins_of(model)
    written = [write_unfolded(model, joins, tmp_path / name, formats=("svg", "pdf", "dxf")) for name in "ab"]
    for first, second in zip(*(files.paths for files in written), strict=True):
        assert first.read_bytes() == second.read_bytes()


def test_sheets_hold_their_pieces_apart_with_their_bleed(tmp_path):
    model = unfold_facets(facets_of(read_mesh(HOUSE)))
    files = write_unfolded(model, joins_of(model), tmp_path, formats=("svg", "booklet"))
    assert any("no order of assembly" in note for note in files.notes)
    for sheet in files.sheets:
        paper = shapely.box(0.0, 0.0, sheet.width_mm, sheet.height_mm)
        for number, drawing in enumerate(sheet.pieces):
            assert paper.contains(drawing.card)
            for other in sheet.pieces[:number]:
                assert drawing.card.distance(other.card) >= 6.0 - 1e-6


def test_artwork_is_in_svg_and_pdf_where_the_model_has_it(tmp_path):
    model = unfold_facets(facets_of(read_mesh(HOUSE), MeshOptions(height_mm=60.0)))
    files = write_unfolded(model, joins_of(model), tmp_path, formats=("svg", "pdf"))
    page = pymupdf.open(tmp_path / f"{STEM}-nets.pdf")[0].get_pixmap(dpi=254)
    shown = np.frombuffer(page.samples, np.uint8).reshape(page.height, page.width, 3).astype(int)
    (sheet,) = files.sheets
    text = (tmp_path / f"{STEM}-nets-1.svg").read_text()
    assert text.count("data:image/png;base64,") == len(sheet.pieces) == len(model.nets)
    for drawing in sheet.pieces:
        art = drawing.art
        with Image.open(io.BytesIO(art.picture(read_picture).data)) as image:
            pixels = np.asarray(image.convert("RGB")).astype(int)
        low, high = np.array(art.shown.bounds).reshape(2, 2)
        grid = np.stack(np.meshgrid(*(np.arange(low[k], high[k], 1.0) for k in (0, 1))), axis=-1).reshape(-1, 2)
        strokes = [(shapely.LinearRing if line.closed else shapely.LineString)(line.points) for line in drawing.lines]
        over = [one.buffer(0.7) for one in strokes]
        over += [text_box(each).buffer(0.7) for each in drawing.texts]
        grid = grid[shapely.contains_xy(art.shown.buffer(-0.5).difference(shapely.union_all(over)), grid)]
        across, down = (
            (grid - art.corner) @ np.linalg.inv(np.column_stack([art.along, art.up])).T * [1, -1] + [0, 1]
        ).T
        row, column = (down * pixels.shape[0]).astype(int), (across * pixels.shape[1]).astype(int)
        around = np.stack([pixels[row + up, column + right] for up in (-3, 0, 3) for right in (-3, 0, 3)])
        # Where it is of one colour: between two, both are rounded to their own pixels.
        even = np.ptp(around, axis=0).max(axis=1) < 4
        assert even.sum() > 100
        printed = shown[((sheet.height_mm - grid[:, 1]) * 10).astype(int), (grid[:, 0] * 10).astype(int)]
        assert np.abs(pixels[row, column] - printed).max(axis=1)[even].max() < 6


def test_colours_are_in_svg_and_pdf(tmp_path):
    box = unfold_meshes.box()
    surfaces = (Surface("red", (1.0, 0.0, 0.0)), Surface("blue", (0.0, 0.0, 1.0)))
    mesh = dataclasses.replace(box, surface_of=np.array([0, 0, 0, 1, 1, -1]), surfaces=surfaces)
    model = unfold_facets(facets_of(mesh))
    files = write_unfolded(model, joins_of(model), tmp_path, formats=("svg", "pdf"))
    root = ET.parse(files.paths[0]).getroot()
    fills = [path.get("fill") for path in root.iter(f"{SVG}path") if path.get("data-fill") == "color"]
    assert sorted(fills) == ["#0000ff", "#ff0000"]
    page = pymupdf.open(files.paths[1])[0].get_pixmap(dpi=254)
    shown = np.frombuffer(page.samples, np.uint8).reshape(-1, 3).astype(int)
    # Of 100 pixels a mm2: the faces and the bleed about them, less what lines and numbers cover.
    for color, faces in (((255, 0, 0), (0, 1, 2)), ((0, 0, 255), (3, 4))):
        area = sum(model.facets.areas_mm2[at] for at, own in enumerate(model.facets.source) if own[0] in faces)
        seen = np.count_nonzero(np.abs(shown - color).max(axis=1) < 10) / 100.0
        assert 0.85 * area < seen < 1.7 * area
