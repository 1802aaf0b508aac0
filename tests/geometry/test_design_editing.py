"""Editing: one table is read anew and the result is what reading the whole would give; the rest stays to the letter."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from geometry import DescriptionError, HingeleafError, assemble, parse_description, read_description
from geometry.description.fields import expand
from geometry.design.editing import (
    add_mechanism,
    free_id,
    set_checks,
    set_page,
    set_stock,
    set_title,
    set_values,
)
from geometry.design.starting import new_description
from geometry.mechanisms import KINDS
from tests.counting import calls_of
from tests.geometry.scene_texts import COMMENTED, FILES, HEAD, HILL, SCENES, cut_in, tent, v_fold

ALL = [pytest.param(lambda file=file: read_description(file), id=file.stem) for file in FILES]
ALL += [pytest.param(lambda text=text: parse_description(text), id=name) for name, text in SCENES.items()]


def _read_again(description):
    return parse_description(description.text, source=description.source, folder=description.folder)


def _others(spec):
    """Another value for every key of a mechanism whose type has an easy one."""
    fields = expand(KINDS[spec.kind].FIELDS)
    for key, value in spec.values.items():
        field = fields[key]
        if field.type in ("number", "length", "angle"):
            yield key, float(value) * 0.75 + 1.0
        elif field.type == "point":
            yield key, [float(value[0]), float(value[1]) + 0.123456789]
        elif field.type in ("lengths", "numbers"):
            yield key, [number + 0.5 for number in value]
        elif field.type == "choice":
            yield key, field.choices[-1]
        elif field.type in ("outline", "outlines", "line", "switch"):
            yield key, value
    for name, field in fields.items():
        if field.default is not None and name not in spec.values and field.type == "length" and "width" in name:
            yield name, 7.0


@pytest.mark.parametrize("read", ALL)
def test_the_result_is_what_reading_the_whole_text_gives(read):
    description = read()
    for spec in description.mechanisms:
        for key, value in _others(spec):
            changed = set_values(description, spec.id, {key: value})
            assert changed == _read_again(changed)
            if isinstance(value, (float, list)) and not key.startswith("width"):
                found = next(item for item in changed.mechanisms if item.id == spec.id).values[key]
                assert found == value or np.allclose(found, value, atol=1e-6)
            if len(changed.text.split("\n")) == len(description.text.split("\n")):
                kept = zip(description.mechanisms, changed.mechanisms, strict=True)
                assert all(one is two for one, two in kept if one.id != spec.id)


@pytest.mark.parametrize("read", ALL)
def test_taking_a_key_out_and_putting_it_back(read):
    description = read()
    for spec in description.mechanisms:
        for key, field in expand(KINDS[spec.kind].FIELDS).items():
            if key in spec.values and field.default is not None and key in spec.lines and not key.startswith("art"):
                without = set_values(description, spec.id, {key: None})
                assert without == _read_again(without)
                back = set_values(without, spec.id, {key: spec.values[key]})
                assert back == _read_again(back)
                assert [item.values for item in back.mechanisms] == [item.values for item in description.mechanisms]


def test_a_value_that_is_the_same_changes_no_byte():
    description = read_description(next(file for file in FILES if file.stem == "strap-between-v-folds"))
    for spec in description.mechanisms:
        written = {key: value for key, value in spec.values.items() if key in spec.lines}
        assert set_values(description, spec.id, written).text == description.text


@pytest.mark.parametrize("end", ["\n", "\r\n"], ids=["plain", "carriage returns"])
def test_comments_layout_and_the_look_of_numbers_stay(end):
    description = parse_description(COMMENTED.replace("\n", end))
    changed = set_values(description, "hill", {"angle": 50.0, "at": 61, "height": 52.25, "width": np.float64(44.0)})
    expected = COMMENTED.replace("angle = 45 #", "angle = 50 #").replace("at = 60.0", "at = 61.0")
    expected = expected.replace("height = 50", "height = 52.25\nwidth = 44")
    assert changed.text == expected.replace("\n", end)
    assert changed == _read_again(changed)
    assert changed.mechanisms[1].lines["at"] == description.mechanisms[1].lines["at"] + 1


def test_a_value_over_several_lines_with_comments_is_replaced_as_a_whole():
    text = (
        HEAD
        + HILL
        + "holes = [  # two\n  [[5, 5], [9, 5], [9, 9]],\n  [[5, 15], [9, 15], [9, 19]],\n] # windows\n\n"
        + tent("t")
    )
    changed = set_values(parse_description(text), "hill", {"holes": [[[5, 5], [9, 5], [9, 9.5]]]})
    assert "holes = [[[5, 5], [9, 5], [9, 9.5]]] # windows\n\n[[mechanism]]" in changed.text
    assert changed == _read_again(changed)


def test_text_that_looks_like_a_table_is_no_table():
    text = HEAD + HILL + 'title = """\n[[mechanism]]\nat = 5\n"""\n' + tent("t")
    changed = set_values(parse_description(text), "t", {"at": 70})
    assert changed == _read_again(changed)
    assert changed.mechanisms[1].values["at"] == 70.0
    changed = set_values(changed, "hill", {"title": 'a "hill" = #1'})
    assert changed == _read_again(changed)
    assert changed.mechanisms[0].values["title"] == 'a "hill" = #1'


def test_mechanisms_in_an_inline_list_are_changed_too():
    item = "{kind = 'v-fold', id = 'hill', fold = 'spine', at = 60, angle = 45, height = 50}"
    description = parse_description(HEAD.replace("[page]", f"mechanism = [{item}]\n[page]"))
    changed = set_values(description, "hill", {"angle_left": 50})
    assert changed.mechanisms[0].sided("angle") == (50.0, 45.0)
    assert changed == _read_again(changed)


@pytest.mark.parametrize(
    ("given", "asked", "expected"),
    [
        ("angle = 45", {"angle_left": 50}, {"angle_left": 50, "angle_right": 45}),
        ("angle = 45", {"angle_right": 50}, {"angle_left": 45, "angle_right": 50}),
        ("angle = 45", {"angle_left": 50, "angle_right": 51}, {"angle_left": 50, "angle_right": 51}),
        ("angle = 45", {"angle": 40, "angle_left": 50}, {"angle_left": 50, "angle_right": 40}),
        ("angle_left = 45; angle_right = 50", {"angle": 40}, {"angle": 40}),
        ("angle_left = 45; angle_right = 50", {"angle_left": 40}, {"angle_left": 40, "angle_right": 50}),
        ("angle = 45; angle_left = 50", {"angle_right": 40}, {"angle_left": 50, "angle_right": 40}),
        ("angle = 45; angle_left = 50", {"angle_left": None}, {"angle": 45}),
        ("angle_left = 45; angle_right = 50", {"angle": 40, "angle_right": 41}, {"angle_left": 40, "angle_right": 41}),
    ],
)
def test_keys_of_one_side_and_of_both(given, asked, expected):
    description = parse_description(HEAD + v_fold("hill", body=f"at = 60; {given}; height = 50"))
    changed = set_values(description, "hill", asked)
    found = {key: value for key, value in changed.mechanisms[0].values.items() if key.startswith("angle")}
    assert found == expected
    assert changed == _read_again(changed)
    assert set(changed.mechanisms[0].lines) == {"", "kind", "id", "fold", "at", "height", *expected}


CORNERS = ("width_start_left", "width_start_right", "width_end_left", "width_end_right")


@pytest.mark.parametrize(
    ("given", "asked", "expected"),
    [
        ("width = 20", {"width_left": 15}, (15, 20, 15, 20)),
        ("width = 20", {"width_end": 10}, (20, 20, 10, 10)),
        ("width_left = 18; width_right = 32", {"width": 20}, (20, 20, 20, 20)),
        ("width_start = 34; width_end = 18", {"width_left": 20}, (20, 34, 20, 18)),
        ("width_start = 34; width_end = 18", {"width_start_left": 20}, (20, 34, 18, 18)),
        ("width_start_left = 36; width_start_right = 24; width_end = 0", {"width_start": 30}, (30, 30, 0, 0)),
        ("width_start_left = 36; width_start_right = 24; width_end = 0", {"width": 30}, (30, 30, 30, 30)),
        ("width = 20; width_start = 10", {"width_left": 15}, (15, 10, 15, 20)),
        ("width = 20; width_start = 10", {"width_end_right": 15}, (10, 10, 20, 15)),
        ("width_start_left = 9; width_start_right = 12; width_end_left = 6", {"width_right": 10}, (9, 10, 6, 10)),
        ("width_start_left = 9; width_start_right = 12; width_end_left = 6", {"width_start_left": 8}, (8, 12, 6, None)),
        ("width_left = 18; width_right = 32", {"width_start_left": 9}, (9, 32, 18, 32)),
    ],
)
def test_widths_of_a_cut_in(given, asked, expected):
    description = parse_description(HEAD + cut_in("cut", body=f"at = 60; length = 50; {given}"))
    changed = set_values(description, "cut", asked)
    values = changed.mechanisms[0].values
    found = []
    for corner in CORNERS:
        _, end, side = corner.split("_")
        keys = (corner, f"width_{end}", f"width_{side}", "width")
        found.append(next((values[key] for key in keys if key in values), None))
    assert tuple(found) == expected
    assert changed == _read_again(changed)


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"angle": 0}, r"line 12: .*angle: is 0 degrees"),
        ({"widht": 5}, "is no key here; did you mean width"),
        ({"fold": None}, "needs fold"),
        ({"height": float("nan")}, "finite"),
        ({"edge": [[1, 2], [3]]}, "list of"),
    ],
)
def test_an_unsound_change_is_refused_as_the_reader_says_it(values, words):
    description = parse_description(HEAD + HILL)
    with pytest.raises(DescriptionError, match=words):
        set_values(description, "hill", values)
    assert description == parse_description(HEAD + HILL)


def test_values_of_no_kind_that_a_description_knows_are_refused_in_words():
    description = parse_description(HEAD + HILL)
    with pytest.raises(HingeleafError, match="must be text, a number"):
        set_values(description, "hill", {"width": {"a": 1}})
    with pytest.raises(HingeleafError, match='no mechanism "hil"'):
        set_values(description, "hil", {"width": 1})


def test_changing_one_of_a_hundred_is_little_work():
    """Counted in calls of functions, of which reading the whole takes 36 times as many."""
    body = "at = 60; angle = 45; height = 50; width = 40; edge = 'M 10 55 C 20 70 50 40 55 10'"
    description = parse_description(HEAD + "".join(v_fold(f"v{number}", body=body) for number in range(100)))
    for step in range(30):
        description, calls = calls_of(set_values, description, "v50", {"at": 60 + step / 7})
    again, whole = calls_of(_read_again, description)
    assert description == again
    assert calls < whole / 20


def test_a_new_book_can_be_built_and_says_no_more_than_was_asked_for():
    description = new_description("The Sea", page_mm=(148, 210), margin_mm=4, grammage_gsm=300, color="#ffffff")
    assert description.text == (
        'format = 1\ntitle = "The Sea"\n\n[page]\nsize = [148, 210]\nmargin = 4\n\n'
        '[stock.card]\ngrammage = 300\ncolor = "#ffffff"\n'
    )
    assert description.source == "the-sea.toml"
    assert (description.page.width_mm, description.page.margin_mm) == (148.0, 4.0)
    assert assemble(description).title == "The Sea"
    assert new_description('A "book" \\ 1', page_mm="A5").title == 'A "book" \\ 1'
    with pytest.raises(DescriptionError, match="at least 10 mm"):
        new_description("x", page_mm=(5, 5))


def test_tables_that_are_no_mechanism():
    description = parse_description(COMMENTED)
    changed = set_title(description, "A hill")
    assert changed.title == "A hill"
    assert changed.text == COMMENTED.replace("# always 1\n", '# always 1\ntitle = "A hill"\n')
    changed = set_page(changed, {"size": [100, 140.5], "margin": 3})
    assert "size = [100, 140.5]\nmargin = 3\n\n# the hill itself" in changed.text
    changed = set_page(changed, {"size": "A6", "margin": None})
    assert (changed.page.width_mm, changed.page.margin_mm) == (105.0, 0.0)
    changed = set_stock(set_checks(changed, {"neck": 2.5}), "thin", {"grammage": 120, "color": "#ffeedd"})
    assert changed.limits.neck == 2.5
    assert changed.stocks["thin"].grammage_gsm == 120.0
    changed = set_stock(set_checks(changed, {"neck": None}), "thin", {"color": None, "caliper": 0.2})
    assert changed.limits.neck == 3.0
    assert changed.stocks["thin"].caliper_mm == 0.2
    assert [item.values["at"] for item in changed.mechanisms] == [60.0, 120.0]
    with pytest.raises(DescriptionError, match=r"stock\.thin, grammage"):
        set_stock(changed, "thin", {"grammage": 3})
    with pytest.raises(DescriptionError, match="title"):
        set_title(changed, " ")


def test_adding_mechanisms():
    description = new_description("x", page_mm="A5")
    name = free_id(description, "v-fold")
    description = add_mechanism(description, "v-fold", name, {"fold": "spine", "at": 60, "angle": 45.0, "height": 50})
    assert description.text.endswith(
        '\n\n[[mechanism]]\nkind = "v-fold"\nid = "v-fold"\nfold = "spine"\nat = 60\nangle = 45\nheight = 50\n'
    )
    second = free_id(description, "v-fold")
    assert second == "v-fold-2"
    values = {"fold": "v-fold.middle", "at": 20, "length": 12, "width": 8, "holes": None}
    description = add_mechanism(description, "slit-cut-in", free_id(description, "slit-cut-in"), values)
    description = add_mechanism(
        description, "v-fold", second, {"fold": "spine", "at": 90, "angle": 45, "height": 30}, after="v-fold"
    )
    assert [spec.id for spec in description.mechanisms] == ["v-fold", "v-fold-2", "slit-cut-in"]
    assert free_id(description, "v-fold-2") == "v-fold-3"
    assert free_id(description, "spine") == "spine-2"
    assert assemble(description).panels
    with pytest.raises(DescriptionError, match="is used twice"):
        add_mechanism(description, "v-fold", "v-fold", {"fold": "spine", "at": 60, "angle": 45.0, "height": 50})


def test_a_new_table_goes_before_the_tables_that_follow_the_mechanism():
    text = HEAD + HILL.rstrip("\n") + "\n# done\n\n[checks]\nneck = 2"
    description = parse_description(text)
    changed = add_mechanism(description, "tent", "t", {"fold": "spine", "at": 120, "length": 9, "base": 9, "height": 9})
    assert changed.text.startswith(HEAD + HILL + '# done\n\n[[mechanism]]\nkind = "tent"')
    assert changed.text.endswith("height = 9\n\n[checks]\nneck = 2")


def test_the_description_is_never_changed_itself():
    description = parse_description(HEAD + HILL)
    copy = replace(description)
    set_values(description, "hill", {"at": 61})
    assert description == copy
