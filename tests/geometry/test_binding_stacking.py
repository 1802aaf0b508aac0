"""How thick a closed book is: worked out by hand, and rigid panel on rigid panel."""

from itertools import combinations

import numpy as np
import pytest

from geometry import assemble, parse_description, read_description
from geometry.binding.stacking import closed_stack
from geometry.checks.bulk import bulk_map, outside_panels
from geometry.outline import carried
from tests.geometry import corpus
from tests.geometry.binding_books import BARE, HILL, PLATE, WHEEL, bound
from tests.geometry.scene_texts import FILES, HEAD, rider_on

#: Outlines that overlap by less only touch, mm2.
TOUCHING_MM2 = 0.01


def built(text: str):
    return assemble(parse_description(text))


def test_a_book_by_hand(tmp_path) -> None:
    """Three spreads of 0.3 mm card, boards of 2 mm.

    bare: nothing lies between its pages. plate: one layer, 0.3 mm. wheel: a disc of 0.3 mm behind its right page, none
    between. Leaves: board and page 2.3; page and page 0.6; the same again; page, disc and board 2.6.
    """
    book = bound(tmp_path, {"bare": BARE, "plate": PLATE, "wheel": WHEEL})
    assert book.gaps_mm.tolist() == pytest.approx([0.0, 0.3, 0.0])
    assert book.leaves_mm.tolist() == pytest.approx([2.3, 0.6, 0.6, 2.6])
    assert book.thickness_mm == book.rigid_mm == pytest.approx(6.4)


def test_a_wheel_between_two_pages_thickens_their_leaf(tmp_path) -> None:
    book = bound(tmp_path, {"wheel": WHEEL, "bare": BARE})
    assert book.leaves_mm.tolist() == pytest.approx([2.3, 0.9, 2.3])


def test_card_of_another_caliper_counts_with_its_own(tmp_path) -> None:
    thick = PLATE.replace("caliper = 0.3\n", "caliper = 0.5\n")
    book = bound(tmp_path, {"bare": BARE, "plate": thick}, "[cover]\nboard = 1.5\n")
    assert book.gaps_mm.tolist() == pytest.approx([0.0, 0.5])
    assert book.leaves_mm.tolist() == pytest.approx([1.8, 0.8, 2.0])
    assert book.thickness_mm == pytest.approx(5.1)


def test_a_pile_of_riders_by_hand() -> None:
    """Two riders on each other on the right page, one on the left page over both: 0, 0.3, 0.6 and the page at 0.9."""
    spread = built(
        PLATE
        + rider_on("small", "plate", "at = [0, 0]; size = [20, 20]")
        + rider_on("sun", "page.left", "at = [-74, 100]; size = [40, 40]")
    )
    stack = closed_stack(spread)
    wanted = {"page.right": -0.3, "plate": 0.0, "small": 0.3, "sun": 0.6, "page.left": 0.9}
    assert dict(stack.undersides_mm) == pytest.approx(wanted)
    assert stack.gap_mm == pytest.approx(0.9)


def test_what_is_behind_a_page_lies_behind_it() -> None:
    spread = built(
        BARE
        + rider_on("low", "page.right", 'at = [74, 100]; size = [40, 40]; face = "back"')
        + rider_on("high", "page.left", 'at = [-74, 100]; size = [40, 40]; face = "back"')
    )
    stack = closed_stack(spread)
    assert dict(stack.undersides_mm) == pytest.approx({"page.right": -0.3, "page.left": 0.0, "low": -0.6, "high": 0.3})
    assert (stack.gap_mm, stack.behind_right_mm, stack.behind_left_mm) == pytest.approx((0.0, 0.6, 0.6))


