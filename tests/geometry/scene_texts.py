"""Small scenes for whole motion sweeps: every kind, equal and unequal, on every kind of fold, nested to depth five.

SCENES all close flat and open fully, and no panel passes through its host; WRONG ones do not, on purpose.
"""

from __future__ import annotations

from pathlib import Path

from geometry.binding import is_book

ROOT = Path(__file__).resolve().parents[2]
HEAD = 'format = 1\n[page]\nsize = "A5"\n[stock.card]\ngrammage = 250\ncaliper = 0.3\n'

_EVERY = sorted((ROOT / "scenes").glob("**/*.toml"))
#: Bound books and spreads of the project, found when tests are collected.
BOOKS = [file for file in _EVERY if is_book(file.read_text(encoding="utf-8"))]
FILES = [file for file in _EVERY if file not in BOOKS]


def mechanism(kind: str, name: str, fold: str, body: str) -> str:
    """The table of a mechanism on a fold; the body's items are parted by semicolons."""
    items = "\n".join(item.strip() for item in body.split(";"))
    return f'[[mechanism]]\nkind = "{kind}"\nid = "{name}"\nfold = "{fold}"\n{items}\n'


def head(title: str, size: str, *, page: str = "") -> str:
    """The top of a description with pages of a size; further items of the pages are parted by semicolons."""
    items = "".join(f"{item.strip()}\n" for item in page.split(";") if item)
    return f'format = 1\ntitle = "{title}"\n[page]\nsize = {size}\n{items}[stock.card]\ngrammage = 250\n'


def v_fold(name: str, fold: str = "spine", body: str = "at = 60; angle = 45; height = 50") -> str:
    return mechanism("v-fold", name, fold, body)


def tent(name: str, fold: str = "spine", body: str = "at = 60; length = 50; base = 30; height = 40") -> str:
    return mechanism("tent", name, fold, body)


def cut_in(name: str, fold: str = "spine", body: str = "at = 60; length = 50; width = 20") -> str:
    return mechanism("slit-cut-in", name, fold, body)


def rider(name: str, fold: str, body: str) -> str:
    return mechanism("rider", name, fold, body)


def rider_on(name: str, panel: str, body: str) -> str:
    return rider(name, panel, body).replace("fold =", "panel =", 1)


#: The five rows of the cut-in table, each to be cut at a place along a fold.
CUT_INS = {
    "one-slit": "length = {length}; width_start = 0; width_end = {width}",
    "step": "length = {length}; width = {width}",
    "angled-step": "length = {length}; width_start = {half}; width_end = {width}",
    "unequal-step": "length = {length}; width_left = {half}; width_right = {width}",
    "beak": "length = {length}; width_start = 0; width_end_left = {half}; width_end_right = {width}",
    "unequal-angled": (
        "length = {length}; width_start_left = {half}; width_start_right = {width}; width_end_left = {width}"
    ),
    "edge": 'length = {length}; width_start = {half}; width_end = {width}; slit_end = "edge"',
}


def cut_in_row(row: str, fold: str, at: float, length: float, width: float) -> str:
    body = CUT_INS[row].format(length=length, width=width, half=width / 2)
    return cut_in("cut", fold, f"at = {at}; {body}")


#: A description as a person may write it, with comments and blanks.
COMMENTED = """\
# A hill.
format = 1            # always 1

[page]   # the pages
size = "A5"

# the hill itself
[[mechanism]]
kind = "v-fold"
id   = 'hill'
fold = "spine"        # between the pages
at = 60.0
angle = 45 # degrees
height = 50


[[mechanism]]
kind = "tent"
id = "tent"
fold = "spine"
at = 120
length = 30
base = 20
height = 30
# the end"""
HILL = v_fold("hill")
#: Rises beyond the page when shut, where that is an A6.
TOWER = v_fold("tower", body="at = 100; angle = 60; height = 90")
#: What stands on and beside it where pages are about 140 mm wide: a rider on its left panel, and a tent behind.
SUN = rider_on("sun", "hill.left", "at = [-20, 30]; size = [10, 10]")
ROOF = tent("roof", body="at = 130; length = 40; base = 20; height = 30")
#: A v-fold whose tabs point outwards, so that panel and tab are one card across the foot.
FORWARD = v_fold("hill", body='at = 40; angle = 40; height = 80; width = 80; tab = "outer"; tab_width = 30')
BIG = v_fold("hill", body="at = 40; angle = 40; height = 90; width = 80")

