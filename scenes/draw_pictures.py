"""Draws the pictures of the reference page: every small scene at three openings, side by side.

Where a reader's hand moves something, the book lies open in all three and the hand moves it.

Run by `python3 build.py pictures`, which puts the staged extension and Blender on the path.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
from pathlib import Path

from PIL import Image

HERE = Path(__file__).resolve().parent
OPENINGS = ("60", "110", "165")
SIZE = (400, 300)
#: What hands do in the three pictures of a scene, and how far its book is open.
HANDS = {
    "flap": ("165", ("door=0,45,150", "hatch=0,60,135")),
    "pull-strip": ("165", ("pull=0,8,28",)),
    "wheel": ("165", ("sky=0,90,180",)),
}


def draw(scene: Path, folder: Path, samples: int) -> None:
    """One picture of one scene.

    Parameters
    ----------
    scene : a description
    folder : where the picture goes, under the scene's name
    samples : of the renderer
    """
    with tempfile.TemporaryDirectory() as temporary:
        command = [sys.executable, "-m", "hingeleaf.batch", str(scene), "--stills", temporary]
        opening, moves = HANDS.get(scene.stem, (",".join(OPENINGS), ()))
        command += ["--still-angles", opening, *(f"--still-hand={move}" for move in moves)]
        command += ["--size", f"{SIZE[0]}x{SIZE[1]}", "--samples", str(samples)]
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
        stills = sorted(Path(temporary).glob("*.png"))
        strip = Image.new("RGB", (SIZE[0] * len(stills), SIZE[1]))
        for index, still in enumerate(stills):
            with Image.open(still) as picture:
                strip.paste(picture.convert("RGB"), (index * SIZE[0], 0))
    strip.save(folder / f"{scene.stem}.jpg", quality=85)


def main() -> None:
    """Draw every scene, or those that are named."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("scenes", nargs="*", help="names without ending; default all")
    parser.add_argument("--samples", type=int, default=32)
    given = parser.parse_args()
    folder = HERE / "pictures"
    folder.mkdir(exist_ok=True)
    scenes = [HERE / f"{name}.toml" for name in given.scenes] or sorted(HERE.glob("*.toml"))
    for number, scene in enumerate(scenes, start=1):
        draw(scene, folder, given.samples)
        print(f"PROGRESS {number} {len(scenes)} {scene.stem}", flush=True)


if __name__ == "__main__":
    main()
