"""The elements of PLY files, binary and ASCII, whatever they are called."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..errors import FileError
from .data import Ints
from .reading import decoded

__all__ = ["Column", "Element", "Header", "ListColumn", "Property", "read_elements", "read_header"]

_TYPES = {
    "char": "i1", "uchar": "u1", "short": "i2", "ushort": "u2", "int": "i4", "uint": "u4", "float": "f4", "double":
    "f8",
    "int8": "i1", "uint8": "u1", "int16": "i2", "uint16": "u2", "int32": "i4", "uint32": "u4", "float32": "f4",
    "float64": "f8", "int64": "i8", "uint64": "u8",
}  # fmt: skip
_FORMATS = {"ascii": "", "binary_little_endian": "<", "binary_big_endian": ">"}
_LONGEST_HEADER = 1_000_000

Column = NDArray[Any]


@dataclass(frozen=True)
class Property:
    """One property of an element.

    Parameters
    ----------
    name : of the property
    kind : type as NumPy writes it, without byte order
    count_kind : type of the length, of a list; "" for a single number
    """

    name: str
    kind: str
    count_kind: str = ""


@dataclass(frozen=True)
class Element:
    """What the header says about one kind of element."""

    name: str
    count: int
    properties: tuple[Property, ...]


@dataclass(frozen=True)
class Header:
    """The header of a PLY file.

    Parameters
    ----------
    order : byte order "<" or ">", "" for ASCII
    elements : in the order of the file
    comments : without the word comment
    begins : where the data begin, bytes
    lines : how many lines the header has
    """

    order: str
    elements: tuple[Element, ...]
    comments: tuple[str, ...]
    begins: int
    lines: int


@dataclass(frozen=True)
class ListColumn:
    """Lists one after the other: values, and how many of them each has."""

    values: Column
    sizes: Ints


def read_header(file: Path, data: bytes) -> Header:
    """The header of a PLY file.

    Raises
    ------
    FileError
        It is no PLY file, or a line of its header cannot be read.
    """
    if data[:3] != b"ply" or data[3:4] not in (b"\n", b"\r", b" "):
        raise FileError(f'{file.name}: is no PLY file; it does not begin with "ply"')
    end = data.find(b"end_header", 0, _LONGEST_HEADER)
    if end < 0:
        raise FileError(f'{file.name}: its header has no end; a line "end_header" is missing')
    begins = end + len(b"end_header")
    begins += 2 if data[begins : begins + 2] == b"\r\n" else 1
    order = None
    elements: list[Element] = []
    comments: list[str] = []
    texts = decoded(data[:end]).splitlines()
    for line, text in enumerate(texts, 1):
        words = text.split()
        if line == 1 or not words or words[0] == "obj_info":
            continue
        if words[0] == "comment":
            comments.append(text.strip()[len("comment") :].strip())
        elif words[0] == "format" and len(words) >= 2 and words[1] in _FORMATS:
            order = _FORMATS[words[1]]
        elif words[0] == "element":
            elements.append(_element(file, line, words))
        elif words[0] == "property" and elements:
            last = elements[-1]
            new = _property(file, line, words)
            if new.name in (known.name for known in last.properties):
                raise FileError(f'{file.name}, line {line}: {last.name} has the property "{new.name}" twice')
            elements[-1] = Element(last.name, last.count, (*last.properties, new))
        else:
            raise FileError(f'{file.name}, line {line}: "{text.strip()[:60]}" is no line of a PLY header')
    if order is None:
        raise FileError(f'{file.name}: its header has no format; write "format ascii 1.0" or a binary one')
    return Header(order, tuple(elements), tuple(comments), begins, len(texts) + 1)


def _element(file: Path, line: int, words: list[str]) -> Element:
    if len(words) != 3 or not words[2].isdecimal() or len(words[2]) > 18:
        raise FileError(f"{file.name}, line {line}: write element, its name and how many there are")
    return Element(words[1], int(words[2]), ())


def _property(file: Path, line: int, words: list[str]) -> Property:
    kinds = words[2:4] if words[1:2] == ["list"] else words[1:2]
    if len(words) != (5 if len(kinds) == 2 else 3) or any(kind not in _TYPES for kind in kinds):
        raise FileError(
            f'{file.name}, line {line}: "{" ".join(words)[:60]}" is no property; write its type and its name'
        )
    if len(kinds) == 1:
        return Property(words[-1], _TYPES[kinds[0]])
    count_kind = _TYPES[kinds[0]]
    if count_kind[0] == "f":
        raise FileError(f"{file.name}, line {line}: the length of a list must be of a whole type, not {kinds[0]}")
    return Property(words[-1], _TYPES[kinds[1]], count_kind)


def read_elements(file: Path, data: bytes, header: Header) -> dict[str, dict[str, Column | ListColumn]]:
    """Columns of all elements by name.

    Raises
    ------
    FileError
        The file is cut off, or holds what is no number.
    """
    result: dict[str, dict[str, Column | ListColumn]] = {}
    if header.order:
        at = header.begins
        for element in header.elements:
            at, result[element.name] = _binary(file, data, at, element, header.order)
        return result
    lines = data[header.begins :].splitlines()
    row = 0
    numbered = [(number, words) for number, line in enumerate(lines, header.lines + 1) if (words := line.split())]
    for element in header.elements:
        if row + element.count > len(numbered):
            held = len(numbered) - row
            raise FileError(
                f"{file.name}: is cut off: it should have {element.count} of {element.name} and holds {held}"
            )
        result[element.name] = _ascii(file, element, numbered[row : row + element.count])
        row += element.count
    return result


def _binary(
    file: Path, data: bytes, at: int, element: Element, order: str
) -> tuple[int, dict[str, Column | ListColumn]]:
    """Where the next element begins, and the columns of this one."""
    least = sum(np.dtype(each.count_kind or each.kind).itemsize for each in element.properties)
    if at + least * element.count > len(data):
        raise _cut_off(file, element)
    if not element.count or not element.properties:
        return at, {each.name: _nothing(each) for each in element.properties}
    row = _row(data, at, element, order)
    if row is not None and at + row.itemsize * element.count <= len(data):
        table = np.frombuffer(data, row, element.count, at)
        lists = [n for n, each in enumerate(element.properties) if each.count_kind]
        if all((table[f"n{n}"] == table[f"n{n}"][0]).all() for n in lists):
            return at + row.itemsize * element.count, {
                each.name: _column(table, n, each) for n, each in enumerate(element.properties)
            }
    return _row_by_row(file, data, at, element, order)


def _row(data: bytes, at: int, element: Element, order: str) -> np.dtype[Any] | None:
    """What a row is like if all lists are as long as in the first one; None if those lead beyond the file."""
    fields: list[tuple[Any, ...]] = []
    for number, each in enumerate(element.properties):
        kind, size = np.dtype(order + each.kind), 1
        if each.count_kind:
            head = np.dtype(order + each.count_kind)
            if at + head.itemsize > len(data):
                return None
            size = int(np.frombuffer(data, head, 1, at)[0])
            at += head.itemsize
            if not 0 <= size * kind.itemsize <= len(data) - at:
                return None
            fields.append((f"n{number}", head))
        fields.append((f"v{number}", kind, (size,)) if each.count_kind else (f"v{number}", kind))
        at += size * kind.itemsize
    return np.dtype(fields)


def _column(table: Column, number: int, each: Property) -> Column | ListColumn:
    values = table[f"v{number}"]
    if not each.count_kind:
        return np.asarray(values)
    return ListColumn(values.reshape(-1), table[f"n{number}"].astype(np.int64))


def _nothing(each: Property) -> Column | ListColumn:
    empty = np.zeros(0, dtype=each.kind)
    return ListColumn(empty, np.zeros(0, dtype=np.int64)) if each.count_kind else empty


def _row_by_row(
    file: Path, data: bytes, at: int, element: Element, order: str
) -> tuple[int, dict[str, Column | ListColumn]]:
    """Columns of an element whose lists are not all of one length."""
    kinds = [(np.dtype(order + (each.count_kind or each.kind)), np.dtype(order + each.kind), bool(each.count_kind))
             for each in element.properties]  # fmt: skip
    bytes_of: list[list[bytes]] = [[] for _ in kinds]
    sizes: list[list[int]] = [[] for _ in kinds]
    byte_order = "little" if order == "<" else "big"
    for _ in range(element.count):
        for number, (head, kind, is_list) in enumerate(kinds):
            size = 1
            if is_list:
                signed = head.kind == "i"
                size = int.from_bytes(data[at : at + head.itemsize], byte_order, signed=signed)  # type: ignore[arg-type]
                at += head.itemsize
            end = at + size * kind.itemsize
            if size < 0 or end > len(data):
                raise _cut_off(file, element)
            bytes_of[number].append(data[at:end])
            sizes[number].append(size)
            at = end
    columns: dict[str, Column | ListColumn] = {}
    for each, (_, kind, is_list), parts, counts in zip(element.properties, kinds, bytes_of, sizes, strict=True):
        values = np.frombuffer(b"".join(parts), kind)
        columns[each.name] = ListColumn(values, np.array(counts)) if is_list else values
    return at, columns


def _cut_off(file: Path, element: Element) -> FileError:
    return FileError(f"{file.name}: is cut off: it should have {element.count} of {element.name} and holds fewer")


def _ascii(file: Path, element: Element, rows: list[tuple[int, list[bytes]]]) -> dict[str, Column | ListColumn]:
    words: list[list[bytes]] = [[] for _ in element.properties]
    sizes: list[list[int]] = [[] for _ in element.properties]
    plain = not any(each.count_kind for each in element.properties)
    for line, row in rows:
        if plain and len(row) != len(element.properties):
            raise FileError(
                f"{file.name}, line {line}: a {element.name} has {len(element.properties)} numbers, not {len(row)}"
            )
        at = 0
        for number, each in enumerate(element.properties):
            size = 1
            if each.count_kind:
                if at >= len(row) or not row[at].isdigit():
                    raise FileError(
                        f"{file.name}, line {line}: the length of {each.name} is missing or no whole number"
                    )
                size = int(row[at])
                at += 1
                sizes[number].append(size)
            if at + size > len(row):
                raise FileError(f"{file.name}, line {line}: has {len(row)} numbers, too few for a {element.name}")
            words[number] += row[at : at + size]
            at += size
        if at != len(row):
            raise FileError(f"{file.name}, line {line}: has {len(row)} numbers, too many for a {element.name}")
    columns: dict[str, Column | ListColumn] = {}
    for number, each in enumerate(element.properties):
        values = _values(file, element, each, words[number], rows)
        columns[each.name] = ListColumn(values, np.array(sizes[number], np.int64)) if each.count_kind else values
    return columns


def _values(
    file: Path, element: Element, each: Property, words: list[bytes], rows: list[tuple[int, list[bytes]]]
) -> Column:
    try:
        return np.array(words, dtype="S").astype(float) if words else np.zeros(0)
    except ValueError:
        for line, row in rows:
            for word in row:
                if not _is_number(word):
                    shown = word[:40].decode("latin-1")
                    raise FileError(f'{file.name}, line {line}: "{shown}" is no number') from None
        raise FileError(f"{file.name}: {each.name} of {element.name} has what is no number") from None


def _is_number(word: bytes) -> bool:
    try:
        float(word)
    except ValueError:
        return False
    return True
