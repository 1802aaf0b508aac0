"""Figures that are no findings: bulk, speed of the tips, and how forgiving each mechanism is."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from .accuracy import Accuracy, Creep, MonteCarlo, creep_effects, monte_carlo, sensitivities
from .checks.bulk import BulkMap, bulk_map
from .checks.moving import Speed, flat_when_open, speeds
from .linkage import PlanarCell
from .loops import Loop
from .model import CellOnFold
from .spread import Spread

__all__ = ["Figures", "figures_data", "figures_of", "figures_text"]

_LISTED = 3
#: Half of the last digit that is shown of what stays open, mm: below that nothing is told.
_SHOWN_MM = 0.05
#: Card that a panel loses is told from here on, mm: half of the last digit that is shown.
_TOLD_MM = 0.005


@dataclass(frozen=True)
class Figures:
    """All figures of a spread, worked out once for every form they are told in.

    Parameters
    ----------
    bulk, speeds, flat_when_open, accuracy, creep : what bulk_map, speeds, flat_when_open, sensitivities and
        creep_effects return
    in_line_at_rest : mechanisms that a hand moves from a dead point: their link lies in line while left alone
    copies : the Monte Carlo run; None where there is nothing to err in
    """

    bulk: BulkMap
    speeds: tuple[Speed, ...]
    flat_when_open: tuple[str, ...]
    accuracy: tuple[Accuracy, ...]
    creep: tuple[Creep, ...]
    copies: MonteCarlo | None
    in_line_at_rest: tuple[str, ...]


def figures_of(spread: Spread) -> Figures:
    """Work out the figures of a spread."""
    accuracy = sensitivities(spread)
    return Figures(
        bulk_map(spread),
        tuple(speeds(spread)),
        tuple(flat_when_open(spread)),
        accuracy,
        creep_effects(spread),
        monte_carlo(spread) if accuracy else None,
        _in_line_at_rest(spread),
    )


def _in_line_at_rest(spread: Spread) -> tuple[str, ...]:
    rests = {hand.variable: hand.rest for hand in spread.hands}
    return tuple(loop.id for loop in spread.loops if rests.get(loop.driver) in loop.in_line_at)


def _equal(item: CellOnFold) -> bool:
    cell = item.cell
    if isinstance(cell, PlanarCell):
        return abs(cell.base_left - cell.base_right) < 1e-6
    return abs(cell.alpha_left - cell.alpha_right) < 1e-9


def _worst(found: tuple[Accuracy, ...], mechanism: str) -> list[Accuracy]:
    """The sizes that matter most, and of a loop the one for which card gives most."""
    own = [item for item in found if item.dimension.mechanism == mechanism]
    loops = [item for item in own[_LISTED:] if item.dimension.of_loop]
    worst = max(loops, key=lambda item: item.card_mm, default=None)
    if worst is None or worst.card_mm <= max(item.card_mm for item in own[:_LISTED]) + _SHOWN_MM:
        return own[:_LISTED]
    return [*own[:_LISTED], worst]


def figures_data(spread: Spread, figures: Figures | None = None) -> dict[str, Any]:
    """Bulk, speeds, creep and accuracy, ready for JSON; figures where they have been worked out already."""
    figures = figures_of(spread) if figures is None else figures
    return {
        "bulk": _bulk_data(figures.bulk),
        "speeds": [
            {
                "mechanism": item.mechanism,
                "panel": item.panel,
                "place_mm": list(item.place_mm),
                "opening_deg": item.opening_deg,
                "mm_per_deg": item.mm_per_deg,
                "speed_up": item.speed_up,
            }
            for item in figures.speeds
        ],
        "flat_when_open": list(figures.flat_when_open),
        "in_line_at_rest": list(figures.in_line_at_rest),
        "creep": [asdict(item) for item in figures.creep],
        "accuracy": [
            {
                "mechanism": item.dimension.mechanism,
                "dimension": item.dimension.name,
                "deviation": item.dimension.deviation,
                "unit": item.dimension.unit,
                "misfit_per_unit": item.misfit_per_unit,
                "fore_edge_mm": item.fore_edge_mm,
                "card_mm": item.card_mm,
                "stand_off_mm": item.stand_off_mm,
                "hand_off": item.hand_off,
            }
            for item in figures.accuracy
        ],
        "copies": None if figures.copies is None else _copies_data(figures.copies),
    }


def _bulk_data(bulk: BulkMap) -> dict[str, Any]:
    worst = bulk.worst
    return {
        "layers": worst.layers,
        "thickness_mm": worst.thickness_mm,
        "place_mm": list(worst.place_mm),
        "gusset_mm": bulk.gusset_mm,
        "left_out": list(bulk.left_out),
        "regions": [
            {
                "layers": region.layers,
                "thickness_mm": region.thickness_mm,
                "area_mm2": region.outline.area,
                "bounds": list(region.outline.bounds),
            }
            for region in bulk.regions
        ],
    }


def _copies_data(result: MonteCarlo) -> dict[str, Any]:
    return {
        "copies": result.copies,
        "seed": result.seed,
        "gap_mm": result.gap_mm,
        "share": result.share,
        "fore_edge_mm": {str(part): float(np.percentile(result.fore_edge_mm, part)) for part in (50, 90, 99)},
        "card_mm": {str(part): float(np.percentile(result.card_mm, part)) for part in (50, 90, 99)},
    }


def figures_text(spread: Spread, figures: Figures | None = None) -> list[str]:
    """The figures as lines to be read; figures where they have been worked out already."""
    figures = figures_of(spread) if figures is None else figures
    bulk = figures.bulk
    x, y = bulk.worst.place_mm
    lines = [
        f"  bulk: at most {bulk.worst.layers} layers, {bulk.worst.thickness_mm:.1f} mm, at {x:.0f}, {y:.0f} mm of the "
        f"closed page; a spine {bulk.gusset_mm:.1f} mm wide lets it close flat"
    ]
    for unit in spread.units:
        if isinstance(unit, CellOnFold):
            kind = "equal" if _equal(unit) else "unequal, it forgives little"
            lines += _mechanism_text(unit.id, kind, figures)
        elif isinstance(unit, Loop):
            lines += _mechanism_text(unit.id, "solved as a loop", figures)
    if figures.copies is not None:
        result = figures.copies
        half, nearly = (float(np.percentile(result.card_mm, part)) for part in (50, 90))
        lines.append(
            f"  of {result.copies} copies cut and glued by hand, if card did not give, {100 * result.share:.0f} % "
            f"would close to {result.gap_mm:g} mm at the fore edge; pressed shut, card gives up to {half:.1f} mm in "
            f"half of them, {nearly:.1f} mm in nine of ten"
        )
    return lines


def _mechanism_text(name: str, kind: str, figures: Figures) -> list[str]:
    lines = [f"  {name} ({kind})"]
    for speed in figures.speeds:
        if speed.mechanism == name:
            lines.append(
                f"    its tip is fastest at {speed.opening_deg:.0f} degrees: {speed.mm_per_deg:.2f} mm a degree, "
                f"{speed.speed_up:.2f} times the page's fore edge"
            )
    if name in figures.flat_when_open:
        lines.append("    lies flat when open: press its crease the right way when first closing the book")
    if name in figures.in_line_at_rest:
        lines.append("    lies in line with its link at rest, a dead point: crease the link well, as it is to lift")
    lines += [f"    {text}" for creep in figures.creep if creep.mechanism == name and (text := _creep_text(creep))]
    for accuracy in _worst(figures.accuracy, name):
        dimension = accuracy.dimension
        unit = "degrees" if dimension.unit == "deg" else "mm"
        lines.append(f"    {dimension.name} off by {dimension.deviation:g} {unit}: {_accuracy_text(accuracy)}")
    return lines


def _accuracy_text(item: Accuracy) -> str:
    """What one dimension does to closing, in a few words."""
    parts = []
    if item.fore_edge_mm >= _SHOWN_MM:
        parts.append(f"the fore edge stays up to {item.fore_edge_mm:.1f} mm open")
    if item.hand_off >= _SHOWN_MM:
        parts.append(f"a hand gets it up to {item.hand_off:.1f} short of its rest")
    if item.by_hand and item.stand_off_mm >= _SHOWN_MM:
        parts.append(f"left alone it stands up to {item.stand_off_mm:.1f} mm off")
    # A cell's card is told where nothing else is: elsewhere what stays open says more.
    if not parts or (item.dimension.of_loop and item.card_mm >= _SHOWN_MM):
        parts.append(f"pressed shut, card gives {item.card_mm:.1f} mm")
    return "; ".join(parts)


def _creep_text(creep: Creep) -> str:
    """What the thickness of card does to a mechanism, in one line; empty where it does nothing."""
    parts = []
    if creep.layers:
        count = f"{creep.layers} layer{'s' * (creep.layers != 1)}"
        took = f", {creep.creep_mm:.2f} mm lost on each panel" if creep.creep_mm >= _TOLD_MM else ""
        parts.append(f"its middle crease closes round {count}, {creep.thickness_mm:.2f} mm{took}")
    for side, lost in zip(("left", "right"), creep.feet_mm, strict=True):
        if lost >= _TOLD_MM:
            parts.append(f"card between its {side} panel and the host takes {lost:.2f} mm of that panel")
    if creep.fore_edge_mm >= _SHOWN_MM:
        parts.append(f"of itself the fore edge stays {creep.fore_edge_mm:.1f} mm open")
    return f"creep: {'; '.join(parts)}" if parts else ""
