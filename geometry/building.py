"""A spread while it is being built: mechanisms add panels, hinges, folds and cells to what stands so far."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from difflib import get_close_matches

import numpy as np

from .description.data import Description, MechanismSpec
from .errors import MechanismError
from .linkage import Cell
from .model import Angle, CellOnFold, Fold, GlueArea, HingeKind, Panel, Piece
from .motion import value_of
from .transforms import Array

__all__ = ["Building", "HingePlan"]

_PROBE_RAD = np.radians([0.0, 30.0, 60.0, 90.0, 120.0, 150.0, 180.0])
_DEFAULT_SIDES = ("valley", "outer")


@dataclass(frozen=True)
class HingePlan:
    """A hinge whose ends are known only when all cuts are made.

    Parameters
    ----------
    id, kind, panels, dihedral : as in Hinge
    origins, directions : ((2,), (2,)) float, mm; the line in each panel's own net coordinates
    touching : the panels whose outlines must really reach the line
    """

    id: str
    kind: HingeKind
    panels: tuple[str, str]
    origins: tuple[Array, Array]
    directions: tuple[Array, Array]
    dihedral: Angle
    touching: tuple[str, ...]


class Building:
    """What stands so far."""

    def __init__(self, description: Description) -> None:
        self.description = description
        self.pieces: dict[str, Piece] = {}
        self.panels: dict[str, Panel] = {}
        self.hinges: list[HingePlan] = []
        self.folds: dict[tuple[str, str], Fold] = {}
        self.cells: list[CellOnFold] = []
        self.glue_areas: list[GlueArea] = []
        self.variables: dict[str, Array] = {"spine": _PROBE_RAD}

    def add_piece(self, spec: MechanismSpec, panels: Sequence[str]) -> None:
        """Add the piece of a glued mechanism; it bears the mechanism's id."""
        values = spec.values
        self.pieces[spec.id] = Piece(
            id=spec.id,
            title=values.get("title", spec.id),
            stock=self.description.stocks[values["stock"]],
            panels=tuple(panels),
            art_front=values.get("art_front"),
            art_back=values.get("art_back"),
        )

    def add_panel(self, panel: Panel) -> None:
        """Add a panel; its parent must stand already."""
        self.panels[panel.id] = panel

    def extend_piece(self, piece_id: str, panels: Sequence[str]) -> None:
        """Add panels that were cut from a piece to that piece."""
        piece = self.pieces[piece_id]
        self.pieces[piece_id] = Piece(
            piece.id, piece.title, piece.stock, (*piece.panels, *panels), piece.art_front, piece.art_back
        )

    def add_fold(self, fold: Fold) -> None:
        """Add one side of a hinge as a place to build on."""
        self.folds[(fold.id, fold.side)] = fold

    def add_cell(self, spec: MechanismSpec, cell: Cell, fold: Fold) -> None:
        """Add a cell on a fold; its angles become the variables ID:left, ID:right, ID:middle."""
        self.cells.append(CellOnFold(spec.id, cell, fold.dihedral, fold.id))
        motion = cell.solve(value_of(fold.dihedral, self.variables, len(_PROBE_RAD)))
        self.variables[f"{spec.id}:left"] = motion.left
        self.variables[f"{spec.id}:right"] = motion.right
        self.variables[f"{spec.id}:middle"] = motion.middle

    def closed_angle(self, fold: Fold) -> float | None:
        """The fold's dihedral angle while the book is closed; None where it cannot be reached."""
        angle = float(value_of(fold.dihedral, self.variables, len(_PROBE_RAD))[0])
        return angle if np.isfinite(angle) else None

    def fold(self, spec: MechanismSpec, *, card: bool = False) -> Fold:
        """The fold that a mechanism names, on the side it asks for.

        Parameters
        ----------
        spec : its keys fold and side are read
        card : the mechanism is cut from the card itself, so both hosts must be of one piece

        Raises
        ------
        MechanismError
            There is no such fold or it has no such side.
        """
        name = spec.values["fold"]
        sides = [side for fold_id, side in self.folds if fold_id == name]
        if not sides:
            raise MechanismError(f'"{name}" is no fold; {self._folds_hint(name)}', "fold")
        if card:
            side = "tab" if "tab" in sides else "valley" if "valley" in sides else ""
            if not side:
                raise MechanismError(
                    f'"{name}" is a glue line without a tab; a cut-in needs card on both sides', "fold"
                )
            return self.folds[(name, side)]
        default = next((side for side in _DEFAULT_SIDES if side in sides), sides[0])
        side = spec.values.get("side", default)
        if side not in sides or side == "tab":
            known = " or ".join(side for side in sides if side != "tab")
            raise MechanismError(f'"{name}" has no {side} side; write {known}', "side")
        return self.folds[(name, side)]

    def panel(self, spec: MechanismSpec) -> Panel:
        """The panel that a mechanism names; MechanismError where there is none."""
        name = spec.values["panel"]
        if name not in self.panels:
            near = get_close_matches(name, self.panels, 1)
            hint = f"did you mean {near[0]}?" if near else f"there are {', '.join(self.panels)}"
            raise MechanismError(f'"{name}" is no panel; {hint}', "panel")
        return self.panels[name]

    def _folds_hint(self, name: str) -> str:
        known = sorted({fold_id for fold_id, _ in self.folds})
        near = get_close_matches(name, known, 1)
        return f"did you mean {near[0]}?" if near else f"there are {', '.join(known)}"
