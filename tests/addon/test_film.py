"""Films and stills: valid files of the right size and length, seen by independent readers."""

import shutil
from pathlib import Path

import numpy as np
import pytest

from tests.addon.films import probed, read_film

TINY = {"engine": "CYCLES", "width": 64, "height": 36, "samples": 1, "seconds": 0.25}
#: 12 frames closed, 6 turning, 24 open.
TINY_FRAMES = 12 + 6 + 24


def test_film_is_h264_of_the_asked_size_and_length(bpy, open_scene, tmp_path):
    root = open_scene("scenes/v-fold.toml")
    file = tmp_path / "opening.mp4"
    assert bpy.ops.hingeleaf.make_film(filepath=str(file), follows=False, **TINY) == {"FINISHED"}
    codec, size, rate, frames = read_film(file)
    assert (codec, size, rate) == ("h264", (64, 36), 24.0)
    assert len(frames) == TINY_FRAMES
    if shutil.which("ffprobe"):
        assert probed(file) == {"codec_name": "h264", "width": 64, "height": 36, "nb_read_frames": "42"}
    assert [path.name for path in tmp_path.iterdir()] == ["opening.mp4"]
    assert root["opening"] == 180.0
    # It holds still at both ends, but for the coding of so small a picture, and the two ends differ.
    assert abs(frames[0] - frames[10]).mean() < 3.0
    assert abs(frames[-1] - frames[-20]).mean() < 3.0
    assert abs(frames[0] - frames[-1]).mean() > 15.0


def test_film_leaves_the_file_as_it_was(bpy, open_scene, tmp_path):
    root = open_scene("scenes/v-fold.toml")
    scene = bpy.context.scene
    root["opening"] = 75.0
    before = (scene.render.resolution_x, scene.render.filepath, scene.frame_current, len(bpy.data.scenes))
    bpy.ops.hingeleaf.make_film(filepath=str(tmp_path / "a.mp4"), **TINY)
    after = (scene.render.resolution_x, scene.render.filepath, scene.frame_current, len(bpy.data.scenes))
    assert after == before
    assert root["opening"] == 75.0
    assert root.animation_data is None


def test_film_gets_its_ending_and_even_sides(bpy, open_scene, tmp_path):
    open_scene("scenes/v-fold.toml")
    bpy.ops.hingeleaf.make_film(filepath=str(tmp_path / "odd"), **{**TINY, "width": 65, "height": 37})
    assert read_film(tmp_path / "odd.mp4")[1] == (64, 36)


def test_film_into_a_folder_that_is_not_there(bpy, open_scene, tmp_path):
    open_scene("scenes/v-fold.toml")
    with pytest.raises(RuntimeError, match="there is no such folder"):
        bpy.ops.hingeleaf.make_film(filepath=str(tmp_path / "no" / "film.mp4"), **TINY)
    assert not list(tmp_path.iterdir())


def test_film_without_a_camera_says_so(bpy, open_scene, tmp_path):
    open_scene("scenes/v-fold.toml", studio=False)
    assert bpy.context.scene.camera is None
    with pytest.raises(RuntimeError, match="There is no camera"):
        bpy.ops.hingeleaf.make_film(filepath=str(tmp_path / "film.mp4"), **TINY)


def test_stills_farm_file_and_joining_by_hand(bpy, open_scene, tmp_path):
    """What the sidebar has beside Make Film; the frames of the farm's file are made by this Blender itself."""
    open_scene("scenes/v-fold.toml")
    small = {"width": 64, "height": 36, "engine": "BLENDER_WORKBENCH"}
    assert bpy.ops.hingeleaf.make_stills(filepath=str(tmp_path / "stills"), **small) == {"FINISHED"}
    assert len(list((tmp_path / "stills").glob("*.png"))) == 6
    farm = tmp_path / "farm"
    assert bpy.ops.hingeleaf.save_for_farm(filepath=str(farm), seconds=0.1, **small) == {"FINISHED"}
    assert sorted(path.name for path in tmp_path.iterdir()) == ["farm.blend", "farm.frames", "stills"]
    with pytest.raises(RuntimeError, match=r"of 38 frames 1-38 are missing"):
        bpy.ops.hingeleaf.join_film(directory=str(tmp_path / "farm.frames"))
    bpy.ops.wm.open_mainfile(filepath=str(tmp_path / "farm.blend"))
    bpy.ops.render.render(animation=True)
    assert bpy.ops.hingeleaf.join_film(directory=str(tmp_path / "farm.frames"), kind=".webm") == {"FINISHED"}
    codec, size, rate, frames = read_film(tmp_path / "farm.webm")
    assert (codec, size, rate, len(frames)) == ("vp9", (64, 36), 24.0, 38)
    with pytest.raises(RuntimeError, match="there is no such folder"):
        bpy.ops.hingeleaf.join_film(directory=str(tmp_path / "none"))


def test_transparent_film_says_that_it_needs_pictures(bpy, open_scene, tmp_path):
    open_scene("scenes/v-fold.toml")
    bpy.ops.hingeleaf.set_background(background="TRANSPARENT")
    with pytest.raises(RuntimeError, match="needs the format Picture Sequence"):
        bpy.ops.hingeleaf.make_film(filepath=str(tmp_path / "a.mp4"), **TINY)
    small = {"width": 64, "height": 36, "engine": "BLENDER_WORKBENCH", "seconds": 0.1}
    assert bpy.ops.hingeleaf.make_film(filepath=str(tmp_path / "a.mp4"), kind="PNG", **small) == {"FINISHED"}
    frames = sorted((tmp_path / "a").glob("*.png"))
    assert len(frames) == 38
    from PIL import Image

    with Image.open(frames[-1]) as image:
        assert image.mode == "RGBA"
        alpha = np.asarray(image)[:, :, 3]
    assert alpha.min() == 0
    assert alpha.max() >= 250


