"""What lies between panels of the closed spread, against rays cast through the book while it stands ajar."""

from __future__ import annotations

import numpy as np
import pytest
from shapely import Point

from geometry import assemble, parse_description
from geometry.layers import pile_of
from tests.geometry.scene_texts import HEAD, SCENES, rider_on, tent

#: Nearer to an edge than this a ray may pass on either side of it.
_EDGE_MM = 0.2
#: Panels whose planes lie nearer to each other than this are glued, and both orders are right.
_GLUED_MM = 1e-4


def hits_of(spread, point, opening_rad):
    """Panels that a ray square to the plane halving the opening meets, with their heights; None near an edge."""
    half = opening_rad / 2
    up, out = np.array([-np.sin(half), 0.0, np.cos(half)]), np.array([np.cos(half), 0.0, np.sin(half)])
    start = point[0] * out + np.array([0.0, point[1], 0.0])
    found = []
    for name, matrices in spread.pose(np.array([opening_rad])).matrices.items():
        matrix, outline = matrices[0], spread.panels[name].outline
        slope = matrix[:3, 2] @ up
        if abs(slope) < 1e-6:
            continue
        height = matrix[:3, 2] @ (matrix[:3, 3] - start) / slope
        place = Point((matrix[:3, :3].T @ (start + height * up - matrix[:3, 3]))[:2])
        if outline.buffer(_EDGE_MM).contains(place):
            if not outline.buffer(-_EDGE_MM).contains(place):
                return None
            found.append((height, name))
    return sorted(found)


@pytest.mark.parametrize("name", SCENES)
def test_panels_lie_over_each_other_as_rays_meet_them(name):
    spread = assemble(parse_description(SCENES[name]))
    pile = pile_of(spread)
    random = np.random.default_rng(7)
    met = 0
    for point in random.uniform((0.5, 5.0), (90.0, 180.0), (40, 2)):
        hits = hits_of(spread, point, np.radians(0.05))
        faces = [index for index, face in enumerate(pile.faces) if face.contains(Point(point))]
        if not hits or not faces:
            continue
        met += 1
        heights = {panel: pile.heights[row, faces[0]] for row, panel in enumerate(pile.panels)}
        assert {panel for row, panel in enumerate(pile.panels) if pile.covers[row, faces[0]]} == {p for _, p in hits}
        for low, first in hits:
            for high, second in hits:
                assert high - low < _GLUED_MM or heights[first] < heights[second]
    assert met > 10


def thickest(spread, first, second):
    between = pile_of(spread).between(first, second)
    return int(between.layers.max(initial=0)), float(between.stacks.sum(axis=1).max(initial=0.0))


ROOF = tent("roof")
NEST = tent("nest", "roof.middle", 'at = 10; length = 30; base = 12; height = 14; tab = "outer"; tab_width = 8')


@pytest.mark.parametrize(("body", "panels", "layers"), [
    (ROOF, ("roof.left", "roof.right"), 0),
    (ROOF, ("page.left", "page.right"), 2),
    (ROOF + NEST, ("roof.left", "roof.right"), 4),
    (ROOF + NEST, ("nest.left", "nest.right"), 0),
    (ROOF + rider_on("sun", "page.right", "at = [50, 85]; size = [30, 30]"), ("roof.right", "page.right"), 1),
])  # fmt: skip
def test_counts_that_a_hand_can_make(body, panels, layers):
    """A tent puts two panels between the pages; a nest puts two panels, and under them two tabs, into the tent."""
    for caliper in (0.3, 1.1):
        spread = assemble(parse_description(HEAD.replace("0.3", str(caliper)) + body))
        count, thickness = thickest(spread, *panels)
        assert count == layers
        assert thickness == pytest.approx(layers * caliper)
