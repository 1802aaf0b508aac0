"""Templates of the cover of a bound book: the outsides of its two boards, which artwork fills from edge to edge."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from .drawing import Template
from .faces import ArtFrame
from .guides import Guide
from .options import SAFE_MM, TemplateOptions, pixels
from .words import arrow, legend, title

if TYPE_CHECKING:
    from ..binding import Binding

__all__ = ["COVER", "cover_templates"]

#: What the boards are called where pieces are chosen.
COVER = "cover"
#: What is so near to the spine goes into the joint of the cloth (common practice).
_JOINT_MM = 8.0
#: Boards have no bleed of their own: their artwork is mirrored about them on the wrap.
_INSET_MM = 0.15


def cover_templates(binding: Binding, options: TemplateOptions) -> list[Template]:
    """The templates of the front and the back board, seen from outside.

    Parameters
    ----------
    binding : Binding
    options : resolution

    Returns
    -------
    list of Template, front and back

    Raises
    ------
    HingeleafError
        A picture would be too large to open.
    """
    found = []
    closed = binding.leaf_angles(np.zeros(1))
    for board in binding.boards(closed):
        left, low, right, high = board.outline.bounds
        frame = ArtFrame((left, low, right, high), "front")
        size = pixels(frame.size_mm, options.dpi, f"{board.id} board")
        name = f"cover, {board.id}"
        found.append(_board_template(name, board.id, frame, size, options.dpi))
    return found


def _board_template(name: str, side: str, frame: ArtFrame, size_px: tuple[int, int], dpi: float) -> Template:
    width, height = frame.size_mm
    card = shapely.box(0.0, 0.0, width, height)
    edge = shapely.get_coordinates(shapely.box(_INSET_MM, _INSET_MM, width - _INSET_MM, height - _INSET_MM))
    safe = shapely.box(SAFE_MM, SAFE_MM, width - SAFE_MM, height - SAFE_MM)
    # The spine is the line x = 0: at the left of the front board, at the right of the back board.
    spine = float(frame.to_picture(np.array([0.0, 0.0]))[0])
    inward = 1.0 if spine < width / 2 else -1.0
    joint = np.array([[spine + inward * _JOINT_MM, 0.0], [spine + inward * _JOINT_MM, height]])
    guides = [Guide("safe zone", "safe", (shapely.get_coordinates(safe.exterior),)), Guide("outline", "cut", (edge,))]
    guides.append(Guide("creases", "joint", (joint,)))
    guides += arrow(shapely.box(width * 0.35, height * 0.25, width * 0.65, height * 0.6), np.array([0.0, 1.0]))
    clear = safe.buffer(-1.0).difference(shapely.LineString(joint).buffer(1.0))
    heading, covered = title(name, frame.size_mm, size_px, dpi, (clear,))
    words = legend({guide.look for guide in guides}, (clear.difference(covered),), outside=True)
    return Template(COVER, name, frame, card, size_px, dpi, (*guides, *heading, *words), stem=f"{COVER}-{side}")
