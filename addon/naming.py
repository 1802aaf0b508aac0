"""Names of what Blender makes, none longer than it takes, so that it cuts none and none of two long ones is lost."""

from __future__ import annotations

import hashlib

import bpy

__all__ = ["object_name", "shortened"]


def shortened(name: str, longest: int) -> str:
    """A name, or of a long one its beginning and a digest of the whole.

    Parameters
    ----------
    name : any
    longest : bytes that it may have, more than 9
    """
    if len(name.encode()) <= longest:
        return name
    digest = hashlib.sha256(name.encode()).hexdigest()[:8]
    return f"{name.encode()[: longest - 9].decode(errors='ignore')}_{digest}"


def object_name(name: str, end: str = "") -> str:
    """What an object, a mesh or a material is called; what stands at the end of its name stays there.

    Parameters
    ----------
    name : what is shortened where the whole is longer than names are in this Blender: 63 bytes up to 4.5, 255 after
    end : what stays
    """
    # What it says counts the byte that ends a name.
    longest: int = bpy.types.ID.bl_rna.properties["name"].length_max - 1  # type: ignore[attr-defined]
    return f"{shortened(name, longest - len(end.encode()))}{end}"
