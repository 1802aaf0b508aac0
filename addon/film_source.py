"""What tells one file to film from another: a digest of all that is in a .blend but the window and memory addresses.

A .blend is a list of blocks, each with the address that it had in memory; DNA1 says of what each kind of block is made.
Blender saves its window too, and pointers to what it does not save, so that two copies of one unchanged file differ in
bytes. Source: the description of the format in Blender's own sources, doc/blender_file_format, recalled.
"""

from __future__ import annotations

import hashlib
import re
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["source_digest"]

_Words = NDArray[np.uint64]

#: Blocks that say how the window is, which file is open, and of what blocks are made; DATA after them is theirs.
_BESIDES = (b"WM\0\0", b"SN\0\0", b"SR\0\0", b"WS\0\0", b"GLOB", b"REND", b"TEST", b"USER", b"DNA1")


@dataclass(frozen=True)
class _Block:
    """A block: its code, kind, address, number of items and bytes."""

    code: bytes
    kind: int
    address: int
    count: int
    body: bytes


def source_digest(data: bytes) -> str:
    """A digest of a .blend that is the same for every copy of an unchanged file.

    Parameters
    ----------
    data : the file, not compressed

    Returns
    -------
    digest, 64 hexadecimal digits; of a file that is not understood, that of its bytes
    """
    try:
        blocks = list(_blocks(data))
        dna = _Dna(next(block.body for block in blocks if block.code == b"DNA1"))
        found = _digest(blocks, dna)
    except (IndexError, StopIteration, ValueError, struct.error):
        return hashlib.sha256(data).hexdigest()
    return found


def _digest(blocks: list[_Block], dna: _Dna) -> str:
    """Everything but addresses; each pointer stands for what it points to by its place in the file."""
    owners: list[list[_Block]] = []
    kept = False
    for block in blocks:
        if block.code != b"DATA":
            kept = block.code not in _BESIDES
            if kept:
                owners.append([])
        if kept:
            owners[-1].append(block)
    heads = _Places({own[0].address: (place + 1) << 32 for place, own in enumerate(owners)})
    every = hashlib.sha256()
    for own in owners:
        # A pointer is to something of the same owner, or to an owner; addresses of others may come twice.
        inside = _Places({block.address: number + 1 for number, block in enumerate(own)})
        for block in own:
            every.update(block.code + struct.pack("<qq", block.kind, len(block.body)))
            every.update(_without_addresses(block, dna, inside, heads))
    return every.hexdigest()


class _Places:
    """What stands for addresses.

    Parameters
    ----------
    stands : by address
    """

    def __init__(self, stands: dict[int, int]) -> None:
        self._known = np.array(sorted(stands), dtype=np.uint64)
        self._stands = np.array([stands[address] for address in self._known.tolist()], dtype=np.uint64)

    def of(self, words: _Words) -> _Words:
        """What stands for each word that is one of the addresses, 0 for others."""
        at = np.minimum(np.searchsorted(self._known, words), len(self._known) - 1)
        return np.where((self._known[at] == words) & (words != 0), self._stands[at], np.uint64(0))


def _without_addresses(block: _Block, dna: _Dna, inside: _Places, heads: _Places) -> bytes:
    """The bytes of a block with what its pointers stand for in their place; 0 for what is not in the file."""
    whole = len(block.body) // 8 * 8
    words = np.frombuffer(block.body[:whole], dtype=np.uint64).copy()
    pointers = dna.pointers(block)
    # Of plain data, or a list of pointers, nothing says which it is.
    asked = words if pointers is None else words[pointers]
    stands = inside.of(asked)
    stands = np.where(stands == 0, heads.of(asked), stands)
    if pointers is None:
        words = np.where(stands == 0, words, stands)
    else:
        words[pointers] = stands
    return words.tobytes() + block.body[whole:]


def _blocks(data: bytes) -> Iterator[_Block]:
    """The blocks of a file, up to the last; ValueError where it is none, or of another kind of computer."""
    new = re.match(rb"BLENDER(\d\d)-\d\dv\d{4}", data)
    if new is None and re.match(rb"BLENDER-v\d{3}", data) is None:
        raise ValueError("no .blend that is not compressed")
    start, head = (int(new[1]), struct.Struct("<4sIQqq")) if new else (12, struct.Struct("<4siQii"))
    while data[start : start + 4] != b"ENDB":
        if new:
            code, kind, address, length, count = head.unpack_from(data, start)
        else:
            code, length, address, kind, count = head.unpack_from(data, start)
        first = start + head.size
        yield _Block(code, kind, address, count, data[first : first + length])
        start = first + length


class _Dna:
    """What a file says of the structures in it.

    Parameters
    ----------
    body : of the block DNA1
    """

    def __init__(self, body: bytes) -> None:
        names, at = self._texts(body, 8)
        types, at = self._texts(body, at + 4)
        lengths = np.frombuffer(body, dtype="<u2", count=len(types), offset=at + 4)
        at = _aligned(at + 4 + 2 * len(types))
        count = struct.unpack_from("<I", body, at + 4)[0]
        at += 8
        self._kinds: list[tuple[int, list[tuple[int, int]]]] = []
        for _ in range(count):
            kind, members = struct.unpack_from("<HH", body, at)
            fields = np.frombuffer(body, dtype="<u2", count=2 * members, offset=at + 4).reshape(-1, 2)
            self._kinds.append((kind, [(int(each[0]), int(each[1])) for each in fields]))
            at += 4 + 4 * members
        self._lengths: list[int] = lengths.tolist()
        self._items = [(name.startswith((b"*", b"(*")), _times(name)) for name in names]
        self._of_type = {kind: number for number, (kind, _) in enumerate(self._kinds)}
        self._raw = {number for number, (kind, _) in enumerate(self._kinds) if types[kind] == b"raw_data"}
        self._found: dict[int, list[int]] = {}

    @staticmethod
    def _texts(body: bytes, at: int) -> tuple[list[bytes], int]:
        """As many texts as the number at a place says, and the place behind them."""
        count = struct.unpack_from("<I", body, at)[0]
        texts = body[at + 4 :].split(b"\0", count)[:count]
        return texts, _aligned(at + 4 + sum(len(text) + 1 for text in texts))

    def pointers(self, block: _Block) -> NDArray[Any] | None:
        """Which 8-byte words of a block are pointers; None where its kind does not say that."""
        if block.kind == 0 or block.kind in self._raw:
            return None
        size = self._lengths[self._kinds[block.kind][0]]
        if size % 8 or size * block.count != len(block.body):
            return None
        own = np.array(self._pointers(block.kind), dtype=np.int64) // 8
        return (own + np.arange(block.count)[:, None] * (size // 8)).ravel()

    def _pointers(self, kind: int) -> list[int]:
        """Where a structure has pointers, bytes from its beginning."""
        if kind not in self._found:
            at, found = 0, []
            for member, name in self._kinds[kind][1]:
                is_pointer, times = self._items[name]
                inner = [0] if is_pointer else self._pointers(self._of_type[member]) if member in self._of_type else []
                size = 8 if is_pointer else self._lengths[member]
                found += [at + size * number + place for number in range(times) for place in inner]
                at += size * times
            self._found[kind] = found
        return self._found[kind]


def _aligned(at: int) -> int:
    return (at + 3) // 4 * 4


def _times(name: bytes) -> int:
    """How many a field holds: 12 for b"m[3][4]"."""
    found = 1
    for length in re.findall(rb"\[(\d+)\]", name):
        found *= int(length)
    return found
