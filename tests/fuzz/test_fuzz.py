"""A short run of every fuzzer, and some of the designs that the long run judges; DEVELOPERS.md has the long ones."""

from __future__ import annotations

import signal
import subprocess
import sys
from random import Random

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from geometry import assemble, parse_description
from tests.fuzz import designs, invariants, targets
from tests.fuzz.fuzzer import kind_of
from tests.fuzz.guard import Broken, Folder, watched

pytestmark = pytest.mark.skipif(not hasattr(signal, "SIGPROF"), reason="processor time has no timer there, nor links")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = Folder(tmp_path_factory.mktemp("fuzz"))
    targets.furnish(folder)
    return folder


def run(name, folder, data):
    with watched(folder, seconds=30.0):
        targets.TARGETS[name].run(folder, data)


@pytest.mark.filterwarnings("default")
@pytest.mark.parametrize("name", [name for name in targets.TARGETS if name != "command"])
def test_seeds_break_nothing(name, folder):
    seeds = targets.TARGETS[name].seeds
    for data in seeds if len(seeds) < 20 else Random(name).sample(seeds, 6):
        run(name, folder, data)
        targets.furnish(folder)


@pytest.mark.filterwarnings("default")
@pytest.mark.parametrize(
    ("name", "count"),
    [("description", 25), ("book", 25), ("outlines", 40), ("path", 25), ("picture", 40), ("mesh", 60)],
)
def test_what_is_nearly_a_seed_breaks_nothing(name, count, folder):
    """Hypothesis chooses what is changed, so that it can say the least change that breaks anything."""
    target = targets.TARGETS[name]

    @settings(
        max_examples=count, deadline=None, derandomize=True, database=None, suppress_health_check=list(HealthCheck)
    )
    @given(st.sampled_from(target.seeds), st.randoms(use_true_random=True))
    def check(seed, rng):
        run(name, folder, target.changed(rng, seed))

    check()


@pytest.mark.parametrize("seed", range(6))
def test_command_lines_break_nothing(seed, folder):
    run("command", folder, bytes([200, seed]))


@pytest.mark.parametrize("batch", range(6))
def test_designs_keep_every_invariant(batch):
    outcomes = {}
    for seed in range(10 * batch, 10 * batch + 10):
        outcomes[seed] = designs.judged(seed)
    assert {seed: faults for seed, (_, faults) in outcomes.items() if faults} == {}
    assert sum(outcome == "built" for outcome, _ in outcomes.values()) >= 2


# --- the watch itself: what it must see it sees -----------------------------------------------------------------------


def spins(_folder):
    while True:
        pass


def writes_beside(folder):
    (folder.path / ".." / "stray.txt").write_text("x", encoding="utf-8")


def writes_through_a_link(folder):
    (folder.path / "link.toml").write_text("x", encoding="utf-8")


def reads_beside(folder):
    (folder.path / ".." / "outside.toml").read_text(encoding="utf-8")


def starts_a_program(_folder):
    subprocess.run([sys.executable, "-c", ""], check=True)


def hides_it(folder):
    try:
        reads_beside(folder)
    except BaseException:  # noqa: BLE001 - to be caught at it
        return


def leaves_a_file(folder):
    (folder.temporary / "half").write_text("x", encoding="utf-8")


@pytest.mark.parametrize(
    ("does", "said"),
    [
        (spins, "takes too long"),
        (writes_beside, "writes outside"),
        (writes_through_a_link, "writes outside"),
        (reads_beside, "reads outside"),
        (starts_a_program, "fetches or starts"),
        (hides_it, "reads outside"),
        (leaves_a_file, "among temporary files"),
    ],
)
def test_what_is_not_allowed_is_seen(tmp_path, does, said):
    folder = Folder(tmp_path)
    targets.furnish(folder)
    with pytest.raises(Broken, match=said) as caught, watched(folder, seconds=0.2):
        does(folder)
    assert kind_of(caught.value)
    assert not (tmp_path / "stray.txt").exists()
    assert folder.outside.read_text(encoding="utf-8") == "secret"


def test_what_is_broken_in_a_design_is_seen(monkeypatch):
    """The judge of designs is no use if it finds nothing: a hinge moved by a hundredth of a millimetre is found."""
    description = parse_description(targets.HANDS, source="design.toml")
    spread = assemble(description)
    assert invariants.broken(description, spread) == []
    poses = invariants.poses_data

    def moved(*arguments):
        data = poses(*arguments)
        hinge = data["hinges"][-1]
        (x, y), end = hinge["line"][1]
        hinge["line"][1] = [[x + 0.01, y], end]
        return data

    monkeypatch.setattr(invariants, "poses_data", moved)
    assert any("gapes" in fault for fault in invariants.broken(description, spread))
