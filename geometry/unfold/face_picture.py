"""The printed face of a net as one picture, colours and artwork, for whoever shows the net instead of printing it."""

from __future__ import annotations

import io
from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
import shapely
from PIL import Image, ImageDraw
from shapely import MultiPolygon
from shapely.geometry.base import BaseGeometry

from ..nets.pictures import Picture
from ..transforms import Array
from .artwork import check_dpi, dots_per_mm

if TYPE_CHECKING:
    from ..nets.drawing import PieceDrawing

__all__ = ["FACE_DPI", "face_picture"]

#: Dots an inch of a face that is looked at on a screen.
FACE_DPI = 200.0


def face_picture(
    drawing: PieceDrawing, box: tuple[float, float, float, float], *, dpi: float = FACE_DPI
) -> Picture | None:
    """Everything that is printed on the face of a net, as one picture.

    Parameters
    ----------
    drawing : of the net
    box : (left, low, right, high), mm; what the picture shows, in the drawing's coordinates
    dpi : dots an inch, 20 to 1200; less is taken where the picture would have more than 40 million pixels

    Returns
    -------
    Picture, PNG in sRGB, clear where nothing is printed; None where nothing is printed at all

    Raises
    ------
    FileError
        A texture cannot be read.
    HingeleafError
        The resolution is outside its limits.
    """
    check_dpi(dpi)
    if not drawing.is_printed:
        return None
    left, low, right, high = box
    dots = dots_per_mm((right - left, high - low), dpi)
    corner, scale = np.array([left, high]), np.array([dots, -dots])
    size = max(1, round((right - left) * dots)), max(1, round((high - low) * dots))
    whole = Image.new("RGBA", size, (255, 255, 255, 0))
    for fill in drawing.fills:
        color = tuple(round(255 * part) for part in fill.color)
        whole.paste(color, mask=_mask(fill.shown, corner, scale, size))
    art = drawing.art
    if art is not None and art.paint is not None:
        with Image.open(io.BytesIO(art.paint().data)) as read:
            picture = read.convert("RGBA")
        # Where the box's own upper left corner is in the picture, and how many of its pixels are one of ours.
        step = picture.width / float(art.along[0]) / dots
        x, y = (np.array([left, high]) - art.corner - [0.0, art.up[1]]) * [1, -1] * picture.width / float(art.along[0])
        moved = picture.transform(size, Image.Transform.AFFINE, (step, 0, x, 0, step, y), Image.Resampling.BILINEAR)
        clear = Image.new("RGBA", size, (255, 255, 255, 0))
        clear.paste(moved, mask=_mask(art.shown, corner, scale, size))
        whole = Image.alpha_composite(whole, clear)
    stream = io.BytesIO()
    whole.save(stream, "PNG", compress_level=3)
    return Picture(stream.getvalue(), "image/png", *size)


def _mask(region: MultiPolygon, corner: Array, scale: Array, size: tuple[int, int]) -> Image.Image:
    """White in a region, black elsewhere.

    It is half a pixel wider than the region, so that nothing shines through between two that meet.
    """
    grown = region.buffer(0.5 / scale[0], join_style="mitre")
    mask = Image.new("L", size, 0)
    draw = ImageDraw.Draw(mask)
    for rings in _rings(grown, corner, scale):
        # A hole may have an island that is a polygon of its own: largest first.
        draw.polygon(rings[0], fill=255)
        for hole in rings[1:]:
            draw.polygon(hole, fill=0)
    return mask


def _rings(region: BaseGeometry, corner: Array, scale: Array) -> Iterator[list[list[tuple[float, float]]]]:
    for part in sorted(shapely.get_parts(region), key=lambda each: -each.area):
        rings = [part.exterior, *part.interiors]
        yield [[(x, y) for x, y in ((np.asarray(ring.coords) - corner) * scale - 0.5).tolist()] for ring in rings]
