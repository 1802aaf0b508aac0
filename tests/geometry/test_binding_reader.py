"""Reading a book file: what it says, and everything that can be wrong with it, all at once and each with its line."""

from pathlib import Path

import pytest

from geometry import DescriptionError, FileError, assemble, parse_description, read_description
from geometry.binding import Cover, is_book, parse_book, read_book, read_bound
from geometry.binding.reader import MOST_SPREADS
from geometry.checks.artwork import check_artwork
from geometry.paper import parse_color
from tests.geometry.binding_books import BARE, HILL, THREE, write_book
from tests.geometry.scene_texts import FILES, HEAD, v_fold

NAMED = 'format = 1\n[[spread]]\nfile = "bare.toml"\n'


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "bare.toml").write_text(BARE, encoding="utf-8")
    return tmp_path


def problems(text: str, folder: Path) -> list[str]:
    """What is wrong with the text of book.toml in a folder."""
    with pytest.raises(DescriptionError) as caught:
        parse_book(text, source="book.toml", folder=folder)
    return [str(problem) for problem in caught.value.problems]


def test_a_book_is_read(tmp_path) -> None:
    (tmp_path / "art").mkdir()
    cover = '[cover]\nboard = 3\nsquare = 4\ncolor = "#102030"\nlining = "#ffffff"\nart_front = "art/a.png"\n'
    book = read_book(write_book(tmp_path, THREE, cover))
    assert (book.title, book.source, book.folder) == ("Trial", "book.toml", tmp_path.resolve())
    assert book.files == ("hill.toml", "tent.toml", "step.toml")
    assert book.names == ("hill", "tent", "step")
    assert [path.name for path in book.paths] == list(book.files)
    assert book.cover == Cover(
        3.0, 4.0, parse_color("#102030"), (1.0, 1.0, 1.0), str(tmp_path.resolve() / "art" / "a.png"), None
    )
    assert read_bound(tmp_path / "book.toml").names == book.names


def test_what_is_left_out_has_its_default(folder) -> None:
    book = parse_book(NAMED, source="rocks.toml", folder=folder)
    assert book.title == "rocks"
    assert book.cover == Cover()
    said = f'{NAMED}[cover]\nboard = 2\nsquare = 2.5\ncolor = "#7a2e26"\nlining = "#ede8de"\n'
    assert parse_book(said, source="rocks.toml", folder=folder).cover == Cover()


def test_the_same_spread_may_be_bound_twice(folder) -> None:
    book = parse_book(NAMED + '[[spread]]\nfile = "bare.toml"\n', source="book.toml", folder=folder)
    assert book.names == ("bare", "bare-2")


def test_everything_wrong_is_said_at_once_with_its_line(folder) -> None:
    text = (
        'format = 2\ntitel = 3\n[cover]\nboard = 40\nsquare = true\ncolour = 1\nlining = "red"\n'
        'art_front = "../a.png"\n[[spread]]\n[[spread]]\nfile = "gone.toml"\n[[spread]]\nfile = 3\n'
    )
    found = problems(text, folder)
    lines = [int(item.split(":")[0].removeprefix("line ")) for item in found]
    assert lines == [1, 2, 4, 5, 6, 7, 8, 9, 11, 13]
    joined = "\n".join(found)
    for words in (
        "format: is 2; this version reads format 1",
        "titel: is no key here; did you mean title?",
        "cover, board: is 40; it must lie between 0.5 and 8",
        "cover, square: must be a number, not true",
        "cover, colour: is no key here; did you mean color?",
        'cover, lining: "red" is no colour',
        'cover, art_front: "../a.png" must be a file beside the book or in a folder below',
        "spread 1: needs file",
        'spread 2, file: "gone.toml" is not there',
        "spread 3, file: must be text in quotes, not 3",
    ):
        assert words in joined, words


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ('[[spread]]\nfile = "book.toml"\n', '"book.toml" is the book itself; name the file of a spread'),
        ('[[spread]]\nfile = "other.toml"\n', '"other.toml" is a bound book itself'),
        ('[[spread]]\nfile = "bear.toml"\n', "did you mean bare.toml?"),
        ('[[spread]]\nfile = "../bare.toml"\n', "must be a file beside the book or in a folder below"),
        ('[[spread]]\nfile = "."\n', "must be a file beside the book or in a folder below"),
        ('[[spread]]\nfile = "a\\u0000b"\n', "must be a file beside the book or in a folder below"),
        ('[[spread]]\nfile = "folder.toml"\n', '"folder.toml" is a folder'),
        ("[[spread]]\nfile = 'sea\\bare.toml'\n", "has a \\ in it; write folders with /, e.g. sea/storm.toml"),
        (f'[[spread]]\nfile = "{"a" * 300}.toml"\n', f'"{"a" * 40}..." cannot be the name of a file'),
        (f'[cover]\nart_front = "{"a" * 300}.png"\n', f'"{"a" * 40}..." cannot be the name of a file'),
        ('[[spread]]\nfile = "latin.toml"\n', "is no UTF-8 text"),
        ('[[spread]]\nfile = "bare.toml"\nsize = "A5"\n', "size: is no key here; known are file"),
        ('[[stock]]\nid = "card"\n', "stock: is no key here; the card is described in the spreads' own files"),
        ("[cover]\n[[cover.more]]\n", "cover, more: is no key here"),
    ],
)
def test_one_thing_wrong(folder, more, words) -> None:
    (folder / "book.toml").write_text(NAMED, encoding="utf-8")
    (folder / "other.toml").write_text(NAMED, encoding="utf-8")
    (folder / "folder.toml").mkdir()
    (folder / "latin.toml").write_bytes(b'format = 1\ntitle = "\xff"\n')
    (found,) = problems(NAMED + more, folder)
    assert words in found


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("format = 1\nspread = 3\n", "spread: must be tables that begin with [[spread]]"),
        ('format = 1\ncover = "red"\n[[spread]]\nfile = "bare.toml"\n', "cover: must be one table"),
        ("format = 1\n[cover]\n", "spread: is missing"),
        ("format = 1\nspread = []\n", "spread: is missing"),
        ("format = 1\n", "needs at least one spread"),
        ("format = \n", "TOML"),
        ("format = 1\n" + "[[spread]]\n" * (MOST_SPREADS + 1), f"at most {MOST_SPREADS}"),
        (NAMED.replace("format = 1\n", ""), "needs format"),
    ],
)
def test_a_file_that_is_no_book(folder, text, words) -> None:
    assert any(words in item for item in problems(text, folder)), problems(text, folder)


