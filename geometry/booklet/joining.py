"""Steps that glue: on the table what belongs to one mechanism, then in the spread, one host after the other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ..model import GlueArea
from ..spread import Spread
from .joints import Assembly, Joint, crosses
from .states import reading
from .steps import Mark, SpreadPicture, Step
from .view import contact_face
from .words import Words, listed

__all__ = ["glue_steps", "joint_marks", "put_glue", "table_steps"]

_WIDE_RAD = float(np.radians(120.0))
_HALF_RAD = float(np.radians(70.0))
_PRESS = (
    "Press over the whole glued place with a flat fingertip, or the end of a brush where no finger goes in, until it "
    "grips; wipe off at once what glue comes out."
)
_AGAINST = "Hold a finger behind it. "
_WEIGHT = (
    "Press hard over the glued places from outside, and leave the spread shut under a weight until the glue holds."
)


def put_glue(spread: Spread, words: Words, joints: Sequence[Joint]) -> str:
    """Which parts get glue, on which faces, and how far."""
    parts = []
    for joint in joints:
        face = "printed face" if contact_face(spread, joint.glued, joint.face) else "back"
        parts.append(f"the {face} of {words.glued(joint.glued)}")
    panels = [spread.panels[joint.glued] for joint in joints]
    if all(panel.role == "tab" for panel in panels):
        return f"Put glue on {listed(parts)}, up to the crease and no further"
    sizes = [sum(area.outline.area for area in joint.areas) for joint in joints]
    if all(size > 0.98 * panel.outline.area for size, panel in zip(sizes, panels, strict=True)):
        return f"Put glue on {listed(parts)}"
    return (
        f"Put glue on {listed(parts)}, only where it will touch (hatched in the picture; on the net a line bounds "
        f"it); the "
        f"rest stays free"
    )


def joint_marks(joints: Sequence[Joint], *, on_host: bool) -> tuple[Mark, ...]:
    """The places of joints in a picture."""
    return tuple(Mark(area, on_host, joint.name) for joint in joints for area in joint.areas)


def _areas(joints: Sequence[Joint]) -> tuple[GlueArea, ...]:
    return tuple(area for joint in joints for area in joint.areas)


def _places(words: Words, joints: Sequence[Joint]) -> str:
    """Where parts go, by the marks on the nets."""
    marks = listed([words.mark(joint.glued, joint.face) for joint in joints])
    host = words.face(joints[0].host, joints[0].face)
    one = len(joints) == 1 and len(joints[0].areas) == 1
    return f"{'the place' if one else 'the places'} marked {marks} on {host}"


def table_steps(spread: Spread, words: Words, assembly: Assembly) -> list[Step]:
    """Glue the pieces of one mechanism together, on the table, one step a host."""
    steps = []
    own = tuple(panel for piece in assembly.pieces for panel in spread.piece(piece).panels)
    for joints in assembly.inner:
        host = spread.panels[joints[0].host].piece
        glued = tuple(dict.fromkeys(spread.panels[joint.glued].piece for joint in joints))
        ring = glued == (host,)
        if ring:
            sentences = [
                f"{put_glue(spread, words, joints)}.",
                f"Fold {words.piece(host)} round into a ring, and press the ring flat, as it lies in the closed "
                f"spread, so "
                f"that the tab lies on {_places(words, joints)}.",
                _PRESS + " Let it dry lying flat, then open it: it must turn easily at every crease.",
            ]
        else:
            sentences = [
                f"Lay {words.piece(host)} on the table, its "
                f"{'printed face' if joints[0].face == 'front' else 'back'} up.",
            ]
            for joint in joints:
                sentences.append(f"{put_glue(spread, words, [joint])}; lay it on {_places(words, [joint])}.")
            sentences.append(_PRESS + " Fold all of it flat and open it again: it must turn easily at every crease.")
        cautions = ("Put waxed paper between walls that must not stick together.",) if ring else ()
        title = (
            f"Close the ring of {words.piece(host)}" if ring else f"Glue {words.pieces(glued)} to {words.piece(host)}"
        )
        state = "flat" if joints[0].face == "front" else "flat back"
        place = SpreadPicture(
            f"Where the glue goes: the {'printed face' if state == 'flat' else 'back'} of {words.piece(host)}",
            "flat" if state == "flat" else "flat back",
            0.0,
            spread.piece(host).panels,
            marks=joint_marks(joints, on_host=True),
        )
        joined = SpreadPicture(
            "Joined", "standing", _clamped(spread, _HALF_RAD), own, own if ring else _of(spread, glued), moved=0.4
        )
        pieces = tuple(dict.fromkeys((*glued, host)))
        steps.append(
            Step(0, "glue", title, tuple(sentences), cautions, pieces, _areas(joints), pictures=(place, joined))
        )
    return steps


def _of(spread: Spread, pieces: Sequence[str]) -> tuple[str, ...]:
    return tuple(panel for piece in pieces for panel in spread.piece(piece).panels)


def _clamped(spread: Spread, opening_rad: float) -> float:
    low, high = reading(spread)
    return float(np.clip(opening_rad, low, high))


def glue_steps(spread: Spread, words: Words, assembly: Assembly, done: Sequence[str]) -> list[Step]:
    """Glue a mechanism on what stands already, one step a host panel.

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
    on_pages = [joints[0].host for joints in assembly.outer[:2]] == ["page.left", "page.right"]
    folded = on_pages and not any(joint.through or joint.face == "back" for each in assembly.outer for joint in each)
    steps = []
    for number, joints in enumerate(assembly.outer):
        holds = any(crosses(spread, joint.glued, panel) for joint in joints for panel in assembly.moved)
        only = number == 0 and len(assembly.outer) == 1
        if holds:
            steps.append(_guide_step(spread, words, assembly, joints, done))
        elif assembly.moved:
            steps.append(_linked_step(spread, words, assembly, joints, done))
        elif number == 0:
            steps.append(_first_step(spread, words, (assembly, joints), done, folded=folded, only=only))
        else:
            hosts = assembly.outer[0][0].host, joints[0].host
            steps.append(_next_step(spread, words, (assembly, joints), done, folded=folded, fold=_share(spread, hosts)))
    return steps


