"""Where artwork lies on a piece: the art box, the same on the model, on the template and on the printed net."""

from __future__ import annotations

import os
import struct
import warnings
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import IO, TYPE_CHECKING

from .errors import FileError, HingeleafError
from .spread import Spread

if TYPE_CHECKING:
    from PIL import Image

__all__ = ["BLEED_MM", "PictureHead", "art_box", "check_whole", "opened_picture", "picture_head", "picture_size"]

#: Artwork reaches this far beyond the outline, so that a cut a little off shows no white (common practice).
BLEED_MM = 3.0
#: The tag of EXIF that says how a camera was held, and its values for one that lay on its side (EXIF 2.3, 4.6.4).
_ORIENTATION, _ON_ITS_SIDE = 0x0112, (5, 6, 7, 8)
#: How it is turned upright, for each of them: Pillow's numbers of Image.Transpose.
_TURNS: Mapping[int, int] = {2: 0, 3: 3, 4: 1, 5: 5, 6: 4, 7: 6, 8: 2}
#: What artwork is painted and photographed in. Pillow knows many more; some of those start other programs (EPS).
_FORMATS = ("PNG", "JPEG", "TIFF", "WEBP", "BMP", "TGA", "GIF")
#: What Pillow raises for files that are broken.
_BROKEN = (
    ArithmeticError,
    AttributeError,
    EOFError,
    LookupError,
    MemoryError,
    SyntaxError,
    TypeError,
    ValueError,
    struct.error,
)
#: Of larger pictures than this only PNG is looked through to its end, which has sums to look at.
_MOST_LOOKED_THROUGH = 40_000_000


def art_box(spread: Spread, piece_id: str) -> tuple[float, float, float, float]:
    """The box that a piece's artwork fills, in its net coordinates.

    Parameters
    ----------
    spread : Spread
    piece_id : name of the piece

    Returns
    -------
    (left, low, right, high) : float, mm; the one that the description gives, else the bounds of all its panels, tabs
        included, grown by the bleed
    """
    piece = spread.piece(piece_id)
    if piece.art_box is not None:
        return piece.art_box
    bounds = [spread.panels[name].outline.bounds for name in piece.panels]
    lows, highs = zip(*[(box[:2], box[2:]) for box in bounds], strict=True)
    left, low = (min(values) - BLEED_MM for values in zip(*lows, strict=True))
    right, high = (max(values) + BLEED_MM for values in zip(*highs, strict=True))
    return left, low, right, high


@dataclass(frozen=True)
class PictureHead:
    """What the head of an artwork file says.

    Parameters
    ----------
    width, height : pixels, upright as it is to be seen
    is_inks : whether its colours are inks, CMYK
    pictures : how many it holds; more than one where it is animated
    """

    width: int
    height: int
    is_inks: bool
    pictures: int


def picture_head(file: str | Path) -> PictureHead:
    """What the head of an artwork file says, its pixels unread.

    Raises
    ------
    FileError
        It cannot be read or is no picture.
    """
    with _head(file) as image:
        # Of TIFF, the reader gives the size upright.
        lies = image.format != "TIFF" and _orientation(image) in _ON_ITS_SIDE
        sides = image.size[::-1] if lies else image.size
        return PictureHead(int(sides[0]), int(sides[1]), image.mode == "CMYK", int(getattr(image, "n_frames", 1)))


def picture_size(file: str | Path) -> tuple[int, int]:
    """Width and height of an artwork file as it is to be seen, pixels, from its head alone; FileError as above."""
    head = picture_head(file)
    return head.width, head.height


@contextmanager
def opened_picture(file: str | Path | IO[bytes]) -> Iterator[Image.Image]:
    """An artwork file's picture, upright as it is to be seen, its pixels not read yet; of an animated one the first.

    A camera that was held on its side says so in its file (EXIF) and leaves the pixels lying; here they are turned.

    Raises
    ------
    FileError
        It cannot be read, here or when its pixels are asked for, or is no picture.
    """
    from PIL import Image

    with _head(file) as image:
        if _orientation(image) == 1:
            yield image
            return
        # TIFF is turned as it is read, and says so from then on.
        image.load()
        turn = _TURNS.get(_orientation(image))
        upright = image.copy() if turn is None else image.transpose(Image.Transpose(turn))
        # Else whoever writes it would write that it lies.
        for key in ("exif", "Raw profile type exif", "xmp", "XML:com.adobe.xmp"):
            upright.info.pop(key, None)
        yield upright


def check_whole(file: str | Path) -> None:
    """Look through a picture to its end; of formats other than PNG that are very large, only the head.

    Parameters
    ----------
    file : path

    Raises
    ------
    FileError
        It is no picture, or ends too early.
    """
    try:
        state = os.stat(file)  # noqa: PTH116 - of a name as it was given
    except (OSError, ValueError) as error:
        raise FileError(f"it cannot be read ({error})") from None
    fault = _fault(str(file), state.st_size, state.st_mtime_ns)
    if fault:
        raise FileError(fault)


@lru_cache(maxsize=512)
def _fault(file: str, size: int, changed_ns: int) -> str:
    """What check_whole says of a file, "" of a sound one; once for each state it is in, as fitting checks often."""
    is_png = False
    try:
        with _head(file) as image:
            is_png, large = image.format == "PNG", image.width * image.height > _MOST_LOOKED_THROUGH
            if is_png:
                # Sums over its parts: quicker by far than to unpack it.
                image.verify()
                return ""
    except FileError as error:
        if not is_png:
            return str(error)
    if large:
        return "it ends too early, or is damaged; save it again" if is_png else ""
    try:
        with _head(file) as image:
            # JPEG is read as coarsely as it can be.
            image.draft(None, (max(image.width // 8, 1), max(image.height // 8, 1)))
            image.load()
    except FileError as error:
        return str(error)
    return ""


def _orientation(image: Image.Image) -> int:
    """How the camera was held, 1 upright."""
    if image.format == "PNG" and not {"exif", "Raw profile type exif"} & set(image.info):
        # Pillow would read all pixels to see whether it comes after them.
        return 1
    try:
        found = int(image.getexif().get(_ORIENTATION, 1))
    except Exception:  # noqa: BLE001 - broken metadata raises anything, and the pixels are sound
        return 1
    return found if 1 < found <= 8 else 1


@contextmanager
def _head(file: str | Path | IO[bytes]) -> Iterator[Image.Image]:
    # Only where artwork is: much that reads a spread never needs it.
    from PIL import Image, UnidentifiedImageError

    try:
        with warnings.catch_warnings():
            # A poster at 300 dpi is larger than what Pillow warns of; and metadata may be broken where pixels are not.
            warnings.simplefilter("ignore")
            with Image.open(file, formats=_FORMATS) as image:
                if image.mode == "F":
                    raise FileError(
                        "its colours are floating-point numbers, which print as nothing that was seen; save it with 8 "
                        "or 16 bits a channel"
                    )
                yield image
    except HingeleafError:
        raise
    except OSError as error:
        unknown = isinstance(error, UnidentifiedImageError) or error.errno is None
        reason = "it is no picture that can be read" if unknown else f"it cannot be read ({error.strerror or error})"
        raise FileError(f"{reason}; use PNG or JPEG") from None
    except Image.DecompressionBombError:
        raise FileError("it has too many pixels to be read; make it smaller") from None
    except _BROKEN as error:
        raise FileError(f"it is no picture that can be read; use PNG or JPEG ({error})") from None
