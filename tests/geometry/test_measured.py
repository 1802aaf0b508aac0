"""The sizes of a mechanism as lines on its standing panels."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from geometry import assemble, parse_description, read_description
from geometry.design.measured import drawn_sizes
from geometry.trees import owner_of
from tests.geometry.scene_texts import FILES, HEAD, cut_in, v_fold

SPREADS = {file.name: assemble(read_description(file)) for file in FILES}


@pytest.mark.parametrize("name", SPREADS)
def test_every_mechanism_has_sizes_on_panels_that_there_are(name):
    spread = SPREADS[name]
    for spec in spread.mechanisms:
        sizes = drawn_sizes(spread, spec.id)
        assert sizes, spec.id
        for size in sizes:
            assert size.panel in spread.panels
            assert np.isfinite(size.lines).all()
            assert size.lines.shape[1:] == (2, 2)
            assert size.text


def test_sizes_of_a_v_fold_are_as_long_as_they_say():
    spread = assemble(parse_description(HEAD + v_fold("hill", body="at = 60; angle = 45; height = 50")))
    sizes = {size.text: size for size in drawn_sizes(spread, "hill")}
    assert {"at 60", "angle 45°", "height 50"} <= set(sizes)
    for text, length in (("at 60", 60.0), ("height 50", 50.0)):
        line = sizes[text].lines[0]
        assert np.hypot(*(line[1] - line[0])) == pytest.approx(length)
    assert owner_of(sizes["height 50"].panel) == "hill"
    assert sizes["at 60"].panel.startswith("page.")
    arc = sizes["angle 45°"].lines
    one, two = (leg[1] - leg[0] for leg in arc[:2])
    assert np.degrees(np.arccos(one @ two / np.hypot(*one) / np.hypot(*two))) == pytest.approx(45.0)


def test_a_width_lies_on_the_strip_and_not_on_the_card_around_it():
    spread = assemble(parse_description(HEAD + cut_in("step")))
    (width,) = (size for size in drawn_sizes(spread, "step") if size.text.startswith("width"))
    assert width.panel in ("step.left", "step.right")
    outline = spread.panels[width.panel].outline
    assert shapely.distance(outline, shapely.points(width.lines[0])).max() < 1e-9


def test_nothing_of_what_does_not_exist():
    assert drawn_sizes(SPREADS["v-fold.toml"], "nobody") == ()
