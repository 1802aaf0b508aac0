"""Joins and tabs of many meshes, by the judge of joins; and the judge by mistakes that are made on purpose."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geometry.unfold.facets import facets_of
from geometry.unfold.tabs import TabOptions, joins_of
from geometry.unfold.unfolding import unfold_facets
from tests.geometry import unfold_meshes as meshes
from tests.geometry.unfold_join_judge import join_faults
from tests.geometry.unfold_random import random_mesh

QUICK = ["box", "cone", "cylinder", "star", "L", "house", "ring cube", "torus", "ball", "book", "moebius", "many"]


@pytest.mark.parametrize("width_mm", [3.0, 10.0])
@pytest.mark.parametrize("name", QUICK)
def test_samples(name, width_mm):
    unfolded = unfold_facets(facets_of(meshes.SAMPLES[name]()))
    assert join_faults(unfolded, joins_of(unfolded, TabOptions(width_mm=width_mm))) == []


@pytest.mark.parametrize("seed", [0, 4, 10, 11, 12, 13, 20, 24, 28, 33, 35, 43, 47, 49])
def test_meshes_by_chance(seed):
    words, mesh, options = random_mesh(seed)
    facets = facets_of(mesh)
    unfolded = unfold_facets(facets, options)
    width_mm = float(np.clip(0.06 * facets.size_mm, 1e-6, 50.0))
    assert join_faults(unfolded, joins_of(unfolded, TabOptions(width_mm=width_mm))) == [], words


def with_tab(joins, change):
    """The first join that has a tab with another one."""
    number = next(number for number, join in enumerate(joins) if join.tab is not None)
    return (*joins[:number], replace(joins[number], tab=change(joins[number].tab)), *joins[number + 1 :])


def moved_side(join):
    side = join.sides[0]
    return replace(join, sides=(replace(side, line=side.line + 1e-3), join.sides[1]))


MISTAKES = {
    "a join too few": (lambda joins: joins[1:], "joined once"),
    "one label twice": (lambda joins: (replace(joins[0], label=joins[1].label), *joins[1:]), "one label"),
    "a side elsewhere": (lambda joins: (moved_side(joins[0]), *joins[1:]), "not where"),
    "sides swapped": (lambda joins: (replace(joins[0], sides=joins[0].sides[::-1]), *joins[1:]), "not the facets"),
    "a tab inwards": (
        lambda joins: with_tab(joins, lambda tab: np.r_[tab[1::-1], tab[:2].sum(axis=0) - tab[2:]]),
        "lies on net",
    ),
    "a tab too wide": (
        lambda joins: with_tab(joins, lambda tab: np.r_[tab[:2], tab[2:] + 20 * (tab[2:] - tab[:2]).mean(axis=0)]),
        "reaches beyond",
    ),
}


@pytest.mark.parametrize("mistake", MISTAKES)
def test_a_mistake_is_seen(mistake):
    unfolded = unfold_facets(facets_of(meshes.box()))
    joins = joins_of(unfolded)
    assert join_faults(unfolded, joins) == []
    make, word = MISTAKES[mistake]
    assert any(word in fault for fault in join_faults(unfolded, make(joins)))
