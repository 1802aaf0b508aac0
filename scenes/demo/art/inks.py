"""The inks of the demo book: a few flat colours, and what they make where one is printed over another."""

from __future__ import annotations

__all__ = [
    "BRICK",
    "CLAY",
    "CORAL",
    "CREAM",
    "DEEP",
    "DUNE",
    "DUSK",
    "FOAM",
    "GALE",
    "GRASS",
    "HEDGE",
    "INDIGO",
    "LAMP",
    "LEAD",
    "MEADOW",
    "MIST",
    "MOONLIT",
    "NIGHT",
    "OCHRE",
    "PEACH",
    "SAND",
    "SHALLOW",
    "SLATE",
    "STONE",
    "TEAL",
]

# paper and light
CREAM = "#f6ead2"
PEACH = "#f2cfa4"
FOAM = "#dfe8d4"
MIST = "#b4bcae"
# sand and sun
SAND = "#e8cc94"
DUNE = "#cfa768"
CLAY = "#a57a45"
OCHRE = "#d8932f"
# warm red
CORAL = "#d2512f"
BRICK = "#9d3a2a"
# sea
SHALLOW = "#7db5a8"
TEAL = "#2d7d80"
DEEP = "#1b5663"
NIGHT = "#143440"
# rock
STONE = "#84908a"
SLATE = "#46555c"
# teal over ochre
MEADOW = "#9aa650"
GRASS = "#6b8343"
HEDGE = "#375a40"
# storm
LEAD = "#2c3a43"
GALE = "#5e7178"
# night
INDIGO = "#17244a"
DUSK = "#2b4170"
MOONLIT = "#6f93b4"
LAMP = "#f3b94e"
