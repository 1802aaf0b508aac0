"""Mesh files nearly right; the first byte says the kind: 0 OBJ, 1 STL, 2 PLY, 3 a library of materials."""

from __future__ import annotations

import struct
from random import Random

from tests.fuzz import edges

SUFFIXES = (".obj", ".stl", ".ply", ".mtl")
#: The OBJ file that a library of materials is tried with.
OBJ = (
    "mtllib fuzzed.mtl\nv 0 0 0\nv 10 0 0\nv 10 10 0 1 0 0\nv 0 10 5\nvt 0 0\nvt 1 1\n"
    "usemtl red\nf 1/1 2/2 3/1\nusemtl blue\nf -4 3 4\n"
)
_MTL = (
    "newmtl red\nKd 1 0 0\nmap_Kd -s 1 2 1 -o 0.5 0 picture.png\nnewmtl blue\nKd 0 0 1\nd 0.5\nmap_Kd art/figure.png\n"
)
_CORNERS = [(0, 0, 0), (10, 0, 0), (0, 10, 0), (0, 0, 10)]
_FACES = [(0, 2, 1), (0, 1, 3), (1, 2, 3), (2, 0, 3)]


def _stl() -> bytes:
    found = bytes(80) + struct.pack("<I", len(_FACES))
    for face in _FACES:
        found += struct.pack("<12fH", 0, 0, 0, *(value for corner in face for value in _CORNERS[corner]), 0)
    return found


def _stl_text() -> bytes:
    lines = ["solid tetra"]
    for face in _FACES:
        lines += ["facet normal 0 0 0", "outer loop"]
        lines += ["vertex {} {} {}".format(*_CORNERS[corner]) for corner in face]
        lines += ["endloop", "endfacet"]
    return "\n".join([*lines, "endsolid tetra\n"]).encode()


def _ply(form: str) -> bytes:
    head = (
        f"ply\nformat {form} 1.0\ncomment TextureFile picture.png\nelement vertex 4\nproperty float x\n"
        "property float y\nproperty float z\nproperty uchar red\nproperty uchar green\nproperty uchar blue\n"
        "property float s\n"
        "property float t\nelement face 4\nproperty list uchar int vertex_indices\nend_header\n"
    )
    if form == "ascii":
        rows = [f"{x} {y} {z} 255 0 9 0.5 1" for x, y, z in _CORNERS]
        return (head + "\n".join([*rows, *("3 {} {} {}".format(*face) for face in _FACES)]) + "\n").encode()
    order = "<" if "little" in form else ">"
    body = b"".join(struct.pack(f"{order}3f3B2f", *corner, 255, 0, 9, 0.5, 1) for corner in _CORNERS)
    return head.encode() + body + b"".join(struct.pack(f"{order}B3i", 3, *face) for face in _FACES)


SEEDS = (
    b"\0" + OBJ.encode(),
    b"\0v 0 0 0\nv 5 0 0\nv 5 5 0\nv 0 5 0\nv 0 0 5\nf 1 2 3 4\nf 1 2 5\nf 2 3 5\nf 3 4 5\nf 4 1 5\n",
    b"\1" + _stl(),
    b"\1" + _stl_text(),
    b"\2" + _ply("ascii"),
    b"\2" + _ply("binary_little_endian"),
    b"\2" + _ply("binary_big_endian"),
    b"\3" + _MTL.encode(),
)
_WORDS = [
    "v", "vt", "f", "l", "usemtl", "mtllib", "curv", "surf", "\\\n", "#", "facet", "vertex", "endfacet", "endloop",
    "solid",
    "element vertex 99999999999", "element face -1", "element face 1e9", "property list double double vertex_indices",
    "property list uchar int vertex_index", "property int64 x", "property list uchar float texcoord", "end_header\n",
    "ply\n",
    "format ascii 1.0\n", "format binary_little_endian 1.0\n", "comment TextureFile picture.png",
    "map_Kd none.png",
    "map_Kd -s 1e308 nan picture.png", "map_Kd -s", "Kd nan inf -1", "Kd spectral x", "newmtl", "1/1", "1//1", "-1",
    "0", "/",
    "1/", "99999999999999999999", "mtllib art", "mtllib .", "\0", "\ufeff", "é",
]  # fmt: skip


def changed_mesh(rng: Random, data: bytes) -> bytes:
    """A mesh file with some of its text, or of its bytes, changed."""
    kind, body = data[:1] or b"\0", data[1:]
    for _ in range(rng.choice([1, 1, 2, 4, 8])):
        body = _bytes_changed(rng, body) if b"\0" in body or rng.random() < 0.2 else _text_changed(rng, body)
    return kind + body


def _bytes_changed(rng: Random, body: bytes) -> bytes:
    found = bytearray(body)
    place = rng.randrange(len(found) + 1)
    what = rng.randrange(5)
    if what == 0:
        number = rng.choice([0.0, 1e30, float("nan"), -1e-40, 3.0])
        found[place : place + 4] = struct.pack(rng.choice("<>") + "f", number)
    elif what == 1:
        found[place : place + 4] = struct.pack(rng.choice("<>") + "I", rng.choice([0, 1, 255, 2**31, 2**32 - 1]))
    elif what == 2:
        del found[place : place + rng.choice([1, 4, 50])]
    elif what == 3:
        found[place:place] = found[place : place + rng.choice([1, 4, 50])]
    else:
        found[place : place + 1] = bytes([rng.randrange(256)])
    return bytes(found)


def _text_changed(rng: Random, body: bytes) -> bytes:
    lines = body.decode("latin-1").split("\n")
    line = rng.randrange(len(lines))
    words = lines[line].split(" ")
    what = rng.random()
    if what < 0.45:
        words[rng.randrange(len(words))] = edges.number(rng) if rng.random() < 0.7 else rng.choice(_WORDS)
        lines[line] = " ".join(words)
    elif what < 0.6:
        lines.insert(line, rng.choice(_WORDS))
    elif what < 0.7:
        del lines[line]
    elif what < 0.8:
        lines.insert(rng.randrange(len(lines)), lines[line])
    elif what < 0.9:
        lines[line] = " ".join([*words, *words[-1:] * rng.choice([1, 2, 400])])
    else:
        lines[line] = " ".join(words[: rng.randrange(len(words) + 1)])
    return "\n".join(lines).encode("latin-1", "replace")
