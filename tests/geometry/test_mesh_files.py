"""OBJ, STL and PLY files as meshes: what other programs write, what a hand writes, and what is broken.

Files written by trimesh are the outside check.
"""

from __future__ import annotations

import contextlib
import struct

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from geometry.errors import FileError
from geometry.unfold.mesh_files import read_mesh

BOX = trimesh.creation.box((10, 20, 30))


def write(folder, name, content):
    path = folder / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return path


def places(mesh):
    """The corners of all faces in space."""
    return [mesh.vertices[mesh.face(number)] for number in range(len(mesh.starts) - 1)]


@pytest.mark.parametrize(
    ("name", "options"),
    [
        ("a.obj", {}),
        ("a.stl", {}),
        ("a.stl", {"file_type": "stl_ascii"}),
        ("a.ply", {"encoding": "ascii"}),
        ("a.ply", {"encoding": "binary"}),
    ],
    ids=["obj", "stl binary", "stl ascii", "ply ascii", "ply binary"],
)
def test_files_of_trimesh_come_back_as_they_were(tmp_path, name, options):
    mesh = trimesh.creation.icosphere(2, radius=17)
    mesh.export(tmp_path / name, **options)
    read = read_mesh(tmp_path / name)
    assert read.name == "a"
    assert np.diff(read.starts).tolist() == [3] * len(mesh.faces)
    assert len(read.vertices) == len(mesh.vertices)
    assert np.array(places(read)) == pytest.approx(mesh.triangles, abs=1e-5)
    assert read.size_mm == pytest.approx(np.linalg.norm(np.ptp(mesh.vertices, axis=0)), rel=1e-6)


OBJ = """# a house by hand
mtllib house.mtl
o front
v 0 0 0
v 10 0 0 1.0
v 10 \\
  0 8
v 5 0 12
v 0 0 8
vt 0 0
vt 1 0
vt 1 0.5
vt 0.5 1
vt 0 .5
vn 0 -1 0
g wall
usemtl brick red
s off
f 1/1/1 2/2/1 3/3/1 4/4/1 5/5/1
v 0 10 0
v 10 10 0
usemtl plain
f -2 -1 2 1\t# below
usemtl
f 1//1 5//1 6//1
"""
MTL = """newmtl brick red
Kd 0.8 0.2 0.1
map_Kd -s 2 2 1 -clamp on my bricks.png
newmtl plain
Ns 10
Kd 0.5 0.5 0.5
"""


@pytest.mark.parametrize("end", ["\n", "\r\n"], ids=["lf", "crlf"])
def test_an_obj_with_materials_groups_and_everything(tmp_path, end):
    write(tmp_path, "my bricks.png", b"x")
    write(tmp_path, "house.mtl", MTL.replace("\n", end))
    mesh = read_mesh(write(tmp_path, "house.obj", OBJ.replace("\n", end)))
    assert [mesh.face(n).tolist() for n in range(3)] == [[0, 1, 2, 3, 4], [5, 6, 1, 0], [0, 4, 5]]
    assert mesh.vertices[2].tolist() == [10, 0, 8]
    names = [surface.name for surface in mesh.surfaces]
    assert [names[n] if n >= 0 else None for n in mesh.surface_of] == ["brick red", "plain", None]
    brick, plain = mesh.surfaces
    assert (brick.color, plain.color) == ((0.8, 0.2, 0.1), (0.5, 0.5, 0.5))
    assert brick.texture == str(tmp_path / "my bricks.png")
    assert plain.texture is None
    # the picture is scaled twice
    assert mesh.uv[:5].tolist() == [[0, 0], [2, 0], [2, 1], [1, 2], [0, 1]]
    assert mesh.notes == ()


def test_missing_materials_and_pictures_are_notes(tmp_path):
    path = write(tmp_path, "house.obj", OBJ)
    (note,) = read_mesh(path).notes
    assert note.severity == "warning"
    assert 'names "house.mtl", which is not there' in note.text
    assert "line 2" in note.text
    write(tmp_path, "house.mtl", MTL.split("newmtl plain")[0])
    mesh = read_mesh(path)
    first, second = sorted(note.text for note in mesh.notes)
    assert "my bricks.png" in first
    assert 'the material "plain", which no library has' in second
    assert mesh.surfaces[0].texture is None
    assert mesh.surfaces[0].color == (0.8, 0.2, 0.1)


