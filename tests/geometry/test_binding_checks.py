"""The checks of a bound book: nothing passes through a leaf, against python-fcl; what is not glued; the cover."""

import shutil
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
import shapely

from geometry.binding import Binding, check_binding, read_bound
from geometry.binding.leaf_glue import foulings, leaf_faces
from geometry.binding.turning import Straying, find_meetings, find_straying, out_of_sector
from geometry.checks import run_checks
from tests.geometry.binding_books import BARE, HILL, OUTSIDE, STEP, STEP_OVER_WHEEL, TENT, WHEEL, bound
from tests.geometry.scene_texts import BOOKS, FILES, HEAD, WRONG
from tests.geometry.solids import Panels

WINDOW = '[[mechanism]]\nkind = "wheel"\nid = "moon"\npanel = "page.left"\nat = [-80, 110]\nradius = 40\n'
WINDOWED = HEAD + WINDOW + "window = [[[-10, 10], [10, 10], [0, 30]]]\n"


def copy_models(file: Path, folder: Path) -> None:
    """Put the models beside a scene beside a copy of it too; a description names nothing outside its folder."""
    if (file.parent / "models").is_dir():
        shutil.copytree(file.parent / "models", folder / "models")


def errors(book: Binding) -> list:
    return [finding for finding in check_binding(book) if finding.severity == "error"]


def touching(book: Binding, leaves: np.ndarray) -> list[tuple[int, str, str]]:
    """What python-fcl finds: panels of different spreads, and boards with what is not their own page; row by row."""
    outlines = {
        (number, name): panel.outline
        for number, spread in enumerate(book.spreads, 1)
        for name, panel in spread.panels.items()
    }
    count = len(book.spreads)
    poses = book.pose(leaves)
    for board, own in zip(book.boards(leaves), (1, count), strict=True):
        outlines[(own * 100, board.id)], poses[(own * 100, board.id)] = board.outline, board.matrices
    judge = Panels({f"{number}/{name}": outline for (number, name), outline in outlines.items()})
    pairs = [(one, two) for one, two in combinations(outlines, 2) if one[0] != two[0]]
    found = []
    for row in range(len(leaves)):
        for key in outlines:
            judge.put(f"{key[0]}/{key[1]}", poses[key][row])
        found += [
            (row, f"{one[0]}/{one[1]}", f"{two[0]}/{two[1]}")
            for one, two in pairs
            if judge.touch(f"{one[0]}/{one[1]}", f"{two[0]}/{two[1]}")
        ]
    return found


def leaves_on_the_grid(spreads: int, count: int, seed: int) -> np.ndarray:
    """Angles of all leaves at multiples of 2 degrees, each no less than the next."""
    degrees = 2.0 * np.random.default_rng(seed).integers(-20, 111, (count, spreads + 1))
    return np.radians(np.clip(np.sort(degrees, axis=1)[:, ::-1], 0.0, 180.0))


