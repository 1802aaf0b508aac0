"""What must hold of every design that can be built: DESIGN.md, section 3, judged without the core's own sums.

Matrices, outlines and hinge lines come from the core; distances, angles and the laws of the cells are worked out anew.
"""

from __future__ import annotations

import json
import tempfile
from collections.abc import Iterator
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import shapely

from geometry import HingeleafError, assemble
from geometry.checks import run_checks
from geometry.description.data import Description
from geometry.description.reader import read_description
from geometry.description.writer import write_description
from geometry.linkage import SphericalCell
from geometry.nets import write_nets
from geometry.poses import poses_data
from geometry.spread import Spread
from tests.geometry import judge

__all__ = ["broken"]

#: Openings at which poses are judged, degrees.
_OPENINGS = np.unique(np.concatenate([np.linspace(0.0, 180.0, 37), [1e-4, 0.01, 179.99, 179.9999]]))
#: On panels narrower than this the judge cannot feel out the side of a hinge.
_FELT_MM = 0.02
#: Of sectors, radians, and of lengths relative to the largest: what is called equal. Far above what a number is rounded
#: by, and far below what a description says.
_EQUAL = 1e-9


def broken(description: Description, spread: Spread, *, nets: bool = False) -> list[str]:
    """Every invariant that does not hold, in words.

    Parameters
    ----------
    description, spread : a design, read and assembled
    nets : whether its nets are written and read again too
    """
    scene = judge.posed(poses_data(spread, _OPENINGS, {}))
    every = [_rigid(scene), _hinged(scene), _reached(scene, spread), _lawful(spread), _developed(spread)]
    every += [_said(scene, spread), _round_trip(description)]
    every += [_written(spread)] if nets else []
    return [words for found in every for words in found]


def _rigid(scene: judge.Posed) -> Iterator[str]:
    error = judge.rigid_error(scene)
    if error > 1e-9:
        yield f"panels are not rigid, by {error:.3g}"


def _hinged(scene: judge.Posed) -> Iterator[str]:
    """Hinges coincide and are as long on both panels; dihedral angles are true."""
    for hinge in scene.hinges:
        gap = judge.hinge_gap(scene, hinge)
        if gap > 1e-6:
            yield f"{hinge['id']} gapes by {gap:.3g} mm"
        lengths = [float(np.hypot(*np.subtract(*line))) for line in hinge["line"]]
        if abs(lengths[0] - lengths[1]) > 1e-6:
            yield f"{hinge['id']} is {lengths} mm long"
        if hinge["kind"] == "glue" or min(_width(scene, panel, lengths[0]) for panel in hinge["panels"]) < _FELT_MM:
            continue
        try:
            off = judge.turned_deg(judge.signed_dihedral_deg(scene, hinge), hinge["dihedral"])
        except ValueError as error:
            yield f"{hinge['id']}: {error}"
            continue
        if off > 1e-5:
            yield f"{hinge['id']} is off by {off:.3g} degrees"


def _width(scene: judge.Posed, panel: str, length: float) -> float:
    """About how wide a panel is across a hinge of that length, mm."""
    return float(scene.outlines[panel].area / max(length, 1e-9))


def _reached(scene: judge.Posed, spread: Spread) -> Iterator[str]:
    """A panel has a place wherever the book is reached, and nowhere else."""
    low, high = np.degrees(spread.reachable())
    inside = (scene.angles_deg >= low + 1e-9) & (scene.angles_deg <= high - 1e-9)
    for panel, matrices in scene.matrices.items():
        if not np.isfinite(matrices[inside]).all():
            yield f"{panel} has no place at an opening that is said to be reached"


def _lawful(spread: Spread) -> Iterator[str]:
    """Each cell exists where the law of cosines says so, closes over its loop, and keeps to one branch."""
    for item in spread.cells:
        cell = item.cell
        spherical = isinstance(cell, SphericalCell)
        if spherical:
            one, two, three, four = cell.alpha_left, cell.alpha_right, cell.beta_left, cell.beta_right
            span, scale = np.pi, 1.0
        else:
            one, two, three, four = cell.base_left, cell.base_right, cell.width_left, cell.width_right
            span, scale = np.inf, max(one, two, three, four)
        lock = cell.lock()
        closes = abs(three - four) - abs(one - two)
        if closes > _EQUAL * scale and lock[0] == 0.0:
            yield f"{item.id} is said to close flat, and its widths or sectors differ by {closes:.3g} too much"
        if closes < -_EQUAL * scale and lock[0] > 1e-4:
            yield f"{item.id} is said to jam at {lock[0]:.3g}, and does not"
        most = min(three + four, 2 * span - three - four)
        if most - (one + two) > _EQUAL * scale and np.isfinite(lock[1]) and lock[1] < np.pi - 1e-4:
            yield f"{item.id} is said to lock at {lock[1]:.6g}, and opens fully"
        yield from _closed_loop(item.id, cell, spherical, scale)


