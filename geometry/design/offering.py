"""Offering: the places of a spread at which a mechanism of some kind can be tried, and why not at the others.

This is what a pointer hovers over, so it only looks at what is quickly known; placing tries the real thing.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from ..description.data import Description
from ..errors import HingeleafError
from ..mechanisms.glued import host_normal
from ..model import Fold, HostSide, Panel
from ..motion import solve_cells
from ..spread import Spread

__all__ = ["ADDED", "TARGETS", "Offer", "Target", "offers", "refusal"]

#: What each kind is picked on: a fold; a panel; two panels one after the other; a wall of a box. A rider may also be
#: picked on a fold, across which it is then glued.
TARGETS: Mapping[str, str] = {
    "v-fold": "fold",
    "tent": "fold",
    "platform": "fold",
    "box": "fold",
    "accordion": "fold",
    "slit-cut-in": "fold",
    "rider": "panel",
    "flap": "panel",
    "pull-strip": "panel",
    "wheel": "panel",
    "strap": "panels",
    "layer": "box",
    "solid": "panel",
}
#: Kinds that need no more than a place to be added. A solid needs its model.
ADDED = tuple(kind for kind in TARGETS if kind != "solid")

#: Openings at which it is looked whether a fold turns.
_LOOKED_AT_RAD = np.radians([0.0, 45.0, 90.0, 135.0, 180.0])
#: A fold that turns by less, radians, raises nothing.
_TURNS_RAD = np.radians(4.0)
#: A fold or a panel that is smaller, mm, has no room for the smallest tab.
_SHORTEST_MM = 6.0

Points = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Target:
    """What is pointed at: a fold and one of its sides, or a panel.

    Parameters
    ----------
    fold, side : names; None where a panel is meant. A side of None is the one that a description would take
    panel : name; None where a fold is meant
    """

    fold: str | None = None
    side: str | None = None
    panel: str | None = None


@dataclass(frozen=True)
class Offer:
    """A place for a mechanism.

    Parameters
    ----------
    target : Target
    panels : of a fold its two hosts, left and right; of a panel itself
    points : for each of these panels, in its net coordinates, mm: the two ends of the fold, or the panel's outline
    reason : "" where a mechanism can be tried here; otherwise why not, in a short sentence
    """

    target: Target
    panels: tuple[str, ...]
    points: tuple[Points, ...]
    reason: str = ""


def offers(spread: Spread, description: Description, kind: str, *, on: str | None = None) -> tuple[Offer, ...]:
    """Every place at which a kind of mechanism could be tried.

    Parameters
    ----------
    spread : Spread, built from the description
    description : Description
    kind : a kind of mechanism
    on : "fold" for the folds across which a rider can be glued; by default what TARGETS says

    Returns
    -------
    tuple of Offer: of a cut-in one a fold, since it has no side; of other kinds one a side of every fold, or one a
    panel

    Raises
    ------
    HingeleafError
        There is no such kind, or it is never picked on a fold.
    """
    if kind not in TARGETS:
        raise HingeleafError(f'"{kind}" is no kind of mechanism; there are {", ".join(TARGETS)}')
    picked = TARGETS[kind] if on is None else on
    if picked == "fold":
        if TARGETS[kind] != "fold" and kind != "rider":
            raise HingeleafError(f"a {kind} is picked on a panel, not on a fold")
        return tuple(_fold_offers(spread, kind))
    boxes = frozenset(spec.id for spec in description.mechanisms if spec.kind == "box")
    solids = frozenset(name for solid in spread.solids for name in solid.panels)
    return tuple(_panel_offer(panel, kind, boxes, solids) for panel in spread.panels.values())


def refusal(spread: Spread, description: Description, kind: str, target: Target) -> str:
    """Why a mechanism cannot even be tried at a place; "" where it can."""
    on = "fold" if target.fold is not None else None
    if on is None and TARGETS.get(kind) == "fold":
        return f"a {kind} stands on a fold; point at one"
    known = offers(spread, description, kind, on=on)
    for offer in known:
        same = offer.target.fold == target.fold and offer.target.panel == target.panel
        if same and (target.side in (None, offer.target.side) or kind == "slit-cut-in"):
            if offer.reason and target.side is None and on is not None:
                # Another side of the same fold may do.
                continue
            return offer.reason
    reasons = [item.reason for item in known if item.target.fold == target.fold and item.target.panel == target.panel]
    if reasons:
        return reasons[0]
    name = target.fold if target.fold is not None else target.panel
    return f"there is no such {'fold' if on else 'panel'}: {name}"


def _fold_offers(spread: Spread, kind: str) -> Iterator[Offer]:
    turning = _turning(spread)
    sides: dict[str, list[Fold]] = {}
    for fold in spread.folds.values():
        sides.setdefault(fold.id, []).append(fold)
    for own in sides.values():
        if kind == "slit-cut-in":
            # It has no side: one offer a fold, on the card that it is cut from.
            by_side = {fold.side: fold for fold in own}
            card = by_side.get("tab") or by_side.get("valley")
            fold = own[0] if card is None else card
            yield _on_fold(fold, _card_reason(spread, fold, card is None, turning))
            continue
        for fold in own:
            if fold.side != "tab":
                yield _on_fold(fold, _glued_reason(spread, fold, kind, turning))


def _on_fold(fold: Fold, reason: str) -> Offer:
    points = tuple((_at(host, fold.start), _at(host, fold.end)) for host in (fold.left, fold.right))
    return Offer(Target(fold.id, fold.side), (fold.left.panel, fold.right.panel), points, reason)


def _at(host: HostSide, along_mm: float) -> tuple[float, float]:
    # Plain numbers: there are thousands of them in a large book.
    x, y = host.origin.tolist()
    dx, dy = host.along.tolist()
    return x + along_mm * dx, y + along_mm * dy


def _card_reason(spread: Spread, fold: Fold, no_card: bool, turning: Mapping[str, bool]) -> str:
    if no_card:
        return "a glue line without a tab has no card on both sides to cut"
    left, right = (spread.panels[host.panel] for host in (fold.left, fold.right))
    if left.piece != right.piece:
        return "joins two pieces; a cut-in needs one card on both sides"
    return _still(fold, turning) or _short(fold)


def _glued_reason(spread: Spread, fold: Fold, kind: str, turning: Mapping[str, bool]) -> str:
    if kind == "rider" and fold.side not in ("valley", "mountain"):
        return "is a glue line: a rider across it would be in the way of the tab"
    for side, host in (("left", fold.left), ("right", fold.right)):
        panel = spread.panels[host.panel]
        if panel.role == "tab":
            return "is a tab"
        if panel.piece == "page" and host_normal(fold, side) < 0:
            return "lies on the back of the page card, outside the book"
    return "" if kind == "rider" else _still(fold, turning) or _short(fold)


def _still(fold: Fold, turning: Mapping[str, bool]) -> str:
    variable = fold.dihedral.variable
    if variable is None or not turning.get(variable, False):
        return "does not turn: its two panels never fold against each other"
    return ""


def _short(fold: Fold) -> str:
    length = fold.end - fold.start
    return f"is only {length:.1f} mm long" if length < _SHORTEST_MM else ""


def _turning(spread: Spread) -> dict[str, bool]:
    """By variable, whether the opening, or a hand, turns it."""
    found: dict[str, bool] = {}
    for name, values in solve_cells(_LOOKED_AT_RAD, spread.units).items():
        good = values[np.isfinite(values)]
        found[name] = bool(len(good)) and float(good.max() - good.min()) > _TURNS_RAD
    for hand in spread.hands:
        found.update(dict.fromkeys(spread.moved_by(hand.variable), True))
    return found


def _panel_offer(panel: Panel, kind: str, boxes: frozenset[str], solids: frozenset[str]) -> Offer:
    ring = tuple((float(x), float(y)) for x, y in panel.outline.exterior.coords[:-1])
    reason = (
        "belongs to a solid, on which nothing is built" if panel.id in solids else _panel_reason(panel, kind, boxes)
    )
    return Offer(Target(panel=panel.id), (panel.id,), (ring,), reason)


def _panel_reason(panel: Panel, kind: str, boxes: frozenset[str]) -> str:
    if panel.role == "tab":
        return "is a tab"
    if kind == "layer":
        if panel.id.split(".")[0] not in boxes:
            return "is no wall of a box; a layer stands inside a box"
        return ""
    if panel.id.endswith(".bridge"):
        return "is the guide of a pull-strip, under which the strip slides"
    low_x, low_y, high_x, high_y = panel.outline.bounds
    size = min(high_x - low_x, high_y - low_y)
    return f"is only {size:.1f} mm wide" if size < _SHORTEST_MM else ""
