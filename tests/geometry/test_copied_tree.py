"""Copies of a loop's tree, against the whole tree with every error as a body of its own."""

from __future__ import annotations

import numpy as np
import pytest

from geometry import assemble, read_description
from geometry.copied_tree import copied_tree
from geometry.loop_errors import erring
from tests.geometry.scene_texts import ROOT

COPIES = 7


def erring_loops(name):
    spread = assemble(read_description(ROOT / "scenes" / f"{name}.toml"))
    return [erring(spread, loop) for loop in spread.loops]


@pytest.mark.parametrize("name", ["strap", "box", "scenery", "pull-strip", "flap", "demo/night"])
def test_copies_are_where_the_whole_tree_is(name):
    random = np.random.default_rng(3)
    for item in erring_loops(name):
        tree = item.geometry.tree
        errors = {error.variable: random.normal(0.0, 0.3, COPIES) for error in item.errors}
        moved = {variable: random.uniform(-2.0, 2.0, COPIES) for variable in tree.names if variable not in errors}
        copies = copied_tree(tree, errors, COPIES)
        assert set(copies.tree.names) == set(moved)
        misfit, jacobian = copies.misfit_and_jacobian(copies.tree.values(moved, COPIES))
        whole = tree.posed(tree.values({**moved, **errors}, COPIES))
        np.testing.assert_allclose(misfit, tree.misfit(whole), atol=1e-9)
        np.testing.assert_allclose(jacobian, tree.jacobian(whole), atol=1e-9)


def test_some_copies_are_those():
    item = erring_loops("box")[0]
    tree, random = item.geometry.tree, np.random.default_rng(4)
    errors = {error.variable: random.normal(0.0, 0.3, COPIES) for error in item.errors}
    copies = copied_tree(tree, errors, COPIES)
    values, rows = random.uniform(-2.0, 2.0, (len(copies.tree.names), COPIES)), np.array([5, 0, 3])
    every, some = copies.misfit_and_jacobian(values), copies.at(rows).misfit_and_jacobian(values[:, rows])
    np.testing.assert_array_equal(some[0], every[0][rows])
    np.testing.assert_array_equal(some[1], every[1][rows])
    # Copies lie last in memory: what runs over all of them is several times slower otherwise.
    assert copies.at(rows).parts.flags.c_contiguous
