"""A scene as a film wants it: engine, camera, keyframes; and the scene that turns pictures into a film."""

from __future__ import annotations

import os
import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import bpy

from .film_script import Quality, ShotScript

__all__ = ["VIDEOS", "encode", "moves_besides", "set_up", "turn_on_denoising"]

#: What Blender calls the containers and codecs, by the ending of a film's name.
VIDEOS = {".mp4": ("MPEG4", "H264"), ".webm": ("WEBM", "WEBM")}

#: The properties that say for which aspect a studio's camera was placed, and which object is its table
#: or holds a board up on it.
_ASPECT, _TABLE, _SUPPORT = "hingeleaf_aspect", "hingeleaf_table", "hingeleaf_support"
#: The property of a spread's root that names those which hands move.
_HANDS = "hingeleaf_hands"
#: So many times the samples leave about as little noise as the denoiser would.
_SAMPLES_WITHOUT_DENOISING = 12


def set_up(root: bpy.types.Object, script: ShotScript, quality: Quality) -> bpy.types.Scene:
    """Make the book's scene render a script in a given quality."""
    scene = next(iter(root.users_scene))
    render: Any = scene.render
    eevee = "BLENDER_EEVEE" if bpy.app.version >= (5, 0, 0) else "BLENDER_EEVEE_NEXT"
    render.engine = eevee if quality.engine == "EEVEE" else quality.engine
    render.resolution_x, render.resolution_y = quality.size
    render.resolution_percentage = 100
    render.use_border = render.use_sequencer = render.use_compositing = False
    render.use_persistent_data = True
    render.use_motion_blur, render.motion_blur_shutter = quality.blur > 0, quality.blur
    if quality.engine == "CYCLES":
        _set_up_cycles(scene, quality.samples)
    elif quality.engine == "EEVEE":
        scene.eevee.taa_render_samples = quality.samples
    else:
        scene.display.shading.color_type = "TEXTURE"
        scene.display.shading.show_cavity = True
        scene.view_settings.view_transform, scene.view_settings.exposure = "Standard", 0.9
    for item in root.children_recursive:
        if render.film_transparent and any(item.get(key) is not None for key in (_TABLE, _SUPPORT)):
            # Only Cycles can leave a table's shadow without the table.
            item.is_shadow_catcher = quality.engine == "CYCLES"
            item.hide_render = quality.engine != "CYCLES"
    image = render.image_settings
    if hasattr(image, "media_type"):
        image.media_type = "IMAGE"
    image.file_format, image.color_depth, image.compression = "PNG", "8", 30
    image.color_mode = "RGBA" if render.film_transparent else "RGB"
    _animate(root, scene, script)
    if script.camera is None:
        scene.camera = _camera_of(root, scene)
        _fit(scene, quality.size)
    else:
        scene.camera = _add_camera(root, scene, script)
    return scene


def _set_up_cycles(scene: bpy.types.Scene, samples: int) -> None:
    """Few paths, short ones, and the noise taken out."""
    cycles = scene.cycles
    cycles.use_adaptive_sampling = cycles.use_light_tree = False
    if turn_on_denoising(cycles):
        cycles.samples = samples
        cycles.denoising_input_passes, cycles.denoising_prefilter = "RGB_ALBEDO_NORMAL", "FAST"
        cycles.denoising_quality = "BALANCED"
    else:
        cycles.samples = samples * _SAMPLES_WITHOUT_DENOISING
    cycles.max_bounces, cycles.diffuse_bounces, cycles.glossy_bounces = 4, 3, 1
    cycles.transmission_bounces, cycles.transparent_max_bounces, cycles.volume_bounces = 2, 4, 0
    cycles.caustics_reflective = cycles.caustics_refractive = False
    cycles.sample_clamp_indirect = 4.0
    cycles.seed = 0


def turn_on_denoising(cycles: Any) -> bool:
    """Take the noise out of Cycles' pictures, where this Blender can; some are built without a denoiser."""
    try:
        cycles.denoiser = "OPENIMAGEDENOISE"
    except TypeError:
        cycles.use_denoising = False
        return False
    cycles.use_denoising = True
    return True


def _camera_of(root: bpy.types.Object, scene: bpy.types.Scene) -> bpy.types.Object | None:
    """The scene's own camera, unless that is of another book's studio; then the one that hangs on this book."""
    active, own = scene.camera, [item for item in root.children_recursive if item.type == "CAMERA"]
    if active is not None and (active in own or active.get(_ASPECT) is None):
        return active
    return next(iter(own), active)


def _fit(scene: bpy.types.Scene, size: tuple[int, int]) -> None:
    """Take in all that the camera was placed for, in a picture that is wider than that."""
    camera = scene.camera
    framed = camera.get(_ASPECT) if camera is not None else None
    if framed and size[0] / size[1] > framed * 1.001:
        camera.data.lens *= framed * size[1] / size[0]


def _animate(root: bpy.types.Object, scene: bpy.types.Scene, script: ShotScript) -> None:
    """Key what moves the book at every frame, from frame 1."""
    scene.render.fps, scene.render.fps_base = script.rate, 1.0
    scene.use_preview_range = False
    scene.frame_start, scene.frame_end, scene.frame_step = 1, script.count, 1
    _rest_hands(root)
    motion = root.animation_data_create()
    motion.action, motion.use_nla = None, False
    _key(root, {(f'["{key}"]', 0): values for key, values in script.values.items()}, script.loop)


