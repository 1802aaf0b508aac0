"""The list of a book's mechanisms, kept with its root for the sidebar."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import bpy

from .geometry import Description
from .geometry.description.fields import HOSTS
from .geometry.trees import owner_of

__all__ = ["list_mechanisms"]


def list_mechanisms(root: bpy.types.Object, description: Description) -> None:
    """Write the list anew: every mechanism in the order of the description, and how deep it stands."""
    design: Any = getattr(root, "hingeleaf", None)
    if design is None:
        # Built by the batch command, where no extension is enabled.
        return
    specs = description.mechanisms
    below = {spec.id: [owner_of(str(spec.values[key])) for key in HOSTS if key in spec.values] for spec in specs}
    design.entries.clear()
    for spec in specs:
        entry = design.entries.add()
        entry.name, entry.kind, entry.depth = spec.id, spec.kind, _depth(spec.id, below, ())


def _depth(name: str, below: Mapping[str, Sequence[str]], seen: tuple[str, ...]) -> int:
    hosts = [host for host in below[name] if host in below and host not in (*seen, name)]
    return 1 + max(_depth(host, below, (*seen, name)) for host in hosts) if hosts else 0
