"""Every sheet of the third spread: the island at night."""

from __future__ import annotations

from geometry import Spread

from . import inks
from .faces import back_sheet, draw_plain, front_sheet
from .night_far import draw_coast, draw_moon, draw_night_page, draw_shoal, draw_skerry
from .night_quay import draw_door, draw_house, draw_quay, draw_ray, draw_roof, draw_tower
from .sheet import Sheet

__all__ = ["draw_night"]


def draw_night(spread: Spread) -> dict[str, Sheet]:
    """Draw every sheet, by the name of its file; a back is drawn as it is seen, its net turned over left to right."""
    grounds = {
        "page": inks.INDIGO,
        "coast": inks.INDIGO,
        "moon": inks.MOONLIT,
        "quay": inks.LEAD,
        "tower": inks.CREAM,
        "cap": inks.BRICK,
        "ray-left": inks.LAMP,
        "ray-right": inks.LAMP,
        "house": inks.PEACH,
        "roof": inks.BRICK,
        "door": inks.TEAL,
        "skerry-left": inks.NIGHT,
        "skerry-right": inks.NIGHT,
        "shoal": inks.DEEP,
    }
    backs = ("page", "coast", "moon", "quay", "tower", "cap", "ray-left", "ray-right", "house", "roof", "door")
    sheets = {name: front_sheet(spread, name, ink) for name, ink in grounds.items()}
    sheets |= {
        f"{name}-back": back_sheet(spread, name, inks.INDIGO) for name in (*backs, "skerry-left", "skerry-right")
    }
    draw_night_page(sheets["page"], spread)
    draw_coast(sheets["coast"], spread)
    draw_moon(sheets["moon"])
    draw_quay(sheets["quay"], spread)
    draw_tower(sheets["tower"], spread)
    draw_house(sheets["house"], spread)
    draw_shoal(sheets["shoal"], spread)
    draw_door(sheets["door"], inside=False)
    draw_door(sheets["door-back"], inside=True)
    for number, name in enumerate(("cap", "cap-back", "roof", "roof-back")):
        draw_roof(sheets[name], 970 + 5 * number)
    for name, way in (("ray-left", -1.0), ("ray-right", 1.0)):
        draw_ray(sheets[name], way=way, rise=7.0 if way > 0 else -2.5)
        draw_ray(sheets[f"{name}-back"], way=-way, rise=7.0 if way > 0 else -2.5)
    for number, name in enumerate(("skerry-left", "skerry-right")):
        draw_skerry(sheets[name], spread, name, 990 + 20 * number)
        draw_skerry(sheets[f"{name}-back"], spread, name, 995 + 20 * number, turned_over=True)
    for number, name in enumerate(("page", "coast", "moon", "quay", "tower", "house")):
        draw_plain(sheets[f"{name}-back"], (inks.DUSK,), 860 + number, spacing=5.0 if name == "page" else 3.0)
    return sheets
