"""Thickness of card: layers counted by hand, creep from its formula, and what it does to closing in closed form."""

from __future__ import annotations

import numpy as np
import pytest

from geometry import assemble, parse_description
from geometry.__main__ import main
from geometry.accuracy import creep_effects, dimensions, monte_carlo, sensitivities
from geometry.creep import creeps
from geometry.figures import figures_text
from geometry.layers import pile_of
from tests.geometry.scene_texts import HEAD, ROOT, SCENES, cut_in, rider, rider_on, tent, v_fold

THIN, THICK = 0.3, 0.8
PAGE = 148.0
STOCKS = HEAD + f"[stock.thick]\ncaliper = {THICK}\n"
ROOF = tent("roof", body="at = 60; length = 50; base = 30; height = 40")
NEST = "at = 10; length = 30; base = 12; height = 14"
#: Bases of 40 and 20 mm: the left panel, of 40 mm, is the shorter one; the right one has 60.
LOPSIDED = tent("roof", body="at = 60; length = 50; base_left = 40; base_right = 20; height_left = 40")


def spread_of(body, head=STOCKS):
    return assemble(parse_description(head + body))


def effect_of(body, mechanism="roof", head=STOCKS):
    return next(item for item in creep_effects(spread_of(body, head)) if item.mechanism == mechanism)


def card_under(side, base, away, caliper=THICK):
    """A piece of thick card on a page, all along a tent at 60 to 110 mm, beginning some way from its glue line."""
    sign = -1 if side == "left" else 1
    place = sign * (base + away + 10)
    return rider_on("card", f"page.{side}", f'at = [{place}, 85]; size = [20, 70]; stock = "thick"')


def detour(away, rise):
    return float(np.sqrt(away**2 + rise**2) - away)


# --- counted by hand -----------------------------------------------------------------------------------------------

COUNTS = {
    # Closed: page, right panel, left panel, page.
    "a tent": (ROOF, "roof", 0, 0.0, 2, 2 * THIN),
    # Both tabs lie under their panels.
    "a tent on outer tabs": (ROOF + 'tab = "outer"\n', "roof", 0, 0.0, 4, 4 * THIN),
    # The nest's two panels lie inside the roof, and of its tabs either one or both where the panels are not.
    "a tent in a tent": (ROOF + tent("nest", "roof.middle", NEST), "roof", 2, 2 * THIN, 4, 4 * THIN),
    "the inner one": (ROOF + tent("nest", "roof.middle", NEST), "nest", 0, 0.0, 2, 2 * THIN),
    "a thick tent in a tent": (
        ROOF + tent("nest", "roof.middle", NEST + '; stock = "thick"'),
        "roof",
        2,
        2 * THICK,
        4,
        2 * THICK + 2 * THIN,
    ),
    "a thick tent round a tent": (
        ROOF + 'stock = "thick"\n' + tent("nest", "roof.middle", NEST + '; stock = "card"'),
        "roof",
        2,
        2 * THIN,
        4,
        2 * THICK + 2 * THIN,
    ),
    # The strips are the roof's own card.
    "a step in a tent": (
        ROOF + cut_in("step", "roof.middle", "at = 10; length = 25; width = 15"),
        "roof",
        2,
        2 * THIN,
        4,
        4 * THIN,
    ),
    # Two halves inside the fold.
    "a rider inside a ridge": (
        ROOF + rider("lining", "roof.middle", "at = [0, 25]; size = [16, 30]"),
        "roof",
        2,
        2 * THIN,
        4,
        4 * THIN,
    ),
    # The roof's two panels, folded back; over them the tabs of the top, that lie under its panels.
    "a tent on a ridge": (
        ROOF + tent("top", "roof.middle", 'at = 10; length = 30; base = 12; height = 25; side = "mountain"'),
        "top",
        4,
        4 * THIN,
        0,
        0.0,
    ),
    "a card under a panel": (ROOF + card_under("left", 30, 5), "roof", 0, 0.0, 3, 2 * THIN + THICK),
}


