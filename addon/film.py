"""Stills and the opening film of a book that stands in the open file.

This module needs nothing but Blender, so that it also runs by itself, in a Blender of its own on a copy of the file:

    blender --background --python film.py -- --blend BOOK.blend --root NAME --film FILM.mp4 [options]

It changes the scene that it renders; whoever wants to keep the scene gives it a copy.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

import bpy

__all__ = [
    "FilmPlan",
    "Moment",
    "Quality",
    "frames_folder",
    "make_film",
    "make_stills",
    "moments",
    "openings",
    "turn_on_denoising",
]

Progress = Callable[[int, int, str], None]

#: The root's property that opens the book, and the one that has those of what hands move; the camera's property that
#: says for which aspect it was placed.
_OPENING, _HANDS, _ASPECT = "opening", "hingeleaf_hands", "hingeleaf_aspect"

#: Every property of the root at one picture, by its name.
Moment = Mapping[str, float]
#: The hand starts gently and takes longer to settle than to start.
_SETTLE = 0.82
#: So many times the samples leave about as little noise as the denoiser would.
_SAMPLES_WITHOUT_DENOISING = 12
#: A still is looked at for longer than a frame: so many times its samples.
_STILL_CARE = 4


@dataclass(frozen=True)
class Quality:
    """How pictures are rendered.

    Parameters
    ----------
    size : width and height, pixels
    samples : light paths a pixel; the noise that they leave is taken out afterwards
    engine : a render engine of Blender; samples matter to Cycles only
    blur : how much of a frame's time the shutter is open; 0 for none
    """

    size: tuple[int, int] = (1280, 720)
    samples: int = 8
    engine: str = "CYCLES"
    blur: float = 0.35


@dataclass(frozen=True)
class FilmPlan:
    """How the opening goes in time, in frames; then, while the book lies open, each hand moves there and back."""

    rate: int = 24
    hold_closed: int = 12
    turn: int = 84
    hold_open: int = 24
    hand: int = 60


def openings(plan: FilmPlan, low_deg: float, high_deg: float) -> list[float]:
    """The opening at each picture to render: the closed book, the turn, the open book.

    Parameters
    ----------
    plan : FilmPlan
    low_deg, high_deg : smallest and largest opening, degrees

    Returns
    -------
    list of turn + 1 openings, degrees; the first and the last are held in the film

    Notes
    -----
    Source: the minimum-jerk reach of a hand, 10 t^3 - 15 t^4 + 6 t^5 (Flash and Hogan 1985, recalled), with the time
    bent so that settling takes longer than starting.
    """
    return [low_deg + (high_deg - low_deg) * _reached(picture / plan.turn) for picture in range(plan.turn + 1)]


def _reached(time: float) -> float:
    """Part of its way that a hand has gone after a part of its time, both 0 to 1."""
    bent: float = time**_SETTLE
    return bent**3 * (10.0 + bent * (6.0 * bent - 15.0))


def moments(
    plan: FilmPlan, opening_deg: tuple[float, float], hands: Mapping[str, tuple[float, float, float]]
) -> list[Moment]:
    """What every picture of a film shows: the opening, then each hand's movement there and back.

    Parameters
    ----------
    plan : FilmPlan
    opening_deg : smallest and largest opening, degrees
    hands : by property, where it rests, and its smallest and largest value

    Returns
    -------
    list of Moment; a hand that rests between its ends goes to both, one after the other
    """
    still = {key: rest for key, (rest, _, _) in hands.items()}
    result: list[Moment] = [{_OPENING: angle, **still} for angle in openings(plan, *opening_deg)]
    for key, (rest, low, high) in hands.items():
        for end in (high, low):
            if end == rest:
                continue
            half = max(1, plan.hand // 2)
            shares = [_reached(step / half) for step in range(1, half + 1)]
            back = [_reached(1.0 - step / half) for step in range(1, half + 1)]
            for share in shares + back:
                result.append({_OPENING: opening_deg[1], **still, key: rest + (end - rest) * share})
    return result


def frames_folder(film: Path) -> Path:
    """Where the pictures of an unfinished film are kept, beside it."""
    return film.with_name(f".{film.name}.frames")


def make_stills(
    root: bpy.types.Object, shown: Sequence[Moment], folder: Path, quality: Quality, progress: Progress
) -> list[Path]:
    """Render the book as it is at given moments, more carefully than a film's frames.

    Returns
    -------
    the files, opening-DDD.png in the folder by the opening; opening-DDD-N.png, counted from 1, where several show the
    same one
    """
    folder.mkdir(parents=True, exist_ok=True)
    scene = _set_up(root, replace(quality, samples=_STILL_CARE * quality.samples, blur=0.0))
    names = [f"opening-{moment[_OPENING]:03.0f}" for moment in shown]
    files = []
    for number, (moment, name) in enumerate(zip(shown, names, strict=True)):
        progress(number, len(shown), f"still at {moment[_OPENING]:g}°")
        for key, value in moment.items():
            root[key] = float(value)
        root.update_tag()
        count = f"-{names[: number + 1].count(name)}" if names.count(name) > 1 else ""
        file = folder / f"{name}{count}.png"
        _render(scene, file)
        files.append(file)
    progress(len(shown), len(shown), "stills")
    return files


def make_film(
    root: bpy.types.Object, film: Path, quality: Quality, progress: Progress, *, plan: FilmPlan, source: str
) -> None:
    """Render the opening and write it as MP4 (H.264).

    Parameters
    ----------
    root : the book's root
    film : the file; it appears when it is complete
    quality, plan : how it is rendered, how it goes in time
    progress : told the number of finished pictures, of all pictures, and what is being done
    source : says what is filmed; pictures that an interrupted film of the same source left are not rendered again
    """
    settings = {"source": source, "blender": bpy.app.version_string, **asdict(quality), **asdict(plan)}
    folder = _open_folder(film, settings)
    scene = _set_up(root, quality)
    ranges = {key: _range(root, key) for key in root.get(_HANDS, {})}
    _, low, high = _range(root, _OPENING)
    shown = moments(plan, (low, high), ranges)
    _animate(root, scene, shown, plan.rate)
    pictures = [folder / f"{number:04d}.png" for number in range(len(shown))]
    for number, picture in enumerate(pictures):
        progress(number, len(shown) + 1, f"frame at {shown[number][_OPENING]:.0f}°")
        if not picture.exists():
            scene.frame_set(number + 1)
            _render(scene, picture)
    progress(len(shown), len(shown) + 1, "film")
    order = [pictures[0]] * plan.hold_closed + pictures + [pictures[-1]] * plan.hold_open
    _encode(order, film, folder / "film.mp4", quality.size, plan.rate)
    shutil.rmtree(folder)
    progress(len(shown) + 1, len(shown) + 1, "film")


def _open_folder(film: Path, settings: dict[str, object]) -> Path:
    """The frames folder; pictures that were made in another way are thrown away."""
    folder = frames_folder(film)
    note = folder / "settings.json"
    text = json.dumps(settings, sort_keys=True)
    folder.mkdir(parents=True, exist_ok=True)
    if not note.exists() or note.read_text(encoding="utf-8") != text:
        for old in folder.glob("*.png"):
            old.unlink()
        note.write_text(text, encoding="utf-8")
    return folder


def _range(root: bpy.types.Object, key: str) -> tuple[float, float, float]:
    """Where a property of the book begins, and its smallest and largest value."""
    limits: Any = root.id_properties_ui(key)
    limits = limits.as_dict()
    return float(limits["default"]), float(limits["min"]), float(limits["max"])


def _set_up(root: bpy.types.Object, quality: Quality) -> bpy.types.Scene:
    """Make the book's scene render in a given quality, through the book's own camera where it has one."""
    scene = next(iter(root.users_scene))
    scene.camera = next((item for item in root.children_recursive if item.type == "CAMERA"), scene.camera)
    render: Any = scene.render
    render.engine = quality.engine
    render.resolution_x, render.resolution_y = quality.size
    render.resolution_percentage = 100
    render.use_persistent_data = True
    render.use_sequencer = render.use_compositing = False
    render.use_motion_blur, render.motion_blur_shutter = quality.blur > 0, quality.blur
    if quality.engine == "CYCLES":
        _set_up_cycles(scene, quality.samples)
    elif quality.engine == "BLENDER_WORKBENCH":
        scene.display.shading.color_type = "TEXTURE"
        scene.display.shading.show_cavity = True
        scene.view_settings.view_transform, scene.view_settings.exposure = "Standard", 0.9
    _fit(scene, quality.size)
    image = render.image_settings
    if hasattr(image, "media_type"):
        image.media_type = "IMAGE"
    image.file_format, image.color_mode, image.color_depth, image.compression = "PNG", "RGB", "8", 30
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


def _fit(scene: bpy.types.Scene, size: tuple[int, int]) -> None:
    """Take in all that the camera was placed for, in a picture that is wider than that."""
    camera = scene.camera
    framed = camera.get(_ASPECT) if camera is not None else None
    if framed and size[0] / size[1] > framed * 1.001:
        camera.data.lens *= framed * size[1] / size[0]


def _animate(root: bpy.types.Object, scene: bpy.types.Scene, shown: list[Moment], rate: int) -> None:
    """Key the opening, and what hands move, at every frame, from frame 1."""
    scene.render.fps, scene.render.fps_base = rate, 1.0
    root.animation_data_clear()
    for number, moment in enumerate(shown):
        for key, value in moment.items():
            root[key] = value
            root.keyframe_insert(f'["{key}"]', frame=number + 1)
    scene.frame_start, scene.frame_end = 1, len(shown)


def _render(scene: bpy.types.Scene, file: Path) -> None:
    """Render one picture; the file appears when it is complete."""
    part = file.with_name(f".part-{file.name}")
    scene.render.filepath = str(part)
    scene.render.use_file_extension = False
    bpy.ops.render.render(write_still=True, scene=scene.name)
    os.replace(part, file)


def _encode(pictures: list[Path], film: Path, part: Path, size: tuple[int, int], rate: int) -> None:
    """Put pictures in order into one film."""
    scene = bpy.data.scenes.new("Film")
    _set_up_video(scene, size, rate, part)
    editor = scene.sequence_editor_create()
    strips = editor.strips if hasattr(editor, "strips") else editor.sequences
    scene.frame_start, scene.frame_end = 1, len(pictures)
    for number, picture in enumerate(pictures):
        strips.new_image(f"{number}", str(picture), 1 + number % 2, number + 1)
    bpy.ops.render.render(animation=True, scene=scene.name)
    os.replace(part, film)
    bpy.data.scenes.remove(scene)


def _set_up_video(scene: bpy.types.Scene, size: tuple[int, int], rate: int, file: Path) -> None:
    """H.264 in MP4, colours as they are in the pictures."""
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
    video.format, video.codec, video.audio_codec = "MPEG4", "H264", "NONE"
    video.constant_rate_factor, video.ffmpeg_preset, video.gopsize = "HIGH", "GOOD", rate


def _say(done: int, total: int, label: str) -> None:
    """Tell whoever started this Blender how far it is."""
    print(f"PROGRESS {done} {total} {label}", flush=True)


def _arguments(words: list[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="film.py", description="Film a book that opens.")
    parser.add_argument("--blend", type=Path, required=True)
    parser.add_argument("--root", required=True)
    parser.add_argument("--film", type=Path, required=True)
    parser.add_argument("--source", default="")
    parser.add_argument("--quality", type=json.loads, default={})
    parser.add_argument("--plan", type=json.loads, default={})
    return parser.parse_args(words)


def main(words: list[str]) -> None:
    """Film the book of a file."""
    given = _arguments(words)
    bpy.ops.wm.open_mainfile(filepath=str(given.blend), use_scripts=False)
    quality, plan = Quality(**given.quality), FilmPlan(**given.plan)
    make_film(bpy.data.objects[given.root], given.film, quality, _say, plan=plan, source=given.source)


if __name__ == "__main__":
    main(sys.argv[sys.argv.index("--") + 1 :])
