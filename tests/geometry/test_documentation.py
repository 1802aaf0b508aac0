"""The documentation is true: its commands run, its code says what it says, its links lead somewhere."""

from __future__ import annotations

import argparse
import doctest
import json
import re
import shutil
import tomllib
from collections import Counter
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from PIL import Image

import build
from geometry import assemble, parse_description
from geometry.__main__ import command_parser, main
from geometry.binding import bind, check_binding, is_book, parse_book, read_spreads
from geometry.checks import CHECKS, run_checks
from tests.fuzz import run as fuzzing
from tests.geometry import pages
from tests.geometry.pages import PAGES, ROOT

#: Where there are links, besides.
ALL_PAGES = (*PAGES, "scenes/demo/art/README.md")

#: What is not run here, and why.
NOT_RUN = {
    ".venv/py313/bin/python -m pytest tests/geometry -k tent": "the tests themselves",
    ".venv/py313/bin/python -m ruff check": "build.py test does, before the tests",
    ".venv/types/bin/python -m mypy": "build.py test does, before the tests",
    "pip list": "says what is installed",
    "python -m hingeleaf.batch SCENE.toml": "needs Blender; tests/addon/test_batch.py runs it",
    "blender -b NAME.blend -a": "Blender's own",
    f"sudo apt-get install python3-venv {' '.join(sorted(build.DEBIAN_PACKAGES.values()))}": "changes the system",
}

#: What placeholders stand for, where they stand behind an option, or in first place behind a command.
GIVEN = {
    ("--mechanism", "ID"): "hill",
    ("--wish", "WISH"): "height=60@180",
    ("--free", "KEYS"): "height",
    ("--apply", "CODE"): "closes-flat",
    ("--hand", "ID=VALUE"): "door=90",
    ("--compare", "EARLIER"): "scenes/v-fold.toml",
    ("--pieces", "A,B"): "hill,page",
    ("--folder", "DIR"): "painted",
    ("--height", "MM"): "90",
    ("--width", "MM"): "60",
    ("--scale", "TIMES"): "1.5",
    ("unfold", "MESH"): "boat.obj",
    ("trace", "PICTURE"): "painted/hill.png",
}
#: Scenes to stand for SCENE or FILE: the one of README.md, but for these options.
SCENE = "hill.toml"
SCENES_FOR = {"--apply": "jams.toml", "--hand": "scenes/flap.toml"}
JAMS = """
format = 1
[page]
size = "A5"
[[mechanism]]
kind = "v-fold"
id = "fan"
fold = "spine"
at = 60
angle_left = 50
angle_right = 42
crease_angle_left = 90
crease_angle_right = 90
height = 40
"""


def geometry_commands() -> list[str]:
    """Every command of the core that a page tells."""
    found = [line for page in PAGES for line in (*pages.command_lines(page), *pages.spans(page))]
    return list(dict.fromkeys(re.sub(r" +", " ", line) for line in found if line.startswith("python -m geometry ")))


def short_commands() -> list[str]:
    """What pages say as `nets --spot`: a command and some of its options."""
    names = "|".join(options_of(command_parser()))
    found = [span for page in PAGES for span in pages.spans(page) if re.match(rf"({names}) --", span)]
    return [f"python -m geometry {span.replace(' --', ' SCENE --out DIR --', 1)}" for span in dict.fromkeys(found)]


def build_commands() -> list[str]:
    """Every command of build.py that a page tells, shortened ones too."""
    names = "|".join(options_of(build.command_line()))
    found = [line for page in PAGES for line in (*pages.command_lines(page), *pages.spans(page))]
    full = [re.sub(r"^python3 ", "", line) for line in found]
    full = [f"build.py {line}" if re.match(rf"({names}) (--|\w+ --)", line) else line for line in full]
    return [line for line in dict.fromkeys(full) if line.startswith("build.py ")]


def options_of(parser: argparse.ArgumentParser) -> dict[str, set[str]]:
    """The commands of a parser, each with its options."""
    commands = next(action for action in parser._actions if isinstance(action, argparse._SubParsersAction))
    return {
        name: {option for action in each._actions for option in action.option_strings if option.startswith("--")}
        for name, each in commands.choices.items()
    }


