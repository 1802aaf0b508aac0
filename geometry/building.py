"""A spread while it is being built: mechanisms add panels, hinges, folds and cells to what stands so far."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches

import numpy as np

from .closures import Closure, loop_geometry
from .description.data import Description, MechanismSpec
from .errors import MechanismError
from .linkage import Cell
from .loops import Loop, Start
from .model import Angle, CellOnFold, Fold, GlueArea, Hand, HingeKind, Panel, Piece
from .motion import Unit, pose_panels, solve_units
from .solids import Solid
from .transforms import Array

__all__ = ["Building", "HingePlan"]

_PROBE_RAD = np.radians([0.0, 30.0, 60.0, 90.0, 120.0, 150.0, 180.0])
_DEFAULT_SIDES = ("valley", "outer")
_LEAST_BOX_MM = 1.0


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
        self.units: list[Unit] = []
        self.glue_areas: list[GlueArea] = []
        self.solids: list[Solid] = []
        #: Tabs whose width nobody asked for.
        self.default_tabs: set[str] = set()
        self.variables: dict[str, Array] = {"spine": _PROBE_RAD}
        #: What moves each variable in the end: the opening, or a hand.
        self.roots: dict[str, str] = {"spine": "spine"}
        #: Variables that nothing moves yet, with the mechanism that brought them.
        self.loose: dict[str, MechanismSpec] = {}

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
            color_front=values.get("color_front"),
            color_back=values.get("color_back"),
            art_box=_art_box(values.get("art_box")),
        )

    def add_panel(self, panel: Panel) -> None:
        """Add a panel; its parent must stand already."""
        self.panels[panel.id] = panel

    def extend_piece(self, piece_id: str, panels: Sequence[str]) -> None:
        """Add panels that were cut from a piece to that piece."""
        piece = self.pieces[piece_id]
        self.pieces[piece_id] = replace(piece, panels=(*piece.panels, *panels))

    def add_fold(self, fold: Fold) -> None:
        """Add one side of a hinge as a place to build on."""
        self.folds[(fold.id, fold.side)] = fold

    def add_cell(self, spec: MechanismSpec, cell: Cell, fold: Fold, name: str | None = None) -> None:
        """Add a cell on a fold; its angles become the variables ID:left, ID:right, ID:middle.

        A mechanism of several cells names them, ID.NAME; each then has panels ID.NAME.left and ID.NAME.right.
        """
        self.add_unit(CellOnFold(spec.id if name is None else f"{spec.id}.{name}", cell, fold.dihedral, fold.id))

    def add_hand(self, hand: Hand) -> Hand:
        """Add what a hand moves; it sets the variable ID:hand."""
        self.add_unit(hand)
        self.roots[hand.variable] = hand.variable
        return hand

    def add_loose(self, spec: MechanismSpec, variable: str) -> None:
        """Add a variable that a later loop has to move."""
        self.loose[variable] = spec
        self.variables[variable] = np.full(len(_PROBE_RAD), np.nan)

    def add_loop(
        self,
        spec: MechanismSpec,
        unknowns: Sequence[str],
        closures: Sequence[Closure],
        guesses: Callable[[Mapping[str, Array], tuple[str, ...]], Array],
        prefer: Callable[[Mapping[str, Array]], Array] | None = None,
        *,
        begin: float | None = None,
    ) -> Loop:
        """Add loops that are solved together.

        Parameters
        ----------
        spec : whose they are
        unknowns : the turns of its own panels; loose ones that its closures reach are added to them
        closures : where its panels must meet others
        guesses : from the pose (4, 4) of every panel that is known at the start, and the names of all unknowns, to
            values of the unknowns to start from, (g, m) float, the best first
        prefer : which of several positions that close is meant; see Start
        begin : the driver's value to start from; by default 90 degrees of opening, or where the hand rests

        Returns
        -------
        Loop, followed over its whole motion

        Raises
        ------
        MechanismError, HingeleafError
            The loop does not close, cannot move, or depends on more than one thing that moves it.
        """
        geometry = loop_geometry(self.panels, unknowns, closures)
        taken = [name for name in geometry.inputs() if name in self.loose]
        geometry = loop_geometry(self.panels, (*unknowns, *taken), closures)
        driver = self._driver_of(geometry.inputs())
        hand = next((unit for unit in self.units if isinstance(unit, Hand) and unit.variable == driver), None)
        low, high, first = (0.0, float(np.pi), float(np.pi / 2)) if hand is None else (hand.low, hand.high, hand.rest)
        upstream = self._upstream(geometry.inputs())
        tried = np.array([first if begin is None else begin, *np.linspace(low, high, 13)[1:-1]])
        known = {driver: tried, "spine": tried if driver == "spine" else np.full(len(tried), np.pi)}
        known = solve_units(upstream, known)
        stands = np.all([np.isfinite(known[name]) for name in (*geometry.inputs(), driver)], axis=0)
        if not stands.any():
            raise MechanismError("what it joins cannot stand at any opening; mend that first")
        row = int(np.flatnonzero(stands)[0])
        here = {name: value[[row]] for name, value in known.items()}
        fixed = [panel for panel in geometry.panels if panel.variable not in geometry.unknowns]
        poses = {name: matrix[0] for name, matrix in pose_panels(_with_parents(fixed), here, 1).items()}
        start = Start(float(tried[row]), np.atleast_2d(guesses(poses, geometry.unknowns)), prefer)
        loop = Loop(spec.id, driver, low, high, geometry, upstream, start)
        loop.path  # noqa: B018 - followed here, so that what cannot move is refused with its place
        for name in taken:
            del self.loose[name]
        self.add_unit(loop)
        return loop

    def add_unit(self, unit: Unit) -> None:
        """Add what moves as one; all that it needs must be there."""
        self.units.append(unit)
        self.variables.update(unit.solve(self.variables))
        if not isinstance(unit, Hand):
            root = unit.driver if isinstance(unit, Loop) else self._driver_of(unit.needs)
            self.roots.update(dict.fromkeys(unit.gives, root))

    def _driver_of(self, names: frozenset[str]) -> str:
        """What moves these variables: one thing, or there would be no single motion to follow."""
        roots = sorted({self.roots[name] for name in names if name in self.roots})
        if len(roots) > 1:
            raise MechanismError(
                f"would be moved by {' and by '.join(_said(root) for root in roots)} at once; let it join panels that "
                f"only one of them moves"
            )
        return roots[0] if roots else "spine"

    def _upstream(self, names: frozenset[str]) -> tuple[Unit, ...]:
        """The units that give these variables, with all that they need, in solving order."""
        wanted, chosen = set(names), []
        for unit in reversed(self.units):
            if wanted & set(unit.gives):
                chosen.append(unit)
                wanted |= unit.needs
        return tuple(reversed(chosen))

    def standing(self, panel_id: str) -> Array:
        """Pose of a panel, (4, 4), when the book is half open, or as near to that as it can stand.

        Loose panels are taken to stand upright.
        """
        chain = [self.panels[panel_id]]
        while chain[-1].parent is not None:
            chain.append(self.panels[chain[-1].parent])
        variables = {**self.variables, **{name: np.full(len(_PROBE_RAD), np.pi / 2) for name in self.loose}}
        poses = pose_panels(chain[::-1], variables)[panel_id]
        good = np.flatnonzero(np.isfinite(poses).all(axis=(1, 2)))
        if not len(good):
            raise MechanismError(f"{panel_id} cannot stand at any opening; mend that first")
        return np.asarray(poses[good[np.argmin(np.abs(_PROBE_RAD[good] - np.pi / 2))]])

    def closed_angle(self, fold: Fold) -> float | None:
        """The fold's dihedral angle while the book is closed; None where it cannot be reached."""
        angle = float(fold.dihedral.of(self.variables)[0])
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

    def panel(self, spec: MechanismSpec, key: str = "panel") -> Panel:
        """The panel that a mechanism names in a key; MechanismError where there is none."""
        name = spec.values[key]
        if name not in self.panels:
            near = get_close_matches(name, self.panels, 1)
            hint = f"did you mean {near[0]}?" if near else f"there are {', '.join(self.panels)}"
            raise MechanismError(f'"{name}" is no panel; {hint}', key)
        solid = next((solid for solid in self.solids if name in solid.panels), None)
        if solid is not None:
            raise MechanismError(
                f'"{name}" belongs to the solid {solid.id}, on which nothing is built; make it part of its model', key
            )
        return self.panels[name]

    def _folds_hint(self, name: str) -> str:
        known = sorted({fold_id for fold_id, _ in self.folds})
        near = get_close_matches(name, known, 1)
        return f"did you mean {near[0]}?" if near else f"there are {', '.join(known)}"


def _art_box(numbers: Sequence[float] | None) -> tuple[float, float, float, float] | None:
    if numbers is None:
        return None
    if len(numbers) != 4 or numbers[2] - numbers[0] < _LEAST_BOX_MM or numbers[3] - numbers[1] < _LEAST_BOX_MM:
        said = ", ".join(f"{number:g}" for number in numbers)
        raise MechanismError(f"is [{said}]; write [left, low, right, high], each side at least 1 mm long", "art_box")
    left, low, right, high = numbers
    return left, low, right, high


def _with_parents(panels: Sequence[Panel]) -> list[Panel]:
    """Those whose parents are among them, parents first."""
    kept: dict[str, Panel] = {}
    for panel in panels:
        if panel.parent is None or panel.parent in kept:
            kept[panel.id] = panel
    return list(kept.values())


def _said(root: str) -> str:
    return "the opening" if root == "spine" else f"the hand on {root.split(':')[0]}"
