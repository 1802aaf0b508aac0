"""Making a bound book fit its spreads: how thick it is, how it turns, its cover and its table."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable

import bpy

from .books import BOUND_SOURCE, NUMBER_KEY, spreads_of
from .bound_cover import cover_leaves
from .bound_rig import hang_spreads
from .bound_studio import set_table
from .carrying import BOUND_KEY, FOLDER_KEY, is_materialized, materialized_folder, name_images
from .geometry.binding import Binding, BookDescription, parse_book
from .geometry.binding.stacking import ClosedStack, closed_stack
from .geometry.binding.writer import set_book
from .geometry.errors import HingeleafError
from .geometry.spread import Spread
from .geometry.tolerances import TOUCH_MM

__all__ = ["binding_of", "book_of", "fit_bound", "mended_book", "pages_agree", "remember_book"]

#: Closed spreads stacked lately; the same spread gives the same.
_STACKS: OrderedDict[int, tuple[Spread, ClosedStack]] = OrderedDict()
_KEPT = 128

SpreadOf = Callable[[bpy.types.Object], Spread]


def remember_book(bound: bpy.types.Object, book: BookDescription) -> None:
    """Keep a book's own description with its root."""
    bound[BOUND_KEY] = book.text
    bound[BOUND_SOURCE] = book.source
    if not is_materialized(book.folder) or bound.get(FOLDER_KEY) is None:
        bound[FOLDER_KEY] = str(book.folder)
    name_images(book.folder)


def book_of(bound: bpy.types.Object) -> BookDescription:
    """The book's own description; HingeleafError where it cannot be read, as from a later version."""
    text, source = str(bound[BOUND_KEY]), str(bound[BOUND_SOURCE])
    return parse_book(text, source=source, folder=materialized_folder(bound), look=False)


def mended_book(bound: bpy.types.Object, book: BookDescription | None = None) -> BookDescription:
    """The book's own description, which names no more spreads that were deleted by hand.

    Parameters
    ----------
    bound : the root of the bound book
    book : the description; the one kept with its root unless told

    Raises
    ------
    HingeleafError
        No spread is left, or the description cannot be read.
    """
    book, roots = book or book_of(bound), spreads_of(bound)
    if not roots:
        raise HingeleafError(f"No spread is left in {bound.name}: undo until one is there, or delete what is left too")
    last = len(book.files)
    if last == len(roots):
        return book
    files = [book.files[min(max(int(root.get(NUMBER_KEY, 1)), 1), last) - 1] for root in roots]
    for number, root in enumerate(roots, start=1):
        root[NUMBER_KEY] = number
    mended = parse_book(set_book(book.text, files=files), source=book.source, folder=book.folder, look=False)
    remember_book(bound, mended)
    return mended


def pages_agree(spreads: list[Spread]) -> bool:
    """Whether all pages have one size, so that they can be bound."""
    sizes = [spread.page_size_mm for spread in spreads]
    return all(abs(size[axis] - sizes[0][axis]) <= TOUCH_MM for size in sizes for axis in (0, 1))


def binding_of(bound: bpy.types.Object, spread_of: SpreadOf, book: BookDescription | None = None) -> Binding:
    """What a bound book is, of the spreads that hang in it now; by its own description unless told another."""
    book = book or book_of(bound)
    spreads = tuple(spread_of(root) for root in spreads_of(bound))
    stacks = tuple(_stack(spread) for spread in spreads)
    return Binding(book.title, book.names, book.cover, spreads, spreads[0].page_size_mm, stacks)


def _stack(spread: Spread) -> ClosedStack:
    known = _STACKS.get(id(spread))
    if known is None or known[0] is not spread:
        _STACKS[id(spread)] = known = spread, closed_stack(spread)
        while len(_STACKS) > _KEPT:
            _STACKS.popitem(last=False)
    _STACKS.move_to_end(id(spread))
    return known[1]


def fit_bound(
    context: bpy.types.Context, bound: bpy.types.Object, spread_of: SpreadOf, book: BookDescription | None = None
) -> tuple[str, ...]:
    """Make a bound book fit its spreads, after one was changed, added, moved or taken out.

    Parameters
    ----------
    context : of the window
    bound : the root of the bound book
    spread_of : the spread that a root's description builds
    book : the book's own description; the one kept with its root unless told

    Returns
    -------
    warnings : what could not be done, one sentence each

    Raises
    ------
    HingeleafError
        No spread is left in it, or its own description cannot be read.
    """
    # Before the spreads are numbered anew: a number says which file a spread has.
    book, roots = mended_book(bound, book), spreads_of(bound)
    if not pages_agree([spread_of(root) for root in roots]):
        return ("The spreads of this book have pages of different sizes: give all the same, then they fit again",)
    binding = binding_of(bound, spread_of, book)
    leaves = hang_spreads(bound, roots, binding)
    warnings = cover_leaves(bound, roots, binding, leaves)
    # Not its own folder: pictures from elsewhere were read from one that they were written into.
    name_images(book.folder)
    set_table(context, bound, binding, leaves)
    bound.update_tag()
    return warnings