def _closed_loop(name: str, cell: object, spherical: bool, scale: float) -> Iterator[str]:
    """The middle crease is where both added panels reach, at every angle of the fold where they do."""
    angles = np.linspace(0.01, np.pi - 0.01, 181)
    motion = cell.solve(angles)  # type: ignore[attr-defined]
    if spherical:
        sizes = cell.alpha_left, cell.alpha_right, cell.beta_left, cell.beta_right  # type: ignore[attr-defined]
        cosine = np.cos(sizes[0]) * np.cos(sizes[1]) + np.sin(sizes[0]) * np.sin(sizes[1]) * np.cos(angles)
        apart = np.arccos(np.clip(cosine, -1.0, 1.0))
        most = min(sizes[2] + sizes[3], 2 * np.pi - sizes[2] - sizes[3])
        length = np.abs(np.linalg.norm(motion.crease, axis=1) - 1.0)
        if np.nanmax(length, initial=0.0) > 1e-9:
            yield f"{name}: the direction of its middle crease is no direction"
    else:
        sizes = cell.base_left, cell.base_right, cell.width_left, cell.width_right  # type: ignore[attr-defined]
        apart = np.sqrt(sizes[0] ** 2 + sizes[1] ** 2 - 2 * sizes[0] * sizes[1] * np.cos(angles))
        most = sizes[2] + sizes[3]
    least = abs(sizes[2] - sizes[3])
    inside = (apart > least + 1e-6 * scale) & (apart < most - 1e-6 * scale)
    outside = (apart < least - 1e-6 * scale) | (apart > most + 1e-6 * scale)
    if not motion.exists[inside].all() or motion.exists[outside].any():
        yield f"{name} stands otherwise than the law of cosines says"
    for values in (motion.left, motion.right, motion.middle):
        # Whole turns left out: a panel that passes through its host is counted on from the other side.
        steps = np.abs((np.diff(values[motion.exists]) + np.pi) % (2 * np.pi) - np.pi)
        if np.nanmax(steps, initial=0.0) > 1.0:
            yield f"{name} jumps by {np.nanmax(steps):.3g} rad where its fold turns by one degree"


def _developed(spread: Spread) -> Iterator[str]:
    """Each piece can be cut from one sheet: its panels lie side by side on its net, and its creases on their edges."""
    for piece in spread.pieces:
        outlines = [spread.panels[panel].outline for panel in piece.panels]
        if not all(outline.is_valid and outline.area > 0 for outline in outlines):
            yield f"{piece.id} has a panel without an area"
            continue
        over = sum(outline.area for outline in outlines) - shapely.union_all(outlines).area
        if over > 1e-4:
            yield f"{piece.id} lies over itself on its net, {over:.3g} mm2"
        for hinge in spread.creases(piece.id):
            for name, line in zip(hinge.panels, hinge.lines, strict=True):
                off = judge.lies_on_edge(spread.panels[name].outline, line)
                if off > 1e-3:
                    yield f"{hinge.id} lies {off:.3g} mm off the edge of {name}"


def _said(scene: judge.Posed, spread: Spread) -> Iterator[str]:
    """What the checks say of closing and opening is so."""
    findings = run_checks(spread)
    codes = {finding.code for finding in findings}
    low, high = spread.reachable()
    if "closes-flat" not in codes and not judge.largest_height(scene, 0) <= 1e-6:
        yield "is said to close flat and does not"
    if not np.isfinite(high):
        if not any(finding.code == "closes-flat" and finding.severity == "error" for finding in findings):
            yield "cannot stand, and no error says so"
    elif ("opens-fully" not in codes) != (high == np.pi):
        yield "opens otherwise than the checks say"
    if "closes-flat" not in codes and low != 0.0:
        yield "closes otherwise than the checks say"
    for finding in findings:
        if not (np.isfinite(finding.measure) and finding.measure >= 0 and finding.message):
            yield f"{finding.code}: its measure is {finding.measure}"
        if finding.panel is not None and finding.panel not in spread.panels:
            yield f"{finding.code}: there is no panel {finding.panel}"


def _round_trip(description: Description) -> Iterator[str]:
    """Writing back what was read changes nothing."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder, description.source)
        write_description(description, file)
        again = read_description(file)
        if file.read_text(encoding="utf-8") != description.text or again.mechanisms != description.mechanisms:
            yield "written and read again it is another one"
        before, after = (poses_data(assemble(each), np.array([0.0, 77.0]), {}) for each in (description, again))
        if json.dumps(before, allow_nan=False) != json.dumps(after, allow_nan=False):
            yield "written and read again it moves otherwise"


def _written(spread: Spread) -> Iterator[str]:
    """Its nets can be written; each drawing is XML, and has every piece."""
    with tempfile.TemporaryDirectory() as folder:
        try:
            result = write_nets(spread, folder)
        except HingeleafError as error:
            if "sheet" not in str(error):
                yield f"its nets cannot be written: {error}"
            return
        drawn = set()
        for path in result.paths:
            if path.suffix == ".svg":
                tree = ElementTree.parse(path)
                drawn |= {element.get("data-piece") for element in tree.iter() if element.get("data-piece")}
        missing = {piece.id for piece in spread.pieces} - drawn
        if missing:
            yield f"its nets lack {sorted(missing)}"
