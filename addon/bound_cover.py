"""The cover of a bound book: two boards in cloth, and the cloth at the spine, leaf by leaf and gusset by gusset.

A gusset is the strip of spine between the two pages of a spread: as wide as what lies between them while the spread is
closed, and gone as it opens, so that a closed book has a closed spine and nothing has to pass through a leaf.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import bpy
import numpy as np

from .artwork import Artwork
from .books import collection_of
from .bound_motion import drive, separation
from .bound_rig import COVER_KEY, Leaves
from .channels import OPENING
from .convert import metres, to_blender
from .geometry.binding import Binding
from .geometry.transforms import Array
from .materials import Side, cloth_material, paper_material, plain_material
from .rig import remove_objects

__all__ = ["cover_leaves", "remove_cover"]

#: Property of the root with what the objects of the cover were made from.
_DIGEST_KEY = "hingeleaf_cover_digest"
#: How far boards stay off the spine; how thick cloth is, and how far off the edges of the pages.
_SPINE_GAP_MM = 0.1
_CLOTH_MM, _AIR_MM = 0.1, 0.02
#: The spine's cloth ends so far before the printed faces, so that an open spread does not show it.
_TUCK_MM = 0.05
#: A strip that is gone is so wide, as nothing can be scaled to nothing.
_GONE_MM = 1e-4
_OUTSIDE, _INSIDE, _EDGES = 0, 1, 2


def cover_leaves(
    bound: bpy.types.Object, roots: list[bpy.types.Object], binding: Binding, leaves: Leaves
) -> tuple[str, ...]:
    """Give a bound book its cover, if it is not the one that it has.

    Parameters
    ----------
    bound : its root
    roots : of its spreads, from the front
    binding : what is bound
    leaves : its empties

    Returns
    -------
    warnings : artwork that cannot be shown, one sentence each
    """
    art = Artwork()
    pictures = {name: art.image(getattr(binding.cover, f"art_{name}")) for name in ("front", "back")}
    shown = {name: image.name if image is not None else "" for name, image in pictures.items()}
    sizes = binding.page_size_mm, binding.leaves_mm.tolist(), binding.gaps_mm.tolist()
    names = [root.name for root in roots]
    digest = repr((binding.title, replace(binding.cover, art_front=None, art_back=None), shown, sizes, names))
    old = _parts(bound)
    # All of it is there, unless somebody has deleted some by hand.
    if bound.get(_DIGEST_KEY) == digest and len(old) == 2 + len(leaves.leaves) + len(roots):
        return tuple(art.warnings)
    # Before the old cover goes, and with it pictures that nothing else shows.
    materials = _materials(binding, pictures)
    remove_objects(old)
    for board in ("front", "back"):
        _add_board(bound, binding, leaves, board, materials)
    for leaf in range(len(leaves.leaves)):
        _add_spine(bound, binding, leaves, leaf, materials)
    for number, root in enumerate(roots, start=1):
        _add_gusset(bound, binding, leaves, number, root, materials)
    bound[_DIGEST_KEY] = digest
    return tuple(art.warnings)


def remove_cover(bound: bpy.types.Object) -> None:
    """Take the cover off."""
    remove_objects(_parts(bound))


def _parts(bound: bpy.types.Object) -> list[bpy.types.Object]:
    return [item for item in bound.children_recursive if item.get(COVER_KEY) is not None]


def _materials(binding: Binding, pictures: Mapping[str, bpy.types.Image | None]) -> dict[str, bpy.types.Material]:
    """Cloth, lining, and the outsides of both boards."""
    cover = binding.cover
    cloth = cloth_material(f"{binding.title}: cloth", cover.color)
    found = {"cloth": cloth, "lining": plain_material(f"{binding.title}: lining", cover.lining, roughness=0.85)}
    paper = binding.spreads[0].piece("page").stock
    board = replace(paper, caliper_mm=cover.board_mm, grammage_gsm=max(paper.grammage_gsm, 1500.0), color=cover.color)
    for name, image in pictures.items():
        side = Side(f"{binding.title}: cover {name}", board, image)
        found[name] = cloth if image is None else paper_material(side)
    return found


def _add_board(
    bound: bpy.types.Object,
    binding: Binding,
    leaves: Leaves,
    name: str,
    materials: Mapping[str, bpy.types.Material],
) -> None:
    """One board with softened edges."""
    leaf = 0 if name == "front" else len(leaves.leaves) - 1
    cover, thick = binding.cover, float(binding.leaves_mm[leaf])
    low_z = thick - cover.board_mm if name == "front" else -thick
    width, height = binding.page_size_mm
    low = _SPINE_GAP_MM, -cover.square_mm, low_z
    high = width + cover.square_mm, height + cover.square_mm, low_z + cover.board_mm
    slots = {"front": (_INSIDE, _OUTSIDE), "back": (_OUTSIDE, _INSIDE)}[name]
    wear = [materials[name], materials["lining"], materials["cloth"]]
    item = _box(bound, f"{name.capitalize()} Board", (low, high), [*slots, *[_EDGES] * 4], wear)
    _place_artwork(item, high[0], mirrored=name == "back")
    bevel: Any = item.modifiers.new("Soft Edges", "BEVEL")
    bevel.width, bevel.segments, bevel.material = 0.0004, 3, _EDGES
    _hang(item, leaves, leaf)


def _place_artwork(item: bpy.types.Object, width_mm: float, *, mirrored: bool) -> None:
    """Let artwork fill a board from the very spine, off which its card begins; mirrored where it is seen from below."""
    mesh: Any = item.data
    uvs = np.empty(2 * len(mesh.loops), dtype=np.float32)
    mesh.uv_layers[0].data.foreach_get("uv", uvs)
    across = (_SPINE_GAP_MM + uvs[::2] * (width_mm - _SPINE_GAP_MM)) / width_mm
    uvs[::2] = 1.0 - across if mirrored else across
    mesh.uv_layers[0].data.foreach_set("uv", uvs)


def _add_spine(
    bound: bpy.types.Object, binding: Binding, leaves: Leaves, leaf: int, materials: Mapping[str, bpy.types.Material]
) -> None:
    """The cloth along the spine of one leaf."""
    thick, last = float(binding.leaves_mm[leaf]), len(leaves.leaves) - 1
    ends = {0: (_TUCK_MM, thick), last: (-thick, -_TUCK_MM)}.get(leaf, (_TUCK_MM, thick - _TUCK_MM))
    _hang(_strip(bound, f"Spine {leaf}", binding, ends, materials), leaves, leaf)


def _add_gusset(
    bound: bpy.types.Object,
    binding: Binding,
    leaves: Leaves,
    number: int,
    root: bpy.types.Object,
    materials: Mapping[str, bpy.types.Material],
) -> None:
    """The strip of spine between the pages of one spread; one mm wide, scaled to what stands between them."""
    item = _strip(bound, f"Gusset {number}", binding, (-1.0, 0.0), materials)
    _hang(item, leaves, number - 1)
    apart = separation(float(binding.gaps_mm[number - 1]), binding.page_size_mm[0], "opening")
    drive(item, "scale", f"max({_GONE_MM:.6f}, {apart})", {"opening": (root, OPENING)}, 2)


def _strip(
    bound: bpy.types.Object,
    name: str,
    binding: Binding,
    ends: tuple[float, float],
    materials: Mapping[str, bpy.types.Material],
) -> bpy.types.Object:
    """A strip of cloth behind the spine edges of pages, lined on the side of the pages."""
    height = binding.page_size_mm[1]
    low = -_AIR_MM - _CLOTH_MM, _AIR_MM, ends[0]
    high = -_AIR_MM, height - _AIR_MM, ends[1]
    slots = [0, 0, 0, 1, 0, 0]
    return _box(bound, name, (low, high), slots, [materials["cloth"], materials["lining"]])


def _box(
    bound: bpy.types.Object,
    name: str,
    ends: tuple[tuple[float, float, float], tuple[float, float, float]],
    slots: list[int],
    materials: list[bpy.types.Material],
) -> bpy.types.Object:
    """A box between two corners, with a material's slot for each face of _FACES."""
    low, high = np.array(ends[0]), np.array(ends[1])
    corners = _corners(low, high)
    mesh = bpy.data.meshes.new(name)
    mesh.from_pydata(metres(corners).tolist(), [], _FACES)
    for material in materials:
        mesh.materials.append(material)
    mesh.polygons.foreach_set("material_index", np.array(slots, dtype=np.int32))
    share = (corners - low) / (high - low)
    uvs = share[[corner for face in _FACES for corner in face], :2]
    mesh.uv_layers.new(name="Artwork").data.foreach_set("uv", uvs.astype(np.float32).ravel())
    mesh.update()
    item = bpy.data.objects.new(name, mesh)
    item[COVER_KEY] = name
    item.hide_select = True
    collection_of(bound).objects.link(item)
    return item


#: Corners of each face of a box, seen from outside: bottom, top, foot, fore edge, spine, head.
_FACES = [(0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (1, 3, 7, 5), (0, 4, 6, 2), (2, 6, 7, 3)]


def _corners(low: Array, high: Array) -> Array:
    """Corners of a box, (8, 3) float; x runs fastest, z slowest."""
    return np.array([[x, y, z] for z in (low[2], high[2]) for y in (low[1], high[1]) for x in (low[0], high[0])])


def _hang(item: bpy.types.Object, leaves: Leaves, leaf: int) -> None:
    item.parent = leaves.leaves[leaf]
    item.matrix_parent_inverse = to_blender(leaves.frames[leaf])
