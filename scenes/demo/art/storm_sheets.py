"""Every sheet of the second spread: the island in a storm."""

from __future__ import annotations

from geometry import Spread

from . import inks
from .faces import back_sheet, draw_plain, front_sheet
from .rock_art import draw_lighthouse
from .sheet import Sheet
from .storm_page import draw_storm_back, draw_storm_page
from .storm_sea import draw_bow, draw_bow_inside, draw_breaker, draw_inside, draw_sail, draw_sea, draw_swell
from .storm_sky import draw_beam, draw_clouds, draw_lightning, draw_rock

__all__ = ["draw_storm"]


def draw_storm(spread: Spread) -> dict[str, Sheet]:
    """Draw every sheet, by the name of its file; a back is drawn as it is seen, its net turned over left to right."""
    grounds = {
        "page": inks.DEEP,
        "clouds": inks.SLATE,
        "lightning": inks.LAMP,
        "sea": inks.DEEP,
        "breaker": inks.FOAM,
        "bow": inks.FOAM,
        "sail": inks.FOAM,
        "rock": inks.LEAD,
        "lighthouse": inks.CREAM,
        "beam": inks.OCHRE,
        "swell-left": inks.DEEP,
        "swell-right": inks.DEEP,
    }
    backs = ("page", "clouds", "sea", "breaker", "bow", "rock", "lighthouse", "beam", "swell-left", "swell-right")
    sheets = {name: front_sheet(spread, name, ink) for name, ink in grounds.items()}
    sheets |= {f"{name}-back": back_sheet(spread, name, inks.LEAD) for name in backs}
    sheets["bow-back"] = back_sheet(spread, "bow", inks.CLAY)
    draw_storm_page(sheets["page"], spread)
    draw_storm_back(sheets["page-back"])
    draw_clouds(sheets["clouds"], spread)
    draw_lightning(sheets["lightning"], spread)
    draw_sea(sheets["sea"], spread)
    draw_inside(sheets["sea-back"])
    draw_breaker(sheets["breaker"], spread)
    draw_bow(sheets["bow"], spread)
    draw_bow_inside(sheets["bow-back"])
    draw_sail(sheets["sail"], spread)
    draw_rock(sheets["rock"], spread)
    draw_lighthouse(sheets["lighthouse"], spread)
    draw_beam(sheets["beam"], turned_over=False)
    draw_beam(sheets["beam-back"], turned_over=True)
    for number, name in enumerate(("swell-left", "swell-right")):
        draw_swell(sheets[name], spread, name, 480 + 100 * number)
        draw_swell(sheets[f"{name}-back"], spread, name, 485 + 100 * number, turned_over=True)
    plain = (("clouds", inks.GALE), ("breaker", inks.DEEP), ("rock", inks.SLATE))
    plain += (("lighthouse", inks.SLATE),)
    for number, (name, ink) in enumerate(plain):
        draw_plain(sheets[f"{name}-back"], (ink, inks.GALE), 440 + number, way=4.0)
    return sheets
