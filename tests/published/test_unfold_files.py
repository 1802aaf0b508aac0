"""The files of unfolded meshes, measured by outside judges against the mesh itself.

Sources: area and sharp edges of the mesh by trimesh; page sizes by PyMuPDF; DXF by ezdxf's own audit, $INSUNITS 4 is
mm (AutoCAD DXF reference); SVG in millimetres by its width and viewBox (SVG 1.1, 7.7), paths by svgelements. Joined
edge to edge, what is cut out of the sheet has the area of the mesh, and each cut edge is cut twice: half of all cuts
and the whole of all creases make up the edges at which the mesh bends.
"""

from __future__ import annotations

import json
from xml.etree import ElementTree

import ezdxf
import numpy as np
import pymupdf
import pytest
import shapely
import trimesh
from svgelements import Matrix, Path

from geometry.__main__ import main
from tests.geometry import unfold_meshes as meshes

SVG = "{http://www.w3.org/2000/svg}"
CLOSED = ["box", "house", "letters", "ring cube", "ball", "cone", "star"]
#: Coordinates in files are rounded to some 1e-4 mm, and STL is in single precision.
REL = 1e-5


def exported(name, folder):
    """The mesh as an STL file, and as trimesh has it."""
    mesh = meshes.SAMPLES[name]()
    faces = [[face[0], face[k], face[k + 1]] for face in meshes.faces_of(mesh) for k in range(1, len(face) - 1)]
    path = folder / "model.stl"
    trimesh.Trimesh(mesh.vertices, faces, process=False).export(path)
    return path, trimesh.load(path)


def written(path, folder, *more):
    """Files of a run, and what it says of them."""
    out, said = folder / "out", folder / "said.json"
    command = ["unfold", str(path), "--out", str(out), "--json", str(said), *more]
    assert main(command) in (0, 1)
    return out, json.loads(said.read_text())


def svg_lines(path):
    """Size of the sheet, mm, and of each piece its lines of each class as it lies on the sheet."""
    root = ElementTree.parse(path).getroot()
    assert root.get("viewBox") == f"0 0 {root.get('width')[:-2]} {root.get('height')[:-2]}"
    found = {}
    for layer in root.iter(f"{SVG}g"):
        for piece in layer.iter(f"{SVG}g"):
            if layer.get("data-class") is None or piece.get("data-piece") is None:
                continue
            lines = found.setdefault(piece.get("data-piece"), {}).setdefault(layer.get("data-class"), [])
            for element in piece.iter(f"{SVG}path"):
                path = Path(element.get("d")) * Matrix(piece.get("transform") or "")
                for part in path.as_subpaths():
                    points = [(segment.end.x, segment.end.y) for segment in Path(part) if segment.end is not None]
                    lines.append(shapely.LineString(points))
    return (float(root.get("width")[:-2]), float(root.get("height")[:-2])), found


def cut_out(lines):
    """What the cuts of a piece leave, without openings and as one shape."""
    noded = shapely.node(shapely.MultiLineString(lines))
    parts = shapely.get_parts(shapely.polygonize(shapely.get_parts(noded)))
    filled = [shapely.Polygon(part.exterior) for part in parts]
    within = [sum(fill.contains(part.representative_point()) for fill in filled) % 2 for part in parts]
    return shapely.union_all(parts[np.array(within, dtype=bool)])


def cut_length(lines):
    """Length of both sides of all cuts: a slit, with card on both sides, is drawn once."""
    return 2 * shapely.union_all(lines).length - cut_out(lines).length


def length(lines):
    return sum(line.length for line in lines)


def all_lines(out):
    """Sheet sizes, and lines of all pieces."""
    sizes, pieces = [], {}
    for path in sorted(out.glob("*.svg")):
        size, found = svg_lines(path)
        sizes.append(size)
        assert not set(found) & set(pieces)
        pieces |= found
        sheet = shapely.box(-1e-6, -1e-6, size[0] + 1e-6, size[1] + 1e-6)
        assert all(sheet.covers(line) for each in found.values() for lines in each.values() for line in lines)
    return sizes, pieces


@pytest.mark.parametrize("name", CLOSED)
def test_edge_to_edge_the_card_has_the_area_and_the_edges_of_the_mesh(name, tmp_path):
    path, known = exported(name, tmp_path)
    out, said = written(path, tmp_path, "--edge-to-edge", "--format", "svg")
    _, pieces = all_lines(out)
    assert len(pieces) == len(said["nets"])
    assert sum(cut_out(piece["cut"]).area for piece in pieces.values()) == pytest.approx(known.area, rel=REL)
    assert said["area_mm2"] == pytest.approx(known.area, rel=1e-6)
    sharp = known.face_adjacency_angles > 1e-3
    ends = known.vertices[known.face_adjacency_edges[sharp]]
    edges = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1).sum()
    cuts = sum(cut_length(piece["cut"]) for piece in pieces.values())
    creases = sum(length(piece.get(kind, [])) for piece in pieces.values() for kind in ("mountain", "valley"))
    assert cuts / 2 + creases == pytest.approx(edges, rel=10 * REL)
    assert cuts / 2 == pytest.approx(sum(cut["length_mm"] for cut in said["cuts"]), rel=10 * REL)


@pytest.mark.parametrize("name", ["house", "letters", "ring cube"])
def test_no_line_is_cut_twice(name, tmp_path):
    """Where facets lie beside each other across a cut there is one slit, also where it runs on into an opening."""
    path, _ = exported(name, tmp_path)
    out, _ = written(path, tmp_path, "--edge-to-edge", "--format", "svg")
    _, pieces = all_lines(out)
    twice = {name: length(each["cut"]) - shapely.union_all(each["cut"]).length for name, each in pieces.items()}
    assert twice == pytest.approx(dict.fromkeys(pieces, 0.0), abs=1e-3)


@pytest.mark.parametrize("name", ["house", "ball"])
def test_with_tabs_all_formats_agree(name, tmp_path):
    path, known = exported(name, tmp_path)
    out, _ = written(path, tmp_path, "--tab", "5")
    sizes, pieces = all_lines(out)
    assert sum(cut_out(piece["cut"]).area for piece in pieces.values()) > 1.02 * known.area
    with pymupdf.open(next(out.glob("*.pdf"))) as pages:
        found = [(page.rect.width * 25.4 / 72, page.rect.height * 25.4 / 72) for page in pages]
    assert len(found) == len(sizes)
    assert np.array(found) == pytest.approx(np.array(sizes), abs=0.01)
    in_dxf = 0.0
    for file in out.glob("*.dxf"):
        drawing = ezdxf.readfile(file)
        audit = drawing.audit()
        assert (audit.errors, audit.fixes, drawing.header["$INSUNITS"]) == ([], [], 4)
        for line in drawing.modelspace().query('LWPOLYLINE[layer ? ".*[Cc][Uu][Tt].*"]'):
            points = np.array(line.get_points("xy"))
            points = np.r_[points, points[:1]] if line.closed else points
            in_dxf += np.linalg.norm(np.diff(points, axis=0), axis=1).sum()
    assert in_dxf == pytest.approx(sum(length(piece["cut"]) for piece in pieces.values()), rel=10 * REL)
