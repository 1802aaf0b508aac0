"""The test card: a numbered chequerboard over a template, to see where every part of a picture comes to lie.

Its corners are at whole centimetres of the net, on both sides of the card, so that front and back coincide.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from PIL import Image, ImageDraw

from ..transforms import Array
from .drawing import Template
from .faces import ArtFrame
from .raster import font, guide_bands

__all__ = ["FIELD_MM", "Field", "card_bands", "card_data", "card_fields", "corners_of"]

FIELD_MM = 10.0
#: Guides keep so far away from corners, so that these can be found in the pixels.
_CLEAR_MM = 2.0
_NUMBER_MM = 4.0
#: A field at the edge that has less room shows no number.
_ROOM_MM = np.array([8.0, 5.6])
#: Layers of the template that are drawn over it.
_SHOWN = ("outline", "creases", "bleed edge")
#: Light and dark fields, sRGB; the back is told from the front by its hue.
_TONES = {"front": ((233, 240, 250), (64, 104, 168)), "back": ((251, 238, 224), (176, 98, 46))}


@dataclass(frozen=True)
class Field:
    """One field: its number, from the upper left of the picture; its middle and its size, (2,) float, mm of the net."""

    number: int
    middle: Array
    size: Array


def corners_of(frame: ArtFrame) -> Array:
    """The corners of the chequerboard inside a picture, (n, 2) float, mm, net coordinates."""
    left, low, right, high = frame.box
    x, y = np.meshgrid(_whole(left, right), _whole(low, high))
    return np.stack([x.ravel(), y.ravel()], axis=1)


def _whole(low: float, high: float) -> Array:
    """Multiples of a field strictly between two bounds."""
    return FIELD_MM * np.arange(np.floor(low / FIELD_MM + 1e-9) + 1, np.ceil(high / FIELD_MM - 1e-9))


def card_fields(frame: ArtFrame) -> list[Field]:
    """The fields of a picture, whole ones and those at its edges, in the order in which they are read."""
    left, low, right, high = frame.box
    columns = np.concatenate([[left], _whole(left, right), [right]])
    rows = np.concatenate([[low], _whole(low, high), [high]])[::-1]
    columns = columns if frame.face == "front" else columns[::-1]
    across, down = (columns[:-1] + columns[1:]) / 2, (rows[:-1] + rows[1:]) / 2
    middles = np.stack(np.meshgrid(across, down), axis=-1).reshape(-1, 2)
    sizes = np.stack(np.meshgrid(np.abs(np.diff(columns)), np.abs(np.diff(rows))), axis=-1).reshape(-1, 2)
    every = enumerate(zip(middles, sizes, strict=True), start=1)
    return [Field(number, middle, size) for number, (middle, size) in every]


def card_data(template: Template, picture: str) -> dict[str, Any]:
    """What the test card's JSON file holds; corners as they lie on the net, mm, and in the picture, 0 to 1.

    Parameters
    ----------
    template : Template
    picture : name of the picture's file

    Returns
    -------
    dict ready for JSON
    """
    frame, size = template.frame, np.array(template.frame.size_mm)
    corners = corners_of(frame)
    shares = frame.to_picture(corners) / size
    fields = card_fields(frame)
    return {
        "format": 1,
        "units": "mm",
        "piece": template.name,
        "side": frame.face,
        "picture": picture,
        "size_px": list(template.size_px),
        "dpi": template.dpi,
        "box": [float(value) for value in frame.box],
        "corners": [
            {"net": net.tolist(), "art": share.tolist()} for net, share in zip(corners, shares.round(9), strict=True)
        ],
        "fields": [{"number": field.number, "net": field.middle.round(6).tolist()} for field in fields],
    }


def card_bands(template: Template) -> Iterator[Image.Image]:
    """The test card of a template, in bands from the top.

    Parameters
    ----------
    template : Template

    Yields
    ------
    Image, RGB, as wide as template.size_px; a pixel on a border between fields is mixed as the border cuts it
    """
    frame = template.frame
    light, dark = (np.array(tone, dtype=np.float32) for tone in _TONES[frame.face])
    columns, rows = (_odd(frame, axis, count) for axis, count in enumerate(template.size_px))
    lines = [guide for guide in template.guides if guide.layer in _SHOWN]
    for top, guides in guide_bands(replace(template, guides=tuple(lines))):
        down = rows[top : top + guides.height, None]
        share = down * (1 - columns[None]) + (1 - down) * columns[None]
        pixels = np.empty((*share.shape, 3), dtype=np.uint8)
        for channel in range(3):
            pixels[..., channel] = np.rint(light[channel] + share * (dark[channel] - light[channel]))
        card = Image.fromarray(pixels, "RGB")
        _number(card, template, top)
        guides.putalpha(_kept_clear(guides.getchannel("A"), template, top))
        card.paste(guides, (0, 0), guides)
        yield card


def _odd(frame: ArtFrame, axis: int, count: int) -> Array:
    """For each pixel along an axis of the picture, how much of it lies in odd columns (or rows) of fields."""
    size = frame.size_mm[axis]
    edges = np.linspace(0.0, size, count + 1) if axis == 0 else np.linspace(size, 0.0, count + 1)
    points = np.zeros((count + 1, 2))
    points[:, axis] = edges
    places = frame.to_net(points)[:, axis] / FIELD_MM
    # How much of the way from nought to a place lies in odd fields.
    half = np.floor(places / 2)
    sums = half + np.clip(places - 2 * half - 1, 0.0, 1.0)
    return np.asarray(np.diff(sums) / np.diff(places), dtype=np.float32)


def _pixel(template: Template, net: Array) -> Array:
    """Where a point of the net lies in the picture, pixels from its upper left, (n, 2) float."""
    size = np.array(template.frame.size_mm)
    share = template.frame.to_picture(net) / size
    return np.asarray((share * [1.0, -1.0] + [0.0, 1.0]) * template.size_px)


def _number(card: Image.Image, template: Template, top: int) -> None:
    """Every field's number, underlined, so that it is seen which way up it stands; top is the band's first row."""
    draw = ImageDraw.Draw(card)
    scale = template.size_px[1] / template.frame.size_mm[1]
    face = font(max(4, round(_NUMBER_MM * scale)), False)
    width = max(1, round(0.25 * scale))
    for field in card_fields(template.frame):
        if (field.size < _ROOM_MM).any():
            continue
        # At whole pixels, so that a number that two bands share is drawn alike in both.
        x, y = (round(float(value)) for value in _pixel(template, field.middle[None])[0] - [0.0, top])
        if not -_NUMBER_MM * scale < y < card.height + _NUMBER_MM * scale:
            continue
        words = str(field.number)
        draw.text((x, y - round(0.5 * scale)), words, (20, 20, 20), face, "mm")
        half, low = round(0.55 * face.getlength(words)), y + round(1.9 * scale)
        draw.rectangle((x - half, low - width // 2, x + half, low - width // 2 + width - 1), fill=(20, 20, 20))


def _kept_clear(mask: Image.Image, template: Template, top: int) -> Image.Image:
    """Guides without what is near a corner; top is the band's first row."""
    draw = ImageDraw.Draw(mask)
    reach = _CLEAR_MM * template.size_px[0] / template.frame.size_mm[0]
    for x, y in _pixel(template, corners_of(template.frame)) - [0.0, top]:
        if -reach < y < mask.height + reach:
            draw.ellipse(np.floor([x - reach, y - reach, x + reach, y + reach]).tolist(), fill=0)
    return mask