_SPINE = {
    "v-fold": HILL,
    "v-fold unequal": v_fold("hill", body="at = 60; angle_left = 50; angle_right = 35; height = 60"),
    "v-fold upright": v_fold("hill", body="at = 60; angle = 90; height = 50"),
    "v-fold backwards": v_fold("hill", body="at = 120; angle = 130; height = 50"),
    "v-fold backwards unequal": v_fold("hill", body="at = 120; angle_left = 120; angle_right = 140; height = 50"),
    "v-fold on both sides of square": v_fold("hill", body="at = 90; angle_left = 100; angle_right = 70; height = 40"),
    "v-fold nearly equal": v_fold("hill", body="at = 60; angle_left = 45; angle_right = 45.001; height = 50"),
    "v-fold steep crease": v_fold("hill", body="at = 60; angle = 45; crease_angle = 60; height = 50"),
    "v-fold crease one side": v_fold(
        "hill", body="at = 60; angle_left = 50; angle_right = 60; crease_angle_left = 80; height = 50"
    ),
    "v-fold flat when open": v_fold("hill", body="at = 60; angle = 50; crease_angle = 50; height = 50"),
    "v-fold printed inner": v_fold("hill", body='at = 60; angle = 45; height = 50; printed = "inner"'),
    "v-fold tabs outer": v_fold("hill", body='at = 60; angle = 45; height = 50; tab = "outer"'),
    "v-fold tabs mixed": v_fold(
        "hill",
        body='at = 60; angle = 60; height = 50; tab_left = "outer"; tab_right = "inner"; printed = "inner"',
    ),
    "v-fold outlines": v_fold(
        "hill",
        body='at = 60; angle = 45; height = 50; edge_left = "M 10 55 C 20 70 50 40 55 10"; '
        "edge_right = [[20, 60], [40, 20]]; "
        "holes_right = [[[10, 10], [20, 10], [20, 25]]]",
    ),
    "v-fold on the outside": v_fold("hill", body='at = 60; angle = 60; height = 50; side = "mountain"'),
    "tent": tent("tent"),
    "tent unequal": tent("tent", body="at = 60; length = 50; base_left = 20; base_right = 35; height_left = 45"),
    "tent flat when open": tent("tent", body="at = 60; length = 50; base_left = 20; base_right = 35; height_left = 35"),
    "tent nearly equal": tent(
        "tent", body="at = 60; length = 50; base_left = 30; base_right = 30.0001; height_left = 40"
    ),
    "tent printed inner, tabs outer": tent(
        "tent", body='at = 60; length = 50; base = 30; height = 40; printed = "inner"; tab = "outer"'
    ),
    "tent outlines": tent(
        "tent",
        body='at = 60; length = 50; base = 30; height = 40; edge_start = "M 0 0 C 10 -15 30 -15 40 0"; '
        "edge_end = [[10, 8], [30, -5]]; holes = [[[10, 10], [20, 10], [20, 25]]]",
    ),
}

_CUT = {
    **{f"cut-in {row} on the spine": cut_in_row(row, "spine", 60, 50, 30) for row in CUT_INS},
    **{f"cut-in {row} on a crease": BIG + cut_in_row(row, "hill.middle", 30, 25, 15) for row in CUT_INS},
    **{
        f"cut-in {row} on a tab": FORWARD + cut_in_row(row, "hill.right", 30, 15, 12)
        for row in CUT_INS
        if row != "edge"
    },
    "cut-in from the edge of the tab": FORWARD
    + cut_in("cut", "hill.left", "at = 50; length = 10; width_left = 9; width_right = 14; slit_start = [[0, -6]]"),
    "cut-in curved slits and windows": cut_in(
        "cut",
        body='at = 60; length = 50; width = 25; slit_start = "M -25 0 C -20 -30 20 -30 25 0"; '
        "slit_end = [[-10, 12], [0, 4], [12, 9]]; holes = [[[-6, 10], [8, 12], [0, 30]]]",
    ),
    "cut-in towards the foot": cut_in("cut", body="at = 60; length = 50; width_start = 30; width_end = 0"),
    "cut-in from the foot's edge": cut_in("cut", body='at = 20; length = 30; width = 25; slit_start = "edge"'),
    "cut-in in a cut-in": cut_in("outer", body="at = 40; length = 100; width = 40")
    + cut_in("inner", "outer.middle", "at = 20; length = 50; width = 15")
    + cut_in("side", "outer.left", "at = 10; length = 30; width = 12"),
    "cut-in in a beak": cut_in(
        "outer", body="at = 40; length = 100; width_start = 0; width_end_left = 30; width_end_right = 50"
    )
    + cut_in("inner", "outer.middle", "at = 50; length = 30; width_left = 5; width_right = 8")
    + cut_in("side", "outer.right", "at = 60; length = 30; width_start = 6; width_end = 9"),
}

