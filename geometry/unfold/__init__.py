"""Nets from any mesh: read and repaired, its coplanar faces joined, unfolded, and drawn to be cut."""

from .data import AVOID, CUT, FREE, KEEP, Facets, Mesh, MeshNote, Net, Surface, Unfolded
from .facets import facets_of
from .mesh_files import read_mesh
from .mesh_options import MeshOptions

__all__ = [
    "AVOID",
    "CUT",
    "FREE",
    "KEEP",
    "Facets",
    "Mesh",
    "MeshNote",
    "MeshOptions",
    "Net",
    "Surface",
    "Unfolded",
    "facets_of",
    "read_mesh",
]
