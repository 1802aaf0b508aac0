"""Mutation testing: which small faults in a module of the core would no test see?

    python3 build.py mutate [MODULE...] [--sample 100] [--seed 1] [--all] [--again]

For each module: its tests run once and it is noted which of them reach which line; then each mutant of the sample is
put in the module's place in a forked process, where those tests run that reach its line, its own test file's first. No
file of the core is changed. What survives is printed with its change, and stands in out/mutation/.
"""

from __future__ import annotations

import argparse
import contextlib
import importlib.abc
import importlib.util
import json
import os
import random
import re
import resource
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType

import numpy
import pytest
import scipy.optimize
import shapely

ROOT = Path(__file__).resolve().parents[2]
OUT = ROOT / "out" / "mutation"
#: The tests of each module, its own first; all of them together take seconds.
TESTS = {
    "linkage": ("linkage", "linkage_ends", "reach", "closes_flat", "opens_fully", "v_fold", "tent", "platform"),
    "assembly": ("assembly", "flap", "rider", "apex_cut", "slit_cut_in", "strap", "trimming", "tabs", "solid"),
    "checks/closes_flat": ("closes_flat", "remedies", "strap", "accordion", "mouth", "slit_cut_in"),
    "checks/opens_fully": ("opens_fully", "check_loops", "strap", "accordion", "closes_flat"),
    "checks/stays_inside": ("stays_inside", "strap", "accordion", "flap", "tent"),
    "checks/glue": ("glue", "strap", "accordion", "platform", "rider", "flap"),
    "checks/collisions": ("collisions", "closes_flat", "strap", "accordion", "flap"),
    "unfold/forests": ("unfold_folding", "unfold_tabs"),
    "unfold/overlaps": ("unfold_overlaps", "unfold_folding", "unfold_tabs"),
    "unfold/tabs": ("unfold_tabs", "unfold_folding"),
}
#: Tests in one go are the fastest that reach a line, up to so many seconds together.
BUDGET_S = 20.0
#: A mutant may take so many times what its tests take, and some seconds.
PATIENCE = (5.0, 10.0)
MEMORY_BYTES = 6 << 30
#: Imported before forking, so that no mutant waits for them.
WARM = (numpy, shapely, scipy.optimize)


@dataclass(frozen=True)
class Mutant:
    """A module with one small fault."""

    file: str
    number: int
    line: int
    in_function: bool
    change: str
    text: str


@dataclass(frozen=True)
class Reached:
    """What a test reaches."""

    test: str
    seconds: float
    lines: frozenset[int]