@pytest.mark.parametrize("name", COUNTS)
def test_layers_counted_by_hand(name):
    body, mechanism, layers, thickness, host_layers, apart = COUNTS[name]
    effect = effect_of(body, mechanism)
    assert (effect.layers, effect.host_layers) == (layers, host_layers)
    assert effect.thickness_mm == pytest.approx(thickness, abs=1e-12)
    assert effect.hosts_apart_mm == pytest.approx(apart, abs=1e-12)


def test_faces_of_a_closed_tent():
    """Over each place of the shut page: pages alone, with one tab or two, with both panels."""
    pile = pile_of(spread_of(ROOF))
    between = pile.between("page.left", "page.right")
    areas = {}
    for face, layers in zip(pile.faces, between.layers, strict=True):
        areas[int(layers)] = areas.get(int(layers), 0.0) + face.area
    tab = next(panel for name, panel in spread_of(ROOF).panels.items() if name == "roof.left.tab").outline.area
    assert areas[2] == pytest.approx(40 * 50 + tab, rel=1e-4)
    assert areas[0] == pytest.approx(148 * 210 - 40 * 50 - tab, rel=1e-4)
    assert set(areas) == {0, 2}


# --- the shift -----------------------------------------------------------------------------------------------------


def test_a_stack_that_reaches_the_crease_takes_half_its_thickness_from_each_panel():
    lined = effect_of(ROOF + rider("lining", "roof.middle", 'at = [0, 25]; size = [16, 30]; stock = "thick"'))
    assert lined.creep_mm == pytest.approx(THICK, abs=1e-9)


def test_a_stack_away_from_the_crease_takes_the_detour_only():
    """Hinge lines of the step 15 mm from the ridge, two layers: half of them on either side."""
    stepped = effect_of(ROOF + cut_in("step", "roof.middle", "at = 10; length = 25; width = 15"))
    assert stepped.creep_mm == pytest.approx(detour(15, THIN), abs=1e-9)


@pytest.mark.parametrize("away", [0.5, 5.0, 12.0])
@pytest.mark.parametrize("side", ["left", "right"])
def test_a_foot_takes_all_of_the_rise_from_its_panel(side, away):
    feet = effect_of(ROOF + card_under(side, 30, away)).feet_mm
    own, other = feet if side == "left" else feet[::-1]
    assert own == pytest.approx(detour(away, THICK), abs=1e-6)
    assert other == 0.0


def test_a_slanting_stack_takes_the_mean_of_its_detours():
    """A strip of card whose edge runs from 2 to 12 mm from the glue line, over the whole length of the foot."""
    slanting = rider_on(
        "card", "page.left", 'at = [-30, 60]; outline = [[-2, 0], [-30, 0], [-30, 50], [-12, 50]]; stock = "thick"'
    )
    ways = 2 + 10 * (np.arange(10_000) + 0.5) / 10_000
    lost = effect_of(ROOF + slanting).feet_mm[0]
    assert lost == pytest.approx(float(np.mean(np.sqrt(ways**2 + THICK**2) - ways)), rel=5e-3)


def test_card_that_a_tab_is_glued_over_carries_the_hinge_line():
    """The nest stands inside the roof's right foot, its tab over the roof's tab; both are as wide as asked for."""
    inside = tent("bird", body="at = 40; length = 80; base = 50; height = 60; tab_width = 10") + tent(
        "in", "bird.right", 'at = 10; length = 30; base = 12; height_left = 12; tab_width = 10; side = "inner"'
    )
    effects = {item.mechanism: item for item in creep_effects(assemble(parse_description(HEAD + inside)))}
    assert effects["in"].feet_mm == (0.0, 0.0)


# --- what it does to closing ---------------------------------------------------------------------------------------


def closing_gap(a, b, c, d):
    """DESIGN.md, section 3: the opening at which a planar loop jams, as a gap at the fore edge, mm."""
    if abs(c - d) <= abs(a - b):
        return 0.0
    cosine = (a**2 + b**2 - (c - d) ** 2) / (2 * a * b)
    return float(2 * PAGE * np.sin(np.arccos(cosine) / 2))


