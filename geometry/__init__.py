"""Hingeleaf's geometry core: from the description of a pop-up spread to exact motion, checks and nets.

Units and axes, fixed for the whole library (see model.py): millimetres; radians inside, degrees in files; spine on
the Y axis, foot of the page at y = 0, the right page in z = 0, x >= 0; opening 0 closed, 180 degrees flat open.
"""

from .assembly import assemble
from .description.data import Description
from .description.reader import parse_description, read_description
from .description.writer import change_mechanism, write_description
from .errors import DescriptionError, FileError, HingeleafError, Problem
from .model import Hinge, Panel, Piece
from .motion import Motion
from .spread import Spread

__all__ = [
    "Description",
    "DescriptionError",
    "FileError",
    "Hinge",
    "HingeleafError",
    "Motion",
    "Panel",
    "Piece",
    "Problem",
    "Spread",
    "assemble",
    "change_mechanism",
    "parse_description",
    "read_description",
    "write_description",
]
