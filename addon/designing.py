"""Changing a book's design: what it is now, and making it another one in place.

The design is the description's text, kept with the book's root; everything else is made from it. So Blender's undo,
which brings back text and objects together, always brings back a whole design.

While a size is dragged in a large book, only what depends on it is built at each step; the root then bears a mark, and
`finish_change` builds the whole once the hand rests.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Mapping
from typing import Any

import bpy

from .books import (
    all_books_anywhere,
    bound_root_of,
    camera_of,
    description_of,
    is_linked,
    panel_object,
    panels_of,
    remember_description,
    remember_text,
    stray_panels,
    text_of,
)
from .bound_fit import fit_bound
from .bulk import bulk_object, remove_bulk
from .carrying import artwork_names, own_folder
from .channels import channels_of
from .flat_net import renew_net
from .geometry import Description, HingeleafError, Spread, assemble
from .geometry.design.editing import set_values
from .geometry.design.part import Drag, begin_drag, part_of
from .geometry.trees import owner_of
from .listing import list_mechanisms
from .presenting import redraw
from .reporting import show_refusal
from .rig import MOTION_KEY, PANEL_KEY, PIECE_KEY, motion_of, update_book, update_part
from .studio import rebuild_studio
from .tinting import apply_tint

__all__ = [
    "change_book",
    "change_sizes",
    "design_of",
    "finish_change",
    "finish_changes",
    "finish_soon",
    "forget_designs",
    "forget_steps",
    "is_between_steps",
    "is_changing",
    "is_edited",
    "mechanism_of",
    "panels_of_mechanism",
    "part_with",
    "read_design",
    "spread_of",
    "stop_finishing",
]

_Key = tuple[str, str, tuple[bool, ...]]
#: Designs read and built lately, by text and folder; reading them again gives the same.
_READ: OrderedDict[_Key, Description] = OrderedDict()
_BUILT: OrderedDict[_Key, Spread] = OrderedDict()
_PARTS: OrderedDict[tuple[_Key, str], Spread] = OrderedDict()
#: How many of the longest book's spreads are kept, before and after a change; and how many parts of designs.
_KEPT, _KEPT_PARTS = 128, 16
#: The drag that is going on: the book's and the mechanism's names, all that is not dragged, and what was got ready.
_DRAGS: dict[tuple[str, str], tuple[object, Drag]] = {}
#: Mark of a root of which only a part was built lately; the text when the whole was.
_CHANGING, _WHOLE = "hingeleaf_changing", "hingeleaf_whole"
#: A book of no more mechanisms is built anew at every step; it takes no longer than drawing it does.
_SMALL = 6
#: How exactly what is dragged is shown at other openings than the present one, mm.
_DRAGGED_MM = 0.3
#: Books, by name and text, of which the whole was made in a step of undo of its own, after that which changed them.
_OWN_STEP: set[tuple[str, str]] = set()
#: How long a hand has to rest before the whole is built, seconds.
_REST_S = 0.4


def _key(root: bpy.types.Object) -> _Key:
    """What tells one design from another: its text, its folder, and which of its artwork files are there."""
    text, folder = text_of(root)
    return text, folder, tuple((own_folder(root) / name).is_file() for name in artwork_names(text))


def read_design(root: bpy.types.Object) -> Description:
    """The description that a book is made from; HingeleafError where it cannot be read, as from a later version."""
    key = _key(root)
    if key not in _READ:
        _keep(_READ, key, description_of(root))
    _READ.move_to_end(key)
    return _READ[key]


def spread_of(root: bpy.types.Object) -> Spread:
    """The spread that a book's description builds; HingeleafError where it cannot be read."""
    key = _key(root)
    if key not in _BUILT:
        _keep(_BUILT, key, assemble(read_design(root)))
    _BUILT.move_to_end(key)
    return _BUILT[key]


def design_of(root: bpy.types.Object) -> tuple[Description, Spread]:
    """The description that a book is made from, and the spread that it builds; HingeleafError as in read_design."""
    return read_design(root), spread_of(root)


def part_with(root: bpy.types.Object, mechanism: str) -> Spread:
    """A spread with one mechanism, what it stands on and what stands on it; quicker to come by than the whole."""
    key = _key(root)
    if key in _BUILT:
        _BUILT.move_to_end(key)
        return _BUILT[key]
    if (key, mechanism) not in _PARTS:
        _keep(_PARTS, (key, mechanism), assemble(part_of(read_design(root), [mechanism])))
    _PARTS.move_to_end((key, mechanism))
    return _PARTS[(key, mechanism)]


