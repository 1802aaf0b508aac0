"""Draws the artwork of the demo book: run it from the root of the project, it writes one SVG and one PNG a piece.

    python scenes/demo/art/draw.py [PIECE ...]      such as cliff, storm/breaker, or all of low-tide

The scenario (an island at low tide, in a storm and at night) and everything drawn are invented for Hingeleaf.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

if __name__ == "__main__":
    words = [sys.executable, "-m", "scenes.demo.art.pieces", *sys.argv[1:]]
    sys.exit(subprocess.run(words, cwd=Path(__file__).resolve().parents[3], check=False).returncode)
