"""A block of 30 x 20 x 25 mm as a model in files: walls of one or two colours, and a lid with a picture."""

from __future__ import annotations

from pathlib import Path

import numpy as np

__all__ = ["MODEL", "SOLID", "materials", "write_block"]

#: The bottom and one wall are of the first material, the other walls of the second.
MODEL = """mtllib block.mtl
v 0 0 0
v 30 0 0
v 30 20 0
v 0 20 0
v 0 0 25
v 30 0 25
v 30 20 25
v 0 20 25
vt 0 0
vt 1 0
vt 1 1
vt 0 1
usemtl first
f 1 4 3 2
f 1 2 6 5
usemtl second
f 2 3 7 6
f 3 4 8 7
f 4 1 5 8
usemtl lid
f 5/1 6/2 7/3 8/4
"""
#: The mechanism that stands it on a page; it has gaps for the folder its files are in.
SOLID = (
    '[[mechanism]]\nkind = "solid"\nid = "block"\nmodel = "{folder}block.obj"\npanel = "page.right"\n'
    "at = [60, 90]\nloose = true\n"
)


def materials(first: str, second: str | None = None) -> str:
    """Its materials; colours as such files have them, the second the same unless told."""
    walls = {"first": first, "second": first if second is None else second}
    said = "".join(f"newmtl {name}\nKd {color}\n" for name, color in walls.items())
    return said + "newmtl lid\nKd 1 1 1\nmap_Kd lid.png\n"


def write_block(folder: Path, first: str, second: str | None = None) -> None:
    """Write its three files; the picture is red on its left and green on its right."""
    from PIL import Image

    halves = np.zeros((32, 32, 3), dtype=np.uint8)
    halves[:, :16], halves[:, 16:] = (255, 0, 0), (0, 255, 0)
    folder.mkdir(exist_ok=True)
    Image.fromarray(halves).save(folder / "lid.png")
    (folder / "block.mtl").write_text(materials(first, second))
    (folder / "block.obj").write_text(MODEL)
