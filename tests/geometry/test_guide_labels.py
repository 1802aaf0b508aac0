"""The guide to the window calls buttons, menus and settings as they are called there."""

from __future__ import annotations

import ast
import re

import pytest

from tests.geometry import pages
from tests.geometry.pages import ROOT

#: What the guide sets off that is no word of ours, and what it is.
OTHERS = {
    "Edit > Preferences > Get Extensions": "Blender's",
    "Install from Disk…": "Blender's",
    "Uninstall": "Blender's",
    "File > Import": "Blender's",
    "File > Export": "Blender's",
    "Edge > Avoid Cutting": "ours in a menu of Blender's",
    "Object > Unfold Model": "ours in a menu of Blender's",
    "Add > Hingeleaf": "ours in a menu of Blender's",
    "Viewport Shading": "Blender's",
    "seams": "Blender's",
    "Front Color": "made of Front and Color",
    "Back Color": "made of Back and Color",
    "Front": "the word front, with a capital",
    "Forget": "behind it stands how many",
    "paint here": "the layer of a template",
    "V-Fold": "a kind, with capitals",
    "Tent": "a kind, with capitals",
    "Hex": "Blender's",
    "cliff": "a mechanism",
    "linked": "stress",
    "the .blend carries everything": "stress",
    "Where it is cut": "a heading",
    "Several computers.": "a heading",
    "Click": "what a hand does",
    "−": "a sign",
}
KEYS = {"N", "Tab", "Esc", "Ctrl", "Shift", "I", "F12"}


def labels() -> set[str]:
    """Every text in the sources of the window, without the unit that a setting has behind its name."""
    found: set[str] = set()
    for file in (ROOT / "addon").rglob("*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                found |= {node.value, re.sub(r" \((mm|°)\)$", "", node.value)}
    return found


def set_off(page: str) -> list[str]:
    """What a page sets in bold or in italics."""
    text = re.sub(r"`[^`]*`", "", re.sub(r"\s+", " ", pages.prose(page)))
    bold = re.findall(r"\*\*(.+?)\*\*", text)
    return bold + re.findall(r"\*(.+?)\*", re.sub(r"\*\*.+?\*\*", "", text))


@pytest.fixture(scope="module")
def known() -> set[str]:
    return labels()


def test_labels_of_the_guide(known):
    told = set_off("addon/README.md")
    assert len(told) > 80
    assert {text for text in told if text not in known and text not in KEYS} == set(OTHERS)
    for path in (text for text in OTHERS if " > " in text and OTHERS[text] != "Blender's"):
        assert path.rsplit(" > ", 1)[1] in known


def test_settings_in_the_tables_of_the_guide(known):
    table = re.findall(r"^\| ([A-Z][\w /,.-]+?) \|", pages.prose("addon/README.md"), re.M)
    settings = [part for cell in table for part in cell.split(", ")]
    #: What is in the file: names of Blender's objects.
    objects = {"Card on Card"}
    assert {text for text in settings if text not in known} <= objects


def test_a_wrong_label_would_show(known):
    assert "Make a Film" not in known
    assert "Make Film" in known