def test_a_spread_is_no_book_and_a_book_no_spread(tmp_path) -> None:
    path = write_book(tmp_path, THREE)
    with pytest.raises(DescriptionError, match="is a bound book: check, poses, nets, cost, booklet and templates"):
        read_description(path)
    with pytest.raises(DescriptionError, match="describes one spread; a bound book names the files of its spreads"):
        read_book(tmp_path / "hill.toml")
    with pytest.raises(FileError, match="cannot be read"):
        read_book(tmp_path / "nothing.toml")
    assert is_book(path.read_text())
    assert not is_book(HILL)
    assert is_book("[[spread]]\nfile = \n")
    assert not is_book("[[spread\n")
    for file in FILES:
        assert not is_book(file.read_text(encoding="utf-8"))


def test_what_is_wrong_with_spreads_is_said_with_their_files_names(tmp_path) -> None:
    wrong = {"a": HILL.replace("angle = 45", "angel = 45"), "b": BARE.replace('size = "A5"', 'size = "Q5"'), "c": BARE}
    path = write_book(tmp_path, wrong)
    with pytest.raises(DescriptionError) as caught:
        read_bound(path)
    found = [str(problem) for problem in caught.value.problems]
    assert caught.value.source == "book.toml"
    assert all(item.startswith(("line 4: a.toml, line ", "line 6: b.toml, line ")) for item in found)
    assert any("angel: is no key here; did you mean angle?" in item for item in found)
    assert any('"Q5" is no ISO 216 size' in item for item in found)


def test_pages_of_another_size_are_said_by_how_much(tmp_path) -> None:
    sizes = {
        "one": HEAD,
        "two": HEAD.replace('"A5"', "[150, 210]"),
        "three": HEAD.replace('"A5"', "[140, 200.5]"),
        "four": HEAD.replace('"A5"', "[148, 210]"),
    }
    with pytest.raises(DescriptionError) as caught:
        read_bound(write_book(tmp_path, sizes))
    two, three = (str(problem) for problem in caught.value.problems)
    assert 'line 6: spread 2 "two.toml": has pages of 150 x 210 mm, 2 mm wider than those of one.toml' in two
    assert "8 mm narrower and 9.5 mm lower than those of one.toml, which are 148 x 210 mm" in three


def test_a_link_to_itself_is_not_there_and_not_meant(folder) -> None:
    """And no folder is meant either."""
    try:
        (folder / "loop.toml").symlink_to(folder / "loop.toml")
    except OSError:
        pytest.skip("no links here")
    (folder / "lop.toml").mkdir()
    (found,) = problems('format = 1\n[[spread]]\nfile = "loop.toml"\n', folder)
    assert found.endswith('"loop.toml" is not there')
    text = HEAD + v_fold("hill") + 'art_front = "loop.toml"\n'
    (finding,) = check_artwork(assemble(parse_description(text, folder=folder)))
    assert "is not there" in finding.message


@pytest.mark.parametrize("key", ["spread", "spreads", "Spread", "cover"])
def test_tables_of_a_book_in_a_spread_are_told_where_they_belong(folder, key) -> None:
    table = f"[{key}]\nboard = 2\n" if key == "cover" else f'[[{key}]]\nfile = "bare.toml"\n'
    with pytest.raises(DescriptionError) as caught:
        parse_description(f"{HEAD}{table}", folder=folder)
    assert any("a bound book has a file of its own" in str(item) for item in caught.value.problems)


def test_tables_are_among_what_is_known() -> None:
    with pytest.raises(DescriptionError, match="known are checks, format, mechanism, page, stock, title"):
        parse_description(HEAD.replace("format = 1", "format = 1\nzzzz = 2"))