def _share(spread: Spread, hosts: tuple[str, str]) -> bool:
    """Whether two panels meet in a fold, so that shutting it lays one on the other."""
    return any(hinge.kind != "glue" and set(hinge.panels) == set(hosts) for hinge in spread.hinges)


def _host_picture(spread: Spread, joints: Sequence[Joint], done: Sequence[str]) -> SpreadPicture:
    """Where glue goes on what stands already, with no more about it than carries it."""
    needed = {"page"}
    name: str | None = joints[0].host
    while name is not None:
        needed.add(spread.panels[name].piece)
        name = spread.panels[name].parent
    panels = tuple(panel for panel in done if spread.panels[panel].piece in needed)
    over = _from_behind(spread, joints)
    caption = "Where it goes"
    if over:
        caption += "; the spread is turned over left to right"
    return SpreadPicture(
        caption,
        "standing",
        _clamped(spread, np.pi if over else _WIDE_RAD),
        panels,
        marks=joint_marks(joints, on_host=True),
        over=over,
    )


def _from_behind(spread: Spread, joints: Sequence[Joint]) -> bool:
    host = spread.panels[joints[0].host]
    return joints[0].face == "back" and host.piece == "page"


def _standing_picture(spread: Spread, caption: str, own: Sequence[str], done: Sequence[str]) -> SpreadPicture:
    return SpreadPicture(caption, "standing", _clamped(spread, _WIDE_RAD), (*done, *own), tuple(own), moved=0.25)


def _through_words(words: Words, joints: Sequence[Joint]) -> list[str]:
    """Tabs that go through slots."""
    tabs = listed([words.glued(joint.glued) for joint in joints])
    host = words.host(joints[0].host)
    front, back = ("printed face", "back") if joints[0].face == "back" else ("back", "printed face")
    return [
        f"Push {tabs} through {'its slot' if len(joints) == 1 else 'their slots'} in {host}, from the {front} to the "
        f"{back}, as far as {'its crease' if len(joints) == 1 else 'their creases'}.",
        f"Look at the {back}. Fold the tab flat against it, put glue between, and lay the tab on "
        f"{_places(words, joints)}.",
    ]