def _keep(kept: OrderedDict[Any, Any], key: object, value: object) -> None:
    kept[key] = value
    kept.move_to_end(key)
    while len(kept) > (_KEPT_PARTS if kept is _PARTS else _KEPT):
        kept.popitem(last=False)


def change_book(context: bpy.types.Context, root: bpy.types.Object, description: Description) -> tuple[str, ...]:
    """Make a book what another description says, in place.

    Parameters
    ----------
    context : of the window
    root : the book
    description : what it is to be

    Returns
    -------
    warnings : what could not be done, one sentence each

    Raises
    ------
    HingeleafError
        It cannot be built, or cannot stand at any opening; then nothing was changed.
    """
    _refuse_change(root)
    spread = assemble(description)
    page, title = _page_of(root), read_design(root).title
    old = {**stray_panels(root), **panels_of(root)}
    motions = motion_of(spread)

    def moves_otherwise(tree: Spread) -> bool:
        names = [name for name, panel in tree.panels.items() if panel.variable is not None]
        return any(name not in old or old[name].get(MOTION_KEY) != motions[owner_of(name)] for name in names)

    channels = channels_of(spread, moves_otherwise)
    book = update_book(spread, channels, root, old)
    _forget_copies(root, book.panels)
    if title != spread.title:
        root.name = spread.title
        if book.collection.name.split(".")[0] == title:
            book.collection.name = spread.title
    remember_description(root, description)
    _keep(_READ, _key(root), description)
    _keep(_BUILT, _key(root), spread)
    root[_CHANGING], root[_WHOLE] = False, description.text
    list_mechanisms(root, description)
    if page != spread.page_size_mm and camera_of(root) is not None:
        rebuild_studio(spread, book, context)
    shown = bulk_object(root)
    if shown is not None:
        # It was of the book as it was.
        remove_bulk(shown)
    bound = bound_root_of(root)
    if bound is not None:
        warnings = (*book.warnings, *fit_bound(context, bound, spread_of))
    else:
        warnings = book.warnings
    renew_net(context, root, spread)
    apply_tint(context, root, spread)
    root.update_tag()
    return warnings


def _refuse_change(root: bpy.types.Object) -> None:
    """HingeleafError where a book cannot be changed: it is another file's, or one of its panels is in Edit Mode."""
    if is_linked(root):
        raise HingeleafError("This book is linked from another file: press Make Book Local to change it")
    if is_edited(root):
        raise HingeleafError("A panel of this book is in Edit Mode: leave Edit Mode first")


def is_edited(root: bpy.types.Object) -> bool:
    """Whether a panel of a book is in Edit Mode, so that its mesh cannot be changed."""
    meshes: list[Any] = [item.data for item in panels_of(root).values()]
    return any(mesh is not None and mesh.is_editmode for mesh in meshes)


def _forget_copies(root: bpy.types.Object, panels: Mapping[str, bpy.types.Object]) -> None:
    """Let copies of panels that a user has made be objects of their own."""
    for item in root.children_recursive:
        name = item.get(PANEL_KEY)
        if name is not None and panels.get(name) != item:
            del item[PANEL_KEY], item[PIECE_KEY]


def _page_of(root: bpy.types.Object) -> tuple[float, float] | None:
    page = read_design(root).page
    return page.width_mm, page.height_mm


def change_sizes(
    context: bpy.types.Context,
    root: bpy.types.Object,
    mechanism: str,
    values: Mapping[str, Any],
    *,
    quick: bool = False,
) -> None:
    """Change sizes of one mechanism, at once for the eye.

    Parameters
    ----------
    context, root : of the window; the book
    mechanism : its id
    values : by key, mm and degrees; None takes a key out, so that its default holds
    quick : build only what depends on it, in any book; finish_change must follow

    Raises
    ------
    HingeleafError
        It cannot be built so; then nothing was changed.
    """
    description = read_design(root)
    changed = set_values(description, mechanism, values)
    if not quick and len(description.mechanisms) <= _SMALL:
        change_book(context, root, changed)
        return
    _refuse_change(root)
    before = part_with(root, mechanism)
    drag = _drag(root, description, mechanism)
    spread, cut = drag.step(changed)
    channels = channels_of(spread, tolerance_mm=_DRAGGED_MM)
    found = {name: panel_object(root, name) for name in (*before.panels, *spread.panels)}
    old = {name: item for name, item in found.items() if item is not None}
    if any(name not in old for name in before.panels):
        # Some were deleted by hand.
        change_book(context, root, changed)
        return
    if not is_changing(root):
        root[_WHOLE] = description.text
    update_part(spread, channels, root, old, moved=drag.moved, cut=cut)
    remember_description(root, changed)
    key = _key(root)
    _keep(_READ, key, changed)
    _keep(_PARTS, (key, mechanism), spread)
    root[_CHANGING] = True
    if not quick:
        finish_soon()


