"""Two hands at once: what they move may meet although each alone finds its way free."""

import numpy as np
import pytest

from geometry import assemble, parse_description
from geometry.checks import CHECKS

HEAD = "format = 1\n[page]\nsize = [400, 400]\n"


def flap(name, x, turn, y=200.0, more=""):
    return (
        f'[[mechanism]]\nkind = "flap"\nid = "{name}"\npanel = "page.right"\nat = [{x}, {y}]\nturn = {turn}\n'
        f"length = 50\nwidth = 44\n{more}\n"
    )


def found(text, code="hands-collide"):
    return CHECKS[code](assemble(parse_description(HEAD + text)))


def test_flaps_that_open_towards_each_other():
    """Open they would lie over 180 to 224 and over 186 to 230 mm: each alone has room, both have not."""
    text = flap("west", 180, 180) + flap("east", 230, 0)
    (finding,) = found(text)
    assert finding.severity == "warning"
    assert {finding.panel, finding.other} == {"west.flap", "east.flap"}
    assert "west at" in finding.message
    assert "east at" in finding.message
    assert finding.opening_deg == 180.0
    # Where the two hands are said to be, the flaps' sections really cross: two segments of 44 mm from the hinges.
    west, east = (float(finding.message.split(f"{name} at ")[1].split()[0]) for name in ("west", "east"))
    tip = 180 - 44 * np.cos(np.radians(west)), 44 * np.sin(np.radians(west))
    other = 230 + 44 * np.cos(np.radians(east)), 44 * np.sin(np.radians(east))
    across = np.linalg.solve(np.array([[tip[0] - 180, 230 - other[0]], [tip[1], -other[1]]]), [50.0, 0.0])
    assert (across > 0).all()
    assert (across < 1).all()


def test_flaps_with_room_for_both():
    assert found(flap("west", 180, 180) + flap("east", 270, 0)) == []
    assert found(flap("west", 180, 180, y=100) + flap("east", 230, 0, y=300)) == []


def test_flaps_that_open_away_from_each_other():
    assert found(flap("west", 180, 0) + flap("east", 300, 180)) == []


def test_one_that_stops_earlier_makes_room():
    text = flap("west", 180, 180, more="opens_to = 60") + flap("east", 250, 0, more="opens_to = 60")
    assert found(text) == []


@pytest.mark.parametrize("x", [190.0, 200.0])
def test_what_one_alone_runs_into_is_told_once(x):
    """A flap that lies in the other's way already at rest belongs to hand-collides, not to both."""
    text = flap("west", 180, 180) + flap("small", x, 0)
    alone = {frozenset((item.panel, item.other)) for item in found(text, "hand-collides")}
    together = {frozenset((item.panel, item.other)) for item in found(text)}
    assert not alone & together
