"""Make a book that is linked from another file this file's own, so that it can be changed."""

from typing import Any

import bpy

from ..books import TURN, active_book, bound_root_of, collection_of, is_bound_root, is_linked, root_of
from ..channels import OPENING
from ..geometry import HingeleafError
from ..presenting import make_active
from .base import ReportingOperator

__all__ = ["HINGELEAF_OT_make_book_local", "linked_root"]


class HINGELEAF_OT_make_book_local(ReportingOperator, bpy.types.Operator):
    """Copy this linked book into the open file, so that it can be changed here"""

    bl_idname = "hingeleaf.make_book_local"
    bl_label = "Make Book Local"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Whether a linked book is there."""
        if linked_root(context) is None:
            cls.poll_message_set("Select a book that is linked from another file")
            return False
        return True

    def run(self, context: bpy.types.Context) -> None:
        """Make everything of it local."""
        root = linked_root(context)
        if root is None:
            raise HingeleafError("Select a book that is linked from another file")
        bound = bound_root_of(root)
        key, whole = (OPENING, root) if bound is None else (TURN, bound)
        value, item = float(whole[key]), context.view_layer.objects.active
        place = item.matrix_world.copy() if item is not None and item.instance_collection is not None else None
        own = _own_copy(context, collection_of(whole))
        is_whole = is_bound_root if bound is not None else _is_own_root
        made = next((item for item in own.all_objects if is_whole(item)), None)
        if made is not None:
            made[key] = value
            if place is not None:
                made.matrix_world = place @ made.matrix_world
            make_active(context, made)


def _is_own_root(item: bpy.types.Object) -> bool:
    return root_of(item) == item


def _own_copy(context: bpy.types.Context, linked: bpy.types.Collection) -> bpy.types.Collection:
    """Append the collection that is linked, put it where that one is, and take that one away.

    Raises
    ------
    HingeleafError
        The file that it is linked from is not there, or no longer has it.
    """
    source: Any = linked if linked.library is not None else getattr(linked.override_library, "reference", None)
    if source is None:
        raise HingeleafError(f"{linked.name} is partly this file's own; append the book again from its file")
    file = bpy.path.abspath(source.library.filepath)
    reading: Any = bpy.data.libraries.load(file, link=False)
    try:
        with reading as (there, here):
            here.collections = [name for name in there.collections if name == source.name]
    except OSError:
        raise HingeleafError(f"{file}, which this book is linked from, cannot be read; put it back there") from None
    if not here.collections:
        raise HingeleafError(f'{file} no longer has "{source.name}"; open it and look what became of it')
    own: bpy.types.Collection = here.collections[0]
    every = [context.scene.collection, *(item for item in bpy.data.collections if item.library is None)]
    parents = [item for item in every if linked in list(item.children)]
    for parent in parents or [context.scene.collection]:
        parent.children.link(own)
    instances = [item for item in bpy.data.objects if item.instance_collection == linked]
    active = context.view_layer.objects.active
    shown = [item for item in instances if item == active]
    bpy.data.batch_remove(shown)
    if len(shown) == len(instances):
        bpy.data.batch_remove([*linked.all_objects, *linked.children_recursive, linked])
    context.view_layer.update()
    return own


def linked_root(context: bpy.types.Context) -> bpy.types.Object | None:
    """The linked book that is meant: the active object's, or the one that the active object is an instance of."""
    item = context.view_layer.objects.active if context.view_layer is not None else None
    collection = None if item is None else item.instance_collection
    if collection is not None:
        return next((each for each in collection.all_objects if each.get("hingeleaf_description")), None)
    root = active_book(context)
    return root if root is not None and is_linked(root) else None
