"""One fuzzer where atheris is not: python -m tests.fuzz.unguided TARGET LOGS SECONDS."""

from __future__ import annotations

import sys
import time
from pathlib import Path
from random import Random

from tests.fuzz.fuzzer import Fuzzer
from tests.fuzz.guard import limit_memory


def main() -> None:
    """Run until the time is over; each input comes from a seed, or from one of the last inputs."""
    name, logs, seconds = sys.argv[1:]
    fuzzer, rng = Fuzzer(name, Path(logs)), Random(time.time_ns())
    limit_memory()
    end = time.monotonic() + float(seconds)
    last = list(fuzzer.target.seeds)
    while time.monotonic() < end:
        data = fuzzer.target.changed(rng, rng.choice([rng.choice(fuzzer.target.seeds), rng.choice(last)]))
        last[rng.randrange(len(last))] = data
        fuzzer.one(data)
    fuzzer.note()


if __name__ == "__main__":
    main()
