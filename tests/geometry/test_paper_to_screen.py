"""Cut out and folded by computer: the pieces of the SVG sheets, creased, are the panels of the poses file.

Nothing of the core is used but its two commands: the sheets are read as drawings, cut lines and creases are made into
regions, and the regions are folded about the creases by the angles that the poses file gives at one opening.
"""

from __future__ import annotations

import json
import re
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import numpy as np
import pytest
import shapely
from shapely import LineString, Polygon
from svgelements import Path as SvgPath

from geometry.__main__ import main

ROOT = Path(__file__).parents[2]
SCENES = sorted([*(ROOT / "scenes").glob("*.toml"), ROOT / "scenes" / "demo" / "low-tide.toml"])
OPENING = 90.0
#: What a cut, a crease and a fold may be off by, mm: four decimals are written, curves are chords of 0.01 mm.
OFF_MM = 0.01
_SPACE = "{http://www.w3.org/2000/svg}"


def points_of(data: str) -> list[np.ndarray]:
    """Every stroke of a path as points on the sheet, y upwards, mm; curves as many chords."""
    strokes = []
    for stroke in SvgPath(data).as_subpaths():
        points: list[complex] = []
        for segment in SvgPath(stroke):
            kind = type(segment).__name__
            if kind == "Move":
                points.append(complex(*segment.end))
            elif kind in ("Line", "Close"):
                points += [complex(*segment.start), complex(*segment.end)]
            else:
                points += [complex(*segment.point(share)) for share in np.linspace(0.0, 1.0, 65)]
        array = np.array([[point.real, -point.imag] for point in points])
        keep = np.append(True, np.abs(np.diff(array, axis=0)).max(axis=1) > 1e-9)
        strokes.append(array[keep])
    return strokes


def pieces_of(folder: Path) -> dict[str, dict[str, list[tuple[str | None, np.ndarray]]]]:
    """The lines of every piece on all sheets: by piece and class, (hinge, points)."""
    pieces: dict[str, dict[str, list[tuple[str | None, np.ndarray]]]] = {}
    for file in sorted(folder.glob("*.svg")):
        for layer in ElementTree.parse(file).getroot():
            for group in layer.findall(f"{_SPACE}g"):
                piece = group.get("data-piece")
                if piece is None:
                    continue
                lines = pieces.setdefault(piece, {}).setdefault(str(layer.get("data-class")), [])
                for path in group.findall(f"{_SPACE}path"):
                    lines += [(path.get("data-hinge"), stroke) for stroke in points_of(str(path.get("d")))]
    return pieces


def regions_of(lines: dict[str, list[tuple[str | None, np.ndarray]]]) -> list[Polygon]:
    """The pieces of card between cuts and creases."""
    drawn = [LineString(points) for name in ("cut", "mountain", "valley") for _, points in lines.get(name, [])]
    parts = shapely.get_parts(shapely.polygonize([shapely.unary_union(drawn, grid_size=1e-4)]))
    card = card_of(lines)
    return [part for part in parts if card.contains(part.representative_point())]


def card_of(lines: dict[str, list[tuple[str | None, np.ndarray]]]) -> Polygon:
    """What is cut out: inside an odd number of closed cuts."""
    card = Polygon()
    for _, points in lines.get("cut", []):
        if len(points) > 3 and np.abs(points[0] - points[-1]).max() < 1e-3:
            card = card.symmetric_difference(Polygon(points).buffer(0))
    return card


def carried(matrix: np.ndarray, points: np.ndarray) -> np.ndarray:
    flat = np.column_stack([points, np.zeros(len(points))]) if points.shape[1] == 2 else points
    return flat @ matrix[:3, :3].T + matrix[:3, 3]


def about(start: np.ndarray, end: np.ndarray, angle: float) -> np.ndarray:
    """Rotation about a directed line of the sheet (Rodrigues)."""
    axis = np.append(end - start, 0.0) / np.linalg.norm(end - start)
    cross = np.array([[0, -axis[2], axis[1]], [axis[2], 0, -axis[0]], [-axis[1], axis[0], 0]])
    matrix = np.eye(4)
    matrix[:3, :3] += np.sin(angle) * cross + (1 - np.cos(angle)) * cross @ cross
    point = np.append(start, 0.0)
    matrix[:3, 3] = point - matrix[:3, :3] @ point
    return matrix


