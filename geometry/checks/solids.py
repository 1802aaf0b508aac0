"""Solids: whether the book shuts over them, what they run into, and whether a hand can fold them.

One finding a solid and fault, never one a facet: its facets touch each other by nature and move as one.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely

from ..crossing import Index, PanelEdges, find_crossings, panel_edges
from ..files import is_there
from ..motion import pose_panels, solve_cells
from ..outline import carried
from ..solids import Solid
from ..spread import Spread
from ..tolerances import SHALLOW_MM, TOUCH_MM
from ..transforms import Array, apply
from .collisions import sampled_openings_deg
from .findings import Finding, Severity

__all__ = [
    "check_solid_facets",
    "check_solid_meshes",
    "check_solid_tabs",
    "check_solids_collide",
    "check_solids_overhang",
    "check_solids_stand",
]

_STANDS, _COLLIDES, _MESH = "solid-stands", "solid-collides", "solid-mesh"
#: Where a page first touches a solid is found to this.
_EXACT_DEG = 0.01
#: Openings are tried in portions of so many, from the open book on, until something touches.
_PORTION = 20
#: A solid that something runs into within this of the widest opening is in the way in the open book.
_OPEN_DEG = 0.5
_REMEDY = (
    "take it as a prop beside the spread; or build it of boxes, tents and layers, which fold with the book; or, where "
    "it is put on only to be shown, write loose = true"
)


@dataclass(frozen=True)
class _Contact:
    """What a solid meets first as the book is shut: the panel, the opening in degrees, a place on it, and how deep."""

    panel: str
    opening_deg: float
    place: tuple[float, float]
    depth_mm: float


def check_solids_stand(spread: Spread) -> list[Finding]:
    """Findings on solids over which the book does not shut.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    list of Finding, code "solid-stands", one a solid; measure is its height in mm, opening_deg the widest opening at
    which something touches it, None where nothing does; an error, or a note where it is loose

    Notes
    -----
    Looked at every degree, from the open book on, and then to 0.01 degrees; a contact between two samples is not seen.
    """
    return [_stands(spread, solid, _first_contact(spread, solid)) for solid in spread.solids]


def _stands(spread: Spread, solid: Solid, contact: _Contact | None) -> Finding:
    height, host = solid.height_mm, solid.host
    message = f"{solid.id} stands {height:.1f} mm above {host} and does not fold"
    severity: Severity = "note" if solid.loose else "error"
    if contact is None:
        # Nothing presses on what stands outside the closed book, but the book does not lie on it.
        severity = "note" if solid.loose else "warning"
        message += "; nothing touches it as the book is shut, so it stands out of the closed book"
    elif solid.loose:
        message += (
            f": take it off before the book is shut below {contact.opening_deg:.1f} degrees, where it would touch "
        )
        message += contact.panel
    else:
        message += f", so the book does not shut: {contact.panel} touches it at an opening of "
        message += f"{contact.opening_deg:.1f} degrees"
    piece, panel = spread.panels[solid.foot[0]].piece, solid.foot[0]
    return Finding(
        _STANDS,
        severity,
        piece,
        panel,
        None,
        None if contact is None else round(contact.opening_deg, 2),
        height,
        "mm",
        message,
        None if solid.loose else _REMEDY,
        other=None if contact is None else contact.panel,
    )


def check_solids_collide(spread: Spread) -> list[Finding]:
    """Findings on solids that something passes through in the open book.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    list of Finding, code "solid-collides", one a solid and mechanism; measure is the greatest depth in mm
    """
    findings = []
    for solid in spread.solids:
        seen: set[str] = set()
        for contact in _in_open_book(spread, solid):
            owner = contact.panel.split(".")[0] if not contact.panel.startswith("page.") else contact.panel
            if owner in seen:
                continue
            seen.add(owner)
            message = (
                f"{contact.panel} passes through {solid.id} at an opening of {contact.opening_deg:.1f} degrees, where "
                f"the book lies open, {contact.depth_mm:.1f} mm deep; move one of them"
            )
            foot = spread.panels[solid.foot[0]]
            findings.append(
                Finding(
                    _COLLIDES, "error", foot.piece, foot.id, None, contact.opening_deg, contact.depth_mm, "mm", message,
                    other=contact.panel,
                )
            )  # fmt: skip
    return findings


def _bodies(spread: Spread) -> dict[str, str]:
    """The panel that each panel moves with."""
    body: dict[str, str] = {}
    for panel in spread.panels.values():
        fixed = panel.parent is not None and panel.axis is None
        body[panel.id] = body[str(panel.parent)] if fixed else panel.id
    return body


def _tried(spread: Spread) -> dict[str, shapely.Polygon]:
    """Outlines of what is tried: tabs inside solids touch nothing that their facets do not."""
    inside = {name for solid in spread.solids for name in solid.tabs}
    return {name: panel.outline for name, panel in spread.panels.items() if name not in inside}


def _pairs(edges: PanelEdges, own: Sequence[str], others: Sequence[str]) -> Index:
    rows = {name: row for row, name in enumerate(edges.names)}
    first = np.array([rows[name] for name in own if name in rows], dtype=np.int64)
    second = np.array([rows[name] for name in others if name in rows], dtype=np.int64)
    return np.stack([np.repeat(first, len(second)), np.tile(second, len(first))], axis=1)


def _moving_pairs(spread: Spread, solid: Solid, edges: PanelEdges) -> Index:
    """Its facets and all that moves against it."""
    body = _bodies(spread)
    others = [name for name in edges.names if body[name] != body[solid.host]]
    return _pairs(edges, solid.facets, others)


def _first_contact(spread: Spread, solid: Solid) -> _Contact | None:
    low, high = np.degrees(spread.reachable())
    if not np.isfinite(low):
        return None
    edges = panel_edges(_tried(spread))
    pairs = _moving_pairs(spread, solid, edges)
    openings = sampled_openings_deg(low, high)[::-1]
    for begin in range(0, len(openings), _PORTION):
        tried = openings[begin : begin + _PORTION]
        found = _contacts(spread, edges, pairs, tried)
        if found:
            # From card that gives to where it is first touched there is less than a sample.
            wider = openings[openings > found[0].opening_deg][-2:]
            return _narrowed(spread, edges, pairs, found[0], float(wider[0]) if len(wider) == 2 else float(high))
    return None


def _narrowed(spread: Spread, edges: PanelEdges, pairs: Index, met: _Contact, free: float) -> _Contact:
    """The contact where it begins, between an opening at which all is free and a smaller one."""
    while free - met.opening_deg > _EXACT_DEG:
        # One look at nine places between costs hardly more than at one.
        between = np.linspace(free, met.opening_deg, 11)[1:-1]
        found = _contacts(spread, edges, pairs, between, least_mm=0.0)
        if not found:
            free = float(between[-1])
            continue
        at = between.tolist().index(found[0].opening_deg)
        met, free = found[0], float(between[at - 1]) if at else free
    return met


def _contacts(
    spread: Spread, edges: PanelEdges, pairs: Index, openings_deg: Array, least_mm: float = SHALLOW_MM
) -> list[_Contact]:
    """All that is met at the widest of some openings at which anything is, the deepest first."""
    if not len(pairs):
        return []
    matrices = pose_panels(spread.panels.values(), solve_cells(np.radians(openings_deg), spread.units))
    poses = np.stack([matrices[name] for name in edges.names], axis=1)
    met = find_crossings(edges, poses, pairs)
    deep = np.flatnonzero(met.depth > least_mm)
    if not len(deep):
        return []
    widest = float(openings_deg[met.opening[deep]].max())
    deep = deep[openings_deg[met.opening[deep]] == widest]
    deep = deep[np.argsort(-met.depth[deep], kind="stable")]
    return [
        _Contact(edges.names[met.second[row]], widest, (float(met.place[row, 0]), float(met.place[row, 1])), depth)
        for row in deep.tolist()
        for depth in [float(met.depth[row])]
    ]


def _in_open_book(spread: Spread, solid: Solid) -> list[_Contact]:
    """What is met in the open book: what moves, and what stands on the same panel."""
    low, high = np.degrees(spread.reachable())
    if not np.isfinite(low):
        return []
    edges = panel_edges(_tried(spread))
    body = _bodies(spread)
    later = {name for other in spread.solids[spread.solids.index(solid) :] for name in other.panels}
    # Of two solids on one panel the first tells.
    beside = [
        name
        for name in edges.names
        if body[name] == body[solid.host] and name not in solid.panels and _stands_up(spread, name, later)
    ]
    pairs = np.concatenate([_moving_pairs(spread, solid, edges), _pairs(edges, solid.facets, beside)])
    return _contacts(spread, edges, pairs, np.array([max(float(high) - _OPEN_DEG, float(low))]))


def _stands_up(spread: Spread, name: str, later: set[str]) -> bool:
    """Whether a panel on the same host may be in a solid's way: another solid's facet."""
    return name in later and spread.panels[name].role != "tab"


def check_solids_overhang(spread: Spread) -> list[Finding]:
    """Findings on solids that reach beyond the open pages, where a hand catches them.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    list of Finding, code "stays-inside", one a solid; measure is how far in mm
    """
    if not spread.solids:
        return []
    _, high = spread.reachable()
    if not np.isfinite(high):
        return []
    width, height = spread.page_size_mm
    matrices = spread.pose(np.array([high])).matrices
    pages = [carried(spread.panels[name].outline, matrices[name][0]) for name in ("page.left", "page.right")]
    whole = shapely.convex_hull(shapely.union_all([shapely.box(0.0, 0.0, width, height), *pages]))
    findings = []
    for solid in spread.solids:
        corners = [
            apply(matrices[name][0], np.asarray(spread.panels[name].outline.exterior.coords))[:, :2]
            for name in solid.facets
        ]
        points = np.concatenate(corners)
        away = shapely.distance(shapely.points(points), whole)
        if away.max() > TOUCH_MM:
            message = (
                f"{solid.id} reaches {away.max():.1f} mm beyond the edge of the open pages, where a hand catches it"
            )
            foot = spread.panels[solid.foot[0]]
            opening = float(np.degrees(high))
            severity: Severity = "note" if solid.loose else "warning"
            findings.append(
                Finding(
                    "stays-inside", severity, foot.piece, foot.id, None, opening, float(away.max()), "mm", message
                )
            )  # fmt: skip
    return findings


def check_solid_tabs(spread: Spread) -> list[Finding]:
    """Findings on tabs inside solids that are too narrow to be glued by hand, one a solid.

    Returns
    -------
    list of Finding, code "glue"; measure is the width of the narrowest, mm
    """
    findings = []
    for solid in spread.solids:
        widths = {name: _depth(spread, name) for name in solid.tabs}
        narrow = {name: width for name, width in widths.items() if width < spread.limits.tab_width - TOUCH_MM}
        if narrow:
            name = min(narrow, key=lambda item: narrow[item])
            message = (
                f"{len(narrow)} of the {len(widths)} tabs that hold {solid.id} together are narrower than the "
                f"{spread.limits.tab_width:g} mm that a hand needs; the narrowest, {name.split('.t')[-1]}, is "
                f"{narrow[name]:.1f} mm wide"
            )
            findings.append(_of_panel(spread, ("glue", "note"), name, narrow[name], "mm", message))
    return findings


def _depth(spread: Spread, tab: str) -> float:
    """How far a tab of a solid reaches beyond its crease."""
    outline = spread.panels[tab].outline
    line = next((hinge.lines[1] for hinge in spread.hinges if hinge.id == tab), None)
    if line is None:
        return 0.0
    along = (line[1] - line[0]) / np.hypot(*(line[1] - line[0]))
    offset = np.asarray(outline.exterior.coords) - line[0]
    return float(np.abs(offset @ np.array([-along[1], along[0]])).max())


def check_solid_facets(spread: Spread) -> list[Finding]:
    """Findings on facets of solids too narrow to be folded by hand, one a solid.

    Returns
    -------
    list of Finding, code "strength"; measure is the width of the narrowest, mm
    """
    findings = []
    limit = spread.limits.panel_width
    for solid in spread.solids:
        widths = {
            name: 2 * float(shapely.maximum_inscribed_circle(spread.panels[name].outline, tolerance=0.01).length)
            for name in solid.facets
            if name not in solid.foot
        }
        narrow = {name: width for name, width in widths.items() if width < limit - 0.02}
        if narrow:
            name = min(narrow, key=lambda item: narrow[item])
            message = (
                f"{len(narrow)} of the {len(solid.facets)} facets of {solid.id} are narrower than {limit:g} mm, from "
                f"which on they fold cleanly; the narrowest is {narrow[name]:.1f} mm wide: make it larger, or reduce "
                f"the model"
            )
            findings.append(_of_panel(spread, ("strength", "warning"), name, narrow[name], "mm", message))
    return findings


def check_solid_meshes(spread: Spread) -> list[Finding]:
    """Findings on what is wrong with the meshes of solids, and on textures that are not there.

    Returns
    -------
    list of Finding, code "solid-mesh"; measure is how many faces or files it is about
    """
    findings = []
    for solid in spread.solids:
        notes = (*solid.unfolded.facets.notes, *solid.unfolded.notes)
        for note in notes:
            if note.severity == "warning":
                message = f"{solid.id}: {note.text}"
                count = max(len(note.faces), 1)
                findings.append(_of_panel(spread, (_MESH, "warning"), solid.foot[0], float(count), "faces", message))
        for path in _missing(solid):
            message = f"{solid.id}: the picture {path} of its model is not there; its facets stay plain"
            findings.append(_of_panel(spread, (_MESH, "warning"), solid.foot[0], 1.0, "files", message))
    return findings


def _of_panel(
    spread: Spread,
    what: tuple[str, Severity],
    panel: str,
    measure: float,
    unit: Literal["mm", "faces", "files"],
    message: str,
) -> Finding:
    code, severity = what
    return Finding(code, severity, spread.panels[panel].piece, panel, None, None, measure, unit, message)


def _missing(solid: Solid) -> Iterator[str]:
    """Textures of the model that are no files."""
    for surface in solid.unfolded.facets.mesh.surfaces:
        if surface.texture is not None and not is_there(surface.texture):
            yield surface.texture
