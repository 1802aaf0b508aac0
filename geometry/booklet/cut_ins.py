"""Cut-ins of a piece: which is cut in which, the folds that they are cut across, and when those may be pressed flat."""

from __future__ import annotations

import numpy as np

from ..model import Hinge
from ..spread import Spread
from .words import Words, crease_id, listed, quoted

__all__ = ["crossed_fold", "cut_ins", "depth", "shut_over", "uncreased"]

#: A crease of a cut-in further than this beside the fold that it is cut across does not lie on it.
_BESIDE_MM = 0.05


def cut_ins(spread: Spread, piece_id: str) -> list[str]:
    """The cut-ins of a piece, by id, those on which others are cut first."""
    strips = [name for name in spread.piece(piece_id).panels if spread.panels[name].role == "strip"]
    found = list(dict.fromkeys(name.split(".")[0] for name in strips))
    return sorted(found, key=lambda name: depth(spread, name))


def depth(spread: Spread, cut_in: str) -> int:
    """In how many other cut-ins it is cut."""
    number, host = 0, spread.panels[f"{cut_in}.left"].parent
    while host is not None and spread.panels[host].role == "strip":
        number, host = number + 1, spread.panels[host.split(".")[0] + ".left"].parent
    return number


def uncreased(spread: Spread, words: Words, piece_id: str) -> str:
    """What must be said where a fold is not creased between the slits of a cut-in."""
    beside = [name for name in cut_ins(spread, piece_id) if _is_beside(spread, name)]
    if not beside:
        return ""
    names = listed([quoted(name) for name in beside])
    one = len(beside) == 1
    return (
        f"In {words.piece(piece_id)} the middle crease of {names} lies beside the fold that "
        f"{'it is' if one else 'they are'} "
        f"cut across. Do not crease that fold between the slits: the net shows no line there."
    )


def crossed_fold(spread: Spread, cut_in: str) -> Hinge:
    """The fold that a cut-in is cut across, or one part of it."""
    fold = next(cell.fold for cell in spread.cells if cell.id == cut_in)
    return next(hinge for hinge in spread.hinges if crease_id(hinge) == fold and hinge.kind != "glue")


def _is_beside(spread: Spread, cut_in: str) -> bool:
    """Whether its middle crease does not lie on the fold that it is cut across."""
    start, end = crossed_fold(spread, cut_in).lines[0]
    along = (end - start) / np.hypot(*(end - start))
    aside = spread.middle_of(cut_in).lines[0] - start
    return bool(np.abs(along[0] * aside[:, 1] - along[1] * aside[:, 0]).max() > _BESIDE_MM)


def _together(spread: Spread, piece: str, cut_in: str) -> list[str]:
    """The cut-ins that are pressed flat with one: cut across one fold, or across each other's creases, in order."""
    folds = {cell.id: cell.fold for cell in spread.cells}
    every = cut_ins(spread, piece)
    lines = {name: {folds[name], *(f"{name}.{part}" for part in ("left", "middle", "right"))} for name in every}
    found, taken = {cut_in}, lines[cut_in]
    while more := {name for name in every if name not in found and lines[name] & taken}:
        found |= more
        taken = taken.union(*(lines[name] for name in more))
    return [name for name in every if name in found]


def shut_over(spread: Spread, words: Words, piece: str, cut_in: str) -> str:
    """How a cut-in is pressed flat, once no other waits on the creases that are then rubbed down.

    Parameters
    ----------
    spread : Spread
    words : Words
    piece : on which it is cut
    cut_in : its id, just pushed through

    Returns
    -------
    str, a sentence
    """
    together = _together(spread, piece, cut_in)
    here = together.index(cut_in) + 1
    done, waiting = together[:here], together[here:]
    if waiting:
        return (
            f"Fold all these creases to a right angle only, and rub none down yet: "
            f"{listed([quoted(name) for name in waiting])}, cut across some of what is folded so far, "
            f"{'follows' if len(waiting) == 1 else 'follow'}."
        )
    folds = listed(list(dict.fromkeys(words.fold(crossed_fold(spread, name)) for name in done)))
    return (
        f"Fold {words.piece(piece)} shut at {folds}, with what is pushed through flat inside; rub down {folds} and the "
        f"creases of {listed([quoted(name) for name in done])}, and open it again."
    )
