"""Reading: every kind of error, all at once, with place, line and what would be right; never a traceback."""

from __future__ import annotations

import re
import sys

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from geometry import DescriptionError, FileError, HingeleafError, assemble, parse_description, read_description
from geometry.description.fields import COMMON, PAGE, STOCK, TOP, expand
from geometry.mechanisms import KINDS
from tests.geometry.scene_texts import FILES, HEAD, HILL, SCENES, cut_in, rider_on, tent, v_fold

PAGE_ONLY = 'format = 1\n[page]\nsize = "A5"\n'


def problems(text):
    with pytest.raises(DescriptionError) as caught:
        parse_description(text, source="scene.toml")
    return caught.value.problems


def line_of(text, start):
    """Line of the only line that begins so, from 1."""
    found = [number for number, line in enumerate(text.splitlines(), 1) if line.startswith(start)]
    assert len(found) == 1
    return found[0]


def test_a_short_description_needs_no_more_than_a_fold_a_place_an_angle_and_a_height():
    description = parse_description(PAGE_ONLY + HILL)
    assert description.page.width_mm == 148.0
    assert description.page.height_mm == 210.0
    assert description.stocks["card"].caliper_mm == pytest.approx(0.3)
    (hill,) = description.mechanisms
    assert (hill.id, hill.kind) == ("hill", "v-fold")
    assert hill.values["angle"] == 45.0
    assert assemble(description).panels


#: One wrong line each: what is written in place of what, the place it is reported at, and words that must be there.
WRONG_VALUES = [
    ("at = 60", "at = 600", "at", r"600.*runs from 0 to 210"),
    ("at = 60", 'at = "60"', "at", r"must be a number, not the text \"60\""),
    ("at = 60", "at = true", "at", r"must be a number, not true"),
    ("at = 60", "at = nan", "at", r"finite"),
    ("at = 60", "at = inf", "at", r"finite"),
    ("at = 60", "at = [1, 2]", "at", r"must be a number, not a list"),
    ("at = 60", "at = {x = 1}", "at", r"must be a number, not a table"),
    ("at = 60", "at = 2024-01-01", "at", r"must be a number"),
    ("at = 60", "at = 6e300", "at", r"at most 5000"),
    ("angle = 45", "angle = 0", "angle", r"0 degrees.*between 0 and 180"),
    ("angle = 45", "angle = 180", "angle", r"180 degrees.*between 0 and 180"),
    ("angle = 45", "angle = -45", "angle", r"between 0 and 180"),
    ("angle = 45", 'angle = "steep"', "angle", r"must be an angle in degrees"),
    ("height = 50", "height = 0", "height", r"0 mm.*above 0"),
    ("height = 50", "height = -5", "height", r"-5 mm.*above 0"),
    ("height = 50", "height = 1e9", "height", r"at most 5000"),
    ("height = 50", 'height = 50\nlean = "left"', "lean", r"must be one of away, over"),
    ("height = 50", 'height = 50\ntab = ["inner"]', "tab", r"must be one of inner, outer"),
    ("height = 50", "height = 50\ntab_width = 0", "tab_width", r"above 0"),
    ("height = 50", 'height = 50\nedge = "M 0 0 X 5 5"', "edge", r"path data"),
    ("height = 50", "height = 50\nedge = [[1, 2], [3]]", "edge", r"list of \[x, y\] pairs"),
    ("height = 50", "height = 50\nedge = [[1, nan]]", "edge", r"not a number"),
    ("height = 50", "height = 50\nholes = [[[1, 1], [2, 2]]]", "holes", r"number 1 needs at least three points"),
    ("height = 50", "height = 50\nholes = [[[1, 1], [9, 9], [9, 1], [1, 9]]]", "holes", r"number 1 crosses itself"),
    ("height = 50", 'height = 50\nart_front = "../secret.png"', "art_front", r"beside the description"),
    ("height = 50", 'height = 50\nart_front = "/etc/passwd"', "art_front", r"beside the description"),
    ("height = 50", "height = 50\nart_front = 7", "art_front", r"must be text in quotes"),
    ("height = 50", 'height = 50\nart_back = "a\\u0000b.png"', "art_back", r"beside the description"),
    ("height = 50", 'height = 50\nstock = "velvet"', "stock", r"\"velvet\" is not described; known are card"),
    ("height = 50", "height = 50\ntitle = 5", "title", r"must be text in quotes"),
    ("height = 50", "height = 50\nwidht = 20", "widht", r"is no key here; did you mean width\?"),
    ("height = 50", "height = 50\nlength = 20", "length", r"is no key here; a v-fold has height"),
    ("height = 50", "height = 50\nwidth = 3\nwidth_left = 4\nwidth_right = 5", "width", r"is overruled"),
    ('fold = "spine"', "fold = 3", "fold", r"must be text in quotes"),
    ('fold = "spine"', 'fold = "my fold"', "fold", r"is no name"),
    ('fold = "spine"', 'fold = "hill.middle"', "fold", r"stands on itself"),
    ('fold = "spine"', 'fold = "page.left"', "fold", r"is no fold"),
    ('fold = "spine"', 'fold = "spine"\nside = "outer"', "side", r"has no outer side; write valley or mountain"),
]