def test_pictures_elsewhere_are_found_where_they_are(tmp_path):
    (tmp_path / "models").mkdir()
    (tmp_path / "art").mkdir()
    write(tmp_path, "art/wall.png", b"x")
    write(tmp_path, "models/own.png", b"x")
    lines = "".join(f"v {n} 0 {n * n}\n" for n in range(3)) + "vt 0 0\n"
    lines += "".join(f"usemtl {name}\nf 1/1 2/1 3/1\n" for name in "abcd")
    path = write(tmp_path, "models/m.obj", "mtllib m.mtl\n" + lines)
    pictures = ["../art/wall.png", "..\\art\\wall.png", "C:\\gone\\own.png", str(tmp_path / "art/wall.png")]
    write(tmp_path, "models/m.mtl", "".join(f"newmtl {n}\nmap_Kd {p}\n" for n, p in zip("abcd", pictures, strict=True)))
    mesh = read_mesh(path)
    assert mesh.notes == ()
    found = [(tmp_path / "models" / surface.texture).resolve().name for surface in mesh.surfaces]
    assert found == ["wall.png", "wall.png", "own.png", "wall.png"]


def test_faces_without_places_in_a_texture_have_the_colour_alone(tmp_path):
    write(tmp_path, "a.png", b"x")
    write(tmp_path, "a.mtl", "newmtl m\nKd 1 0 0\nmap_Kd a.png\n")
    text = "mtllib a.mtl\nv 0 0 0\nv 1 0 0\nv 0 1 0\nvt 0 0\nusemtl m\nf 1/1 2/1 3/1\nf 3 2 1\n"
    mesh = read_mesh(write(tmp_path, "a.obj", text))
    with_picture, without = (mesh.surfaces[number] for number in mesh.surface_of)
    assert with_picture.texture is not None
    assert (without.texture, without.color) == (None, (1, 0, 0))
    assert np.isfinite(mesh.uv).all()


def test_colours_of_vertices_colour_faces(tmp_path):
    text = "v 0 0 0 1 0 0\nv 1 0 0 1 0 0\nv 0 1 0 1 0 0\nv 1 1 1 0 0 1\nf 1 2 3\nf 2 4 3\n"
    mesh = read_mesh(write(tmp_path, "a.obj", text))
    colors = [mesh.surfaces[number].color for number in mesh.surface_of]
    assert colors[0] == (1, 0, 0)
    assert colors[1] == pytest.approx((2 / 3, 0, 1 / 3), abs=1 / 255)


@pytest.mark.parametrize("encoding", ["latin-1", "utf-8", "utf-8-sig"])
def test_names_in_any_letters(tmp_path, encoding):
    path = tmp_path / "a.obj"
    path.write_bytes("v 0 0 0\nv 1 0 0\nv 0 1 0\nusemtl Tür\nf 1 2 3\n".encode(encoding))
    assert [surface.name for surface in read_mesh(path).surfaces] == ["Tür"]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("v 0 0\n", "line 1: a vertex needs three numbers, not 2"),
        ("v 0 0 zero\n", 'line 1: a vertex must be numbers, not "0 0 zero"'),
        ("v 0 0 0\nf 1 2 3\n", "line 2: names vertex 2, but the file has only 1"),
        ("v 0 0 0\nf -1 -2 1\n", "line 2: names vertex -2, but only 1 come before it"),
        ("v 0 0 0\nf 0 1 1\n", "line 2: names vertex 0, but numbers begin with 1"),
        ("v 0 0 0\nf 1/5 1/5 1/5\n", "line 2: names place in the texture 5, but the file has only 0"),
        ("v 0 0 0\nf a b c\n", 'line 2: "a" is no corner; write 3, 3/2 or 3/2/1'),
        ("v 0 0 0\n\nf\n", "line 3: a face needs at least three corners"),
        ("v 0 0 0\nvt u\nf 1\n", "line 2: a place in the texture must be numbers"),
        ("v 0 0 0\n", "has no faces"),
        ("surf 0 1 0 1 1\n", "has no faces, only curved surfaces"),
        ("", "is empty"),
        ("  \n", "is empty"),
    ],
)
def test_broken_obj_files_are_refused_with_their_line(tmp_path, text, words):
    with pytest.raises(FileError, match=r"a[.]obj") as caught:
        read_mesh(write(tmp_path, "a.obj", text))
    assert words in str(caught.value)


