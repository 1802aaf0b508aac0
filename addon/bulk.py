"""The bulk map as a flat sheet beside the book, at true size: one color a thickness, named in its materials."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import bpy
import numpy as np
import shapely
from numpy.typing import NDArray

from .books import collection_of
from .convert import metres
from .framing import swept_corners
from .geometry.bulk_drawing import BORDER, Patch, layers_text, page_patches
from .geometry.checks.bulk import BulkRegion, bulk_map
from .geometry.spread import Spread
from .geometry.tolerances import TOUCH_MM
from .geometry.transforms import Array
from .materials import plain_material

__all__ = ["add_bulk", "bulk_object", "legend_of", "remove_bulk", "summary_of"]

#: Property by which the sheet says what it is, and its materials what they mean.
_KEY = "hingeleaf_bulk"
#: Space between the open book, with all that reaches beyond its page, and the sheet.
_GAP_MM = 15.0
#: Each shape that is no region lies this far over the one before, so that none flickers through another.
_STEP_MM = 0.05


@dataclass(frozen=True)
class _Flat:
    """Triangles of many shapes: corners (n, 3) float, mm, faces (m, 3) int, and each face's shape (m,) int."""

    corners: Array
    faces: NDArray[np.intp]
    owners: NDArray[np.intp]


def bulk_object(root: bpy.types.Object) -> bpy.types.Object | None:
    """The sheet that lies beside a book; None where there is none."""
    return next((item for item in root.children if item.get(_KEY) is not None), None)


def legend_of(item: bpy.types.Object) -> list[tuple[str, bpy.types.Material]]:
    """What each material of a sheet means, the thinnest first."""
    materials = (slot.material for slot in item.material_slots)
    return [(material[_KEY], material) for material in materials if material is not None and material.get(_KEY)]


def summary_of(item: bpy.types.Object) -> str:
    """The worst place of a sheet, and the spine gusset."""
    return str(item[_KEY])


def add_bulk(spread: Spread, root: bpy.types.Object) -> bpy.types.Object:
    """Lay the map of the closed page beside a book.

    Parameters
    ----------
    spread : the assembled spread
    root : its book

    Returns
    -------
    the sheet; its origin is the foot of the spine. It is not rendered
    """
    bulk = bulk_map(spread)
    item = bpy.data.objects.new("Bulk", _mesh(page_patches(bulk)))
    x, y = bulk.worst.place_mm
    item[_KEY] = f"{_stack(bulk.worst)} at {x:.0f}, {y:.0f} mm; spine gusset {bulk.gusset_mm:.2f} mm"
    item.hide_render = True
    item.parent = root
    page = float(metres(spread.page_size_mm[0]))
    item.location.x = float(swept_corners(spread)[:, 0].max(initial=page) + metres(_GAP_MM))
    collection_of(root).objects.link(item)
    return item


def remove_bulk(item: bpy.types.Object) -> None:
    """Take the sheet away, with its mesh and its materials."""
    mesh, materials = item.data, [slot.material for slot in item.material_slots if slot.material is not None]
    bpy.data.batch_remove([item])
    for blocks in ([mesh], materials):
        bpy.data.batch_remove([block for block in blocks if block.users == 0])


def _mesh(patches: Sequence[Patch]) -> bpy.types.Mesh:
    """The shapes as one mesh, a material a thickness and one a mark; where there is no card there is a hole."""
    regions = sorted((item for item in patches if item.region is not None), key=lambda item: _order(item.region))
    marks = [item for item in patches if item.region is None]
    kept = [*(item for item in regions if item.region is not None and item.region.layers), *marks]
    names = [_name(item) for item in kept]
    slots = list(dict.fromkeys(zip(names, (item.color for item in kept), strict=True)))
    heights = np.cumsum([_STEP_MM * (item.region is None) for item in kept])
    flat = _flat(kept, heights)
    mesh = bpy.data.meshes.new("Bulk")
    mesh.from_pydata(metres(flat.corners).tolist(), [], flat.faces.tolist())
    for name, color in slots:
        mesh.materials.append(_material(name, color))
    slot = np.array([slots.index((name, item.color)) for name, item in zip(names, kept, strict=True)], dtype=np.int32)
    mesh.polygons.foreach_set("material_index", slot[flat.owners])
    mesh.update()
    return mesh


def _order(region: BulkRegion | None) -> tuple[float, int]:
    return (0.0, 0) if region is None else (region.thickness_mm, region.layers)


def _name(patch: Patch) -> str:
    """What a shape shows, for people."""
    if patch.region is not None:
        return _stack(patch.region)
    return "borders" if patch.level == BORDER else "ring about the thickest place"


def _stack(region: BulkRegion) -> str:
    return f"{layers_text(region.layers)}, {region.thickness_mm:.2f} mm"


def _material(meaning: str, color: tuple[int, int, int]) -> bpy.types.Material:
    red, green, blue = (channel / 255 for channel in color)
    material = plain_material(f"Bulk: {meaning}", (red, green, blue), roughness=0.9)
    if " mm" in meaning:
        material[_KEY] = meaning
    return material


def _flat(patches: Sequence[Patch], heights: Array) -> _Flat:
    """Cut shapes into triangles that look upwards, each shape at its height."""
    triangles, owners = [], []
    for index, patch in enumerate(patches):
        parts = shapely.get_parts(shapely.constrained_delaunay_triangles(patch.outline))
        # Thinner ones are nothing but rounding, and single precision may turn them over.
        parts = parts[2 * shapely.area(parts) > TOUCH_MM * shapely.length(parts)]
        triangles.append(shapely.get_coordinates(shapely.orient_polygons(parts)).reshape(-1, 4, 2)[:, :3])
        owners.append(np.full(len(parts), index))
    places, owner = np.concatenate(triangles).reshape(-1, 2), np.concatenate(owners)
    # Corners of one shape are shared, so that each region is one connected surface that L selects in Edit Mode.
    keys = np.column_stack([places, heights[np.repeat(owner, 3)], np.repeat(owner, 3)])
    corners, faces = np.unique(keys, axis=0, return_inverse=True)
    return _Flat(corners[:, :3], faces.reshape(-1, 3), owner)
