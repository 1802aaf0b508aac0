"""Put the folded model on a panel of the active book."""

import re
from typing import TYPE_CHECKING, Any

import bpy
from bpy.props import BoolProperty, FloatProperty, FloatVectorProperty, StringProperty

from ..books import all_books, root_of
from ..carrying import materialized_folder, own_folder
from ..design_properties import activate
from ..designing import change_book, finish_change, read_design, spread_of
from ..geometry import Description, HingeleafError
from ..geometry.design.editing import add_mechanism, free_id
from ..geometry.files import make_folder, write_files
from ..model_files import model_files
from ..model_state import choices_of, model_of, wishes_of, with_surfaces
from ..panel_objects import PANEL_KEY
from .base import Outcome
from .unfold_model import ModelOperator

__all__ = ["HINGELEAF_OT_put_model"]


class HINGELEAF_OT_put_model(ModelOperator, bpy.types.Operator):
    """Glue the folded model on the selected panel of the book; its mesh is saved beside the description"""

    bl_idname = "hingeleaf.put_model"
    bl_label = "Put on Panel"
    bl_options = {"REGISTER", "UNDO"}

    if TYPE_CHECKING:
        panel: str
        at: tuple[float, float]
        turn: float
        loose: bool
    else:
        panel: StringProperty(name="Panel", description="The panel that it is glued on")
        at: FloatVectorProperty(
            name="Place (mm)", description="Where the middle of its foot stands on the panel's net", size=2
        )
        turn: FloatProperty(
            name="Turn (degrees)", description="Turned counter-clockwise on its panel", min=-360, max=360
        )
        loose: BoolProperty(
            name="Loose",
            description="It is put on to be shown, and taken off before the book is shut",
            default=True,
        )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Whether there are nets, and a book."""
        if not super().poll(context):
            return False
        if not all_books(context):
            cls.poll_message_set("Make a new book or open a description first")
            return False
        return True

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> Outcome:
        """Ask on which panel and where, beginning with the selected one and its middle."""
        item = _selected_panel(context)
        if item is not None:
            self.panel = str(item[PANEL_KEY])
            self.at = _middle(item)
        return context.window_manager.invoke_props_dialog(self)  # type: ignore[return-value]

    def run(self, context: bpy.types.Context) -> None:
        """Save the mesh, and build the book with it."""
        root = self.root(context)
        item = _selected_panel(context)
        books = all_books(context)
        book = root_of(item) if item is not None else books[-1] if books else None
        if book is None or not self.panel:
            raise HingeleafError("Select the panel of the book on which the model is to stand, with its nets")
        finish_change(context, book)
        description = read_design(book)
        model = model_of(context, root)
        unfolded = with_surfaces(root, model.unfolded)
        mesh = unfolded.facets.mesh
        name = free_id(description, _id_of(mesh.name))
        file, files = model_files(mesh, name)
        folders = dict.fromkeys([own_folder(book), materialized_folder(book)])
        for folder in folders:
            make_folder(folder / "models")
            write_files({folder / each: data for each, data in files.items()})
        change_book(context, book, self._described(description, name, file, wishes_of(root)))
        activate(context, book, name)
        self.report({"INFO"}, f"The model's mesh was saved as {own_folder(book) / file}; the .blend carries it too")
        if choices_of(root):
            self.report({"WARNING"}, "On the panel it is cut anew: edges chosen by hand are not kept there")

    def _described(self, description: Description, name: str, file: str, wishes: Any) -> Description:
        """The description with the model on its panel."""
        values: dict[str, Any] = {
            "model": file,
            "panel": self.panel,
            "at": [round(float(value), 2) for value in self.at],
            "turn": round(self.turn, 2) or None,
            "preset": None if wishes.preset == "fewest" else wishes.preset,
            "smooth": wishes.smooth_deg or None,
            "flatten": wishes.flatten_deg or None,
            "tab_width": None if wishes.tab_mm == 6.0 else wishes.tab_mm,
            "edge_to_edge": wishes.edge_to_edge or None,
            "loose": self.loose or None,
        }
        if wishes.room_mm is not None:
            values["room"] = [round(side, 1) for side in wishes.room_mm]
        return add_mechanism(description, "solid", name, values)


def _selected_panel(context: bpy.types.Context) -> bpy.types.Object | None:
    """The selected panel of a book; None where none is selected."""
    items = [context.view_layer.objects.active, *context.selected_objects]
    return next((item for item in items if item is not None and item.get(PANEL_KEY) is not None), None)


def _middle(item: bpy.types.Object) -> tuple[float, float]:
    """The middle of a panel's net, mm."""
    book = root_of(item)
    if book is None:
        return 0.0, 0.0
    left, low, right, high = spread_of(book).panels[str(item[PANEL_KEY])].outline.bounds
    return (left + right) / 2, (low + high) / 2


def _id_of(name: str) -> str:
    """A name as ids are written."""
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-") or "model"