def test_broken_mtl_files_are_refused_with_their_line(tmp_path):
    path = write(tmp_path, "a.obj", "mtllib a.mtl\nv 0 0 0\nf 1 1 1\n")
    write(tmp_path, "a.mtl", "newmtl a\nKd red\n")
    with pytest.raises(FileError, match=r"a.mtl, line 2: Kd needs three numbers"):
        read_mesh(path)
    write(tmp_path, "a.mtl", "newmtl a\n\nmap_Kd -clamp on\n")
    with pytest.raises(FileError, match=r"a.mtl, line 3: map_Kd names no picture"):
        read_mesh(path)


def binary_stl(triangles, head=b"", count=None):
    body = b"".join(struct.pack("<12fH", 0, 0, 0, *np.ravel(triangle), 0) for triangle in triangles)
    return head.ljust(80, b"\0") + struct.pack("<I", len(triangles) if count is None else count) + body


def test_a_binary_stl_may_begin_with_solid(tmp_path):
    mesh = read_mesh(write(tmp_path, "a.stl", binary_stl(BOX.triangles, b"solid facet by someone")))
    assert np.array(places(mesh)) == pytest.approx(BOX.triangles)
    assert len(mesh.vertices) == 8


def test_an_ascii_stl_of_several_solids_in_capitals(tmp_path):
    facet = "FACET NORMAL 0 0 1\nOUTER LOOP\nVERTEX 0 0 0\nVERTEX 1e1 0 0\nVERTEX 0 1 0\nENDLOOP\nENDFACET\n"
    mesh = read_mesh(write(tmp_path, "a.stl", f"SOLID one\n{facet}ENDSOLID\nsolid two\n{facet}endsolid two\n"))
    assert np.diff(mesh.starts).tolist() == [3, 3]
    assert mesh.vertices[mesh.corners].max() == 10


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (binary_stl(BOX.triangles)[:-60], "is cut off, or no STL file: it should have 12 triangles and holds 10"),
        (binary_stl([], count=4_000_000_000), "it should have 4000000000 triangles and holds 0"),
        (binary_stl([]), "has no triangles"),
        (b"hello", "is no STL file: it has 5 bytes"),
        (b"solid\nfacet normal 0 0 1\nvertex 0 0\n", "line 3: a vertex needs three numbers"),
        (b"solid\nfacet\nvertex 0 0 x\n", "line 3: a vertex needs three numbers"),
        (b"solid\nfacet\nvertex 0 0 0\nendfacet\n", "line 4: the facet that begins in line 2 has other than three"),
        (b"solid\n\nfacet\nouter loop\nvertex 0 0 0\n", "is cut off in the facet that begins in line 3"),
        (b"solid\nfacet\nnonsense\n", 'line 3: "nonsense" is no word of an STL file'),
    ],
)
def test_broken_stl_files_are_refused(tmp_path, data, words):
    with pytest.raises(FileError) as caught:
        read_mesh(write(tmp_path, "a.stl", data))
    assert words in str(caught.value)


TYPES = {"uchar": "B", "int": "i", "ushort": "H", "uint8": "B", "int16": "h", "uint": "I", "char": "b"}