_NESTED = {
    "v-fold on a valley": BIG + v_fold("bird", "hill.middle", "at = 40; angle = 40; height = 20"),
    "v-fold on a ridge": BIG + v_fold("bird", "hill.middle", 'at = 40; angle = 50; height = 20; side = "mountain"'),
    "v-fold on a ridge unequal": BIG
    + v_fold("bird", "hill.middle", 'at = 40; angle_left = 50; angle_right = 60; height = 20; side = "mountain"'),
    "v-fold on a foot outside": BIG + v_fold("bird", "hill.left", "at = 40; angle = 40; height = 20"),
    "v-fold on a foot inside": BIG + v_fold("bird", "hill.right", 'at = 40; angle = 40; height = 20; side = "inner"'),
    "v-fold on a foot inside unequal": BIG
    + v_fold(
        "bird",
        "hill.right",
        'at = 40; angle_left = 40; angle_right = 55; crease_angle_left = 50; height = 20; side = "inner"',
    ),
    "tent on a valley": BIG + tent("bird", "hill.middle", "at = 40; length = 30; base = 12; height = 20"),
    "tent on a ridge": tent("bird")
    + tent(
        "top",
        "bird.middle",
        'at = 10; length = 30; base_left = 12; base_right = 9; height_left = 25; side = "mountain"',
    ),
    "tent on feet": tent("bird", body="at = 40; length = 80; base = 50; height = 60")
    + tent("out", "bird.left", "at = 10; length = 30; base = 12; height = 20")
    + tent("in", "bird.right", 'at = 10; length = 30; base = 12; height_left = 12; side = "inner"'),
    "v-fold on a cut-in's ridge": cut_in("step", body="at = 60; length = 60; width = 30")
    + v_fold("bird", "step.middle", 'at = 20; angle = 50; height = 20; side = "mountain"'),
    "v-folds on a cut-in's hinges": cut_in("step", body="at = 60; length = 60; width_left = 30; width_right = 20")
    + v_fold("one", "step.left", "at = 20; angle = 50; height = 15")
    + v_fold("two", "step.right", "at = 20; angle_left = 40; angle_right = 50; height = 15"),
    "v-folds on a beak's hinges": cut_in(
        "beak",
        body="at = 60; length = 90; width_start_left = 36; width_start_right = 30; width_end = 0",
    )
    + v_fold("one", "beak.left", "at = 20; angle = 50; height = 10; tab_width = 4")
    + v_fold("two", "beak.middle", 'at = 20; angle = 40; height = 12; tab_width = 4; side = "mountain"'),
    "three deep": BIG
    + cut_in("step", "hill.middle", "at = 20; length = 40; width = 20")
    + v_fold("bird", "step.middle", 'at = 10; angle = 50; height = 20; side = "mountain"'),
    "five deep": cut_in("a", body="at = 30; length = 150; width = 60")
    + cut_in("b", "a.middle", "at = 20; length = 110; width = 40")
    + cut_in("c", "b.middle", "at = 20; length = 70; width_left = 20; width_right = 30")
    + v_fold("d", "c.left", "at = 25; angle = 50; height = 20; width = 18; tab_width = 4")
    + v_fold("e", "d.middle", "at = 4; angle = 50; height = 12; width = 14; tab_width = 3"),
    "five deep of all kinds": v_fold(
        "a", body='at = 20; angle_left = 40; angle_right = 50; height = 110; tab = "outer"'
    )
    + tent("b", "a.middle", "at = 30; length = 60; base_left = 25; base_right = 20; height_left = 30; tab_width = 5")
    + cut_in("c", "b.middle", "at = 10; length = 40; width_start = 8; width_end = 12")
    + v_fold("d", "c.middle", 'at = 12; angle = 60; height = 10; tab_width = 4; side = "mountain"')
    + rider("e", "d.middle", 'at = [0, 3]; size = [8, 5]; side = "mountain"'),
}

