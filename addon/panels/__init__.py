"""The sidebar of the 3D viewport, tab Hingeleaf: one module a task."""

from .book import HINGELEAF_PT_book
from .check import HINGELEAF_PT_check, HINGELEAF_PT_figures, HINGELEAF_UL_findings
from .film import HINGELEAF_PT_film
from .nets import HINGELEAF_PT_nets

__all__ = ["CLASSES"]

CLASSES = (
    HINGELEAF_UL_findings,
    HINGELEAF_PT_book,
    HINGELEAF_PT_check,
    HINGELEAF_PT_figures,
    HINGELEAF_PT_film,
    HINGELEAF_PT_nets,
)