@pytest.mark.parametrize("path", BOOKS, ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_every_book_of_the_project_can_be_bound(path: Path) -> None:
    book = read_bound(path)
    assert not errors(book)
    assert not find_straying(book)
    for spread in book.spreads:
        assert not [finding for finding in run_checks(spread) if finding.severity == "error"]


@pytest.mark.parametrize("path", BOOKS, ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_fcl_finds_nothing_in_the_books_of_the_project(path: Path) -> None:
    book = read_bound(path)
    own = np.random.default_rng(2).uniform(-60, 60, (25, len(book.spreads) + 1))
    turned = book.leaf_angles(np.linspace(0.0, len(book.spreads) + 1.0, 25), own)
    grid = leaves_on_the_grid(len(book.spreads), 15, 3)
    assert touching(book, np.concatenate([turned, grid])) == []


@pytest.mark.parametrize("path", BOOKS, ids=lambda path: f"{path.parent.name}-{path.stem}")
def test_every_panel_tried_against_every_other_finds_nothing(path: Path, monkeypatch) -> None:
    """The long way round to what the sectors prove, at every 6 degrees of every leaf to save time."""
    monkeypatch.setattr("geometry.binding.turning.STEP_DEG", 6.0)
    book = read_bound(path)
    everything = [
        Straying(number, name, 1.0, 0.0) for number, spread in enumerate(book.spreads, 1) for name in spread.panels
    ]
    assert find_meetings(book, everything) == []


def test_nothing_passes_through_a_leaf_and_fcl_agrees(tmp_path) -> None:
    book = bound(tmp_path)
    assert not errors(book)
    assert not find_straying(book)
    turned = book.leaf_angles(np.linspace(0.0, 4.0, 41), [15.0, -30.0, 25.0, -10.0])
    assert touching(book, np.concatenate([turned, leaves_on_the_grid(3, 60, 1)])) == []


def test_panels_on_the_outside_of_a_spread_are_found_wherever_fcl_finds_them(tmp_path) -> None:
    book = bound(tmp_path, {"hill": HILL, "out": OUTSIDE})
    found = errors(book)
    assert {finding.code for finding in found} == {"leaf-collides"}
    straying = find_straying(book)
    assert {(item.spread, item.panel) for item in straying} == {(2, "hill.left"), (2, "hill.right")}
    told = {
        frozenset([f"{one[0]}/{one[1]}", f"{two[0]}/{two[1]}"])
        for one, two in ((each.first, each.second) for each in find_meetings(book, straying))
    }
    told = {
        frozenset(name.replace("1/front", "100/front").replace("2/back", "200/back") for name in pair) for pair in told
    }
    hits = touching(book, leaves_on_the_grid(2, 150, 4))
    assert hits
    assert {frozenset(pair) for _, *pair in hits} <= told
    assert any("leaf 1" in finding.message for finding in found)
    assert any("leaf 0" in finding.message for finding in found)


def test_where_a_finding_says_that_panels_meet_fcl_finds_them(tmp_path) -> None:
    book = bound(tmp_path, {"bare": BARE, "out": OUTSIDE, "tent": TENT})
    meetings = [each for each in find_meetings(book, find_straying(book)) if each.depth_mm > 0.2]
    assert len(meetings) > 5
    for meeting in meetings:
        hits = touching(book, np.radians([meeting.leaves_deg]))
        names = {
            f"{number * (100 if name in ('front', 'back') else 1)}/{name}"
            for number, name in (meeting.first, meeting.second)
        }
        assert any({one, two} == names for _, one, two in hits), meeting


def test_a_panel_that_reaches_out_of_its_sector_and_meets_nothing_is_a_note(tmp_path, monkeypatch) -> None:
    """What strays is tried against everything; the hill, were it to stray, would still meet nothing."""
    book = bound(tmp_path, {"hill": HILL, "bare": BARE})
    astray = [Straying(1, "hill.left", 5.0, 90.0)]
    monkeypatch.setattr("geometry.binding.checks.find_straying", lambda _: astray)
    (note,) = [finding for finding in check_binding(book) if finding.code == "leaf-collides"]
    assert (note.severity, note.panel, note.measure, note.opening_deg) == ("note", "hill/hill.left", 5.0, 90.0)
    # Every panel of it, at every combination of openings: the long way round to what the sectors prove.
    everything = [Straying(1, name, 1.0, 0.0) for name in book.spreads[0].panels]
    assert find_meetings(book, everything) == []


@pytest.mark.parametrize(
    ("point", "opening_deg", "apart_mm", "out_mm"),
    [
        ((50.0, 0.0, -3.0), 90.0, 0.0, 3.0),  # below the right page
        ((-5.0, 0.0, 50.0), 90.0, 0.0, 5.0),  # beyond the left page
        ((50.0, 0.0, 2.5), 0.0, 2.0, 0.5),  # above the left page of a closed spread
        ((-4.0, 0.0, 1.0), 0.0, 2.0, 4.0),  # behind the spine of a closed spread
        ((50.0, 0.0, 50.0), 60.0, 0.0, 50.0 * np.cos(np.pi / 3) - 50.0 * np.sin(np.pi / 3)),  # inside: below 0
        ((-50.0, 0.0, 0.0), 180.0, 0.0, 0.0),  # on the left page
    ],
)
def test_how_far_a_point_is_out_of_the_sector(point, opening_deg, apart_mm, out_mm) -> None:
    found = out_of_sector(np.array([[point]]), np.radians([opening_deg]), np.array([apart_mm]))
    assert found.item() == pytest.approx(out_mm, abs=1e-12)


@pytest.mark.parametrize("name", ["jams", "locks"])
def test_a_spread_that_does_not_shut_or_open_keeps_the_book_from_it(tmp_path, name) -> None:
    body, codes = WRONG[name]
    book = bound(tmp_path, {"bare": BARE, "wrong": HEAD + body})
    of_book = [finding for finding in errors(book) if finding.code.startswith("book-")]
    assert {finding.code for finding in of_book} == {f"book-{code}" for code in codes}
    assert all(finding.piece == "wrong" for finding in errors(book))
    (thick,) = [finding for finding in check_binding(book) if finding.code == "thickness"]
    assert thick.message.endswith("because its spread does not close: wrong") == (name == "jams")
    # What jams is not drawn as one flat heap.
    low, panels = book.closed_heights(2), book.spreads[1].panels
    assert 0 < book.stacks[1].shrunk <= 1
    assert len({round(low[name], 6) for name in panels if name.startswith("tent")}) > 1


def test_what_a_cut_in_cuts_loose_is_not_glued(tmp_path) -> None:
    """The step is 30 mm wide and 60 long on either side of the spine: 1800 mm2 of each page."""
    notes = [
        finding
        for finding in check_binding(bound(tmp_path, {"bare": BARE, "step": STEP}))
        if finding.code == "leaf-glue"
    ]
    assert [(finding.severity, finding.panel) for finding in notes] == [
        ("note", "step/page.left"),
        ("note", "step/page.right"),
    ]
    assert [finding.area_mm2 for finding in notes] == pytest.approx([1800.0, 1800.0])
    assert notes[0].message.startswith("leaf 1:")
    assert notes[1].message.startswith("leaf 2:")


def test_behind_a_wheel_nothing_is_glued(tmp_path) -> None:
    """A disc of 40 mm radius, the hole of its pivot too: pi r2, less what its polygon lacks of the circle."""
    book = bound(tmp_path, {"wheel": WHEEL, "bare": BARE})
    (note,) = [finding for finding in check_binding(book) if finding.code == "leaf-glue"]
    assert note.area_mm2 == pytest.approx(np.pi * 40**2, rel=5e-4)
    assert note.place_mm is not None
    assert np.hypot(note.place_mm[0] - 80, note.place_mm[1] - 110) < 40


def test_a_strip_over_a_wheel_on_the_other_side_of_the_leaf_is_an_error(tmp_path) -> None:
    """The strip reaches 50 mm from the spine, the disc begins 40 mm from it: they share a segment of the disc."""
    book = bound(tmp_path, {"wheel": WHEEL, "step": STEP_OVER_WHEEL})
    (found,) = errors(book)
    assert (found.code, found.panel, found.other) == ("leaf-glue", "wheel/sky.disc", "step/step.left")
    # The segment beyond a chord 30 mm from the middle, r2 acos(d/r) - d sqrt(r2 - d2); the strip is high enough for it.
    segment = 40**2 * np.arccos(30 / 40) - 30 * np.sqrt(40**2 - 30**2)
    assert found.area_mm2 == pytest.approx(segment, rel=2e-2)
    # The other way round the wheel lies on the board.
    assert not errors(bound(tmp_path, {"step": STEP_OVER_WHEEL, "wheel": WHEEL}))


def test_two_wheels_on_each_other_foul_and_show_through_windows(tmp_path) -> None:
    book = bound(tmp_path, {"wheel": WHEEL, "moon": WINDOWED})
    found = {(fouling.what, fouling.mover, fouling.other) for fouling in foulings(leaf_faces(book, 1))}
    assert ("moving", (1, "sky.disc"), (2, "moon.disc")) in found
    assert ("opening", (1, "sky.disc"), (2, "")) in found
    assert ("opening", (2, "moon.disc"), (1, "")) in found
    severities = sorted(finding.severity for finding in check_binding(book) if finding.code == "leaf-glue")
    assert severities == ["error", "error", "note", "note", "warning"]


def test_wheels_beside_each_other_do_not_foul(tmp_path) -> None:
    away = (
        WINDOWED.replace("at = [-80, 110]", "at = [-80, 30]")
        .replace("radius = 40", "radius = 25")
        .replace("window = [[[-10, 10], [10, 10], [0, 30]]]", "window = [[[-5, 5], [5, 5], [0, 15]]]")
    )
    book = bound(tmp_path, {"wheel": WHEEL, "moon": away})
    assert foulings(leaf_faces(book, 1)) == []


def test_the_left_page_is_seen_from_behind_in_its_leaf(tmp_path) -> None:
    book = bound(tmp_path, {"bare": BARE, "moon": WINDOWED})
    before, behind = leaf_faces(book, 1)
    assert (before.page, behind.page) == ("page.right", "page.left")
    centre = shapely.centroid(behind.moving["moon.disc"])
    assert (centre.x, centre.y) == pytest.approx((80.0, 110.0), abs=0.1)
    assert not before.moving


def test_the_cover_says_how_thick_the_book_is_and_what_artwork_it_lacks(tmp_path) -> None:
    (tmp_path / "text.png").write_text("no picture", encoding="utf-8")
    book = bound(tmp_path, more='[cover]\nart_front = "nothing.png"\nart_back = "text.png"\n')
    found = {finding.panel: finding for finding in check_binding(book) if finding.code == "artwork"}
    assert set(found) == {"cover/front", "cover/back"}
    assert {finding.severity for finding in found.values()} == {"warning"}
    (thick,) = [finding for finding in check_binding(book) if finding.code == "thickness"]
    assert thick.measure == pytest.approx(book.thickness_mm)


def test_every_scene_of_the_project_stays_in_its_sector(tmp_path_factory) -> None:
    """So any of them can be bound: looked at alone, each with a book of its own."""
    for number, file in enumerate(FILES):
        folder = tmp_path_factory.mktemp(f"alone{number}")
        copy_models(file, folder)
        book = bound(folder, {file.stem: file.read_text(encoding="utf-8")})
        assert not find_straying(book), file.stem


def test_a_solid_is_no_part_of_a_book_that_turns(tmp_path) -> None:
    """It is taken off before its spread shuts, as the check of its spread says; what folds is looked at as ever."""
    file = next(file for file in FILES if file.stem == "solid")
    copy_models(file, tmp_path)
    text = file.read_text(encoding="utf-8")
    book = bound(tmp_path, {"plain": HEAD.replace('"A5"', "[110, 150]"), "solid": text})
    assert book.spreads[1].solids
    assert [found for found in check_binding(book) if found.code == "leaf-collides"] == []
