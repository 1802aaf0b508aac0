"""Small bound books: spreads of A5 pages written into a folder, with a book file that names them."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from geometry.binding import Binding, read_bound
from tests.geometry.scene_texts import HEAD, cut_in, rider_on, tent, v_fold

#: Card of 0.3 mm on A5 pages, as in HEAD.
BARE = HEAD
HILL = HEAD + v_fold("hill")
TENT = HEAD + tent("tent", body="at = 60; length = 50; base = 30; height = 40")
STEP = HEAD + cut_in("step", body="at = 60; length = 60; width = 30")
PLATE = HEAD + rider_on("plate", "page.right", "at = [74, 100]; size = [60, 60]")
#: A v-fold on the outside of the spine: in a book it stands in the spread before, or behind.
OUTSIDE = HEAD + v_fold("hill", body='at = 60; angle = 60; height = 50; side = "mountain"')
WHEEL = HEAD + (
    '[[mechanism]]\nkind = "wheel"\nid = "sky"\npanel = "page.right"\nat = [80, 110]\nradius = 40\n'
    "window = [[[-10, 10], [10, 10], [0, 30]]]\n"
)
#: A window right behind that wheel: a rider would hide it, so that it is cut as another wheel's.
STEP_OVER_WHEEL = HEAD + cut_in("step", body="at = 80; length = 60; width = 50")
THREE = {"hill": HILL, "tent": TENT, "step": STEP}


def write_book(folder: Path, spreads: Mapping[str, str], more: str = "") -> Path:
    """Write a book and its spreads; more goes between its title and its spreads."""
    for name, text in spreads.items():
        (folder / f"{name}.toml").write_text(text, encoding="utf-8")
    listed = "".join(f'[[spread]]\nfile = "{name}.toml"\n' for name in spreads)
    path = folder / "book.toml"
    path.write_text(f'format = 1\ntitle = "Trial"\n{more}{listed}', encoding="utf-8")
    return path


def bound(folder: Path, spreads: Mapping[str, str] = THREE, more: str = "") -> Binding:
    """A book of these spreads, bound."""
    return read_bound(write_book(folder, spreads, more))
