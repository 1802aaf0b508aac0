"""The parts of a spread that move by themselves."""

from pathlib import Path

import numpy as np
import pytest

from geometry import assemble, read_description
from geometry.sampling import sample_turns
from geometry.trees import owner_of, trees_of

SCENES = sorted(Path("scenes").glob("*.toml")) + [Path("scenes/demo/low-tide.toml")]


@pytest.mark.parametrize("file", SCENES, ids=lambda file: file.stem)
def test_every_panel_and_unit_is_in_one_tree(file):
    spread = assemble(read_description(file))
    pages, *trees = trees_of(spread)
    assert list(pages.panels) == ["page.right", "page.left"]
    panels = [name for tree in trees for name in tree.panels if not name.startswith("page.")]
    assert sorted(panels) == sorted(name for name in spread.panels if not name.startswith("page."))
    units = [unit.id for tree in trees for unit in tree.units]
    assert sorted(units) == sorted(unit.id for unit in spread.units)


@pytest.mark.parametrize("file", SCENES, ids=lambda file: file.stem)
def test_a_tree_moves_alone_as_in_the_whole(file):
    spread = assemble(read_description(file))
    openings = np.linspace(*spread.reachable(), 7)
    whole = spread.pose(openings).matrices
    for tree in trees_of(spread):
        for name, matrices in tree.pose(openings).matrices.items():
            assert np.allclose(matrices, whole[name], atol=1e-12), name


def test_what_is_joined_is_one_tree():
    spread = assemble(read_description("scenes/strap-between-v-folds.toml"))
    groups = [{owner_of(name) for name in tree.panels} - {"page"} for tree in trees_of(spread)[1:]]
    assert {"near", "far", "roof"} <= next(group for group in groups if "roof" in group)


def test_what_stands_apart_is_sampled_apart():
    spread = assemble(read_description("scenes/demo/low-tide.toml"))
    trees = trees_of(spread)
    assert len(trees) > 3
    whole = len(sample_turns(spread)[0])
    assert sum(len(sample_turns(tree)[0]) < whole for tree in trees) >= 2, "each has the samples that it needs, no more"
