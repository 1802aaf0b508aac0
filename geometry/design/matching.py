"""Artwork by file name: which pictures of a folder belong on which face of which piece."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path

from ..artwork import picture_size
from ..description.data import Description
from ..description.fields import expand
from ..errors import FileError
from ..mechanisms import KINDS
from ..spread import Spread
from .decorating import Face, with_artwork

__all__ = ["Match", "Matching", "Miss", "is_writable", "match_artwork", "matching_text", "pictures_in", "with_matches"]

#: Endings of pictures that the core and Blender both read.
_PICTURES = (".png", ".jpg", ".jpeg", ".tif", ".tiff", ".webp", ".bmp", ".tga")
#: Endings of pictures that have to be exported first.
_SOURCES = (".svg", ".psd", ".kra", ".xcf", ".ora", ".ai", ".eps", ".pdf", ".gif", ".heic", ".avif", ".clip", ".exr")
_FACES: Mapping[str, Face] = {"front": "front", "back": "back"}
#: What templates are called that nobody has painted on, and test cards.
_UNPAINTED = re.compile(r"[-_. ](template|template[-_. ]on[-_. ]white|test[-_. ]card)\Z", re.IGNORECASE)
_CARD = re.compile(r"[-_. ]test[-_. ]card\Z", re.IGNORECASE)
#: Letters that no description holds: control characters, line ends, and what stands for a byte that is no letter.
_UNWRITABLE = ("Cc", "Cs", "Zl", "Zp")
_MOST_FILES = 2000


@dataclass(frozen=True)
class Match:
    """A picture and where it belongs."""

    file: Path
    piece: str
    face: Face

    def __str__(self) -> str:
        return f"{self.file.name}: {'printed face' if self.face == 'front' else 'back'} of {self.piece}"


@dataclass(frozen=True)
class Miss:
    """A file that belongs nowhere, or cannot be used, and why."""

    file: Path
    reason: str

    def __str__(self) -> str:
        return f"{self.file.name}: {self.reason}"

    @property
    def is_unpainted(self) -> bool:
        """Whether it is a template that nobody has painted on, which is nothing wrong."""
        return _UNPAINTED.search(_plain(self.file.stem)) is not None


@dataclass(frozen=True)
class Matching:
    """What was matched, and what was not.

    Parameters
    ----------
    matches : in the order of the pieces
    misses : in the order of their names
    """

    matches: tuple[Match, ...]
    misses: tuple[Miss, ...]


def pictures_in(folder: str | Path) -> tuple[Path, ...]:
    """The files of a folder that are artwork, or look as if they were meant to be; not those in folders below it.

    Raises
    ------
    FileError
        It is no folder, cannot be read, or holds more files than any book has pictures.
    """
    try:
        every = sorted(Path(folder).iterdir())
    except OSError as error:
        raise FileError(f"{folder}: the folder cannot be read ({error.strerror or error})") from None
    files = [file for file in every if file.suffix.lower() in (*_PICTURES, *_SOURCES) and not file.name.startswith(".")]
    if len(files) > _MOST_FILES:
        raise FileError(f"{folder}: holds {len(files)} pictures; put those of this book into a folder of their own")
    return tuple(files)


def match_artwork(description: Description, spread: Spread, files: Sequence[Path]) -> Matching:
    """Find out by their names where pictures belong.

    Parameters
    ----------
    description, spread : the same design, read and built
    files : pictures; "cliff.png" or "cliff-front.png" belongs on the printed face of the piece "cliff", or of the one
        titled so, "cliff-back.png" on its back; "page" is the two pages. Capitals do not count, and _, ., - and spaces
        are the same. Of the templates' files, a test card is taken where nothing else is for its face

    Returns
    -------
    Matching
    """
    names = _names(description)
    found: dict[tuple[str, Face], list[Path]] = {}
    misses: dict[Path, str] = {}
    unpainted: list[Path] = []
    for file in files:
        places = _places(file.stem, names)
        if not places and _UNPAINTED.search(file.stem):
            unpainted.append(file)
            continue
        reason = _unusable(file) if len(places) == 1 else _unplaced(file, places, names, spread)
        if reason:
            misses[file] = reason
        else:
            found.setdefault(places[0], []).append(file)
    misses |= _with_test_cards(found, unpainted, names, spread)
    matches = []
    for (piece, face), own in found.items():
        if len(own) == 1:
            matches.append(Match(own[0], piece, face))
        for file in own if len(own) > 1 else ():
            others = ", ".join(other.name for other in own if other != file)
            misses[file] = f"is ambiguous: {others} would be the same face of {piece}; keep one of them"
    painted = {match.file.stem.casefold() for match in matches}
    kept = [
        Miss(file, reason)
        for file, reason in misses.items()
        # The drawing that a picture was exported from may lie beside it.
        if not (file.suffix.lower() in _SOURCES and file.stem.casefold() in painted)
    ]
    order = ["page", *(spec.id for spec in description.mechanisms)]
    matches.sort(key=lambda match: (order.index(match.piece), match.face == "back"))
    return Matching(tuple(matches), tuple(sorted(kept, key=lambda miss: miss.file.name.casefold())))


def with_matches(
    description: Description, matches: Sequence[Match], names: Mapping[Path, str], *, folder: Path | None = None
) -> Description:
    """The description with matched artwork.

    Parameters
    ----------
    description : as read
    matches : what goes where
    names : by file, what the description calls it, from its folder on
    folder : where it looks for artwork from now on; None where it did before

    Raises
    ------
    DescriptionError
        A name is neither beside the description nor below.
    """
    for match in matches:
        description = with_artwork(description, match.piece, match.face, names[match.file], folder=folder)
    return description


def matching_text(matching: Matching) -> str:
    """What was matched and what was not, a line each."""
    lines = [f"assigned: {match}" for match in matching.matches]
    lines += [f"not assigned: {miss}" for miss in matching.misses]
    return "\n".join(lines or ["no picture is there; name them after the pieces, e.g. page.png or page-back.png"])


def is_writable(name: str) -> bool:
    """Whether a description can hold a file's name.

    Examples
    --------
    >>> is_writable("cliff.png"), is_writable("cliff\\n.png")
    (True, False)
    """
    return not any(unicodedata.category(letter) in _UNWRITABLE for letter in name)


def _plain(name: str) -> str:
    """A name without capitals, accents and kinds of gaps.

    Examples
    --------
    >>> _plain("Über_den Hügeln.Left")
    'uber-den-hugeln-left'
    """
    letters = unicodedata.normalize("NFKD", name.casefold())
    kept = "".join(letter for letter in letters if not unicodedata.combining(letter))
    return re.sub(r"[\s_.\-]+", "-", kept).strip("-")


def _names(description: Description) -> dict[str, set[str]]:
    """Pieces with artwork of their own, by plain id or title; ids before titles."""
    painted = [spec for spec in description.mechanisms if "art_front" in expand(KINDS[spec.kind].FIELDS)]
    names = {"page": {"page"}}
    for spec in painted:
        names.setdefault(_plain(spec.id), set()).add(spec.id)
    names.setdefault("pages", {"page"})
    ids = set(names)
    for spec in painted:
        title = _plain(str(spec.values.get("title", "")))
        if title and title not in ids:
            names.setdefault(title, set()).add(spec.id)
    return names


def _places(name: str, names: Mapping[str, set[str]]) -> list[tuple[str, Face]]:
    """All faces that a file's name, without its ending, may mean; what is an id to the letter means nothing else."""
    ids = {piece for pieces in names.values() for piece in pieces}
    exact: list[tuple[str, Face]] = [(name, "front")] if name in ids else []
    for side, face in _FACES.items():
        piece = name.removesuffix(f"-{side}")
        if piece != name and piece in ids:
            exact.append((piece, face))
    if exact:
        return exact
    plain = _plain(name)
    found: dict[tuple[str, Face], None] = {(piece, "front"): None for piece in sorted(names.get(plain, ()))}
    stem, _, side = plain.rpartition("-")
    if side in _FACES:
        found |= {(piece, _FACES[side]): None for piece in sorted(names.get(stem, ()))}
    return list(found)