def _first_step(
    spread: Spread,
    words: Words,
    what: tuple[Assembly, Sequence[Joint]],
    done: Sequence[str],
    *,
    folded: bool,
    only: bool,
) -> Step:
    assembly, joints = what
    own, name = _of(spread, assembly.pieces), words.piece(assembly.id)
    through = any(joint.through for joint in joints)
    flat = all(spread.panels[joint.glued].role == "rider" for joint in joints)
    caution = [] if flat else [f"No glue on the rest of {name}, on a crease, or on the spine: it would not open."]
    if through:
        sentences = _through_words(words, joints)
        caution = [f"{caution[0]} None in a slot either."]
    else:
        sentences = [f"{put_glue(spread, words, joints)}."]
        lay = f"Lay {name} folded shut on the open left page" if folded else f"Lay {name} in its place, as drawn"
        if only and spread.panels[joints[0].glued].role == "rider":
            lay = f"Lay {name} flat in its place, as drawn"
        if spread.panels[joints[0].host].role != "page":
            lay = f"Open the spread as far as drawn. {lay}"
        sentences.append(
            f"{lay}, so that {listed([words.glued(joint.glued) for joint in joints])} "
            f"{'lies' if len(joints) == 1 else 'lie'} exactly on {_places(words, joints)}."
        )
    stands = spread.panels[joints[0].host].role != "page" and not through
    sentences.append(_AGAINST + _PRESS if stands else _PRESS)
    if not only:
        sentences.append("Leave the other side free for now.")
    place = _host_picture(spread, joints, done)
    if folded:
        caption = f"{name} folded shut on the left page, drawn a little open"
        if {spread.panels[panel].piece for panel in done} != {"page"}:
            caption += "; what else stands there is left out"
        lying = _lying_picture(spread, caption, own, done)
        pictures = (place, lying)
    else:
        pictures = (place, _standing_picture(spread, f"{name} in its place", own, done))
    if only:
        title = f"Glue {name} on {words.host(joints[0].host)}"
    else:
        title = f"Glue {name} on {words.host(joints[0].host)} first{_which(words, assembly, joints)}"
    return Step(0, "glue", title, tuple(sentences), tuple(caution), assembly.pieces, _areas(joints), pictures=pictures)


def _which(words: Words, assembly: Assembly, joints: Sequence[Joint]) -> str:
    """What tells apart the titles of steps that glue one piece on one piece, on panel after panel of it."""
    hosts = [words.host(each[0].host) for each in assembly.outer]
    if hosts.count(words.host(joints[0].host)) < 2:
        return ""
    return f": {listed([words.glued(joint.glued) for joint in joints])}"


def _nested(words: Words, assembly: Assembly) -> list[str]:
    """What must be tucked into what before the spread is shut."""
    name = words.piece(assembly.id)
    sentences = []
    if assembly.encloses:
        inner, one = listed([words.piece(other) for other in assembly.encloses]), len(assembly.encloses) == 1
        sentences.append(
            f"{inner}, standing there already, must go in between the panels of {name} as the spread shuts. Lift the "
            f"upper panels of {name} a little with one finger, so that {'it goes' if one else 'they go'} in under them "
            f"while the page comes down, and take the finger out last."
        )
    if assembly.within:
        outer = listed([words.piece(other) for other in assembly.within])
        sentences.append(f"See that {name} goes in between the panels of {outer} as the spread shuts.")
    return sentences


def _next_step(
    spread: Spread,
    words: Words,
    what: tuple[Assembly, Sequence[Joint]],
    done: Sequence[str],
    *,
    folded: bool,
    fold: bool,
) -> Step:
    assembly, joints = what
    own, name = _of(spread, assembly.pieces), words.piece(assembly.id)
    through = any(joint.through for joint in joints)
    sentences = [put_glue(spread, words, joints) + ".", *_shutting(words, assembly, joints, folded=folded, fold=fold)]
    if folded:
        looks = "that face now looks" if len(joints) == 1 else "those faces now look"
        sentences[0] = (
            f"{name} lies folded shut on the left page. {put_glue(spread, words, joints)}; {looks} up at you."
        )
    elif through:
        sentences = [*_through_words(words, joints), "Shut the spread slowly: the tabs hold it where it belongs."]
    sentences[1:1] = _nested(words, assembly)
    sentences += [
        _WEIGHT,
        f"Open slowly, all the way: {name} must stand as drawn. If a part has missed its mark by more than half a "
        f"millimetre, lift it while the glue is soft and do it again.",
    ]
    pictures = [_standing_picture(spread, f"{name}, opened again", own, done)]
    if folded:
        glued = _lying_picture(spread, "Where the glue goes: on what looks up", own, done)
        turned = replace(glued, caption="Turn the right page over on to it", closing=True)
        pictures = [replace(glued, marks=joint_marks(joints, on_host=False)), turned, *pictures]
    else:
        pictures.insert(0, _host_picture(spread, joints, done))
    title = f"Glue {name} on {words.host(joints[0].host)}" + ("" if through else " and shut the spread")
    title += _which(words, assembly, joints)
    caution = (f"No glue on a crease, on the spine, or between the panels of {name}.",)
    about = assembly.pieces, _areas(joints)
    return Step(0, "fold shut", title, tuple(sentences), caution, *about, pictures=tuple(pictures))


