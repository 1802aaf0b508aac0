"""Filming beside the work: a Blender of its own films a copy of the file while the user goes on."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from dataclasses import asdict, dataclass, replace
from pathlib import Path

import bpy

from . import film_run
from .carrying import shown_images
from .film_script import STILL_CARE, Quality, ShotScript, distinct_frames
from .film_source import source_digest
from .geometry.errors import FileError

__all__ = [
    "FilmJob",
    "duration",
    "expected_seconds",
    "measured",
    "running_job",
    "start_film",
    "start_joining",
    "stop_running",
]

#: Seconds a frame of a megapixel, and what each sample adds to it, times processors: measured on two of them; a rule
#: of thumb until this computer has made a film.
_SECONDS = {"CYCLES": (1.6, 0.36), "EEVEE": (2.0, 0.1), "BLENDER_WORKBENCH": (1.2, 0.0)}
#: What a frame took in the last film, over that rule, by engine.
_measured: dict[str, float] = {}

#: Windows would open a console for every process otherwise.
_WITHOUT_A_CONSOLE = getattr(subprocess, "CREATE_NO_WINDOW", 0)


@dataclass
class FilmJob:
    """A film being made.

    Parameters
    ----------
    file : the film
    process : the Blender that makes it
    log : what that Blender says
    quality : how its pictures are rendered
    what : what is made, as it is named in a sentence
    keeps : whether pictures that are finished are kept when it is stopped, for the next time
    stopped : whether the user stopped it
    """

    file: Path
    process: subprocess.Popen[bytes]
    log: Path
    quality: Quality
    what: str = "film"
    keeps: bool = False
    stopped: bool = False

    def progress(self) -> tuple[float, str]:
        """Finished share, 0 to 1, and what is being done and how long it will yet take."""
        lines = self._lines()
        left = next((line.split() for line in reversed(lines) if line.startswith("LEFT ")), None)
        for line in reversed(lines):
            if line.startswith("PROGRESS "):
                _, done, total, label = line.split(" ", 3)
                about = f", about {duration(float(left[1]))} left" if left and label.startswith("frame") else ""
                return int(done) / int(total), label + about
        return 0.0, "starting"

    def running(self) -> bool:
        """Whether it still goes on."""
        return self.process.poll() is None

    def stop(self) -> None:
        """End it; the pictures made so far stay beside the film."""
        self.stopped = True
        if self.running():
            self.process.terminate()
            try:
                self.process.wait(5)
            except subprocess.TimeoutExpired:
                self.process.kill()
                self.process.wait()

    def finish(self) -> None:
        """Wait for the end.

        Raises
        ------
        FileError
            There is no film.
        """
        status = self.process.wait()
        taken = [float(line.split()[3]) for line in self._lines() if line.startswith("LEFT ")]
        if taken:
            _measured[self.quality.engine] = taken[-1] / _rule(self.quality)
        if status != 0 and not self.stopped:
            raise FileError(f"{self.file}: the {self.what} was not finished ({self._reason()})")

    def _lines(self) -> list[str]:
        return self.log.read_text(encoding="utf-8", errors="replace").splitlines()

    def _reason(self) -> str:
        """The last error in the log, or the last line of it."""
        lines = [line.strip() for line in self._lines() if line.strip()] or ["it said nothing"]
        said = [line.removeprefix("ERROR ") for line in lines if line.startswith("ERROR ")]
        errors = said or [line for line in lines if re.match(r"(\w+\.)*\w*Error: (?!script failed)", line)]
        return (errors or lines)[-1]


_jobs: list[FilmJob] = []


def running_job() -> FilmJob | None:
    """The film being made, None where there is none."""
    return next((job for job in _jobs if job.running()), None)


def stop_running() -> None:
    """End the film being made, if there is one."""
    job = running_job()
    if job is not None:
        job.stop()


def duration(seconds: float) -> str:
    """Seconds in words, as exact as a guess may be: 40 s, 7 min, 2.5 h."""
    if seconds < 90.0:
        return f"{seconds:.0f} s"
    return f"{seconds / 60.0:.0f} min" if seconds < 5400.0 else f"{seconds / 3600.0:.1f} h"


def expected_seconds(script: ShotScript, quality: Quality) -> float:
    """What a film will take on this computer, by the last one, or before that by a rule of thumb."""
    if script.names:
        return script.count * _rule(replace(quality, samples=STILL_CARE * quality.samples)) * measured(quality)
    return len(set(distinct_frames(script, quality.blur))) * _rule(quality) * measured(quality)


def measured(quality: Quality) -> float:
    """How much slower than the rule of thumb the last film with such an engine was; 1 before any was made."""
    return _measured.get(quality.engine, 1.0)


def _rule(quality: Quality) -> float:
    """Seconds a frame by rule of thumb."""
    fixed, each = _SECONDS[quality.engine]
    return quality.size[0] * quality.size[1] * 1e-6 * (fixed + each * quality.samples) / ((os.cpu_count() or 2) / 2)


def start_film(
    root: bpy.types.Object, file: Path, script: ShotScript, quality: Quality, *, farm: bool = False
) -> FilmJob:
    """Start filming a copy of the open file.

    Parameters
    ----------
    root : the book's root
    file : where the film goes
    script, quality : what every frame shows, and how it is rendered
    farm : whether a file for a render farm is wanted, and no film

    Returns
    -------
    FilmJob

    Raises
    ------
    FileError
        The folder does not exist, the copy cannot be written, painted pixels are nowhere but in Blender's memory, or
        another film is being made.
    """
    _refuse_second(file)
    if not file.parent.is_dir():
        raise FileError(f"{file.parent}: there is no such folder; choose one that exists")
    _keep_painted(root)
    copy = Path(bpy.app.tempdir, "hingeleaf-film.blend")
    shot = copy.with_suffix(".json")
    try:
        bpy.ops.wm.save_as_mainfile(filepath=str(copy), copy=True, compress=False)
        shot.write_text(json.dumps({"script": asdict(script), "quality": asdict(quality)}), encoding="utf-8")
        words = ["--blend", str(copy), "--root", root.name, "--script", str(shot)]
        words += ["--farm" if farm else "--film", str(file)]
        # Which scene is open, and which book of it is filmed, is not in the digest.
        words += ["--source", f"{source_digest(copy.read_bytes())} {bpy.context.scene.name} {root.name}"]
        what = "file for the farm" if farm else "stills" if script.names else "film"
        return _start(file, words, quality, what, keeps=what == "film")
    except (OSError, RuntimeError) as error:
        raise FileError(f"{file}: filming cannot start ({str(error).strip()})") from None


def start_joining(folder: Path, file: Path) -> FilmJob:
    """Start putting frames together that were rendered apart; FileError where no Blender starts, or another film is."""
    _refuse_second(file)
    try:
        return _start(file, ["--join", str(folder), "--film", str(file)], Quality(), "film")
    except OSError as error:
        raise FileError(f"{file}: joining cannot start ({str(error).strip()})") from None


def _refuse_second(file: Path) -> None:
    """Only one at a time: the second would take the file and the log of the first."""
    if running_job() is not None:
        raise FileError(f"{file}: a film is being made; wait until it is finished, or stop it")


def _keep_painted(root: bpy.types.Object) -> None:
    """Put what was painted on the book's pictures into the open file, so that its copy has it.

    Raises
    ------
    FileError
        A picture is in a file of its own, which only whoever paints on it may overwrite.
    """
    for image in shown_images(root):
        if not image.is_dirty:
            continue
        if image.packed_file is None and image.source != "GENERATED":
            raise FileError(f"{image.name}: what was painted on it is not saved; save it in the image editor first")
        image.pack()


def _start(file: Path, words: list[str], quality: Quality, what: str, *, keeps: bool = False) -> FilmJob:
    log = Path(bpy.app.tempdir, "hingeleaf-film.log")
    with log.open("wb") as stream:
        process = subprocess.Popen(
            [*_blender(), "--", *words], stdout=stream, stderr=subprocess.STDOUT, creationflags=_WITHOUT_A_CONSOLE
        )
    _jobs[:] = [FilmJob(file, process, log, quality, what, keeps)]
    return _jobs[0]


def _blender() -> list[str]:
    """The command that runs film_run.py in a Blender without a window; Python, where Blender is a module of it."""
    if bpy.app.binary_path:
        return [bpy.app.binary_path, "--background", "--python-exit-code", "1", "--python", film_run.__file__]
    return [sys.executable, "-P", film_run.__file__]
