"""What the nets of a model remember: what they are of, and how they are wished to be. Kept with their empty."""

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import bpy
from bpy.props import (
    BoolProperty,
    CollectionProperty,
    EnumProperty,
    FloatProperty,
    IntProperty,
    PointerProperty,
    StringProperty,
)

__all__ = ["CLASSES", "SHEETS", "on_change", "register_model", "unregister_model"]

#: Sheets that nets are cut to fit.
SHEETS = (
    ("NONE", "Any Size", "Nets may be as large as they come"),
    ("A4", "A4", "210 × 297 mm"),
    ("A3", "A3", "297 × 420 mm"),
    ("A2", "A2", "420 × 594 mm"),
    ("A1", "A1", "594 × 841 mm"),
    ("letter", "US Letter", "8.5 × 11 inches"),
    ("tabloid", "US Tabloid", "11 × 17 inches"),
)
_PRESETS = (
    ("fewest", "Fewest Nets", "As few pieces as can be"),
    ("shortest", "Shortest Glue Lines", "As little to glue as can be"),
    ("compact", "Compact Nets", "Nets that fill their sheets well"),
)
_SIZES = (
    ("HEIGHT", "Height", "Made so high"),
    ("REAL", "Real Size", "As large as it is in Blender, where one unit is one meter"),
)

#: What is told that nets are wished otherwise; set by what renews them.
_LISTENERS: list[Callable[[bpy.types.Object], None]] = []


def on_change(listener: Callable[[bpy.types.Object], None]) -> None:
    """Let something know of every change of a wish."""
    _LISTENERS[:] = [listener]


def _changed(wishes: Any, _context: bpy.types.Context) -> None:
    for listener in _LISTENERS:
        listener(wishes.id_data)


def _redraw(_wishes: Any, context: bpy.types.Context) -> None:
    for window in context.window_manager.windows:
        for area in window.screen.areas:
            if area.type == "VIEW_3D":
                area.tag_redraw()


class HINGELEAF_PG_model_source(bpy.types.PropertyGroup):
    """One object that nets are of."""

    if TYPE_CHECKING:
        item: bpy.types.Object | None
    else:
        item: PointerProperty(type=bpy.types.Object, name="Object")


class HINGELEAF_PG_model_surface(bpy.types.PropertyGroup):
    """One material of a model."""

    if TYPE_CHECKING:
        material: bpy.types.Material | None
        has_uv: bool
        baked: bpy.types.Image | None
    else:
        material: PointerProperty(type=bpy.types.Material, name="Material")
        has_uv: BoolProperty(name="Has UV Coordinates")
        baked: PointerProperty(type=bpy.types.Image, name="Baked Picture")


class HINGELEAF_PG_model_note(bpy.types.PropertyGroup):
    """What a person should know; its name is its text."""

    if TYPE_CHECKING:
        severity: str
    else:
        severity: StringProperty(name="Severity")


class HINGELEAF_PG_model(bpy.types.PropertyGroup):
    """The wishes of one model's nets."""

    if TYPE_CHECKING:
        sources: bpy.types.bpy_prop_collection_idprop[HINGELEAF_PG_model_source]
        surfaces: bpy.types.bpy_prop_collection_idprop[HINGELEAF_PG_model_surface]
        notes: bpy.types.bpy_prop_collection_idprop[HINGELEAF_PG_model_note]
        active_note: int
        size_by: str
        height: float
        sheet: str
        preset: str
        smooth: float
        flatten: float
        tab_width: float
        edge_to_edge: bool
        reduce: bool
        faces: int
        sharp: bool
        follow: bool
        show_lines: bool
        show_labels: bool
        true_size: bool
        figures: str
        refusal: str
    else:
        sources: CollectionProperty(type=HINGELEAF_PG_model_source)
        surfaces: CollectionProperty(type=HINGELEAF_PG_model_surface)
        notes: CollectionProperty(type=HINGELEAF_PG_model_note)
        active_note: IntProperty(name="Active Note", default=-1)
        size_by: EnumProperty(
            name="Size", description="How large the card model is", items=_SIZES, default="HEIGHT", update=_changed
        )
        height: FloatProperty(
            name="Height (mm)",
            description="How high the card model is, in millimeters",
            default=100.0,
            min=1.0,
            max=5000.0,
            soft_max=500.0,
            precision=1,
            step=100,
            update=_changed,
        )
        sheet: EnumProperty(
            name="Fit Sheet",
            description="Nets larger than this sheet, less a margin, are cut apart",
            items=SHEETS,
            default="A4",
            update=_changed,
        )
        preset: EnumProperty(
            name="Cut for", description="What the cuts are chosen for", items=_PRESETS, update=_changed
        )
        smooth: FloatProperty(
            name="Smooth (°)",
            description="Faces that bend by less stay together in bands where the model is round, and their folds are "
            "light scores",
            default=0.0,
            min=0.0,
            max=90.0,
            precision=1,
            step=100,
            update=_changed,
        )
        flatten: FloatProperty(
            name="Flatten (°)",
            description="Faces that bend by no more are made one flat facet",
            default=0.0,
            min=0.0,
            max=45.0,
            precision=1,
            step=100,
            update=_changed,
        )
        tab_width: FloatProperty(
            name="Tabs (mm)",
            description="How far the tabs reach",
            default=6.0,
            min=1.0,
            max=50.0,
            precision=1,
            step=50,
            update=_changed,
        )
        edge_to_edge: BoolProperty(
            name="Edge to Edge", description="No tabs: edges are glued to each other", default=False, update=_changed
        )
        reduce: BoolProperty(
            name="Reduce", description="Take a copy with fewer faces; the model stays as it is", update=_changed
        )
        faces: IntProperty(
            name="Faces",
            description="How many triangles the copy has at most",
            default=300,
            min=4,
            max=100_000,
            update=_changed,
        )
        sharp: BoolProperty(
            name="Keep Sharp Edges",
            description="Edges marked sharp are never cut; seams are always cut",
            default=True,
            update=_changed,
        )
        follow: BoolProperty(
            name="Follow the Model",
            description="Lay the nets anew when the model was edited",
            default=True,
        )
        show_lines: BoolProperty(
            name="Cuts and Folds",
            description="Draw cuts black, mountains orange, valleys blue",
            default=True,
            update=_redraw,
        )
        show_labels: BoolProperty(
            name="Labels", description="Write at every cut the label of the edge that it is glued to", update=_redraw
        )
        true_size: BoolProperty(
            name="True Size",
            description="Show nets as large as they are printed; else as large as the model stands there",
            default=False,
            update=_changed,
        )
        figures: StringProperty(name="Figures")
        refusal: StringProperty(name="Why the Nets Are Not as Wished")


CLASSES = (
    HINGELEAF_PG_model_source,
    HINGELEAF_PG_model_surface,
    HINGELEAF_PG_model_note,
    HINGELEAF_PG_model,
)


def register_model() -> None:
    """Hang it on objects; only the empties of nets use it."""
    bpy.types.Object.hingeleaf_model = PointerProperty(type=HINGELEAF_PG_model)  # type: ignore[attr-defined]


def unregister_model() -> None:
    """Take it off again; what is in the file stays."""
    _LISTENERS.clear()
    del bpy.types.Object.hingeleaf_model  # type: ignore[attr-defined]
