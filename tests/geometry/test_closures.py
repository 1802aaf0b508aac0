"""Closures: their misfit and its exact derivative, the angle where they close, and how near ends come."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import least_squares

from geometry import assemble, parse_description
from geometry.closures import Closure, LoopGeometry, loop_geometry
from geometry.linkage import OVER, PlanarCell, SphericalCell
from geometry.model import Angle, Axis, Panel
from geometry.motion import pose_panels
from geometry.transforms import frame
from tests.geometry.numeric_cells import CARD, X, Y, cell_loop
from tests.geometry.scene_texts import HEAD
from tests.geometry.strap_texts import ROW, THREE, TWO_FOLDS

CELLS = {
    "planar": PlanarCell(40, 30, 50, 60),
    "planar, leaning over": PlanarCell(40, 30, 60, 70, OVER),
    "spherical": SphericalCell(0.8, 0.6, 1.2, 1.3),
}


def loops_of(text):
    return {loop.id: loop for loop in assemble(parse_description(HEAD + text)).loops}


GEOMETRIES = {
    **{name: cell_loop(cell).geometry for name, cell in CELLS.items()},
    "row": loops_of(ROW)["bridge"].geometry,
    "three panels": loops_of(THREE)["bridge"].geometry,
    "between two v-folds": loops_of(TWO_FOLDS)["roof"].geometry,
}


def somewhere(geometry: LoopGeometry, count: int) -> dict[str, np.ndarray]:
    """Any values of all variables: nothing needs to close."""
    rng = np.random.default_rng(7)
    names = sorted({*geometry.inputs(), *geometry.unknowns})
    return {name: rng.uniform(-2.0, 2.0, count) for name in names}


@pytest.mark.parametrize("name", GEOMETRIES)
def test_the_jacobian_is_the_misfit_by_finite_differences(name):
    geometry = GEOMETRIES[name]
    at = somewhere(geometry, 20)
    off, jacobian = geometry.misfit_and_jacobian(at)
    assert off == pytest.approx(geometry.misfit(at), abs=1e-12)
    assert np.abs(jacobian).max() > 1.0
    step = 1e-6
    for column, unknown in enumerate(geometry.unknowns):
        more, less = ({**at, unknown: at[unknown] + sign * step} for sign in (1.0, -1.0))
        slope = (geometry.misfit(more) - geometry.misfit(less)) / (2 * step)
        assert np.abs(jacobian[:, :, column] - slope).max() < 1e-7


def slider() -> LoopGeometry:
    """A panel that slides on a page, and one that stands on it and is to meet a third line."""
    along = Axis(np.zeros(3), np.array([0.6, 0.8, 0.0]), Angle("way", -2.0, 3.0), slides=True)
    panels = [
        Panel("page", "page", CARD, None, np.eye(4)),
        Panel("slide", "slide", CARD, "page", frame(X, Y, -X), along),
        Panel("flap", "flap", CARD, "slide", np.eye(4), Axis(2 * X, Y, Angle("turn", -1.0, 0.5))),
    ]
    closure = Closure("end", ("page", "flap"), (frame(3 * Y, X, Y), frame(X, Y, X)), 20.0)
    return loop_geometry({panel.id: panel for panel in panels}, ("way", "turn"), [closure])


def test_the_jacobian_knows_slides_scales_and_offsets():
    geometry = slider()
    at = {"way": np.array([4.0, -1.0]), "turn": np.array([0.3, 2.0])}
    jacobian = geometry.misfit_and_jacobian(at)[1]
    step = 1e-6
    for column, unknown in enumerate(geometry.unknowns):
        more, less = ({**at, unknown: at[unknown] + sign * step} for sign in (1.0, -1.0))
        slope = (geometry.misfit(more) - geometry.misfit(less)) / (2 * step)
        assert np.abs(jacobian[:, :, column] - slope).max() < 1e-8


def test_one_unknown_may_turn_several_panels():
    """And a panel may be turned by a constant angle: it is as if it were fixed."""
    tilted = Axis(X, np.array([0.0, 0.6, 0.8]), Angle(None, 1.0, 0.7))
    panels = [
        Panel("page", "page", CARD, None, np.eye(4)),
        Panel("first", "first", CARD, "page", np.eye(4), Axis(X, Y, Angle("turn", 2.0, 0.1))),
        Panel("tilted", "first", CARD, "first", frame(X, Y, -X), tilted),
        Panel("second", "first", CARD, "tilted", np.eye(4), Axis(3 * X, Y, Angle("turn", -1.0))),
        Panel("third", "third", CARD, "page", np.eye(4), Axis(9 * X, Y, Angle("other"))),
    ]
    closure = Closure("end", ("third", "second"), (frame(3 * Y, X, Y), frame(X, Y, X)), 20.0)
    geometry = loop_geometry({panel.id: panel for panel in panels}, ("other", "turn"), [closure])
    at = {"turn": np.array([0.3, 2.0]), "other": np.array([-1.0, 0.2])}
    poses = pose_panels(geometry.panels, at, 2)
    start = (poses["third"] @ closure.frames[0] - poses["second"] @ closure.frames[1])[:, :3, 3]
    off, jacobian = geometry.misfit_and_jacobian(at)
    assert off[:, :3] == pytest.approx(start, abs=1e-12)
    step = 1e-6
    for column, unknown in enumerate(geometry.unknowns):
        more, less = ({**at, unknown: at[unknown] + sign * step} for sign in (1.0, -1.0))
        slope = (geometry.misfit(more) - geometry.misfit(less)) / (2 * step)
        assert np.abs(slope).max() > 1.0
        assert np.abs(jacobian[:, :, column] - slope).max() < 1e-7


@pytest.mark.parametrize("name", GEOMETRIES)
def test_the_misfit_is_that_of_the_posed_panels(name):
    geometry = GEOMETRIES[name]
    at = somewhere(geometry, 20)
    poses = pose_panels(geometry.panels, at, 20)
    off = geometry.misfit(at).reshape(20, len(geometry.closures), 2, 3)
    for row, closure in enumerate(geometry.closures):
        first, second = (poses[panel] @ own for panel, own in zip(closure.panels, closure.frames, strict=True))
        for end, way in ((0, 0.0), (1, closure.length_mm)):
            apart = (first - second)[:, :3, 3] + way * (first - second)[:, :3, 0]
            assert off[:, row, end] == pytest.approx(apart, abs=1e-12)


def test_only_the_panels_between_the_closures_are_carried_along():
    geometry = GEOMETRIES["between two v-folds"]
    assert geometry.panels[0].id == "page.right"
    assert {panel.id for panel in geometry.panels} == {"page.right", "near.right", "far.right", "roof.p1", "roof.p2"}
    assert geometry.inputs() == {"near:right", "far:right"}


@pytest.mark.parametrize("name", CELLS)
def test_the_closing_angle_is_that_of_the_closed_form(name):
    cell = CELLS[name]
    openings = np.radians(np.arange(20.0, 161.0, 10.0))
    loop = cell_loop(cell)
    solved = loop.solve({"spine": openings})
    assert solved["right"] == pytest.approx(cell.solve(openings).right, abs=1e-9)


def out_of_reach(geometry: LoopGeometry) -> LoopGeometry:
    """The same with the line on one side moved so far off that nothing can close."""
    (closure,) = geometry.closures
    moved = closure.frames[0].copy()
    moved[:3, 3] += [300.0, 200.0, 100.0]
    return replace(geometry, closures=(replace(closure, frames=(moved, closure.frames[1])),))


@pytest.mark.parametrize("name", GEOMETRIES)
def test_how_near_ends_come_is_what_an_independent_search_finds(name):
    geometry = out_of_reach(GEOMETRIES[name])
    at = somewhere(geometry, 6)
    start = np.stack([at[unknown] for unknown in geometry.unknowns], axis=1)

    def residual(angles, row):
        known = {unknown: value[[row]] for unknown, value in at.items()}
        return geometry.misfit(known | dict(zip(geometry.unknowns, angles[:, None], strict=True)))[0]

    searches = [
        least_squares(residual, start[row], args=(row,), xtol=1e-15, ftol=1e-15, gtol=1e-15) for row in range(6)
    ]
    wanted = [np.linalg.norm(search.fun.reshape(-1, 3), axis=1).max() for search in searches]
    assert min(wanted) > 100.0
    # From beside what the search found: there may be other valleys, but this is the bottom of one.
    beside = np.stack([search.x for search in searches]) + 0.02
    assert geometry.nearest(at, beside) == pytest.approx(wanted, rel=1e-4)


def test_a_place_that_is_not_known_is_not_near():
    geometry = cell_loop(CELLS["planar"]).geometry
    found = geometry.nearest({"spine": np.array([np.nan, 1.0])}, np.zeros((2, 2)))
    assert np.isnan(found[0])
    assert np.isfinite(found[1])
