"""Artwork files as Blender images, packed into the .blend."""

from __future__ import annotations

import io
from pathlib import Path

import bpy

from .carrying import carried_image, mark_image, note_state
from .geometry.artwork import opened_picture
from .geometry.errors import FileError
from .geometry.nets.pictures import prints_as_it_is, read_picture
from .geometry.solids import Solid
from .slab import ArtBox

__all__ = ["Artwork", "repack"]

#: How a PNG begins, and the name of the chunk that ends it (PNG 1.2, 3.1 and 4.1.4), looked for in its last bytes.
_PNG, _PNG_END, _TAIL_BYTES = b"\x89PNG", b"IEND", 4096


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

    def face(self, solid: Solid, piece: str, box: ArtBox) -> bpy.types.Image | None:
        """A new image of what is printed on a net of a solid; None where that is plain or cannot be read."""
        try:
            picture = solid.picture(piece, (box.left, box.low, box.right, box.high))
        except FileError as error:
            self.warnings.append(f"{error}; the card stays plain")
            return None
        if picture is None:
            return None
        image = bpy.data.images.new(piece, 4, 4, alpha=True)
        _pack(image, picture.data)
        image.source = "FILE"
        return image

    def _load(self, path: str) -> bpy.types.Image | None:
        if not Path(path).is_file():
            self.warnings.append(f"{path}: the artwork is not there; the card stays plain")
            return None
        carried = carried_image(path)
        if carried is not None:
            return carried
        try:
            image = _loaded(path)
        except FileError as error:
            self.warnings.append(f"{path}: {error}; the card stays plain")
            return None
        mark_image(image, path)
        return image


def repack(image: bpy.types.Image, file: Path) -> None:
    """Let a picture be what is in its file now, wherever it is shown.

    Raises
    ------
    FileError
        The file is no picture that can be read to its end; then the picture stays as it was.
    """
    try:
        data = file.read_bytes() if prints_as_it_is(file) else read_picture(str(file)).data
        with opened_picture(io.BytesIO(data)) as whole:
            whole.load()
        if data.startswith(_PNG) and _PNG_END not in data[-_TAIL_BYTES:]:
            # All pixels may be there before the file is.
            raise FileError(f"{file}: the artwork is not whole yet")
    except OSError as error:
        raise FileError(f"{file}: the artwork cannot be read ({error.strerror or error})") from None
    _pack(image, data)
    note_state(image, file)


def _loaded(path: str) -> bpy.types.Image:
    """A new image of a file, as it is printed: upright, in sRGB."""
    if prints_as_it_is(path):
        try:
            image = bpy.data.images.load(path, check_existing=False)
        except RuntimeError:
            raise FileError("the artwork cannot be read") from None
        image.pack()
    else:
        # Blender neither turns pictures upright nor knows their profiles.
        data = read_picture(path).data
        image = bpy.data.images.new(Path(path).name, 4, 4, alpha=True)
        _pack(image, data)
        image.source = "FILE"
        image.filepath = path
    if not image.has_data and not all(image.size):
        bpy.data.images.remove(image)
        raise FileError("the artwork is no picture that Blender reads")
    return image


def _pack(image: bpy.types.Image, data: bytes) -> None:
    """Put other bytes into a picture, and let it be drawn anew."""
    image.pack(data=data, data_len=len(data))  # type: ignore[call-arg, arg-type]
    image.buffers_free()
    image.gl_free()
    image.update_tag()
