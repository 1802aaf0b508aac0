"""No knife goes twice: where a net lies against itself, the slit between is one line in every file."""

from xml.etree import ElementTree

import ezdxf
import numpy as np
import pytest
import shapely
from svgelements import Matrix, Path

from geometry.unfold.facets import facets_of
from geometry.unfold.net_lines import net_lines
from geometry.unfold.tabs import TabOptions, joins_of
from geometry.unfold.unfolding import unfold_facets
from geometry.unfold.write import write_unfolded
from tests.geometry import unfold_meshes

SVG = "{http://www.w3.org/2000/svg}"
#: Coordinates in files are rounded to some 1e-4 mm.
ROUNDED_MM = 1e-2


@pytest.fixture(scope="module", params=[True, False], ids=["edge to edge", "with tabs"])
def model(request):
    """A solid L; its net lies along itself for 15 mm of a longer side, twice."""
    made = unfold_facets(facets_of(unfold_meshes.SAMPLES["L"]()))
    return made, joins_of(made, TabOptions(edge_to_edge=request.param))


def twice(lines):
    """How much of straight lines lies on others, mm."""
    return sum(line.length for line in lines) - shapely.union_all(lines).length


def partly_along(model):
    """Sides of all facets of a net on which another facet's side lies, without being the same."""
    made, joins = model
    sides = [shapely.LineString(side) for side in net_lines(made, 0, joins, 0.0).rims]
    tree = shapely.STRtree(sides)
    pairs = tree.query(sides, predicate="intersects").T.tolist()
    return [(a, b) for a, b in pairs if a < b and 0.1 < sides[a].intersection(sides[b]).length < sides[a].length - 0.1]


def test_the_net_lies_against_itself_in_part(model):
    # Else nothing below would be looked at.
    assert partly_along(model)


def test_each_bit_of_a_cut_is_one_line(model):
    made, joins = model
    lines = net_lines(made, 0, joins, 0.0)
    cuts = [
        shapely.LineString(np.concatenate([line.points, line.points[:1]]) if line.closed else line.points)
        for line in lines.cuts
    ]
    assert twice(cuts) == pytest.approx(0.0, abs=1e-6)
    # And none is missing: they are all the border of the card, and what is cut within it.
    outlines = shapely.union_all([shape.boundary for shape in (*lines.facets, *lines.tabs.values())])
    creases = shapely.union_all([shapely.LineString(line.points) for line in lines.creases])
    assert shapely.union_all(cuts).length == pytest.approx(outlines.difference(creases.buffer(1e-6)).length, abs=1e-3)


def test_files_cut_it_once(model, tmp_path):
    made, joins = model
    files = write_unfolded(made, joins, tmp_path, formats=("svg", "dxf", "cutting"))
    for path in files.paths:
        cuts = in_svg(path) if path.suffix == ".svg" else in_dxf(path)
        assert cuts, path.name
        assert twice(cuts) == pytest.approx(0.0, abs=ROUNDED_MM), path.name


def in_svg(file):
    found = []
    for layer in ElementTree.parse(file).getroot().iter(f"{SVG}g"):
        if layer.get("data-class") != "cut":
            continue
        for piece in layer.iter(f"{SVG}g"):
            if piece.get("data-piece") is None:
                continue
            for element in piece.iter(f"{SVG}path"):
                path = Path(element.get("d")) * Matrix(piece.get("transform") or "")
                found += [[(each.end.x, each.end.y) for each in Path(part)] for part in path.as_subpaths()]
    return [shapely.LineString(points) for points in found]


def in_dxf(file):
    found = []
    for line in ezdxf.readfile(file).modelspace().query("LWPOLYLINE"):
        points = list(line.get_points("xy"))
        if "cut" in line.dxf.layer.lower():
            found.append(shapely.LineString(points + points[:1] if line.closed else points))
    return found
