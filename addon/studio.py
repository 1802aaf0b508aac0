"""A lit table top with a camera, in which the book stands for a picture."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import bmesh
import bpy
import numpy as np
from mathutils import Matrix, Vector

from .books import ASPECT_KEY, bound_root_of, camera_of, root_of
from .convert import metres
from .cover import add_cover
from .film_scene import turn_on_denoising
from .filming_backgrounds import SKY_KEY, TABLE_KEY
from .framing import View, look_along, stand_back, swept_corners
from .geometry.spread import Spread
from .geometry.transforms import Array
from .materials import plain_material
from .rig import Book, remove_objects
from .set_aside import set_aside

__all__ = ["STUDIO", "build_studio", "clear_studio", "furnish", "light_scene", "rebuild_studio", "renew_studio"]

#: Name of the collection that holds the studio.
STUDIO = "Studio"

_TABLE = (0.49, 0.56, 0.60)
_SKY_TOP, _SKY_FOOT = (0.55, 0.64, 0.76), (0.80, 0.76, 0.72)
_SKY_STRENGTH = 0.30


@dataclass(frozen=True)
class _Lamp:
    """A soft light: where it stands and how large it is, in units of the book's reach; power and colour."""

    name: str
    place: tuple[float, float, float]
    size: float
    power: float
    color: tuple[float, float, float]


_LAMPS = (
    _Lamp("Key", (-1.9, 0.8, 2.2), 0.8, 142.0, (1.0, 0.945, 0.87)),
    _Lamp("Fill", (1.9, -2.3, 1.7), 2.4, 36.0, (0.90, 0.95, 1.0)),
    _Lamp("Rim", (1.5, 2.5, 1.5), 1.0, 48.0, (1.0, 0.97, 0.93)),
)


def build_studio(spread: Spread, book: Book, context: bpy.types.Context, size: tuple[int, int]) -> bpy.types.Object:
    """Set the book on a lit table and stand a camera before it.

    Parameters
    ----------
    spread : the assembled spread
    book : its objects
    context : its scene gets the camera, the world and the look of the picture
    size : width and height of the picture, pixels

    Returns
    -------
    the camera
    """
    camera = _stand(spread, book, context, size)
    light_scene(context, spread.title, size)
    return camera


def light_scene(context: bpy.types.Context, title: str, size: tuple[int, int]) -> None:
    """Give the scene the studio's soft light from all around, and the look of the picture; size is in pixels."""
    context.scene.world = _world(title)
    context.scene.render.film_transparent = False
    _set_look(context.scene, size)


def _stand(spread: Spread, book: Book, context: bpy.types.Context, size: tuple[int, int]) -> bpy.types.Object:
    """Table, cover, lamps and camera."""
    collection = bpy.data.collections.new(STUDIO)
    book.collection.children.link(collection)
    camera = _set_up(collection, spread, book, size)
    context.scene.camera = camera
    return camera


def _set_up(collection: bpy.types.Collection, spread: Spread, book: Book, size: tuple[int, int]) -> bpy.types.Object:
    table_mm = add_cover(spread, book, collection)
    return furnish(collection, book.root, spread.title, swept_corners(spread), table_mm, size)


def furnish(
    collection: bpy.types.Collection,
    root: bpy.types.Object,
    title: str,
    corners: Array,
    table_mm: float,
    size: tuple[int, int],
) -> bpy.types.Object:
    """Put table, lamps and camera about a motion.

    Parameters
    ----------
    collection : gets them
    root : what they stand before
    title : of the book
    corners : (n, 3) float, metres; all that the camera is to see
    table_mm : height of the table's top
    size : width and height of the picture, pixels

    Returns
    -------
    the camera
    """
    center, reach = _middle(corners)
    _add_table(collection, root, title, float(metres(table_mm)), center, reach)
    for lamp in _LAMPS:
        _add_lamp(collection, root, lamp, center, reach)
    return _add_camera(collection, root, corners, View(aspect=size[0] / size[1]))


def rebuild_studio(spread: Spread, book: Book, context: bpy.types.Context) -> None:
    """Set a book whose pages have another size on a table that fits."""
    size = context.scene.render.resolution_x, context.scene.render.resolution_y
    renew_studio(book.root, book.collection, lambda made: _set_up(made, spread, book, size))


