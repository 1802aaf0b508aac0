"""Free outlines: drawn with Blender's own curve and mesh tools, or taken from a shape or a file."""

from typing import TYPE_CHECKING, Any

import bpy
from bpy.props import BoolProperty, EnumProperty, StringProperty

from ..books import active_book
from ..designing import change_book, design_of, finish_change, mechanism_of
from ..geometry.changes import spec_of
from ..geometry.description.fields import expand
from ..geometry.design.outline_fitting import Size, placed
from ..geometry.design.outline_keys import OutlineKey, outline_keys, with_outline
from ..geometry.errors import HingeleafError
from ..geometry.mechanisms import KINDS
from ..geometry.outline_files import PathOutline, read_outlines
from ..outline_editing import drawn_key, is_drawing, make_drawing, read_strokes, remove_drawing
from ..presenting import make_active
from ..rig import PANEL_KEY
from .base import BookOperator, Outcome

__all__ = [
    "HINGELEAF_OT_apply_outline",
    "HINGELEAF_OT_cancel_outline",
    "HINGELEAF_OT_edit_outline",
    "HINGELEAF_OT_outline_from_object",
    "HINGELEAF_OT_outline_from_svg",
]

#: What a menu shows must stay alive as long as Blender shows it.
_SHOWN: list[tuple[str, str, str]] = []


def _keys_of(root: bpy.types.Object, item: bpy.types.Object | None) -> tuple[OutlineKey, ...]:
    """The outlines of the mechanism that an object is a panel of, those on that panel first.

    Raises
    ------
    HingeleafError
        The object is no panel of a mechanism, or the mechanism has no outline.
    """
    mechanism = mechanism_of(item)
    if not mechanism or item is None:
        raise HingeleafError("No panel of a mechanism is active: select the one whose outline is meant")
    found = outline_keys(*design_of(root), mechanism)
    return tuple(sorted(found, key=lambda key: key.panel != item[PANEL_KEY]))


def _shown_keys(operator: Any, context: bpy.types.Context | None) -> list[tuple[str, str, str]]:
    """The outlines of the active panel's mechanism, for a menu."""
    _SHOWN.clear()
    root = None if context is None else active_book(context)
    if context is None or root is None:
        return _SHOWN
    try:
        description = design_of(root)[0]
        for key in _keys_of(root, context.view_layer.objects.active):
            fields = expand(KINDS[spec_of(description, key.mechanism).kind].FIELDS)
            label = " ".join(word.capitalize() for word in key.key.split("_"))
            meaning = fields[key.key].meaning
            _SHOWN.append((key.key, label, meaning[:1].upper() + meaning[1:]))
    except HingeleafError:
        _SHOWN.clear()
    return _SHOWN


class _OutlineOperator(BookOperator):
    """Works on one outline of the mechanism that the active panel belongs to."""

    if TYPE_CHECKING:
        key: str
        both: bool
    else:
        key: EnumProperty(name="Outline", description="Which outline", items=_shown_keys, options={"SKIP_SAVE"})
        both: BoolProperty(name="Both Sides", description="Give the other side the same outline", default=False)

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Whether a panel of a mechanism is active, in Object Mode."""
        if not super().poll(context):
            return False
        if context.mode != "OBJECT":
            cls.poll_message_set("Only in Object Mode")
            return False
        if not mechanism_of(context.view_layer.objects.active):
            cls.poll_message_set("Select a panel of a mechanism")
            return False
        return True

    def outline_key(self, context: bpy.types.Context) -> OutlineKey:
        """The outline that is meant: the one named, else the first on the active panel."""
        keys = _keys_of(self.book(context), context.view_layer.objects.active)
        return next((key for key in keys if key.key == self.key), keys[0])

    def change(self, context: bpy.types.Context, key: OutlineKey, strokes: Any) -> None:
        """Give the key other lines."""
        root = self.book(context)
        change_book(context, root, with_outline(design_of(root)[0], key, strokes, both=self.both))


class HINGELEAF_OT_edit_outline(_OutlineOperator, bpy.types.Operator):
    """Show an outline of the active panel as a curve, in Edit Mode, to be changed with Blender's own tools"""

    bl_idname = "hingeleaf.edit_outline"
    bl_label = "Edit Outline"
    bl_options = {"UNDO"}

    def run(self, context: bpy.types.Context) -> None:
        """Make the curve and enter it."""
        root = self.book(context)
        finish_change(context, root)
        key = self.outline_key(context)
        for item in [item for item in root.children_recursive if is_drawing(item)]:
            remove_drawing(item)
        item = make_drawing(root, design_of(root)[1], key)
        item["hingeleaf_both"] = self.both
        make_active(context, item)
        # Edit Mode has a history of its own; it needs one step of the whole file that has the curve in it.
        bpy.ops.ed.undo_push(message="Show Outline")
        bpy.ops.object.mode_set(mode="EDIT")


