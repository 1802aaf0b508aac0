"""Make a new book, and change its pages."""

from pathlib import Path
from typing import TYPE_CHECKING

import bpy
from bpy.props import BoolProperty, EnumProperty, FloatProperty, FloatVectorProperty, StringProperty

from ..books import active_book, bound_root_of, spreads_of
from ..designing import change_book, read_design
from ..geometry import Description, HingeleafError, assemble
from ..geometry.design.editing import set_page, set_stock, set_title
from ..geometry.design.starting import new_description
from ..open_book import open_book
from ..presenting import present
from ..reporting import clear_problems, sentence
from .base import Outcome, ReportingOperator
from .pick_base import no_book

__all__ = [
    "HINGELEAF_OT_change_pages",
    "HINGELEAF_OT_new_book",
    "PagesOperator",
    "add_page_properties",
    "starting_folder",
]

_SIZES = (
    ("A6", "A6", "One page 105 × 148 mm"),
    ("A5", "A5", "One page 148 × 210 mm"),
    ("A4", "A4", "One page 210 × 297 mm"),
    ("A5 landscape", "A5 Landscape", "One page 210 × 148 mm"),
    ("A4 landscape", "A4 Landscape", "One page 297 × 210 mm"),
    ("OTHER", "Other", "Write width and height yourself"),
)


class PagesOperator(ReportingOperator):
    """What a new book and changed pages ask for."""

    if TYPE_CHECKING:
        title: str
        size: str
        width: float
        height: float
        margin: float
        grammage: float
        color: tuple[float, float, float]

    @property
    def page(self) -> str | tuple[float, float]:
        """The size of one page, as a description says it."""
        return (round(self.width, 3), round(self.height, 3)) if self.size == "OTHER" else self.size

    @property
    def card_color(self) -> str:
        """The card's colour, as a description says it."""
        return "#" + "".join(f"{round(255 * value):02x}" for value in self.color)

    def described(self, title: str) -> Description:
        """An empty spread with these pages; HingeleafError where it cannot be."""
        return new_description(
            title,
            page_mm=self.page,
            margin_mm=round(self.margin, 3),
            grammage_gsm=round(self.grammage, 1),
            color=self.card_color,
            folder=starting_folder(),
        )

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the choices."""
        layout = self.layout
        layout.use_property_split = True
        layout.use_property_decorate = False
        layout.prop(self, "title")
        layout.prop(self, "size")
        if self.size == "OTHER":
            layout.prop(self, "width")
            layout.prop(self, "height")
        for name in ("margin", "grammage", "color"):
            layout.prop(self, name)
        for name in ("studio", "alone"):
            if hasattr(self, name):
                layout.prop(self, name)


def add_page_properties(cls: type[PagesOperator]) -> type[PagesOperator]:
    """The properties that both operators have."""
    cls.__annotations__ |= {
        "title": StringProperty(name="Title", description="Name of the spread", default="New Spread"),
        "size": EnumProperty(name="Page", description="Size of one page", items=_SIZES, default="A5"),
        "width": FloatProperty(name="Width (mm)", description="Of one page", default=150, min=10, max=2000),
        "height": FloatProperty(name="Height (mm)", description="Of one page", default=200, min=10, max=2000),
        "margin": FloatProperty(
            name="Margin (mm)", description="Kept free along the outer edges of the closed page", default=5, min=0
        ),
        "grammage": FloatProperty(
            name="Card (g/m²)", description="Weight of the card", default=250, min=20, max=2000, precision=0
        ),
        "color": FloatVectorProperty(
            name="Color", description="Of unprinted card", subtype="COLOR_GAMMA", size=3, min=0, max=1,
            default=(0.984, 0.980, 0.965),
        ),
    }  # fmt: skip
    return cls


@add_page_properties
class HINGELEAF_OT_new_book(PagesOperator, bpy.types.Operator):
    """Make a book with an empty spread, ready to build on"""

    bl_idname = "hingeleaf.new_book"
    bl_label = "New Book"
    bl_options = {"REGISTER", "UNDO"}

    if TYPE_CHECKING:
        studio: bool
        alone: bool
    else:
        studio: BoolProperty(name="Studio", description="Set the book on a lit table with a camera", default=True)
        alone: BoolProperty(
            name="Hide Other Collections",
            description="Untick all other collections in the Outliner, so that the book stands alone",
            default=True,
        )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Only in Object Mode."""
        cls.poll_message_set("Leave Edit Mode first")
        return context.mode == "OBJECT"

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> Outcome:
        """Ask for title and pages."""
        return context.window_manager.invoke_props_dialog(self, confirm_text="Make Book")  # type: ignore[return-value]

    def run(self, context: bpy.types.Context) -> None:
        """Make it, and build it."""
        if not self.title.strip():
            raise HingeleafError("Give the spread a title")
        description = self.described(self.title.strip())
        book = open_book(description, assemble(description), context, studio=self.studio)
        alone = book.collection if self.alone else None
        present(context, book.root, alone=alone, through_camera=self.studio)
        clear_problems(context)


