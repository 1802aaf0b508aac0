"""What all operators share: they run, or report in one sentence why they could not."""

from typing import TYPE_CHECKING, Literal

import bpy

from ..books import active_book
from ..design_properties import active_id
from ..geometry import HingeleafError
from ..reporting import sentence, show_problems

__all__ = ["BookOperator", "OperatorBase", "Outcome", "ReportingOperator", "is_mechanism_active"]

Outcome = set[Literal["RUNNING_MODAL", "CANCELLED", "FINISHED", "PASS_THROUGH", "INTERFACE"]]

if TYPE_CHECKING:
    OperatorBase = bpy.types.Operator
else:
    #: What classes stand on that operators share: Blender's own comes in with each operator.
    OperatorBase = object


class ReportingOperator(OperatorBase):
    """Runs; an error of the core is reported and nothing else happens."""

    def run(self, context: bpy.types.Context) -> None:
        """What the operator does."""
        raise NotImplementedError

    def book(self, context: bpy.types.Context) -> bpy.types.Object:
        """The root of the active book."""
        root = active_book(context)
        if root is None:
            raise HingeleafError("There is no book in this scene: open a description first")
        return root

    def execute(self, context: bpy.types.Context) -> Outcome:
        """Run, and report an error in one sentence."""
        try:
            self.run(context)
        except HingeleafError as error:
            show_problems(context, error)
            self.report({"ERROR"}, sentence(error))
            return {"CANCELLED"}
        return {"FINISHED"}


class BookOperator(ReportingOperator):
    """Works on the active book."""

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Whether there is a book."""
        if active_book(context) is None:
            cls.poll_message_set("Make a new book or open a description first")
            return False
        return True


def is_mechanism_active(operator: type[bpy.types.Operator], context: bpy.types.Context) -> bool:
    """Whether a mechanism of the active book is chosen; says so at the button where none is."""
    root = active_book(context)
    if root is None or not active_id(root):
        operator.poll_message_set("Select a mechanism first: click one of its panels, or its line in the list")
        return False
    return True
