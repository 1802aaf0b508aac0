"""Where artwork lies on a piece: the art box, the same on the model, on the template and on the printed net."""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, TYPE_CHECKING

from .errors import FileError, HingeleafError
from .spread import Spread

if TYPE_CHECKING:
    from PIL import Image

__all__ = ["BLEED_MM", "PictureHead", "art_box", "opened_picture", "picture_head", "picture_size"]

#: Artwork reaches this far beyond the outline, so that a cut a little off shows no white (common practice).
BLEED_MM = 3.0
#: The tag of EXIF that says how a camera was held, and its values for one that lay on its side (EXIF 2.3, 4.6.4).
_ORIENTATION, _ON_ITS_SIDE = 0x0112, (5, 6, 7, 8)


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
        sides = image.size[::-1] if _orientation(image) in _ON_ITS_SIDE else image.size
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
    from PIL import ImageOps

    with _head(file) as image:
        if _orientation(image) == 1:
            yield image
        else:
            # Without its profile, the same picture would have other colours.
            profile = image.info.get("icc_profile")
            upright = ImageOps.exif_transpose(image)
            if profile:
                upright.info["icc_profile"] = profile
            yield upright


def _orientation(image: Image.Image) -> int:
    """How the camera was held, 1 upright."""
    if image.format == "PNG" and not {"exif", "Raw profile type exif"} & set(image.info):
        # Pillow would read all pixels to see whether it comes after them.
        return 1
    return int(image.getexif().get(_ORIENTATION, 1))


@contextmanager
def _head(file: str | Path | IO[bytes]) -> Iterator[Image.Image]:
    # Only where artwork is: much that reads a spread never needs it.
    from PIL import Image, UnidentifiedImageError

    try:
        with warnings.catch_warnings():
            # A poster at 300 dpi is larger than what Pillow warns of; and metadata may be broken where pixels are not.
            warnings.simplefilter("ignore")
            with Image.open(file) as image:
                yield image
    except HingeleafError:
        raise
    except OSError as error:
        unknown = isinstance(error, UnidentifiedImageError) or error.errno is None
        reason = "it is no picture that can be read" if unknown else f"it cannot be read ({error.strerror or error})"
        raise FileError(f"{reason}; use PNG or JPEG") from None
    except Image.DecompressionBombError:
        raise FileError("it has too many pixels to be read; make it smaller") from None
    except (ValueError, SyntaxError, EOFError, KeyError, IndexError, ArithmeticError, MemoryError) as error:
        raise FileError(f"it is no picture that can be read; use PNG or JPEG ({error})") from None
