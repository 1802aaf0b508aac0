"""A book that moves, and where its corners are: what tests of baking and of exports hold against each other."""

import json
import struct

import numpy as np

#: The opening turns from the first frame to the second, hands move from there to the third.
FIRST, OPEN, LAST = 1, 25, 37
TIMES = [FIRST + half / 2 for half in range(2 * (LAST - FIRST) + 1)]

#: Defines corners(items, time): every drawn corner in the world by object, mm.
CORNERS = """
import bpy, numpy as np
def corners(items, time):
    bpy.context.scene.frame_set(int(time), subframe=time % 1.0)
    depsgraph = bpy.context.evaluated_depsgraph_get()
    found = {}
    for name, item in items.items():
        seen = item.evaluated_get(depsgraph)
        points = np.empty(3 * len(seen.data.vertices))
        seen.data.vertices.foreach_get("co", points)
        matrix = np.array(seen.matrix_world)
        found[name] = (1000.0 * (points.reshape(-1, 3) @ matrix[:3, :3].T + matrix[:3, 3])).tolist()
    return found
"""


def animate(root):
    """Keyframes for the opening, and then for whatever hands move."""
    limits = root.id_properties_ui("opening").as_dict()
    moves = [("opening", FIRST, OPEN, limits)]
    moves += [(key, OPEN, LAST, root.id_properties_ui(key).as_dict()) for key in root.get("hingeleaf_hands", {})]
    for key, start, end, limits in moves:
        for frame, value in ((start, limits["min"]), (end, limits["max"])):
            root[key] = value
            root.keyframe_insert(f'["{key}"]', frame=frame)


def card_of(root):
    """The panels and the cover's boards of a book, by name of the object."""
    found = {}
    for item in root.children_recursive:
        if item.type == "MESH" and ("hingeleaf_panel" in item or item.name.endswith(" board")):
            found[item.name] = item
    return found


def driven_corners(items):
    """Where the corners of live objects are, by object, (times, n, 3), mm."""
    space = {}
    exec(CORNERS, space)
    rows = [space["corners"](items, time) for time in TIMES]
    return {name: np.array([row[name] for row in rows]) for name in items}


def assert_follow(got, want, tolerance_mm=0.05):
    """Points follow corners all the time: those that are nearest while the book lies open."""
    at_open = TIMES.index(OPEN)
    for name, places in want.items():
        points = np.asarray(got[name])
        away = np.linalg.norm(places[at_open][:, None] - points[at_open][None], axis=2)
        nearest = away.argmin(axis=1)
        off = np.linalg.norm(points[:, nearest] - places, axis=2)
        assert off.max() < tolerance_mm, f"{name}: {off.max():.3f} mm at frame {TIMES[int(off.max(axis=1).argmax())]}"
        assert away.min(axis=0).max() < tolerance_mm, f"{name} has points that are no corners"


class Gltf:
    """A reader of glTF 2.0 that owes nothing to Blender: nodes, samplers, meshes as the specification says (Khronos).

    Only what exports of panels use: GLB, float accessors, linear samplers.
    """

    def __init__(self, path):
        data = path.read_bytes()
        magic, version, length = struct.unpack_from("<4sII", data)
        assert (magic, version, length) == (b"glTF", 2, len(data))
        size, kind = struct.unpack_from("<I4s", data, 12)
        assert kind == b"JSON"
        self.tree = json.loads(data[20 : 20 + size])
        start = 20 + size
        size, kind = struct.unpack_from("<I4s", data, start)
        assert kind == b"BIN\0"
        self.bytes = data[start + 8 : start + 8 + size]
        self.tracks = {}
        for animation in self.tree.get("animations", []):
            for channel in animation["channels"]:
                sampler = animation["samplers"][channel["sampler"]]
                assert sampler.get("interpolation", "LINEAR") == "LINEAR"
                track = self.accessor(sampler["input"])[:, 0], self.accessor(sampler["output"])
                target = channel["target"]
                assert (target["node"], target["path"]) not in self.tracks
                self.tracks[target["node"], target["path"]] = track

    def view(self, index):
        view = self.tree["bufferViews"][index]
        start = view.get("byteOffset", 0)
        return self.bytes[start : start + view["byteLength"]]

    def accessor(self, index):
        """(n, components) float."""
        accessor = self.tree["accessors"][index]
        assert accessor["componentType"] == 5126
        width = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4}[accessor["type"]]
        assert "byteStride" not in self.tree["bufferViews"][accessor["bufferView"]]
        start = accessor.get("byteOffset", 0)
        found = np.frombuffer(self.view(accessor["bufferView"])[start:], "<f4", accessor["count"] * width)
        return found.reshape(-1, width).astype(float)

    def value(self, node, path, seconds, rest):
        if (node, path) not in self.tracks:
            return np.array(rest, dtype=float)
        times, values = self.tracks[node, path]
        seconds = min(max(seconds, times[0]), times[-1])
        after = min(max(int(np.searchsorted(times, seconds)), 1), len(times) - 1)
        before = after - 1
        share = (seconds - times[before]) / (times[after] - times[before])
        one, other = values[before], values[after]
        if path != "rotation":
            return one + share * (other - one)
        dot = float(one @ other)
        other, dot = (-other, -dot) if dot < 0 else (other, dot)
        angle = np.arccos(min(dot, 1.0))
        if angle < 1e-6:
            return one + share * (other - one)
        return (np.sin((1 - share) * angle) * one + np.sin(share * angle) * other) / np.sin(angle)

    def local(self, number, seconds):
        node = self.tree["nodes"][number]
        assert "matrix" not in node
        x, y, z, w = self.value(number, "rotation", seconds, node.get("rotation", [0, 0, 0, 1]))
        turn = np.array(
            [
                [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
                [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
                [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
            ]
        )
        matrix = np.eye(4)
        matrix[:3, :3] = turn * self.value(number, "scale", seconds, node.get("scale", [1, 1, 1]))
        matrix[:3, 3] = self.value(number, "translation", seconds, node.get("translation", [0, 0, 0]))
        return matrix

    def points(self, mesh):
        parts = self.tree["meshes"][mesh]["primitives"]
        return np.concatenate([self.accessor(part["attributes"]["POSITION"]) for part in parts])

    def corners(self, seconds):
        """Points of every mesh in the world, by name of the node, mm, z up."""
        found = {}
        stack = [(number, np.eye(4)) for number in self.tree["scenes"][self.tree["scene"]]["nodes"]]
        while stack:
            number, above = stack.pop()
            node = self.tree["nodes"][number]
            world = above @ self.local(number, seconds)
            if "mesh" in node:
                x, y, z = world[:3, :3] @ self.points(node["mesh"]).T + world[:3, 3:]
                found[node["name"].removesuffix(" card")] = 1000.0 * np.column_stack([x, -z, y])
            stack += [(child, world) for child in node.get("children", [])]
        return found
