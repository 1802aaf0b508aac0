"""Descriptions of what hands move, for several tests."""

from __future__ import annotations

import math

HEAD = "format = 1\n[page]\nsize = [400, 400]\n"


def flap(name: str = "lid", more: str = "driven = true", panel: str = "page.right", turn: float = 180.0) -> str:
    """A flap 50 mm along its hinge and 44 mm wide, in the middle of a large page."""
    return (
        f'[[mechanism]]\nkind = "flap"\nid = "{name}"\npanel = "{panel}"\nat = [200, 200]\nturn = {turn}\n'
        f"length = 50\nwidth = 44\n{more}\n"
    )


def strip(
    start: float,
    crank: float = 15.0,
    travel: float = 28.0,
    way: str = "out",
    face: str = "front",
    turn: float = 180.0,
    out: float = 180.0,
    more: str = "",
) -> str:
    """A pull-strip that opens the flap above, the link's end on it at a place from the flap's hinge, the way it lies.

    Parameters
    ----------
    turn : of the flap
    out : of the strip, from that: 0, it is pulled out the way the flap lies, or 180
    """
    towards, pulled = math.radians(turn), math.radians(turn + out)
    inner = [
        200 + start * math.cos(towards) - 20 * math.cos(pulled),
        200 + start * math.sin(towards) - 20 * math.sin(pulled),
    ]
    return (
        f'[[mechanism]]\nkind = "pull-strip"\nid = "pull"\npanel = "page.right"\nat = {inner}\n'
        f"turn = {(turn + out) % 360}\n"
        f'length = 120\nwidth = 20\ntravel = {travel}\nway = "{way}"\nface = "{face}"\n'
        f"guides = [80]\nbeyond = 200\n"
        f'drives = "lid"\nlink_at = 20\nlink_reach = {crank}\n{more}\n'
    )
