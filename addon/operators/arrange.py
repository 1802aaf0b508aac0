"""Arrange mechanisms: duplicate, mirror, move to another fold, delete, rename, reorder; and take a size's default."""

from typing import TYPE_CHECKING

import bpy
from bpy.props import EnumProperty, FloatProperty, IntProperty, StringProperty

from ..books import active_book
from ..design_properties import activate, active_id
from ..designing import change_book, change_sizes, design_of, finish_change, panels_of_mechanism, read_design
from ..geometry import HingeleafError
from ..geometry.changes import spec_of
from ..geometry.design.arranging import delete, dependents, move_in_order, rehost, rename
from ..geometry.design.copying import duplicate
from ..geometry.design.mirroring import mirror
from ..geometry.design.offering import TARGETS, offers
from ..picking import Hover, Picker
from ..presenting import make_active, select
from .base import Outcome, ReportingOperator, is_mechanism_active
from .pick_base import PickingOperator, no_book

__all__ = ["CLASSES"]


class _MechanismOperator(ReportingOperator):
    """Works on one mechanism of the active book: the one named, or the active one."""

    if TYPE_CHECKING:
        mechanism: str

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Whether a mechanism is active."""
        return not no_book(cls, context) and is_mechanism_active(cls, context)

    def target(self, context: bpy.types.Context) -> tuple[bpy.types.Object, str]:
        """The book and the mechanism's id."""
        root = active_book(context)
        name = self.mechanism or ("" if root is None else active_id(root))
        if root is None or not name:
            raise HingeleafError("Select a mechanism first")
        finish_change(context, root)
        spec_of(read_design(root), name)
        return root, name


def _mechanism() -> object:
    return StringProperty(
        name="Mechanism", description="Its id; empty for the active one", options={"HIDDEN", "SKIP_SAVE"}
    )


class HINGELEAF_OT_duplicate_mechanism(_MechanismOperator, bpy.types.Operator):
    """Add the same mechanism once more, with all that stands on it, further along its fold"""

    bl_idname = "hingeleaf.duplicate_mechanism"
    bl_label = "Duplicate"
    bl_options = {"REGISTER", "UNDO"}

    if TYPE_CHECKING:
        along: float
    else:
        mechanism: _mechanism()
        along: FloatProperty(
            name="Along (mm)",
            description="How far along its fold the copy stands; 0 finds a free place",
            soft_min=-300,
            soft_max=300,
            options={"SKIP_SAVE"},
        )

    def run(self, context: bpy.types.Context) -> None:
        """Duplicate, and build."""
        root, name = self.target(context)
        along = round(self.along, 3) if self.along else None
        changed, names = duplicate(read_design(root), name, along_mm=along)
        change_book(context, root, changed)
        activate(context, root, names[name])


class HINGELEAF_OT_mirror_mechanism(_MechanismOperator, bpy.types.Operator):
    """Mirror across the spine: in place what stands on it, as a twin on the other side what stands on one side"""

    bl_idname = "hingeleaf.mirror_mechanism"
    bl_label = "Mirror Across Spine"
    bl_options = {"REGISTER", "UNDO"}

    if not TYPE_CHECKING:
        mechanism: _mechanism()

    def run(self, context: bpy.types.Context) -> None:
        """Mirror, and build."""
        root, name = self.target(context)
        description, spread = design_of(root)
        changed, names = mirror(description, spread, name)
        change_book(context, root, changed)
        activate(context, root, next(iter(names), name))


class HINGELEAF_OT_delete_mechanism(_MechanismOperator, bpy.types.Operator):
    """Delete the mechanism, and all that stands on it after asking"""

    bl_idname = "hingeleaf.delete_mechanism"
    bl_label = "Delete"
    bl_options = {"REGISTER", "UNDO"}

    if not TYPE_CHECKING:
        mechanism: _mechanism()

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> Outcome:
        """Ask where something stands on it."""
        try:
            root, name = self.target(context)
        except HingeleafError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        above = dependents(read_design(root), name)
        if not above:
            return self.execute(context)
        return context.window_manager.invoke_confirm(  # type: ignore[return-value]
            self,
            event,
            title=f"Delete {name}?",
            message=f"With it goes what stands on it: {', '.join(above)}",
            confirm_text="Delete All",
            icon="WARNING",
        )

    def run(self, context: bpy.types.Context) -> None:
        """Delete, and build."""
        root, name = self.target(context)
        change_book(context, root, delete(read_design(root), name))
        make_active(context, root)


class HINGELEAF_OT_rename_mechanism(_MechanismOperator, bpy.types.Operator):
    """Give the mechanism another name; everything that stands on it follows"""

    bl_idname = "hingeleaf.rename_mechanism"
    bl_label = "Rename"
    bl_options = {"REGISTER", "UNDO"}

    if TYPE_CHECKING:
        name: str
    else:
        mechanism: _mechanism()
        name: StringProperty(name="Name", description="Letters, digits, - and _, beginning with a letter")

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> Outcome:
        """Ask for the name."""
        root = active_book(context)
        self.name = self.mechanism or ("" if root is None else active_id(root))
        return context.window_manager.invoke_props_dialog(self, confirm_text="Rename")  # type: ignore[return-value]

    def run(self, context: bpy.types.Context) -> None:
        """Rename, and build."""
        root, name = self.target(context)
        if self.name == name:
            return
        change_book(context, root, rename(read_design(root), name, self.name))
        activate(context, root, self.name)


