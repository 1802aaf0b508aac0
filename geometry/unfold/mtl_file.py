"""Materials beside OBJ files: colours and pictures."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from ..errors import FileError
from .data import MeshNote, Surface
from .reading import decoded, found_beside, missing_note, read_whole

__all__ = ["Material", "read_materials"]

#: Options of a picture and how many words follow each at most; of these three only numbers.
_OPTIONS = {"-blendu": 1, "-blendv": 1, "-boost": 1, "-bm": 1, "-cc": 1, "-clamp": 1, "-imfchan": 1, "-mm": 2,
            "-texres": 1, "-type": 1, "-colorspace": 1}  # fmt: skip
_MOVES = ("-s", "-o", "-t")


@dataclass(frozen=True)
class Material:
    """A surface, and how its picture is moved.

    Parameters
    ----------
    surface : Surface
    scale, offset : (u, v); a picture is looked up at scale * uv + offset
    """

    surface: Surface
    scale: tuple[float, float] = (1.0, 1.0)
    offset: tuple[float, float] = (0.0, 0.0)


def read_materials(file: Path) -> tuple[dict[str, Material], list[MeshNote]]:
    """Materials of an MTL file by name, with notes about pictures that are missing.

    Colours are taken as sRGB, as nearly all programs write them.

    Raises
    ------
    FileError
        The file cannot be read, or a line cannot.

    Notes
    -----
    Source: Wavefront object files, material library (recalled).
    """
    materials: dict[str, Material] = {}
    notes: list[MeshNote] = []
    name = ""
    for line, text in enumerate(decoded(read_whole(file)).splitlines(), 1):
        word, rest = _first_word(text.replace("\t", " "))
        word = word.lower()
        if word == "newmtl":
            name = rest
            materials[name] = Material(Surface(name))
        elif word == "kd" and name:
            materials[name] = _with_color(file, line, materials[name], rest)
        elif word == "map_kd" and name:
            materials[name], more = _with_picture(file, line, materials[name], rest)
            notes += more
    return materials, notes


def _with_color(file: Path, line: int, material: Material, text: str) -> Material:
    words = text.split("#")[0].split()
    if words[:1] and words[0].lower() in ("spectral", "xyz"):
        return material
    try:
        numbers = [min(1.0, max(0.0, float(word))) for word in words]
    except ValueError:
        numbers = []
    if len(numbers) == 1:
        numbers *= 3
    if len(numbers) != 3:
        raise FileError(f"{file.name}, line {line}: Kd needs three numbers from 0 to 1")
    red, green, blue = numbers
    return replace(material, surface=replace(material.surface, color=(red, green, blue)))


def _with_picture(file: Path, line: int, material: Material, text: str) -> tuple[Material, list[MeshNote]]:
    moves = {"-s": [1.0, 1.0], "-o": [0.0, 0.0], "-t": [0.0, 0.0]}
    word, rest = _first_word(text)
    while word.lower() in _OPTIONS or word.lower() in _MOVES:
        if word.lower() in _OPTIONS:
            for _ in range(_OPTIONS[word.lower()]):
                _, rest = _first_word(rest)
            text = rest
        else:
            text, numbers = _leading_numbers(rest)
            moves[word.lower()][: len(numbers)] = numbers
        word, rest = _first_word(text)
    return _found(file, line, material, text, moves)


def _first_word(text: str) -> tuple[str, str]:
    """The first word, and what follows it as it is written."""
    word, _, rest = text.strip().partition(" ")
    return word, rest.strip()


def _leading_numbers(text: str) -> tuple[str, list[float]]:
    """What follows the numbers of an option, of which there are up to three, and the first two of them."""
    numbers: list[float] = []
    word, rest = _first_word(text)
    while rest and len(numbers) < 3 and _is_number(word):
        numbers.append(float(word))
        text = rest
        word, rest = _first_word(text)
    return text, numbers[:2]


def _found(
    file: Path, line: int, material: Material, name: str, moves: dict[str, list[float]]
) -> tuple[Material, list[MeshNote]]:
    if not name:
        raise FileError(f"{file.name}, line {line}: map_Kd names no picture")
    picture = found_beside(file.parent, name.strip('"'))
    if picture is None:
        note = missing_note(
            "missing-picture", f"{file.name}, line {line},", name, f'"{material.surface.name}" stays without a picture'
        )
        return material, [note]
    surface = replace(material.surface, texture=str(picture))
    (su, sv), (ou, ov) = moves["-s"], moves["-o"]
    return Material(surface, (su, sv), (ou, ov)), []


def _is_number(word: str) -> bool:
    try:
        float(word)
    except ValueError:
        return False
    return True
