"""Check the book, go to where a finding is, and mend it."""

import json
from collections.abc import Generator
from typing import TYPE_CHECKING

import bpy
from bpy.props import IntProperty

from ..books import active_book, find_object, panel_objects, text_of
from ..bound_books import show_opening
from ..checking import Checked, check_at_once, check_in_steps
from ..designing import change_book, finish_change, read_design
from ..found import is_stale, list_findings
from ..geometry import HingeleafError
from ..geometry.changes import apply_changes
from ..presenting import redraw, select
from ..tinting import apply_tint
from .base import BookOperator, Outcome
from .stepping import SteppingOperator

__all__ = ["HINGELEAF_OT_apply_remedy", "HINGELEAF_OT_check_book", "HINGELEAF_OT_show_finding"]


class HINGELEAF_OT_check_book(SteppingOperator, BookOperator, bpy.types.Operator):
    """Find out whether the book closes, opens, stays inside, collides, and can be glued; with what would mend it"""

    bl_idname = "hingeleaf.check_book"
    bl_label = "Check Book"
    bl_options = {"REGISTER", "UNDO"}

    stopped = "The check was stopped; the findings are those of the last one", {"CANCELLED"}

    def run(self, context: bpy.types.Context) -> None:
        """Check, and list the findings."""
        root = self.book(context)
        for _ in self._steps(context, root):
            pass

    def _steps(self, context: bpy.types.Context, root: bpy.types.Object) -> Generator[tuple[float, str], None, None]:
        """Check step by step; the list changes only at the end."""
        finish_change(context, root)
        name, text = root.name, text_of(root)
        checked = yield from check_in_steps(root)
        # Found again by its name: an undo meanwhile has put another object in its place.
        now = find_object(name)
        if now is None or text_of(now) != text:
            raise HingeleafError("The book was changed while it was checked: check it again")
        _show(context, now, checked)
        errors = sum(finding.severity == "error" for finding in checked.findings)
        number = len(checked.findings)
        count = f"{number} finding{'s' * (number != 1)}, {errors} of them errors"
        self.report({"INFO"}, count if number else "Nothing found: the book passes every check")

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> Outcome:
        """Check while Blender goes on; Esc stops it."""
        root = active_book(context)
        if root is None or bpy.app.background:
            return self.execute(context)
        self.say(context, (0.0, "reading"))
        return self.begin(context, self._steps(context, root))

    def say(self, context: bpy.types.Context, step: tuple[float, str] | None) -> None:
        """Put progress into the sidebar and the status bar."""
        share, label = step or (-1.0, "")
        moment = context.window_manager.hingeleaf  # type: ignore[attr-defined]
        moment.check_share, moment.check_label = share, label
        if context.workspace is not None:
            context.workspace.status_text_set(f"Check: {share:.0%}, {label}. Esc stops it" if step else None)
        redraw(context)


def _show(context: bpy.types.Context, root: bpy.types.Object, checked: Checked) -> None:
    list_findings(context, root, checked.spread, checked.findings, checked.figures)
    apply_tint(context, root, checked.spread)


class HINGELEAF_OT_apply_remedy(BookOperator, bpy.types.Operator):
    """Change the sizes as the remedy says, and check the book again"""

    bl_idname = "hingeleaf.apply_remedy"
    bl_label = "Apply Remedy"
    bl_options = {"REGISTER", "UNDO"}

    if TYPE_CHECKING:
        index: int
    else:
        index: IntProperty(name="Finding", description="Its place in the list, counted from 0", min=0)

    def run(self, context: bpy.types.Context) -> None:
        """Change, build, check."""
        root = self.book(context)
        check = context.scene.hingeleaf  # type: ignore[attr-defined]
        if check.book != root or self.index >= len(check.findings):
            raise HingeleafError("That finding is gone: check the book again")
        if is_stale(check):
            raise HingeleafError("The book has changed since it was checked: check it again")
        sizes = json.loads(check.findings[self.index].mending or "[]")
        if not sizes:
            raise HingeleafError("No remedy was found for this finding; change the sizes by hand")
        finish_change(context, root)
        changed = apply_changes(read_design(root), {(name, key): value for name, key, value in sizes})
        change_book(context, root, changed)
        _show(context, root, check_at_once(root))


class HINGELEAF_OT_show_finding(BookOperator, bpy.types.Operator):
    """Go to the opening where this happens and select the panel"""

    bl_idname = "hingeleaf.show_finding"
    bl_label = "Show Finding"
    bl_options = {"REGISTER", "UNDO"}

    if TYPE_CHECKING:
        index: int
    else:
        index: IntProperty(name="Finding", description="Its place in the list, counted from 0", min=0)

    @classmethod
    def description(cls, context: bpy.types.Context, properties: bpy.types.OperatorProperties) -> str:
        """What was found, as the tooltip of its line and of its symbol."""
        check = context.scene.hingeleaf  # type: ignore[attr-defined]
        index = int(properties.index)  # type: ignore[attr-defined]
        said = check.findings[index].message if index < len(check.findings) else ""
        return said.rstrip(".") or str(cls.__doc__)

    def run(self, context: bpy.types.Context) -> None:
        """Open the book so far, select what is meant."""
        check = context.scene.hingeleaf  # type: ignore[attr-defined]
        if check.book is None or self.index >= len(check.findings):
            raise HingeleafError("That finding is gone: check the book again")
        check.active = self.index
        finding = check.findings[self.index]
        if finding.has_opening:
            show_opening(check.book, finding.opening)
        items = panel_objects(check.book, finding.panel, finding.piece)
        if finding.other:
            items += panel_objects(check.book, finding.other, finding.piece)
        select(context, items)
