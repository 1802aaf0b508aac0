"""Mirroring a mechanism across the spine, with all that stands on it."""

from __future__ import annotations

from ..changes import spec_of
from ..description.data import Description
from ..spread import Spread
from .arranging import hosts_of
from .copying import copied_tables, free_ids, moving_family
from .editing import edited, plain, with_tables
from .images import Images
from .tables import Edits

__all__ = ["mirror"]


def mirror(description: Description, spread: Spread, mechanism_id: str) -> tuple[Description, tuple[str, ...]]:
    """The description with a mechanism mirrored across the spine, and all that stands on it or is driven by it.

    What stands on the spine, or on a fold that the mirror carries to itself, as a v-fold's middle crease, has its sides
    changed for each other where it is. Of what stands on one side a copy is made on the other. A wheel's image turns
    the same way round as the wheel itself.

    Parameters
    ----------
    description, spread : the same scene, read and built
    mechanism_id : what is mirrored

    Returns
    -------
    Description, and the ids of the images, in the file's order

    Raises
    ------
    HingeleafError
        There is no such mechanism, or it stands on something of which there is nothing like it on the other side.
    """
    spec = spec_of(description, mechanism_id)
    description = plain(description)
    specs = {item.id: item for item in description.mechanisms}
    members = moving_family(description, mechanism_id)
    outside = Images(specs, spread, {})
    hosts = [name for name in hosts_of(spec).values() if name not in members]
    if sorted(outside.name(name) for name in hosts) == sorted(hosts):
        images = Images(specs, spread, {name: name for name in members})
        edits = {name: images.edits(specs[name]) for name in members}
        return edited(description, {name: edit for name, edit in edits.items() if edit.values or edit.renames}), members
    names = free_ids(description, members)
    images = Images(specs, spread, names)
    tables = copied_tables(description, {name: _for_copy(images.edits(specs[name]), names[name]) for name in members})
    return with_tables(description, tables, after=members[-1]), tuple(names.values())


def _for_copy(edits: Edits, new: str) -> Edits:
    return Edits({"id": new, **edits.values}, edits.renames)