@pytest.mark.parametrize(("body", "sizes"), [(ROOF, (30, 30, 40, 40)), (LOPSIDED, (40, 20, 40, 60))])
@pytest.mark.parametrize("away", [0.5, 3.0, 20.0])
def test_card_under_the_shorter_panel_jams_the_cell(body, sizes, away):
    """The panel loses the detour; the longer one, lying askew, makes up for t2 / 2c."""
    a, b, c, d = sizes
    expected = closing_gap(a, b, c - detour(away, THICK), d - THICK**2 / (2 * d))
    effect = effect_of(body + card_under("left", a, away))
    assert effect.fore_edge_mm == pytest.approx(expected, abs=2e-4)
    assert expected > (0.03 if a == b else 2.0)
    assert effect.stand_off_mm == 0.0


def test_card_under_the_longer_panel_lets_it_shut_and_the_crease_stands_off():
    effect = effect_of(LOPSIDED + card_under("right", 20, 3))
    assert effect.fore_edge_mm == 0.0
    a, b, c, d = 40, 20, 40, 60 - detour(3, THICK)
    s = (abs(a - b) + c + d) / 2
    height = 2 * np.sqrt(s * (s - abs(a - b)) * (s - c) * (s - d)) / abs(a - b)
    assert effect.stand_off_mm == pytest.approx(height, abs=1e-4)


def test_card_under_both_panels_alike_costs_nothing():
    effect = effect_of(
        ROOF + card_under("left", 30, 4) + card_under("right", 30, 4).replace('id = "card"', 'id = "other"')
    )
    assert effect.feet_mm[0] == pytest.approx(effect.feet_mm[1])
    assert effect.feet_mm[0] == pytest.approx(detour(4, THICK), abs=1e-6)
    assert effect.fore_edge_mm == 0.0


def test_a_stack_inside_a_cell_keeps_nothing_open():
    inner = v_fold("nest", "roof.middle", 'at = 15; angle = 60; height = 20; width = 14; stock = "thick"')
    for body in (ROOF + inner, LOPSIDED + inner):
        effect = effect_of(body)
        assert effect.layers == 2
        assert effect.fore_edge_mm == 0.0


def test_a_cell_on_the_fold_of_a_foot_has_its_hinge_line_nearer_to_it():
    spread = spread_of(ROOF + tent("nest", "roof.left", NEST))
    found = creeps(spread)
    (host,) = [loss for loss in found["nest"].losses if loss.size < 2]
    (foot,) = [loss for loss in found["roof"].losses if loss.size == 2]
    # The roof's panel is the left host of that fold, the page the right one.
    assert spread.folds["roof.left", "outer"].left.panel == "roof.left"
    assert host.size == 0
    one = np.ones((1, 1))
    assert host.rise.loss_mm(one) == pytest.approx(foot.rise.loss_mm(one))
    assert 0.01 < foot.rise.loss_mm(one)[0] < 2 * THIN


# --- copies and ranking --------------------------------------------------------------------------------------------


def test_copies_are_of_card_of_their_own_thickness():
    """Every copy in closed form, its errors drawn again in the run's order: what the hand does, then card."""
    spread = spread_of(LOPSIDED + card_under("left", 40, 3), STOCKS + "[checks]\nsd_caliper = 0.2\n")
    copies, seed = 2000, 3
    result = monte_carlo(spread, copies=copies, seed=seed)
    random = np.random.default_rng(seed)
    by_hand = dimensions(spread, thickness=False)
    errors = random.standard_normal((copies, len(by_hand))) * [item.deviation for item in by_hand]
    stocks = list(dict.fromkeys(piece.stock.id for piece in spread.pieces))
    card = random.standard_normal((copies, len(stocks)))[:, stocks.index("thick")]
    rise = THICK * (1 + 0.2 * card)
    a, b, c, d = (np.array([40.0, 20.0, 40.0, 60.0]) + errors @ [item.effect for item in by_hand]).T
    c = c - (np.sqrt(9 + rise**2) - 3)
    over = np.clip(np.abs(c - d) - np.abs(a - b), 0, rise**2 / (2 * 60))
    d = d - over
    exact = np.array([closing_gap(*sizes) for sizes in np.stack([a, b, c, d], axis=1)])
    assert result.fore_edge_mm == pytest.approx(exact, abs=2e-3)
    thin = monte_carlo(spread, copies=copies, seed=seed, thickness=False)
    assert np.median(result.fore_edge_mm) > np.median(thin.fore_edge_mm) + 1


