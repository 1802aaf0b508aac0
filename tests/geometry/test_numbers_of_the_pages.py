"""Numbers in sentences of the pages: defaults and limits are those of the code, figures are what the code works out."""

from __future__ import annotations

import ast
import inspect
import re

import numpy as np
import pytest

import build
from geometry import artwork, assemble, following, limits, parse_description, read_description, tolerances
from geometry.__main__ import command_parser
from geometry.accuracy import creep_effects, monte_carlo, sensitivities
from geometry.binding import turning
from geometry.checks import artwork as artwork_check
from geometry.checks import collisions, cuts_and_creases, hand_collisions, hands_together, run_checks, solids
from geometry.mechanisms import links, slots, solid, strap, tabs, trimming
from geometry.nets import cutting, dxf, footer, options, sizes
from geometry.templates import card
from geometry.templates import options as template_options
from geometry.unfold import artwork as model_artwork
from geometry.unfold import labels
from geometry.unfold.tabs import TabOptions
from geometry.unfold.write import CARD
from tests.geometry import pages
from tests.geometry.pages import ROOT

SCENES, CORE, GUIDE, FRONT = "scenes/README.md", "geometry/README.md", "addon/README.md", "README.md"


def of_addon(module, name):
    """A number, or several, of a module of the add-on, which cannot be imported without Blender."""
    for statement in ast.parse((ROOT / "addon" / f"{module}.py").read_text(encoding="utf-8")).body:
        if isinstance(statement, ast.Assign):
            (target,) = statement.targets
            names, values = (
                (target.elts, statement.value.elts) if isinstance(target, ast.Tuple) else ([target], [statement.value])
            )
            for each, value in zip(names, values, strict=True):
                if each.id == name:
                    return ast.literal_eval(value)
    raise KeyError(name)


def default(function, name):
    """The default of an argument."""
    return inspect.signature(function).parameters[name].default


def arguments(command):
    """What a command takes where nothing is said."""
    return vars(command_parser().parse_args(command.split()))


