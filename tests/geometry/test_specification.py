"""The specification against counts by hand and against the files that the nets write."""

import re
from pathlib import Path

import pytest

from geometry import assemble, parse_description, read_description
from geometry.booklet.write import booklet_bytes
from geometry.nets import write_nets
from geometry.specification import compared_text, specification, specification_text

ROOT = Path(__file__).parents[2]
HEAD = """format = 1
title = "{title}"
[page]
size = [148.5, 210]
[stock.card]
grammage = 250
caliper = 0.3
"""
TENT = """[[mechanism]]
kind = "tent"
id = "roof"
fold = "spine"
at = 60
length = 80
base = 30
height = {height}
"""


def built(body: str, title: str = "By hand"):
    return assemble(parse_description(HEAD.format(title=title) + body))


def test_the_bare_page_weighs_what_a_sheet_of_a4_weighs():
    """ISO 216 and 536: A4 of 250 g/m2 weighs 15.59 g."""
    spec = specification(built(""))
    assert spec.weight_g == pytest.approx(15.59, abs=0.005)
    assert (spec.glue_points, spec.hand_operations) == (0, 1)
    assert spec.cut_mm == pytest.approx(2 * (297 + 210))
    assert spec.crease_mm == pytest.approx(210)
    assert (spec.thickness_mm, spec.gusset_mm) == (pytest.approx(0.6), 0.0)


def test_a_tent_counted_by_hand():
    spec = specification(built(TENT.format(height=40)))
    assert [piece.id for piece in spec.pieces] == ["page", "roof"]
    roof = spec.pieces[1]
    # A ridge and two creases to the tabs, which stop 2 mm short of each end.
    assert roof.crease_mm == pytest.approx(80 + 2 * 76)
    assert spec.glue_points == 2
    # Two pieces are folded, two tabs glued, one piece is pressed.
    assert spec.hand_operations == 5
    # Cut out one sheet, fold the page and the tent, glue one tab, glue the other and shut, press, check.
    assert spec.assembly_steps == 7
    # Closed, the panels lie from 30 to 70 mm, the inner tabs from 20 to 30: nowhere more than two between the pages.
    assert spec.thickness_mm == pytest.approx(4 * 0.3)
    assert spec.gusset_mm == pytest.approx(2 * 0.3)


def test_steps_are_those_of_the_booklet():
    spread = assemble(read_description(ROOT / "scenes" / "demo" / "low-tide.toml"))
    assert specification(spread, sheet="A4").assembly_steps == booklet_bytes(spread, sheet="A4")[1]


@pytest.mark.parametrize("scene", ["v-fold", "cut-in-in-a-cut-in", "demo/low-tide"])
def test_lengths_are_those_of_the_sheets(scene, tmp_path):
    """Every number comes back from the SVG files: nothing is drawn that is not counted, nor the other way about."""
    import xml.etree.ElementTree as ElementTree

    from svgelements import Path as SvgPath

    spread = assemble(read_description(ROOT / "scenes" / f"{scene}.toml"))
    spec = specification(spread)
    files = write_nets(spread, tmp_path, formats=("svg",))
    lengths = dict.fromkeys(("cut", "crease"), 0.0)
    for file in files.paths:
        for layer in ElementTree.parse(file).getroot():
            kind = {"mountain": "crease", "valley": "crease"}.get(layer.get("data-class"), layer.get("data-class"))
            for group in layer:
                for path in group if group.get("data-piece") and kind in lengths else ():
                    lengths[kind] += SvgPath(path.get("d")).length(error=1e-9)
    assert spec.cut_mm == pytest.approx(lengths["cut"], abs=0.01 * len(spec.pieces))
    assert spec.crease_mm == pytest.approx(lengths["crease"], abs=0.01 * len(spec.pieces))
    assert sum(stock.sheets for stock in spec.stocks) == len(files.sheets)
    assert {piece.id: piece.sheet for piece in spec.pieces} == files.sheet_of


def test_two_versions_are_compared():
    before, after = specification(built(TENT.format(height=40))), specification(built(TENT.format(height=50), "Higher"))
    text = compared_text(before, after)
    assert text.splitlines()[0] == "By hand -> Higher"
    assert re.search(r"weight: [\d.]+ -> [\d.]+ g \(\+0\.4, \+\d+ %\)", text)  # 2 x 80 x 10 mm of 250 g/m2
    assert "steps" not in text
    assert compared_text(before, before).endswith("no difference")
    gone = compared_text(before, specification(built("")))
    assert "pieces: 2 -> 1" in gone
    assert gone.endswith("gone: roof")


def test_text_and_data_say_the_same():
    spec = specification(built(TENT.format(height=40)))
    text, data = specification_text(spec), spec.as_dict()
    assert f"{data['glue_points']} glue points" in text
    assert f"{data['weight_g']:.1f} g" in text
    assert 0 < data["stocks"][0]["used"] <= 1


def test_the_command(tmp_path, capsys):
    import json

    from geometry.__main__ import main

    before, after = tmp_path / "before.toml", tmp_path / "after.toml"
    before.write_text(HEAD.format(title="Low") + TENT.format(height=40))
    after.write_text(HEAD.format(title="High") + TENT.format(height=50))
    assert main(["cost", str(after), "--json", str(tmp_path / "cost.json")]) == 0
    assert "2 glue points" in capsys.readouterr().out
    assert json.loads((tmp_path / "cost.json").read_text())["glue_points"] == 2
    assert main(["cost", str(after), "--compare", str(before)]) == 0
    assert capsys.readouterr().out.startswith("Low -> High")
    assert main(["cost", str(after), "--sheet", "A99"]) == 2
    assert "A99" in capsys.readouterr().err