def _with_test_cards(
    found: dict[tuple[str, Face], list[Path]],
    unpainted: Sequence[Path],
    names: Mapping[str, set[str]],
    spread: Spread,
) -> dict[Path, str]:
    """Add test cards where nothing is painted; returns the templates whose face has no artwork, each with a reason."""
    places = {file: _places(_UNPAINTED.sub("", file.stem), names) for file in unpainted}
    painted, misses = set(found), {}
    for file, own in places.items():
        if _CARD.search(file.stem) and len(own) == 1 and own[0] not in painted:
            if reason := _unusable(file):
                misses[file] = reason
            else:
                found.setdefault(own[0], []).append(file)
    for file, own in places.items():
        if file not in misses and not (len(own) == 1 and own[0] in found):
            misses[file] = _unplaced(file, (), names, spread)
    return misses


def _unplaced(file: Path, places: Sequence[tuple[str, Face]], names: Mapping[str, set[str]], spread: Spread) -> str:
    """Why a file has no one place."""
    if places:
        listed = " or ".join(f"the {face} of {piece}" for piece, face in places)
        return f"is ambiguous: it may be {listed}; name it after the piece's id"
    plain = _plain(file.stem)
    if _UNPAINTED.search(plain):
        return f"is a template; save what you paint on it as {_UNPAINTED.sub('', plain)}.png"
    stem = re.sub(r"-(front|back)\Z", "", plain)
    parts = {_plain(piece.id): piece.id for piece in spread.pieces}
    cut = {_plain(spec.id): spec.id for spec in spread.mechanisms}
    if stem in parts or stem in cut:
        name = parts.get(stem, cut.get(stem, stem))
        return f"{name} has no artwork of its own"
    near = get_close_matches(stem, names, 1)
    hint = f"did you mean {near[0]}?" if near else f"there are {', '.join(sorted({*names} - {'pages'}))}"
    return f"there is no such piece; {hint}"


def _unusable(file: Path) -> str:
    """Why a file cannot be read; "" where it can."""
    if file.suffix.lower() in _SOURCES:
        return f"{file.suffix[1:].upper()} is not read; export it as PNG"
    if not is_writable(file.name):
        return "its name cannot be written into a description; rename it"
    try:
        picture_size(file)
    except FileError as error:
        return str(error)
    return ""
