"""Steps for solids: each is folded and glued on the table, and comes on its panel when all else moves."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np

from ..solids import Solid
from ..spread import Spread
from .states import reading
from .steps import Mark, NetPicture, SpreadPicture, Step
from .words import Words, counted, listed, quoted

__all__ = ["solid_steps"]


def solid_steps(spread: Spread, words: Words, solid: Solid, done: Sequence[str]) -> list[Step]:
    """Fold a solid, close it, and put it on its panel.

    Parameters
    ----------
    spread : Spread
    words : Words
    solid : one of its solids
    done : panels that stand already

    Returns
    -------
    list of Step
    """
    folded = [_fold_step(spread, words, solid, piece) for piece in solid.pieces if spread.creases(piece)]
    closed = [_close_step(spread, solid)] if solid.joins else []
    return [*folded, *closed, _put_on_step(spread, words, solid, done)]


def _fold_step(spread: Spread, words: Words, solid: Solid, piece: str) -> Step:
    creases = spread.creases(piece)
    found: Counter[str] = Counter(spread.crease_class(hinge) for hinge in creases)
    sentences = [
        f"Fold {words.piece(piece)} along every crease, those of its tabs too, and let it spring open. Its creases do "
        f"not go over all the way: fold each only about as far as it stands in the picture of the whole.",
    ]
    for crease, how in (("mountain", "the printed face outside"), ("valley", "the printed face inside")):
        if found[crease]:
            sentences.append(f"{counted(found[crease], crease)} ({how}).")
    picture = NetPicture(f"{words.piece(piece)}, printed face up", piece, ())
    names = tuple(dict.fromkeys(hinge.id.split("#")[0] for hinge in creases))
    title = f"Fold {words.piece(piece)}"
    return Step(0, "crease", title, tuple(sentences), (), (piece,), creases=names, pictures=(picture,))


def _close_step(spread: Spread, solid: Solid) -> Step:
    labels = list(dict.fromkeys(join.label for join in solid.joins))
    bare = [join.label for join in solid.joins if join.tab is None]
    several = len(solid.pieces) > 1
    order = f"from {labels[0]} to {labels[-1]}" if len(labels) > 1 else labels[0]
    sentences = [
        f"Each cut bears a number, the same at both its sides: {counted(len(labels), 'number')}"
        f"{f', over {len(solid.pieces)} nets' * several}. Glue them in their order, {order}: put glue on the tab, up "
        f"to its crease, and press it behind the edge with the same number.",
        "Hold each until it grips before you go on to the next. The last ones close the solid: press them from outside "
        "against the blade of a ruler, or a pencil that is pushed in through the last gap.",
    ]
    if bare:
        sentences.insert(
            1, f"{counted(len(bare), 'edge')} without a tab {'is' if len(bare) == 1 else 'are'} glued edge to edge."
        )
    own = tuple(name for name in spread.panels if name in solid.panels)
    tabs = tuple(area for area in spread.glue_areas if area.glued in solid.tabs)
    picture = SpreadPicture(f"{quoted(solid.title)}, closed", "standing", _open(spread), own, own)
    return Step(
        0, "glue", f"Glue {quoted(solid.title)} together", tuple(sentences), (), solid.pieces, tabs, pictures=(picture,)
    )  # fmt: skip


def _put_on_step(spread: Spread, words: Words, solid: Solid, done: Sequence[str]) -> Step:
    areas = tuple(area for area in spread.glue_areas if area.glued in solid.foot)
    marks = listed(list(dict.fromkeys(words.mark(area.glued, area.face) for area in areas)))
    place = f"the place{'s' * (len(areas) > 1)} marked {marks} on {words.face(solid.host, solid.face)}"
    name = quoted(solid.title)
    if solid.loose:
        title = f"Stand {name} on {words.host(solid.host)}"
        sentences = [
            f"Stand {name} on {place}. It is put on to be shown, and not glued: where it should not slip, put a little "
            f"removable adhesive under its foot.",
        ]
        caution = f"Take {name} off before the book is shut: it does not fold."
    else:
        title = f"Glue {name} on {words.host(solid.host)}"
        sentences = [
            f"Put glue on the underside of its foot and stand {name} on {place}. Press from above, or from inside "
            f"where it is open, until the glue grips.",
        ]
        caution = f"{name} does not fold: from here on the book does not shut."
    own = tuple(panel for panel in spread.panels if panel in solid.panels)
    over = solid.face == "back" and spread.panels[solid.host].piece == "page"
    opening = _open(spread)
    host = tuple(name for name in done if spread.panels[name].piece in (spread.panels[solid.host].piece, "page"))
    where = SpreadPicture(
        "Where it stands" + ("; the spread is turned over left to right" if over else ""),
        "standing",
        opening,
        host,
        marks=tuple(Mark(area, True, area.glued.replace(".", " ")) for area in areas),
        over=over,
    )
    after = SpreadPicture(f"{name} in its place", "standing", opening, (*done, *own), own, over=over)
    return Step(0, "glue", title, tuple(sentences), (caution,), solid.pieces, areas, pictures=(where, after))


def _open(spread: Spread) -> float:
    low, high = reading(spread)
    return float(np.clip(np.radians(150.0), low, high))
