"""Shapes of known size as the alpha of a picture, each pixel as opaque as it is covered."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

__all__ = ["alpha_of", "apart_mm"]


def alpha_of(shape: BaseGeometry, box: tuple[float, float, float, float], pixel_mm: float, *, fine: int = 4):
    """The coverage of every pixel by a shape, (h, w) uint8; fine 1 makes hard edges."""
    left, low, right, high = box
    width, height = round((right - left) / pixel_mm), round((high - low) / pixel_mm)
    across = left + (np.arange(fine * width) + 0.5) * (right - left) / (fine * width)
    down = high - (np.arange(fine * height) + 0.5) * (high - low) / (fine * height)
    shapely.prepare(shape)
    inside = shapely.contains_xy(shape, *(each.ravel() for each in np.meshgrid(across, down)))
    covered = inside.reshape(height, fine, width, fine).mean(axis=(1, 3))
    return np.round(255 * covered).astype(np.uint8)


def apart_mm(one: BaseGeometry, two: BaseGeometry) -> float:
    """How far two borders are apart at most, either way, mm, measured at every 0.1 mm of them."""
    borders = [shape.boundary for shape in (one, two)]
    places = [shapely.points(shapely.get_coordinates(shapely.segmentize(border, 0.1))) for border in borders]
    return max(float(shapely.distance(places[side], borders[1 - side]).max()) for side in (0, 1))
