"""What a book remembers of being designed: its mechanisms, which one is active, and the active one's sizes."""

from typing import TYPE_CHECKING, Any

import bpy
from bpy.props import CollectionProperty, IntProperty, PointerProperty, StringProperty

from .books import root_of
from .coloring import color_property
from .designing import mechanism_of, panels_of_mechanism
from .presenting import select
from .sizes import KIND_GROUPS, group_name

__all__ = ["CLASSES", "activate", "active_id", "register_design", "unregister_design"]


def active_id(root: bpy.types.Object) -> str:
    """The active mechanism of a book: the active object's, else the one chosen last; "" where there is none."""
    layer = bpy.context.view_layer
    item = layer.objects.active if layer is not None else None
    own = mechanism_of(item)
    if item is not None and own and root_of(item) == root:
        return own
    design: Any = root.hingeleaf  # type: ignore[attr-defined]
    names = [entry.name for entry in design.entries]
    return design.chosen if design.chosen in names else ""


def activate(context: bpy.types.Context, root: bpy.types.Object, mechanism: str) -> None:
    """Make a mechanism the active one, and select its panels."""
    root.hingeleaf.chosen = mechanism  # type: ignore[attr-defined]
    context.view_layer.update()
    items = panels_of_mechanism(root, mechanism)
    shown = [item for item in items if item.name in context.view_layer.objects]
    select(context, shown or [root])


class HINGELEAF_PG_entry(bpy.types.PropertyGroup):
    """One mechanism in the list; its name is its id."""

    if TYPE_CHECKING:
        kind: str
        depth: int
    else:
        kind: StringProperty(name="Kind")
        depth: IntProperty(name="Depth")


def _get_index(design: Any) -> int:
    name = active_id(design.id_data)
    return next((number for number, entry in enumerate(design.entries) if entry.name == name), -1)


def _set_index(design: Any, number: int) -> None:
    if 0 <= number < len(design.entries):
        activate(bpy.context, design.id_data, design.entries[number].name)


class HINGELEAF_PG_design(bpy.types.PropertyGroup):
    """What a book's root remembers; a group for each kind shows the active mechanism's sizes."""

    if TYPE_CHECKING:
        entries: bpy.types.bpy_prop_collection_idprop[HINGELEAF_PG_entry]
        chosen: str
        index: int
    else:
        entries: CollectionProperty(type=HINGELEAF_PG_entry)
        chosen: StringProperty(name="Chosen Mechanism")
        index: IntProperty(
            name="Mechanism",
            description="A mechanism of this book; click it to select its panels",
            get=_get_index,
            set=_set_index,
            options=set(),
        )

    @property
    def active(self) -> str:
        """The id of the active mechanism; "" where there is none."""
        return active_id(self.id_data)  # type: ignore[arg-type]


HINGELEAF_PG_design.__annotations__ |= {"color_front": color_property("front"), "color_back": color_property("back")}
for _kind, _sizes in KIND_GROUPS.items():
    HINGELEAF_PG_design.__annotations__[group_name(_kind)] = PointerProperty(type=_sizes)

CLASSES = (*KIND_GROUPS.values(), HINGELEAF_PG_entry, HINGELEAF_PG_design)


def register_design() -> None:
    """Hang it on objects; only roots of books use it."""
    bpy.types.Object.hingeleaf = PointerProperty(type=HINGELEAF_PG_design)  # type: ignore[attr-defined]


def unregister_design() -> None:
    """Take it off again; what is in the file stays."""
    del bpy.types.Object.hingeleaf  # type: ignore[attr-defined]