def renew_studio(
    root: bpy.types.Object, collection: bpy.types.Collection, set_up: Callable[[bpy.types.Collection], object]
) -> None:
    """Let table, cover, lamps and camera of a studio stand as in one that is set up now, and be the same ones.

    So what a user gave them stays theirs, as keyframes of the camera; and an undo, which can lose what was removed in
    the step (set_aside.py), has nothing to bring back. What a user has taken away stays away.

    Parameters
    ----------
    root : of the book; nothing happens where it has no studio
    collection : the book's own
    set_up : puts a whole studio into the collection that it is given
    """
    camera = camera_of(root)
    studio = None if camera is None else _studio_of(collection, camera)
    if studio is None:
        return
    # The first of a kind is the studio's own, the others are its copies.
    known = {_thing(item): item for item in reversed(_things_of(root, studio))}
    made = bpy.data.collections.new(STUDIO)
    set_up(made)
    for item in made.objects:
        if _thing(item) in known:
            _stand_as(known[_thing(item)], item)
    remove_objects(made.objects)
    bpy.data.collections.remove(made)


def _thing(item: bpy.types.Object) -> tuple[str, str]:
    """What an object of a studio is: its kind, and its name without the number that tells it from others'."""
    return item.type, re.sub(r"\.\d{3,}$", "", item.name)


def _stand_as(item: bpy.types.Object, other: bpy.types.Object) -> None:
    """Let an object of a studio be as large, and stand as, another one; materials and the rest are its own."""
    item.matrix_basis = other.matrix_basis
    data, new = item.data, other.data
    if isinstance(data, bpy.types.Mesh) and isinstance(new, bpy.types.Mesh):
        shape = bmesh.new()
        shape.from_mesh(new)
        shape.to_mesh(data)
        shape.free()
    elif isinstance(data, bpy.types.AreaLight) and isinstance(new, bpy.types.AreaLight):
        data.size, data.energy = new.size, new.energy


def clear_studio(root: bpy.types.Object, collection: bpy.types.Collection) -> bool:
    """Take a book's studio away, with what was put into it; whether there was one."""
    camera = camera_of(root)
    old = None if camera is None else _studio_of(collection, camera)
    if old is None:
        return False
    items = _things_of(root, old)
    data = [item.data for item in items if item.data is not None]
    bpy.data.batch_remove(items)
    bpy.data.batch_remove([block for block in data if block.users == 0])
    if not old.all_objects:
        set_aside(old)
    return True


def _things_of(root: bpy.types.Object, studio: bpy.types.Collection) -> list[bpy.types.Object]:
    """What of a studio's collection is of one book."""
    return [item for item in studio.objects if root in (root_of(item), bound_root_of(item))]


def _studio_of(collection: bpy.types.Collection, camera: bpy.types.Object) -> bpy.types.Collection | None:
    """The studio's own collection; None where a user has put its camera elsewhere."""
    parts = [item for item in collection.children if item.name.split(".")[0] == STUDIO]
    return next((item for item in parts if camera in list(item.objects)), None)


def _middle(corners: Array) -> tuple[Array, float]:
    """The middle of the motion on the table, and how far it reaches from there, metres."""
    low, high = corners.min(axis=0), corners.max(axis=0)
    center = np.array([(low[0] + high[0]) / 2, (low[1] + high[1]) / 2, 0.0])
    return center, float(np.linalg.norm((high - low)[:2]) / 2)