def test_rigid_card_over_the_edge_of_other_card_needs_more_room_than_the_bulk_map() -> None:
    """Riders like stairs, each over the edge of the last: nowhere more than three layers, and yet four high."""
    stairs = "".join(
        rider_on(name, page, f"at = [{x}, 100]; size = [40, 30]")
        for name, page, x in (("one", "page.right", 40), ("three", "page.right", 100))
    ) + rider_on("two", "page.left", "at = [-70, 100]; size = [40, 30]")
    stack = closed_stack(built(BARE + stairs))
    assert bulk_map(built(BARE + stairs)).gusset_mm == pytest.approx(0.6)
    assert stack.undersides_mm["two"] == pytest.approx(0.3)
    slope = (
        rider_on("a", "page.right", "at = [40, 100]; size = [40, 30]")
        + rider_on("b", "a", "at = [18, 0]; size = [40, 30]")
        + rider_on("c", "b", "at = [18, 0]; size = [40, 30]")
    )
    sloping = closed_stack(built(BARE + slope))
    assert bulk_map(built(BARE + slope)).gusset_mm == pytest.approx(0.9)
    assert sloping.gap_mm == pytest.approx(0.9)
    longer = slope + rider_on("d", "c", "at = [18, 0]; size = [30, 30]")
    assert bulk_map(built(BARE + longer)).gusset_mm == pytest.approx(0.9)
    shrunk = closed_stack(built(BARE + longer))
    assert (shrunk.gap_mm, shrunk.rigid_mm) == pytest.approx((0.9, 1.2))
    # Rigid they would lie at 0.3, 0.6 and 0.9; drawn together, the highest ends at the gap.
    assert [shrunk.undersides_mm[name] for name in "abcd"] == pytest.approx([0.0, 0.2, 0.4, 0.6])


RING = corpus.FOLDER / "faulty" / "order-ring.toml"


#: A solid is taken off before the book is shut.
FOLDING = [path for path in FILES if path.stem != "solid"]


@pytest.mark.parametrize("file", [*FOLDING, *corpus.SOUND, RING], ids=lambda path: path.stem)
def test_no_two_panels_share_a_place(file) -> None:
    """Every scene: what lies over each other has room for its card, or its share where all is drawn closer together;
    nothing sticks out, even in a ring."""
    spread = assemble(read_description(file))
    stack = closed_stack(spread)
    poses = spread.pose(np.zeros(1)).matrices
    assert set(stack.undersides_mm) == set(spread.panels)
    outlines = {name: carried(panel.outline, poses[name][0]).buffer(0) for name, panel in spread.panels.items()}
    calipers = {name: spread.piece(panel.piece).stock.caliper_mm for name, panel in spread.panels.items()}
    low = stack.undersides_mm
    outside = outside_panels(spread)
    for one, two in combinations(spread.panels, 2):
        if outlines[one].intersection(outlines[two]).area > TOUCHING_MM2:
            lower, upper = sorted((one, two), key=lambda name: low[name])
            share = stack.shrunk if {one, two}.isdisjoint(outside) else 1.0
            assert low[upper] >= low[lower] + share * calipers[lower] - 1e-9, (lower, upper, low[lower], low[upper])
    for name in spread.panels:
        top = low[name] + calipers[name]
        if name not in outside:
            assert low[name] >= -1e-9
            assert top <= stack.gap_mm + 1e-9
        else:
            assert top <= 1e-9 or low[name] >= stack.gap_mm - 1e-9
            assert low[name] >= -stack.behind_right_mm - 1e-9
            assert top <= stack.gap_mm + stack.behind_left_mm + 1e-9
    assert stack.gap_mm == bulk_map(spread).gusset_mm
    tops = [low[name] / stack.shrunk + calipers[name] for name in spread.panels if name not in outside]
    assert stack.rigid_mm == pytest.approx(max([stack.gap_mm, *tops]))
    assert (stack.shrunk == 1.0) == (stack.rigid_mm <= stack.gap_mm + 1e-9)


def test_the_lower_half_of_a_v_fold_lies_under_the_upper() -> None:
    low = closed_stack(built(HILL)).undersides_mm
    assert low["hill.right"] < low["hill.left"] < low["page.left"]


def test_a_flap_on_the_left_page_lies_between_the_pages() -> None:
    flap = '[[mechanism]]\nkind = "flap"\nid = "door"\npanel = "page.left"\nat = [-90, 90]\nlength = 40\n'
    stack = closed_stack(built(HEAD + flap))
    assert 0 <= stack.undersides_mm["door.flap"] < stack.undersides_mm["page.left"]
    assert stack.behind_left_mm == pytest.approx(0.3)
