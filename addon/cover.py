"""The boards of the cover: a prop under the pages, so that the outside of a turning page looks like a book."""

from __future__ import annotations

from typing import Any

import bpy
import numpy as np

from .convert import to_object
from .geometry.artwork import art_box
from .geometry.model import Panel
from .geometry.spread import Spread
from .geometry.transforms import Array
from .materials import cloth_material, plain_material
from .resting import GAP_MM
from .rig import Book
from .slab import BACK, ArtBox

__all__ = ["BOARD_MM", "SQUARE_MM", "add_cover"]

#: Thickness of a board, how far it reaches beyond the page, and how far it stays off the spine.
BOARD_MM = 1.8
SQUARE_MM = 2.5
_SPINE_GAP_MM = 0.1
#: Brick red, as an sRGB colour.
_CLOTH = (0.48, 0.18, 0.15)
_LINING = (0.93, 0.91, 0.87)


def add_cover(spread: Spread, book: Book, collection: bpy.types.Collection) -> float:
    """Add a board under each page; it wears the artwork of the pages' outside where there is some, else cloth.

    Parameters
    ----------
    spread : the assembled spread
    book : its objects
    collection : gets the boards

    Returns
    -------
    height of the table's top, mm; the right board lies on it
    """
    cloth = cloth_material(f"{spread.title}: cover", _CLOTH)
    lining = plain_material(f"{spread.title}: cover lining", _LINING, roughness=0.8)
    depth = book.depth_mm + GAP_MM
    for panel in spread.panels.values():
        if panel.role == "page":
            page = book.panels[panel.id]
            board = _board(panel, spread.page_size_mm, depth, ArtBox(*art_box(spread, panel.piece)))
            board.data.materials.append(page.data.materials[BACK] if _is_painted(page) else cloth)
            board.data.materials.append(lining)
            board.parent = page
            board.hide_select = True
            collection.objects.link(board)
    return -depth - BOARD_MM


def _is_painted(page: bpy.types.Object) -> bool:
    """Whether the page's back shows artwork."""
    nodes = page.data.materials[BACK].node_tree.nodes
    return any(node.type == "TEX_IMAGE" for node in nodes)


def _board(page: Panel, size_mm: tuple[float, float], depth_mm: float, box: ArtBox) -> bpy.types.Object:
    """A board behind one page, in that page's object coordinates, with softened edges."""
    width, height = size_mm
    side = float(np.sign(page.outline.centroid.x)) or 1.0
    near, far = sorted((side * _SPINE_GAP_MM, side * (width + SQUARE_MM)))
    corners = _box((near, -SQUARE_MM, -depth_mm - BOARD_MM), (far, height + SQUARE_MM, -depth_mm))
    mesh = bpy.data.meshes.new(f"{page.id} board")
    faces = [(0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5)]
    mesh.from_pydata(to_object(page, corners).tolist(), [], faces)
    mesh.polygons.foreach_set("material_index", np.array([0, 1, 0, 0, 0, 0], dtype=np.int32))
    uvs = box.place_on_back(corners[[corner for face in faces for corner in face], :2])
    mesh.uv_layers.new(name="Artwork").data.foreach_set("uv", uvs.astype(np.float32).ravel())
    mesh.update()
    board = bpy.data.objects.new(f"{page.id} board", mesh)
    bevel: Any = board.modifiers.new("Soft Edges", "BEVEL")
    bevel.width, bevel.segments, bevel.material = 0.0004, 3, 0
    return board


def _box(low: tuple[float, float, float], high: tuple[float, float, float]) -> Array:
    """Corners of a box, (8, 3) float; x runs fastest, z slowest."""
    return np.array([[x, y, z] for z in (low[2], high[2]) for y in (low[1], high[1]) for x in (low[0], high[0])])
