"""Files that the walk paints, and what it reads of files that were written; without any library of pictures."""

import json
import struct
import zlib

import numpy as np

from tests.window.hands import FOLDER

__all__ = ["FILES", "checks", "frame_count", "gltf", "picture_size", "quarters"]

FILES = FOLDER / "files"


def checks(width, height):
    """A PNG picture of colored checks, as bytes."""
    colors = np.array([(217, 107, 43), (43, 107, 217)], dtype=np.uint8)
    down, across = np.indices((height, width)) // 8
    return _png(colors[(down + across) % 2])


def quarters(size, colors):
    """A PNG picture of four plain quarters, as bytes.

    Parameters
    ----------
    size : width and height, pixels
    colors : red, green and blue, 0 to 255, at the lower left, lower right, upper left and upper right
    """
    width, height = size
    down, across = np.indices((height, width))
    return _png(np.array(colors, dtype=np.uint8)[2 * (down < height // 2) + (across >= width // 2)])


def _png(pixels):
    """A picture, (height, width, 3) of bytes, as a PNG file."""
    height, width, _ = pixels.shape
    rows = np.concatenate([np.zeros((height, 1), np.uint8), pixels.reshape(height, 3 * width)], axis=1)

    def chunk(kind, data):
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    data = zlib.compress(rows.tobytes())
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", data) + chunk(b"IEND", b"")


def picture_size(file):
    """Width and height of a PNG file, pixels."""
    return struct.unpack(">II", file.read_bytes()[16:24])


def frame_count(film):
    """How many pictures an MP4 file plays, as its table of sample sizes (ISO/IEC 14496-12, 8.7.3.2) says it."""
    data = film.read_bytes()
    return struct.unpack(">I", data[data.index(b"stsz") + 12 :][:4])[0]


def gltf(file):
    """What a .glb file describes, its JSON chunk (glTF 2.0, 4.4.3)."""
    data = file.read_bytes()
    length, kind = struct.unpack("<I4s", data[12:20])
    if data[:4] != b"glTF" or kind != b"JSON":
        raise AssertionError(f"{file.name} is no binary glTF")
    return json.loads(data[20 : 20 + length])
