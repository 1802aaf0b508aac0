"""A bound book: several spreads back to back between two boards, and where everything is as its leaves turn.

Spreads are numbered 1..n from the front, leaves 0..n: leaf 0 is the front board with the left page of spread 1, leaf k
the right page of spread k glued back to back to the left page of spread k+1, leaf n the right page of spread n with
the back board. A leaf's angle is 0 at the right and pi at the left; the opening of spread k is the angle of leaf k-1
less that of leaf k.
"""

from .binding import Binding, Board, bind
from .checks import check_binding
from .data import BookDescription, Cover
from .reader import is_book, parse_book, read_book, read_bound, read_spreads

__all__ = [
    "Binding",
    "Board",
    "BookDescription",
    "Cover",
    "bind",
    "check_binding",
    "is_book",
    "parse_book",
    "read_book",
    "read_bound",
    "read_spreads",
]