@pytest.mark.parametrize("order", ["<", ">"], ids=["little", "big"])
@pytest.mark.parametrize("count_type", ["uchar", "ushort", "int", "char", "uint"])
@pytest.mark.parametrize("mixed", [False, True], ids=["triangles", "mixed"])
def test_binary_ply_of_every_order_and_list(tmp_path, order, count_type, mixed):
    faces = [(0, 1, 2), (2, 1, 3)] + ([(0, 1, 3, 2), ()] if mixed else [(0, 2, 3)])
    name = "binary_little_endian" if order == "<" else "binary_big_endian"
    head = (
        f"ply\nformat {name} 1.0\ncomment by hand\nobj_info x\nelement material 1\nproperty list uchar float tone\n"
        "property double weight\nelement vertex 4\nproperty double x\nproperty float y\nproperty short z\n"
        f"property uchar red\nproperty uchar green\nproperty uchar blue\nelement face {len(faces)}\n"
        f"property float quality\nproperty list {count_type} int vertex_indices\nelement edge 1\nproperty int vertex1\n"
        "property int vertex2\nend_header\n"
    )
    vertices = [(0, 0, 0), (10, 0, 1), (0, 10, 2), (10, 10.5, -3)]
    data = struct.pack(order + "B2fd", 2, 0.5, 0.25, 1.0)
    data += b"".join(struct.pack(order + "dfh3B", *v, 255, 0, 51) for v in vertices)
    for face in faces:
        data += struct.pack(f"{order}f{TYPES[count_type]}{len(face)}i", 1.0, len(face), *face)
    mesh = read_mesh(write(tmp_path, "a.ply", head.encode() + data + struct.pack(order + "2i", 0, 1)))
    assert mesh.vertices.tolist() == [list(vertex) for vertex in vertices]
    assert [tuple(mesh.face(number)) for number in range(len(faces))] == faces
    assert mesh.surfaces[mesh.surface_of[0]].color == (1, 0, 0.2)


def ply(faces="3 0 1 2\n", head="", face_head="property list uchar int vertex_index\n", count=1):
    return (
        "ply\nformat ascii 1.0\n" + head + "element vertex 3\nproperty float x\nproperty float y\nproperty float z\n"
        f"property float s\nproperty float t\nelement face {count}\n{face_head}end_header\n"
        "0 0 0 0 0\n10 0 0 1 0\n0 10 0 0 1\n" + faces
    )


def test_a_ply_with_places_in_a_picture(tmp_path):
    write(tmp_path, "skin.png", b"x")
    mesh = read_mesh(write(tmp_path, "a.ply", ply(head="comment TextureFile skin.png\n")))
    assert mesh.uv.tolist() == [[0, 0], [1, 0], [0, 1]]
    assert mesh.surfaces[0].texture == str(tmp_path / "skin.png")
    (note,) = read_mesh(write(tmp_path, "b.ply", ply(head="comment TextureFile gone.png\n"))).notes
    assert "gone.png" in note.text


def test_a_ply_with_places_and_colours_of_faces(tmp_path):
    head = "property list uchar int vertex_indices\nproperty list uchar float texcoord\nproperty float red\n"
    head += "property float green\nproperty float blue\n"
    mesh = read_mesh(write(tmp_path, "a.ply", ply("3 0 1 2 6 0 .5 1 .5 1 1 0.2 0.4 1\n", face_head=head)))
    assert mesh.uv.tolist() == [[0, 0.5], [1, 0.5], [1, 1]]
    assert mesh.surfaces[0].color == pytest.approx((0.2, 0.4, 1))


