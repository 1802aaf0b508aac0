"""Designs by the ten thousand: python -m tests.fuzz.designs [--count N] [--first N] [--minutes N] [--out FILE].

Half are random nests, half are scenes of every kind with some of their sizes, keys and hosts changed. What cannot be
built must be refused with a sentence; of what can, every invariant is judged. Exit status 1 where one was broken.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
import traceback
import warnings
from collections import Counter
from pathlib import Path
from random import Random

from geometry import DescriptionError, HingeleafError, assemble, parse_description
from tests.fuzz import toml_texts
from tests.fuzz.invariants import broken
from tests.geometry.random_scenes import random_scene
from tests.geometry.scene_texts import FILES

__all__ = ["judged", "main", "text_of"]

#: Nets are written for one design in so many.
_NETS_EVERY = 25
_TEXTS = [file.read_text(encoding="utf-8") for file in FILES if file.stat().st_size < 1500]
_SEEDS = [text for text in _TEXTS if "art_" not in text]


def text_of(seed: int) -> str:
    """The design of a number."""
    rng = Random(seed)
    if seed % 2 == 0:
        return random_scene(seed // 2, most=6)
    text = rng.choice(_SEEDS)
    for _ in range(rng.choice([1, 1, 2, 3])):
        text = toml_texts.resized(rng, text, _SEEDS)
    return text


def judged(seed: int) -> tuple[str, list[str]]:
    """Whether the design of a number is "built" or "refused", and what is broken.

    Parameters
    ----------
    seed : any number
    """
    text = text_of(seed)
    try:
        description = parse_description(text, source="design.toml")
        spread = assemble(description)
    except DescriptionError as error:
        if not error.problems or any(not problem.message or not problem.place for problem in error.problems):
            return "refused", ["is refused without a reason"]
        return "refused", []
    except HingeleafError as error:
        return "refused", [] if str(error) else ["is refused without a reason"]
    return "built", broken(description, spread, nets=seed % _NETS_EVERY == 0)


def main(arguments: list[str] | None = None) -> int:
    """Judge many; returns the exit status."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=20_000, help="how many")
    parser.add_argument("--minutes", type=float, default=float("inf"), help="at most so long")
    parser.add_argument("--first", type=int, default=0, help="number of the first")
    parser.add_argument("--out", metavar="FILE", help="what was found, as JSON, renewed as it goes")
    options = parser.parse_args(arguments)
    warnings.simplefilter("error")

    def note(path: Path) -> None:
        data = {"judged": dict(outcomes), "seconds": round(time.monotonic() - begun), "broken": found}
        path.write_text(json.dumps(data, indent=1), encoding="utf-8")

    begun, outcomes, found = time.monotonic(), Counter[str](), dict[int, list[str]]()
    for seed in range(options.first, options.first + options.count):
        if time.monotonic() - begun > 60 * options.minutes:
            break
        try:
            outcome, faults = judged(seed)
        except Exception as error:  # noqa: BLE001 - anything at all is a finding
            frame = traceback.extract_tb(error.__traceback__)[-1]
            where = f"{Path(frame.filename).name}:{frame.lineno}"
            outcome, faults = "crashed", [f"{type(error).__name__}: {error} ({where})"]
        outcomes[outcome] += 1
        if faults:
            found[seed] = faults
            print(f"{seed}: {'; '.join(faults)}", flush=True)
        if options.out and seed % 20 == 0:
            note(Path(options.out))
    if options.out:
        note(Path(options.out))
    print(f"{sum(outcomes.values())} designs, {dict(outcomes)}, {len(found)} with something broken")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
