"""A plugin of pytest that notes which lines of some modules each test reaches, and how long it takes.

    python -m pytest -p tests.mutation.reached tests/geometry

reads HINGELEAF_MODULES (paths, separated by commas) and writes HINGELEAF_REACHED: {test: [seconds, {path: [lines]}]}.
Python 3.12 or later: it listens to sys.monitoring, which tells of each line once and then costs nothing.
"""

from __future__ import annotations

import json
import os
import sys
import time
from collections import defaultdict
from pathlib import Path
from types import CodeType

import pytest

TOOL = sys.monitoring.PROFILER_ID
WANTED = {str(Path(name).resolve()): name for name in os.environ["HINGELEAF_MODULES"].split(",")}
REACHED: dict[str, tuple[float, dict[str, list[int]]]] = {}
_lines: dict[str, set[int]] = defaultdict(set)


def _at(code: CodeType, line: int) -> object:
    if code.co_filename in WANTED:
        _lines[WANTED[code.co_filename]].add(line)
    return sys.monitoring.DISABLE


def pytest_sessionstart() -> None:
    """Listen."""
    sys.monitoring.use_tool_id(TOOL, "reached")
    sys.monitoring.register_callback(TOOL, sys.monitoring.events.LINE, _at)
    sys.monitoring.set_events(TOOL, sys.monitoring.events.LINE)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol(item: pytest.Item) -> object:
    """Note what one test reaches."""
    _lines.clear()
    sys.monitoring.restart_events()
    begin = time.perf_counter()
    result = yield
    lines = {name: sorted(own) for name, own in _lines.items()}
    REACHED[item.nodeid] = (round(time.perf_counter() - begin, 4), lines)
    return result


def pytest_sessionfinish() -> None:
    """Write it down, and listen no longer."""
    sys.monitoring.set_events(TOOL, sys.monitoring.events.NO_EVENTS)
    sys.monitoring.free_tool_id(TOOL)
    Path(os.environ["HINGELEAF_REACHED"]).write_text(json.dumps(REACHED), encoding="utf-8")