@pytest.mark.parametrize(
    ("data", "words"),
    [
        ("plyx\n", "is no PLY file"),
        ("ply\nformat ascii 1.0\n", 'a line "end_header" is missing'),
        ("ply\nelement vertex 1\nend_header\n", "its header has no format"),
        ("ply\nformat morse 1.0\nend_header\n", 'line 2: "format morse 1.0" is no line of a PLY header'),
        ("ply\nformat ascii 1.0\nelement vertex many\nend_header\n", "line 3: write element, its name"),
        ("ply\nformat ascii 1.0\nelement vertex 1\nproperty word x\nend_header\n", "line 4: "),
        ("ply\nformat ascii 1.0\nelement vertex 1\nproperty list float int x\nend_header\n", "must be of a whole type"),
        ("ply\nformat ascii 1.0\nelement v 1\nproperty int x\nproperty int x\nend_header\n", 'property "x" twice'),
        ("ply\nformat ascii 1.0\nelement vertex 0\nproperty float x\nend_header\n", "no vertices with x, y and z"),
        (ply("3 0 1\n"), "line 15: has 3 numbers, too few for a face"),
        (ply("3 0 1 2 2\n"), "line 15: has 5 numbers, too many for a face"),
        (ply("three 0 1 2\n"), "line 15: the length of vertex_index is missing or no whole number"),
        (ply("3 0 1 two\n"), 'line 15: "two" is no number'),
        (ply("3 0 1 3\n"), "face 0 (counted from 0) names vertex 3, but there are 3, from 0 on"),
        (ply("3 0 1 -1\n"), "names vertex -1"),
        (ply("3 0 1 1.5\n"), "names vertex 1.5"),
        (ply("", count=1), "is cut off: it should have 1 of face and holds 0"),
        (ply("", count=0), "has no faces"),
        (ply(count=10**15), "it should have 1000000000000000 of face and holds 1"),
    ],
)  # fmt: skip
def test_broken_ply_files_are_refused(tmp_path, data, words):
    with pytest.raises(FileError, match=r"a[.]ply") as caught:
        read_mesh(write(tmp_path, "a.ply", data))
    assert words in str(caught.value)


@pytest.mark.parametrize("kind", ["int", "uchar"])
def test_counts_beyond_the_file_allocate_nothing(tmp_path, kind):
    head = "ply\nformat binary_little_endian 1.0\nelement vertex {}\nproperty float x\nproperty float y\n"
    head += "property float z\n"
    head += f"element face {{}}\nproperty list {kind} double vertex_indices\nend_header\n"
    many = head.format(10**17, 1).encode() + bytes(100)
    with pytest.raises(FileError, match="is cut off: it should have 100000000000000000 of vertex"):
        read_mesh(write(tmp_path, "a.ply", many))
    long = head.format(1, 1).encode() + bytes(12) + (b"\xff\xff\xff\x7f" if kind == "int" else b"\xff") + bytes(8)
    with pytest.raises(FileError, match="is cut off: it should have 1 of face"):
        read_mesh(write(tmp_path, "a.ply", long))
    negative = head.replace(kind, "char").format(1, 1).encode() + bytes(12) + b"\xff" + bytes(80)
    with pytest.raises(FileError, match="is cut off"):
        read_mesh(write(tmp_path, "a.ply", negative))


def test_files_of_other_kinds_and_no_files_are_refused(tmp_path):
    with pytest.raises(FileError, match=r"a.fbx: is not of a kind that can be read; use one of .obj, .stl, .ply"):
        read_mesh(tmp_path / "a.fbx")
    with pytest.raises(FileError, match="there is no such file"):
        read_mesh(tmp_path / "a.obj")
    (tmp_path / "folder.obj").mkdir()
    with pytest.raises(FileError, match="cannot be read"):
        read_mesh(tmp_path / "folder.obj")
    with pytest.raises(FileError):
        read_mesh("a\0.obj")


GOOD = {
    ".obj": OBJ.encode(),
    ".stl": binary_stl(BOX.triangles),
    ".ply": ply().encode(),
}


@settings(max_examples=150, deadline=None)
@given(st.sampled_from(sorted(GOOD)), st.integers(0, 2**32 - 1), st.booleans())
def test_no_damage_to_a_file_is_more_than_a_sentence(tmp_path_factory, suffix, seed, cut):
    random = np.random.default_rng(seed)
    data = bytearray(GOOD[suffix])
    if cut:
        del data[random.integers(len(data)) :]
    for _ in range(random.integers(1, 6)):
        if data:
            data[random.integers(len(data))] = random.integers(256)
    path = write(tmp_path_factory.getbasetemp(), f"damaged{suffix}", bytes(data))
    with contextlib.suppress(FileError):
        mesh = read_mesh(path)
        assert mesh.starts[-1] == len(mesh.corners)
        assert ((mesh.corners >= 0) & (mesh.corners < len(mesh.vertices))).all()
