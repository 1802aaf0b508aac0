"""Films and stills of a book that stands in the open file, from a script that says what every frame shows.

A film that ends in .mp4 or .webm is encoded from pictures in a folder beside it; any other name is a folder of them.
The scene that is rendered is changed; whoever wants to keep it gives a copy. film_run.py does so in another Blender.
"""

from __future__ import annotations

import json
import os
import shutil
import time
from collections.abc import Callable, Sequence
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

import bpy

from .film_scene import VIDEOS, encode, moves_besides, set_up
from .film_script import STILL_CARE, FilmError, Quality, ShotScript, distinct_frames

__all__ = [
    "FilmError",
    "Quality",
    "ShotScript",
    "frames_folder",
    "join_film",
    "make_film",
    "make_stills",
    "save_for_farm",
]

Progress = Callable[[int, int, str], None]

_SETTINGS = "settings.json"


def frames_folder(film: Path) -> Path:
    """Where the pictures of a film are kept: beside it, or the film itself where that is a folder of pictures."""
    return film.with_name(f"{film.name}.frames") if film.suffix.lower() in VIDEOS else film


def make_stills(root: bpy.types.Object, folder: Path, script: ShotScript, quality: Quality, progress: Progress) -> None:
    """Render each frame of a script as a picture of its own, NAME.png, more carefully than a film's frames."""
    folder.mkdir(parents=True, exist_ok=True)
    scene = set_up(root, script, replace(quality, samples=STILL_CARE * quality.samples, blur=0.0))
    for number, name in enumerate(script.names):
        progress(number, script.count, f"still {name}")
        scene.frame_set(number + 1)
        _render(scene, folder / f"{name}.png")
    progress(script.count, script.count, "stills")


def make_film(
    root: bpy.types.Object,
    film: Path,
    script: ShotScript,
    quality: Quality,
    progress: Progress,
    *,
    source: str,
    frames: tuple[int, int] | None = None,
) -> None:
    """Render the frames of a script and put them together.

    Parameters
    ----------
    root : the book's root
    film : the file (.mp4, .webm) or folder; a file appears when it is complete
    script, quality : what every frame shows, and how it is rendered
    progress : told the number of finished pictures, of all pictures, and what is being done
    source : says what is filmed; pictures that an interrupted film of the same source left are not rendered again
    frames : the first and the last to render, from 1; the film is then joined later. None for the whole film

    Raises
    ------
    FilmError
        The folder holds frames of another film, or pictures are missing after all.
    """
    low, high = frames or (1, script.count)
    if not 1 <= low <= high <= script.count:
        raise FilmError(f"Frames {low}-{high}: the film has the frames 1-{script.count}")
    folder = frames_folder(film)
    settings = {"source": source, "blender": bpy.app.version_string, **_kept(script, quality)}
    shared = frames is not None or folder == film
    _open_folder(folder, {**settings, "parts": True} if frames else settings, keep=shared, claimed=shared)
    scene = set_up(root, script, quality)
    total = high - low + 2
    clock = _Clock()
    # What else moves is not in the script: then no frame is surely like another.
    still = not moves_besides(root, scene, script)
    same = distinct_frames(script, quality.blur) if still else list(range(script.count))
    wanted = list(range(low - 1, high))
    missing = [number for number in wanted if not _complete(_picture(folder, number))]
    clock.left = len({same[number] for number in missing})
    twins: dict[int, Path] = {same[number]: _picture(folder, number) for number in wanted if number not in missing}
    for number in missing:
        progress(number - low + 1, total, f"frame {number + 1}")
        if same[number] in twins:
            _copy(twins[same[number]], _picture(folder, number))
            continue
        scene.frame_set(number + 1)
        with clock:
            _render(scene, _picture(folder, number))
        twins[same[number]] = _picture(folder, number)
    progress(total - 1, total, "film")
    if frames is None and folder != film:
        join_film([folder], film)
        shutil.rmtree(folder)
    progress(total, total, "film")


