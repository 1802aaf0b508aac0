"""What Hingeleaf takes away though others hold or follow it, as collections: set aside, never removed.

Where an undo brings a removed collection back, what held it can lose it, and with it the whole book leaves the scene;
so can a spread lose the leaf that it hung on. While Blender reads the holder again, what it reads may lie where the
removed one has been, and is taken for it (4.5 and 5.2; every second undo of a removed spread in tests). What is kept
stays where it is. Nothing uses it, so Blender does not save it.
"""

from __future__ import annotations

from collections.abc import Iterable

import bpy

__all__ = ["is_scene", "parents_of", "set_aside", "set_objects_aside"]

#: A name that begins so is not listed among those a user chooses from.
_NAME = ".Hingeleaf"


def parents_of(collection: bpy.types.Collection) -> list[bpy.types.Collection]:
    """The collections, also scenes' own, that a collection is part of."""
    every = [*(scene.collection for scene in bpy.data.scenes), *bpy.data.collections]
    return [item for item in every if collection in list(item.children)]


def is_scene(collection: bpy.types.Collection) -> bool:
    """Whether a collection is a scene's own, which cannot be moved or removed."""
    return any(collection == scene.collection for scene in bpy.data.scenes)


def set_aside(collection: bpy.types.Collection) -> None:
    """Take a collection away, so that its name is free; what nothing else holds goes to where the collection was.

    A scene's own, into which a user may have moved what is taken away, stays as it is.
    """
    if is_scene(collection):
        return
    parents = parents_of(collection)
    for part in list(collection.children):
        if parents and parents_of(part) == [collection]:
            parents[0].children.link(part)
        collection.children.unlink(part)
    for item in list(collection.objects):
        if parents and len(item.users_collection) == 1:
            parents[0].objects.link(item)
        collection.objects.unlink(item)
    for parent in parents:
        parent.children.unlink(collection)
    _forget(collection)


def set_objects_aside(items: Iterable[bpy.types.Object]) -> None:
    """Take objects away that others hang on or follow, which were set free before; what they show is theirs no more."""
    for item in items:
        for home in item.users_collection:
            home.objects.unlink(item)
        item.animation_data_clear()
        item.constraints.clear()
        item.modifiers.clear()
        item.parent = None
        _forget(item)
        if isinstance(item.data, bpy.types.Mesh) and item.data.users == 1:
            # Its materials and their pictures would be saved once more.
            item.data.materials.clear()
            item.data.clear_geometry()
            _forget(item.data)


def _forget(block: bpy.types.ID) -> None:
    """Let a data-block be nothing of ours, so that nothing uses it and its name is free."""
    for key in list(block.keys()):
        # A property may point to a book, which would then never be removed.
        del block[key]
    block.use_fake_user = False
    block.name = _NAME