def _add_table(
    collection: bpy.types.Collection, root: bpy.types.Object, title: str, top_m: float, center: Array, reach: float
) -> None:
    """A sheet of seamless paper: flat under the book, rising behind it in a wide bow."""
    front, back, bow, height, half = -9.0 * reach, 2.6 * reach, 2.4 * reach, 7.0 * reach, 14.0 * reach
    angles = np.radians(np.linspace(0.0, 90.0, 33))
    profile = [(front, 0.0)]
    profile += [(back + bow * float(np.sin(a)), bow - bow * float(np.cos(a))) for a in angles]
    profile.append((back + bow, height))
    vertices = [(x, y, z) for y, z in profile for x in (-half, half)]
    faces = [(2 * i, 2 * i + 1, 2 * i + 3, 2 * i + 2) for i in range(len(profile) - 1)]
    mesh = bpy.data.meshes.new("Table")
    mesh.from_pydata(vertices, [], faces)
    mesh.polygons.foreach_set("use_smooth", np.ones(len(faces), dtype=bool))
    paper = plain_material(f"{title}: table", _TABLE, roughness=0.62)
    paper[TABLE_KEY] = True
    mesh.materials.append(paper)
    mesh.update()
    table = bpy.data.objects.new("Table", mesh)
    table[TABLE_KEY] = True
    table.hide_select = True
    _place(collection, root, table, Matrix.Translation((center[0], center[1], top_m)))


def _add_lamp(
    collection: bpy.types.Collection, root: bpy.types.Object, lamp: _Lamp, center: Array, reach: float
) -> None:
    """One area light that looks at the middle of the book."""
    light: Any = bpy.data.lights.new(lamp.name, "AREA")
    light.shape = "DISK"
    light.size = lamp.size * reach
    light.energy = lamp.power * reach**2
    light.color = lamp.color
    place = Vector(center.tolist()) + Vector(lamp.place) * reach
    aim = Vector((*center[:2], 0.15 * reach)) - place
    matrix = aim.to_track_quat("-Z", "Y").to_matrix().to_4x4()
    matrix.translation = place
    item = bpy.data.objects.new(lamp.name, light)
    item.visible_camera = False
    _place(collection, root, item, matrix)


def _add_camera(
    collection: bpy.types.Collection, root: bpy.types.Object, corners: Array, view: View
) -> bpy.types.Object:
    """The reader's view from the foot of the page."""
    data = bpy.data.cameras.new("Reader")
    data.lens, data.sensor_width, data.sensor_fit = view.lens_mm, view.sensor_mm, "HORIZONTAL"
    place = stand_back(view, corners)
    data.clip_start, data.clip_end = 0.01, 100.0
    matrix = Matrix(look_along(view).tolist()).to_4x4()
    matrix.translation = place.tolist()
    camera = bpy.data.objects.new("Reader", data)
    camera[ASPECT_KEY] = view.aspect
    _place(collection, root, camera, matrix)
    return camera


def _place(collection: bpy.types.Collection, root: bpy.types.Object, item: bpy.types.Object, matrix: Matrix) -> None:
    """Put an object into the studio, standing where it stands before the book's root."""
    item.parent = root
    item.matrix_basis = matrix
    collection.objects.link(item)


def _world(title: str) -> bpy.types.World:
    """Soft light from all around, cooler from above."""
    world = bpy.data.worlds.new(f"{title} studio")
    world[SKY_KEY] = True
    if world.node_tree is None:
        world.use_nodes = True
    nodes, links = world.node_tree.nodes, world.node_tree.links
    nodes.clear()
    place, split = nodes.new("ShaderNodeTexCoord"), nodes.new("ShaderNodeSeparateXYZ")
    ramp, light = nodes.new("ShaderNodeValToRGB"), nodes.new("ShaderNodeBackground")
    ramp.color_ramp.elements[0].color = (*_SKY_FOOT, 1.0)
    ramp.color_ramp.elements[1].color = (*_SKY_TOP, 1.0)
    light.inputs["Strength"].default_value = _SKY_STRENGTH
    links.new(place.outputs["Generated"], split.inputs[0])
    links.new(split.outputs["Z"], ramp.inputs[0])
    links.new(ramp.outputs[0], light.inputs[0])
    links.new(light.outputs[0], nodes.new("ShaderNodeOutputWorld").inputs[0])
    world.cycles.sampling_method = "NONE"
    return world


def _set_look(scene: Any, size: tuple[int, int]) -> None:
    """Colours of the artwork as they are printed, and the size of the picture."""
    scene.render.engine = "CYCLES"
    scene.render.resolution_x, scene.render.resolution_y = size
    scene.render.resolution_percentage = 100
    scene.view_settings.view_transform = "Khronos PBR Neutral"
    scene.view_settings.look = "None"
    scene.cycles.samples = 64
    turn_on_denoising(scene.cycles)
