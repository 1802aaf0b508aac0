"""Where artwork lies on a piece: the art box, the same on the model, on the template and on the printed net."""

from __future__ import annotations

from .spread import Spread

__all__ = ["BLEED_MM", "art_box"]

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
