"""The alpha of an artwork file: how opaque each of its pixels is."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ..artwork import opened_picture
from ..errors import FileError, HingeleafError

__all__ = ["read_alpha"]

#: More are no drawing that anybody paints; and a few bytes of a file may claim any number.
_MOST_PIXELS = 120_000_000
_LEAST_SIDE = 4


def read_alpha(file: str | Path) -> NDArray[np.uint8]:
    """How opaque the pixels of a picture are, upright as it is to be seen.

    Parameters
    ----------
    file : an artwork file; of an animated one its first picture

    Returns
    -------
    (h, w) uint8, 0 clear to 255 opaque

    Raises
    ------
    FileError
        The file cannot be read, is no picture, has no alpha, is clear or opaque throughout, or is too small or large.
    """
    name = Path(file).name
    try:
        with opened_picture(file) as image:
            across, down = image.size
            if across * down > _MOST_PIXELS:
                raise HingeleafError(
                    f"it is {across} x {down} pixels; at most {_MOST_PIXELS // 1_000_000} million are traced: make it "
                    f"smaller"
                )
            if min(across, down) < _LEAST_SIDE:
                raise HingeleafError(f"it is {across} x {down} pixels; nothing so small has an outline")
            if "A" not in image.getbands() and "transparency" not in image.info:
                raise HingeleafError("it has no alpha; erase the ground about the figure and save it as PNG")
            alpha = image.getchannel("A") if image.mode in ("RGBA", "LA") else image.convert("RGBA").getchannel("A")
            found = np.asarray(alpha)
    except HingeleafError as error:
        raise FileError(f"{name}: {error}") from None
    if found.max() == 0:
        raise FileError(f"{name}: it is clear throughout; there is nothing to trace")
    if found.min() == 255:
        raise FileError(f"{name}: it is opaque throughout; erase the ground about the figure")
    return found
