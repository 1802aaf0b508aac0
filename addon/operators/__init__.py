"""What the user can do: one module a task."""

import bpy

from .check_book import HINGELEAF_OT_check_book, HINGELEAF_OT_show_finding
from .make_film import HINGELEAF_OT_make_film, HINGELEAF_OT_stop_film, HINGELEAF_OT_watch_film
from .open_description import HINGELEAF_OT_open_description, HINGELEAF_OT_reload_description
from .show_book import HINGELEAF_OT_show_book
from .show_bulk import HINGELEAF_OT_show_bulk
from .write_nets import HINGELEAF_OT_write_nets

__all__ = ["CLASSES", "register_menus", "unregister_menus"]

CLASSES = (
    HINGELEAF_OT_open_description,
    HINGELEAF_OT_reload_description,
    HINGELEAF_OT_show_book,
    HINGELEAF_OT_check_book,
    HINGELEAF_OT_show_finding,
    HINGELEAF_OT_show_bulk,
    HINGELEAF_OT_make_film,
    HINGELEAF_OT_watch_film,
    HINGELEAF_OT_stop_film,
    HINGELEAF_OT_write_nets,
)


def _import_entry(menu: bpy.types.Menu, context: bpy.types.Context) -> None:
    menu.layout.operator(HINGELEAF_OT_open_description.bl_idname, text="Hingeleaf Description (.toml)")


def _export_entry(menu: bpy.types.Menu, context: bpy.types.Context) -> None:
    menu.layout.operator(HINGELEAF_OT_write_nets.bl_idname, text="Hingeleaf Nets (.svg, .pdf, .dxf)")


def register_menus() -> None:
    """Add the entries of the File menu."""
    bpy.types.TOPBAR_MT_file_import.append(_import_entry)
    bpy.types.TOPBAR_MT_file_export.append(_export_entry)


def unregister_menus() -> None:
    """Take them away again."""
    bpy.types.TOPBAR_MT_file_import.remove(_import_entry)
    bpy.types.TOPBAR_MT_file_export.remove(_export_entry)