@pytest.mark.parametrize("name", ["five deep", "tent on feet", "v-folds on a cut-in's hinges", "demo"])
def test_card_without_thickness_gives_the_figures_of_ideal_panels(name):
    text = (ROOT / "scenes" / "demo" / "low-tide.toml").read_text("utf-8") if name == "demo" else SCENES[name]
    # With it go the files' places, which these figures do not need.
    spread = assemble(parse_description(text.replace("caliper = 0.3", "caliper = 1e-9")))
    thick, thin = (monte_carlo(spread, copies=300, seed=2, thickness=on) for on in (True, False))
    assert thick.opening_deg == pytest.approx(thin.opening_deg, abs=1e-9)
    assert thick.fore_edge_mm == pytest.approx(thin.fore_edge_mm, abs=1e-9)
    assert thick.stand_off_mm == pytest.approx(thin.stand_off_mm, abs=1e-9)
    ideal = {(item.dimension.mechanism, item.dimension.name): item for item in sensitivities(spread, thickness=False)}
    for item in sensitivities(spread):
        if not item.dimension.stock:
            key = item.dimension.mechanism, item.dimension.name
            assert item.fore_edge_mm == pytest.approx(ideal[key].fore_edge_mm, abs=1e-9)


def test_the_caliper_is_a_dimension():
    body = LOPSIDED + card_under("left", 40, 3)
    spread = spread_of(body, STOCKS + "[checks]\nsd_caliper = 0.1\n")
    found = {item.dimension.name: item for item in sensitivities(spread)}
    thick, own = found["caliper of thick"], found["caliper of card"]
    assert thick.dimension.deviation == pytest.approx(0.1 * THICK)
    assert (thick.dimension.unit, own.dimension.unit) == ("mm", "mm")
    assert own.misfit_per_unit == 0.0
    step = 1e-5
    lost = [effect_of(body, head=STOCKS.replace(f"= {THICK}", f"= {THICK + way}")).feet_mm[0] for way in (-step, step)]
    assert thick.misfit_per_unit == pytest.approx(-(lost[1] - lost[0]) / (2 * step), rel=1e-5)
    # One deviation thicker is worse than as designed, and worse than nothing wrong with the caliper.
    assert thick.fore_edge_mm > effect_of(body).fore_edge_mm + 0.1
    assert own.fore_edge_mm == pytest.approx(effect_of(body).fore_edge_mm, abs=1e-9)


def test_the_report_tells_it_in_one_line_a_mechanism_and_says_nothing_of_nothing():
    text = figures_text(spread_of(LOPSIDED + card_under("left", 40, 3) + tent("nest", "roof.middle", NEST)))
    lines = [line for line in text if line.startswith("    creep: ")]
    (line,) = lines
    assert text[text.index(line) - 2].startswith("  roof ")
    assert "closes round 2 layers, 0.60 mm" in line
    assert "card between its left panel and the host takes 0.10 mm of that panel" in line
    assert "of itself the fore edge stays" in line


def test_figures_are_worked_out_once_for_text_and_file(tmp_path, monkeypatch, capsys):
    runs = []
    monkeypatch.setattr(
        "geometry.figures.monte_carlo", lambda spread: runs.append(spread) or monte_carlo(spread, copies=10)
    )
    scene = tmp_path / "roof.toml"
    scene.write_text(HEAD + ROOF, encoding="utf-8")
    assert main(["check", str(scene), "--json", str(tmp_path / "roof.json")]) == 0
    assert "copies cut and glued by hand" in capsys.readouterr().out
    assert '"creep": [' in (tmp_path / "roof.json").read_text("utf-8")
    assert len(runs) == 1
