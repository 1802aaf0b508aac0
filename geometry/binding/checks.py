"""What is known of a bound book before it is glued, beside the checks of its spreads."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from ..checks import worst_first
from ..checks.artwork import picture_findings
from ..checks.closes_flat import check_closes_flat
from ..checks.findings import Finding, Severity
from ..checks.opens_fully import check_opens_fully
from .binding import Binding
from .cover_net import cover_sizes
from .leaf_glue import Fouling, LeafFace, foulings, leaf_faces, middle_of
from .turning import STEP_DEG, Meeting, find_meetings, find_straying

__all__ = ["check_binding"]


def check_binding(binding: Binding) -> tuple[Finding, ...]:
    """Every check of the binding.

    Parameters
    ----------
    binding : Binding

    Returns
    -------
    tuple of Finding, errors first. Their pieces are spreads by their short names, or "cover"; their panels SPREAD/PANEL

    Notes
    -----
    The spreads are checked by themselves (geometry.checks.run_checks).
    """
    checks = (_moves, _turns, _leaves, _thickness, _artwork)
    return worst_first(finding for check in checks for finding in check(binding))


def _moves(binding: Binding) -> Iterator[Finding]:
    """Spreads that do not close or open keep the whole book from it."""
    for name, spread in zip(binding.names, binding.spreads, strict=True):
        for found in (*check_closes_flat(spread), *check_opens_fully(spread)):
            if found.severity == "error":
                what = "closes flat" if found.code == "closes-flat" else "opens fully"
                message = f"no book with {name} in it {what}: {found.message}"
                panel = None if found.panel is None else f"{name}/{found.panel}"
                code, where = f"book-{found.code}", found.opening_deg
                yield Finding(code, "error", name, panel, None, where, found.measure, found.unit, message)


def _turns(binding: Binding) -> Iterator[Finding]:
    """Panels that pass through a leaf, a board or another spread; and those that merely leave their own sector."""
    straying = find_straying(binding)
    astray = {(item.spread, item.panel) for item in straying}
    worst: dict[tuple[tuple[int, str], str], Meeting] = {}
    for found in find_meetings(binding, straying) if straying else []:
        meeting = found if found.first in astray else found.turned()
        key = (meeting.first, _through(binding, meeting.second))
        if key not in worst or meeting.depth_mm > worst[key].depth_mm:
            worst[key] = meeting
    for (_, through), meeting in worst.items():
        yield _met(binding, meeting, through)
    met = {key for meeting in worst.values() for key in (meeting.first, meeting.second)}
    for stray in straying:
        name = binding.names[stray.spread - 1]
        if (stray.spread, stray.panel) not in met:
            message = (
                f"{name}/{stray.panel} reaches {stray.by_mm:.1f} mm out of the space between its pages at an opening "
                f"of {stray.opening_deg:g} degrees; at every {STEP_DEG:g} degrees of every leaf it meets nothing"
            )
            panel = f"{name}/{stray.panel}"
            yield Finding("leaf-collides", "note", name, panel, None, stray.opening_deg, stray.by_mm, "mm", message)


def _through(binding: Binding, key: tuple[int, str]) -> str:
    """What a panel passes through, in words: a board, a leaf, or another spread."""
    number, panel = key
    if panel in ("front", "back"):
        return f"the {panel} board"
    if binding.spreads[number - 1].panels[panel].role == "page":
        leaf = number if panel == "page.right" else number - 1
        return f"leaf {leaf}"
    return f"the spread {binding.names[number - 1]}"


def _met(binding: Binding, meeting: Meeting, through: str) -> Finding:
    first, second = (_called(binding, key) for key in (meeting.first, meeting.second))
    angles = ", ".join(f"{angle:g}" for angle in meeting.leaves_deg)
    message = (
        f"{first} passes through {through}, deepest through {second} with {meeting.depth_mm:.1f} mm, where the leaves "
        f"stand at {angles} degrees (looked at every {STEP_DEG:g} degrees of every leaf)"
    )
    piece = binding.names[meeting.first[0] - 1]
    return Finding(
        "leaf-collides", "error", piece, first, meeting.place_mm, None, meeting.depth_mm, "mm", message, other=second
    )


def _called(binding: Binding, key: tuple[int, str]) -> str:
    number, panel = key
    return f"cover/{panel}" if panel in ("front", "back") else f"{binding.names[number - 1]}/{panel}"


def _leaves(binding: Binding) -> Iterator[Finding]:
    """What of each leaf stays free of glue, and what fouls in it."""
    for leaf in range(len(binding.spreads) + 1):
        faces = leaf_faces(binding, leaf)
        for face in faces:
            yield from _unglued(binding, leaf, face)
        for fouling in foulings(faces):
            yield _fouled(binding, leaf, fouling)


def _unglued(binding: Binding, leaf: int, face: LeafFace) -> Iterator[Finding]:
    area = face.unglued
    if not area.area:
        return
    name = binding.names[face.spread - 1]
    why = [
        f"{', '.join(shapes)} {doing}"
        for shapes, doing in ((face.strips, "must come loose"), (face.moving, "must move behind it"))
        if shapes
    ]
    where = "board" if leaf in (0, len(binding.spreads)) else "page behind it"
    message = (
        f"leaf {leaf}: leave {area.area:.0f} mm2 of the {face.page.removeprefix('page.')} page of {name} free of glue "
        f"where it meets the {where}: {' and '.join(why)}"
    )
    page, place = f"{name}/{face.page}", middle_of(area)
    yield Finding("leaf-glue", "note", name, page, place, None, area.area, "mm2", message, area_mm2=float(area.area))


def _fouled(binding: Binding, leaf: int, fouling: Fouling) -> Finding:
    mover, other = (f"{binding.names[number - 1]}/{panel}" for number, panel in (fouling.mover, fouling.other))
    spread = binding.names[fouling.other[0] - 1]
    severity: Severity = "error" if fouling.what in ("strip", "opening") else "warning"
    how = {
        "strip": f"under {other}, which is cut loose from the other page and would catch it",
        "opening": f"under an opening in the page of {spread} on the other side, through which it is seen",
        "held": f"over {other}, which is glued on the back of the other page",
        "moving": f"over {other}, which moves behind the other page, and one drags the other along",
    }[fouling.what]
    message = (
        f"leaf {leaf}: {mover} moves {how} ({fouling.area.area:.0f} mm2); move one of the two, or put a sheet of card "
        "between the two pages"
    )
    return Finding(
        "leaf-glue",
        severity,
        binding.names[fouling.mover[0] - 1],
        mover,
        middle_of(fouling.area),
        None,
        float(fouling.area.area),
        "mm2",
        message,
        other=other if fouling.other[1] else None,
        area_mm2=float(fouling.area.area),
    )


def _thickness(binding: Binding) -> Iterator[Finding]:
    """How thick the closed book is, for the cover."""
    leaves = float(binding.leaves_mm.sum() - 2 * binding.cover.board_mm)
    block = leaves + float(binding.gaps_mm.sum())
    thickest = binding.names[int(np.argmax(binding.gaps_mm))]
    message = (
        f"closed, the book is {binding.thickness_mm:.1f} mm thick: {len(binding.leaves_mm)} leaves of {leaves:.1f} mm "
        f"together, {float(binding.gaps_mm.sum()):.1f} mm between their pages (most in {thickest}), and two boards of "
        f"{binding.cover.board_mm:g} mm; up to {binding.rigid_mm:.1f} mm before card beside thick places has settled; "
        f"the spine of the cover is {block:.1f} mm wide between the boards"
    )
    jammed = [name for name, stack in zip(binding.names, binding.stacks, strict=True) if stack.left_out]
    if jammed:
        message += f"; without what does not come to lie, because its spread does not close: {', '.join(jammed)}"
    yield Finding("thickness", "note", "cover", None, None, 0.0, binding.thickness_mm, "mm", message)


def _artwork(binding: Binding) -> Iterator[Finding]:
    """Artwork of the cover that is not there, is no picture, does not fit its board, or will not print as it looks."""
    board = cover_sizes(binding).board
    for side, file in (("front", binding.cover.art_front), ("back", binding.cover.art_back)):
        if file is not None:
            what = f"the artwork of the {side} board, {Path(file).name},"
            yield from picture_findings(Path(file), board, what, "cover", panel=f"cover/{side}", base="board")