class HINGELEAF_OT_move_mechanism(_MechanismOperator, bpy.types.Operator):
    """Move the mechanism in the list, which is the order in which pieces are numbered and cut-ins are made"""

    bl_idname = "hingeleaf.move_mechanism"
    bl_label = "Move in List"
    bl_options = {"REGISTER", "UNDO"}

    if TYPE_CHECKING:
        by: int
    else:
        mechanism: _mechanism()
        by: IntProperty(name="By", description="Places down the list; less than 0 moves up", default=1)

    def run(self, context: bpy.types.Context) -> None:
        """Move it, and build."""
        root, name = self.target(context)
        change_book(context, root, move_in_order(read_design(root), name, self.by))
        activate(context, root, name)


class HINGELEAF_OT_reset_size(_MechanismOperator, bpy.types.Operator):
    """Let this size be what it is by default, such as what makes the mechanism close flat"""

    bl_idname = "hingeleaf.reset_size"
    bl_label = "Use Default"
    bl_options = {"REGISTER", "UNDO"}

    if TYPE_CHECKING:
        key: str
    else:
        mechanism: _mechanism()
        key: StringProperty(name="Size", description="Its key in the description")

    def run(self, context: bpy.types.Context) -> None:
        """Take the key out, and build."""
        root, name = self.target(context)
        change_sizes(context, root, name, {self.key: None})
        finish_change(context, root)


class HINGELEAF_OT_rehost_mechanism(_MechanismOperator, PickingOperator, bpy.types.Operator):
    """Stand the mechanism, with all that stands on it, on another fold or panel: point at it and click"""

    bl_idname = "hingeleaf.rehost_mechanism"
    bl_label = "Move to Another Fold"
    bl_options = {"REGISTER", "UNDO"}

    if TYPE_CHECKING:
        fold: str
        side: str
        panel: str
        at: float
    else:
        mechanism: _mechanism()
        fold: StringProperty(name="Fold", description="The fold that is to carry it", options={"SKIP_SAVE"})
        side: StringProperty(name="Side", description="Side of that fold", options={"SKIP_SAVE"})
        panel: StringProperty(name="Panel", description="The panel that is to carry it", options={"SKIP_SAVE"})
        at: FloatProperty(name="At (mm)", description="Where along the fold", options={"SKIP_SAVE"})

    def is_told(self) -> bool:
        """Whether a fold or a panel is named."""
        return bool(self.fold or self.panel)

    def new_picker(self, context: bpy.types.Context) -> Picker:
        """The folds or panels that are neither its own nor of what stands on it."""
        root, name = self.target(context)
        self.mechanism = name
        description, spread = design_of(root)
        spec = spec_of(description, name)
        if TARGETS[spec.kind] == "panels":
            raise HingeleafError("A strap joins two panels: delete it and add one between the panels that are meant")
        on = "fold" if "fold" in spec.values else None
        own = {name, *dependents(description, name)}
        known = offers(spread, description, spec.kind, on=on)
        free = [item for item in known if (item.target.fold or item.target.panel or "").split(".")[0] not in own]

        def try_out(hover: Hover) -> str:
            target = hover.offer.target
            try:
                rehost(description, spread, name, fold=target.fold, side=target.side, panel=target.panel, at=None)
            except HingeleafError as error:
                return str(error)
            return ""

        return Picker(root, spread, free, try_out)

    def take(self, hover: Hover) -> None:
        """Remember what was clicked."""
        target = hover.offer.target
        self.fold, self.side, self.panel = target.fold or "", target.side or "", target.panel or ""
        self.at = hover.at_mm

    def forget(self) -> None:
        """Ask anew."""
        self.fold = self.side = self.panel = ""

    def run(self, context: bpy.types.Context) -> None:
        """Stand it there, and build."""
        root, name = self.target(context)
        description, spread = design_of(root)
        side = None if spec_of(description, name).kind == "slit-cut-in" else self.side or None
        changed = rehost(
            description,
            spread,
            name,
            fold=self.fold or None,
            side=side,
            panel=self.panel or None,
            at=round(self.at, 1) if self.fold else None,
        )
        change_book(context, root, changed)
        activate(context, root, name)


class HINGELEAF_OT_select_mechanism(_MechanismOperator, bpy.types.Operator):
    """Select the panels of this mechanism, or of everything of one kind"""

    bl_idname = "hingeleaf.select_mechanism"
    bl_label = "Select Mechanism"
    bl_options = {"REGISTER", "UNDO"}

    if TYPE_CHECKING:
        which: str
    else:
        mechanism: _mechanism()
        which: EnumProperty(
            name="Which",
            description="What is selected",
            items=[
                ("ITSELF", "Itself", "Its own panels"),
                ("ABOVE", "With What Stands on It", "Its panels, and those of all that stands on it"),
            ],
        )

    def run(self, context: bpy.types.Context) -> None:
        """Select them."""
        root, name = self.target(context)
        names = [name, *(dependents(read_design(root), name) if self.which == "ABOVE" else ())]
        items = [item for each in names for item in panels_of_mechanism(root, each)]
        select(context, items)


CLASSES = (
    HINGELEAF_OT_duplicate_mechanism,
    HINGELEAF_OT_mirror_mechanism,
    HINGELEAF_OT_delete_mechanism,
    HINGELEAF_OT_rename_mechanism,
    HINGELEAF_OT_move_mechanism,
    HINGELEAF_OT_reset_size,
    HINGELEAF_OT_rehost_mechanism,
    HINGELEAF_OT_select_mechanism,
)