def _drag(root: bpy.types.Object, description: Description, mechanism: str) -> Drag:
    others = [(spec.id, spec.kind, spec.values) for spec in description.mechanisms if spec.id != mechanism]
    said = others, description.page, description.stocks
    known = _DRAGS.get((root.name, mechanism))
    if known is not None and known[0] == said:
        return known[1]
    _DRAGS.clear()
    drag = begin_drag(description, mechanism)
    _DRAGS[(root.name, mechanism)] = said, drag
    return drag


def is_changing(root: bpy.types.Object) -> bool:
    """Whether only a part of a book was built after its last change."""
    return bool(root.get(_CHANGING, False))


def finish_change(context: bpy.types.Context, root: bpy.types.Object, *, own_step: bool = True) -> None:
    """Build the whole of a book of which only a part was built.

    Parameters
    ----------
    context, root : of the window; the book
    own_step : whether this is a step of undo where it makes or removes objects; not where what changed the book is no
        step yet, as while a size is dragged

    Raises
    ------
    HingeleafError
        The whole cannot be built so; then the book is as it was before the change.
    """
    if not is_changing(root):
        return
    _refuse_change(root)
    step, before = _step_of(root), _there()
    try:
        change_book(context, root, read_design(root))
    except HingeleafError:
        _take_back(context, root)
        raise
    finally:
        if own_step and _there() != before:
            # An undo that finds objects of which no step knows ends Blender; an operator that fails next makes none.
            bpy.ops.ed.undo_push(message="Change Size")
            _OWN_STEP.add(step)


def _take_back(context: bpy.types.Context, root: bpy.types.Object) -> None:
    """Make a book of which only a part was built what it was when the whole was built last."""
    if is_changing(root):
        remember_text(root, root[_WHOLE])
        change_book(context, root, description_of(root))


def finish_changes(context: bpy.types.Context) -> str:
    """Finish every book in the file; returns what went wrong, "" where nothing did."""
    said = ""
    for root in all_books_anywhere():
        try:
            finish_change(context, root)
        except HingeleafError as error:
            said = str(error)
    return said


def finish_soon() -> None:
    """Finish every book once the hand rests."""
    stop_finishing()
    bpy.app.timers.register(_finish_now, first_interval=_REST_S)


def stop_finishing() -> None:
    """Let books that are half built be so, for a moment."""
    if bpy.app.timers.is_registered(_finish_now):
        bpy.app.timers.unregister(_finish_now)


def _finish_now() -> float | None:
    context = bpy.context
    if any(is_changing(root) and is_edited(root) for root in all_books_anywhere()):
        return _REST_S
    said = finish_changes(context)
    if said:
        show_refusal(context, said)
    redraw(context)
    return None


def _step_of(root: bpy.types.Object) -> tuple[str, str]:
    return root.name, text_of(root)[0]


def _there() -> set[int]:
    """Everything in the file that making a book may add or remove."""
    data = bpy.data
    kinds: tuple[Any, ...] = (data.objects, data.meshes, data.collections, data.materials, data.images, data.actions)
    return {item.session_uid for kind in kinds for item in kind}


def is_between_steps() -> bool:
    """Whether an undo or a redo has ended where a book is half built, and the step after it is the whole of it."""
    return any(is_changing(root) and _step_of(root) in _OWN_STEP for root in all_books_anywhere())


def forget_steps() -> None:
    """Forget which steps of undo there are, as in another file."""
    _OWN_STEP.clear()


def forget_designs() -> None:
    """Forget what was read and built, and leave nothing to be done, as when the extension is disabled."""
    stop_finishing()
    for kept in (_READ, _BUILT, _PARTS, _DRAGS, _OWN_STEP):
        kept.clear()


def mechanism_of(item: bpy.types.Object | None) -> str:
    """The mechanism that an object is a panel of; "" for pages and for what is no panel."""
    panel = "" if item is None else item.get(PANEL_KEY, "")
    owner = owner_of(panel) if panel else ""
    return "" if owner == "page" else owner


def panels_of_mechanism(root: bpy.types.Object, mechanism: str) -> list[bpy.types.Object]:
    """The objects of the panels that a mechanism has added to a book."""
    return [item for name, item in panels_of(root).items() if owner_of(name) == mechanism]
