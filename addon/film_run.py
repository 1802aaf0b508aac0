"""Films the book of a file in a Blender of its own that needs nothing else; run by path, without the extension.

blender --background --python film_run.py -- --blend BOOK.blend --root NAME --script SHOT.json --film FILM.mp4
blender --background --python film_run.py -- --join FRAMES... --film FILM.mp4
"""

from __future__ import annotations

import argparse
import importlib.util
import json
import sys
from pathlib import Path
from typing import Any

import bpy


def _film() -> Any:
    """The film modules that lie beside this file, as a package of their own."""
    here = Path(__file__).resolve().parent
    spec: Any = importlib.util.spec_from_file_location(
        "hingeleaf_film", here / "film.py", submodule_search_locations=[str(here)]
    )
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


def _say(done: int, total: int, label: str) -> None:
    """Tell whoever started this Blender how far it is."""
    print(f"PROGRESS {done} {total} {label}", flush=True)


def _arguments(words: list[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="film_run.py", description="Film a book.")
    parser.add_argument("--blend", type=Path)
    parser.add_argument("--root")
    parser.add_argument("--script", type=Path, help="the shot and the quality, as JSON")
    parser.add_argument("--film", type=Path, help="where the film, the pictures or the stills go")
    parser.add_argument("--farm", type=Path, help="save a file for a render farm instead")
    parser.add_argument("--join", type=Path, nargs="+", help="put frames together that were rendered apart")
    parser.add_argument("--source", default="")
    return parser.parse_args(words)


def _run(film: Any, given: argparse.Namespace) -> None:
    if given.join:
        film.join_film(given.join, given.film)
        return
    bpy.ops.wm.open_mainfile(filepath=str(given.blend), use_scripts=False)
    data = json.loads(given.script.read_text(encoding="utf-8"))
    script, quality = film.ShotScript.from_dict(data["script"]), film.Quality(**data["quality"])
    root = bpy.data.objects[given.root]
    if given.farm:
        film.save_for_farm(root, given.farm, script, quality, source=given.source)
    elif script.names:
        film.make_stills(root, given.film, script, quality, _say)
    else:
        film.make_film(root, given.film, script, quality, _say, source=given.source)


def main(words: list[str]) -> int:
    """Film the book of a file; returns the exit status."""
    film = _film()
    try:
        _run(film, _arguments(words))
    except (OSError, RuntimeError) as error:  # a FilmError is one, and so are Blender's own refusals
        print(f"ERROR {' '.join(str(error).split())}", flush=True)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[sys.argv.index("--") + 1 :]))
