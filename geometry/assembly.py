"""From a description to a spread: mechanisms built in the order in which they stand on each other."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely
from shapely import Polygon, box

from .building import Building, HingePlan
from .contact import common_spans, edge_spans
from .description.data import Description, MechanismSpec
from .description.fields import HOSTS
from .errors import DescriptionError, HingeleafError, MechanismError, Problem
from .mechanisms import KINDS
from .mechanisms.trimming import trim_tabs
from .model import Angle, Axis, Fold, GlueArea, Hinge, HostSide, Panel, Piece, Trim
from .outline import carried, common_part, parts_of
from .spread import Spread
from .tolerances import SLIVER_MM2
from .transforms import Array

__all__ = ["assemble", "building_problems"]


def assemble(description: Description) -> Spread:
    """Build the spread that a description describes.

    Parameters
    ----------
    description : Description

    Returns
    -------
    Spread

    Raises
    ------
    DescriptionError
        A mechanism cannot be built; carries every problem found.

    Examples
    --------
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
    >>> list(spread.panels)
    ['page.right', 'page.left', 'roof.left', 'roof.left.tab', 'roof.right', 'roof.right.tab']
    >>> sorted({fold for fold, side in spread.folds})
    ['roof.left', 'roof.middle', 'roof.right', 'spine']
    """
    building, problems, trims = _built(description, frozenset())
    hinges = _hinges(building, problems) if not problems else ()
    if problems:
        raise DescriptionError(problems, description.source)
    page = description.page
    return Spread(
        title=description.title,
        page_size_mm=(page.width_mm, page.height_mm),
        margin_mm=page.margin_mm,
        limits=description.limits,
        pieces=tuple(building.pieces.values()),
        panels=_parents_first(building.panels),
        hinges=hinges,
        folds=building.folds,
        units=tuple(building.units),
        glue_areas=_glue_areas(building),
        mechanisms=description.mechanisms,
        trims=trims,
        solids=tuple(building.solids),
    )


def building_problems(description: Description, failed: frozenset[str]) -> list[Problem]:
    """What keeps the readable part of a description from being built.

    Parameters
    ----------
    description : with those mechanisms left out that could not be read
    failed : their ids; what stands on them is not tried
    """
    return _built(description, failed)[1]


def _built(description: Description, unreadable: frozenset[str]) -> tuple[Building, list[Problem], tuple[Trim, ...]]:
    building = Building(description)
    _add_pages(building)
    problems: list[Problem] = []
    failed = set(unreadable)
    ordered, circular = _in_order(description.mechanisms)
    for spec in circular:
        key = next((key for key in HOSTS if key in spec.values), "fold")
        message = "stands on itself through others; stand it on something else"
        problems.append(Problem(spec.place(key), message, spec.line(key)))
        failed.add(spec.id)
    for spec in ordered:
        if spec.id in failed or _host_ids(spec) & failed:
            failed.add(spec.id)
            continue
        try:
            KINDS[spec.kind].build(spec, building)
        except MechanismError as error:
            problems.append(Problem(spec.place(error.key), str(error), spec.line(error.key)))
            failed.add(spec.id)
        except HingeleafError as error:
            problems.append(Problem(spec.place(), str(error), spec.line()))
            failed.add(spec.id)
    tried = {name for spec in ordered if spec.id in failed for name in _host_ids(spec)}
    for variable, spec in building.loose.items():
        if spec.id in tried:
            # What was to move it has a problem of its own.
            continue
        message = f"{variable.split(':')[0]} is moved by nothing; join it to something that moves, or leave driven out"
        problems.append(Problem(spec.place("driven"), message, spec.line("driven")))
    trims: tuple[Trim, ...] = ()
    if not problems:
        trims = trim_tabs(building)
        problems.extend(_net_problems(building))
    return building, problems, trims


def _add_pages(building: Building) -> None:
    page = building.description.page
    width, height = page.width_mm, page.height_mm
    stock = building.description.stocks[page.stock]
    panels = ("page.right", "page.left")
    printed = page.art_front, page.art_back, page.color_front, page.color_back
    building.pieces["page"] = Piece("page", "page card", stock, panels, *printed)
    building.add_panel(Panel("page.right", "page", box(0, 0, width, height), None, np.eye(4), None, "page"))
    turn = Angle("spine", -1.0, np.pi)
    axis = Axis(np.zeros(3), np.array([0.0, 1.0, 0.0]), turn)
    building.add_panel(Panel("page.left", "page", box(-width, 0, 0, height), "page.right", np.eye(4), axis, "page"))
    origin, along, across = np.zeros(2), np.array([0.0, 1.0]), np.array([1.0, 0.0])
    left, right = HostSide("page.left", origin, along, -across), HostSide("page.right", origin, along, across)
    opening = Angle("spine")
    both = ("page.left", "page.right")
    building.hinges.append(HingePlan("spine", "spine", both, (origin, origin), (along, along), opening, both))
    building.add_fold(Fold("spine", "valley", left, right, opening, 1.0, 0.0, height))
    building.add_fold(Fold("spine", "mountain", left, right, opening.other_side(), -1.0, 0.0, height))


def _host_ids(spec: MechanismSpec) -> set[str]:
    """Ids of the mechanisms that this one stands on: the first parts of its folds' and panels' names."""
    return {str(spec.values[key]).split(".")[0] for key in HOSTS if key in spec.values}


def _in_order(specs: tuple[MechanismSpec, ...]) -> tuple[list[MechanismSpec], list[MechanismSpec]]:
    """Hosts before what stands on them, otherwise as written; and those that stand on themselves."""
    known = {spec.id for spec in specs}
    placed: set[str] = set()
    ordered: list[MechanismSpec] = []
    waiting = list(specs)
    while waiting:
        ready = [spec for spec in waiting if not (_host_ids(spec) & known) - placed]
        if not ready:
            break
        ordered.extend(ready)
        placed.update(spec.id for spec in ready)
        waiting = [spec for spec in waiting if spec.id not in placed]
    return ordered, waiting


def _parents_first(panels: dict[str, Panel]) -> dict[str, Panel]:
    ordered: dict[str, Panel] = {}
    for panel in panels.values():
        chain = [panel]
        while chain[-1].parent is not None and chain[-1].parent not in ordered:
            chain.append(panels[chain[-1].parent])
        for item in reversed(chain):
            ordered[item.id] = panels[item.id]
    return ordered


def _net_problems(building: Building) -> list[Problem]:
    """Pieces whose panels lie on each other on the net, so that they cannot be cut from one sheet."""
    problems = []
    for piece in building.pieces.values():
        outlines = [building.panels[name].outline for name in piece.panels]
        overlap = sum(outline.area for outline in outlines) - shapely.union_all(outlines).area
        if overlap > SLIVER_MM2 * len(outlines):
            spec = next((spec for spec in building.description.mechanisms if spec.id == piece.id.split(".")[0]), None)
            message = (
                f"overlaps itself on its net by {overlap:.3f} mm2; move the free edges apart or make the tabs narrower"
            )
            place, line = (spec.place(), spec.line()) if spec else ("page", None)
            problems.append(Problem(place, message, line))
    return problems


def _glue_areas(building: Building) -> tuple[GlueArea, ...]:
    """Where card is really glued on card, once all cuts are made."""
    return tuple(
        replace(area, outline=part)
        for area in building.glue_areas
        for part in parts_of(common_part(area.outline, _on_host(building.panels[area.glued])))
        for part in ([part] if building.panels[area.glued].role == "tab" else _still_there(building, area, part))
    )


def _on_host(glued: Panel) -> Polygon:
    """A fixed panel's outline in its host's net coordinates."""
    return carried(glued.outline, glued.rest)


def _still_there(building: Building, area: GlueArea, part: Polygon) -> list[Polygon]:
    """What is left of a rider's gluing area after later cuts in its host."""
    return parts_of(common_part(part, building.panels[area.host].outline))


