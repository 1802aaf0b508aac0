"""Nets of cut-ins against the theorems of flat folding, at every vertex inside the card.

Sources: Kawasaki-Justin: the creases around a vertex fold flat where the alternating sum of its sectors is zero (on a
cone, such as the card about a glued apex, the same sum); Maekawa: mountains less valleys is +2 or -2 (both in any
text on flat folding; statements recalled). Every scene with an apex inside the card is looked at, on the spine, on
creases, on tabs and nested.
"""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from geometry import assemble, parse_description
from geometry.linkage import OVER, SphericalCell, closing_partner

HEAD = 'format = 1\n[page]\nsize = "A5"\n'
HILL = '[[mechanism]]\nkind = "v-fold"\nid = "hill"\nfold = "spine"\nat = 30\nangle = 40\nheight = 90\nwidth = 80\n'
FORWARD = HILL + 'tab = "outer"\ntab_width = 30\n'


def cut(name, fold, at, length, left, right, *, start=True):
    zero, wide = ("start", "end") if start else ("end", "start")
    return (
        f'[[mechanism]]\nkind = "slit-cut-in"\nid = "{name}"\nfold = "{fold}"\nat = {at}\nlength = {length}\n'
        f"width_{zero} = 0\nwidth_{wide}_left = {left}\nwidth_{wide}_right = {right}\n"
    )


STEP = '[[mechanism]]\nkind = "slit-cut-in"\nid = "step"\nfold = "spine"\nat = 40\nlength = 120\nwidth = 50\n'

#: Scene text and the number of vertices inside its cards.
NETS = {
    "one slit": (cut("a", "spine", 60, 50, 30, 30), 1),
    "beak": (cut("a", "spine", 60, 50, 20, 45), 1),
    "beak the other way": (cut("a", "spine", 60, 50, 45, 20, start=False), 1),
    "two beaks": (cut("a", "spine", 20, 50, 20, 45) + cut("b", "spine", 120, 60, 60, 20, start=False), 2),
    "on a crease": (HILL + cut("a", "hill.middle", 30, 40, 15, 25), 1),
    "on a tab": (FORWARD + cut("a", "hill.right", 25, 25, 12, 16), 1),
    "in a step": (STEP + cut("a", "step.middle", 20, 60, 20, 30) + cut("b", "step.left", 30, 60, 15, 9), 2),
    "in a beak": (cut("a", "spine", 40, 100, 50, 70) + cut("b", "a.middle", 40, 40, 9, 15), 2),
}


def vertices(spread):
    """Every place inside a card where three or more creases meet: the creases' directions there, and their classes."""
    found = []
    for piece in spread.pieces:
        card = shapely.union_all([spread.panels[panel].outline for panel in piece.panels], grid_size=1e-7)
        ends = []
        for hinge in spread.creases(piece.id):
            kind = spread.crease_class(hinge)
            for start, end in (hinge.lines[0], hinge.lines[0][::-1]):
                ends.append((start, (end - start) / np.linalg.norm(end - start), kind))
        while ends:
            place = ends[0][0]
            here = [item for item in ends if np.linalg.norm(item[0] - place) < 1e-6]
            ends = [item for item in ends if np.linalg.norm(item[0] - place) >= 1e-6]
            if (
                len(here) >= 3
                and card.contains(shapely.Point(place))
                and card.exterior.distance(shapely.Point(place)) > 1e-3
            ):
                found.append(here)
    return found


def sectors(directions):
    """Sectors between neighbouring creases, in order around the vertex."""
    angles = np.sort([np.arctan2(direction[1], direction[0]) for direction in directions])
    return np.diff(np.append(angles, angles[0] + 2 * np.pi))


@pytest.mark.parametrize("name", NETS)
def test_kawasaki_justin_and_maekawa_at_every_vertex(name):
    text, count = NETS[name]
    found = vertices(assemble(parse_description(HEAD + text)))
    assert len(found) == count
    for creases in found:
        around = sectors([direction for _, direction, _ in creases])
        assert len(around) == 4
        assert around.sum() == pytest.approx(2 * np.pi)
        assert abs(around[0::2].sum() - around[1::2].sum()) <= 1e-9
        mountains = sum(kind == "mountain" for _, _, kind in creases)
        assert abs(mountains - (len(creases) - mountains)) == 2


def test_a_beak_is_a_mountain_among_valleys_on_the_printed_page():
    (creases,) = vertices(assemble(parse_description(HEAD + NETS["beak"][0])))
    assert sorted(kind for _, _, kind in creases) == ["mountain", "valley", "valley", "valley"]


def test_kawasaki_justin_on_the_cone_about_a_glued_apex():
    """Leaning back over the fold, all four lines of a shut v-fold are folded: the sectors alternate to zero."""
    rng = np.random.default_rng(6)
    tried = 0
    for _ in range(100):
        alphas = tuple(rng.uniform(0.3, 1.5, 2))
        beta = float(rng.uniform(0.2, 1.4))
        partner = closing_partner(0.0, OVER, alphas, beta)
        if not 0.0 < partner < np.pi:
            continue
        tried += 1
        cell = SphericalCell(*alphas, beta, partner, OVER)
        around = [cell.alpha_left, cell.beta_left, cell.beta_right, cell.alpha_right]
        assert abs(around[0] - around[1] + around[2] - around[3]) <= 1e-12
        assert sum(around) != pytest.approx(2 * np.pi)
        shut = cell.solve(0.0)
        assert (shut.left[0], shut.right[0], shut.middle[0]) == pytest.approx((np.pi, np.pi, 0.0), abs=1e-7)
    assert tried > 50
