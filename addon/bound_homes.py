"""Collections that books of single spreads have for themselves, inside a bound book's and outside."""

from __future__ import annotations

from collections.abc import Sequence

import bpy

from .books import bound_root_of, collection_of, root_of
from .rig import PANEL_KEY
from .set_aside import is_scene, parents_of, set_aside

__all__ = ["forget_collections", "move_home", "own_home"]


def own_home(root: bpy.types.Object) -> bpy.types.Collection:
    """The collection that holds a book; a new one where that is a scene's own, or holds another book as well."""
    found = collection_of(root)
    others = [item for item in found.objects if item != root and item in (root_of(item), bound_root_of(item))]
    if not is_scene(found) and not others:
        return found
    home = bpy.data.collections.new(root.name)
    for item in [root, *root.children_recursive]:
        if item.get(PANEL_KEY) is None and found not in item.users_collection:
            continue
        for old in item.users_collection:
            old.objects.unlink(item)
        home.objects.link(item)
    return home


def move_home(home: bpy.types.Collection, parent: bpy.types.Collection) -> None:
    """Let a collection be part of another one, and of no more."""
    for old in parents_of(home):
        if old != parent:
            old.children.unlink(home)
    if home not in list(parent.children):
        parent.children.link(home)


def forget_collections(collections: Sequence[bpy.types.Collection]) -> None:
    """Take collections away that hold nothing; one that holds others must come before them."""
    for item in reversed(collections):
        if not item.objects and not item.children:
            set_aside(item)