LIMITS = limits.Limits()
TRIED = " and ".join(", ".join(f"{each:g}" for each in hand_collisions.OPENINGS_DEG).rsplit(", ", 1))
MM_OF_STRAP = f"{strap._WRITTEN_MM:g} mm along the line, {strap._WRITTEN_DEG:g} degrees"
#: A page, and words on it with the numbers of the code in them; how lines are broken does not matter.
SAID = [
    (FRONT, f"With Python {' or '.join(sorted(build.PYTHONS))} on the machine"),
    (FRONT, "nets, cutting files and orders of assembly of its three spreads and its cover"),
    (SCENES, f"plus {artwork.BLEED_MM:g} mm of bleed on each side"),
    (
        SCENES,
        f"{artwork_check._DOTS_PER_INCH} dpi on the card is right for print, below {artwork_check._COARSE} `check`",
    ),
    (SCENES, f"a safe zone {template_options.SAFE_MM:g} mm inside of every cut"),
    (SCENES, f"adds a numbered {card.FIELD_MM:g} mm chequerboard"),
    (SCENES, f"is made to fit: {MM_OF_STRAP}, and {links._SQUARE_DEG:g} mm on the width"),
    (SCENES, f"it ends {tabs._END_GAP_MM:g} mm short of the glue line's ends"),
    (SCENES, f"and keeps {tabs.FOLD_CLEARANCE_MM:g} mm off the host fold"),
    (SCENES, f"it is trimmed, {trimming._CLEAR_MM:g} mm further than it would touch"),
    (SCENES, f"as wide as the card and {slots._PLAY_MM:g} mm more"),
    (SCENES, f"{slots._END_PLAY_MM:g} mm longer than the tab at each end"),
    (SCENES, f"and {LIMITS.neck:g} mm to spare (`neck`)"),
    (SCENES, f"it has at most {solid.MOST_FACETS} flat facets"),
    (SCENES, f"follows beyond the edges as {artwork.BLEED_MM:g} mm of bleed"),
    (SCENES, f"leaves at every {turning.STEP_DEG:g}° of each"),
    (SCENES, f"first contact to {collisions._EXACT_DEG:g}°, and the depth"),
    (SCENES, f"{hand_collisions.STEPS - 1} positions at openings of {TRIED}°, sampled"),
    (SCENES, f"{hands_together._STEPS} by {hands_together._STEPS} positions in the open book"),
    (SCENES, f"as the book is shut, to {solids._EXACT_DEG:g}°"),
    (SCENES, f"and of {default(monte_carlo, 'copies'):,} copies with random errors"),
    (CORE, f"stays within {tolerances.RIG_MM:g} mm"),
    (CORE, f"at most 2 m (else {sizes.LONGEST_MM / 1000:g} m) long"),
    (
        CORE,
        f"Without it the smallest of {', '.join(sizes.DEFAULT_SIZES[:-1])} and {sizes.DEFAULT_SIZES[-1]} that takes",
    ),
    (CORE, f"kept free along the edges, {options.MARGIN_MM:g} unless"),
    (CORE, f"{options.BLEED_MM:g} unless said otherwise, at most {options._WIDEST_BLEED_MM:g}: along"),
    (CORE, f"Artwork has a border of {artwork.BLEED_MM:g} mm"),
    (CORE, f"kept free between pieces, {options.GAP_MM:g} or twice the bleed"),
    (CORE, f"how far tiles overlap, {options.OVERLAP_MM:g} |"),
    (CORE, f"nowhere further than {dxf._CHORD_MM:g} mm from them"),
    (CORE, f"one on every {cutting.CuttingOptions().nick_every_mm:g} mm (`--nick-every MM`)"),
    (CORE, f"how fine artwork is, {model_artwork.DPI:g};"),
    (CORE, f"of the card: {CARD.grammage_gsm:g} and {CARD.caliper_mm:g}"),
    (CORE, "[--dpi {dpi}]".format(**arguments("templates SCENE --out DIR"))),
    (CORE, "[--tolerance {tolerance:g}] [--feature {feature:g}]".format(**arguments("trace P --width 1"))),
    (CORE, "[--threshold {threshold:g}]".format(**arguments("trace P --width 1"))),
    (CORE, f"how wide tabs are, {TabOptions().width_mm:g}; or none"),
    (CORE, f"as fine as {model_artwork._MOST_PIXELS / 1e6:g} million pixels allow"),
    (CORE, f"how many are smaller than {labels._NOTE_SIZES[-1]:g} mm"),
    (GUIDE, f"a numbered {card.FIELD_MM:g} mm checkerboard"),
    (GUIDE, f"{artwork_check._DOTS_PER_INCH} dpi on the card is right; below {artwork_check._COARSE} the check warns"),
    (GUIDE, f"measure the scale bar: it is {footer.SCALE_BAR_MM:g} mm"),
    (GUIDE, f"keep every corner within {of_addon('baking', 'TOLERANCE_MM'):g} mm"),
    (GUIDE, f"over {of_addon('model_preview', '_KEYFRAMES')} frames"),
    (GUIDE, f"at which its longest side is about {of_addon('model_wishes', '_SUGGESTED_MM'):g} mm"),
    (GUIDE, f"1 mm = {of_addon('convert', '_METRES_PER_MM'):g} m"),
]


def words(page):
    """A page on one line."""
    return re.sub(r"\s+", " ", pages.page_text(page))


@pytest.mark.parametrize(("page", "said"), SAID, ids=[said[:40] for _, said in SAID])
def test_defaults_and_limits_are_those_of_the_code(page, said):
    assert said in words(page)


def test_numbers_that_are_written_as_words():
    assert "uses twelve times the samples" in words(GUIDE)
    assert of_addon("film_scene", "_SAMPLES_WITHOUT_DENOISING") == 12
    assert "follows within about a second" in words(GUIDE)
    assert of_addon("watching", "_OFTEN_S") <= 1.0
    assert "ends in mid card where fewer than four meet" in words(SCENES)
    assert cuts_and_creases._VERTEX == 4
    assert "the last half degree is extrapolated" in words(CORE)
    assert 180 * following._STRETCHES[0][0] == 0.5
    assert "Collisions are looked for at every degree" in words(SCENES)
    assert np.median(np.diff(collisions.sampled_openings_deg(0.0, 180.0))) == 1.0
    assert "looked at every degree of each spread's opening" in words(SCENES)
    assert turning.STEP_DEG / 2 == 1.0
    assert pages.page_text("scenes/demo/book.toml").count("[[spread]]") == 3


