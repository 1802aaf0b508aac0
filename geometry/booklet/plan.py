"""The order of assembly: from a spread and its sheets to steps.

Everything is cut and creased first, then mechanisms go in one after the other (see joints.py). What the steps say is
read off the model: which part is glued on which face of which panel, on which side that panel lies, what goes through
a slot, what slides under what. Only what has a kind of its own in the model, a cut-in, a hand, is told by its kind.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..errors import HingeleafError
from ..model import Hinge
from ..nets import PieceDrawing, Sheet
from ..outline import parts_of
from ..spread import Spread
from .cut_ins import crossed_fold, cut_ins, depth, shut_over, uncreased
from .joining import glue_steps, table_steps
from .joints import assemblies
from .moving import moved_steps
from .solids import solid_steps
from .states import reading
from .steps import NetPicture, SheetPicture, SpreadPicture, Step
from .words import Words, counted, crease_id, listed, quoted

__all__ = ["WIDE_RAD", "assembly_steps"]

#: Pictures of what stands are drawn this far open, where the spread opens as far.
WIDE_RAD = float(np.radians(120.0))


def assembly_steps(spread: Spread, sheets: Sequence[Sheet]) -> tuple[Step, ...]:
    """Every step, in order.

    Parameters
    ----------
    spread : Spread
    sheets : of its nets

    Returns
    -------
    tuple of Step, numbered from 1

    Raises
    ------
    HingeleafError
        It cannot stand at any opening.
    """
    if not np.isfinite(spread.reachable()).all():
        raise HingeleafError(
            "the spread cannot stand at any opening, so its assembly cannot be drawn; run check and mend what "
            "it reports"
        )
    words = Words(spread)
    steps = [*_cut_out(spread, words, sheets), *_creasing(spread, words, ("page",))]
    done = list(spread.piece("page").panels)
    solids = {solid.id for solid in spread.solids}
    for assembly in assemblies(spread.folding):
        if assembly.id in solids:
            continue
        steps += _creasing(spread, words, assembly.pieces)
        steps += table_steps(spread, words, assembly)
        steps += moved_steps(spread, words, assembly, done)
        steps += glue_steps(spread, words, assembly, done)
        done += [panel for piece in assembly.pieces for panel in spread.piece(piece).panels]
    # With a solid on it the book no longer shuts, so all that folds is pressed and tried before.
    steps += _ending(spread, words, done)
    for solid in spread.solids:
        steps += solid_steps(spread, words, solid, done)
        done += [panel for piece in solid.pieces for panel in spread.piece(piece).panels]
    return tuple(
        Step(number, *(getattr(step, name) for name in list(Step.__dataclass_fields__)[1:]))
        for number, step in enumerate(steps, 1)
    )


def _cut_out(spread: Spread, words: Words, sheets: Sequence[Sheet]) -> list[Step]:
    steps = []
    met: set[str] = set()
    for sheet in sheets:
        foot = sheet.footer
        on_sheet = list(dict.fromkeys(drawing.piece.id for drawing in sheet.pieces))
        pieces = tuple(name for name in on_sheet if name not in met)
        met.update(on_sheet)
        sentences = (
            f"Sheet {foot.number} of {foot.count}, {foot.stock.id}, {foot.stock.grammage_gsm:g} g/m², carries "
            f"{listed(_carried(words, sheet))}. Lay it on the mat with the printed face up; measure "
            f"its scale bar, which must be 100 mm long.",
            *_tiles(sheet),
            *_cutting(spread, words, sheet, on_sheet),
        )
        cautions = tuple(uncreased(spread, words, piece) for piece in on_sheet if uncreased(spread, words, piece))
        picture = SheetPicture(f"Sheet {foot.number}", foot.number)
        title = f"Score and cut sheet {foot.number}"
        steps.append(Step(0, "cut out", title, sentences, cautions, pieces, pictures=(picture,)))
    return steps


def _carried(words: Words, sheet: Sheet) -> list[str]:
    """What lies on a sheet, copies named once."""
    tiles = [(words.piece(each.piece.id), each.part.tile) for each in sheet.pieces]
    names = [name + (f" (tile {tile})" if tile else "") for name, tile in tiles]
    return list(dict.fromkeys(names))


def _tiles(sheet: Sheet) -> list[str]:
    """What to do first with pieces that are split over several sheets."""
    if not any(each.part.tile for each in sheet.pieces):
        return []
    return [
        "A piece in tiles is put together before it is scored: lay each tile over the ones to its left and above it, "
        "up to "
        "its tile edge, so that the crosses coincide, and glue the overlap."
    ]


def _cutting(spread: Spread, words: Words, sheet: Sheet, pieces: Sequence[str]) -> list[str]:
    """What a knife does on a sheet, in order."""
    sentences = []
    if any(spread.creases(piece) for piece in pieces):
        sentences.append(
            "Score every crease, mountain and valley alike, with a scoring tool along a steel ruler: press the card "
            "in, do not cut it."
        )
    if any(area.face == "back" and spread.panels[area.host].piece in pieces for area in spread.folding.glue_areas):
        sentences.append(
            "Places marked “(on the back)” are not printed there: prick through their corners with a pin, and on the "
            "back join the holes in pencil."
        )
    inner = _inner_cuts(spread, words, sheet, pieces)
    if inner:
        sentences.append(
            f"Cut what lies inside the pieces: {listed(inner)}. Begin and end exactly where each line does."
        )
    last = f"Cut the outlines{' last' * bool(inner)}."
    if any(each.is_printed or each.is_printed_behind for each in sheet.pieces):
        last += " Where the print runs on beyond an outline, cut on the line."
    if any(spread.panels[panel].role == "tab" for piece in pieces for panel in spread.piece(piece).panels):
        last += " Tabs belong to their pieces: do not cut them off."
    sentences.append(
        f"{last} Where the name of a piece stands beside it, write it lightly in pencil on the back of the piece."
    )
    return sentences


def _inner_cuts(spread: Spread, words: Words, sheet: Sheet, pieces: Sequence[str]) -> list[str]:
    """What is cut inside the outlines of a sheet's pieces."""
    found, count, nested = [], 0, False
    for piece in pieces:
        names = list(reversed(cut_ins(spread, piece)))
        count += len(names)
        nested = nested or any(depth(spread, name) for name in names)
        if names:
            found.append(f"{listed([quoted(name) for name in names])} in {words.piece(piece)}")
    inner = []
    if found:
        inner.append(
            f"the slits of the {'cut-ins' if count > 1 else 'cut-in'} {'(the innermost first) ' * nested}"
            f"{listed(found)}"
        )
    if any(_is_pierced(each) for each in sheet.pieces):
        inner.append("windows, slots and holes")
    return inner


