"""Runs the inputs of one target and keeps the books.

Every new kind of failure is written down, with the input that sets it off, and the fuzzer goes on. A failure's kind is
where it was raised and what.
"""

from __future__ import annotations

import hashlib
import json
import os
import time
import traceback
from pathlib import Path

from tests.fuzz import targets
from tests.fuzz.guard import Broken, new_folder, watched

__all__ = ["Fuzzer", "kind_of"]


def kind_of(error: BaseException) -> str:
    """What failed and where, without what differs from one input to the next."""
    frames = [frame for frame in traceback.extract_tb(error.__traceback__) if "/tests/fuzz/" not in frame.filename]
    own = [frame for frame in frames if "/geometry/" in frame.filename] or frames
    where = f"{Path(own[-1].filename).name}:{own[-1].lineno}" if own else ""
    said = str(error)[:40] if isinstance(error, Broken) else ""
    return f"{type(error).__name__} {where} {said}"


class Fuzzer:
    """Runs inputs and keeps the books.

    Parameters
    ----------
    name : of the target
    logs : folder for what is found
    """

    def __init__(self, name: str, logs: Path) -> None:
        self.target = targets.TARGETS[name]
        self.logs = logs / name
        self.logs.mkdir(parents=True, exist_ok=True)
        self.folder = new_folder(name)
        targets.furnish(self.folder)
        self.name, self.runs, self.slowest, self.begun = name, 0, 0.0, time.monotonic()
        self.kinds: dict[str, int] = {}

    def one(self, data: bytes) -> None:
        """Run one input."""
        self.runs += 1
        before = time.process_time()
        try:
            with watched(self.folder):
                self.target.run(self.folder, data)
        except (Exception, Broken) as error:  # noqa: BLE001 - anything at all is a finding
            self.found(error, data)
            targets.furnish(self.folder)
        took = time.process_time() - before
        if took > self.slowest:
            self.slowest = took
            (self.logs / "slowest").write_bytes(data)
        if self.runs % 50 == 0:
            self.note()

    def found(self, error: BaseException, data: bytes) -> None:
        """Keep a failure, the first of its kind."""
        kind = kind_of(error)
        self.kinds[kind] = self.kinds.get(kind, 0) + 1
        if self.kinds[kind] > 1:
            return
        mark = hashlib.sha256(kind.encode()).hexdigest()[:12]
        (self.logs / f"finding-{mark}").write_bytes(data)
        text = "".join(traceback.format_exception(error))
        (self.logs / f"finding-{mark}.txt").write_text(f"{kind}\n{text}", encoding="utf-8", errors="backslashreplace")
        self.note()

    def note(self) -> None:
        """Write down how far it is."""
        data = {
            "target": self.name,
            "executions": self.runs,
            "seconds": round(time.monotonic() - self.begun),
            "processor_seconds": round(time.process_time()),
            "slowest_s": round(self.slowest, 2),
            "findings": self.kinds,
        }
        (self.logs / f"runs-{os.getpid()}.json").write_text(json.dumps(data, indent=1), encoding="utf-8")
