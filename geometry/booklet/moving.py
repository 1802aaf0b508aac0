"""Steps for what a hand moves and is not glued: strips laid under their guides, discs on their pivots."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..spread import Spread
from .joints import Assembly
from .states import reading
from .steps import SpreadPicture, Step
from .words import Words, listed

__all__ = ["moved_steps"]

#: Where a direction on a page leads, by its unit vector on the right page's net.
_WAYS = (("the fore edge", (1.0, 0.0)), ("the spine", (-1.0, 0.0)), ("the head", (0.0, 1.0)), ("the foot", (0.0, -1.0)))


def moved_steps(spread: Spread, words: Words, assembly: Assembly, done: Sequence[str]) -> list[Step]:
    """Lay in place what slides or turns, one step each.

    Parameters
    ----------
    spread : Spread
    words : Words
    assembly : Assembly
    done : panels that stand already

    Returns
    -------
    list of Step
    """
    steps = []
    for name in sorted(assembly.moved):
        panel = spread.panels[name]
        if panel.axis is not None and panel.axis.slides:
            steps.append(_strip_step(spread, words, assembly, name, done))
        else:
            steps.append(_disc_step(spread, words, name, done))
    return steps


def _outwards(spread: Spread, name: str) -> bool:
    """Whether the printed face of what lies on a host looks away from it."""
    return bool((spread.panels[name].rest[2, 2] > 0.0) != _behind(spread, name))


def _behind(spread: Spread, name: str) -> bool:
    return any(hand.behind for hand in spread.hands if hand.id == spread.panels[name].piece)


def _picture(spread: Spread, caption: str, panels: Sequence[str], new: Sequence[str], *, over: bool) -> SpreadPicture:
    opening = reading(spread)[1]
    text = caption + ("; the spread is turned over left to right" if over else "")
    return SpreadPicture(text, "standing", opening, tuple(panels), tuple(new), over=over)


def _strip_step(spread: Spread, words: Words, assembly: Assembly, name: str, done: Sequence[str]) -> Step:
    panel = spread.panels[name]
    host, piece = str(panel.parent), words.piece(panel.piece)
    behind = _behind(spread, name)
    face = "back" if behind else "front"
    guides = [joint for each in assembly.outer for joint in each if joint.host == host and joint.face == face]
    facing = "away from the card" if _outwards(spread, name) else "against the card"
    sentences = [
        f"Lay {piece} on {words.face(host, face)}, its printed face {facing}, its handle towards "
        f"{_way(spread, name)}"
        + (f", between the two halves of each of the places marked {_marks(words, guides)}." if guides else ".")
    ]
    carried = [joint for each in assembly.inner for joint in each if joint.host == name]
    # What stands on the face of the strip that looks at the page has to go through the page.
    through = [joint for joint in carried if (joint.face == "front") != _outwards(spread, name)]
    if through:
        link = words.pieces([spread.panels[joint.glued].piece for joint in through])
        front = "back to the printed face" if behind else "printed face to the back"
        pieces = {spread.panels[joint.glued].piece for joint in through}
        others = [joint.host for each in assembly.outer for joint in each if spread.panels[joint.glued].piece in pieces]
        lifted = f" Hold {listed([words.host(other) for other in others])} open meanwhile." if others else ""
        sentences.insert(
            0,
            f"Fold {link} upright on the strip and pass it through the slot in {words.host(host)}, from the "
            f"{front}.{lifted}",
        )
    sentences.append(
        "Do not glue it: its guides, which come next, go over it and hold it." if guides else "Do not glue it."
    )
    parts = [spread.panels[joint.glued].piece for joint in carried]
    new = [panel_id for piece_id in (panel.piece, *parts) for panel_id in spread.piece(piece_id).panels]
    pictures = [_picture(spread, f"{piece} in its lane", [*done, *new], new, over=behind and host.startswith("page."))]
    if through:
        pictures.append(_picture(spread, "From the other side", [*done, *new], new, over=not behind))
    return Step(
        0, "hand parts", f"Lay {piece} in its lane", tuple(sentences), (), (panel.piece,), pictures=tuple(pictures)
    )


def _marks(words: Words, guides: Sequence[object]) -> str:
    names = [words.mark(str(getattr(joint, "glued", "")), str(getattr(joint, "face", ""))) for joint in guides]
    return listed(list(dict.fromkeys(names)))


def _way(spread: Spread, name: str) -> str:
    """Where the strip's outer end points, on a page; as drawn on other panels."""
    panel = spread.panels[name]
    if panel.parent not in ("page.left", "page.right"):
        return "the side that is drawn"
    out = panel.rest[:2, 0] * ([1.0, 1.0] if panel.parent == "page.right" else [-1.0, 1.0])
    return max(_WAYS, key=lambda way: float(out @ np.array(way[1])))[0]


def _disc_step(spread: Spread, words: Words, name: str, done: Sequence[str]) -> Step:
    panel = spread.panels[name]
    host, piece = str(panel.parent), words.piece(panel.piece)
    behind = _behind(spread, name)
    hand = next(hand for hand in spread.hands if hand.id == panel.piece)
    facing = "away from the card" if _outwards(spread, name) else "against the card"
    holes = bool(panel.outline.interiors)
    seen = ", so that it shows through the window" if hand.windows and facing == "against the card" else ""
    where = words.face(host, "back" if behind else "front")
    sentences = [
        f"Lay {piece} on {where}, its printed face {facing}{seen}.",
        "Bring the hole in its middle over the hole in the card."
        if holes
        else "Bring the crosses on both cards over each other and prick a hole through both.",
        "Put an eyelet or a paper rivet through both holes and close it, so loosely that the disc turns with one "
        "finger and so flat that the book shuts over it.",
        f"Turn {piece} all round: it must not rub, and no edge may catch.",
    ]
    if hand.slots:
        sentences.append("A finger turns it in the slot across its rim.")
    caution = (f"No glue on {piece} nor where it turns, neither now nor when the page is glued to another leaf.",)
    pictures = [
        _picture(spread, f"{piece} on its pivot", [*done, name], [name], over=behind and host.startswith("page."))
    ]
    if hand.windows or hand.slots:
        pictures.append(_picture(spread, "From the other side", [*done, name], [name], over=not behind))
    title = f"Fasten {piece} on its pivot"
    return Step(0, "hand parts", title, tuple(sentences), caution, (panel.piece,), pictures=tuple(pictures))