def starting_folder() -> Path:
    """Where the description belongs until it is saved: beside the .blend, else in the user's own folder."""
    return Path(bpy.data.filepath).parent if bpy.data.filepath else Path.home()


@add_page_properties
class HINGELEAF_OT_change_pages(PagesOperator, bpy.types.Operator):
    """Change the title, the size of the pages and their card; what stands on them stays"""

    bl_idname = "hingeleaf.change_pages"
    bl_label = "Change Pages"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Whether there is a book that can be changed."""
        return not no_book(cls, context)

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> Outcome:
        """Show what it has now."""
        root = active_book(context)
        if root is None:
            return {"CANCELLED"}
        try:
            description = read_design(root)
        except HingeleafError as error:
            self.report({"ERROR"}, sentence(error))
            return {"CANCELLED"}
        page, stock = description.page, description.stocks[description.page.stock]
        self.title, self.size = description.title, "OTHER"
        self.width, self.height, self.margin = page.width_mm, page.height_mm, page.margin_mm
        self.grammage, self.color = stock.grammage_gsm, stock.color
        return context.window_manager.invoke_props_dialog(self, confirm_text="Change Pages")  # type: ignore[return-value]

    def run(self, context: bpy.types.Context) -> None:
        """Change them, and build."""
        root = self.book(context)
        before = read_design(root)
        changed = self._changed(before)
        size = changed.page.width_mm, changed.page.height_mm
        others = []
        if size != (before.page.width_mm, before.page.height_mm):
            # All spreads of a bound book have the same pages; all of them are tried before any is changed.
            bound = bound_root_of(root)
            others = [item for item in (spreads_of(bound) if bound is not None else ()) if item != root]
        new = [(item, set_page(read_design(item), {"size": list(size)})) for item in others]
        for _, description in new:
            assemble(description)
        for item, description in [(root, changed), *new]:
            change_book(context, item, description)

    def _changed(self, description: Description) -> Description:
        page, stock = description.page, description.stocks[description.page.stock]
        changed = set_title(description, self.title.strip()) if self.title.strip() != description.title else description
        size = self.page if isinstance(self.page, str) else list(self.page)
        if isinstance(size, str) or max(abs(size[0] - page.width_mm), abs(size[1] - page.height_mm)) > 1e-3:
            changed = set_page(changed, {"size": size})
        if abs(self.margin - page.margin_mm) > 1e-3:
            changed = set_page(changed, {"margin": round(self.margin, 3)})
        card: dict[str, object] = {}
        if abs(self.grammage - stock.grammage_gsm) > 0.05:
            card["grammage"] = round(self.grammage, 1)
        if max(abs(one - two) for one, two in zip(self.color, stock.color, strict=True)) > 1e-3:
            card["color"] = self.card_color
        return set_stock(changed, page.stock, card) if card else changed
