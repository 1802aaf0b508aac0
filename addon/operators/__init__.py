"""What the user can do: one module a task."""

import bpy

from . import arrange, bind_arrange, make_film, unfold_model
from .add_mechanism import HINGELEAF_OT_add_mechanism
from .assets import HINGELEAF_OT_mark_asset, HINGELEAF_OT_place_asset
from .assign_artwork import HINGELEAF_OT_assign_artwork, HINGELEAF_OT_remove_artwork
from .assign_folder import HINGELEAF_OT_assign_folder, HINGELEAF_OT_remove_color
from .bake_model import HINGELEAF_OT_bake_model
from .bake_motion import HINGELEAF_OT_bake_motion, HINGELEAF_OT_remove_bake
from .bind_save import HINGELEAF_OT_save_bound
from .bind_spreads import HINGELEAF_OT_bind_spreads, HINGELEAF_OT_new_bound_book, HINGELEAF_OT_take_apart
from .check_book import HINGELEAF_OT_apply_remedy, HINGELEAF_OT_check_book, HINGELEAF_OT_show_finding
from .cut_edge import HINGELEAF_OT_cut_edge, HINGELEAF_OT_pick_edges, stop_picking_edges
from .drag_size import HINGELEAF_OT_drag_size
from .edit_outline import (
    HINGELEAF_OT_apply_outline,
    HINGELEAF_OT_cancel_outline,
    HINGELEAF_OT_edit_outline,
    HINGELEAF_OT_outline_from_object,
    HINGELEAF_OT_outline_from_svg,
)
from .export_motion import HINGELEAF_OT_export_gltf, HINGELEAF_OT_export_usd
from .fit_sizes import HINGELEAF_OT_fit_sizes
from .make_local import HINGELEAF_OT_make_book_local
from .new_book import HINGELEAF_OT_change_pages, HINGELEAF_OT_new_book
from .open_description import (
    HINGELEAF_OT_dismiss_problems,
    HINGELEAF_OT_open_description,
    HINGELEAF_OT_reload_description,
)
from .outline_from_alpha import HINGELEAF_OT_outline_from_alpha
from .pick_base import stop_picking
from .play_opening import HINGELEAF_OT_play_opening
from .put_model import HINGELEAF_OT_put_model
from .save_description import HINGELEAF_OT_save_description
from .show_book import HINGELEAF_OT_show_book
from .show_bulk import HINGELEAF_OT_show_bulk
from .show_dimensions import HINGELEAF_OT_show_dimensions
from .show_net import HINGELEAF_OT_keyframe_unfolding, HINGELEAF_OT_show_net
from .tint import HINGELEAF_OT_tint
from .write_model_nets import HINGELEAF_OT_write_model_nets
from .write_nets import HINGELEAF_OT_write_nets
from .write_templates import HINGELEAF_OT_write_templates

__all__ = ["CLASSES", "register_menus", "stop_picking", "stop_picking_edges", "unregister_menus"]

CLASSES = (
    HINGELEAF_OT_new_book,
    HINGELEAF_OT_change_pages,
    HINGELEAF_OT_add_mechanism,
    HINGELEAF_OT_drag_size,
    *arrange.CLASSES,
    HINGELEAF_OT_make_book_local,
    HINGELEAF_OT_play_opening,
    HINGELEAF_OT_open_description,
    HINGELEAF_OT_reload_description,
    HINGELEAF_OT_dismiss_problems,
    HINGELEAF_OT_show_book,
    HINGELEAF_OT_check_book,
    HINGELEAF_OT_apply_remedy,
    HINGELEAF_OT_show_finding,
    HINGELEAF_OT_show_bulk,
    HINGELEAF_OT_show_dimensions,
    HINGELEAF_OT_show_net,
    HINGELEAF_OT_keyframe_unfolding,
    HINGELEAF_OT_tint,
    *make_film.CLASSES,
    HINGELEAF_OT_write_nets,
    HINGELEAF_OT_bake_motion,
    HINGELEAF_OT_remove_bake,
    HINGELEAF_OT_export_gltf,
    HINGELEAF_OT_export_usd,
    HINGELEAF_OT_write_templates,
    HINGELEAF_OT_assign_artwork,
    HINGELEAF_OT_remove_artwork,
    HINGELEAF_OT_assign_folder,
    HINGELEAF_OT_remove_color,
    HINGELEAF_OT_save_description,
    HINGELEAF_OT_mark_asset,
    HINGELEAF_OT_place_asset,
    HINGELEAF_OT_fit_sizes,
    HINGELEAF_OT_edit_outline,
    HINGELEAF_OT_apply_outline,
    HINGELEAF_OT_cancel_outline,
    HINGELEAF_OT_outline_from_object,
    HINGELEAF_OT_outline_from_svg,
    HINGELEAF_OT_outline_from_alpha,
    HINGELEAF_OT_new_bound_book,
    HINGELEAF_OT_bind_spreads,
    HINGELEAF_OT_take_apart,
    HINGELEAF_OT_save_bound,
    *bind_arrange.CLASSES,
    *unfold_model.CLASSES,
    HINGELEAF_OT_cut_edge,
    HINGELEAF_OT_pick_edges,
    HINGELEAF_OT_bake_model,
    HINGELEAF_OT_write_model_nets,
    HINGELEAF_OT_put_model,
)


def _import_entry(menu: bpy.types.Menu, context: bpy.types.Context) -> None:
    menu.layout.operator(HINGELEAF_OT_open_description.bl_idname, text="Hingeleaf Description (.toml)")


def _export_entry(menu: bpy.types.Menu, context: bpy.types.Context) -> None:
    menu.layout.operator(HINGELEAF_OT_write_nets.bl_idname, text="Hingeleaf Nets (.svg, .pdf, .dxf)")
    menu.layout.operator(HINGELEAF_OT_write_templates.bl_idname, text="Hingeleaf Templates (.png, .svg)")


def _add_entry(menu: bpy.types.Menu, context: bpy.types.Context) -> None:
    menu.layout.menu("HINGELEAF_MT_add", icon="BOOKMARKS")


def _object_entry(menu: bpy.types.Menu, context: bpy.types.Context) -> None:
    menu.layout.separator()
    menu.layout.operator("hingeleaf.unfold_model", icon="MOD_UVPROJECT")


def _edge_entry(menu: bpy.types.Menu, context: bpy.types.Context) -> None:
    menu.layout.separator()
    menu.layout.operator("hingeleaf.avoid_edges")
    entry = menu.layout.operator("hingeleaf.avoid_edges", text="Clear Avoid Cutting")
    entry.clear = True  # type: ignore[attr-defined]


def register_menus() -> None:
    """Add the entries of the File, Add, Object and Edge menus."""
    bpy.types.TOPBAR_MT_file_import.append(_import_entry)
    bpy.types.TOPBAR_MT_file_export.append(_export_entry)
    bpy.types.VIEW3D_MT_add.append(_add_entry)
    bpy.types.VIEW3D_MT_object.append(_object_entry)
    bpy.types.VIEW3D_MT_edit_mesh_edges.append(_edge_entry)


def unregister_menus() -> None:
    """Take them away again."""
    bpy.types.TOPBAR_MT_file_import.remove(_import_entry)
    bpy.types.TOPBAR_MT_file_export.remove(_export_entry)
    bpy.types.VIEW3D_MT_add.remove(_add_entry)
    bpy.types.VIEW3D_MT_object.remove(_object_entry)
    bpy.types.VIEW3D_MT_edit_mesh_edges.remove(_edge_entry)
