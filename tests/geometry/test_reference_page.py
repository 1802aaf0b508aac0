"""The reference page against the code: every key, and every default by building with and without it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from geometry import assemble, parse_description
from geometry.binding.fields import BOOK_TOP, COVER, SPREAD
from geometry.description.fields import PAGE, STOCK, TOP, Field
from geometry.limits import LIMITS, Limits
from geometry.mechanisms import KINDS
from geometry.poses import poses_data

SCENES = Path(__file__).resolve().parents[2] / "scenes"
PAGE_TEXT = (SCENES / "README.md").read_text(encoding="utf-8")
TABLES: dict[str, tuple[Field, ...]] = {"top": TOP, "page": PAGE, "stock": STOCK, "checks": LIMITS}
TABLES |= {"book": BOOK_TOP, "cover": COVER, "spread": SPREAD}
TABLES |= {kind: module.FIELDS for kind, module in KINDS.items()}


def row(field: Field) -> str:
    """A field as a row of the reference page."""
    written = {
        "length": "mm",
        "angle": "degrees",
        "number": "number",
        "switch": "`true` or `false`",
        "choice": ", ".join(f"`{choice}`" for choice in field.choices),
        "outlines": "list of outlines",
        "point": "[x, y]",
        "lengths": "list of lengths, mm",
        "numbers": "list of numbers",
        "size": "name or [w, h]",
        "color": "`#rrggbb`",
    }.get(field.type, field.type)
    default = "**required**" if field.default is None else field.default
    return f"| `{field.name}`{' ↔' if field.sided else ''} | {written} | {default} | {field.meaning} |"


def table(name: str) -> list[str]:
    """A whole table of the reference page."""
    return ["| key | written as | default | meaning |", "|---|---|---|---|", *(row(field) for field in TABLES[name])]


@pytest.mark.parametrize("name", TABLES)
def test_the_page_lists_the_keys_of_the_code(name: str) -> None:
    match = re.search(rf"<!-- table: {name} -->\n\n((?:\|.*\n)+)", PAGE_TEXT)
    assert match, f"no table {name}"
    assert match[1].splitlines() == table(name)


MINIMAL = {
    "v-fold": 'fold = "spine"\nat = 60\nangle_left = 50\nangle_right = 42\nheight = 40\n',
    "tent": 'fold = "spine"\nat = 40\nlength = 60\nbase_left = 24\nbase_right = 20\nheight_left = 30\n',
    "slit-cut-in": 'fold = "spine"\nat = 40\nlength = 40\nwidth_left = 18\nwidth_right = 25\n',
    "platform": 'fold = "spine"\nat = 40\nlength = 60\nbase = 8\nheight = 40\nwidth = 50\n',
    "box": 'fold = "spine"\nat = 40\nlength = 80\nbase = 30\nheight = 40\n',
    "layer": 'box = "crate"\nat = 30\n',
    "accordion": 'fold = "spine"\nat = 40\nlength = 80\nbases = [16, 20]\nheights = [30, 28]\n',
    "strap": (
        'from = "page.left"\nfrom_at = [-40, 80]\nto = "page.right"\nto_at = [40, 80]\nlength = 20\nwidths = [50, 50]\n'
    ),
    "rider": 'panel = "page.right"\nat = [40, 60]\nsize = [30, 20]\n',
    "flap": 'panel = "page.right"\nat = [40, 60]\nlength = 30\n',
    "pull-strip": (
        'panel = "page.right"\nat = [34, 100]\nlength = 112\nwidth = 20\ntravel = 28\nguides = [72, 100]\n'
        'drives = "lid"\nlink_at = 16\nlink_reach = 15\n'
    ),
    "wheel": 'panel = "page.right"\nat = [80, 110]\nradius = 40\n',
    "solid": 'panel = "page.right"\nat = [60, 90]\nmodel = "models/keepers-house.obj"\n',
}
#: What else must be there, up to the head of the mechanism's own table.
BEFORE = {
    "layer": f'kind = "box"\nid = "crate"\n{MINIMAL["box"]}[[mechanism]]\n',
    "pull-strip": (
        'kind = "flap"\nid = "lid"\npanel = "page.right"\nat = [90, 100]\nturn = 180\nlength = 50\nwidth = 44\n'
        "driven = true\n[[mechanism]]\n"
    ),
}
#: What a default means in the minimal scene above, where the page says it in words.
WORDS = {
    ("v-fold", "side"): "valley",
    ("tent", "side"): "valley",
    ("v-fold", "crease_angle"): (86.0, 94.0),
    ("v-fold", "width"): 40,
    ("v-fold", "printed"): "outer",
    ("v-fold", "edge"): None,
    ("tent", "edge_start"): None,
    ("tent", "edge_end"): None,
    ("slit-cut-in", "width"): None,
    ("slit-cut-in", "width_start"): (18, 25),
    ("slit-cut-in", "width_end"): (18, 25),
    ("slit-cut-in", "slit_start"): [[-18, 0], [25, 0]],
    ("slit-cut-in", "slit_end"): [[-18, 0], [25, 0]],
    ("platform", "side"): "valley",
    ("v-fold", "apex_cut"): 0,
    ("box", "side"): "valley",
    ("box", "end_width"): 30,
    ("box", "edge"): None,
    ("box", "edge_start"): None,
    ("box", "edge_end"): None,
    ("box", "holes_start"): [],
    ("box", "holes_end"): [],
    ("layer", "height"): 40,
    ("layer", "width"): 30,
    ("layer", "edge"): None,
    ("accordion", "side"): "valley",
    ("accordion", "edge_start"): None,
    ("accordion", "edge_end"): None,
    ("*", "holes"): [],
    ("*", "title"): None,
    ("*", "stock"): "card",
    ("*", "art_front"): None,
    ("*", "art_back"): None,
    ("*", "color_front"): None,
    ("*", "color_back"): None,
    ("*", "art_box"): None,
    ("strap", "from_turn"): 90,
    ("strap", "to_turn"): 90,
    ("flap", "turn"): 0,
    ("flap", "width"): 30,
    ("flap", "edge"): None,
    ("pull-strip", "turn"): 0,
    ("pull-strip", "outline"): [[112, -10], [112, 10], [0, 10], [0, -10]],
    ("pull-strip", "drives"): None,
    ("pull-strip", "link_at"): None,
    ("pull-strip", "link_reach"): None,
    ("pull-strip", "link_length"): 25,
    ("pull-strip", "link_width"): 16,
    ("wheel", "window"): [],
    ("wheel", "slot"): [],
    ("rider", "panel"): None,
    ("rider", "fold"): None,
    ("rider", "side"): None,
    ("rider", "outline"): None,
    ("rider", "size"): None,
    ("solid", "height"): 41,
    ("solid", "foot"): "flat",
    ("solid", "room"): None,
}


def scene(kind: str, extra: str = "") -> str:
    """A scene of one mechanism."""
    head = 'format = 1\n[page]\nsize = "A5"\n[stock.card]\n[[mechanism]]\n'
    return f'{head}{BEFORE.get(kind, "")}kind = "{kind}"\nid = "m"\n{MINIMAL[kind]}{extra}'


def built(text: str) -> object:
    """All that a scene builds, as poses."""
    return poses_data(assemble(parse_description(text, folder=SCENES)), [0.0, 37.0, 90.0, 180.0])


def literal(value: object) -> str:
    """A value in TOML."""
    return f'"{value}"' if isinstance(value, str) else str(value)


CASES = [(kind, field) for kind, module in KINDS.items() for field in module.FIELDS if field.default is not None]


@pytest.mark.parametrize(("kind", "field"), CASES, ids=[f"{kind}-{field.name}" for kind, field in CASES])
def test_the_default_is_what_the_page_says(kind: str, field: Field) -> None:
    value = WORDS.get((kind, field.name), WORDS.get(("*", field.name), field.default))
    if value is None:
        assert field.default.startswith(("none", "straight", "the id", "valley"))
        return
    if isinstance(value, tuple):
        lines = f"{field.name}_left = {value[0]}\n{field.name}_right = {value[1]}\n"
    elif field.type == "switch":
        lines = f"{field.name} = {value}\n"
    elif field.type in ("number", "length") and isinstance(value, str):
        lines = f"{field.name} = {float(value)}\n"
    else:
        lines = f"{field.name} = {literal(value)}\n"
    plain, given = built(scene(kind)), built(scene(kind, lines))
    assert rounded(given) == rounded(plain)


def rounded(data: object) -> object:
    """Numbers to a nanometre, so that a default computed twice compares equal."""
    if isinstance(data, dict):
        return {key: rounded(value) for key, value in data.items()}
    if isinstance(data, (list, tuple)):
        return [rounded(value) for value in data]
    return round(data, 6) + 0.0 if isinstance(data, float) else data


def test_a_wrong_default_would_show() -> None:
    assert built(scene("v-fold", "tab_width = 9\n")) != built(scene("v-fold"))


@pytest.mark.parametrize("field", LIMITS, ids=lambda field: field.name)
def test_the_limits_are_what_the_page_says(field: Field) -> None:
    assert getattr(Limits(), field.name) == float(field.default)
    changed = parse_description(scene("rider") + f"[checks]\n{field.name} = {float(field.default) / 2}\n")
    assert getattr(assemble(changed).limits, field.name) == float(field.default) / 2


def test_page_and_stock_defaults() -> None:
    plain = parse_description(scene("rider"))
    given = parse_description(
        scene("rider").replace(
            "[stock.card]\n",
            'margin = 0\nstock = "card"\n[stock.card]\ngrammage = 250\nbulk = 1.2\ngrain = "any"\ncolor = "#fbfaf6"\n',
        )
    )
    assert (plain.page, plain.stocks) == (given.page, given.stocks)
    assert plain.stocks["card"].caliper_mm == pytest.approx(250 * 1.2 / 1000)
