"""Collections that Hingeleaf takes away: set aside, never removed.

Where an undo brings a removed collection back, what held it can lose it, and with it the whole book leaves the scene:
while Blender reads the holder again, what it reads may lie where the removed one has been, and is taken for it (4.5
and 5.2; every second undo of a removed spread in tests). One that is kept stays where it is. Nothing uses it, so
Blender does not save it.
"""

from __future__ import annotations

import bpy

__all__ = ["is_scene", "parents_of", "set_aside"]

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
    """Take a collection away, so that its name is free; what nothing else holds goes to where the collection was."""
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
    for key in list(collection.keys()):
        # A property may point to a book, which would then never be removed.
        del collection[key]
    collection.use_fake_user = False
    collection.name = _NAME
