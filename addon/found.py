"""What the last check of a scene found, as the interface keeps it: the list, and where each finding's symbol stands."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import bpy
import numpy as np
from bpy_extras.view3d_utils import location_3d_to_region_2d
from mathutils import Vector
from shapely import Point

from .books import active_book, is_hidden_in_book, panel_object, panels_of
from .carrying import TEXT_KEY
from .convert import to_object
from .geometry.checks import Finding
from .geometry.spread import Spread
from .geometry.transforms import Array

__all__ = ["Symbol", "apart", "is_stale", "list_findings", "on_screen", "shown_check", "symbols_in"]

#: A viewport shows no more symbols, the worst findings first, as they are listed.
_MOST = 200


@dataclass(frozen=True)
class Symbol:
    """A finding as it is shown.

    Parameters
    ----------
    index : its place in the list
    severity : error, warning or note
    place : (2,) float, pixels from the lower left corner of the region
    """

    index: int
    severity: str
    place: Array


def list_findings(
    context: bpy.types.Context, root: bpy.types.Object, spread: Spread, findings: Sequence[Finding], figures: str
) -> None:
    """Keep what the check found, and the description that it speaks of.

    Parameters
    ----------
    context : its scene keeps it
    root : the checked book
    spread : what its description builds
    findings : of the check
    figures : the lines below the findings
    """
    check: Any = context.scene.hingeleaf  # type: ignore[attr-defined]
    check.book, check.active, check.figures, check.digest = root, -1, figures, _digest(root[TEXT_KEY])
    check.findings.clear()
    for finding in findings:
        entry = check.findings.add()
        entry.severity, entry.piece, entry.panel = finding.severity, finding.piece, finding.panel or ""
        where = [name for name in (finding.panel, finding.other) if name] or [finding.piece]
        entry.short = f"{finding.code}: {', '.join(where)}"
        entry.other, entry.message, entry.remedy = finding.other or "", finding.message, finding.remedy or ""
        entry.has_opening, entry.opening = finding.opening_deg is not None, finding.opening_deg or 0.0
        entry.mending = json.dumps(finding.mending) if finding.mending else ""
        _keep_place(entry, spread, finding)


def _keep_place(entry: Any, spread: Spread, finding: Finding) -> None:
    """Where the symbol stands: at the finding's place, else in the middle of its panel."""
    entry.has_place = finding.place_mm is not None
    entry.anchor = _anchor(spread, finding)
    if entry.anchor in spread.panels:
        panel = spread.panels[entry.anchor]
        middle = panel.outline.representative_point()
        entry.place_x, entry.place_y = finding.place_mm or (middle.x, middle.y)
        entry.spot = to_object(panel, np.array([[entry.place_x, entry.place_y]]))[0]


def _anchor(spread: Spread, finding: Finding) -> str:
    """The panel whose net a finding's place is on: of glue the host, else its own."""
    hosts = [area.host for area in spread.glue_areas if area.glued == finding.panel]
    if finding.code == "glue" and finding.place_mm is not None and hosts:
        place = Point(finding.place_mm)
        return min(hosts, key=lambda host: spread.panels[host].outline.distance(place))
    return finding.panel or next(iter(_panels(spread, finding.piece)), "")


def _panels(spread: Spread, piece: str) -> tuple[str, ...]:
    return next((item.panels for item in spread.pieces if item.id == piece), ())


@lru_cache(maxsize=16)
def _digest(text: str) -> str:
    return hashlib.blake2b(text.encode(), digest_size=12).hexdigest()


def is_stale(check: Any) -> bool:
    """Whether the book was changed after it was checked."""
    return check.book is not None and check.digest != _digest(check.book.get(TEXT_KEY, ""))


def shown_check(context: bpy.types.Context) -> Any:
    """The check whose findings viewports show.

    None where the active book is not the checked one, or lies shut between leaves; or where they are hidden.
    """
    check: Any = getattr(context.scene, "hingeleaf", None)
    if check is None or check.book is None or not check.show_findings or not check.findings:
        return None
    return check if check.book == active_book(context) and not is_hidden_in_book(check.book) else None


def symbols_in(context: bpy.types.Context, size_px: float) -> list[Symbol]:
    """Where the symbols of findings stand in the region that is drawn, none over another one.

    Parameters
    ----------
    context : of the region
    size_px : width of a symbol
    """
    check = shown_check(context)
    if check is None:
        return []
    # After a change some panels may be gone, which is slow to find out one by one.
    panels = panels_of(check.book) if is_stale(check) else None
    found: list[tuple[int, str, Array]] = []
    for index, finding in enumerate(check.findings[:_MOST]):
        item = panel_object(check.book, finding.anchor) if panels is None else panels.get(finding.anchor)
        if item is not None and item.visible_get():
            place = on_screen(context, item, finding.spot)
            if place is not None:
                found.append((index, finding.severity, place))
    places = apart(np.array([place for *_, place in found]).reshape(-1, 2), size_px)
    return [Symbol(index, severity, place) for (index, severity, _), place in zip(found, places, strict=True)]


def on_screen(context: bpy.types.Context, item: bpy.types.Object, place: Any) -> Array | None:
    """Where the region that is drawn shows a place of an object, (3,) float, metres: pixels; None behind the eye."""
    if context.region is None or context.region_data is None:
        return None
    there = item.matrix_world @ Vector([float(value) for value in place])
    seen: Any = location_3d_to_region_2d(context.region, context.region_data, there)
    return None if seen is None else np.array(seen, dtype=float)


def apart(places: Array, size: float) -> Array:
    """Move what would lie over each other to the right, each as little as need be.

    Parameters
    ----------
    places : (n, 2) float
    size : least distance

    Returns
    -------
    (n, 2) float

    Examples
    --------
    >>> apart(np.array([[0.0, 0.0], [1.0, 0.0], [50.0, 0.0]]), 10.0).tolist()
    [[0.0, 0.0], [10.0, 0.0], [50.0, 0.0]]
    """
    moved = np.array(places, dtype=float)
    for row in range(1, len(moved)):
        for _ in range(row):
            near = np.abs(moved[:row] - moved[row]).max(axis=1) < size * (1 - 1e-9)
            if not near.any():
                break
            moved[row, 0] = moved[:row][near, 0].max() + size
    return moved