def join_film(folders: Sequence[Path], film: Path) -> None:
    """Put the pictures of one or more folders, rendered apart, into one film.

    Raises
    ------
    FilmError
        They do not belong together, or frames are missing.
    """
    settings = [_settings_of(folder) for folder in folders]
    for folder, other in zip(folders[1:], settings[1:], strict=True):
        if differing := _differing(settings[0], other):
            raise FilmError(f"{folder}: its frames are of another film than those in {folders[0]} ({differing})")
    count, size = len(next(iter(settings[0]["script"]["values"].values()))), settings[0]["quality"]["size"]
    pictures = [_find(folders, number) for number in range(count)]
    missing = [number + 1 for number, picture in enumerate(pictures) if picture is None]
    if missing:
        broken = any(_picture(folder, number - 1).exists() for folder in folders for number in missing)
        what = "missing or half written; delete those there are, and render" if broken else "missing; render"
        raise FilmError(f"{folders[0]}: of {count} frames {_ranges(missing)} {'is' if len(missing) == 1 else 'are'} "
                        f"{what} them before joining")  # fmt: skip
    if film.suffix.lower() not in VIDEOS:
        raise FilmError(f"{film}: a film's name ends in {' or '.join(VIDEOS)}")
    encode([picture for picture in pictures if picture is not None], film, tuple(size), settings[0]["script"]["rate"])


def save_for_farm(root: bpy.types.Object, file: Path, script: ShotScript, quality: Quality, *, source: str) -> None:
    """Save the open file as one that any Blender renders by itself: packed, keyed, its output set.

    The pictures go into the folder NAME.frames beside it, which is made with the note by which they are joined.

    Parameters
    ----------
    root : the book's root
    file : the file to write
    script, quality : what every frame shows, and how it is rendered
    source : says what is filmed

    Raises
    ------
    FilmError
        The folder holds frames of another film, or the book is linked from another file, which a farm has not.
    """
    book: Any = root
    if book.library is not None or book.override_library is not None:
        raise FilmError(f"{root.name} is linked from another file, which a farm has not: press Make Book Local first")
    folder = file.with_name(f"{file.stem}.frames")
    _open_folder(folder, {"source": source, "blender": "", **_kept(script, quality)}, keep=True)
    scene = set_up(root, script, quality)
    scene.render.filepath = f"//{folder.name}/####"
    scene.render.use_file_extension, scene.render.use_overwrite = True, False
    _pack()
    bpy.context.window.scene = scene
    part = file.with_name(f".part-{file.name}")
    bpy.ops.wm.save_as_mainfile(filepath=str(part), compress=True, copy=True)
    os.replace(part, file)


def _pack() -> None:
    """Put every file that is used into this one; what is gone has long not been seen, and does not stop a film."""
    for image in bpy.data.images:
        if image.source == "FILE" and image.packed_file is None and image.has_data and not image.library:
            try:
                image.pack()
            except RuntimeError as error:
                print(f"warning: {image.name}: {str(error).strip()}", flush=True)
    try:
        bpy.ops.file.pack_all()
    except RuntimeError as error:
        print(f"warning: not every file could be packed: {str(error).strip()}", flush=True)


class _Clock:
    """Tells how long the pictures that are left will take, judged by those that it has seen made."""

    def __init__(self) -> None:
        self.left = 0
        self.took: list[float] = []

    def __enter__(self) -> None:
        self.begun = time.monotonic()

    def __exit__(self, *_: object) -> None:
        self.took.append(time.monotonic() - self.begun)
        self.left -= 1
        usual = self.took[1:] or self.took  # the first also builds everything
        each = sum(usual) / len(usual)
        print(f"LEFT {each * self.left:.0f} s, {each:.2f} s a frame", flush=True)


def _kept(script: ShotScript, quality: Quality) -> dict[str, Any]:
    """What must be the same in pictures of one film, as JSON gives it back."""
    kept: dict[str, Any] = json.loads(json.dumps({"script": asdict(script), "quality": asdict(quality)}))
    return kept