def concrete(words: list[str]) -> list[str]:
    """A command line with real things in place of placeholders."""
    told = [GIVEN.get((before, word), word) for before, word in zip(["", *words], words, strict=False)]
    if told[1] in ("SCENE", "FILE"):
        told[1] = next((SCENES_FOR[word] for word in told if word in SCENES_FOR), SCENE)
    return told


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A folder in which the commands of the pages can be run."""
    path = tmp_path_factory.mktemp("documented")
    shutil.copytree(ROOT / "scenes", path / "scenes", ignore=shutil.ignore_patterns("demo", "pictures", "*.py"))
    (path / SCENE).write_text(next(block.text for block in pages.blocks("README.md") if block.language == "toml"))
    (path / "jams.toml").write_text(JAMS)
    (path / "BOOK.toml").write_text(
        "format = 1\n[cover]\n"
        + "".join(f'[[spread]]\nfile = "scenes/{name}.toml"\n' for name in ("v-fold", "tent", "cut-in-step"))
    )
    shutil.copy(ROOT / "scenes/models/keepers-house.obj", path / "boat.obj")
    for file in (ROOT / "scenes/models").iterdir():
        shutil.copy(file, path)
    picture = Image.new("RGBA", (120, 80))
    picture.paste((90, 60, 30, 255), (20, 10, 100, 70))
    (path / "painted").mkdir()
    picture.save(path / "painted" / "hill.png")
    return path


def run(folder, monkeypatch, words):
    """Run a command of the core there, every file that it names being written; returns its exit status."""
    monkeypatch.chdir(folder)
    told = concrete(words)
    made = [Path(told[number + 1]) for number, word in enumerate(told) if word in ("--out", "--json", "--bulk-map")]
    for path in made:
        shutil.rmtree(path) if path.is_dir() else path.unlink(missing_ok=True)
    status = main(told)
    for path in made:
        assert path.is_file() or any(path.iterdir()), f"{path} is not there"
    return status


@pytest.mark.parametrize("usage", geometry_commands())
def test_commands_of_the_core_run(usage, folder, monkeypatch):
    for words in pages.variants(usage):
        assert run(folder, monkeypatch, words[3:]) == 0, " ".join(words)


@pytest.mark.parametrize("usage", short_commands())
def test_shortened_commands_of_the_core_run(usage, folder, monkeypatch):
    assert run(folder, monkeypatch, usage.split()[3:]) == 0


@pytest.mark.parametrize("usage", build_commands())
def test_commands_of_build_are_understood(usage, monkeypatch):
    parser = build.command_line()
    for words in pages.variants(usage):
        words = [{"N": "16", "P": "linux-x64", "TARGET": "outlines"}.get(word, word) for word in words[1:]]
        args, rest = parser.parse_known_args(words)
        if args.action is build.fuzz:
            taken = []
            monkeypatch.setattr(fuzzing, "fuzzed", lambda name, *_, to=taken: to.append(name) or (1, Counter()))
            monkeypatch.setattr(fuzzing.designs, "main", lambda arguments, to=taken: to.append("designs") or 0)
            assert fuzzing.main(rest) == 0
            assert taken == ([word for word in rest if word == "outlines"] or [*fuzzing.TARGETS, "designs"])
        elif rest:
            others = (build.run_tests, build.bench, build.mutate, build.pictures)
            assert args.action in others, f"{usage}: {rest}"


def test_every_command_is_run_or_has_a_reason():
    """Whatever looks like a command is one of those above; those not run are in the list, and nothing else is."""
    run_here = [*geometry_commands(), *(f"python3 {line}" for line in build_commands()), *build_commands()]
    told = [re.sub(r" +", " ", line) for page in PAGES for line in pages.command_lines(page)]
    program = re.compile(r"(\S*python3?|build\.py|blender|pip|pytest|ruff|mypy) ")
    told += [span for page in PAGES for span in pages.spans(page) if program.match(span)]
    assert {line for line in told if line not in run_here} == set(NOT_RUN)


def test_every_option_is_one_and_those_of_the_core_are_all_told():
    core = options_of(command_parser())
    known = set().union(*core.values(), *options_of(build.command_line()).values())
    others = [ROOT / "addon/filming_words.py", ROOT / "build.py", *(ROOT / "tests").glob("*/run.py")]
    known |= set(re.findall(r'"(--[\w-]+)"', "".join(path.read_text(encoding="utf-8") for path in others)))
    told = {page: set(re.findall(r"(?<![\w-])--[a-z][\w-]*", pages.page_text(page))) for page in PAGES}
    assert set().union(*told.values()) - known == set()
    assert set().union(*core.values()) - told["geometry/README.md"] == {"--help"}


def test_all_commands_are_told():
    told = {line.split()[3] for line in geometry_commands()}
    assert told == set(options_of(command_parser()))
    table = re.findall(r"^\| `python3 build\.py (\w+)", pages.page_text("DEVELOPERS.md"), re.M)
    assert set(table) == set(options_of(build.command_line()))


BLOCKS = [block for page in PAGES for block in pages.blocks(page)]


@pytest.mark.parametrize("block", BLOCKS, ids=lambda block: f"{block.page}-{block.language or 'commands'}")
def test_blocks_of_code(block, folder, monkeypatch):
    monkeypatch.chdir(folder)
    if block.language == "python":
        return  # all of a page are run in their order, below
    if block.language == "json":
        json.loads(block.text)
    elif block.language == "toml":
        standing(block.text)
    else:
        assert block.language == ""


@pytest.mark.parametrize("page", sorted({block.page for block in BLOCKS if block.language == "python"}))
def test_python_on_a_page_runs_in_its_order(page, folder, monkeypatch):
    monkeypatch.chdir(folder)
    text = "\n".join(block.text for block in pages.blocks(page) if block.language == "python")
    test = doctest.DocTestParser().get_doctest(text, {}, page, page, 0)
    assert len(test.examples) > 30
    out = []
    assert doctest.DocTestRunner(verbose=False).run(test, out=out.append).failed == 0, "".join(out)


def standing(text: str) -> None:
    """A description or a book stands, and its check finds nothing; a part of one stands on empty pages."""
    if is_book(text):
        # It names the spreads of the demo.
        book = parse_book(text, folder=ROOT / "scenes" / "demo")
        assert {finding.severity for finding in check_binding(bind(book, *read_spreads(book)))} == {"note"}
        return
    head = "" if "format" in tomllib.loads(text) else 'format = 1\n[page]\nsize = "A5"\n'
    assert run_checks(assemble(parse_description(head + text))) == ()


@pytest.mark.parametrize("page", ALL_PAGES)
def test_links_lead_somewhere(page):
    for link in pages.links(page):
        if link.startswith("https://"):
            continue
        file, _, anchor = link.partition("#")
        target = (ROOT / page).parent / file if file else ROOT / page
        assert target.exists(), f"{page}: {link}"
        if anchor:
            assert anchor in pages.anchors(str(target.resolve().relative_to(ROOT))), f"{page}: {link}"
        if target.suffix == ".svg":
            assert ET.parse(target).getroot().tag.endswith("svg")
        elif target.suffix in (".jpg", ".png"):
            with Image.open(target) as picture:
                picture.load()


def test_every_picture_of_the_reference_is_shown():
    shown = {link.removeprefix("pictures/") for link in pages.links("scenes/README.md")}
    assert {path.name for path in (ROOT / "scenes/pictures").iterdir()} <= shown


def test_the_table_of_checks_is_that_of_the_code():
    table = pages.page_text("scenes/README.md").split("## What is checked")[1]
    assert set(re.findall(r"^\| `([\w-]+)` \|", table, re.M)) >= set(CHECKS)


#: Folders and files that commands make, and names of files in examples.
MADE = ("out/", ".venv/", "cliff-front", "SCENE-", "hill.", "hill-")
_FILE = re.compile(r"[\w./-]+(\.(py|toml|md|txt|svg|png|pdf|json|obj|dxf|log)|/)")
SOURCES = ("addon", "geometry", "scenes", "tests")


@pytest.mark.parametrize("page", PAGES)
def test_files_that_are_named_are_there(page):
    names = {path.name for folder in (*SOURCES, ".") for path in (ROOT / folder).glob("*" if folder == "." else "**/*")}
    near = [(ROOT / page).parent, *(ROOT / folder for folder in (".", *SOURCES, "scenes/demo"))]
    plain = re.findall(r"(?<![`\w/.-])[\w/-]+\.(?:py|toml|md)\b", re.sub(r"`[^`]*`", "", pages.prose(page)))
    for name in {*filter(_FILE.fullmatch, pages.spans(page)), *plain}:
        if not name.startswith(MADE):
            assert any((folder / name).exists() for folder in near) or name in names, f"{page}: {name}"


@pytest.mark.parametrize("page", ["DEVELOPERS.md", "geometry/README.md"])
def test_names_of_the_code_are_those_of_the_code(page):
    files = [path for folder in SOURCES for path in (ROOT / folder).rglob("*.py")]
    code = "".join(path.read_text(encoding="utf-8") for path in [ROOT / "build.py", *files])
    words = set(re.findall(r"\w+", code))
    for span in pages.spans(page):
        named = re.fullmatch(r"([A-Za-z_]\w*(?:\.[A-Za-z_]\w*)*)(\(.*\))?", span)
        if named:
            assert set(named[1].split(".")) <= words, f"{page}: {span}"