def folded(
    regions: list[Polygon], creases: list[tuple[str, np.ndarray]], dihedral: dict[str, float]
) -> list[np.ndarray]:
    """Where each region lies once every crease is folded, the first one kept still."""
    places: list[np.ndarray | None] = [None] * len(regions)
    places[0] = np.eye(4)
    waiting = [0]
    near = [region.buffer(1e-3) for region in regions]
    while waiting:
        own = waiting.pop()
        for name, points in creases:
            line = LineString(points[[0, -1]])
            if near[own].intersection(line).length < 0.5 * line.length:
                continue
            for other, region in enumerate(near):
                if places[other] is not None or region.intersection(line).length < 0.5 * line.length:
                    continue
                start, end = points[0], points[-1]
                right = lies_right(regions[other], start, end)
                # The printed face is up: less than flat through it lifts the card, to whichever side it lies.
                turn = (np.pi - np.radians(dihedral[name])) * (-1.0 if right else 1.0)
                places[other] = places[own] @ about(start, end, turn)
                waiting.append(other)
    assert all(place is not None for place in places), "every region hangs on another by a crease"
    return [np.asarray(place) for place in places]


def lies_right(region: Polygon, start: np.ndarray, end: np.ndarray) -> bool:
    """Whether a region lies to the right of its border from start to end, looked at beside the border itself."""
    way = (end - start) / np.linalg.norm(end - start)
    beside = (start + end) / 2 + 0.01 * np.array([way[1], -way[0]])
    return bool(region.contains(shapely.Point(beside)))


def whole_creases(lines: dict[str, list[tuple[str | None, np.ndarray]]]) -> list[tuple[str, np.ndarray]]:
    return [(str(hinge), points) for name in ("mountain", "valley") for hinge, points in lines.get(name, []) if hinge]


def panel_regions(panels: list[dict], regions: list[Polygon]) -> dict[str, int]:
    """Which region is which panel, where only areas and lengths are compared: candidates, not the proof."""
    found = {}
    for panel in panels:
        shape = Polygon(panel["outline"], panel["holes"])
        same = [
            index
            for index, region in enumerate(regions)
            if abs(region.area - shape.area) < 1e-3 * shape.area + 0.05 and abs(region.length - shape.length) < 0.2
        ]
        found[panel["id"]] = same
    return found


def in_space(panel: dict, number: int) -> np.ndarray:
    return carried(np.array(panel["matrices"][number]), np.asarray(panel["outline"], dtype=float))


def farthest(ring: np.ndarray, points: np.ndarray) -> float:
    """How far the corners of one outline lie from the other, mm; both are in space."""
    closed = np.vstack([ring, ring[:1]])
    start, way = closed[:-1], np.diff(closed, axis=0)
    square = np.maximum((way**2).sum(axis=1), 1e-18)
    share = np.clip(((points[:, None] - start) * way).sum(axis=2) / square, 0.0, 1.0)
    return float(np.linalg.norm(points[:, None] - start - share[..., None] * way, axis=2).min(axis=1).max())


def placed(panels: list[dict], regions: list[Polygon], places: list[np.ndarray], number: int) -> dict[str, float]:
    """Lay the folded piece on the poses as a whole; how far each panel's corners are off, mm."""
    spots = [
        carried(place, np.asarray(region.exterior.coords)[:-1]) for place, region in zip(places, regions, strict=True)
    ]
    middles = [
        carried(place, np.asarray([region.centroid.coords[0]]))[0]
        for place, region in zip(places, regions, strict=True)
    ]
    same = panel_regions(panels, regions)
    best: dict[str, float] = {}
    anchor = min(panels, key=lambda panel: len(same[panel["id"]]) or 99)
    for index in same[anchor["id"]]:
        for moved in fits(anchor, number, regions[index], places[index]):
            off = {}
            for panel in panels:
                there = in_space(panel, number)
                tries = [
                    max(
                        farthest(there, carried(moved, spots[candidate])),
                        farthest(carried(moved, spots[candidate]), there),
                    )
                    for candidate in range(len(regions))
                    if np.linalg.norm(carried(moved, middles[candidate][None])[0] - centroid(panel, number)) < 0.2
                ]
                off[panel["id"]] = min(tries, default=np.inf)
            if not best or max(off.values()) < max(best.values()):
                best = off
    return best


def centroid(panel: dict, number: int) -> np.ndarray:
    shape = Polygon(panel["outline"], panel["holes"])
    return carried(np.array(panel["matrices"][number]), np.asarray([shape.centroid.coords[0]]))[0]


