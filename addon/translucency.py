"""How much light goes through card, from its grammage."""

from __future__ import annotations

import math

__all__ = ["light_through", "share_through_a_face"]

#: Light that bleached pulp scatters and absorbs, m^2/kg (recalled: white uncoated papers scatter 30 to 45 and absorb
#: less than 1).
_SCATTERING, _ABSORPTION = 35.0, 0.5
#: Share of light that white card throws back (common: uncoated papers are 80 to 92 % bright).
_WHITE = 0.87


def light_through(grammage_gsm: float) -> float:
    """Share of diffuse light that goes through a sheet.

    Parameters
    ----------
    grammage_gsm : float, g/m^2

    Returns
    -------
    float, 0 to 1; Kubelka and Munk 1931 (recalled), T = b / (a sinh bSW + b cosh bSW), with a = 1 + K/S, b^2 = a^2 - 1,
    W the grammage

    Examples
    --------
    >>> [round(light_through(grammage), 3) for grammage in (80, 160, 240, 350)]
    [0.246, 0.124, 0.072, 0.036]
    """
    a = 1.0 + _ABSORPTION / _SCATTERING
    b = math.sqrt(a * a - 1.0)
    depth = b * _SCATTERING * grammage_gsm / 1000.0
    return b / (a * math.sinh(depth) + b * math.cosh(depth))


def share_through_a_face(grammage_gsm: float) -> float:
    """The share of light that each of the two faces of a slab lets through, for the whole to let through what it must.

    Parameters
    ----------
    grammage_gsm : float, g/m^2

    Returns
    -------
    float t, 0 to 1, with (t w)^2 / (1 - r^2) = T, r = (1 - t) w and w how white card is: light goes to and fro between
    the faces, as between two sheets laid on each other (Stokes 1862, recalled)

    Examples
    --------
    >>> share_through_a_face(80) > share_through_a_face(300) > 0
    True
    """
    through, white = light_through(grammage_gsm), _WHITE**2
    root = math.sqrt((through * white) ** 2 + white * (1.0 + through) * through * (1.0 - white))
    return (through * white + root) / (white * (1.0 + through))