@pytest.mark.parametrize(("old", "new", "key", "words"), WRONG_VALUES)
def test_a_wrong_value_is_told_with_table_key_line_and_what_would_be_right(old, new, key, words):
    text = HEAD + HILL.replace(old, new)
    with pytest.raises(DescriptionError) as caught:
        assemble(parse_description(text))
    (problem,) = caught.value.problems
    assert problem.place == f'v-fold "hill", {key}'
    assert problem.line == line_of(text, f"{key} =")
    assert re.search(words, problem.message), problem.message
    assert str(caught.value).splitlines()[0].endswith("1 problem")


WRONG_TABLES = [
    ("", ["page", "top of the file"], r"is missing.*\[page\]"),
    (PAGE_ONLY.replace("= 1", "= 2") + HILL, ["format"], r"is 2; this version reads format 1"),
    (PAGE_ONLY.replace("format = 1\n", ""), ["top of the file"], r"needs format"),
    ("format = 1\n" + HILL, ["page"], r"is missing"),
    ('format = 1\n[page]\nsize = "A11"\n', ["page, size"], r"no ISO 216 size"),
    ("format = 1\n[page]\nsize = [100]\n", ["page, size"], r"\[x, y\]|width, height"),
    ("format = 1\n[page]\nsize = [100, -5]\n", ["page, size"], r"both must be above 0"),
    ("format = 1\n[page]\n", ["page"], r"needs size"),
    (PAGE_ONLY + "margin = 120\n", ["page, margin"], r"leaves nothing"),
    (PAGE_ONLY + 'stock = "velvet"\n', ["page, stock"], r"known are card"),
    (PAGE_ONLY + "[stock.card]\ngrammage = 5\n", ["stock.card, grammage"], r"between 20 and 2000"),
    (PAGE_ONLY + "[stock.card]\ncaliper = 0\n", ["stock.card, caliper"], r"above 0"),
    (PAGE_ONLY + '[stock.card]\ncolor = "red"\n', ["stock.card, color"], r"hexadecimal"),
    (PAGE_ONLY + '[stock.card]\ngrain = "up"\n', ["stock.card, grain"], r"any, height, width"),
    (PAGE_ONLY + '[stock."my card"]\n', ["stock.my card"], r"is no name"),
    ("stock = 5\n" + PAGE_ONLY, ["stock"], r"\[stock.card\]"),
    ("stoc = 5\n" + PAGE_ONLY, ["stoc"], r"did you mean stock"),
    (PAGE_ONLY + HILL.replace("[[mechanism]]", "[mechanism]"), ["mechanism"], r"\[\[mechanism\]\]"),
    (PAGE_ONLY + HILL.replace('"v-fold"', '"v-fld"'), ['mechanism "hill", kind'], r"did you mean v-fold\?"),
    (PAGE_ONLY + HILL.replace('kind = "v-fold"\n', ""), ['mechanism "hill", kind'], r"needs kind; known kinds are"),
    (PAGE_ONLY + HILL.replace('id = "hill"\n', ""), ["mechanism number 1 (v-fold), id"], r"must be a name"),
    (PAGE_ONLY + HILL.replace('"hill"', '"spine"'), ["mechanism number 1 (v-fold), id"], r"not page or spine"),
    (PAGE_ONLY + HILL.replace('"hill"', '"a.b"'), ["mechanism number 1 (v-fold), id"], r"letters, digits"),
    (PAGE_ONLY + HILL.replace('"hill"', '"hill\\n"'), ["mechanism number 1 (v-fold), id"], r"letters, digits"),
    (PAGE_ONLY + HILL.replace('"hill"', '"hügel"'), ["mechanism number 1 (v-fold), id"], r"letters, digits"),
    (PAGE_ONLY + HILL + HILL, ['v-fold "hill", id'], r"used twice \(first on line 6\)"),
    (PAGE_ONLY + HILL.replace("angle = 45\n", ""), ['v-fold "hill"'], r"needs angle \("),
    (PAGE_ONLY + tent("t", body="at = 1; base = 3; height = 4"), ['tent "t"'], r"needs length \("),
    (PAGE_ONLY + cut_in("c", body="at = 1; width = 4"), ['slit-cut-in "c"'], r"needs length \("),
    (PAGE_ONLY + rider_on("r", "page.left", "size = [4, 5]"), ['rider "r"'], r"needs at \("),
]


