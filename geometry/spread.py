"""A spread that stands: its pieces, panels and hinges, and its pose at any opening."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from .description.data import MechanismSpec
from .limits import Limits
from .loops import Loop
from .model import CellOnFold, Fold, GlueArea, Hand, Hinge, Panel, Piece, Trim
from .motion import Motion, Unit, pose_panels, solve_cells
from .reach import reach
from .solids import Solid, folding_part
from .tolerances import ANGLE_RAD
from .transforms import Array

__all__ = ["Spread"]


@dataclass(frozen=True)
class Spread:
    """Everything that a description builds.

    Parameters
    ----------
    title : its name
    page_size_mm : width and height of one page
    margin_mm : kept free along the three outer edges of the closed page
    pieces : the page card first, then one a glued mechanism
    panels : by name, each after its parent
    hinges : every line about which two panels turn
    folds : by (name, side), every place to build on
    units : what moves, in solving order: cells, loops, and what a hand moves
    glue_areas : where tabs and riders are glued
    limits : what the checks hold it to
    mechanisms : as they were described, for what names sizes by their keys
    trims : what tabs lost where they would have lain on something
    solids : folded models that stand rigid on a panel
    """

    title: str
    page_size_mm: tuple[float, float]
    margin_mm: float
    pieces: tuple[Piece, ...]
    panels: Mapping[str, Panel]
    hinges: tuple[Hinge, ...]
    folds: Mapping[tuple[str, str], Fold]
    units: tuple[Unit, ...]
    glue_areas: tuple[GlueArea, ...]
    limits: Limits = field(default_factory=Limits)
    mechanisms: tuple[MechanismSpec, ...] = ()
    trims: tuple[Trim, ...] = ()
    solids: tuple[Solid, ...] = ()

    @property
    def cells(self) -> tuple[CellOnFold, ...]:
        """The cells, solved in closed form."""
        return tuple(unit for unit in self.units if isinstance(unit, CellOnFold))

    @property
    def loops(self) -> tuple[Loop, ...]:
        """The loops, solved by numbers."""
        return tuple(unit for unit in self.units if isinstance(unit, Loop))

    @property
    def hands(self) -> tuple[Hand, ...]:
        """What a hand moves."""
        return tuple(unit for unit in self.units if isinstance(unit, Hand))

    @cached_property
    def folding(self) -> Spread:
        """What folds of it: the spread with nothing left of its solids but their feet."""
        return folding_part(self)

    def solid_with(self, piece_id: str) -> Solid | None:
        """The solid that a piece belongs to, or None."""
        return next((solid for solid in self.solids if piece_id in solid.pieces), None)

    def moved_by(self, root: str) -> frozenset[str]:
        """The variables that the opening ("spine") or a hand ("ID:hand") moves, itself among them."""
        moved = {root}
        for unit in self.units:
            if unit.needs & moved:
                moved.update(unit.gives)
        return frozenset(moved)

    def pose(self, openings_rad: ArrayLike, hands: Mapping[str, ArrayLike] | None = None) -> Motion:
        """Pose every panel at every opening.

        Parameters
        ----------
        openings_rad : (n,) float, 0 closed, pi flat open
        hands : by mechanism, how far a hand has moved it, radians or mm, one number or (n,); the others rest

        Returns
        -------
        Motion

        Examples
        --------
        The ridge of a tent is a mountain, so its angle through the printed face is above 180 degrees. Flat open the
        two walls of 30 mm stand on bases of 20 mm, and the sine of half the angle between them is 20/30.

        >>> from .assembly import assemble
        >>> from .description.reader import parse_description
        >>> spread = assemble(parse_description('''
        ... format = 1
        ... [page]
        ... size = "A5"
        ... [[mechanism]]
        ... kind = "tent"
        ... id = "roof"
        ... fold = "spine"
        ... at = 60
        ... length = 50
        ... base = 20
        ... height = 30
        ... '''))
        >>> motion = spread.pose(np.radians([0.0, 90.0, 180.0]))
        >>> np.degrees(motion.dihedral(spread.middle_of("roof"))).round(3)
        array([360.   , 303.749, 276.379])
        >>> round(float(np.degrees(2 * np.pi - 2 * np.arcsin(20 / 30))), 3)
        276.379
        >>> motion.reached()
        array([ True,  True,  True])
        """
        moved = {f"{name}:hand": value for name, value in (hands or {}).items()}
        variables = solve_cells(openings_rad, self.units, moved)
        matrices = pose_panels(self.panels.values(), variables)
        return Motion(variables["spine"], variables, matrices)

    def reachable(self) -> tuple[float, float]:
        """The openings between which the whole book moves, (low, high), radians; NaN, NaN where there are none."""
        return self._reach

    @cached_property
    def _reach(self) -> tuple[float, float]:
        """Many checks ask for it, and with loops it takes most of their time."""
        return reach(self.units)

    def panel_of(self, unit_id: str) -> Panel:
        """The first panel of a cell, a loop or a mechanism; KeyError where there is none."""
        for name, panel in self.panels.items():
            if name == unit_id or name.startswith(f"{unit_id}."):
                return panel
        raise KeyError(unit_id)

    def middle_of(self, cell_id: str) -> Hinge:
        """The middle crease of a cell, between the two panels that it adds; KeyError where there is none."""
        for hinge in self.hinges:
            if hinge.id == f"{cell_id}.middle":
                return hinge
        raise KeyError(cell_id)

    def piece(self, piece_id: str) -> Piece:
        """The piece of that name; KeyError where there is none."""
        for piece in self.pieces:
            if piece.id == piece_id:
                return piece
        raise KeyError(piece_id)

    def creases(self, piece_id: str) -> tuple[Hinge, ...]:
        """The creases of one piece (the spine among them on the page card)."""
        return tuple(
            hinge
            for hinge in self.hinges
            if hinge.kind != "glue" and all(self.panels[panel].piece == piece_id for panel in hinge.panels)
        )

    def crease_class(self, hinge: Hinge) -> Literal["mountain", "valley"]:
        """Mountain or valley as seen from the printed face, judged where the crease is folded furthest from flat.

        Looked at over all openings, what hands move at rest; and for what a hand moves over its travel, the book open.
        """
        if hinge.dihedral.variable is None:
            return "mountain" if hinge.dihedral.offset > np.pi + ANGLE_RAD else "valley"
        openings = np.radians(np.arange(0.0, 180.5, 1.0))
        every = [Motion(openings, solve_cells(openings, self.units), {}).dihedral(hinge)]
        for hand in self.hands:
            if hinge.dihedral.variable in self.moved_by(hand.variable):
                moved = {hand.variable: np.linspace(hand.low, hand.high, 37)}
                flat = np.full(37, np.pi)
                every.append(Motion(flat, solve_cells(flat, self.units, moved), {}).dihedral(hinge))
        angles = np.concatenate(every)
        angles = angles[np.isfinite(angles)]
        if not len(angles):
            return "valley"
        furthest: Array = angles[np.argmax(np.abs(angles - np.pi))]
        return "mountain" if furthest > np.pi + ANGLE_RAD else "valley"