def _rest_hands(root: bpy.types.Object) -> None:
    """Let hands rest in the spreads of a bound book, and no leaf be turned besides the others: as the camera counts on.

    Drivers stay; what is linked from another file cannot be changed and stays as it is there.
    """
    spreads = [item for item in root.children_recursive if item.get(_HANDS) is not None and item.library is None]
    for item in spreads:
        motion = item.animation_data
        if motion is not None:
            motion.action, motion.use_nla = None, False
        for key in item[_HANDS]:
            said: Any = item.id_properties_ui(key)
            item[key] = said.as_dict()["default"]
        item.update_tag()
    book: Any = root
    if book.library is None:
        keys = list(root.keys())
        for key in filter(re.compile(r"leaf_\d+").fullmatch, keys):
            root[key] = 0.0


def moves_besides(root: bpy.types.Object, scene: bpy.types.Scene, script: ShotScript) -> bool:
    """Whether anything of a scene is keyed that a script does not say: other objects, their looks, the world.

    Parameters
    ----------
    root : the book's root
    scene : where it stands, set up for the film
    script : says what moves the book, and its camera if it has one
    """
    told = {root} if script.camera is None else {root, scene.camera}
    blocks: list[Any] = [scene, scene.world]
    for item in scene.objects:
        blocks += [item] if item not in told else []
        if script.camera is None or item != scene.camera:
            blocks += [item.data, getattr(item.data, "shape_keys", None)]
        blocks += [slot.material for slot in item.material_slots]
    blocks += [getattr(block, "node_tree", None) for block in blocks if block is not None]
    motions = [block.animation_data for block in blocks if block is not None and hasattr(block, "animation_data")]
    return any(motion.action or (motion.use_nla and len(motion.nla_tracks)) for motion in motions if motion)


def _add_camera(root: bpy.types.Object, scene: bpy.types.Scene, script: ShotScript) -> bpy.types.Object:
    """A camera of the film's own that moves as the script says."""
    track: Any = script.camera
    data = bpy.data.cameras.new("Film Camera")
    data.lens, data.sensor_width, data.sensor_fit = track.lens_mm, track.sensor_mm, "HORIZONTAL"
    data.clip_start, data.clip_end = 0.01, 100.0
    data.dof.use_dof = track.f_stop > 0
    data.dof.aperture_fstop = track.f_stop or 8.0
    camera = bpy.data.objects.new("Film Camera", data)
    camera.parent, camera.rotation_mode = root, "QUATERNION"
    # Into the scene itself: the book's collection may be linked from another file.
    scene.collection.objects.link(camera)
    places, turns = (list(zip(*rows, strict=True)) for rows in (track.places, track.turns))
    curves = {("location", axis): values for axis, values in enumerate(places)}
    _key(camera, curves | {("rotation_quaternion", axis): values for axis, values in enumerate(turns)}, script.loop)
    _key(data, {("dof.focus_distance", 0): track.focus_m}, script.loop)
    return camera


def _key(item: Any, curves: Mapping[tuple[str, int], Sequence[float]], loop: bool) -> None:
    """Plain keyframes at every frame; in a loop also beside its ends, for the open shutter."""
    action: Any = bpy.data.actions.new(f"{item.name} film")
    item.animation_data_create().action = action
    for (path, index), values in curves.items():
        keys = [(number + 1.0, float(value)) for number, value in enumerate(values)]
        if loop:
            keys = [(0.0, keys[-1][1]), *keys, (len(keys) + 1.0, keys[0][1])]
        points = action.fcurve_ensure_for_datablock(item, path, index=index).keyframe_points
        points.add(len(keys))
        points.foreach_set("co", [number for key in keys for number in key])
        for point in points:
            point.interpolation = "LINEAR"


def encode(pictures: Sequence[Path], film: Path, size: tuple[int, int], rate: int) -> None:
    """Put pictures in order into one film."""
    scene = bpy.data.scenes.new("Film")
    part = film.with_name(f".part-{os.getpid()}-{film.name}")
    _set_up_video(scene, size, rate, part, VIDEOS[film.suffix.lower()])
    editor = scene.sequence_editor_create()
    strips = editor.strips if hasattr(editor, "strips") else editor.sequences
    scene.frame_start, scene.frame_end = 1, len(pictures)
    for number, picture in enumerate(pictures):
        strips.new_image(f"{number}", str(picture), 1 + number % 2, number + 1)
    bpy.ops.render.render(animation=True, scene=scene.name)
    os.replace(part, film)
    bpy.data.scenes.remove(scene)


def _set_up_video(scene: bpy.types.Scene, size: tuple[int, int], rate: int, file: Path, kind: tuple[str, str]) -> None:
    """Colours as they are in the pictures."""
    render = scene.render
    render.resolution_x, render.resolution_y = size
    render.resolution_percentage = 100
    render.fps, render.fps_base = rate, 1.0
    render.use_sequencer, render.dither_intensity = True, 0.0
    render.filepath, render.use_file_extension = str(file), False
    scene.view_settings.view_transform = "Standard"
    image = render.image_settings
    if hasattr(image, "media_type"):
        image.media_type = "VIDEO"
    image.file_format = "FFMPEG"
    video = render.ffmpeg
    video.format, video.codec, video.audio_codec = kind[0], kind[1], "NONE"
    video.constant_rate_factor, video.ffmpeg_preset, video.gopsize = "HIGH", "GOOD", rate