def _is_pierced(drawing: PieceDrawing) -> bool:
    """Whether a piece has openings."""
    return any(part.interiors for part in parts_of(drawing.card))


def _creasing(spread: Spread, words: Words, pieces: Sequence[str]) -> list[Step]:
    """Fold the creases of pieces, then push their cut-ins through, those on which others are cut first."""
    steps = []
    for piece in pieces:
        strips = [name for name in spread.piece(piece).panels if spread.panels[name].role == "strip"]
        own = [hinge for hinge in spread.creases(piece) if not set(hinge.panels) & set(strips)]
        if own:
            steps.append(_crease_step(spread, words, piece, own))
        steps += [_cut_in_step(spread, words, piece, name) for name in cut_ins(spread, piece)]
    return steps


def _by_class(spread: Spread, words: Words, hinges: Sequence[Hinge]) -> tuple[list[str], list[tuple[str, str]]]:
    """Sentences on which creases are valleys and which mountains, and what stands beside each in a picture."""
    found: dict[str, list[str]] = {"valley": [], "mountain": []}
    names: dict[str, str] = {}
    for hinge in hinges:
        crease = spread.crease_class(hinge)
        if crease_id(hinge) not in names:
            found[crease].append(words.crease(hinge))
            names[crease_id(hinge)] = f"{words.crease(hinge).removeprefix('crease ')}: {crease}"
    sentences = []
    for crease, how in (("valley", "printed faces come together"), ("mountain", "backs come together")):
        if found[crease]:
            sentences.append(f"{crease.capitalize()} ({how}): {listed(found[crease])}.")
    return sentences, list(names.items())


def _crease_step(spread: Spread, words: Words, piece: str, hinges: Sequence[Hinge]) -> Step:
    names = _by_class(spread, words, hinges)[1]
    cuts = cut_ins(spread, piece)
    folds = {cell.fold for cell in spread.cells if cell.id in cuts}
    plain = [hinge for hinge in hinges if crease_id(hinge) not in folds]
    crossed = [hinge for hinge in hinges if crease_id(hinge) in folds]
    sentences = []
    if plain:
        one = len({crease_id(hinge) for hinge in plain}) == 1
        how = (
            "this crease{}, until it goes over easily; rub it down"
            if one
            else "these creases{}, one after the other, until each goes over easily; rub each down"
        )
        sentences += [
            f"Fold {words.piece(piece)} along {how.format(' first' if cuts else '')} with a bone folder, then let it "
            f"spring open.",
            *_by_class(spread, words, plain)[0],
        ]
    if crossed:
        one = len({crease_id(hinge) for hinge in crossed}) == 1
        sentences += [
            f"{'Then fold it' if plain else f'Fold {words.piece(piece)}'} along {'this crease' if one else 'these'} "
            f"to a right angle only, and do not rub {'it' if one else 'them'} down yet. Hold back the card between "
            f"the slits of the {'cut-ins' if len(cuts) > 1 else 'cut-in'}: it is folded the other way in the next "
            f"{'steps' if len(cuts) > 1 else 'step'}. Fold no other crease yet.",
            *_by_class(spread, words, crossed)[0],
        ]
    warning = uncreased(spread, words, piece)
    picture = NetPicture(f"{_sentence_case(words.piece(piece))}, printed face up", piece, tuple(names))
    return Step(
        0,
        "crease",
        f"Fold {words.piece(piece)}",
        tuple(sentences),
        (warning,) if warning else (),
        (piece,),
        creases=tuple(name for name, _ in names),
        pictures=(picture,),
    )


