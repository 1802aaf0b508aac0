"""Tints: panels colored by piece, by layer or thickness of the closed book, or by what the check found.

A tint is the object color of the panels, so artwork stays as it is, and no render shows it. Which tint a book has is
kept with its root, and what its colors mean.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Literal

import bpy
import numpy as np
from bpy.app.handlers import persistent

from .books import all_books
from .geometry.bulk_drawing.tints import thickness_tint
from .geometry.design.lying import layer_numbers, thicknesses_mm
from .geometry.spread import Spread
from .panel_objects import PANEL_KEY

__all__ = [
    "NET_PANEL_KEY",
    "SEVERITY_COLORS",
    "TINTS",
    "Color",
    "Swatch",
    "apply_tint",
    "choose_tint",
    "legend_of",
    "linear",
    "register_handlers",
    "show_tints",
    "tint_of",
    "unregister_handlers",
]

Color = tuple[int, int, int]
ColorType = Literal["MATERIAL", "OBJECT", "RANDOM", "SINGLE", "TEXTURE", "VERTEX"]

#: What there is to choose from: name, label, tooltip.
TINTS = (
    ("NONE", "None", "Show card and artwork as they are"),
    ("PIECE", "By Piece", "A color a piece of card"),
    ("LAYER", "By Layer", "From the lowest panel of the closed book to the highest"),
    ("BULK", "By Bulk", "How thick the closed book is where each panel lies, on average"),
    ("FINDING", "By Finding", "The worst that the last check found on each panel"),
)

#: Property of an object that shows a panel on a net beside the book.
NET_PANEL_KEY = "hingeleaf_net_panel"
#: Properties of the root: the tint, and its legend.
_TINT_KEY, _LEGEND_KEY = "hingeleaf_tint", "hingeleaf_tint_legend"

#: Seven colors that color-blind people tell apart (Okabe and Ito, recalled); the eighth, black, is left to outlines.
_PIECES: tuple[Color, ...] = (
    (230, 159, 0),
    (86, 180, 233),
    (0, 158, 115),
    (240, 228, 66),
    (0, 114, 178),
    (213, 94, 0),
    (204, 121, 167),
)
#: When they are used up they come again, so much of the way to white.
_PALER = (0.0, 0.45, 0.7)
_PLAIN: Color = (214, 214, 214)
_ON_EDGE: Color = (120, 120, 120)
#: From the lowest layer to the highest: lightness falls all the way (the palette known as YlGnBu, recalled).
_LAYERS = np.array([(255, 255, 204), (161, 218, 180), (65, 182, 196), (44, 127, 184), (37, 52, 148)], dtype=float)
#: Severities, worst first, by color; their symbols differ in shape as well.
SEVERITY_COLORS: Mapping[str, Color] = {"error": (213, 94, 0), "warning": (240, 228, 66), "note": (86, 180, 233)}
#: A legend has no more lines.
_LONGEST = 8


@dataclass(frozen=True)
class Swatch:
    """One line of a legend.

    Parameters
    ----------
    color : sRGB, 0 to 255
    meaning : in words
    """

    color: Color
    meaning: str


@dataclass(frozen=True)
class _Tint:
    """The color of every panel that has one, by panel, and what colors mean."""

    colors: Mapping[str, Color]
    legend: tuple[Swatch, ...]


def tint_of(root: bpy.types.Object) -> str:
    """The tint that a book has: the first word of one of TINTS."""
    return str(root.get(_TINT_KEY, "NONE"))


def legend_of(root: bpy.types.Object) -> list[Swatch]:
    """What the colors of a book mean."""
    lines = (str(line).split(" ", 3) for line in root.get(_LEGEND_KEY, "").splitlines())
    return [Swatch((int(red), int(green), int(blue)), meaning) for red, green, blue, meaning in lines]


def choose_tint(context: bpy.types.Context, root: bpy.types.Object, spread: Spread, tint: str) -> None:
    """Give a book, which its description builds as that spread, another tint, and let solid viewports show it."""
    was = tint_of(root)
    root[_TINT_KEY] = tint
    apply_tint(context, root, spread)
    show_tints(context, tinted_before=was != "NONE")


def apply_tint(context: bpy.types.Context, root: bpy.types.Object, spread: Spread) -> None:
    """Color the panels of a book by its tint; after a change of the book, of its net, or of its findings."""
    chosen = tint_of(root)
    if chosen == "NONE" and not root.get(_LEGEND_KEY):
        return
    tint = _Tint({}, ()) if chosen == "NONE" else _tinted(context, root, spread, chosen)
    root[_LEGEND_KEY] = "\n".join(" ".join(map(str, (*line.color, line.meaning))) for line in tint.legend)
    for item in root.children_recursive:
        panel = item.get(PANEL_KEY) or item.get(NET_PANEL_KEY)
        if panel:
            color = (1.0, 1.0, 1.0, 1.0) if chosen == "NONE" else linear(tint.colors.get(panel, _PLAIN))
            # Only what changes, or every change of a book would evaluate all of it.
            if max(abs(one - two) for one, two in zip(item.color, color, strict=True)) > 1e-6:
                item.color = color


def _tinted(context: bpy.types.Context, root: bpy.types.Object, spread: Spread, tint: str) -> _Tint:
    if tint == "FINDING":
        return _by_finding(context, root, spread)
    return {"PIECE": _by_piece, "LAYER": _by_layer, "BULK": _by_bulk}[tint](spread)


def _by_piece(spread: Spread) -> _Tint:
    colors, legend = {}, []
    for number, piece in enumerate(spread.pieces):
        round_, place = divmod(number - 1, len(_PIECES))
        color = _PLAIN if number == 0 else _paler(_PIECES[place], _PALER[min(round_, len(_PALER) - 1)])
        colors.update(dict.fromkeys(piece.panels, color))
        legend.append(Swatch(color, piece.title))
    if len(legend) > 2 * _LONGEST:
        left = len(legend) - 2 * _LONGEST
        legend = [*legend[: 2 * _LONGEST], Swatch(_PLAIN, f"and {left} more")]
    return _Tint(colors, tuple(legend))


def _paler(color: Color, share: float) -> Color:
    red, green, blue = (round(channel + (255 - channel) * share) for channel in color)
    return red, green, blue


def _by_layer(spread: Spread) -> _Tint:
    numbers = layer_numbers(spread)
    most = max(numbers.values(), default=1)
    colors = {name: _layer_color((number - 1) / max(most - 1, 1)) for name, number in numbers.items()}
    shown = dict.fromkeys(int(number) for number in np.linspace(1, most, min(most, _LONGEST)).round())
    names = {1: "Layer 1 (lowest)", most: f"Layer {most} (highest)"}
    legend = [Swatch(_layer_color((n - 1) / max(most - 1, 1)), names.get(n, f"Layer {n}")) for n in shown]
    return _with_rest(spread, colors, legend)


def _layer_color(share: float) -> Color:
    places = np.linspace(0.0, 1.0, len(_LAYERS))
    red, green, blue = (round(float(np.interp(share, places, channel))) for channel in _LAYERS.T)
    return red, green, blue


def _by_bulk(spread: Spread) -> _Tint:
    thick = thicknesses_mm(spread)
    low, high = min(thick.values(), default=0.0), max(thick.values(), default=0.0)

    def color(value: float) -> Color:
        # A tenth of the scale is kept for card, so that the thinnest is no white.
        return thickness_tint(0.1 + 0.9 * (value - low) / (high - low) if high > low else 0.1)

    values = np.linspace(low, high, 5 if high > low else 1)
    legend = [Swatch(color(float(value)), f"{value:.2f} mm") for value in values]
    return _with_rest(spread, {name: color(value) for name, value in thick.items()}, legend)


def _with_rest(spread: Spread, colors: dict[str, Color], legend: list[Swatch]) -> _Tint:
    """Panels that have no place in the closed book get a color of their own."""
    rest = [name for name in spread.panels if name not in colors]
    more = [Swatch(_ON_EDGE, "Lies nowhere in the closed book")] if rest else []
    return _Tint({**colors, **dict.fromkeys(rest, _ON_EDGE)}, (*legend, *more))


def _by_finding(context: bpy.types.Context, root: bpy.types.Object, spread: Spread) -> _Tint:
    check = context.scene.hingeleaf  # type: ignore[attr-defined]
    if check.book != root:
        return _Tint({}, (Swatch(_PLAIN, "Not checked yet"),))
    pieces = {piece.id: piece.panels for piece in spread.pieces}
    severities, colors = tuple(SEVERITY_COLORS), {}
    for severity in reversed(severities):
        for finding in check.findings:
            if finding.severity == severity:
                names = [name for name in (finding.panel, finding.other) if name] or pieces.get(finding.piece, ())
                colors.update(dict.fromkeys(names, SEVERITY_COLORS[severity]))
    legend = [Swatch(SEVERITY_COLORS[name], name.capitalize()) for name in severities]
    return _Tint(colors, (*legend, Swatch(_PLAIN, "Nothing found")))


def linear(color: Color) -> tuple[float, float, float, float]:
    """An sRGB color as scene-linear RGBA. Source: IEC 61966-2-1 (recalled)."""
    shares = (channel / 255.0 for channel in color)
    red, green, blue = (share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4 for share in shares)
    return red, green, blue, 1.0


def show_tints(context: bpy.types.Context, *, tinted_before: bool = False) -> None:
    """Let solid viewports show object colors while any book of the scene has a tint, and what they showed otherwise.

    Parameters
    ----------
    context : of the window
    tinted_before : a book had a tint until now, even if it is not known what viewports showed before
    """
    moment: Any = context.window_manager.hingeleaf  # type: ignore[attr-defined]
    shadings = list(_shadings(context))
    if any(tint_of(root) != "NONE" for root in all_books(context)):
        if not moment.color_before:
            moment.color_before = next((s.color_type for s in shadings if s.color_type != "OBJECT"), "TEXTURE")
        _set_colors(shadings, "OBJECT")
    elif moment.color_before or tinted_before:
        colored = [shading for shading in shadings if shading.color_type == "OBJECT"]
        _set_colors(colored, moment.color_before or "TEXTURE")
        moment.color_before = ""


def _shadings(context: bpy.types.Context) -> Iterator[bpy.types.View3DShading]:
    for window in context.window_manager.windows:
        for area in window.screen.areas:
            for space in area.spaces:
                if isinstance(space, bpy.types.SpaceView3D):
                    yield space.shading


def _set_colors(shadings: Iterable[bpy.types.View3DShading], color_type: ColorType) -> None:
    for shading in shadings:
        shading.color_type = color_type


@persistent  # type: ignore[untyped-decorator]
def _after_undo(*_arguments: object) -> None:
    """Undo brings back the books' tints but not how viewports are shaded."""
    show_tints(bpy.context)


def register_handlers() -> None:
    """Follow undo and redo."""
    for handlers in (bpy.app.handlers.undo_post, bpy.app.handlers.redo_post):
        handlers.append(_after_undo)


def unregister_handlers() -> None:
    """No longer."""
    for handlers in (bpy.app.handlers.undo_post, bpy.app.handlers.redo_post):
        if _after_undo in handlers:
            handlers.remove(_after_undo)
