"""Straps for tests: rows of one to four panels, between pages, tents and v-folds, and on each other."""

from __future__ import annotations

import numpy as np
from scipy.optimize import minimize_scalar

from geometry.linkage import PlanarCell
from tests.geometry.scene_texts import mechanism, tent, v_fold


def strap(body: str, name: str = "bridge") -> str:
    """The table of a strap; the body's items are parted by semicolons."""
    return mechanism("strap", name, "-", body).replace('fold = "-"\n', "")


def row(widths: str, more: str = "") -> str:
    """A strap from page to page, its glue lines 40 mm from the spine."""
    ends = 'from = "page.left"; from_at = [-40, 120]; to = "page.right"; to_at = [40, 120]; length = 20'
    return strap(f"{ends}; widths = [{widths}]{more}")


ROW = row("50, 50")
THREE = row("30, 40, 30")
FOUR = row("30, 40, 30, 20")

#: Its sides are 3, 4 and 5: the further apex is 50 mm on, 30 mm along the glue lines and 40 mm across.
_SAME = "angle = 53.13010235415598; height = 55; width = 70"
V_FOLDS = v_fold("near", body=f"at = 70; {_SAME}") + v_fold("far", body=f"at = 120; {_SAME}")
TWO_FOLDS = V_FOLDS + strap(
    'from = "near.right"; from_at = [52, 10]; from_turn = 0; from_face = "back"; to = "far.right"; to_at = [22, 50]; '
    "to_turn = 0; length = 24; widths = [30, 30]; tab_width = 8",
    "roof",
)
#: A single panel that stays level: a parallelogram.
ARM = V_FOLDS + strap(
    'from = "near.left"; from_at = [-52, 20]; from_turn = 0; from_face = "back"; to = "far.left"; to_at = [-22, 20]; '
    "to_turn = 0; length = 20; widths = [40]; tab_width = 8",
    "arm",
)
#: Similar tents, one in the other: their right panels stay parallel.
SIMILAR = tent("small", body="at = 60; length = 60; base = 20; height = 30") + tent(
    "large", body="at = 60; length = 60; base = 40; height = 60"
)


def rung(width: float) -> str:
    """A single panel between the two similar tents, 15 mm above the page along both."""
    ends = (
        'from = "small.right"; from_at = [15, 30]; to = "large.right"; to_at = [45, 30]; to_face = "back"; length = 20'
    )
    return SIMILAR + strap(f"{ends}; widths = [{width}]", "rung")


ON_A_STRAP = ROW + strap(
    'from = "bridge.p1"; from_at = [30, 10]; to = "bridge.p2"; to_at = [70, 10]; length = 10; widths = [28, 28]; '
    "tab_width = 5",
    "upper",
)
TENT_ON_A_STRAP = ROW + tent("top", "bridge.c1", "at = 4; length = 12; base = 15; height = 20; tab_width = 5")
V_FOLD_AND_TENT = v_fold("hill", body="at = 60; angle = 90; height = 60; width = 60") + tent(
    "roof", body="at = 120; length = 50; base = 30; height = 40"
)
#: Cells and straps on each other to depth five.
FIVE_DEEP = (
    tent("roof", body="at = 40; length = 120; base = 40; height = 60")
    + strap(
        'from = "roof.left"; from_at = [-25, 60]; to = "roof.right"; to_at = [25, 60]; length = 60; widths = [66, 66]',
        "two",
    )
    + mechanism("slit-cut-in", "three", "two.c1", "at = 5; length = 50; width = 20")
    + v_fold("four", "three.middle", "at = 12; angle = 60; height = 26; width = 14; tab_width = 4")
    + strap(
        'from = "four.left"; from_at = [-7, 13]; to = "four.right"; to_at = [7, 13]; length = 14; widths = [9, 9]; '
        'bend = "in"; tab_width = 4',
        "five",
    )
)


def crossed_tents(spare_mm: float) -> tuple[str, float]:
    """A strap from one tent to another, a little longer than its ends are ever apart, and where they are furthest.

    The furthest is in mid-motion, by the closed form of both tents.
    """
    inner, outer, up_inner, up_outer = PlanarCell(15, 30, 40, 25), PlanarCell(35, 35, 60, 60), 18.0, 21.0

    def distance(opening: float) -> float:
        places = []
        for cell, side, up in ((inner, -1.0, up_inner), (outer, 1.0, up_outer)):
            motion = cell.solve(np.array([opening]))
            angle = float((motion.left if side < 0 else motion.right)[0])
            base = cell.base_left if side < 0 else cell.base_right
            host = np.array([np.cos(opening / 2), side * np.sin(opening / 2)])
            inward = np.array([np.sin(opening / 2), -side * np.cos(opening / 2)])
            places.append(base * host + up * (np.cos(angle) * host + np.sin(angle) * inward))
        return float(np.linalg.norm(places[0] - places[1]))

    furthest = minimize_scalar(lambda value: -distance(value), bounds=(1.5, 2.9), method="bounded")
    width = (distance(float(furthest.x)) + spare_mm) / 2
    sizes = "base_left = 15; base_right = 30; height_left = 40; height_right = 25"
    text = tent("inner", body=f"at = 60; length = 60; {sizes}")
    text += tent("outer", body="at = 60; length = 60; base = 35; height = 60")
    text += strap(
        f'from = "inner.left"; from_at = [{up_inner - 40}, 30]; from_face = "back"; to = "outer.right"; '
        f'to_at = [{60 - up_outer}, 30]; to_face = "back"; length = 20; widths = [{width!r}, {width!r}]',
        "link",
    )
    return text, float(furthest.x)
