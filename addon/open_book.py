"""A spread, or a bound book of several, into a scene: rig, studio, and the description kept with it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import bpy

from .books import NUMBER_KEY, TURN, remember_description
from .bound_fit import binding_of, fit_bound, remember_book
from .bound_studio import build_bound_studio
from .channels import channels_of
from .convert import metres
from .geometry import Description
from .geometry.binding import BookDescription, bind, read_book, read_spreads
from .geometry.spread import Spread
from .listing import list_mechanisms
from .rig import Book, build_book
from .studio import build_studio

__all__ = ["PICTURE_SIZE", "build_bound", "new_bound_root", "open_book", "open_bound", "open_spread"]

#: Size of stills and films unless told, pixels.
PICTURE_SIZE = (1280, 720)


def open_book(
    description: Description,
    spread: Spread,
    context: bpy.types.Context,
    *,
    size: tuple[int, int] = PICTURE_SIZE,
    studio: bool = True,
) -> Book:
    """Build a book in the scene.

    Parameters
    ----------
    description : what it was assembled from; its text stays with the book
    spread : the assembled spread
    context : its scene gets the book
    size : of the pictures that will be taken, pixels
    studio : whether to set it on a lit table with a camera

    Returns
    -------
    Book

    Raises
    ------
    HingeleafError
        The spread cannot stand at any opening; then nothing was changed.
    """
    book = open_spread(description, spread, context.scene.collection)
    if studio:
        build_studio(spread, book, context, size)
    return book


def open_spread(description: Description, spread: Spread, parent: bpy.types.Collection) -> Book:
    """Build one spread into a collection, without a studio; HingeleafError where it cannot stand."""
    book = build_book(spread, channels_of(spread), parent)
    remember_description(book.root, description)
    list_mechanisms(book.root, description)
    return book


def open_bound(
    book: BookDescription | str | Path,
    context: bpy.types.Context,
    size: tuple[int, int] = PICTURE_SIZE,
    *,
    studio: bool = True,
    warn: Callable[[str], object] = lambda said: None,
) -> bpy.types.Object:
    """Build a bound book in the scene, its first spread lying open.

    Parameters
    ----------
    book : its description, or the file of it
    context : its scene gets the book
    size : of the pictures that will be taken, pixels
    studio : whether to set it on a lit table with a camera
    warn : is told what could not be done, one sentence each

    Returns
    -------
    its root

    Raises
    ------
    HingeleafError
        It, or a spread of it, cannot be read, built or bound; then nothing was changed.
    """
    said = book if isinstance(book, BookDescription) else read_book(book)
    return build_bound(said, read_spreads(said), context, size, studio=studio, warn=warn)


def build_bound(
    book: BookDescription,
    spreads: tuple[Sequence[Description], Sequence[Spread]],
    context: bpy.types.Context,
    size: tuple[int, int] = PICTURE_SIZE,
    *,
    studio: bool = True,
    warn: Callable[[str], object] = lambda said: None,
) -> bpy.types.Object:
    """Build a bound book of spreads that were read already; see open_bound."""
    bind(book, *spreads)
    # All that can fail is done before anything is built.
    channels = [channels_of(spread) for spread in spreads[1]]
    bound = new_bound_root(book, context.scene.collection, spreads[1][0].page_size_mm)
    built: dict[str, Spread] = {}
    for number, (description, spread) in enumerate(zip(*spreads, strict=True), start=1):
        made = build_book(spread, channels[number - 1], bound.users_collection[0])
        remember_description(made.root, description)
        list_mechanisms(made.root, description)
        made.root[NUMBER_KEY] = number
        made.root.parent = bound
        built[made.root.name] = spread
        for warning in made.warnings:
            warn(warning)

    def spread_of(root: bpy.types.Object) -> Spread:
        return built[root.name]

    for warning in fit_bound(context, bound, spread_of):
        warn(warning)
    if studio:
        build_bound_studio(context, bound, binding_of(bound, spread_of), size)
        fit_bound(context, bound, spread_of)
    context.view_layer.update()
    return bound


def new_bound_root(
    book: BookDescription, parent: bpy.types.Collection, page_size_mm: tuple[float, float]
) -> bpy.types.Object:
    """The root of a bound book in a collection of its own, without spreads yet."""
    collection = bpy.data.collections.new(book.title)
    parent.children.link(collection)
    bound = bpy.data.objects.new(book.title, None)
    bound.empty_display_type = "ARROWS"
    bound.empty_display_size = float(metres(0.1 * page_size_mm[0]))
    collection.objects.link(bound)
    bound[TURN] = 1.0
    remember_book(bound, book)
    return bound