def fits(panel: dict, number: int, region: Polygon, place: np.ndarray) -> list[np.ndarray]:
    """Every way to lay a region of the sheet on a panel's net: turned by quarters and moved, never turned over."""
    net = Polygon(panel["outline"], panel["holes"])
    ways = []
    for quarters in range(4):
        turn = np.eye(4)
        turn[:2, :2] = np.round([[np.cos(a := quarters * np.pi / 2), -np.sin(a)], [np.sin(a), np.cos(a)]])
        turned = shapely.transform(region, lambda points, turn=turn: points @ turn[:2, :2].T)
        shift = (np.array(net.bounds) - np.array(turned.bounds)).reshape(2, 2).mean(axis=0)
        # Curves are drawn by other points in the two files; sharp corners are the same ones.
        there = sharp(np.asarray(net.exterior.coords)[:-1])
        here = sharp(np.asarray(turned.exterior.coords)[:-1]) + shift
        if len(there) and len(here):
            apart = there[:, None] - here
            near = np.argmin(np.linalg.norm(apart, axis=2), axis=1)
            shift = shift + np.median(apart[np.arange(len(there)), near], axis=0)
        turn[:2, 3] = shift
        if shapely.hausdorff_distance(net, shapely.transform(turned, lambda points, shift=shift: points + shift)) < 0.5:
            ways.append(np.array(panel["matrices"][number]) @ turn @ np.linalg.inv(place))
    return ways


def sharp(ring: np.ndarray) -> np.ndarray:
    """The corners of a ring at which it turns by more than 20 degrees."""
    before, after = ring - np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0) - ring
    turn = np.arctan2(before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0], (before * after).sum(axis=1))
    return ring[np.abs(turn) > np.radians(20.0)]


@pytest.mark.parametrize("scene", SCENES, ids=lambda path: path.stem)
def test_the_cut_and_creased_sheet_is_what_stands_on_the_page(scene: Path, tmp_path: Path) -> None:
    poses = tmp_path / "poses.json"
    assert main(["poses", str(scene), "--angles", f"{OPENING}", "--out", str(poses)]) == 0
    assert main(["nets", str(scene), "--out", str(tmp_path), "--format", "svg"]) == 0
    data = json.loads(poses.read_text())
    dihedral = {hinge["id"]: hinge["dihedral_deg"][0] for hinge in data["hinges"]}
    sheets = pieces_of(tmp_path)
    names = {panel["piece"] for panel in data["panels"]}
    assert set(sheets) == names
    for piece in sorted(names):
        panels = [panel for panel in data["panels"] if panel["piece"] == piece]
        regions = regions_of(sheets[piece])
        assert len(regions) == len(panels), piece
        places = folded(regions, whole_creases(sheets[piece]), dihedral)
        off = placed(panels, regions, places, 0)
        assert off, f"{piece}: no panel of the poses has the shape of a region of the sheet"
        assert max(off.values()) < OFF_MM, (piece, off)


def test_a_wrong_crease_is_seen(tmp_path: Path) -> None:
    """The check has teeth: two degrees at one crease move a panel off its place."""
    scene = ROOT / "scenes" / "v-fold.toml"
    poses = tmp_path / "poses.json"
    main(["poses", str(scene), "--angles", f"{OPENING}", "--out", str(poses)])
    main(["nets", str(scene), "--out", str(tmp_path), "--format", "svg"])
    data = json.loads(poses.read_text())
    dihedral = {hinge["id"]: hinge["dihedral_deg"][0] for hinge in data["hinges"]}
    dihedral["fold.middle"] += 2.0
    lines = pieces_of(tmp_path)["fold"]
    panels = [panel for panel in data["panels"] if panel["piece"] == "fold"]
    regions = regions_of(lines)
    off = placed(panels, regions, folded(regions, whole_creases(lines), dihedral), 0)
    assert max(off.values()) > 0.5


def test_sheets_name_hinges_as_the_poses_do(tmp_path: Path) -> None:
    scene = ROOT / "scenes" / "demo" / "low-tide.toml"
    main(["nets", str(scene), "--out", str(tmp_path), "--format", "svg"])
    names = {hinge for lines in pieces_of(tmp_path).values() for hinge, _ in whole_creases(lines)}
    assert names
    assert all(re.fullmatch(r"[a-zA-Z][\w.#-]*", name) for name in names)
