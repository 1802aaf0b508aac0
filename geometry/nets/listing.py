"""Which piece is on which sheet, in words and as data."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from .lettering import one_line
from .sheets import Sheet

__all__ = ["sheet_data", "sheet_numbers", "sheet_words"]


def sheet_numbers(sheets: Sequence[Sheet]) -> dict[str, tuple[int, ...]]:
    """Numbers of the sheets, from 1, on which each piece lies: several where it is in tiles or in copies."""
    found: dict[str, dict[int, None]] = {}
    for sheet in sheets:
        for drawing in sheet.pieces:
            found.setdefault(drawing.piece.id, {})[sheet.footer.number] = None
    return {name: tuple(numbers) for name, numbers in found.items()}


def sheet_words(sheet: Sheet) -> str:
    """A sheet in one line, e.g. "sheet 1 (A3, card): page card, hill"."""
    footer = sheet.footer
    return f"sheet {footer.number} ({footer.size_name}, {one_line(footer.stock.id)}): {', '.join(footer.pieces)}"


def sheet_data(sheet: Sheet) -> dict[str, Any]:
    """A sheet, ready for JSON: its number, size in mm, stock, and what lies on it."""
    return {
        "number": sheet.footer.number,
        "size": sheet.footer.size_name,
        "width_mm": sheet.width_mm,
        "height_mm": sheet.height_mm,
        "stock": sheet.footer.stock.id,
        "pieces": [
            {
                "id": drawing.piece.id,
                "title": drawing.piece.title,
                "copy": drawing.part.copy,
                "tile": drawing.part.tile or None,
            }
            for drawing in sheet.pieces
        ],
    }
