"""Make a book that is linked from another file this file's own, so that it can be changed."""

import bpy

from ..books import active_book, collection_of
from ..geometry import HingeleafError
from ..presenting import make_active
from .base import ReportingOperator

__all__ = ["HINGELEAF_OT_make_book_local"]


class HINGELEAF_OT_make_book_local(ReportingOperator, bpy.types.Operator):
    """Copy this linked book into the open file, so that it can be changed here"""

    bl_idname = "hingeleaf.make_book_local"
    bl_label = "Make Book Local"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Whether a linked book is there."""
        if _linked_root(context) is None:
            cls.poll_message_set("Select a book that is linked from another file")
            return False
        return True

    def run(self, context: bpy.types.Context) -> None:
        """Make everything of it local."""
        root = _linked_root(context)
        if root is None:
            raise HingeleafError("Select a book that is linked from another file")
        name = root.name
        collection = collection_of(root)
        stands_in = [item for item in context.scene.objects if item.instance_collection == collection]
        own = make_local(collection)
        if own.name not in context.scene.collection.children_recursive:
            context.scene.collection.children.link(own)
        for item in stands_in:
            bpy.data.objects.remove(item)
        made = next((item for item in own.all_objects if item.name.split(".")[0] == name.split(".")[0]), None)
        if made is not None:
            make_active(context, made)


def make_local(collection: bpy.types.Collection) -> bpy.types.Collection:
    """A collection with its objects, meshes, materials and pictures, made the open file's own."""
    items = list(collection.all_objects)
    for part in (collection, *collection.children_recursive):
        part.make_local()
    for item in items:
        item.make_local()
        if item.animation_data is not None and item.animation_data.action is not None:
            item.animation_data.action.make_local()
        if item.data is None:
            continue
        item.data.make_local()
        for material in getattr(item.data, "materials", ()):
            if material is not None and material.library is not None:
                material.make_local()
    return collection


def _linked_root(context: bpy.types.Context) -> bpy.types.Object | None:
    """The linked book that is meant: the active object's, or the one that the active object is an instance of."""
    item = context.view_layer.objects.active if context.view_layer is not None else None
    collection = None if item is None else item.instance_collection
    if collection is not None:
        return next((each for each in collection.all_objects if each.get("hingeleaf_description")), None)
    root = active_book(context)
    return root if root is not None and root.library is not None else None
