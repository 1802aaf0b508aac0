"""One fuzzer, guided by coverage: python -m tests.fuzz.worker TARGET LOGS SECONDS [MORE OPTIONS OF LIBFUZZER]."""

from __future__ import annotations

import hashlib
import sys
from pathlib import Path
from random import Random

import atheris
from atheris.import_hook import HookManager

# As atheris.instrument_imports does, but without the tracing of comparisons, which keeps every number it has seen.
with HookManager({"geometry", "svgelements"}, set(), True, trace_dataflow=False):
    from tests.fuzz.fuzzer import Fuzzer
    from tests.fuzz.guard import limit_memory

#: In so many cases of ten the input is changed as its kind wants it, in the others any bytes of it.
_OF_ITS_KIND = 8


def main() -> None:
    """Run until the time is over."""
    name, logs, seconds, *more = sys.argv[1:]
    fuzzer = Fuzzer(name, Path(logs))
    corpus = Path(logs, name, "corpus")
    corpus.mkdir(exist_ok=True)
    for seed in fuzzer.target.seeds:
        (corpus / hashlib.sha256(seed).hexdigest()[:16]).write_bytes(seed)

    def changed(data: bytes, most: int, seed: int) -> bytes:
        rng = Random(seed)
        if rng.randrange(10) >= _OF_ITS_KIND:
            return atheris.Mutate(data, most)
        return fuzzer.target.changed(rng, data)[:most]

    limits = [f"-max_total_time={seconds}", "-timeout=300", "-rss_limit_mb=3000", "-max_len=30000"]
    options = [*limits, "-print_final_stats=1", f"-artifact_prefix={logs}/{name}/", *more]
    limit_memory()
    atheris.Setup([sys.argv[0], *options, str(corpus)], fuzzer.one, custom_mutator=changed)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
