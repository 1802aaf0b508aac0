"""Designing in Blender: what one step of a drag takes, how it grows with the book, and what playback takes.

A step of a drag is timed in books of 10 to 300 mechanisms in which the same few depend on what is dragged, against
building the whole book anew; playback against the same panels with plain keyframes, a key a frame. All in processor
time, in one run. Run by itself, in a Blender of its own; the redraw of a viewport, the third peer, needs a window and
is timed by ``build.py test --window``.
"""

from __future__ import annotations

import os
import shutil
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from tests.bench.figures import Figure, noted, spread_of

ROOT = Path(__file__).resolve().parents[2]
SIZES = (10, 30, 100, 300)
STEPS = 15
FRAMES, PANELS = 60, 300
#: What is asked for: a step may grow so much from the smallest book to the largest; playback against keyframes.
WANTED_GROWTH, WANTED_PLAYBACK = 2.0, 1.5


def text_of(count: int) -> str:
    """A book of so many mechanisms on long pages: v-folds, each with a cut-in and a smaller v-fold on it."""
    parts = ['format = 1\ntitle = "Long Book"\n[page]\nsize = [300, 2000]\n[stock.card]\n']
    groups = (count + 2) // 3
    for number in range(groups):
        at = 20 + 1940 * number / groups
        parts += [
            f'[[mechanism]]\nkind = "v-fold"\nid = "v{number}"\nfold = "spine"\nat = {at:.1f}\nangle = 50\n'
            "height = 40\n",
            f'[[mechanism]]\nkind = "slit-cut-in"\nid = "c{number}"\nfold = "v{number}.middle"\nat = 10\nlength = 15\n'
            "width = 8\n",
            f'[[mechanism]]\nkind = "v-fold"\nid = "w{number}"\nfold = "v{number}.left"\nat = 5\nangle = 40\n'
            "height = 12\n",
        ]
    return "".join(parts[: count + 1])


def seconds(function: Callable[[], object], repeats: int = 1) -> list[float]:
    """Processor seconds of each repeat."""
    found = []
    for _ in range(repeats):
        start = time.process_time()
        function()
        found.append(time.process_time() - start)
    return found


def opened(bpy: Any, folder: Path, count: int) -> Any:
    """A new file with a book of so many mechanisms; returns its root."""
    file = folder / "book.toml"
    file.write_text(text_of(count))
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    bpy.ops.hingeleaf.open_description(filepath=str(file), studio=False)
    return next(item for item in bpy.data.objects if item.get("hingeleaf_description"))


def drag_steps(bpy: Any, designing: Any, root: Any) -> tuple[list[float], float]:
    """Processor seconds of every step, Blender's own update with it, and of building the whole once."""
    heights = iter(40.0 + 0.3 * number for number in range(1, STEPS + 3))

    def step() -> None:
        designing.change_sizes(bpy.context, root, "v0", {"height": round(next(heights), 1)}, quick=True)
        bpy.context.view_layer.update()

    seconds(step, 2)
    steps = seconds(step, STEPS)
    return steps, seconds(lambda: designing.finish_change(bpy.context, root))[0]


def playback(bpy: Any, root: Any) -> tuple[float, float, int]:
    """Processor seconds a frame with drivers, and with plain keyframes, and how many panels there are."""
    scene = bpy.context.scene
    scene.frame_start, scene.frame_end = 1, FRAMES
    for frame, opening in ((1, 10.0), (FRAMES, 170.0)):
        root["opening"] = opening
        root.keyframe_insert('["opening"]', frame=frame)
    panels = [item for item in root.children_recursive if "hingeleaf_panel" in item]
    driven = [item for item in panels if item.animation_data is not None]

    def play() -> None:
        for frame in range(1, FRAMES + 1):
            scene.frame_set(frame)

    play()
    with_drivers = statistics.median(seconds(play, 5)) / FRAMES
    turns: dict[Any, list[float]] = {item: [] for item in driven}
    for frame in range(1, FRAMES + 1):
        scene.frame_set(frame)
        for item in driven:
            turns[item].append(item.rotation_euler.x)
    for item, values in turns.items():
        item.driver_remove("rotation_euler", 0)
        for frame, value in enumerate(values, start=1):
            item.rotation_euler.x = value
            item.keyframe_insert("rotation_euler", index=0, frame=frame)
    play()
    return with_drivers, statistics.median(seconds(play, 5)) / FRAMES, len(panels)


def lines(bpy: Any, designing: Any, folder: Path) -> Iterator[tuple[str, bool]]:
    """The lines of the table, and whether what is asked for is met."""
    medians = []
    for count in SIZES:
        steps, whole = drag_steps(bpy, designing, opened(bpy, folder, count))
        middle = statistics.median(steps)
        medians.append(middle)
        spread = f"{1e3 * min(steps):.1f} to {1e3 * max(steps):.1f}"
        yield (
            f"  {count:4d} mechanisms: {1e3 * middle:7.1f} ms a step ({spread}), the whole {whole / middle:6.1f} times",
            True,
        )
    growth = medians[-1] / medians[0]
    what = f"a step of a drag in a book of {SIZES[-1]} mechanisms"
    share = [whole / each for each in steps]
    noted(
        Figure(
            what,
            "building the book anew",
            f"{spread_of(share)} times as fast",
            "",
            f"{growth:.2f} times from {SIZES[0]}",
        )
    )
    yield (
        f"  {SIZES[-1]} mechanisms against {SIZES[0]}: {growth:.2f} times (wanted: at most {WANTED_GROWTH:g})",
        (growth <= WANTED_GROWTH),
    )
    driven, keyed, panels = playback(bpy, opened(bpy, folder, 3 * PANELS // 10))
    ratio = driven / keyed
    wanted = f"at most {WANTED_PLAYBACK:g}"
    noted(Figure(f"playback of {panels} panels", "plain keyframes", f"{ratio:.2f} times as long", wanted))
    yield (
        f"  playback of {panels} panels: {1e3 * driven:.2f} ms a frame, {ratio:.2f} times plain keyframes "
        f"(wanted: at most {WANTED_PLAYBACK:g})",
        ratio <= WANTED_PLAYBACK,
    )


def main() -> int:
    """Print the table; exit status 1 if what is asked for is not met."""
    with tempfile.TemporaryDirectory() as scratch:
        package = Path(scratch) / "hingeleaf"
        shutil.copytree(ROOT / "addon", package)
        shutil.copytree(ROOT / "geometry", package / "geometry")
        sys.path.insert(0, scratch)
        os.environ["BLENDER_USER_RESOURCES"] = scratch
        import bpy
        import hingeleaf
        from hingeleaf import designing

        bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
        hingeleaf.register()
        print("Designing in Blender: a step of a drag, Blender's own update included")
        met = True
        for line, good in lines(bpy, designing, Path(scratch)):
            print(line, flush=True)
            met = met and good
        hingeleaf.unregister()
    return 0 if met else 1


if __name__ == "__main__":
    status = main()
    sys.stdout.flush()
    # Blender as a module may hang while Python ends.
    os._exit(status)
