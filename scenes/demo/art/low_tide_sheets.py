"""Every sheet of the first spread: the island at low tide."""

from __future__ import annotations

from geometry import Spread
from geometry.artwork import art_box

from . import inks
from .cliff_art import draw_back as draw_cliff_back
from .cliff_art import draw_cliff
from .harbour_art import draw_boat, draw_boathouse, draw_inside
from .hills_art import draw_hills
from .page_art import draw_back as draw_page_back
from .page_art import draw_page
from .rock_art import draw_crab, draw_lighthouse
from .sheet import Sheet
from .sky_art import draw_gulls, draw_sun

__all__ = ["draw_low_tide"]


def draw_low_tide(spread: Spread) -> dict[str, Sheet]:
    """Draw every sheet, by the name of its file; a back is drawn as it is seen, its net turned over left to right."""
    grounds = {
        "page": inks.SAND,
        "cliff": inks.STONE,
        "crab": inks.NIGHT,
        "boat": inks.DUNE,
        "boathouse": inks.SAND,
        "hills": inks.GRASS,
        "sun": inks.PEACH,
        "lighthouse": inks.CREAM,
        "gulls": inks.STONE,
    }
    sheets = {name: Sheet(art_box(spread, name), ink) for name, ink in grounds.items()}
    for name, ink in (("page", inks.DEEP), ("cliff", inks.NIGHT), ("boathouse", inks.CLAY)):
        left, low, right, high = sheets[name].box
        sheets[f"{name}-back"] = Sheet((-right, low, -left, high), ink)
    draw_page(sheets["page"], spread)
    draw_page_back(sheets["page-back"])
    draw_cliff(sheets["cliff"], spread, sheets["page"])
    draw_hills(sheets["hills"], spread, sheets["page"])
    draw_sun(sheets["sun"], spread, sheets["hills"])
    draw_gulls(sheets["gulls"], spread)
    draw_lighthouse(sheets["lighthouse"], spread)
    draw_crab(sheets["crab"], spread)
    draw_boat(sheets["boat"], spread)
    draw_boathouse(sheets["boathouse"], spread)
    draw_cliff_back(sheets["cliff-back"], spread, sheets["page"])
    draw_inside(sheets["boathouse-back"])
    return sheets