_RIDERS = {
    "riders on pages": rider_on("sun", "page.left", "at = [-70, 150]; size = [40, 30]; turn = 25")
    + rider_on(
        "moon", "page.right", 'at = [70, 150]; outline = "M -10 0 A 10 10 0 1 0 10 0 Z"; face = "back"; turn = 200'
    ),
    "riders on panels": BIG
    + rider_on("sun", "hill.left", 'at = [-30, 60]; size = [50, 20]; turn = -30; face = "back"')
    + rider_on(
        "moon",
        "hill.right",
        "at = [30, 60]; outline = [[-9, -9], [60, 0], [0, 12]]; holes = [[[-2, -2], [2, -2], [0, 2]]]",
    ),
    "rider on a rider on a strip": cut_in("step")
    + rider_on("sun", "step.left", "at = [-9, 90]; size = [13, 15]; turn = 10")
    + rider_on("moon", "sun", 'at = [2, 3]; size = [8, 9]; face = "back"'),
    "rider across the spine": rider("arch", "spine", "at = [0, 100]; size = [60, 40]"),
    "rider across the outside": rider("arch", "spine", 'at = [0, 100]; size = [60, 40]; side = "mountain"'),
    "rider across a ridge": BIG
    + rider("roof", "hill.middle", 'at = [0, 40]; outline = "M -20 0 L 20 0 C 20 20 0 40 -20 0 Z"; side = "mountain"'),
    "v-fold on a rider's crease": rider("arch", "spine", "at = [0, 100]; size = [90, 100]")
    + v_fold("bird", "arch.middle", "at = -20; angle = 45; height = 30")
    + v_fold("ridge", "arch.middle", 'at = 10; angle = 45; height = 15; side = "mountain"'),
    "rider across a cut-in's ridge": cut_in("step")
    + rider("roof", "step.middle", 'at = [0, 25]; size = [24, 20]; side = "mountain"'),
}

SCENES = {name: HEAD + body for name, body in (_SPINE | _CUT | _NESTED | _RIDERS).items()}

#: Scenes that jam, stand off, lock or stick out, and the codes of their findings of severity error.
WRONG = {
    "jams": (
        tent(
            "tent", body="at = 60; length = 50; base_left = 40; base_right = 20; height_left = 40; height_right = 60.5"
        ),
        {"closes-flat"},
    ),
    "stands off": (
        tent(
            "tent", body="at = 60; length = 50; base_left = 40; base_right = 20; height_left = 40; height_right = 59.5"
        ),
        {"closes-flat"},
    ),
    "locks": (tent("tent", body="at = 60; length = 50; base = 40; height = 30"), {"opens-fully"}),
    "leans over and locks": (
        tent("tent", body='at = 60; length = 50; base = 40; height = 25; lean = "over"'),
        {"opens-fully"},
    ),
    "leans over as a v-fold and locks": (
        v_fold("hill", body='at = 60; angle = 70; crease_angle = 40; height = 50; lean = "over"'),
        {"opens-fully"},
    ),
    "locks deep inside": (
        BIG + tent("bird", "hill.middle", "at = 40; length = 30; base = 12; height = 6; tab_width = 4"),
        {"opens-fully"},
    ),
    "jams as a v-fold": (
        v_fold(
            "hill",
            body="at = 60; angle_left = 60; angle_right = 40; crease_angle_left = 40; crease_angle_right = 62; "
            "height = 50; width = 30",
        ),
        {"closes-flat"},
    ),
    "sticks out": (v_fold("hill", body="at = 100; angle = 45; height = 160; width = 60"), {"stays-inside"}),
    "never stands": (
        tent("tent", body="at = 60; length = 50; base_left = 90; base_right = 20; height = 20"),
        {"closes-flat"},
    ),
}
