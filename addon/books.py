"""The books in the open file: which there are, which one is meant, what belongs to it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import bpy

from .carrying import (
    BOUND_KEY,
    FOLDER_KEY,
    TEXT_KEY,
    is_materialized,
    keep_models,
    materialized_folder,
    name_images,
    own_folder,
)
from .channels import OPENING
from .geometry import Description, parse_description
from .rig import PANEL_KEY, PIECE_KEY

__all__ = [
    "ASPECT_KEY",
    "BOUND_SOURCE",
    "NUMBER_KEY",
    "TURN",
    "active_book",
    "active_bound",
    "all_books",
    "all_books_anywhere",
    "bound_root_of",
    "camera_of",
    "collection_of",
    "description_file",
    "description_of",
    "find_object",
    "is_bound_root",
    "is_hidden_in_book",
    "is_linked",
    "panel_object",
    "panel_objects",
    "panels_of",
    "remember_description",
    "remember_text",
    "root_of",
    "spreads_of",
    "stray_panels",
    "text_of",
]

#: The property of a studio's camera that says for which aspect it was placed.
ASPECT_KEY = "hingeleaf_aspect"
#: The property of a bound book's root that turns it through, and that of a spread's root which says its number there.
TURN, NUMBER_KEY = "turn", "hingeleaf_number"
#: Property of a bound book's root: the name of its own description's file.
BOUND_SOURCE = "hingeleaf_book_source"
#: A spread of a bound book that is opened less is not seen, degrees.
_SHUT_DEG = 2.0
#: Property of the root: the name of its description's file.
_SOURCE = "hingeleaf_source"
#: Names of the objects of books' panels, by book and panel; only a guess that is looked at again whenever it is used.
_NAMES: dict[tuple[str, str], str] = {}


def remember_description(root: bpy.types.Object, description: Description) -> None:
    """Keep what a book was built from with it, so that checks and nets always speak of what is seen."""
    root[TEXT_KEY] = description.text
    root[_SOURCE] = description.source
    if not is_materialized(description.folder) or root.get(FOLDER_KEY) is None:
        root[FOLDER_KEY] = str(description.folder)
    name_images(description.folder)
    keep_models(root)


def description_of(root: bpy.types.Object) -> Description:
    """The description that a book was built from."""
    return parse_description(root[TEXT_KEY], source=root[_SOURCE], folder=materialized_folder(root))


def text_of(root: bpy.types.Object) -> tuple[str, str]:
    """The text of a book's description, and its own folder: what tells one design from another."""
    return str(root[TEXT_KEY]), str(root[FOLDER_KEY])


def remember_text(root: bpy.types.Object, text: str) -> None:
    """Keep another text with a book."""
    root[TEXT_KEY] = text


def panels_of(root: bpy.types.Object) -> dict[str, bpy.types.Object]:
    """The objects of a book's panels, by panel."""
    found: dict[str, bpy.types.Object] = {}
    for item in root.children_recursive:
        # A copy that a user has made bears the same name; it comes after what it was copied from.
        if item.get(PANEL_KEY) is not None:
            found.setdefault(item[PANEL_KEY], item)
    return found


def stray_panels(root: bpy.types.Object) -> dict[str, bpy.types.Object]:
    """Panels of a book that hang on nothing any more, because what they hung on was deleted by hand."""
    found: dict[str, bpy.types.Object] = {}
    for item in collection_of(root).all_objects:
        if item.get(PANEL_KEY) is not None and root_of(item) is None:
            found.setdefault(item[PANEL_KEY], item)
    return found


def panel_object(root: bpy.types.Object, panel: str) -> bpy.types.Object | None:
    """The object of one panel of a book, found quickly; None where there is none."""
    key = root.name_full, panel
    item = find_object(_NAMES.get(key, ""))
    if item is not None and item.get(PANEL_KEY) == panel and _belongs(item, root):
        return item
    found = panels_of(root)
    for name in [name for name in _NAMES if name[0] == root.name_full]:
        del _NAMES[name]
    _NAMES.update({(root.name_full, name): item.name for name, item in found.items()})
    return found.get(panel)


def _belongs(item: bpy.types.Object | None, root: bpy.types.Object) -> bool:
    while item is not None and item != root:
        item = item.parent
    return item is not None


