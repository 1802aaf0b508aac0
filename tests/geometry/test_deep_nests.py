"""Kinds of every sort on each other, five and six deep: whatever else is wrong with such a nest, its motion is exact.

The scenes are random ones that were kept: they collide and stand out of the page, which is not the point here. Each is
judged from what `poses` writes, by outlines and matrices alone (judge.py), at openings close to both ends too.
"""

from pathlib import Path

import numpy as np
import pytest

from geometry import assemble, read_description
from geometry.nets import draw_piece
from geometry.poses import poses_data
from tests.geometry import judge

NESTS = sorted((Path(__file__).parent / "deep").glob("*.toml"))
OPENINGS = np.array([0.0, 0.2, 1.0, 5.0, 20.0, 45.0, 70.0, 90.0, 110.0, 135.0, 160.0, 175.0, 179.0, 179.8, 180.0])


def depths(description):
    """How deep each mechanism stands: one more than the deepest of those that it names."""
    found = {}
    for spec in description.mechanisms:
        hosts = [
            str(value).split(".")[0] for key, value in spec.values.items() if key in ("fold", "panel", "from", "to")
        ]
        found[spec.id] = 1 + max((found.get(host, 0) for host in hosts), default=0)
    return found


def test_nests_are_deep_and_of_many_kinds():
    kinds, deepest = set(), []
    for path in NESTS:
        description = read_description(path)
        kinds |= {spec.kind for spec in description.mechanisms}
        deepest.append(max(depths(description).values()))
    assert min(deepest) >= 5
    assert kinds >= {"v-fold", "tent", "slit-cut-in", "strap", "flap", "pull-strip", "platform", "rider", "wheel"}


@pytest.mark.parametrize("path", NESTS, ids=lambda path: path.stem)
def test_hinges_stay_together_wherever_it_can_stand(path):
    spread = assemble(read_description(path))
    scene = judge.posed(poses_data(spread, OPENINGS))
    reached = [np.isfinite(matrices).all() for matrices in np.stack(list(scene.matrices.values()), axis=1)]
    assert sum(reached) >= 3
    assert judge.rigid_error(scene) < 1e-9
    assert max(judge.hinge_gap(scene, hinge) for hinge in scene.hinges) < 1e-6
    for hinge in scene.hinges:
        if hinge["kind"] == "crease":
            assert judge.turned_deg(judge.signed_dihedral_deg(scene, hinge), hinge["dihedral"]) < 1e-6, hinge["id"]
    for piece in spread.pieces:
        assert draw_piece(spread, piece.id).card.is_valid
