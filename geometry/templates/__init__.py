"""Templates to paint artwork on: one for each face of each piece, the two pages as one.

`templates_of` draws them, `write_templates` writes them as PNG and layered SVG, `write_book_templates` those of a bound
book with its boards. A template is the art box of its piece (artwork.py), so whatever is painted at its proportions, in
any resolution, falls in place on model and printed net.
"""

from __future__ import annotations

from .drawing import Template
from .options import DPI, FORMATS, TemplateOptions
from .write import TemplateFiles, templates_of, write_book_templates, write_templates

__all__ = [
    "DPI",
    "FORMATS",
    "Template",
    "TemplateFiles",
    "TemplateOptions",
    "templates_of",
    "write_book_templates",
    "write_templates",
]
