"""The flat colours of the active panel's piece, as live properties: read from the description, written into it."""

from __future__ import annotations

from typing import Any

import bpy
from bpy.props import FloatVectorProperty

from .books import root_of
from .designing import change_book, change_sizes, finish_change, read_design
from .geometry import HingeleafError
from .geometry.design.decorating import Face, color_of, with_color
from .geometry.model import Color
from .geometry.paper import hex_color
from .reporting import sentence, show_refusal
from .rig import PIECE_KEY

__all__ = ["change_color", "color_property", "piece_of"]


def piece_of(root: bpy.types.Object) -> str:
    """The piece of a book that the active panel belongs to; "page" where none is active."""
    layer = bpy.context.view_layer
    item = layer.objects.active if layer is not None else None
    return str(item.get(PIECE_KEY, "page")) if item is not None and root_of(item) == root else "page"


def change_color(
    context: bpy.types.Context, root: bpy.types.Object, piece: str, face: Face, color: Color | None
) -> None:
    """Give one face of a piece another flat colour; None for bare card.

    Raises
    ------
    HingeleafError
        The piece has no colour of its own.
    """
    changed = with_color(read_design(root), piece, face, color)
    if piece == "page":
        finish_change(context, root)
        change_book(context, root, changed)
    else:
        said = None if color is None else hex_color(color)
        change_sizes(context, root, piece, {f"color_{face}": said})


def color_property(face: Face) -> Any:
    """The property of one face's colour; where none is given it shows that of the card."""

    def read(design: Any) -> Color:
        root = design.id_data
        try:
            description, piece = read_design(root), piece_of(root)
            color = color_of(description, piece, face)
            if color is not None:
                return color
            specs = {spec.id: spec for spec in description.mechanisms}
            stock = description.page.stock if piece == "page" else specs[piece].values["stock"]
            return description.stocks[stock].color
        except (HingeleafError, KeyError):
            return 1.0, 1.0, 1.0

    def write(design: Any, value: Any) -> None:
        root, context = design.id_data, bpy.context
        red, green, blue = value
        try:
            change_color(context, root, piece_of(root), face, (red, green, blue))
            show_refusal(context, "")
        except HingeleafError as error:
            show_refusal(context, sentence(error))

    where = "printed face" if face == "front" else "back"
    return FloatVectorProperty(
        name=f"{face.capitalize()} Color",
        description=f"Flat color of the {where}, printed under its artwork",
        subtype="COLOR_GAMMA",
        size=3,
        min=0.0,
        max=1.0,
        options=set(),
        get=read,
        set=write,
    )
