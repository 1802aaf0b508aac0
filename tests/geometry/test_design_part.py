"""A part of a description, and what a drag builds of it, against the whole."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from geometry import HingeleafError, assemble, read_description
from geometry.design.part import begin_drag, part_of
from geometry.trees import owner_of

SCENES = sorted(Path("scenes").glob("*.toml")) + [Path("scenes/demo/low-tide.toml")]


def changed(description, mechanism, key, value):
    """The description with one value changed, without its text."""
    specs = [
        replace(spec, values={**spec.values, key: value}) if spec.id == mechanism else spec
        for spec in description.mechanisms
    ]
    return replace(description, mechanisms=tuple(specs))


def cases():
    for file in SCENES:
        for spec in read_description(file).mechanisms:
            yield pytest.param(file, spec.id, id=f"{file.stem}-{spec.id}")


@pytest.mark.parametrize(("file", "mechanism"), list(cases()))
def test_a_part_is_built_as_in_the_whole(file, mechanism):
    description = read_description(file)
    whole, part = assemble(description), assemble(part_of(description, [mechanism]))
    openings = np.linspace(*whole.reachable(), 5)
    poses, alone = whole.pose(openings).matrices, part.pose(openings).matrices
    own = [name for name in part.panels if owner_of(name) == mechanism]
    assert own
    for name in own:
        assert np.allclose(poses[name], alone[name], atol=1e-9), name
        if part.panels[name].role != "tab":
            assert part.panels[name].outline.equals_exact(whole.panels[name].outline, 1e-9), name


@pytest.mark.parametrize(("file", "mechanism"), list(cases()))
def test_a_step_of_a_drag_ends_as_the_whole(file, mechanism):
    description = read_description(file)
    spec = next(spec for spec in description.mechanisms if spec.id == mechanism)
    drag = begin_drag(description, mechanism)
    start = assemble(description)
    moved = 0
    for key, value in spec.values.items():
        if key in ("at", "height", "length", "width", "width_start", "base") and isinstance(value, float):
            new = changed(description, mechanism, key, value * 0.97)
            try:
                whole = assemble(new)
            except HingeleafError:
                continue
            spread, cut = drag.step(new)
            moved += 1
            for name in spread.panels:
                if owner_of(name) in drag.moved and spread.panels[name].role != "tab":
                    assert spread.panels[name].outline.equals_exact(whole.panels[name].outline, 1e-6), (key, name)
            for name, outline in cut.items():
                off = outline.symmetric_difference(whole.panels[name].outline).area
                assert off < 1e-3, (key, name)
            for name, panel in whole.panels.items():
                before = drag.rest.panels.get(name)
                if before is not None and owner_of(name) not in drag.moved and name not in cut:
                    same = panel.outline.equals_exact(start.panels[name].outline, 1e-9)
                    assert same or panel.role == "tab", (key, name)
    assert moved or spec.kind not in ("v-fold", "tent")


def test_only_what_is_needed_is_built():
    description = read_description("scenes/demo/low-tide.toml")
    part = part_of(description, ["cave"])
    assert {spec.id for spec in part.mechanisms} == {"cliff", "cave", "crab"}
    alone = part_of(description, ["cave"], standing=False)
    assert {spec.id for spec in alone.mechanisms} == {"cliff", "cave"}


def test_a_driven_flap_comes_with_what_drives_it():
    description = read_description("scenes/pull-strip.toml")
    flap = next(spec for spec in description.mechanisms if spec.values.get("driven"))
    part = part_of(description, [flap.id], standing=False)
    assert any(spec.values.get("drives") == flap.id for spec in part.mechanisms)
    assemble(part)
