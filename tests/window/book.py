"""What the book is, read and never changed: its description, its folds and handles, and where they are in the world."""

import sys
import tomllib

import bpy
from mathutils import Vector

__all__ = [
    "active",
    "bound",
    "bound_design",
    "changed",
    "check",
    "corners_of",
    "design",
    "files_loaded",
    "film_frames",
    "fold_place",
    "handle_place",
    "is_checked",
    "kinds",
    "mechanism",
    "middle_of",
    "moment",
    "opening",
    "panel_place",
    "panels",
    "pictures",
    "root",
    "spreads",
    "text",
    "thickness",
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
    """The book that is worked on; None where there is none."""
    return _installed("books").active_book(bpy.context)


def bound():
    """The bound book; None where there is none."""
    return _installed("books").active_bound(bpy.context)


def spreads():
    """The books of the bound book's spreads, from the front."""
    return _installed("books").spreads_of(bound())


def bound_design():
    """The bound book's own description as data."""
    return tomllib.loads(str(bound()["hingeleaf_book"]))


def thickness():
    """Of the closed bound book with its boards, mm."""
    return _installed("bound_rig").thickness_of(bound())


def panels(of_book):
    """The objects of a book's panels, by panel."""
    return _installed("books").panels_of(of_book)


def pictures():
    """The pictures that a book shows, by the name that its description has for each."""
    return _installed("carrying").images_of_book(root())


def film_frames(seconds, size):
    """How many frames the film of the whole bound book has, with so many seconds a leaf and pictures of a size."""
    filming, subject = _installed("filming"), _installed("filming_subject").subject_of(bound())
    return filming.plan_shot(subject, filming.Shot(preset="BOOK", size=size, seconds=seconds)).count


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
    objects = panels(book)
    one, two = _installed("projecting").world_points(objects[panel], spread.panels[panel], offer.points[0])
    return one + part * (two - one)


def panel_place(name):
    """The middle of a panel in the world."""
    return middle_of(panels(root())[name])


def middle_of(item):
    """The middle of an object in the world."""
    corners = corners_of(item)
    return sum(corners, Vector()) / len(corners)


def corners_of(item):
    """The corners of an object's box in the world."""
    return [item.matrix_world @ Vector(corner) for corner in item.bound_box]


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
