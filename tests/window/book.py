"""What the book is, read and never changed: its description, its folds and handles, and where they are in the world."""

import sys
import tomllib

import bpy
from mathutils import Vector

__all__ = [
    "active",
    "changed",
    "check",
    "design",
    "fold_place",
    "handle_place",
    "kinds",
    "mechanism",
    "moment",
    "opening",
    "panel_place",
    "root",
    "text",
]

_TEXT = "hingeleaf_description"
_LOADED = []


@bpy.app.handlers.persistent
def _count(*_):
    _LOADED.append(True)


bpy.app.handlers.load_post.append(_count)


def files_loaded():
    """How many files were opened, new ones too, since the walk began."""
    return len(_LOADED)


def _installed(name):
    """A module of the installed extension."""
    return next(module for key, module in sys.modules.items() if key.endswith(f".hingeleaf.{name}"))


def root():
    """The book; None where there is none."""
    return next((item for item in bpy.data.objects if _TEXT in item), None)


def text():
    """The description's text; empty where there is no book."""
    book = root()
    return "" if book is None else str(book[_TEXT])


def design():
    """The description as data."""
    return tomllib.loads(text())


def kinds():
    """The kinds of the mechanisms, in order."""
    return [each["kind"] for each in design().get("mechanism", [])]


def mechanism(name):
    """What the description says of one mechanism."""
    return next(each for each in design()["mechanism"] if each["id"] == name)


def fold_place(kind, fold, part):
    """Where a fold is in the world that can carry a kind: at its start with part 0, at its end with 1."""
    book = root()
    description, spread = _installed("designing").design_of(book)
    offers = _installed("geometry.design.offering").offers(spread, description, kind)
    offer = next(each for each in offers if each.target.fold == fold and not each.reason)
    panel = offer.panels[0]
    objects = _installed("books").panels_of(book)
    one, two = _installed("projecting").world_points(objects[panel], spread.panels[panel], offer.points[0])
    return one + part * (two - one)


def panel_place(name):
    """The middle of a panel in the world."""
    item = _installed("books").panels_of(root())[name]
    corners = [item.matrix_world @ Vector(corner) for corner in item.bound_box]
    return sum(corners, Vector()) / len(corners)


def handle_place(name, handle):
    """Where a mechanism's handle is in the world, and the way along which it is drawn."""
    found = _installed("pulling").handle_places(root(), name)
    return found[handle][1:]


def active():
    """The id of the active mechanism."""
    return root().hingeleaf.active


def opening():
    """How far the book is open, degrees."""
    return float(root()["opening"])


def check():
    """What the last check found."""
    return bpy.context.scene.hingeleaf


def is_checked():
    """Whether the last check was of the book as it is now."""
    return check().book is not None and check().book == root() and not _installed("found").is_stale(check())


def moment():
    """What the interface keeps for the moment."""
    return bpy.context.window_manager.hingeleaf


def changed(before):
    """Mechanism and key of everything that another description has otherwise."""
    now = design()
    found = [("", key) for key in before | now if key != "mechanism" and before.get(key) != now.get(key)]
    old, new = ({each["id"]: each for each in one.get("mechanism", [])} for one in (before, now))
    for name in old | new:
        one, two = old.get(name, {}), new.get(name, {})
        found += [(name, key) for key in one | two if one.get(key) != two.get(key)]
    return found
