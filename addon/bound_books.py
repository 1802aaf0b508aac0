"""Binding books, and rearranging what is bound; the scene changes only after all that can fail is done."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import bpy

from .books import NUMBER_KEY, TURN, bound_root_of, collection_of, description_file, panels_of, spreads_of
from .bound_files import BOOK_FILE, free_name
from .bound_fit import binding_of, book_of, fit_bound, pages_agree, remember_book
from .bound_homes import forget_collections, move_home, own_home
from .bound_motion import leaf_key, remove_curves
from .bound_studio import build_bound_studio
from .channels import OPENING
from .designing import read_design, spread_of
from .geometry import Description, HingeleafError, Spread
from .geometry.binding import parse_book
from .geometry.binding.writer import new_book_text, set_book
from .geometry.tolerances import TOUCH_MM
from .open_book import new_bound_root, open_spread
from .set_aside import set_objects_aside
from .studio import clear_studio

__all__ = [
    "add_spread",
    "bind_books",
    "change_cover",
    "move_spread",
    "refuse_other_pages",
    "remove_spread",
    "show_opening",
    "show_spread",
]

#: How data paths of channels begin that a leaf moves once a spread hangs on it.
_MOVED = (f'["{OPENING}"]', "location", "rotation_", "scale")


def show_spread(bound: bpy.types.Object, number: int) -> None:
    """Turn a bound book so that one spread lies open; number counts from 1."""
    for leaf in range(len(spreads_of(bound)) + 1):
        bound[leaf_key(leaf)] = 0.0
    bound[TURN] = float(number)
    bound.update_tag()


def show_opening(root: bpy.types.Object, degrees: float) -> None:
    """Open a book so far; of a bound book the leaves are turned so that this spread is."""
    bound = bound_root_of(root)
    if bound is None:
        root[OPENING] = float(degrees)
        root.update_tag()
        return
    show_spread(bound, int(root[NUMBER_KEY]))
    bound[TURN] = int(root[NUMBER_KEY]) - 1.0 + float(degrees) / 180.0


def bind_books(
    context: bpy.types.Context, roots: Sequence[bpy.types.Object], title: str, size: tuple[int, int], *, studio: bool
) -> bpy.types.Object:
    """Bind books of one spread each, in order.

    Parameters
    ----------
    context : its scene gets the bound book
    roots : of the books, from the front
    title : of the bound book
    size : of the pictures that will be taken, pixels
    studio : whether to set it on a lit table with a camera

    Returns
    -------
    the bound book's root

    Raises
    ------
    HingeleafError
        One cannot be read, or their pages are not of one size.
    """
    spreads = [spread_of(root) for root in roots]
    if not spreads:
        raise HingeleafError("There is no single book to bind: make or open one first")
    _refuse_other_pages([read_design(root) for root in roots], spreads)
    files: list[str] = []
    for root in roots:
        files.append(free_name(description_file(root).name, files))
    folder = description_file(roots[0]).parent
    book = parse_book(new_book_text(title, files), source=BOOK_FILE, folder=folder, look=False)
    bound = new_bound_root(book, context.scene.collection, spreads[0].page_size_mm)
    for number, root in enumerate(roots, start=1):
        clear_studio(root, collection_of(root))
        # What a hand has moved stays as it was keyframed.
        remove_curves(root, lambda path: path.startswith(_MOVED))
        _take_in(bound, root, number)
    fit_bound(context, bound, spread_of)
    if studio:
        build_bound_studio(context, bound, binding_of(bound, spread_of), size)
        fit_bound(context, bound, spread_of)
    return bound


def _take_in(bound: bpy.types.Object, root: bpy.types.Object, number: int) -> None:
    """Make a book's collection part of a bound one's, and its root a spread of that."""
    move_home(own_home(root), collection_of(bound))
    root[NUMBER_KEY] = number
    root.parent = bound


def _refuse_other_pages(descriptions: Sequence[Description], spreads: Sequence[Spread]) -> None:
    """HingeleafError where the pages are not of one size."""
    if pages_agree(list(spreads)):
        return
    said = (
        f"{description.title} {spread.page_size_mm[0]:g} × {spread.page_size_mm[1]:g}"
        for description, spread in zip(descriptions, spreads, strict=True)
    )
    raise HingeleafError(f"All spreads of a book have the same pages, but these are, in mm: {', '.join(said)}")


def refuse_other_pages(root: bpy.types.Object, description: Description) -> None:
    """HingeleafError where a description gives a spread other pages than the rest of its bound book has."""
    bound = bound_root_of(root)
    others = [] if bound is None else [item for item in spreads_of(bound) if item != root]
    if not others:
        return
    page, new = read_design(others[0]).page, description.page
    if max(abs(new.width_mm - page.width_mm), abs(new.height_mm - page.height_mm)) > TOUCH_MM:
        said = f"{new.width_mm:g} × {new.height_mm:g}", f"{page.width_mm:g} × {page.height_mm:g}"
        raise HingeleafError(
            f"{description.source} has pages of {said[0]} mm, but those of the bound book are {said[1]} mm"
        )


def add_spread(
    context: bpy.types.Context, bound: bpy.types.Object, description: Description, spread: Spread, after: int
) -> bpy.types.Object:
    """Put another spread into a bound book.

    Parameters
    ----------
    context : of the window
    bound : the book's root
    description, spread : the new one
    after : the number of the spread that it comes after; 0 makes it the first

    Returns
    -------
    its root

    Raises
    ------
    HingeleafError
        Its pages are of another size, or it cannot stand.
    """
    roots = spreads_of(bound)
    _refuse_other_pages([read_design(roots[0]), description], [spread_of(roots[0]), spread])
    book = book_of(bound)
    files = list(book.files)
    files.insert(after, free_name(description.source, files))
    made = open_spread(description, spread, collection_of(bound))
    roots.insert(after, made.root)
    made.root.parent = bound
    _renumber(context, bound, roots, files)
    return made.root


def remove_spread(context: bpy.types.Context, bound: bpy.types.Object, root: bpy.types.Object) -> None:
    """Take a spread out of a bound book and delete it.

    Raises
    ------
    HingeleafError
        It is the only one.
    """
    roots = spreads_of(bound)
    if len(roots) < 2:
        raise HingeleafError("A bound book keeps one spread at least")
    place = roots.index(root)
    files = [name for index, name in enumerate(book_of(bound).files) if index != place]
    del roots[place]
    collection = collection_of(root)
    # Leaves and what lies between them follow the root and the left page; that hangs on the right one.
    panels = panels_of(root)
    followed = [root, *(panels[name] for name in ("page.left", "page.right") if name in panels)]
    items = [item for item in root.children_recursive if item not in followed]
    data: list[Any] = [item.data for item in items if item.data is not None]
    homes = [collection, *collection.children_recursive]
    bpy.data.batch_remove(items)
    bpy.data.batch_remove([block for block in data if block.users == 0])
    set_objects_aside(followed)
    # What a user has put there besides stays.
    forget_collections(homes)
    _renumber(context, bound, roots, files)


def move_spread(context: bpy.types.Context, bound: bpy.types.Object, root: bpy.types.Object, step: int) -> None:
    """Let a spread change places with the one before it (step -1) or behind it (step 1).

    Raises
    ------
    HingeleafError
        There is none.
    """
    roots, files = spreads_of(bound), list(book_of(bound).files)
    place = roots.index(root)
    other = place + step
    if not 0 <= other < len(roots):
        raise HingeleafError(f"{root.name} is the {'first' if step < 0 else 'last'} spread already")
    roots[place], roots[other] = roots[other], roots[place]
    files[place], files[other] = files[other], files[place]
    _renumber(context, bound, roots, files)


def _renumber(
    context: bpy.types.Context, bound: bpy.types.Object, roots: Sequence[bpy.types.Object], files: Sequence[str]
) -> None:
    """Let a bound book be of these spreads in this order."""
    for number, root in enumerate(roots, start=1):
        root[NUMBER_KEY] = number
    _rewrite(bound, files=files)
    fit_bound(context, bound, spread_of)


def _rewrite(bound: bpy.types.Object, **changes: Any) -> None:
    """Change the book's own description."""
    book = book_of(bound)
    text = set_book(book.text, **changes)
    remember_book(bound, parse_book(text, source=book.source, folder=book.folder, look=False))


def change_cover(
    context: bpy.types.Context, bound: bpy.types.Object, values: Mapping[str, Any], *, folder: Path | None = None
) -> tuple[str, ...]:
    """Change the cover of a bound book.

    Parameters
    ----------
    context : of the window
    bound : the book's root
    values : of the table [cover], by key; None takes a key out
    folder : where artwork that is new lies, under the names of the values

    Returns
    -------
    warnings : artwork that cannot be shown, one sentence each

    Raises
    ------
    HingeleafError
        A value is impossible; then nothing was changed.
    """
    book = book_of(bound)
    text = set_book(book.text, cover=values)
    changed = parse_book(text, source=book.source, folder=folder or book.folder, look=False)
    remember_book(bound, changed)
    return fit_bound(context, bound, spread_of, changed)
