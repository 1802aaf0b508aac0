"""The sidebar of the 3D viewport, tab Hingeleaf: one module a task."""

from .book import HINGELEAF_PT_book
from .bound import HINGELEAF_PT_bound, HINGELEAF_PT_leaves
from .check import HINGELEAF_PT_check, HINGELEAF_PT_figures, HINGELEAF_UL_findings
from .export import HINGELEAF_PT_export
from .film import HINGELEAF_PT_film
from .mechanisms import (
    HINGELEAF_MT_add,
    HINGELEAF_MT_arrange,
    HINGELEAF_PT_mechanisms,
    HINGELEAF_PT_sizes,
    HINGELEAF_UL_mechanisms,
)
from .model import HINGELEAF_PT_model, HINGELEAF_PT_model_notes
from .nets import HINGELEAF_PT_nets
from .shape import HINGELEAF_PT_shape
from .swatches import remove_swatches
from .view import HINGELEAF_PT_view

__all__ = ["CLASSES", "remove_swatches"]

CLASSES = (
    HINGELEAF_UL_findings,
    HINGELEAF_UL_mechanisms,
    HINGELEAF_MT_add,
    HINGELEAF_MT_arrange,
    HINGELEAF_PT_book,
    HINGELEAF_PT_bound,
    HINGELEAF_PT_leaves,
    HINGELEAF_PT_mechanisms,
    HINGELEAF_PT_sizes,
    HINGELEAF_PT_shape,
    HINGELEAF_PT_check,
    HINGELEAF_PT_figures,
    HINGELEAF_PT_view,
    HINGELEAF_PT_film,
    HINGELEAF_PT_nets,
    HINGELEAF_PT_model,
    HINGELEAF_PT_model_notes,
    HINGELEAF_PT_export,
)
