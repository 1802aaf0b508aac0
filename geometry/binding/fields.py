"""What may stand in a book description: each key with its type, limits, default and meaning, in one place."""

from __future__ import annotations

from ..description.fields import Field

__all__ = ["BOOK_TOP", "COVER", "SPREAD"]

BOOK_TOP = (
    Field("format", "number", "version of the description format: 1"),
    Field("title", "text", "name of the book", default="the file's name"),
)

COVER = (
    Field("board", "length", "thickness of the two boards", default="2", low=0.5, high=8),
    Field(
        "square",
        "length",
        "how far the boards reach beyond the pages at head, foot and fore edge",
        default="2.5",
        low=0,
        high=15,
    ),
    Field("color", "color", "what the boards are covered with", default="#7a2e26"),
    Field("lining", "color", "inside of the boards, about the pages glued on them", default="#ede8de"),
    Field("art_front", "file", "artwork of the front board's outside", default="none"),
    Field("art_back", "file", "artwork of the back board's outside", default="none"),
)

SPREAD = (Field("file", "file", "the spread's description, beside the book's or in a folder below"),)
