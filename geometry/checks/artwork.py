"""Artwork: files that a description names but that are not there."""

from __future__ import annotations

from pathlib import Path

from ..spread import Spread
from .findings import Finding

__all__ = ["check_artwork"]


def check_artwork(spread: Spread) -> list[Finding]:
    """Findings on artwork files that are missing; the piece stays plain."""
    findings = []
    for piece in spread.pieces:
        for face, path in (("printed face", piece.art_front), ("back", piece.art_back)):
            if path is not None and not Path(path).is_file():
                message = (
                    f"{piece.id}: the artwork of its {face}, {Path(path).name}, is not there; the card stays plain"
                )
                findings.append(Finding("artwork", "warning", piece.id, None, None, None, 1.0, "files", message))
    return findings
