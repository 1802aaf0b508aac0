"""Where artwork lies on a piece: the art box, the same on the model, on the template and on the printed net."""

from __future__ import annotations

import warnings
from pathlib import Path

from .errors import FileError
from .spread import Spread

__all__ = ["BLEED_MM", "art_box", "picture_size"]

#: Artwork reaches this far beyond the outline, so that a cut a little off shows no white (common practice).
BLEED_MM = 3.0


def art_box(spread: Spread, piece_id: str) -> tuple[float, float, float, float]:
    """The box that a piece's artwork fills, in its net coordinates.

    Parameters
    ----------
    spread : Spread
    piece_id : name of the piece

    Returns
    -------
    (left, low, right, high) : float, mm; the bounds of all its panels, tabs included, grown by the bleed
    """
    bounds = [spread.panels[name].outline.bounds for name in spread.piece(piece_id).panels]
    lows, highs = zip(*[(box[:2], box[2:]) for box in bounds], strict=True)
    left, low = (min(values) - BLEED_MM for values in zip(*lows, strict=True))
    right, high = (max(values) + BLEED_MM for values in zip(*highs, strict=True))
    return left, low, right, high


def picture_size(file: str | Path) -> tuple[int, int]:
    """Width and height of an artwork file, pixels, from its head alone.

    Raises
    ------
    FileError
        It cannot be read or is no picture.
    """
    # Only where artwork is: much that reads a spread never needs it.
    from PIL import Image, UnidentifiedImageError

    try:
        with warnings.catch_warnings():
            # A poster at 300 dpi is larger than what Pillow warns of.
            warnings.simplefilter("ignore", Image.DecompressionBombWarning)
            with Image.open(file) as image:
                width, height = image.size
    except OSError as error:
        unknown = isinstance(error, UnidentifiedImageError)
        reason = "it is no picture that can be read" if unknown else f"it cannot be read ({error.strerror or error})"
        raise FileError(f"{reason}; use PNG or JPEG") from None
    except (Image.DecompressionBombError, ValueError, SyntaxError) as error:
        raise FileError(f"it is no picture that can be read; use PNG or JPEG ({error})") from None
    return int(width), int(height)
