"""A piece from its standing pose to its flat net: which panel turns about which crease, and by how much at each step.

Panels of one piece share their net coordinates, so the net is the piece with every crease flat. From one panel on, the
others hang together in a tree, each turning about the crease that it shares with the one before; card that only glue
holds together is let go. Creases are flattened evenly. Where a cut-in closes a ring of creases, its own creases follow
exactly from the fold that it is cut across, so that no card tears on the way.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from shapely import Point

from ..errors import HingeleafError
from ..model import CellOnFold, Hinge
from ..motion import Motion
from ..spread import Spread
from ..transforms import Array, lift, rotation_about

__all__ = ["Joint", "Unfolding", "unfolding"]

#: Beside a crease, where it is looked on which side of it a panel lies, mm.
_BESIDE_MM = 0.01
#: Panels that are turned against each other by less than this are not turned, radians.
_STILL_RAD = 1e-12


@dataclass(frozen=True)
class Joint:
    """A panel that turns about a crease of another one.

    Parameters
    ----------
    panel, parent : names; the parent comes first in the tree
    crease : name of the hinge
    point, direction : (3,) float; the crease in net coordinates, mm, and its unit vector
    turns : (n,) float, radians; right-handed about the direction, from the parent's plane, 0 on the net
    """

    panel: str
    parent: str
    crease: str
    point: Array
    direction: Array
    turns: Array


@dataclass(frozen=True)
class Unfolding:
    """How a piece comes to lie flat.

    Parameters
    ----------
    piece : its name
    steps : (n,) float, 0 standing to 1 flat
    base : the panel that the others hang on
    middle : (3,) float, mm; of that panel, in net coordinates
    start : (4, 4) float; that panel's standing pose
    axis, angle : (3,) float, unit vector, and float, radians, 0 to pi; how its standing pose is turned from the net's
    joints : every other panel, after its parent
    """

    piece: str
    steps: Array
    base: str
    middle: Array
    start: Array
    axis: Array
    angle: float
    joints: tuple[Joint, ...]

    def poses(self, lying: ArrayLike = (0.0, 0.0, 0.0)) -> dict[str, Array]:
        """Where every panel is at each step.

        Parameters
        ----------
        lying : (3,) float, mm; where the net's zero point comes to lie, the printed face up

        Returns
        -------
        dict of (n, 4, 4) float, by panel; from net coordinates to the world. The base goes straight from its place to
        its place on the net and turns evenly on the way.
        """
        began = self.start[:3, :3] @ self.middle + self.start[:3, 3]
        ends = self.middle + np.asarray(lying, dtype=float)
        matrices = rotation_about(np.zeros(3), self.axis, self.angle * (1.0 - self.steps))
        places = began + self.steps[:, None] * (ends - began)
        matrices[:, :3, 3] = places - matrices[:, :3, :3] @ self.middle
        poses = {self.base: matrices}
        for joint in self.joints:
            poses[joint.panel] = poses[joint.parent] @ rotation_about(joint.point, joint.direction, joint.turns)
        return poses


def unfolding(
    spread: Spread,
    piece_id: str,
    opening_rad: float,
    hands: Mapping[str, float] | None = None,
    steps: ArrayLike = (0.0, 1.0),
) -> Unfolding:
    """Unfold a piece from where it stands.

    Parameters
    ----------
    spread : Spread
    piece_id : of the piece
    opening_rad : at which it stands, 0 closed, pi flat open
    hands : by mechanism, how far a hand has moved it, radians or mm; the others rest
    steps : (n,) float, 0 standing to 1 flat

    Returns
    -------
    Unfolding

    Raises
    ------
    HingeleafError
        There is no such piece; it cannot stand at that opening; or no crease joins some of its panels to the others.
    """
    names = [piece.id for piece in spread.pieces]
    if piece_id not in names:
        raise HingeleafError(f'There is no piece "{piece_id}"; pieces are {", ".join(names)}')
    motion = spread.pose([opening_rad], hands)
    panels = spread.piece(piece_id).panels
    if not all(np.isfinite(motion.matrices[name]).all() for name in panels):
        opening = np.degrees(opening_rad)
        raise HingeleafError(f"{piece_id} cannot stand at an opening of {opening:.1f}°; open the book elsewhere first")
    at = np.atleast_1d(np.asarray(steps, dtype=float))
    dihedrals = _dihedrals(spread, piece_id, motion, at)
    base = panels[0]
    joints = _joints(spread, piece_id, base, dihedrals)
    middle = spread.panels[base].outline.envelope.centroid
    start = motion.matrices[base][0]
    axis, angle = _turned(start[:3, :3])
    return Unfolding(piece_id, at, base, lift([middle.x, middle.y]), start, axis, angle, joints)


def _dihedrals(spread: Spread, piece_id: str, motion: Motion, steps: Array) -> dict[str, Array]:
    """The dihedral angle of every crease of a piece through its printed face at each step, (n,) float, radians."""
    creases = {hinge.id: hinge for hinge in spread.creases(piece_id)}
    angles = {}
    for name, hinge in creases.items():
        standing = float(motion.dihedral(hinge)[0])
        angles[name] = standing + steps * (np.pi - standing)
    for cell in spread.cells:
        own = [hinge for hinge in creases.values() if hinge.dihedral.variable in cell.gives]
        host = next((creases[name] for name in creases if name == cell.fold), None)
        if host is None or not _is_cut_in(spread, cell, host):
            continue
        through = float(motion.angle(cell.host)[0]), float(motion.dihedral(host)[0])
        same = cell.host.scale * host.dihedral.scale > 0 if cell.host.variable else np.isclose(*through)
        folded = angles[host.id] if same else 2 * np.pi - angles[host.id]
        motion_of = cell.cell.solve(folded)
        solved = dict(zip(cell.gives, (motion_of.left, motion_of.right, motion_of.middle), strict=True))
        for hinge in own:
            angles[hinge.id] = hinge.dihedral.of(solved, len(steps))
    return angles


def _is_cut_in(spread: Spread, cell: CellOnFold, host: Hinge) -> bool:
    """Whether a cell is cut from the card on both sides of the crease that it stands on."""
    pieces = {spread.panels[name].piece for name in host.panels}
    added = {spread.panels[name].piece for name in spread.middle_of(cell.id).panels}
    return pieces == added


def _joints(spread: Spread, piece_id: str, base: str, dihedrals: Mapping[str, Array]) -> tuple[Joint, ...]:
    """The panels of a piece as a tree of creases; what closes a ring is left out: the middle creases of cut-ins."""
    middles = {f"{cell.id}.middle" for cell in spread.cells}
    # Middle creases last: where a cut-in hangs on both of its hosts, they close the ring.
    creases = sorted(spread.creases(piece_id), key=lambda hinge: hinge.id.split("#")[0] in middles)
    reached, joints = {base}, []
    while True:
        hinge = next((hinge for hinge in creases if len(reached.intersection(hinge.panels)) == 1), None)
        if hinge is None:
            break
        parent, panel = hinge.panels if hinge.panels[0] in reached else hinge.panels[::-1]
        joints.append(_joint(spread, hinge, parent, panel, dihedrals[hinge.id]))
        reached.add(panel)
    loose = [name for name in spread.piece(piece_id).panels if name not in reached]
    if loose:
        raise HingeleafError(f"{loose[0]} hangs on {piece_id} by no crease, so it cannot be unfolded with it")
    return tuple(joints)


def _joint(spread: Spread, hinge: Hinge, parent: str, panel: str, dihedral: Array) -> Joint:
    """Turn a panel about a crease, towards the printed face where the angle through it is less than half a turn."""
    first, last = hinge.lines[0]
    along = (last - first) / np.hypot(*(last - first))
    left = Point((first + last) / 2 + _BESIDE_MM * np.array([-along[1], along[0]]))
    outlines = {name: spread.panels[name].outline for name in (parent, panel)}
    side = 1.0 if left.distance(outlines[panel]) < left.distance(outlines[parent]) else -1.0
    return Joint(panel, parent, hinge.id, lift(first), lift(along), side * (np.pi - dihedral))


def _turned(rotation: Array) -> tuple[Array, float]:
    """Axis, (3,) float, and angle, 0 to pi, of a rotation (3, 3).

    Notes
    -----
    Source: the rotation's quaternion from its largest component, after Shepperd (1978, recalled).
    """
    m, trace = rotation, float(np.trace(rotation))
    squares = np.array([trace, *np.diag(m)])
    best = int(np.argmax(squares))
    if best == 0:
        quaternion = np.array([1 + trace, m[2, 1] - m[1, 2], m[0, 2] - m[2, 0], m[1, 0] - m[0, 1]])
    else:
        i, j, k = best - 1, best % 3, (best + 1) % 3
        quaternion = np.zeros(4)
        quaternion[0], quaternion[1 + i] = m[k, j] - m[j, k], 1 + 2 * m[i, i] - trace
        quaternion[1 + j], quaternion[1 + k] = m[j, i] + m[i, j], m[k, i] + m[i, k]
    quaternion *= np.copysign(1.0, quaternion[0])
    length = float(np.linalg.norm(quaternion[1:]))
    angle = 2.0 * float(np.arctan2(length, quaternion[0]))
    if angle < _STILL_RAD:
        return np.array([0.0, 0.0, 1.0]), 0.0
    return quaternion[1:] / length, angle