@pytest.mark.parametrize(("text", "places", "words"), WRONG_TABLES)
def test_a_wrong_table_is_told_with_its_place_and_what_would_be_right(text, places, words):
    found = problems(text)
    assert [problem.place for problem in found] == places
    assert any(re.search(words, problem.message) for problem in found)


def test_a_page_written_as_a_list_is_not_called_missing():
    (problem,) = problems(PAGE_ONLY.replace("[page]", "[[page]]"))
    assert "missing" not in problem.message
    assert problem.line == 2


def test_toml_itself_is_told_with_its_line():
    (problem,) = problems(PAGE_ONLY + "at = = 5\n")
    assert problem.line == 4


def test_every_problem_is_told_at_once_in_the_order_of_the_file():
    text = (
        'format = 1\nauthor = "me"\n[page]\nsize = "A5"\nmargin = -1\n[stock.card]\ncaliper = "thick"\n'
        + v_fold("a", body="at = 60; angle = 0; heigth = 50")
        + tent("a", body="at = 60; length = 5; base = 4; height = 4")
        + cut_in("c", body="at = 1; length = 4; width = 4; tab = 3")
        + HILL.replace('"v-fold"', '"vfold"')
    )
    found = problems(text)
    assert [(problem.line, problem.place) for problem in found] == [
        (2, "author"),
        (5, "page, margin"),
        (7, "stock.card, caliper"),
        (8, 'v-fold "a"'),
        (13, 'v-fold "a", angle'),
        (14, 'v-fold "a", heigth'),
        (17, 'tent "a", id'),
        (30, 'slit-cut-in "c", tab'),
        (32, 'mechanism "hill", kind'),
    ]


def test_references_that_lead_nowhere_are_told_together_with_everything_else():
    text = HEAD + v_fold("a", body="at = 60; angle = 45; height = 50; widht = 5") + v_fold("b", "nowhere.middle")
    with pytest.raises(DescriptionError) as caught:
        assemble(parse_description(text))
    assert [problem.place for problem in caught.value.problems] == ['v-fold "a", widht', 'v-fold "b", fold']


@pytest.mark.parametrize("kind", KINDS)
def test_hints_are_about_keys_that_do_not_exist(kind):
    assert set(KINDS[kind].HINTS).isdisjoint(expand(KINDS[kind].FIELDS))


