"""An independent judge of motion: reads what `poses` writes, and trusts nothing but outlines and matrices.

Nothing here calls the core. Dihedral angles are measured anew from the matrices, the direction into each panel from
its outline, and the panels' normals; the result is signed, 0 to 360 degrees.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely import Polygon

Array = NDArray[np.float64]

#: Nearer to a hinge than this a panel's side is felt out.
_FEEL_MM = 2e-3


@dataclass(frozen=True)
class Posed:
    """The poses data as arrays: NaN where a matrix or an angle is null."""

    angles_deg: Array
    outlines: Mapping[str, Polygon]
    pieces: Mapping[str, str]
    matrices: Mapping[str, Array]
    hinges: tuple[Mapping[str, Any], ...]

    def world(self, panel: str, points: Any) -> Array:
        """Net points of a panel (k, 2) in the world, (n, k, 3)."""
        flat = np.asarray(points, dtype=float)
        full = np.column_stack([flat, np.zeros(len(flat)), np.ones(len(flat))])
        return np.einsum("nij,kj->nki", self.matrices[panel], full)[:, :, :3]

    def corners(self, panel: str) -> Array:
        """The corners of a panel in the world, (n, k, 3)."""
        return self.world(panel, shapely.get_coordinates(self.outlines[panel]))


def posed(data: Mapping[str, Any]) -> Posed:
    """Take in the poses data (from JSON, or from poses_data)."""
    nan = np.full((4, 4), np.nan)
    outlines, pieces, matrices = {}, {}, {}
    for panel in data["panels"]:
        outlines[panel["id"]] = Polygon(panel["outline"], panel["holes"])
        pieces[panel["id"]] = panel["piece"]
        matrices[panel["id"]] = np.array([nan if m is None else m for m in panel["matrices"]], dtype=float)
    hinges = tuple(
        {**hinge, "dihedral": np.array([np.nan if d is None else d for d in hinge["dihedral_deg"]], dtype=float)}
        for hinge in data["hinges"]
    )
    return Posed(np.array(data["angles_deg"], dtype=float), outlines, pieces, matrices, hinges)


def rigid_error(scene: Posed) -> float:
    """Largest deviation of any matrix from a proper rotation with a translation."""
    worst = 0.0
    for matrix in scene.matrices.values():
        linear = matrix[:, :3, :3]
        product = np.einsum("nij,nkj->nik", linear, linear)
        volume = np.einsum("ni,ni->n", linear[:, :, 0], np.cross(linear[:, :, 1], linear[:, :, 2]))
        worst = max(worst, _largest(product - np.eye(3)), _largest(volume - 1.0))
        worst = max(worst, _largest(matrix[:, 3] - [0.0, 0.0, 0.0, 1.0]))
    return worst


def hinge_gap(scene: Posed, hinge: Mapping[str, Any]) -> float:
    """Largest distance between the two sides of a hinge, mm, over all openings."""
    (first, second), (line_a, line_b) = hinge["panels"], hinge["line"]
    return _largest(np.linalg.norm(scene.world(first, line_a) - scene.world(second, line_b), axis=2))


def lies_on_edge(outline: Polygon, line: Any) -> float:
    """Largest distance of a hinge line from a panel's outline, mm."""
    start, end = np.asarray(line, dtype=float)
    points = start + np.linspace(0.0, 1.0, 9)[:, None] * (end - start)
    return float(shapely.distance(shapely.points(points), outline.boundary).max())


def inward(outline: Polygon, line: Any) -> Array:
    """Unit vector from a hinge line into the panel, felt out along it; ValueError where it has two sides or none."""
    start, end = np.asarray(line, dtype=float)
    along = (end - start) / np.linalg.norm(end - start)
    across = np.array([-along[1], along[0]])
    places = start + np.linspace(0.02, 0.98, 49)[:, None] * (end - start)
    left = shapely.contains_xy(outline, *(places + _FEEL_MM * across).T)
    right = shapely.contains_xy(outline, *(places - _FEEL_MM * across).T)
    votes = sorted([int(left.sum()), int(right.sum())])
    if votes[0] > 2 or votes[1] < 8:
        raise ValueError(f"the panel lies on both sides of its hinge or beside it ({votes[1]}, {votes[0]} of 49)")
    return across if left.sum() > right.sum() else -across


def signed_dihedral_deg(scene: Posed, hinge: Mapping[str, Any]) -> Array:
    """Dihedral angle of a crease or the spine through the printed faces (+z), (n,) degrees in [0, 360)."""
    first, second = hinge["panels"]
    into_a = _direction(scene.matrices[first], inward(scene.outlines[first], hinge["line"][0]))
    into_b = _direction(scene.matrices[second], inward(scene.outlines[second], hinge["line"][1]))
    normal_a, normal_b = scene.matrices[first][:, :3, 2], scene.matrices[second][:, :3, 2]
    one = _angle(into_a, normal_a, into_b)
    other = _angle(into_b, normal_b, into_a)
    if _largest(_turned(one - other)) > 1e-6:
        raise ValueError(f"{hinge['id']}: the printed faces of its panels are not on the same side")
    return one


def glue_dihedral_deg(scene: Posed, hinge: Mapping[str, Any], *, tab_inner: bool) -> Array:
    """Angle at a glue line from the host's outer part to the panel, (n,) degrees in [-180, 180).

    The outer part of the host is told by the tab there: an inner tab points away from it. The side on which the
    panel stands is the one where it is found at most openings.
    """
    panel, host = hinge["panels"]
    tab = hinge["id"].split("#")[0].removesuffix(".glue") + ".tab"
    into_tab = _direction(scene.matrices[tab], inward(scene.outlines[tab], hinge["line"][0]))
    outer = -into_tab if tab_inner else into_tab
    into_panel = _direction(scene.matrices[panel], inward(scene.outlines[panel], hinge["line"][0]))
    normal = scene.matrices[host][:, :3, 2]
    up = np.einsum("ni,ni->n", into_panel, normal)
    sign = 1.0 if np.nansum(up > 1e-9) >= np.nansum(up < -1e-9) else -1.0
    angle = _angle(outer, sign * normal, into_panel)
    return np.where(angle > 270.0, angle - 360.0, angle)


def turned_deg(first: Array, second: Array) -> float:
    """Largest difference of two angles in degrees, whole turns left out."""
    return _largest(_turned(first - second))


def largest_height(scene: Posed, index: int) -> float:
    """Largest distance of any panel corner from z = 0 at one opening, mm."""
    return max(float(np.abs(scene.corners(panel)[index, :, 2]).max()) for panel in scene.outlines)


def _direction(matrices: Array, vector: Array) -> Array:
    return matrices[:, :3, 0] * vector[0] + matrices[:, :3, 1] * vector[1]


def _angle(start: Array, normal: Array, end: Array) -> Array:
    """Angle from start through normal to end, degrees in [0, 360)."""
    up = np.einsum("ni,ni->n", end, normal)
    out = np.einsum("ni,ni->n", end, start)
    return np.degrees(np.arctan2(up, out)) % 360.0


def _turned(difference: Array) -> Array:
    return (difference + 180.0) % 360.0 - 180.0


def _largest(values: Array) -> float:
    finite = np.abs(values[np.isfinite(values)])
    return float(finite.max()) if finite.size else 0.0
