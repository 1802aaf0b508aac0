"""Figures that are no findings: bulk, speed of the tips, and how forgiving each mechanism is."""

from __future__ import annotations

from typing import Any

import numpy as np

from .accuracy import Accuracy, MonteCarlo, monte_carlo, sensitivities
from .checks.bulk import bulk_map
from .checks.moving import flat_when_open, speeds
from .linkage import PlanarCell
from .model import CellOnFold
from .spread import Spread

__all__ = ["figures_data", "figures_text"]

_LISTED = 3


def _equal(item: CellOnFold) -> bool:
    cell = item.cell
    if isinstance(cell, PlanarCell):
        return abs(cell.base_left - cell.base_right) < 1e-6
    return abs(cell.alpha_left - cell.alpha_right) < 1e-9


def _worst(found: tuple[Accuracy, ...], mechanism: str) -> list[Accuracy]:
    return [item for item in found if item.dimension.mechanism == mechanism][:_LISTED]


def figures_data(spread: Spread) -> dict[str, Any]:
    """Bulk, speeds and accuracy, ready for JSON."""
    bulk = bulk_map(spread)
    found = sensitivities(spread)
    return {
        "bulk": {
            "layers": int(bulk.layers.max(initial=0)),
            "thickness_mm": float(bulk.thickness.max(initial=0.0)),
            "gusset_mm": bulk.gusset_mm,
        },
        "speeds": [
            {
                "mechanism": item.mechanism,
                "panel": item.panel,
                "place_mm": list(item.place_mm),
                "opening_deg": item.opening_deg,
                "mm_per_deg": item.mm_per_deg,
                "speed_up": item.speed_up,
            }
            for item in speeds(spread)
        ],
        "flat_when_open": list(flat_when_open(spread)),
        "accuracy": [
            {
                "mechanism": item.dimension.mechanism,
                "dimension": item.dimension.name,
                "deviation": item.dimension.deviation,
                "unit": item.dimension.unit,
                "misfit_per_unit": item.misfit_per_unit,
                "fore_edge_mm": item.fore_edge_mm,
                "stand_off_mm": item.stand_off_mm,
            }
            for item in found
        ],
        "copies": _copies_data(monte_carlo(spread)) if found else None,
    }


def _copies_data(result: MonteCarlo) -> dict[str, Any]:
    return {
        "copies": result.copies,
        "seed": result.seed,
        "gap_mm": result.gap_mm,
        "share": result.share,
        "fore_edge_mm": {str(part): float(np.percentile(result.fore_edge_mm, part)) for part in (50, 90, 99)},
    }


def figures_text(spread: Spread) -> list[str]:
    """The figures as lines to be read."""
    bulk = bulk_map(spread)
    lines = [
        f"  bulk: at most {bulk.layers.max(initial=0)} layers, {bulk.thickness.max(initial=0.0):.1f} mm; "
        f"a spine {bulk.gusset_mm:.1f} mm wide lets it close flat"
    ]
    found = sensitivities(spread)
    quick = {item.mechanism: item for item in speeds(spread)}
    flat = flat_when_open(spread)
    for item in spread.cells:
        kind = "equal" if _equal(item) else "unequal, it forgives little"
        lines.append(f"  {item.id} ({kind})")
        if item.id in quick:
            speed = quick[item.id]
            lines.append(
                f"    its tip is fastest at {speed.opening_deg:.0f} degrees: {speed.mm_per_deg:.2f} mm a degree, "
                f"{speed.speed_up:.2f} times the page's fore edge"
            )
        if item.id in flat:
            lines.append("    lies flat when open: press its crease the right way when first closing the book")
        for accuracy in _worst(found, item.id):
            dimension = accuracy.dimension
            unit = "degrees" if dimension.unit == "deg" else "mm"
            lines.append(
                f"    {dimension.name} off by {dimension.deviation:g} {unit}: the fore edge stays up to "
                f"{accuracy.fore_edge_mm:.1f} mm open"
            )
    if found:
        result = monte_carlo(spread)
        lines.append(
            f"  of {result.copies} copies cut and glued by hand, if card did not give, {100 * result.share:.0f} % "
            f"would close to {result.gap_mm:g} mm at the fore edge"
        )
    return lines
