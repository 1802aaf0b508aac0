"""Benchmark: 300 pieces on sheets, against every one of rectpack's packers on the same rectangles.

Timed is `lay_out` with its footers and drawings. The peer is the library that it stands on, each of its packers tried
once on the same rooms; the sheets must be no more than a tenth above the fewest that any of them finds.
Run it as ``python -m tests.bench.sheets``.
"""

from __future__ import annotations

import itertools
import statistics
import time
from collections.abc import Sequence

import numpy as np
import rectpack
from shapely import MultiPolygon, box

from geometry.model import Piece, Stock
from geometry.nets import GAP_MM, PieceDrawing, SheetOptions, lay_out, sheet_size
from geometry.nets.forms import forms_of
from tests.bench.figures import Figure, noted, spread_of

__all__ = ["main"]

_PIECES = 300
_SHEET = "A3"
_WANTED_SECONDS = 10.0
_RULES = [getattr(rectpack, name) for name in dir(rectpack) if name.startswith(("MaxRects", "Guillotine", "Skyline"))]
_SORTS = [getattr(rectpack, name) for name in dir(rectpack) if name.startswith("SORT_")]
_CHOICES = [rectpack.PackingBin.BFF, rectpack.PackingBin.BBF, rectpack.PackingBin.BNF]


def _pieces() -> list[PieceDrawing]:
    card = Stock("card", 250.0, 0.3, "any", (1.0, 1.0, 1.0))
    sides = np.random.default_rng(300).uniform(15.0, 120.0, (_PIECES, 2)).round(2)
    return [
        PieceDrawing(
            Piece(f"p{number}", f"p{number}", card, ("a",)),
            (),
            (),
            None,
            None,
            MultiPolygon([box(0, 0, width, height)]),
        )
        for number, (width, height) in enumerate(sides)
    ]


def _fewest(pieces: Sequence[PieceDrawing]) -> int:
    """The fewest sheets of any packer, upright or on their side; those that take minutes are left out."""
    ways = [*itertools.product(_RULES, _CHOICES, _SORTS)]
    ways += [(rule, rectpack.PackingBin.Global, None) for rule in _RULES if "Skyline" not in rule.__name__]
    counts = []
    for form in forms_of(sheet_size(_SHEET), SheetOptions()):
        for rule, choice, order in ways:
            packer = rectpack.newPacker(bin_algo=choice, pack_algo=rule, sort_algo=order, rotation=True)
            packer.add_bin(*(int((side + GAP_MM) * 1000) for side in form.room), count=len(pieces))
            for piece in pieces:
                left, low, right, high = piece.bounds()
                packer.add_rect(*(int(np.ceil((side + GAP_MM) * 1000)) for side in (right - left, high - low)))
            packer.pack()
            if len(packer.rect_list()) == len(pieces):
                counts.append(len(packer))
    return min(counts)


def main(repeats: int = 3) -> int:
    """Run the benchmark and print its table; 1 where it takes longer than wanted, or more sheets."""
    pieces = _pieces()
    seconds = []
    for _ in range(repeats):
        start = time.perf_counter()
        sheets, _ = lay_out("Benchmark", pieces, _SHEET)
        seconds.append(time.perf_counter() - start)
    start = time.perf_counter()
    fewest = _fewest(pieces)
    peer = time.perf_counter() - start
    print(f"{_PIECES} pieces on {_SHEET}: {len(sheets)} sheets, the fewest of all packers {fewest}")
    print(
        f"{'laid out in':34}{statistics.median(seconds):10.2f} s{min(seconds):10.2f} s{max(seconds):10.2f} s"
        f"   wanted: {_WANTED_SECONDS:.0f} s"
    )
    print(f"{'all packers, one by one':34}{peer:10.2f} s")
    ratios = [peer / each for each in seconds]
    noted(
        Figure(
            f"{_PIECES} pieces on sheets, drawn: {len(sheets)} sheets against {fewest}",
            "every packer of rectpack, one by one",
            f"{spread_of(ratios)} times as fast",
        )
    )
    return int(statistics.median(seconds) > _WANTED_SECONDS or len(sheets) > 1.1 * fewest)


if __name__ == "__main__":
    raise SystemExit(main())
