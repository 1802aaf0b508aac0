"""Spot colours: cut lines and creases as separations of their own, for print shops, and sRGB for everything else.

A separation is a plate, or a layer of a cutting table's software, that knows its lines by name whatever their colour
looks like on a screen. Its lines overprint, so that switching them off leaves the artwork whole under them.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

from PIL import ImageCms
from reportlab.lib.colors import CMYKColor, CMYKColorSep

from .classes import LineClass
from .lines import NetLine
from .registration import REGISTRATION

__all__ = ["SPOT_NAMES", "legend_ink", "spot_ink", "srgb_profile"]

#: Name of the separation of each line class that has one.
SPOT_NAMES: Mapping[LineClass, str] = {"cut": "Cut", "mountain": "Crease", "valley": "Crease"}

#: What stands for it on screens and proofs: cyan, magenta, yellow, black. Pure inks, which no artwork is mistaken for.
_TINTS: Mapping[str, tuple[float, float, float, float]] = {
    "Cut": (0.0, 1.0, 0.0, 0.0),
    "Crease": (1.0, 0.0, 0.0, 0.0),
    # The name that the PDF standard gives to what prints on every plate (ISO 32000-1, 8.6.6.4).
    "All": (1.0, 1.0, 1.0, 1.0),
}


def spot_ink(line: NetLine) -> CMYKColorSep | None:
    """The spot colour of a line; None for those that have none.

    Parameters
    ----------
    line : registration marks go onto every plate

    Returns
    -------
    CMYKColorSep or None
    """
    name = "All" if line.name == REGISTRATION else SPOT_NAMES.get(line.line_class)
    return None if name is None else CMYKColorSep(*_TINTS[name], spotName=name)


def legend_ink(line: NetLine) -> CMYKColor | None:
    """The process colour of a sample in the legend: it looks like its separation but does not lie on it."""
    name = SPOT_NAMES.get(line.look) if line.look is not None else None
    return None if name is None else CMYKColor(*_TINTS[name])


@cache
def srgb_profile() -> bytes:
    """The ICC profile of sRGB, the same bytes at any time."""
    data = bytearray(ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes())
    # Bytes 24 to 35 are the date of its making (ICC.1, 7.2.8).
    data[24:36] = bytes(12)
    return bytes(data)
