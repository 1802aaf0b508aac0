"""A book with its motion as a file for other programs, glTF or USD, written by Blender's own exporters.

They understand neither drivers nor the shader of card, and look only at whole frames. So a scene of its own is made for
them, in which time goes STEPS times as fast: plain objects with a keyframe at every sample, and plain materials. It is
removed again, whatever happens; nothing of the user's scene is changed.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import bpy
import numpy as np
from mathutils import Matrix

from .baking import bases_of
from .export_materials import PlainMaterials
from .geometry.errors import FileError
from .geometry.transforms import Array
from .keyframes import channels_of, write_keys
from .motion_samples import (
    STEPS,
    MotionSamples,
    all_shown,
    book_objects,
    is_rendered,
    refuse_linked,
    sample_motion,
    top_of,
)

__all__ = ["GLTF_ENDS", "USD_ENDS", "export_gltf", "export_usd"]

#: What files of each kind may be called at their end.
GLTF_ENDS = (".glb",)
USD_ENDS = (".usdc", ".usda", ".usd", ".usdz")
#: Where Blender writes the pictures of a USD file, and where they lie until then.
_TEXTURES, _PICTURES = "textures", "pictures"


def export_gltf(context: bpy.types.Context, root: bpy.types.Object, path: Path, start: int, end: int) -> None:
    """Write a book with its motion and its artwork as one glTF file.

    Parameters
    ----------
    context : its scene is played
    root : the book; where it is a spread of a bound book, all of that is written
    path : ends in .glb
    start, end : first and last frame; where the first is negative, the file's begin at 0

    Raises
    ------
    FileError
        It cannot be written; then nothing was.
    HingeleafError
        There are no such frames, or the book is another file's.
    """

    def write(part: Path) -> None:
        bpy.ops.export_scene.gltf(
            filepath=str(part),
            export_format="GLB",
            use_active_scene=True,
            export_yup=True,
            export_apply=False,
            export_animations=True,
            export_animation_mode="SCENE",
            export_anim_scene_split_object=False,
            export_frame_range=True,
            export_force_sampling=True,
            export_optimize_animation_size=False,
            export_cameras=False,
            export_lights=False,
            export_attributes=False,
        )

    _export(context, root, path, (start, end), GLTF_ENDS, write)


def export_usd(context: bpy.types.Context, root: bpy.types.Object, path: Path, start: int, end: int) -> None:
    """Write a book with its motion as USD; its artwork lies in the folder textures beside it, or in a .usdz.

    Names of pictures tell what is in them, so that none of another file there is overwritten.
    Parameters and errors as export_gltf's; path ends in .usdc, .usda, .usd or .usdz.
    """

    def write(part: Path) -> None:
        bpy.ops.wm.usd_export(
            filepath=str(part),
            selected_objects_only=False,
            export_animation=True,
            export_materials=True,
            generate_preview_surface=True,
            export_textures_mode="NEW",
            overwrite_textures=True,
            relative_paths=True,
            export_custom_properties=False,
            convert_world_material=False,
            export_lights=False,
            export_cameras=False,
        )

    _export(context, root, path, (start, end), USD_ENDS, write)


def _export(
    context: bpy.types.Context,
    root: bpy.types.Object,
    path: Path,
    frames: tuple[int, int],
    ends: Sequence[str],
    write: Callable[[Path], None],
) -> None:
    """Write into a folder beside the file and move it from there, so that it appears complete or not at all."""
    _check(path, ends)
    items = book_objects(top_of(root))
    refuse_linked(items)
    samples = sample_motion(context, items, *frames)
    # Files know no frames before 0.
    samples = replace(samples, times=samples.times - min(0.0, samples.times[0]))
    folder = None
    try:
        folder = Path(tempfile.mkdtemp(prefix="hingeleaf-", dir=path.parent))
        part = folder / path.name
        (folder / _PICTURES).mkdir()
        with _scene_for_export(context, items, samples, PlainMaterials(folder / _PICTURES)):
            write(part)
        if not part.is_file():
            raise FileError(f"{path}: Blender wrote no file there; see its console for why")
        _move(folder, path)
    except (OSError, RuntimeError, AttributeError) as error:
        reason = getattr(error, "strerror", None) or " ".join(str(error).split())
        raise FileError(f"{path}: it cannot be written ({reason})") from None
    finally:
        if folder is not None:
            shutil.rmtree(folder, ignore_errors=True)


def _move(folder: Path, path: Path) -> None:
    """Put what was written in its place, the file after the pictures that it names."""
    for picture in (folder / _TEXTURES).glob("*"):
        (path.parent / _TEXTURES).mkdir(exist_ok=True)
        os.replace(picture, path.parent / _TEXTURES / picture.name)
    os.replace(folder / path.name, path)


def _check(path: Path, ends: Sequence[str]) -> None:
    if path.suffix.lower() not in ends:
        raise FileError(f"{path}: a file of this kind ends in {' or '.join(ends)}")
    if path.is_dir():
        raise FileError(f"{path}: this is a folder; choose a file")
    if not path.parent.is_dir():
        raise FileError(f"{path}: the folder {path.parent} is not there; make it first")
    if not os.access(path.parent, os.W_OK):
        raise FileError(f"{path}: nothing can be written into the folder {path.parent}; choose another")


@contextlib.contextmanager
def _scene_for_export(
    context: bpy.types.Context, items: Sequence[bpy.types.Object], samples: MotionSamples, plain: PlainMaterials
) -> Iterator[None]:
    """A scene with a plain copy of a book, active until it is removed again."""
    made, before = _everything(), (context.window.scene, context.window.view_layer)
    names = {item.name: item for item in items}
    scene = bpy.data.scenes.new("Hingeleaf Export")
    try:
        _set_time(scene, context.scene, samples.times)
        with all_shown(context, items):
            drawn = [item for item in items if item.type in ("MESH", "CURVE") and is_rendered(item)]
            meshes = {item.name: _mesh(context, item, plain) for item in drawn}
        for number, item in enumerate(names.values(), start=1):
            # So that the copies can be called as the book's objects are; a long name would be cut back to it.
            item.name = f"Hingeleaf Export {number}"
        _fill(scene.collection, names, meshes, samples)
        context.window.scene = scene
        # The context may still know the other scene; exporters read where objects are.
        scene.frame_set(scene.frame_start)
        scene.view_layers[0].update()
        yield
    finally:
        context.window.scene, context.window.view_layer = before
        gone = [block for block in _everything() if block not in made]
        bpy.data.batch_remove(gone)
        for name, item in names.items():
            item.name = name


def _everything() -> set[Any]:
    """All that an export may add to a file."""
    data = bpy.data
    kinds: tuple[Any, ...] = (data.scenes, data.objects, data.meshes, data.materials, data.images, data.actions)
    return {block for kind in kinds for block in kind}


def _set_time(scene: Any, shown: Any, times: Array) -> None:
    scene.render.fps, scene.render.fps_base = shown.render.fps * STEPS, shown.render.fps_base
    scene.frame_start, scene.frame_end = (round(STEPS * float(time)) for time in (times[0], times[-1]))
    scene.unit_settings.scale_length = shown.unit_settings.scale_length


def _mesh(context: bpy.types.Context, item: bpy.types.Object, plain: PlainMaterials) -> bpy.types.Mesh:
    """What is drawn of an object, but for what moves it off its own plane."""
    depsgraph = context.evaluated_depsgraph_get()
    seen: Any = item.evaluated_get(depsgraph)
    mesh = bpy.data.meshes.new_from_object(seen, preserve_all_data_layers=True, depsgraph=depsgraph)
    for name in [layer.name for layer in mesh.attributes if layer.name.startswith("Crease ")]:
        mesh.attributes.remove(mesh.attributes[name])
    off = sum((_way(modifier) for modifier in seen.modifiers if modifier.type == "DISPLACE"), np.zeros(3))
    mesh.transform(Matrix.Translation((-off).tolist()))
    mesh.name = f"{item.name} card"
    for index, material in enumerate(plain.of(list(mesh.materials))):
        mesh.materials[index] = material
    return mesh


def _way(modifier: Any, strength: float | None = None) -> Array:
    """Where a modifier moves what is drawn, (3,) float, metres."""
    if not modifier.show_viewport:
        return np.zeros(3)
    amount = modifier.strength * (1.0 - modifier.mid_level) if strength is None else strength
    return np.asarray(amount * np.eye(3)["XYZ".index(modifier.direction)])


def _fill(
    collection: bpy.types.Collection,
    items: Mapping[str, bpy.types.Object],
    meshes: Mapping[str, bpy.types.Mesh],
    samples: MotionSamples,
) -> None:
    """The copies: each a plain object, with what is drawn of it hung on it where that moves by itself."""
    copies: dict[bpy.types.Object, bpy.types.Object] = {}
    renamed = {item.name: name for name, item in items.items()}
    shown = {items[name].name: places for name, places in samples.worlds.items()}
    bases = bases_of(list(items.values()), MotionSamples(samples.times, shown, {}), inverses=False)
    for item in items.values():
        name = renamed[item.name]
        mesh = meshes.get(name)
        off = None if mesh is None else _offsets(item, name, samples)
        if mesh is not None and off is not None and np.ptp(off, axis=0).max() == 0.0:
            mesh.transform(Matrix.Translation(off[0].tolist()))
            off = None
        copy = bpy.data.objects.new(name, mesh if off is None else None)
        collection.objects.link(copy)
        if item.parent in copies:
            copy.parent = copies[item.parent]
        # Blender 4.5 does not tell exporters where objects without keyframes come to be: so it is written there.
        copy.matrix_world = Matrix(samples.worlds[name][0].tolist())
        _animate(copy, bases[item.name], samples.times)
        if off is not None:
            drawn = bpy.data.objects.new(f"{name} card", mesh)
            collection.objects.link(drawn)
            drawn.parent = copy
            moved = np.tile(np.eye(4), (len(off), 1, 1))
            moved[:, :3, 3] = off
            _animate(drawn, moved, samples.times)
        copies[item] = copy


def _offsets(item: bpy.types.Object, name: str, samples: MotionSamples) -> Array | None:
    """Where modifiers move what is drawn of an object, (n, 3) float, metres; None where there are none."""
    ways = [
        np.outer(samples.strengths[name, modifier.name], _way(modifier, 1.0))
        for modifier in item.modifiers
        if modifier.type == "DISPLACE"
    ]
    return np.asarray(sum(ways)) if ways else None


def _animate(copy: bpy.types.Object, bases: Array, times: Array) -> None:
    channels = channels_of(bases, by_euler=False)
    copy.rotation_mode = "QUATERNION"
    for column, (path, index) in enumerate(channels.paths):
        values = channels.values[:, column]
        getattr(copy, path)[index] = float(values[0])
        write_keys(copy, path, index, STEPS * times, values)
