"""Artwork files as Blender images, packed into the .blend."""

from __future__ import annotations

from pathlib import Path

import bpy

from .carrying import carried_image, mark_image

__all__ = ["Artwork"]


class Artwork:
    """Takes each artwork file's picture once for one book, the packed one if there is one; remembers what it could not.

    Attributes
    ----------
    warnings : one sentence a file that is missing or is no picture
    """

    def __init__(self) -> None:
        self.warnings: list[str] = []
        self._images: dict[str, bpy.types.Image | None] = {}

    def image(self, path: str | None) -> bpy.types.Image | None:
        """The image of a file, None where the piece is plain or the file cannot be used."""
        if path is None:
            return None
        if path not in self._images:
            self._images[path] = self._load(path)
        return self._images[path]

    def _load(self, path: str) -> bpy.types.Image | None:
        if not Path(path).is_file():
            self.warnings.append(f"{path}: the artwork is not there; the card stays plain")
            return None
        carried = carried_image(path)
        if carried is not None:
            return carried
        try:
            image = bpy.data.images.load(path, check_existing=False)
        except RuntimeError:
            self.warnings.append(f"{path}: the artwork cannot be read; the card stays plain")
            return None
        if not image.has_data and not all(image.size):
            bpy.data.images.remove(image)
            self.warnings.append(f"{path}: the artwork is no picture that Blender reads; the card stays plain")
            return None
        image.pack()
        mark_image(image, path)
        return image
