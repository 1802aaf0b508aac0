"""Playback and preview of the demo spread and the demo book against the same panels, plain materials, plain keyframes.

Playback is a change of frame; previews are small pictures by Workbench and by Cycles with few samples. All in processor
time, in one run, in a Blender of its own. Printed are ratios; exit status 1 if one is above what is wanted.
"""

from __future__ import annotations

import os
import shutil
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from tests.bench.figures import Figure, noted

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "scenes" / "demo"
#: What is played: the file, the property that moves it, and its first and last value.
SPREAD = (DEMO / "low-tide.toml", "opening", 5.0, 175.0)
BOOK = (DEMO / "book.toml", "turn", 0.1, 3.9)
FRAMES, PICTURES = 48, 3
SIZE, SAMPLES = (320, 180), 4
PEER = "the same panels, plain materials and keyframes"
#: What is asked for.
WANTED = {"playback": 1.5, "Workbench": 1.3, "Cycles": 1.5}


def seconds(function: Callable[[int], object], frames: int) -> float:
    """Processor seconds a frame, the median; the first is not counted."""
    found = []
    for frame in range(1, frames + 2):
        start = time.process_time()
        function(frame)
        found.append(time.process_time() - start)
    return statistics.median(found[1:])


def measure(bpy: Any) -> dict[str, float]:
    """Seconds a frame of what is seen."""
    scene = bpy.context.scene
    found = {"playback": seconds(scene.frame_set, FRAMES)}

    def picture(number: int) -> None:
        scene.frame_set(number * FRAMES // (PICTURES + 2))
        bpy.ops.render.render()

    for name, engine in (("Workbench", "BLENDER_WORKBENCH"), ("Cycles", "CYCLES")):
        scene.render.engine = engine
        found[name] = seconds(picture, PICTURES)
    return found


def plain(bpy: Any, panels: list[Any]) -> None:
    """One plain material with the artwork instead of each of the extension's."""
    from hingeleaf.export_materials import PlainMaterials

    materials = PlainMaterials(Path(tempfile.mkdtemp()))
    for item in panels:
        for index, material in enumerate(materials.of(list(item.data.materials))):
            item.data.materials[index] = material


def ratios(bpy: Any, file: Path, moved_by: str, first: float, last: float) -> dict[str, float]:
    """How much longer a book takes than its plain copy."""
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    bpy.ops.hingeleaf.open_description(filepath=str(file))
    root = next(item for item in bpy.data.objects if moved_by in item and item.parent is None)
    scene = bpy.context.scene
    scene.render.resolution_x, scene.render.resolution_y = SIZE
    scene.cycles.samples = SAMPLES
    for frame, value in ((1, first), (FRAMES, last)):
        root[moved_by] = value
        root.keyframe_insert(f'["{moved_by}"]', frame=frame)
    book = measure(bpy)
    bpy.ops.hingeleaf.bake_motion("EXEC_DEFAULT", start=1, end=FRAMES, spacing="EVERY", keep=False)
    baked = next(made for made in bpy.data.collections if made.name.endswith(" Baked"))
    plain(bpy, [item for item in baked.objects if item.type == "MESH"])
    other = measure(bpy)
    return {name: book[name] / other[name] for name in book}


def main() -> int:
    """Print the ratios."""
    with tempfile.TemporaryDirectory() as scratch:
        package = Path(scratch) / "hingeleaf"
        shutil.copytree(ROOT / "addon", package)
        shutil.copytree(ROOT / "geometry", package / "geometry")
        sys.path.insert(0, scratch)
        os.environ["BLENDER_USER_RESOURCES"] = scratch
        import bpy
        import hingeleaf

        hingeleaf.register()
        found = {"demo spread": ratios(bpy, *SPREAD), "demo book": ratios(bpy, *BOOK)}
        hingeleaf.unregister()
    print(f"Against {PEER}, processor time a frame")
    for what, each in found.items():
        for name, ratio in each.items():
            noted(Figure(f"{what}, {name}", PEER, f"{ratio:.2f} times as long", f"at most {WANTED[name]:g}"))
            print(f"  {what}: {name:10} {ratio:.2f} times (wanted: at most {WANTED[name]:g})", flush=True)
    return 0 if all(ratio <= WANTED[name] for each in found.values() for name, ratio in each.items()) else 1


if __name__ == "__main__":
    status = main()
    sys.stdout.flush()
    # Blender as a module may hang while Python ends.
    os._exit(status)
