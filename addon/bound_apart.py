"""Taking a bound book apart into single books, and leaving what a user has put beside them or hung on them."""

from __future__ import annotations

import bpy

from .books import collection_of, panels_of, remember_description, spreads_of
from .bound_cover import remove_cover
from .bound_homes import move_home, own_home
from .bound_rig import COVER_KEY, let_go, set_free, skeleton_of
from .designing import design_of
from .geometry import HingeleafError
from .geometry.binding.stacking import closed_stack
from .geometry.spread import Spread
from .rig import Book
from .set_aside import set_aside, set_objects_aside
from .studio import build_studio, clear_studio

__all__ = ["take_apart"]


def take_apart(context: bpy.types.Context, bound: bpy.types.Object, size: tuple[int, int]) -> list[bpy.types.Object]:
    """Make every spread of a bound book a single book again, in a studio of its own where the bound one had one.

    Parameters
    ----------
    context : its scene gets what is left
    bound : the book's root
    size : of the pictures that will be taken, pixels

    Returns
    -------
    their roots, from the front

    Raises
    ------
    HingeleafError
        It has no spreads any more, or one cannot be read; then nothing was changed.
    """
    roots, home = spreads_of(bound), collection_of(bound)
    if not roots:
        raise HingeleafError(f"No spread is left in {bound.name}: undo until one is there, or delete what is left too")
    designs = [design_of(root) for root in roots]
    context.view_layer.update()
    studio = clear_studio(bound, home)
    skeleton = skeleton_of(bound)
    cover = [item for item in bound.children_recursive if item.get(COVER_KEY) is not None]
    for root in roots:
        own = own_home(root)
        let_go(root)
        move_home(own, context.scene.collection)
    set_free([*skeleton, *cover])
    remove_cover(bound)
    set_objects_aside(skeleton)
    set_aside(home)
    for root, (description, spread) in zip(roots, designs, strict=True):
        remember_description(root, description)
        if studio:
            _stand(context, root, spread, size)
        root.update_tag()
    return roots


def _stand(context: bpy.types.Context, root: bpy.types.Object, spread: Spread, size: tuple[int, int]) -> None:
    """Set a single book on a lit table."""
    stack = closed_stack(spread)
    depth = max(stack.behind_right_mm, stack.behind_left_mm)
    build_studio(spread, Book(collection_of(root), root, panels_of(root), depth, ()), context, size)
