"""The two faces of a piece, and the way from its net to a picture of each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np

from ..transforms import Array

__all__ = ["FACES", "ArtFrame", "Face"]

Face = Literal["front", "back"]
FACES: tuple[Face, ...] = get_args(Face)


@dataclass(frozen=True)
class ArtFrame:
    """The picture of one face: the art box, seen from that face.

    Parameters
    ----------
    box : left, low, right, high, mm, net coordinates
    face : the back is seen from behind, so that its left is the right of the net
    """

    box: tuple[float, float, float, float]
    face: Face

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height."""
        left, low, right, high = self.box
        return right - left, high - low

    def to_picture(self, points: Array) -> Array:
        """Net coordinates to millimetres of the picture, from its lower left, (n, 2) or (2,) float."""
        left, low, right, _ = self.box
        if self.face == "front":
            return np.asarray(points - np.array([left, low]))
        return np.asarray(np.array([right, -low]) + points * [-1.0, 1.0])

    def to_net(self, points: Array) -> Array:
        """The inverse of to_picture."""
        left, low, right, _ = self.box
        if self.face == "front":
            return np.asarray(points + np.array([left, low]))
        return np.asarray(np.array([right, low]) + points * [-1.0, 1.0])

    def turn(self, direction: Array) -> Array:
        """A direction of the net as it is seen in the picture, (2,) float."""
        return np.asarray(direction * ([1.0, 1.0] if self.face == "front" else [-1.0, 1.0]))
