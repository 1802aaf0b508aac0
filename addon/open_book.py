"""A spread into a scene: rig, studio, and the description kept with it."""

from __future__ import annotations

import bpy

from .books import remember_description
from .channels import channels_of
from .geometry import Description
from .geometry.spread import Spread
from .listing import list_mechanisms
from .rig import Book, build_book
from .studio import build_studio

__all__ = ["PICTURE_SIZE", "open_book"]

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
    channels = channels_of(spread)
    book = build_book(spread, channels, context.scene.collection)
    remember_description(book.root, description)
    list_mechanisms(book.root, description)
    if studio:
        build_studio(spread, book, context, size)
    return book
