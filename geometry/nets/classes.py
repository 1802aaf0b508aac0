"""The line classes of a net: one layer each, and how each is drawn.

Mountain and valley differ by dash pattern as well as colour: valley dashed, mountain dash-dot, the published
origami convention (Yoshizawa-Randlett; recalled), with the line types 02 and 04 of ISO 128-2 (recalled). The hues
are from the palette of Okabe and Ito, "Color universal design" (2008; recalled), which people with any kind of
colour vision can tell apart.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np

__all__ = ["LINE_CLASSES", "STYLES", "LineClass", "Style", "dashes_mm"]

LineClass = Literal["art", "label", "glue", "cut", "mountain", "valley", "mark"]

#: All classes, in drawing order: what comes later lies on top.
LINE_CLASSES: tuple[LineClass, ...] = get_args(LineClass)


@dataclass(frozen=True)
class Style:
    """How a line class is drawn.

    Parameters
    ----------
    color : (3,) int, sRGB 0..255
    width_mm : float, stroke width
    dashes : dash, gap, dash, gap ... in mm, beginning with a dash; empty for a continuous line
    tint : float, opacity of the fill in the line's own colour; 0 for none
    legend : what the legend says; empty where the class is not in it
    dxf_type, dxf_color : its line type and its nearest colour of the AutoCAD colour index in a DXF file
    """

    color: tuple[int, int, int]
    width_mm: float
    dashes: tuple[float, ...] = ()
    tint: float = 0.0
    legend: str = ""
    dxf_type: str = "Continuous"
    dxf_color: int = 7

    @property
    def hex(self) -> str:
        """The colour as #rrggbb."""
        return "#{:02x}{:02x}{:02x}".format(*self.color)


STYLES: dict[LineClass, Style] = {
    "art": Style((128, 128, 128), 0.1, dxf_color=9),
    "glue": Style((0, 158, 115), 0.18, tint=0.14, legend="glue (without tint: on the back)", dxf_color=3),
    "cut": Style((17, 17, 17), 0.35, legend="cut"),
    "mountain": Style(
        (213, 94, 0), 0.25, (5.0, 1.1, 0.5, 1.1), legend="mountain fold", dxf_type="DASHDOT", dxf_color=30
    ),
    "valley": Style((0, 114, 178), 0.25, (2.6, 1.2), legend="valley fold", dxf_type="DASHED", dxf_color=5),
    "mark": Style((85, 85, 85), 0.18, dxf_color=8),
    "label": Style((64, 64, 64), 0.18, dxf_color=8),
}


def dashes_mm(style: Style, length_mm: float) -> tuple[float, ...]:
    """The dash pattern stretched so that a line begins and ends with its first, long dash.

    Parameters
    ----------
    style : of the line
    length_mm : float, length of the line

    Returns
    -------
    dashes : tuple of float, mm; empty where the style has none

    Examples
    --------
    >>> dashes_mm(STYLES["valley"], 2 * 2.6 + 1.2)
    (2.6, 1.2)
    """
    if not style.dashes:
        return ()
    period = sum(style.dashes)
    last = style.dashes[0]
    repeats = max(1, int(np.round((length_mm - last) / period)))
    factor = length_mm / (repeats * period + last)
    return tuple(round(float(dash * factor), 9) for dash in style.dashes)
