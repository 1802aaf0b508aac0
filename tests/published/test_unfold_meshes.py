"""Meshes that others made: sphere.ply and nut.ply as PyVista brings them, whole and with fewer faces.

Source: PyVista's own example files (pyvista 0.49.1, pyvista/examples), read from the installed package, which is not
imported. What they hold is compared with trimesh's reading of them.
"""

from __future__ import annotations

import importlib.util
from pathlib import Path

import numpy as np
import pytest
import trimesh

from geometry.unfold.cut_options import CutOptions
from geometry.unfold.facets import facets_of
from geometry.unfold.mesh_files import read_mesh
from geometry.unfold.mesh_options import MeshOptions
from geometry.unfold.unfolding import unfold_facets
from tests.geometry import unfold_judge as judge
from tests.geometry import unfold_meshes as meshes

NAMES = ["sphere", "nut"]


def path_of(name):
    """The file in the installed package."""
    (folder,) = importlib.util.find_spec("pyvista").submodule_search_locations
    return Path(folder, "examples", f"{name}.ply")


def clustered(mesh, steps):
    """Fewer faces: all vertices in one cell of a grid become one in their middle (Rossignac and Borrel, 1993)."""
    low = mesh.vertices.min(axis=0)
    cell = np.floor((mesh.vertices - low) / (np.ptp(mesh.vertices, axis=0).max() / steps) + 1e-9).astype(int)
    _, number = np.unique(cell, axis=0, return_inverse=True)
    number = number.ravel()
    count = np.bincount(number)
    middles = np.stack([np.bincount(number, mesh.vertices[:, axis]) / count for axis in range(3)], axis=1)
    faces = [[int(number[corner]) for corner in face] for face in meshes.faces_of(mesh)]
    kept = {tuple(sorted(face)): face for face in faces if len(set(face)) == 3}
    return meshes.mesh_of(middles, kept.values(), mesh.name)


@pytest.mark.parametrize("name", NAMES)
def test_read_as_trimesh_reads_it(name):
    mesh, known = read_mesh(path_of(name)), trimesh.load(path_of(name), process=False)
    assert len(mesh.starts) - 1 == len(known.faces)
    assert np.allclose(mesh.vertices[mesh.corners].reshape(-1, 3, 3), known.triangles, rtol=1e-7, atol=0)
    assert meshes.area_of(mesh) == pytest.approx(known.area, rel=1e-12)


@pytest.mark.parametrize(
    ("name", "preset"), [("sphere", "fewest"), ("sphere", "shortest"), ("sphere", "compact"), ("nut", "fewest")]
)
def test_whole_it_unfolds_and_folds_back(name, preset):
    facets = facets_of(read_mesh(path_of(name)), MeshOptions(height_mm=80.0))
    unfolded = unfold_facets(facets, CutOptions(preset=preset))
    known = trimesh.load(path_of(name))
    size = known.bounds[1] - known.bounds[0]
    assert judge.faults(unfolded, area_mm2=meshes.area_of(facets.mesh)) == []
    assert facets.areas_mm2.sum() == pytest.approx(known.area * (80.0 / size[2]) ** 2, rel=1e-6)
    assert np.ptp(facets.vertices[:, 2]) == pytest.approx(80.0, rel=1e-6)
    assert judge.bodies_of(facets) == known.body_count
    assert len(unfolded.nets) == 1 or (name == "nut" and len(unfolded.nets) <= 4)  # its thread is sharp and winding


@pytest.mark.parametrize(("name", "steps"), [("sphere", 4), ("sphere", 7), ("sphere", 12), ("nut", 4), ("nut", 12)])
def test_with_fewer_faces_it_unfolds_and_folds_back(name, steps):
    mesh = clustered(read_mesh(path_of(name)), steps)
    facets = facets_of(mesh)
    unfolded = unfold_facets(facets)
    assert 10 < len(mesh.starts) - 1 < len(read_mesh(path_of(name)).starts) - 1
    assert judge.faults(unfolded) == []
    assert facets.areas_mm2.sum() == pytest.approx(meshes.area_of(mesh), rel=1e-9)


@pytest.mark.parametrize("name", NAMES)
def test_on_a_sheet_no_net_is_larger_than_its_room(name):
    facets = facets_of(read_mesh(path_of(name)), MeshOptions(height_mm=150.0))
    room = (190.0, 277.0)
    unfolded = unfold_facets(facets, CutOptions(room_mm=room))
    assert judge.faults(unfolded) == []
    assert judge.too_large(unfolded, room) == []