@pytest.mark.parametrize("page", [FRONT, GUIDE, "DEVELOPERS.md"])
def test_the_oldest_blender_is_that_of_the_manifest(page):
    (oldest,) = re.findall(r'blender_version_min = "(\d+\.\d+)', pages.page_text("addon/blender_manifest.toml"))
    assert f"Blender {oldest} LTS" in words(page) or f"Blender ({oldest} or newer)" in words(page)


def test_the_first_design_complains_as_the_guide_says():
    """A v-fold of 100 mm reaches into the margin at the head; one of 70 passes every check."""
    (text,) = (block.text for block in pages.blocks(GUIDE) if block.language == "toml")
    assert "type 70, press Enter" in words(GUIDE)
    assert "set *Height* to 100 and check again: the v-fold reaches into the margin at the head" in words(GUIDE)
    assert text.count("height = 70") == 1
    assert run_checks(assemble(parse_description(text))) == ()
    found = run_checks(assemble(parse_description(text.replace("height = 70", "height = 100"))))
    assert {(finding.code, finding.piece) for finding in found} == {("stays-inside", "v-fold")}
    assert all("into the margin at the head" in finding.message for finding in found)


# --- figures that are worked out -----------------------------------------------------------------------------------


def spread_of(body, size="[140, 200]", head=""):
    return assemble(parse_description(f"format = 1\n[page]\nsize = {size}\n{head}{body}"))


def mechanism(kind, **keys):
    return f'[[mechanism]]\nkind = "{kind}"\nid = "it"\n' + "".join(f"{key} = {value}\n" for key, value in keys.items())


def worst(kind, off_mm, **keys):
    """The worst that one length off by so much does, on ideal card: mm at the fore edge, degrees of opening."""
    spread = spread_of(mechanism(kind, fold='"spine"', at=40, **keys), head=f"[checks]\nsd_length = {off_mm}\n")
    gap = sensitivities(spread, thickness=False)[0].fore_edge_mm
    return gap, float(np.degrees(2 * np.arcsin(gap / 2 / spread.page_size_mm[0])))


def test_what_half_a_millimetre_does_to_a_tent():
    unequal = worst("tent", 0.5, length=60, base_left=40, base_right=20, height_left=40)[1]
    equal = worst("tent", 0.5, length=60, base=30, height=40)[1]
    said = f"bases of 40 and 20 mm leaves the book open at {unequal:.0f}°, on one with 30 and 30 at {equal:.0f}°"
    assert said in words(SCENES)


def test_what_an_error_does_to_a_platform():
    apart = [worst("platform", 0.3, length=60, base=8, height=40, width=width)[0] for width in (50, 40)]
    assert "a height of 40 and a width of 50, 0.3 mm on one of them" in words(SCENES)
    assert f"a page of 140 mm open by {apart[0]:.0f} mm if card did not give" in words(SCENES)
    assert f"with height and width equal, by {apart[1]:.0f} mm" in words(SCENES)
    wider = worst("platform", 0.3, length=60, base=16, height=40, width=40)[0]
    assert wider < apart[1]


def test_what_half_a_millimetre_does_to_a_pleat():
    pleats = worst("accordion", 0.5, length=80, bases="[16, 16]", heights="[30, 30]")[1]
    assert f"a pleat with a base of 16 leaves the book open at {pleats:.0f}°" in words(SCENES)


def strap_from(over, widths):
    """Where a strap over the spine jams, degrees."""
    left, right = over
    ends = {"from": '"page.left"', "from_at": f"[-{left}, 80]", "to": '"page.right"', "to_at": f"[{right}, 80]"}
    spread = spread_of(mechanism("strap", **ends, length=20, widths=list(widths)))
    return float(np.degrees(spread.reachable()[0]))