class _DrawingOperator(BookOperator):
    """Works on the curve that shows an outline."""

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Whether such a curve is active."""
        if not super().poll(context):
            return False
        if not is_drawing(context.view_layer.objects.active):
            cls.poll_message_set("Edit an outline first, or select the curve that shows it")
            return False
        return True

    def drawing(self, context: bpy.types.Context) -> bpy.types.Object:
        """The curve."""
        item = context.view_layer.objects.active
        if item is None or not is_drawing(item):
            raise HingeleafError("No outline is being edited")
        return item

    def leave(self, context: bpy.types.Context) -> None:
        """Remove the curve and go back to its panel."""
        item = self.drawing(context)
        panel = item.parent
        if context.mode != "OBJECT":
            bpy.ops.object.mode_set(mode="OBJECT")
        remove_drawing(item)
        if panel is not None:
            make_active(context, panel)


class HINGELEAF_OT_apply_outline(_DrawingOperator, bpy.types.Operator):
    """Cut the panel along the curve. The ends of an edge stay on its hinge, and what cannot be cut stays for mending"""

    bl_idname = "hingeleaf.apply_outline"
    bl_label = "Apply Outline"
    bl_options = {"REGISTER", "UNDO"}

    def run(self, context: bpy.types.Context) -> None:
        """Read the curve, change the book, remove the curve."""
        root, item = self.book(context), self.drawing(context)
        finish_change(context, root)
        description, spread = design_of(root)
        mechanism, name = drawn_key(item)
        key = next((key for key in outline_keys(description, spread, mechanism) if key.key == name), None)
        if key is None:
            raise HingeleafError(f"{mechanism} has no outline {name} any more: cancel, and edit another one")
        strokes = read_strokes(context, item, root, spread, key)
        both = bool(item.get("hingeleaf_both", False))
        change_book(context, root, with_outline(description, key, strokes, both=both))
        self.leave(context)


class HINGELEAF_OT_cancel_outline(_DrawingOperator, bpy.types.Operator):
    """Leave the outline as it was and remove the curve"""

    bl_idname = "hingeleaf.cancel_outline"
    bl_label = "Cancel Outline"
    bl_options = {"REGISTER", "UNDO"}

    def run(self, context: bpy.types.Context) -> None:
        """Remove the curve."""
        self.leave(context)


class HINGELEAF_OT_outline_from_object(_OutlineOperator, bpy.types.Operator):
    """Take a selected curve or mesh as an outline of the active panel, seen square to the panel"""

    bl_idname = "hingeleaf.outline_from_object"
    bl_label = "Outline from Object"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Whether a shape is selected besides the active panel."""
        if not super().poll(context):
            return False
        if not _shapes(context):
            cls.poll_message_set("Select a curve or a mesh, then the panel")
            return False
        return True

    def run(self, context: bpy.types.Context) -> None:
        """Read the shapes, change the book."""
        root = self.book(context)
        finish_change(context, root)
        key = self.outline_key(context)
        spread = design_of(root)[1]
        shapes = _shapes(context)
        if len(shapes) > 1 and key.form != "outlines":
            raise HingeleafError(f"{len(shapes)} shapes are selected; {key.key} takes one")
        strokes = [stroke for shape in shapes for stroke in read_strokes(context, shape, root, spread, key)]
        self.change(context, key, strokes)


def _shapes(context: bpy.types.Context) -> list[bpy.types.Object]:
    """The selected curves and meshes that belong to no book."""
    selected = context.selected_objects
    return [item for item in selected if item.type in ("CURVE", "MESH") and item.get(PANEL_KEY) is None]


_SIZES = (
    (
        "fitted",
        "Fitted",
        "An edge is scaled and turned to run from end to end of its hinge, a closed outline fills the "
        "box of what it replaces",
    ),
    (
        "true",
        "True Size",
        "An edge begins at the upper end of its hinge and is led straight to the other, a closed "
        "outline stands in the middle of what it replaces",
    ),
)


class HINGELEAF_OT_outline_from_svg(_OutlineOperator, bpy.types.Operator):
    """Take a shape of an SVG file as an outline of the active panel"""

    bl_idname = "hingeleaf.outline_from_svg"
    bl_label = "Outline from SVG"
    bl_options = {"REGISTER", "UNDO"}

    if TYPE_CHECKING:
        filepath: str
        shape: str
        size: Size
        mirrored: bool
    else:
        filepath: StringProperty(name="File", description="The SVG file", subtype="FILE_PATH")
        filter_glob: StringProperty(default="*.svg", options={"HIDDEN"})
        shape: StringProperty(
            name="Shape",
            description="Name or number of the shape in the file; empty where only one fits",
            default="",
        )
        size: EnumProperty(name="Size", description="How large it becomes", items=_SIZES, default="fitted")
        mirrored: BoolProperty(name="Mirrored", description="Turn it over, left to right", default=False)

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> Outcome:
        """Ask for the file."""
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def run(self, context: bpy.types.Context) -> None:
        """Read the file, place the shape, change the book."""
        root = self.book(context)
        finish_change(context, root)
        key = self.outline_key(context)
        outlines = _chosen(read_outlines(bpy.path.abspath(self.filepath)), self.shape.strip(), key)
        strokes = placed(
            [outline.stroke for outline in outlines],
            key,
            design_of(root)[1],
            size=self.size,
            mirrored=self.mirrored,
        )
        self.change(context, key, strokes)


def _chosen(outlines: tuple[PathOutline, ...], name: str, key: OutlineKey) -> tuple[PathOutline, ...]:
    """The shapes that are meant: those of a name or a number; else those that fit the key."""
    if name:
        found = tuple(outline for outline in outlines if name in (outline.name, str(outline.number)))
    else:
        found = tuple(outline for outline in outlines if outline.closed == (key.ends is None))
    if found and (key.form == "outlines" or len(found) == 1):
        return found
    listed = ", ".join(str(outline) for outline in outlines[:12]) + (", …" if len(outlines) > 12 else "")
    if found:
        raise HingeleafError(f"Write in Shape which one is meant: {listed}")
    wanted = f'shape "{name}"' if name else ("open line" if key.form == "line" else "closed outline")
    raise HingeleafError(f"There is no {wanted} in the file; it has {listed}")