class Mutated(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Puts a mutant's text in the place of its module."""

    def __init__(self, mutant: Mutant) -> None:
        self.name = mutant.file.removesuffix(".py").replace("/", ".")
        self.code = compile(mutant.text, str(ROOT / mutant.file), "exec")

    def find_spec(self, name: str, path: object = None, target: object = None) -> object:
        if name != self.name:
            return None
        return importlib.util.spec_from_loader(name, self, origin=self.code.co_filename)

    def exec_module(self, module: ModuleType) -> None:
        module.__file__ = self.code.co_filename
        exec(self.code, module.__dict__)


class Chosen:
    """Keeps of all collected tests the chosen ones, in their order."""

    def __init__(self, tests: list[str]) -> None:
        self.order = {test: index for index, test in enumerate(tests)}

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        chosen = [item for item in items if item.nodeid in self.order]
        items[:] = sorted(chosen, key=lambda item: self.order[item.nodeid])


def path_of(module: str) -> str:
    """Path of a module of the core that is given by its name, or by its path."""
    return module if module.endswith(".py") else f"geometry/{module}.py"


def tests_of(path: str) -> list[str]:
    """Test files of a module, its own first."""
    names = TESTS[path.removeprefix("geometry/").removesuffix(".py")]
    return [f"tests/geometry/test_{name}.py" for name in names]


def mutants_of(path: str) -> list[Mutant]:
    """All mutants of a module."""
    command = [os.environ["HINGELEAF_MUTANTS"], str(ROOT / "tests/mutation/mutants.py"), path]
    lines = subprocess.run(command, cwd=ROOT, check=True, capture_output=True, text=True).stdout.splitlines()
    return [Mutant(**json.loads(line)) for line in lines]


def reached_by(path: str) -> list[Reached]:
    """Each test of a module with the lines that it reaches."""
    note = OUT / f"reached-{os.getpid()}.json"
    environment = {**os.environ, "HINGELEAF_MODULES": path, "HINGELEAF_REACHED": str(note)}
    command = [sys.executable, "-m", "pytest", "-p", "tests.mutation.reached", "-x", "-q", "-p", "no:cacheprovider"]
    subprocess.run([*command, *tests_of(path)], cwd=ROOT, env=environment, check=True, stdout=subprocess.DEVNULL)
    rows = json.loads(note.read_text(encoding="utf-8")).items()
    note.unlink()
    return [Reached(test, seconds, frozenset(lines[path])) for test, (seconds, lines) in rows if path in lines]


def rounds(mutant: Mutant, reached: list[Reached]) -> Iterator[list[Reached]]:
    """Tests that can see a mutant: those of the module's own file first, then the fastest of the others."""
    at_its_line = [item for item in reached if mutant.in_function and mutant.line in item.lines]
    # What is carried out when the module is imported, such as defaults, is reached by none and seen by any.
    seeing = sorted(at_its_line or reached, key=lambda item: item.seconds)
    home = tests_of(mutant.file)[0]
    for own in (True, False):
        group, left = [], BUDGET_S
        for item in seeing:
            if item.test.startswith(f"{home}::") == own and item.seconds <= left:
                group.append(item)
                left -= item.seconds
        if group:
            yield group


def _run_in_child(mutant: Mutant, tests: list[str]) -> int:
    """In a forked process: pytest's exit status on the mutant."""
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    silence = os.open(os.devnull, os.O_WRONLY)
    os.dup2(silence, 1)
    os.dup2(silence, 2)
    sys.meta_path.insert(0, Mutated(mutant))
    files = sorted({test.split("::")[0] for test in tests})
    return int(pytest.main(["-x", "-q", "-p", "no:cacheprovider", *files], plugins=[Chosen(tests)]))


def survives(mutant: Mutant, tests: list[Reached]) -> bool:
    """Whether a mutant passes these tests; what hangs does not."""
    limit = PATIENCE[0] * sum(item.seconds for item in tests) + PATIENCE[1]
    child = os.fork()
    if not child:
        status = 3
        with contextlib.suppress(BaseException):
            os.setsid()
            status = _run_in_child(mutant, [item.test for item in tests])
        os._exit(status)
    end = time.monotonic() + limit
    while time.monotonic() < end:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            return os.waitstatus_to_exitcode(status) == 0
        time.sleep(0.02)
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return False


def note_of(name: str) -> Path:
    """Where it stands what survived of a module."""
    return OUT / f"{name.replace('/', '-')}.txt"


def chosen(every: list[Mutant], name: str, options: argparse.Namespace) -> list[Mutant]:
    """The mutants of a module that are to be tried."""
    if options.again:
        numbers = {int(row[1]) for row in re.finditer(r"^(\d+) line", note_of(name).read_text(encoding="utf-8"), re.M)}
        return [mutant for mutant in every if mutant.number in numbers]
    if options.all or options.sample >= len(every):
        return every
    return sorted(random.Random(options.seed).sample(every, options.sample), key=lambda mutant: mutant.number)


def report(name: str, options: argparse.Namespace) -> None:
    """Try a module's mutants, print what survives and how many did, and write it down."""
    path = path_of(name)
    every = mutants_of(path)
    tried = chosen(every, name, options)
    reached = reached_by(path)
    survived = []
    for mutant in tried:
        if all(survives(mutant, tests) for tests in rounds(mutant, reached)):
            survived.append(f"{mutant.number} line {mutant.line}\n{mutant.change}\n")
            print(f"{path}: mutant {survived[-1]}", end="", flush=True)
    note_of(name).write_text("".join(survived), encoding="utf-8")
    left = len(survived)
    print(f"{name}: {len(every)} mutants, {len(tried)} tried, {len(tried) - left} killed, {left} survived", flush=True)


def main(arguments: list[str] | None = None) -> int:
    """Try the modules that are asked for; returns 0, since what survives is for a person to judge."""
    parser = argparse.ArgumentParser(prog="build.py mutate", description=__doc__.partition("\n")[0])
    parser.add_argument("modules", nargs="*", metavar="MODULE", help=f"of {', '.join(TESTS)}; default: all")
    parser.add_argument("--sample", type=int, default=100, metavar="N", help="mutants of each, at random (default 100)")
    parser.add_argument("--all", action="store_true", help="every mutant")
    parser.add_argument("--again", action="store_true", help="only what survived the last time")
    parser.add_argument("--seed", type=int, default=1, metavar="N", help="of the sample (default 1)")
    options = parser.parse_args(arguments)
    unknown = [name for name in options.modules if name not in TESTS]
    if unknown:
        parser.error(f"there is no {unknown[0]} here; there are {', '.join(TESTS)}")
    untried = [name for name in options.modules or TESTS if options.again and not note_of(name).is_file()]
    if untried:
        parser.error(f"{untried[0]} has not been tried before: run it without --again first")
    OUT.mkdir(parents=True, exist_ok=True)
    for name in options.modules or TESTS:
        report(name, options)
    return 0


if __name__ == "__main__":
    sys.exit(main())
