"""The bulk map as a drawing: the closed page at true scale, tinted by thickness.

`page_patches` gives its coloured shapes, `draw_bulk` (in drawing.py) lays them on a sheet with rulers, numbers and
words, and `write_bulk` (in write.py) puts the sheet into a file. Only the last two need the font.
"""

from __future__ import annotations

from .patches import BORDER, REGION, RING, Patch, layers_text, page_patches
from .tints import Color

__all__ = ["BORDER", "REGION", "RING", "Color", "Patch", "layers_text", "page_patches"]