@pytest.mark.parametrize(
    ("fields", "name"),
    [(TOP, "top"), (PAGE, "page"), (STOCK, "stock"), *((KINDS[kind].FIELDS, kind) for kind in KINDS)],
)
def test_fields_are_well_formed(fields, name):
    keys = [field.name for field in fields]
    assert len(keys) == len(set(keys)), name
    for field in fields:
        assert (field.type == "choice") == bool(field.choices)
        assert field.meaning


def test_common_keys_are_those_of_every_glued_kind():
    for kind in ("v-fold", "tent", "rider"):
        assert {field.name for field in COMMON} <= {field.name for field in KINDS[kind].FIELDS}


# --- numbers that are too large for a float, and other things that TOML allows ---------------------------------------

HUGE = {"400 digits": "1" + "0" * 400, "5000 digits": "1" + "0" * 5000, "6000 hexadecimal digits": "0x" + "F" * 6000}


@pytest.mark.parametrize("number", HUGE.values(), ids=HUGE)
@pytest.mark.parametrize(
    "line",
    ["at = {}", "angle = {}", "height = {}", "lean = {}", "edge = [[{}, 1]]", "kind = {}", "title = {}", "fold = {}"],
)
def test_numbers_of_any_size_are_refused_in_words(line, number):
    key = line.split()[0]
    new = line.format(number)
    text = HEAD + re.sub(rf"(?m)^{key} = .*$", new, HILL)
    with pytest.raises(HingeleafError):
        assemble(parse_description(text if new in text else text + new + "\n"))


@pytest.mark.parametrize("value", ['[["10", "20"]]', "[[true, false]]", "[[10, true]]"])
def test_points_are_numbers_and_nothing_that_can_be_read_as_numbers(value):
    (problem,) = problems(HEAD + HILL + f"edge = {value}\n")
    assert problem.place == 'v-fold "hill", edge'


def test_deep_nesting_is_refused_in_words():
    for text in ("x = " + "[" * 5000, "x = " + "[" * 5000 + "]" * 5000, "a." * 5000 + "b = 1"):
        with pytest.raises(HingeleafError):
            parse_description(text)


def test_a_page_too_small_to_be_cut_is_refused_in_words():
    with pytest.raises(HingeleafError, match="size"):
        assemble(parse_description(PAGE_ONLY.replace('"A5"', "[1e-9, 1e-9]")))


# --- files -----------------------------------------------------------------------------------------------------------


def test_files_that_cannot_be_read(tmp_path):
    with pytest.raises(FileError, match="cannot be read"):
        read_description(tmp_path / "none.toml")
    with pytest.raises(FileError, match="cannot be read"):
        read_description(tmp_path)
    (tmp_path / "latin.toml").write_bytes("title = 'Hügel'".encode("latin-1"))
    with pytest.raises(FileError, match="save it as UTF-8"):
        read_description(tmp_path / "latin.toml")
    large = tmp_path / "large.toml"
    with large.open("wb") as stream:
        stream.truncate(30_000_000)
    with pytest.raises(FileError, match="larger than 20 MB"):
        read_description(large)


def test_title_source_and_folder_come_from_the_file(tmp_path):
    (tmp_path / "two hills.toml").write_text(HEAD + HILL + 'art_front = "art/hill.png"\n', encoding="utf-8")
    description = read_description(tmp_path / "two hills.toml")
    assert description.title == "two hills"
    assert description.source == "two hills.toml"
    assert description.mechanisms[0].values["art_front"] == str((tmp_path / "art" / "hill.png").resolve())


def test_artwork_reached_by_a_link_out_of_the_folder_is_refused(tmp_path):
    if sys.platform == "win32":
        pytest.skip("making links needs rights there")
    (tmp_path / "inside").mkdir()
    (tmp_path / "inside" / "link").symlink_to(tmp_path)
    with pytest.raises(DescriptionError, match="beside the description"):
        parse_description(HEAD + HILL + 'art_front = "link/x.png"\n', folder=tmp_path / "inside")


