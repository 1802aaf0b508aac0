"""Colours for thickness that everybody can tell apart: lightness falls all the way, whatever hues the eye sees."""

from __future__ import annotations

import numpy as np

from ..transforms import Array

__all__ = ["DARK", "LIGHT", "MARK", "Color", "ink_on", "luminance", "thickness_tint"]

Color = tuple[int, int, int]

#: From no card at all to the thickest: white, straw, copper, brick, plum; lightness (CIE 1976 L*) 100, 82, 64, 46, 28.
_SCALE = np.array([(255, 255, 255), (249, 195, 117), (223, 132, 84), (169, 83, 83), (97, 49, 92)], dtype=float)

#: Lettering, and its counterpart on dark tints.
DARK = (0, 0, 0)
LIGHT = (255, 255, 255)

#: The ring about the worst place: the blue of the nets' valley folds, a hue that the scale does not have.
MARK = (0, 114, 178)


def thickness_tint(share: float) -> Color:
    """The colour of a thickness.

    Parameters
    ----------
    share : float, 0 where there is no card, to 1, the end of the scale

    Returns
    -------
    red, green, blue : int, sRGB, 0 to 255

    Examples
    --------
    >>> thickness_tint(0.0), thickness_tint(1.0)
    ((255, 255, 255), (97, 49, 92))
    """
    places = np.linspace(0.0, 1.0, len(_SCALE))
    red, green, blue = (round(float(np.interp(share, places, channel))) for channel in _SCALE.T)
    return red, green, blue


def luminance(color: Color) -> float:
    """Relative luminance of an sRGB colour, 0 black to 1 white.

    Notes
    -----
    Source: IEC 61966-2-1 (recalled).

    Examples
    --------
    >>> round(luminance((255, 255, 255)), 6)
    1.0
    """
    channels: Array = np.asarray(color, dtype=float) / 255.0
    linear = np.where(channels <= 0.04045, channels / 12.92, ((channels + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def ink_on(color: Color) -> Color:
    """Dark or light lettering, whichever contrasts more with a colour.

    Notes
    -----
    Source: contrast as in WCAG 2, (lighter + 0.05) / (darker + 0.05) (recalled).
    """
    shade = luminance(color) + 0.05
    dark, light = shade / (luminance(DARK) + 0.05), (luminance(LIGHT) + 0.05) / shade
    return DARK if dark >= light else LIGHT
