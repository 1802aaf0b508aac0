"""Every tolerance of the core, named and explained. Lengths in millimetres, angles in radians."""

from __future__ import annotations

__all__ = [
    "ANGLE_RAD",
    "BRACKET",
    "CHORD_MM",
    "FLAT_MM",
    "GRID_MM",
    "RIG_MM",
    "SHALLOW_MM",
    "SLIT_MM",
    "SLIVER_MM2",
    "TOUCH_MM",
]

#: Two angles that a person wrote to mean the same differ by no more than the rounding of a few operations.
ANGLE_RAD = 1e-9

#: A difference of two squared half-angle sines (or of two squared lengths, relative to their sum) that is below
#: this is exactly zero on paper: the rounding of about ten double operations. Without it a cell that closes flat
#: exactly would be reported as locked by a hair at 0 degrees.
BRACKET = 4e-15

#: A closed spread is flat when no panel corner stands further off the page: a thousandth of a micrometre, far
#: below any card, far above the rounding of the solution.
FLAT_MM = 1e-6

#: Points nearer than this are the same point when outlines and creases are compared.
TOUCH_MM = 1e-4

#: Grid to which overlays of outlines snap, so that shared edges are shared to the last bit.
GRID_MM = 1e-7

#: Curved outlines become polylines that are nowhere further from the curve than this.
CHORD_MM = 0.005

#: Areas below this are rounding, not card.
SLIVER_MM2 = 1e-6

#: An outline that is drawn into the card and back out within this is one cut of the knife: a slit, not a notch.
SLIT_MM = 1e-3

#: Largest error of any panel corner between two samples of the rig's drivers.
RIG_MM = 0.02

#: What passes through other card by less than this is taken up by the card itself.
SHALLOW_MM = 0.1