def _shutting(words: Words, assembly: Assembly, joints: Sequence[Joint], *, folded: bool, fold: bool) -> list[str]:
    """How the second side comes to its place."""
    name, one = words.piece(assembly.id), len(joints) == 1
    parts = listed([words.glued(joint.glued) for joint in joints])
    if folded:
        return [
            f"Turn the right page over on to it, as when the book is shut. So {parts} "
            f"{'finds its place by itself' if one else 'find their places by themselves'}: {_places(words, joints)}."
        ]
    if fold:
        return [
            f"Shut the spread slowly, {name} folding flat with it as it is creased. So {parts} "
            f"{'comes' if one else 'come'} down on {_places(words, joints)}."
        ]
    return [
        f"Bring {parts} to {_places(words, joints)} and hold {'it' if one else 'them'} there until the glue grips.",
        "Shut the spread slowly while the glue is still soft, so that the place settles as it must lie when shut.",
    ]


def _lying_picture(spread: Spread, caption: str, own: Sequence[str], done: Sequence[str]) -> SpreadPicture:
    """A mechanism folded shut on the left page, nothing else on the pages."""
    page = [panel for panel in done if spread.panels[panel].piece == "page"]
    own = tuple(own)
    return SpreadPicture(caption, "lying", _clamped(spread, np.pi), (*page, *own), own, folded=own)


def _guide_step(spread: Spread, words: Words, assembly: Assembly, joints: Sequence[Joint], done: Sequence[str]) -> Step:
    own = _of(spread, assembly.pieces)
    names = listed([words.glued(joint.glued) for joint in joints])
    held = words.piece(spread.panels[assembly.moved[0]].piece)
    sentences = [
        *(
            f"{put_glue(spread, words, [joint])}. Lay it across {held}, its ends on {_places(words, [joint])}."
            for joint in joints
        ),
        f"Press the ends, not the middle. Slide {held} to and fro while the glue is soft: it must run freely.",
    ]
    caution = (f"No glue between the two ends of a guide, and none on {held}: it would stick.",)
    over = _from_behind(spread, joints)
    after = SpreadPicture(
        f"{names} over {held}" + ("; turned over left to right" if over else ""),
        "standing",
        _clamped(spread, np.pi),
        (*done, *own),
        tuple(joint.glued for joint in joints),
        over=over,
    )
    pieces = tuple(dict.fromkeys(spread.panels[joint.glued].piece for joint in joints))
    pictures = (_host_picture(spread, joints, done), after)
    return Step(
        0,
        "glue",
        f"Glue the guides of {held} over it",
        tuple(sentences),
        caution,
        pieces,
        _areas(joints),
        pictures=pictures,
    )


def _linked_step(
    spread: Spread, words: Words, assembly: Assembly, joints: Sequence[Joint], done: Sequence[str]
) -> Step:
    """What is moved by hand is joined to what it moves."""
    own = _of(spread, assembly.pieces)
    held = words.piece(spread.panels[assembly.moved[0]].piece)
    target = words.host(joints[0].host)
    sentences = (
        f"Slide {held} until its link lies flat, in line with {target}: that is its place at rest.",
        f"{put_glue(spread, words, joints)}.",
        f"Turn {target} shut, so that {listed([words.glued(joint.glued) for joint in joints])} comes to lie on "
        f"{_places(words, joints)}. " + _PRESS,
        f"When it holds, move {held}: {target} must open and shut again.",
    )
    caution = (f"No glue on the link beyond its tab, nor between {target} and the page.",)
    after = SpreadPicture("Moved by hand", "standing", _clamped(spread, np.pi), (*done, *own), own, moved=0.5)
    place = replace(_host_picture(spread, joints, done), moved=0.7, caption=f"Where it goes; {target} held open")
    pictures = (place, after)
    title = f"Join {held} to {target}"
    return Step(0, "glue", title, sentences, caution, assembly.pieces, _areas(joints), pictures=pictures)