def _hinges(building: Building, problems: list[Problem]) -> tuple[Hinge, ...]:
    hinges: list[Hinge] = []
    for plan in building.hinges:
        spans = _spans(building, plan)
        if not spans and (problem := _cut_away(building, plan)) not in problems:
            problems.append(problem)
        for number, (start, end) in enumerate(spans, start=1):
            name = plan.id if number == 1 else f"{plan.id}#{number}"
            hinges.append(Hinge(name, plan.kind, plan.panels, _ends(plan, start, end), plan.dihedral))
    return tuple(hinges)


def _cut_away(building: Building, plan: HingePlan) -> Problem:
    # Where a tab is glued on, one fold is three hinges: its crease, and the gluing of the panel and of the tab.
    fold = plan.id.removesuffix(".glue").removesuffix(".tab")
    message = f"{fold} has been cut away altogether; leave some of it"
    for spec in building.description.mechanisms:
        if spec.kind == "slit-cut-in" and spec.values.get("fold") == fold:
            return Problem(spec.place("length"), message, spec.line("length"))
    return Problem(fold, message, None)


def _spans(building: Building, plan: HingePlan) -> list[tuple[float, float]]:
    spans = None
    for panel in plan.touching:
        index = plan.panels.index(panel) if panel in plan.panels else 0
        own = edge_spans(building.panels[panel].outline, plan.origins[index], plan.directions[index])
        spans = own if spans is None else common_spans(spans, own)
    return spans or []


def _ends(plan: HingePlan, start: float, end: float) -> Array:
    return np.array(
        [
            [origin + start * line, origin + end * line]
            for origin, line in zip(plan.origins, plan.directions, strict=True)
        ]
    )