def test_where_a_strap_jams():
    small, large = (strap_from((40, 40), (50, 50 + off)) for off in (0.5, 3.0))
    assert f"one of two panels of 50 jams at {small:.1f} degrees, 3 mm at {large:.1f};" in words(SCENES)
    unequal = max(strap_from((40, 20), (40, 60 + off)) for off in (-0.5, 0.5))
    assert f"half a millimetre on 40 and 60 jams at {unequal:.0f}." in words(SCENES)


#: Of these as of all, to the tenth of a millimetre that is told.
_COPIES = 2000


def test_what_card_must_give_in_copies_of_boxes():
    box, scenery = (
        monte_carlo(assemble(read_description(ROOT / f"scenes/{name}.toml")), copies=_COPIES)
        for name in ("box", "scenery")
    )
    half, one_in_ten = np.quantile(box.card_mm, [0.5, 0.9])
    assert f"card must give {half:.1f} mm in half, and {one_in_ten:.1f} mm in one of ten" in words(SCENES)
    layers = pages.page_text("scenes/scenery.toml").split("[[mechanism]]")
    alone = [layers[0], *(each for each in layers[1:] if 'kind = "layer"' not in each)]
    without = monte_carlo(assemble(parse_description("[[mechanism]]".join(alone))), copies=_COPIES)
    said = f"card must give {np.median(scenery.card_mm):.1f} mm, {np.median(without.card_mm):.1f} mm without its layers"
    assert said in words(SCENES)


def test_what_an_error_does_to_a_box():
    """Half a millimetre on a base of 30, by the formula of the page; and a glue line turned by a degree, solved."""
    assert f"√(2 d / base) radians of opening, {np.degrees(np.sqrt(2 * 0.5 / 30)):.0f}°" in words(SCENES)
    text = pages.page_text("scenes/box.toml")
    assert "base = 30\n" in text
    spread = assemble(parse_description(text + "\n[checks]\nsd_length = 0.5\nsd_angle = 1\n"))
    found = {item.dimension.name: item for item in sensitivities(spread, thickness=False)}
    width = np.degrees(2 * np.arcsin(found["width, end.right"].fore_edge_mm / 2 / spread.page_size_mm[0]))
    assert f"could not even be joined below d / base, {width:.0f}°" in words(SCENES)
    assert width == pytest.approx(np.degrees(0.5 / 30), rel=0.01)
    assert "a box 90 mm long and 45 mm high" in words(SCENES)
    assert f"costs {found['glue angle, left'].card_mm:.1f} mm of card" in words(SCENES)


def test_a_link_at_its_dead_point():
    lid = assemble(read_description(ROOT / "scenes/pull-strip.toml"))
    hinge = next(item for item in lid.hinges if item.id == "lid.flap")
    shut, pulled = np.degrees(lid.pose([np.pi] * 2, {"pull": np.array([0.0, 1.0])}).dihedral(hinge))
    assert f"first millimetre of r = 15, l = 25 already {shut - pulled:.0f}°" in words(SCENES)
    crank, link, off = 15, 25, 0.3
    ajar = np.degrees(np.sqrt(2 * off * link / (crank * (crank + link))))
    assert f"{off} mm on r = {crank}, l = {link} by {ajar:.0f}°" in words(SCENES)


def test_what_thick_card_under_one_panel_does():
    tent = mechanism("tent", fold='"spine"', at=40, length=60, base_left=40, base_right=20, height_left=40)
    rider = mechanism("rider", panel='"page.left"', at="[-60.5, 70]", size="[35, 40]", stock='"thick"')
    stock = "[stock.card]\ncaliper = 0.3\n[stock.thick]\ncaliper = 0.8\n"
    spread = spread_of(tent + rider.replace('"it"', '"under"'), head=stock)
    # The rider reaches from 78 to 43 mm from the spine, the glue line is 40 mm from it.
    (creep,) = creep_effects(spread)
    assert f"3 mm from the glue line leaves the fore edge {creep.fore_edge_mm:.0f} mm open" in words(SCENES)
    # A free crease rises by half of what it closes round.
    assert f"only the detour, {np.hypot(15, 0.6 / 2) - 15:.3f} mm for 0.6 mm of card at 15 mm" in words(SCENES)
