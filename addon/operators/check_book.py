"""Check the book, and go to where a finding is."""

from typing import TYPE_CHECKING

import bpy
from bpy.props import IntProperty

from ..books import description_of, panel_objects
from ..channels import OPENING
from ..geometry import HingeleafError, assemble
from ..geometry.checks import run_checks
from ..geometry.figures import figures_text
from ..geometry.remedies import with_remedies
from ..presenting import select
from .base import BookOperator

__all__ = ["HINGELEAF_OT_check_book", "HINGELEAF_OT_show_finding"]


class HINGELEAF_OT_check_book(BookOperator, bpy.types.Operator):
    """Find out whether the book closes, opens, stays inside, collides, and can be glued; with what would mend it"""

    bl_idname = "hingeleaf.check_book"
    bl_label = "Check Book"
    bl_options = {"REGISTER", "UNDO"}

    def run(self, context: bpy.types.Context) -> None:
        """Check, and list the findings."""
        root = self.book(context)
        description = description_of(root)
        spread = assemble(description)
        findings = with_remedies(description, spread, run_checks(spread))
        figures = "\n".join(figures_text(spread))
        check = context.scene.hingeleaf  # type: ignore[attr-defined]
        check.book, check.active, check.figures = root, -1, figures
        check.findings.clear()
        for finding in findings:
            entry = check.findings.add()
            entry.severity, entry.piece, entry.panel = finding.severity, finding.piece, finding.panel or ""
            where = [name for name in (finding.panel, finding.other) if name] or [finding.piece]
            entry.short = f"{finding.code}: {', '.join(where)}"
            entry.other, entry.message, entry.remedy = finding.other or "", finding.message, finding.remedy or ""
            entry.has_opening, entry.opening = finding.opening_deg is not None, finding.opening_deg or 0.0
        errors = sum(finding.severity == "error" for finding in findings)
        count = f"{len(findings)} finding{'s' * (len(findings) != 1)}, {errors} of them errors"
        self.report({"INFO"}, count if findings else "Nothing found: the book passes every check")


class HINGELEAF_OT_show_finding(BookOperator, bpy.types.Operator):
    """Go to the opening where this happens and select the panel"""

    bl_idname = "hingeleaf.show_finding"
    bl_label = "Show Finding"
    bl_options = {"REGISTER", "UNDO"}

    if TYPE_CHECKING:
        index: int
    else:
        index: IntProperty(name="Finding", description="Its place in the list, counted from 0", min=0)

    def run(self, context: bpy.types.Context) -> None:
        """Open the book so far, select what is meant."""
        check = context.scene.hingeleaf  # type: ignore[attr-defined]
        if check.book is None or self.index >= len(check.findings):
            raise HingeleafError("That finding is gone: check the book again")
        check.active = self.index
        finding = check.findings[self.index]
        if finding.has_opening:
            check.book[OPENING] = finding.opening
            check.book.update_tag()
        items = panel_objects(check.book, finding.panel, finding.piece)
        if finding.other:
            items += panel_objects(check.book, finding.other, finding.piece)
        select(context, items)
