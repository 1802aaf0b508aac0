"""How notes about meshes count."""

from __future__ import annotations

__all__ = ["counted"]


def counted(count: int, one: str, several: str = "") -> str:
    """A number with its noun.

    >>> counted(1, "face"), counted(1200, "face"), counted(2, "body", "bodies")
    ('1 face', '1200 faces', '2 bodies')
    """
    return f"{count} {one if count == 1 else several or one + 's'}"
