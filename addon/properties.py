"""What the interface remembers: findings with the scene, and with the window what is only of the moment."""

from typing import TYPE_CHECKING, Any

import bpy
from bpy.props import (
    BoolProperty,
    CollectionProperty,
    FloatProperty,
    FloatVectorProperty,
    IntProperty,
    PointerProperty,
    StringProperty,
)

__all__ = ["CLASSES", "register_properties", "unregister_properties"]


class HINGELEAF_PG_finding(bpy.types.PropertyGroup):
    """One finding of the check."""

    if TYPE_CHECKING:
        severity: str
        short: str
        piece: str
        panel: str
        other: str
        has_opening: bool
        opening: float
        message: str
        remedy: str
        mending: str
        has_place: bool
        place_x: float
        place_y: float
        anchor: str
        spot: Any
    else:
        severity: StringProperty(name="Severity")
        short: StringProperty(name="Short Form")
        piece: StringProperty(name="Piece")
        panel: StringProperty(name="Panel")
        other: StringProperty(name="Second Panel")
        has_opening: BoolProperty(name="Happens at One Opening")
        opening: FloatProperty(name="Opening")
        message: StringProperty(name="Message")
        remedy: StringProperty(name="Remedy")
        mending: StringProperty(name="Sizes of the Remedy")
        has_place: BoolProperty(name="Has a Place")
        place_x: FloatProperty(name="Place X (mm)")
        place_y: FloatProperty(name="Place Y (mm)")
        anchor: StringProperty(name="Panel of the Symbol")
        spot: FloatVectorProperty(name="Place of the Symbol on Its Panel", size=3)


class HINGELEAF_PG_check(bpy.types.PropertyGroup):
    """The last check of a scene."""

    if TYPE_CHECKING:
        book: bpy.types.Object | None
        findings: bpy.types.bpy_prop_collection_idprop[HINGELEAF_PG_finding]
        active: int
        figures: str
        digest: str
        show_findings: bool
        show_dimensions: bool
    else:
        book: PointerProperty(type=bpy.types.Object, name="Checked Book")
        findings: CollectionProperty(type=HINGELEAF_PG_finding)
        active: IntProperty(name="Active Finding", default=-1)
        figures: StringProperty(name="Figures")
        digest: StringProperty(name="Checked Description")
        show_findings: BoolProperty(
            name="Findings in Viewport",
            description="Show what the check found as symbols at the place; a click goes there",
            default=True,
        )
        show_dimensions: BoolProperty(name="Dimensions in Viewport")


class HINGELEAF_PG_problem(bpy.types.PropertyGroup):
    """One problem of a description that could not be opened."""

    if TYPE_CHECKING:
        message: str
    else:
        message: StringProperty(name="Message")


class HINGELEAF_PG_moment(bpy.types.PropertyGroup):
    """What the sidebar shows until something else happens; never saved."""

    if TYPE_CHECKING:
        source: str
        problems: bpy.types.bpy_prop_collection_idprop[HINGELEAF_PG_problem]
        film_share: float
        film_label: str
        refusal: str
        handles: bool
        check_share: float
        check_label: str
        color_before: str
    else:
        source: StringProperty(name="Description")
        problems: CollectionProperty(type=HINGELEAF_PG_problem)
        film_share: FloatProperty(name="Film Progress", default=-1.0)
        film_label: StringProperty(name="Film Step")
        refusal: StringProperty(name="Why a Size Was Refused")
        check_share: FloatProperty(name="Check Progress", default=-1.0)
        check_label: StringProperty(name="Check Step")
        handles: BoolProperty(
            name="Size Handles",
            description="Arrows on the selected mechanism that change its sizes when they are dragged",
            default=True,
        )
        color_before: StringProperty(name="Color of Viewports before Tints")


CLASSES = (HINGELEAF_PG_finding, HINGELEAF_PG_check, HINGELEAF_PG_problem, HINGELEAF_PG_moment)


def register_properties() -> None:
    """Hang the groups on the scene and on the window manager."""
    bpy.types.Scene.hingeleaf = PointerProperty(type=HINGELEAF_PG_check)  # type: ignore[attr-defined]
    bpy.types.WindowManager.hingeleaf = PointerProperty(type=HINGELEAF_PG_moment)  # type: ignore[attr-defined]


def unregister_properties() -> None:
    """Take them off again."""
    del bpy.types.Scene.hingeleaf  # type: ignore[attr-defined]
    del bpy.types.WindowManager.hingeleaf  # type: ignore[attr-defined]