def description_file(root: bpy.types.Object) -> Path:
    """The file that a book was opened from."""
    return own_folder(root) / str(root[_SOURCE])


def find_object(name: str) -> bpy.types.Object | None:
    """The object of that name; None where there is none."""
    found: Any = bpy.data.objects.get(name)
    return found  # type: ignore[no-any-return]


def is_linked(item: bpy.types.ID) -> bool:
    """Whether an object belongs to another file, so that it cannot be changed here."""
    origins: tuple[Any, Any] = item.library, item.override_library
    return any(origin is not None for origin in origins)


def all_books(context: bpy.types.Context) -> list[bpy.types.Object]:
    """The roots of all books in the scene."""
    return [item for item in context.scene.objects if _is_root(item)]


def all_books_anywhere() -> list[bpy.types.Object]:
    """The roots of all books in the file that can be changed, in whatever scene."""
    return [item for item in bpy.data.objects if _is_root(item) and not is_linked(item) and item.users_collection]


def root_of(item: bpy.types.Object | None) -> bpy.types.Object | None:
    """The root of the book that an object belongs to; None where it belongs to none."""
    while item is not None and not _is_root(item):
        item = item.parent
    return item


def active_book(context: bpy.types.Context) -> bpy.types.Object | None:
    """The book that is meant: the active object's, else the last one opened; None where there is none.

    Of a bound book it is the spread whose panel is active, else the one that lies open, or nearly so.
    """
    layer = context.view_layer
    active = layer.objects.active if layer is not None else None
    root = root_of(active)
    if root is None:
        root = _open_spread(bound_root_of(active))
    if root is not None and root.users_collection:
        return root
    books = all_books(context)
    shown = [book for book in books if layer is not None and book.name in layer.objects]
    return (shown or books or [None])[-1]  # type: ignore[list-item]


def _open_spread(bound: bpy.types.Object | None) -> bpy.types.Object | None:
    """The spread of a bound book that lies open, or nearly so."""
    spreads = [] if bound is None else spreads_of(bound)
    if bound is None or not spreads:
        return None
    return spreads[min(max(round(float(bound[TURN])), 1), len(spreads)) - 1]


def is_bound_root(item: bpy.types.Object) -> bool:
    """Whether an object is the root of a bound book."""
    return item.get(BOUND_KEY) is not None and item.get(TURN) is not None


def bound_root_of(item: bpy.types.Object | None) -> bpy.types.Object | None:
    """The root of the bound book that an object belongs to; None where it belongs to none."""
    while item is not None and not is_bound_root(item):
        item = item.parent
    return item


def active_bound(context: bpy.types.Context) -> bpy.types.Object | None:
    """The bound book that is meant: the active object's, or the active book's; None where that is not bound."""
    layer = context.view_layer
    bound = bound_root_of(layer.objects.active if layer is not None else None)
    return bound if bound is not None else bound_root_of(active_book(context))


def spreads_of(bound: bpy.types.Object) -> list[bpy.types.Object]:
    """The roots of the spreads of a bound book, from the front."""
    found = [item for item in bound.children_recursive if _is_root(item)]
    return sorted(found, key=lambda item: int(item.get(NUMBER_KEY, 0)))


def is_hidden_in_book(root: bpy.types.Object) -> bool:
    """Whether a spread lies shut between the leaves of a bound book, so that nothing of it is to be pointed at."""
    return bound_root_of(root) is not None and float(root.get(OPENING, 180.0)) < _SHUT_DEG


def _is_root(item: bpy.types.Object) -> bool:
    return item.get(TEXT_KEY) is not None and item.get(OPENING) is not None


def collection_of(root: bpy.types.Object) -> bpy.types.Collection:
    """The collection that holds a book."""
    return root.users_collection[0]


def camera_of(root: bpy.types.Object) -> bpy.types.Object | None:
    """The camera of a book's studio; None where it has no studio. Other cameras may hang on the book."""
    return next((item for item in root.children if item.type == "CAMERA" and item.get(ASPECT_KEY) is not None), None)


def panel_objects(root: bpy.types.Object, panel: str, piece: str) -> list[bpy.types.Object]:
    """The object of one panel of a book, or those of a whole piece where no panel is named."""
    key, name = (PANEL_KEY, panel) if panel else (PIECE_KEY, piece)
    return [item for item in root.children_recursive if item.get(key) == name]