def test_farm_file_never_replaces_the_open_one(bpy, open_scene, tmp_path):
    open_scene("scenes/v-fold.toml")
    mine = tmp_path / "mine.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(mine))
    before = mine.read_bytes()
    with pytest.raises(RuntimeError, match="is the open file"):
        bpy.ops.hingeleaf.save_for_farm(filepath=str(tmp_path / "mine"), **TINY)
    assert mine.read_bytes() == before
    assert not (tmp_path / "mine.frames").exists()


@pytest.mark.parametrize(
    ("kind", "chosen", "named"),
    [
        (".mp4", "a", "a.mp4"),
        (".webm", "a.mp4", "a.webm"),
        (".mp4", "a.MP4", "a.mp4"),
        ("PNG", "a.webm", "a"),
        (".mp4", "take.2", "take.2.mp4"),
        (".mp4", "", ""),
    ],
)
def test_dialog_gives_the_name_the_ending_of_the_format(bpy, tmp_path, kind, chosen, named):
    """So that Blender asks about the file that would really be overwritten; a folder without a name stays one."""
    from types import SimpleNamespace

    from bl_ext.user_default.hingeleaf.operators.make_film import HINGELEAF_OT_make_film as Operator

    dialog = SimpleNamespace(filepath=f"{tmp_path}/{chosen}", kind=kind)
    dialog.ending = lambda: Operator.ending(dialog)
    dialog.ended = lambda name: Operator.ended(dialog, name)
    assert Operator.check(dialog, bpy.context) is (chosen != named)
    assert dialog.filepath == f"{tmp_path}/{named}"
    assert not Operator.check(dialog, bpy.context)


def test_missing_files_do_not_stop_a_farm_file(bpy, open_scene, tmp_path):
    """A picture that nothing of the book shows, and whose file is gone."""
    from PIL import Image

    open_scene("scenes/v-fold.toml")
    Image.new("RGB", (4, 4)).save(tmp_path / "gone.png")
    bpy.data.images.load(str(tmp_path / "gone.png")).use_fake_user = True
    (tmp_path / "gone.png").unlink()
    assert bpy.ops.hingeleaf.save_for_farm(filepath=str(tmp_path / "a"), **TINY) == {"FINISHED"}
    assert (tmp_path / "a.blend").is_file()


def test_only_one_film_at_a_time(bpy, open_scene, tmp_path):
    from bl_ext.user_default.hingeleaf import film_job, film_script

    root = open_scene("scenes/v-fold.toml")
    script = film_script.ShotScript(24, {"opening": (0.0, 10.0)})
    small = film_script.Quality((64, 36), 1)
    job = film_job.start_film(root, tmp_path / "a.mp4", script, small)
    try:
        with pytest.raises(ValueError, match="a film is being made"):
            film_job.start_film(root, tmp_path / "b.mp4", script, small)
        with pytest.raises(ValueError, match="a film is being made"):
            film_job.start_joining(tmp_path, tmp_path / "b.mp4")
    finally:
        job.stop()


def test_painted_pixels_are_in_the_film(bpy, open_scene, tmp_path):
    """What is packed is packed again; what has a file of its own is not overwritten."""
    from bl_ext.user_default.hingeleaf import carrying, film_job
    from PIL import Image

    root = open_scene("scenes/demo/low-tide.toml")
    image = next(iter(carrying.images_of_book(root).values()))
    packed = image.packed_file.data
    image.pixels[0:4] = (1.0, 0.0, 1.0, 1.0)
    image.update()
    assert image.is_dirty
    film_job._keep_painted(root)
    assert not image.is_dirty
    assert image.packed_file.data != packed
    Image.new("RGB", (4, 4)).save(tmp_path / "own.png")
    own = bpy.data.images.load(str(tmp_path / "own.png"))
    own.pixels[0:4] = (1.0, 0.0, 1.0, 1.0)
    table = bpy.data.objects["Table"].data.materials[0]
    table.node_tree.nodes.new("ShaderNodeTexImage").image = own
    with pytest.raises(ValueError, match="is not saved"):
        film_job._keep_painted(root)


def test_estimate_grows_with_what_is_asked_and_learns(bpy, open_scene, tmp_path):
    from bl_ext.user_default.hingeleaf import film_job, film_script

    script = film_script.ShotScript(24, {"opening": tuple(float(number) for number in range(48))})
    small, large = (film_script.Quality(size=size) for size in ((64, 36), (128, 72)))
    before = film_job.expected_seconds(script, small)
    assert film_job.expected_seconds(script, large) == pytest.approx(4 * before)
    open_scene("scenes/v-fold.toml")
    bpy.ops.hingeleaf.make_film(filepath=str(tmp_path / "a.mp4"), **{**TINY, "samples": 8})
    said = [line.split() for line in Path(bpy.app.tempdir, "hingeleaf-film.log").read_text().splitlines()]
    each = [float(words[3]) for words in said if words[:1] == ["LEFT"]]
    assert film_job.expected_seconds(script, small) == pytest.approx(48 * each[-1], rel=0.02)
    assert [film_job.duration(value) for value in (40, 420, 9000)] == ["40 s", "7 min", "2.5 h"]
