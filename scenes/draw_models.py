"""Draws the models of the scenes: their meshes with UV coordinates, and the pictures that these look up.

Run by hand, in an environment of the project: `python scenes/draw_models.py`. What it draws is our own invention.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw

FOLDER = Path(__file__).resolve().parent / "models"
#: The picture covers so many mm, with so many pixels each.
ATLAS_MM, PIXELS = 116.0, 10

#: The house, mm: along y, across x, up to the eaves, up to the ridge; a chimney through the right slope.
LENGTH, HALF, EAVES, RIDGE = 44.0, 15.0, 20.0, 34.0
CHIMNEY_X, CHIMNEY_Y, CHIMNEY_TOP = (4.0, 11.0), (8.0, 15.0), 41.0

Face = tuple[str, list[tuple[float, float, float]], list[tuple[float, float]]]


def slope_z(x: float) -> float:
    """Height of the roof over a place across the house."""
    return RIDGE - (RIDGE - EAVES) * abs(x) / HALF


def house() -> list[Face]:
    """Every face: its material, its corners, and where each lies on the picture, mm, seen from outside."""
    slant = float(np.hypot(HALF, RIDGE - EAVES)) / HALF
    faces: list[Face] = []

    def add(corners: list[tuple[float, float, float]], at: tuple[float, float], across: str, up: str) -> None:
        spans = {"x": lambda p: p[0], "-x": lambda p: -p[0], "y": lambda p: p[1], "-y": lambda p: -p[1],
                 "z": lambda p: p[2], "slope": lambda p: -abs(p[0]) * slant}  # fmt: skip
        places = [(spans[across](corner), spans[up](corner)) for corner in corners]
        low = np.array([min(u for u, _ in places), min(v for _, v in places)])
        faces.append(("painted", corners, [tuple(np.array(place) - low + at) for place in places]))

    right, left, end = HALF, -HALF, LENGTH
    add([(right, 0, 0), (right, end, 0), (right, end, EAVES), (right, 0, EAVES)], (2, 50), "y", "z")
    add([(left, end, 0), (left, 0, 0), (left, 0, EAVES), (left, end, EAVES)], (2, 74), "-y", "z")
    add([(left, 0, 0), (right, 0, 0), (right, 0, EAVES), (0, 0, RIDGE), (left, 0, EAVES)], (50, 2), "x", "z")
    add([(right, end, 0), (left, end, 0), (left, end, EAVES), (0, end, RIDGE), (right, end, EAVES)], (83, 2), "-x", "z")
    add([(left, end, EAVES), (left, 0, EAVES), (0, 0, RIDGE), (0, end, RIDGE)], (2, 2), "-y", "slope")
    # The right slope goes round the chimney in four parts.
    (x0, x1), (y0, y1) = CHIMNEY_X, CHIMNEY_Y
    outer = [(right, 0.0), (right, end), (0.0, end), (0.0, 0.0)]
    inner = [(x1, y0), (x1, y1), (x0, y1), (x0, y0)]
    at, low = np.array([2.0, 26.0]), np.array([0.0, -HALF * slant])
    for one in range(4):
        two = (one + 1) % 4
        ring = [outer[one], outer[two], inner[two], inner[one]]
        places = [tuple(np.array([y, -x * slant]) - low + at) for x, y in ring]
        faces.append(("painted", [(x, y, slope_z(x)) for x, y in ring], places))
    for number, (one, two) in enumerate(zip(inner, inner[1:] + inner[:1], strict=True)):
        corners = [(*one, slope_z(one[0])), (*two, slope_z(two[0])), (*two, CHIMNEY_TOP), (*one, CHIMNEY_TOP)]
        across = ("y", "-x", "-y", "x")[number]
        add(corners, (50 + 9 * number, 50 + CHIMNEY_TOP - max(slope_z(x) for x, _ in inner) - 5), across, "z")
    add([(*place, CHIMNEY_TOP) for place in inner], (50, 76), "x", "y")
    faces.append(("plain", [(left, 0, 0), (left, end, 0), (right, end, 0), (right, 0, 0)], []))
    return faces


def write_mesh(faces: list[Face], stem: str) -> None:
    """The faces as OBJ and MTL."""
    points = sorted({corner for _, corners, _ in faces for corner in corners})
    rows = ["# The keeper's house, in mm, z upwards. Drawn by draw_models.py.", f"mtllib {stem}.mtl"]
    rows += ["v {:.9g} {:.9g} {:.9g}".format(*point) for point in points]
    count, lines, material = 0, [], ""
    for name, corners, places in faces:
        if name != material:
            material = name
            lines.append(f"usemtl {name}")
        rows += [f"vt {u / ATLAS_MM:.6f} {v / ATLAS_MM:.6f}" for u, v in places]
        numbers = [points.index(corner) + 1 for corner in corners]
        if places:
            lines.append("f " + " ".join(f"{number}/{count + k + 1}" for k, number in enumerate(numbers)))
        else:
            lines.append("f " + " ".join(map(str, numbers)))
        count += len(places)
    (FOLDER / f"{stem}.obj").write_text("\n".join([*rows, *lines, ""]), encoding="utf-8")
    material = f"newmtl painted\nKd 1 1 1\nmap_Kd {stem}.png\n\nnewmtl plain\nKd 0.93 0.90 0.82\n"
    (FOLDER / f"{stem}.mtl").write_text(material, encoding="utf-8")


class Atlas:
    """The picture, drawn on in mm, y upwards."""

    def __init__(self, color: str) -> None:
        side = round(ATLAS_MM * PIXELS)
        self.image = Image.new("RGB", (side, side), color)
        self._draw = ImageDraw.Draw(self.image)

    def box(self, left: float, low: float, width: float, height: float, color: str) -> None:
        """A filled rectangle."""
        top = ATLAS_MM - low - height
        corners = [left * PIXELS, top * PIXELS, (left + width) * PIXELS - 1, (top + height) * PIXELS - 1]
        self._draw.rectangle(corners, fill=color)

    def disc(self, x: float, y: float, radius: float, color: str) -> None:
        """A filled circle."""
        middle = np.array([x, ATLAS_MM - y])
        self._draw.ellipse([*((middle - radius) * PIXELS), *((middle + radius) * PIXELS)], fill=color)


def boards(atlas: Atlas, left: float, low: float, width: float, height: float) -> None:
    """A boarded wall; drawn a little beyond its face, as a bleed."""
    atlas.box(left - 1.5, low - 1.5, width + 3, height + 3, "#f1ece0")
    for y in np.arange(low, low + height + 1, 2.5):
        atlas.box(left - 1.5, float(y), width + 3, 0.25, "#d5ccb9")
    atlas.box(left - 1.5, low - 1.5, width + 3, 4.0, "#7c8790")


def window(atlas: Atlas, x: float, y: float, lit: bool = False) -> None:
    """A window with four panes, 6 by 7 mm."""
    atlas.box(x - 3.6, y - 0.6, 7.2, 8.2, "#2f4a63")
    atlas.box(x - 3.0, y, 6.0, 7.0, "#f6d57a" if lit else "#9fc3d6")
    atlas.box(x - 0.25, y, 0.5, 7.0, "#2f4a63")
    atlas.box(x - 3.0, y + 3.3, 6.0, 0.5, "#2f4a63")


def shingles(atlas: Atlas, left: float, low: float, width: float, height: float) -> None:
    """A shingled roof, row on row, every other moved by half."""
    atlas.box(left - 1.5, low - 1.5, width + 3, height + 3, "#b2533e")
    for row, y in enumerate(np.arange(low - 1.5, low + height + 1.5, 2.0)):
        atlas.box(left - 1.5, float(y), width + 3, 0.3, "#8d3d2d")
        for x in np.arange(left - 1.5 + (row % 2) * 1.5, left + width + 1.5, 3.0):
            atlas.box(float(x), float(y), 0.25, 2.0, "#8d3d2d")


def bricks(atlas: Atlas, left: float, low: float, width: float, height: float) -> None:
    """Brickwork with a light cap."""
    atlas.box(left - 0.9, low - 0.9, width + 1.8, height + 1.8, "#a4553f")
    for row, y in enumerate(np.arange(low - 0.9, low + height, 1.2)):
        atlas.box(left - 0.9, float(y), width + 1.8, 0.2, "#dbb9a5")
        for x in np.arange(left - 0.9 + (row % 2) * 1.2, left + width + 0.9, 2.4):
            atlas.box(float(x), float(y), 0.2, 1.2, "#dbb9a5")
    atlas.box(left - 0.9, low + height - 1.6, width + 1.8, 2.5, "#e8e0d2")


def paint() -> Image.Image:
    """The whole picture."""
    atlas = Atlas("#f1ece0")
    slant = float(np.hypot(HALF, RIDGE - EAVES))
    shingles(atlas, 2, 2, LENGTH, slant)
    shingles(atlas, 2, 26, LENGTH, slant)
    boards(atlas, 2, 50, LENGTH, EAVES)
    boards(atlas, 2, 74, LENGTH, EAVES)
    boards(atlas, 50, 2, 2 * HALF, RIDGE)
    boards(atlas, 83, 2, 2 * HALF, RIDGE)
    for x in (11.0, 37.0):
        window(atlas, x, 58.0, lit=x > 20)
        window(atlas, x, 82.0)
    window(atlas, 24.0, 82.0, lit=True)
    atlas.box(20.5, 50.0, 7.0, 14.0, "#2f4a63")
    atlas.box(21.2, 50.0, 5.6, 13.3, "#3f7a6b")
    atlas.disc(25.8, 56.5, 0.5, "#f6d57a")
    for left in (50.0, 83.0):
        window(atlas, left + HALF - 6, 10.0)
        window(atlas, left + HALF + 6, 10.0, lit=True)
        atlas.disc(left + HALF, 26.0, 3.0, "#2f4a63")
        atlas.disc(left + HALF, 26.0, 2.3, "#9fc3d6")
    for number in range(4):
        bricks(atlas, 50 + 9 * number, 52, 7, 18)
    atlas.box(49, 75, 9, 9, "#e8e0d2")
    atlas.box(51.5, 77.5, 4, 4, "#4a4542")
    return atlas.image


def main() -> None:
    """Write mesh and picture."""
    FOLDER.mkdir(exist_ok=True)
    write_mesh(house(), "keepers-house")
    paint().quantize(64).save(FOLDER / "keepers-house.png", optimize=True)


if __name__ == "__main__":
    main()