# --- whatever is written, no traceback -------------------------------------------------------------------------------

SEEDS = [*SCENES.values(), *(file.read_text(encoding="utf-8") for file in FILES)]
FUZZ = settings(
    max_examples=300, deadline=None, suppress_health_check=list(HealthCheck), derandomize=True, database=None
)
WORDS = [
    "nan",
    "inf",
    "-1",
    "0",
    "1e308",
    "1e-308",
    "true",
    "[]",
    "{}",
    '""',
    '"edge"',
    "[[0, 0]]",
    '"M 0 0"',
    "2024-01-01",
    "180",
    "\n",
    '"spine"',
    '"hill.left"',
    "[[mechanism]]\n",
    "kind",
    "[page]",
]


def build_or_refuse(text):
    try:
        spread = assemble(parse_description(text))
    except HingeleafError as error:
        message = str(error)
    else:
        message = f"reached {spread.reachable()}"
    assert message.strip()
    assert "Traceback" not in message


@FUZZ
@given(st.text(max_size=200))
def test_no_text_makes_a_traceback(text):
    build_or_refuse(text)
    build_or_refuse(PAGE_ONLY + text)


@FUZZ
@given(st.sampled_from(SEEDS), st.data())
def test_no_change_of_a_sound_file_makes_a_traceback(text, data):
    lines = text.splitlines()
    for _ in range(data.draw(st.integers(1, 3))):
        index = data.draw(st.integers(0, len(lines) - 1))
        change = data.draw(st.sampled_from(["drop", "double", "value", "character", "swap"]))
        if change == "drop":
            lines.pop(index)
        elif change == "double":
            lines.insert(index, lines[index])
        elif change == "value":
            lines[index] = lines[index].split("=")[0] + "= " + data.draw(st.sampled_from(WORDS) | st.floats().map(repr))
        elif change == "character" and lines[index]:
            place = data.draw(st.integers(0, len(lines[index]) - 1))
            lines[index] = lines[index][:place] + data.draw(st.characters()) + lines[index][place + 1 :]
        else:
            lines[index], lines[0] = lines[0], lines[index]
        if not lines:
            break
    build_or_refuse("\n".join(lines))


SCALARS = (
    st.booleans()
    | st.integers()
    | st.integers(min_value=10**300, max_value=10**400)
    | st.floats()
    | st.text(max_size=8)
    | st.sampled_from(
        ["edge", "M 0 0 L 5 5", "M 0 0 A 5 5 0 0 1 9 9 Z", "spine", "hill.middle", "page.left", "inner", "over"]
    )
)
VALUES = st.recursive(SCALARS, lambda inner: st.lists(inner, max_size=3), max_leaves=8)


@FUZZ
@given(st.sampled_from(sorted(KINDS)), st.data())
def test_no_value_of_any_key_makes_a_traceback(kind, data):
    import tomlkit

    keys = sorted(expand(KINDS[kind].FIELDS))
    plain = {"v-fold": HILL, "tent": tent("hill"), "slit-cut-in": cut_in("hill")}.get(
        kind, rider_on("hill", "page.left", "at = [-20, 20]; size = [5, 5]")
    )
    document = tomlkit.parse(HEAD + plain)
    for key in data.draw(st.lists(st.sampled_from(keys), min_size=1, max_size=3, unique=True)):
        document["mechanism"][0][key] = data.draw(VALUES)
    build_or_refuse(tomlkit.dumps(document))


@FUZZ
@given(
    st.sampled_from(
        [
            "at",
            "angle",
            "angle_left",
            "height",
            "width",
            "width_right",
            "crease_angle",
            "crease_angle_left",
            "tab_width",
        ]
    ),
    st.floats(min_value=1e-12, max_value=5000.0),
)
def test_no_possible_number_makes_a_traceback(key, number):
    build_or_refuse(HEAD + re.sub(rf"(?m)^{key} = .*\n", "", HILL) + f"{key} = {number!r}\n")