def _open_folder(folder: Path, settings: dict[str, Any], *, keep: bool, claimed: bool = False) -> None:
    """Make the frames folder; pictures of another film are thrown away, or refused where they are to be kept.

    Parts that were rendered by themselves are always kept. Where several computers may share the folder, the note of
    another film claims it before that has any pictures.
    """
    folder.mkdir(parents=True, exist_ok=True)
    noted = (folder / _SETTINGS).exists()
    before = _settings_of(folder) if noted else {}
    differing = _differing(before, settings) if noted else "nothing says of which"
    if not differing:
        if settings.get("parts") and not before.get("parts"):
            _write(folder / _SETTINGS, json.dumps(settings, sort_keys=True))
        return
    old = sorted(folder.glob("[0-9]*.png"))
    if (old and (keep or before.get("parts"))) or (noted and claimed):
        raise FilmError(f"{folder}: it holds pictures of another film ({differing}); choose another name or delete it")
    for picture in old:
        picture.unlink()
    _write(folder / _SETTINGS, json.dumps(settings, sort_keys=True))


def _settings_of(folder: Path) -> dict[str, Any]:
    """The note that is kept with frames."""
    try:
        settings: dict[str, Any] = json.loads((folder / _SETTINGS).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        raise FilmError(f"{folder}: there are no frames of a film, or their {_SETTINGS} cannot be read") from None
    return settings


def _differing(one: dict[str, Any], two: dict[str, Any]) -> str:
    """What two notes differ in, "" where they are the same."""
    names = {"source": "the book or the version of Hingeleaf", "blender": "Blender's version", "script": "the shot"}
    found = [said for key, said in names.items() if one.get(key) != two.get(key)]
    qualities = one.get("quality", {}), two.get("quality", {})
    found += [key for key in Quality.__dataclass_fields__ if qualities[0].get(key) != qualities[1].get(key)]
    return ", ".join(found) + (" differs" if len(found) == 1 else " differ") if found else ""


def _ranges(numbers: Sequence[int]) -> str:
    """Numbers in words: 3, 5-9."""
    parts: list[list[int]] = []
    for number in numbers:
        if parts and number == parts[-1][1] + 1:
            parts[-1][1] = number
        else:
            parts.append([number, number])
    return ", ".join(f"{low}" if low == high else f"{low}-{high}" for low, high in parts)


def _picture(folder: Path, number: int) -> Path:
    """The file of a frame, counted from 0, as Blender itself would name it."""
    return folder / f"{number + 1:04d}.png"


def _find(folders: Sequence[Path], number: int) -> Path | None:
    return next((file for folder in folders if _complete(file := _picture(folder, number))), None)


def _complete(picture: Path) -> bool:
    """Whether a picture is there to its end; a farm's Blender that was stopped leaves half a file.

    Source: PNG specification (ISO/IEC 15948): the last chunk of 12 bytes is IEND.
    """
    try:
        with picture.open("rb") as stream:
            stream.seek(-16, os.SEEK_END)
            return b"IEND" in stream.read()
    except OSError:
        return False


def _write(file: Path, text: str) -> None:
    """Write a file so that it appears complete."""
    part = file.with_name(f".part-{os.getpid()}-{file.name}")
    part.write_text(text, encoding="utf-8")
    os.replace(part, file)


def _copy(source: Path, target: Path) -> None:
    part = target.with_name(f".part-{os.getpid()}-{target.name}")
    shutil.copyfile(source, part)
    os.replace(part, target)


def _render(scene: bpy.types.Scene, file: Path) -> None:
    """Render one picture; the file appears when it is complete."""
    part = file.with_name(f".part-{os.getpid()}-{file.name}")
    scene.render.filepath = str(part)
    scene.render.use_file_extension = False
    bpy.ops.render.render(write_still=True, scene=scene.name)
    os.replace(part, file)
