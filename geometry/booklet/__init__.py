"""The order of assembly as an illustrated booklet.

`assembly_steps` (in plan.py) gives the steps as data, `draw_view` (in view.py) the picture of a state with its hidden
surfaces removed exactly, and `write_booklet` sets all of it as PDF.
"""

from __future__ import annotations

from .plan import assembly_steps
from .steps import Mark, NetPicture, Picture, SheetPicture, SpreadPicture, Step
from .view import Drawing, draw_view
from .write import PAPERS, write_booklet

__all__ = [
    "PAPERS",
    "Drawing",
    "Mark",
    "NetPicture",
    "Picture",
    "SheetPicture",
    "SpreadPicture",
    "Step",
    "assembly_steps",
    "draw_view",
    "write_booklet",
]
