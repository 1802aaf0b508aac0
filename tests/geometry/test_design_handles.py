"""Handles of standing mechanisms: they are where their size ends, and what a pointer asks for is what it gets."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from geometry import HingeleafError, assemble, read_description
from geometry.design.editing import set_values
from geometry.design.handles import along_line, handles_of, moving_end, place_of, value_in, values_for

SCENES = sorted(Path("scenes").glob("*.toml")) + [Path("scenes/demo/low-tide.toml")]


def poses(spread):
    low, high = spread.reachable()
    opening = np.array([min(max(np.radians(110.0), low), high)])
    return {name: matrix[0] for name, matrix in spread.pose(opening).matrices.items()}


@pytest.mark.parametrize("file", SCENES, ids=lambda file: file.stem)
def test_handles_measure_what_the_description_says(file):
    description = read_description(file)
    spread = assemble(description)
    for spec in description.mechanisms:
        for handle in handles_of(spread, spec.id).values():
            said = value_in(spec, handle)
            assert handle.value == pytest.approx(abs(said) if handle.unit == "deg" else said, abs=0.006), handle.name
            assert np.linalg.norm(handle.way) == pytest.approx(1.0)


def test_every_kind_has_handles():
    found = {}
    for file in SCENES:
        description = read_description(file)
        spread = assemble(description)
        for spec in description.mechanisms:
            found.setdefault(spec.kind, set()).update(handles_of(spread, spec.id))
    assert {"height", "at", "angle", "crease_angle", "width"} <= found["v-fold"]
    assert {"at", "length", "base", "height"} <= found["tent"]
    assert {"at.x", "at.y"} <= found["rider"]
    assert all(found.values()), found


@pytest.mark.parametrize("name", ["height", "at", "angle", "crease_angle", "width"])
@pytest.mark.parametrize("opening", [60.0, 180.0])
def test_a_pull_brings_the_handle_under_the_pointer(name, opening):
    """Steps towards a line of sight end where the handle is nearest to it, as a value found by trying shows."""
    description = read_description("scenes/v-fold.toml")
    spec = description.mechanisms[0]
    radians = np.radians([opening])

    def state(value):
        changed = set_values(description, spec.id, values_for(spec, first, value))
        spread = assemble(changed)
        handle = handles_of(spread, spec.id)[name]
        matrices = {key: matrix[0] for key, matrix in spread.pose(radians).matrices.items()}
        return place_of(handle, 1, matrices)

    first = handles_of(assemble(description), spec.id)[name]
    start = value_in(spec, first)
    goal = start + 4.0
    eye = np.array([60.0, -220.0, 260.0])
    sight = state(goal) - eye
    sight /= np.linalg.norm(sight)
    value = start
    for _ in range(12):
        way = (state(value + 0.01) - state(value)) / 0.01
        value += along_line(eye, sight, state(value), way)
    off = state(value) - eye
    assert np.linalg.norm(off - (off @ sight) * sight) < 1e-4
    assert value == pytest.approx(goal, abs=1e-3)


def test_a_line_along_the_sight_asks_for_nothing():
    assert along_line(np.zeros(3), np.array([0.0, 0.0, 1.0]), np.ones(3), np.array([0.0, 0.0, -2.0])) == 0.0


def test_the_end_that_moves_is_taken():
    description = read_description("scenes/tent.toml")
    spec = description.mechanisms[0]
    spread = assemble(description)
    for name, end in (("height", 0), ("base", 1), ("at", 1)):
        handle = handles_of(spread, spec.id)[name]
        after = assemble(set_values(description, spec.id, values_for(spec, handle, value_in(spec, handle) + 0.01)))
        other = handles_of(after, spec.id)[name]
        assert moving_end(handle, other, (poses(spread), poses(after))) == end, name


def test_handles_of_what_is_not_there():
    assert handles_of(assemble(read_description("scenes/tent.toml")), "nobody") == {}


def test_a_point_keeps_its_other_number():
    description = read_description("scenes/rider.toml")
    spec = next(spec for spec in description.mechanisms if spec.kind == "rider")
    spread = assemble(description)
    handle = handles_of(spread, spec.id)["at.x"]
    values = values_for(spec, handle, 12.5)
    assert values == {"at": [12.5, float(spec.values["at"][1])]}
    changed = replace(spec, values={**spec.values, **values})
    assert value_in(changed, handle) == 12.5
    with pytest.raises(HingeleafError):
        set_values(description, "nobody", values)
