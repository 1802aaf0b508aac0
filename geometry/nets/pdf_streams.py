"""How the streams of our PDF files are written: as bytes.

reportlab spells them out in printable letters unless it is told otherwise. That takes longer than everything else in a
file with pictures, and a quarter more room.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from reportlab import rl_config

__all__ = ["binary_streams"]


@contextmanager
def binary_streams() -> Iterator[None]:
    """Within it reportlab writes streams as bytes; afterwards as before, for others that use it too."""
    before = rl_config.useA85
    rl_config.useA85 = 0
    try:
        yield
    finally:
        rl_config.useA85 = before