def _cut_in_step(spread: Spread, words: Words, piece: str, cut_in: str) -> Step:
    strips = [f"{cut_in}.left", f"{cut_in}.right"]
    hinges = [hinge for hinge in spread.creases(piece) if crease_id(hinge) in (*strips, f"{cut_in}.middle")]
    lines, names = _by_class(spread, words, hinges)
    out = "printed face" if spread.crease_class(spread.middle_of(cut_in)) == "mountain" else "back"
    other = "back" if out == "printed face" else "printed face"
    fold = words.fold(crossed_fold(spread, cut_in))
    sentences = (
        f"{quoted(cut_in)} is cut across {fold}: hold {words.piece(piece)} half folded there. With a fingertip on "
        f"the {other}, push the strip between the slits through until it stands out on the {out}, as drawn.",
        *lines,
        shut_over(spread, words, piece, cut_in),
    )
    panels = spread.piece(piece).panels
    opening = min(WIDE_RAD, reading(spread)[1])
    every = cut_ins(spread, piece)
    later = every[every.index(cut_in) + 1 :]
    caption = f"{quoted(cut_in)} pushed through"
    if later:
        names_later = listed([quoted(name) for name in later])
        caption += f"; {names_later}, drawn so already, {'follows' if len(later) == 1 else 'follow'}"
    pictures = (
        NetPicture("The creases, printed face up", piece, tuple(names), close=True),
        SpreadPicture(caption, "standing", opening, panels, tuple(strips)),
    )
    return Step(
        0,
        "cut-in",
        f"Push the cut-in {quoted(cut_in)} through",
        sentences,
        (),
        (piece,),
        creases=tuple(name for name, _ in names),
        pictures=pictures,
    )


def _ending(spread: Spread, words: Words, done: Sequence[str]) -> list[Step]:
    low, high = reading(spread)
    wide = SpreadPicture("The spread, open", "standing", min(WIDE_RAD, high), tuple(done), moved=0.4)
    shut = SpreadPicture("Nearly shut", "standing", min(max(low, np.radians(25.0)), high), tuple(done))
    steps = []
    solid = {name for each in spread.solids for name in each.panels}
    glued = [area for area in spread.glue_areas if area.glued not in solid]
    if glued:
        steps.append(
            Step(
                0,
                "press",
                "Press the whole spread",
                (
                    "Look into the open spread for glue that has come out beside a tab, and wipe it off.",
                    "Shut the spread, lay it between two boards with clean paper on both sides, put a weight on it, "
                    "and leave it until the glue is hard; its maker says how long.",
                ),
            )
        )
    checks = [
        "Open the spread slowly, all the way, and shut it again, three times. Nothing may scrape, catch or tear.",
        "Shut, nothing may stand out of the pages, and they must lie flat on each other.",
    ]
    if glued:
        checks.append(f"Pull lightly at every glued place, {counted(len(glued), 'place')} in all: none may come off.")
    checks += [_hand_check(words, hand.id, hand.unit) for hand in spread.hands]
    keep = _keep_off(spread, words)
    steps.append(Step(0, "check", "Check the spread", tuple(checks), (keep,) if keep else (), pictures=(wide, shut)))
    return steps


def _hand_check(words: Words, hand: str, unit: str) -> str:
    piece = words.piece(hand)
    if unit == "mm":
        return f"Slide {piece} to the end of its way and back: it must run easily, and what it moves must move."
    return f"Turn {piece} as far as it goes and back: it must not stick."


def _keep_off(spread: Spread, words: Words) -> str:
    """What lies on the outside of the pages and must stay free when they are glued to other leaves."""
    behind = [joint.glued for joint in spread.glue_areas if joint.face == "back" and joint.host.startswith("page.")]
    free = [hand.id for hand in spread.hands if hand.behind]
    if not behind and not free:
        return ""
    names = list(dict.fromkeys(words.glued(name) for name in behind))
    parts = [*(words.piece(name) for name in free), *names]
    text = f"On the back of the pages {'lies' if len(parts) == 1 else 'lie'} {listed(parts)}."
    if free:
        return f"{text} When a page is glued to another leaf, put no glue there: what moves must stay free."
    return f"{text} When a page is glued to another leaf, that leaf hides {'it' if len(parts) == 1 else 'them'}."


def _sentence_case(text: str) -> str:
    return text[:1].upper() + text[1:]
