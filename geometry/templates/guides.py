"""What a template is drawn with: guides in layers, in millimetres of the picture from its lower left, y upwards."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from ..nets.classes import STYLES, Style, dashes_mm
from ..nets.lines import NetText
from ..transforms import Array

__all__ = ["LAYERS", "LOOKS", "Guide", "Layer", "Look", "dash_runs", "dashes_of", "hatched"]

Layer = Literal[
    "never seen",
    "shows while opening",
    "tabs",
    "glue",
    "bleed edge",
    "safe zone",
    "outline",
    "creases",
    "up",
    "words",
]
#: From the lowest to the topmost.
LAYERS: tuple[Layer, ...] = get_args(Layer)


@dataclass(frozen=True)
class Look:
    """How guides are drawn.

    Parameters
    ----------
    color : sRGB 0..255
    width_mm : of lines
    dashes : dash, gap, ... mm; empty for a continuous line
    fill : opacity of areas; 0 for none
    halo_mm : how far light about a line reaches, so that it is seen on dark artwork
    legend : what the legend says
    """

    color: tuple[int, int, int]
    width_mm: float = 0.2
    dashes: tuple[float, ...] = ()
    fill: float = 0.0
    halo_mm: float = 0.0
    legend: str = ""

    @property
    def hex(self) -> str:
        """The colour as #rrggbb."""
        return "#{:02x}{:02x}{:02x}".format(*self.color)


#: Creases and cuts look as on the nets; hues are those of the nets' palette.
LOOKS: dict[str, Look] = {
    "never seen": Look((120, 120, 120), 0.13, legend="never seen"),
    "shows while opening": Look((204, 121, 167), 0.13, legend="shows only while it opens"),
    "tab": Look((230, 159, 0), 0.13, fill=0.16, legend="tab"),
    "glue": Look(STYLES["glue"].color, 0.18, fill=0.2, legend="glue: leave it bare"),
    "bleed": Look((204, 0, 60), 0.2, legend="bleed: paint up to here"),
    "safe": Look((0, 130, 130), 0.2, (0.5, 1.0), legend="safe: what matters inside"),
    "cut": Look(STYLES["cut"].color, 0.3, halo_mm=0.25, legend="cut"),
    "mountain": Look(
        STYLES["mountain"].color, 0.25, STYLES["mountain"].dashes, halo_mm=0.25, legend="mountain, from this side"
    ),
    "valley": Look(
        STYLES["valley"].color, 0.25, STYLES["valley"].dashes, halo_mm=0.25, legend="valley, from this side"
    ),
    "joint": Look((0, 114, 178), 0.2, (2.6, 1.2), legend="joint of the cloth"),
    "up": Look((64, 64, 64), 0.4, fill=1.0, halo_mm=0.25, legend="up, for the reader"),
    "words": Look((48, 48, 48), 0.0, halo_mm=0.2),
}


_CREASES: dict[str, Style] = {"mountain": STYLES["mountain"], "valley": STYLES["valley"]}


@dataclass(frozen=True)
class Guide:
    """One guide: lines, an area, or a text, in one look.

    Parameters
    ----------
    layer : its layer
    look : key of LOOKS
    lines : (n, 2) float each, mm; a closed one repeats its first point
    area : BaseGeometry, mm, or None
    text : NetText, or None
    """

    layer: Layer
    look: str
    lines: tuple[Array, ...] = ()
    area: BaseGeometry | None = None
    text: NetText | None = None


def hatched(region: BaseGeometry, spacing_mm: float, turn_rad: float) -> tuple[Array, ...]:
    """Parallel lines over a region.

    Parameters
    ----------
    region : mm
    spacing_mm : from line to line; lines of one turn and spacing go on from region to region
    turn_rad : direction of the lines

    Returns
    -------
    tuple of (2, 2) float, mm
    """
    if region.is_empty:
        return ()
    along, across = np.array([np.cos(turn_rad), np.sin(turn_rad)]), np.array([-np.sin(turn_rad), np.cos(turn_rad)])
    corners = shapely.get_coordinates(region)
    low, high = (corners @ across).min(), (corners @ across).max()
    start, end = (corners @ along).min() - 1.0, (corners @ along).max() + 1.0
    steps = spacing_mm * np.arange(np.ceil(low / spacing_mm), np.floor(high / spacing_mm) + 1)
    if not len(steps):
        return ()
    lines = shapely.linestrings([[along * start + across * step, along * end + across * step] for step in steps])
    shapely.prepare(region)
    parts: Iterable[BaseGeometry] = shapely.get_parts(shapely.intersection(lines, region))
    return tuple(shapely.get_coordinates(part) for part in parts if part.length > 0.1)


def dash_runs(points: Array, dashes: tuple[float, ...]) -> list[Array]:
    """The dashes of a line as lines of their own.

    Parameters
    ----------
    points : (n, 2) float, mm
    dashes : dash, gap, ... mm; empty for a continuous line

    Returns
    -------
    list of (k, 2) float, mm
    """
    if not dashes:
        return [points]
    lengths = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    periods = int(np.ceil(lengths[-1] / sum(dashes))) + 1
    ends = np.concatenate([[0.0], np.cumsum(np.tile(dashes, periods * (1 + len(dashes) % 2)))])
    pairs = ends[: len(ends) // 2 * 2].reshape(-1, 2)
    pairs = np.minimum(pairs[pairs[:, 0] < lengths[-1] - 1e-6], lengths[-1])
    places = np.stack([np.interp(pairs, lengths, points[:, axis]) for axis in (0, 1)], axis=-1)
    first, last = np.searchsorted(lengths, pairs[:, 0], "right"), np.searchsorted(lengths, pairs[:, 1], "left")
    return [
        np.concatenate([ends[:1], points[start:end], ends[1:]])
        for ends, start, end in zip(places, first, last, strict=True)
    ]


def dashes_of(look: str, points: Array) -> tuple[float, ...]:
    """The dashes of a look on a line, (n, 2) float, mm; those of creases as the nets fit them to it."""
    crease = _CREASES.get(look)
    if crease is not None:
        return dashes_mm(crease, float(np.hypot(*np.diff(points, axis=0).T).sum()))
    return LOOKS[look].dashes
