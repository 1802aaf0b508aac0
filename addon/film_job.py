"""Filming beside the work: a Blender of its own films a copy of the file while the user goes on."""

from __future__ import annotations

import hashlib
import json
import re
import subprocess
import sys
from dataclasses import asdict, dataclass
from pathlib import Path

import bpy

from . import film
from .geometry.errors import FileError

__all__ = ["FilmJob", "running_job", "start_film", "stop_running"]

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
    stopped : whether the user stopped it
    """

    file: Path
    process: subprocess.Popen[bytes]
    log: Path
    stopped: bool = False

    def progress(self) -> tuple[float, str]:
        """Finished share, 0 to 1, and what is being done."""
        for line in reversed(self._lines()):
            if line.startswith("PROGRESS "):
                _, done, total, label = line.split(" ", 3)
                return int(done) / int(total), label
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
        if status != 0 and not self.stopped:
            raise FileError(f"{self.file}: the film was not finished ({self._reason()})")

    def _lines(self) -> list[str]:
        return self.log.read_text(encoding="utf-8", errors="replace").splitlines()

    def _reason(self) -> str:
        """The last error in the log, or the last line of it."""
        lines = [line.strip() for line in self._lines() if line.strip()] or ["it said nothing"]
        errors = [line for line in lines if re.match(r"(\w+\.)*\w*Error: (?!script failed)", line)]
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


def start_film(root: bpy.types.Object, file: Path, quality: film.Quality, plan: film.FilmPlan) -> FilmJob:
    """Start filming a copy of the open file.

    Parameters
    ----------
    root : the book's root
    file : where the film goes
    quality, plan : how it is rendered, how it goes in time

    Returns
    -------
    FilmJob

    Raises
    ------
    FileError
        The folder does not exist, or the copy cannot be written.
    """
    if not file.parent.is_dir():
        raise FileError(f"{file.parent}: there is no such folder; choose one that exists")
    copy = Path(bpy.app.tempdir, "hingeleaf-film.blend")
    try:
        bpy.ops.wm.save_as_mainfile(filepath=str(copy), copy=True, compress=False)
        words = ["--blend", str(copy), "--root", root.name, "--film", str(file)]
        words += ["--source", hashlib.sha256(copy.read_bytes()).hexdigest()]
        words += ["--quality", json.dumps(asdict(quality)), "--plan", json.dumps(asdict(plan))]
        log = copy.with_suffix(".log")
        with log.open("wb") as stream:
            command = [*_blender(), "--", *words]
            process = subprocess.Popen(
                command, stdout=stream, stderr=subprocess.STDOUT, creationflags=_WITHOUT_A_CONSOLE
            )
    except (OSError, RuntimeError) as error:
        raise FileError(f"{file}: filming cannot start ({str(error).strip()})") from None
    _jobs[:] = [FilmJob(file, process, log)]
    return _jobs[0]


def _blender() -> list[str]:
    """The command that runs film.py in a Blender without a window; Python, where Blender is a module of it."""
    if bpy.app.binary_path:
        return [bpy.app.binary_path, "--background", "--python-exit-code", "1", "--python", film.__file__]
    return [sys.executable, "-P", film.__file__]
