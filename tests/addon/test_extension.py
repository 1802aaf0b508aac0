"""The zip installs, and enables and disables without a trace."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.addon.sidebar import drawn

MODULE = "bl_ext.user_default.hingeleaf"


def test_installed_zip_offers_its_operators(bpy):
    assert MODULE in bpy.context.preferences.addons
    for name in ("open_description", "reload_description", "check_book", "show_finding", "make_film", "write_nets"):
        assert hasattr(bpy.types, f"HINGELEAF_OT_{name}")


def test_disable_and_enable_again(bpy, open_scene):
    open_scene()
    bpy.ops.preferences.addon_disable(module=MODULE)
    try:
        assert not hasattr(bpy.types.Scene, "hingeleaf")
        assert not hasattr(bpy.types.WindowManager, "hingeleaf")
        assert not [name for name in dir(bpy.types) if name.startswith("HINGELEAF_")]
    finally:
        bpy.ops.preferences.addon_enable(module=MODULE)
    assert bpy.ops.hingeleaf.check_book() == {"FINISHED"}


def test_tooltips_and_labels_follow_the_house(bpy):
    for name in dir(bpy.ops.hingeleaf):
        rna = getattr(bpy.ops.hingeleaf, name).get_rna_type()
        assert rna.description, name
        assert not rna.description.endswith("."), name
        small = {"to", "of", "the", "a", "in", "on", "from", "as", "for", "glTF"}
        assert all(word[0].isupper() or word in small for word in rna.name.split()), name
        for prop in rna.properties:
            assert not prop.description.endswith("."), f"{name}.{prop.identifier}"


def test_operators_need_a_book(bpy):
    for name in ("check_book", "make_film", "write_nets", "reload_description"):
        with pytest.raises(RuntimeError, match="Make a new book or open a description first"):
            getattr(bpy.ops.hingeleaf, name)()


def test_sidebar_with_nothing_open(bpy):
    assert drawn(bpy, "book")[0] == ["hingeleaf.new_book", "hingeleaf.open_description"]
    assert drawn(bpy, "check")[0] == ["hingeleaf.check_book"]
    films = ("make_film", "make_stills", "save_for_farm", "join_film")
    assert drawn(bpy, "film")[0] == [f"hingeleaf.{name}" for name in films]
    assert drawn(bpy, "nets")[0] == ["hingeleaf.write_nets", "hingeleaf.write_templates"]


def test_sidebar_with_one_book_and_with_two(bpy, open_scene):
    open_scene("scenes/v-fold.toml")
    asked = ("new_book", "open_description", "save_description", "reload_description", "change_pages", "play_opening")
    assert drawn(bpy, "book") == ([f"hingeleaf.{name}" for name in asked], "V-fold")
    bpy.ops.hingeleaf.check_book()
    assert drawn(bpy, "check")[1] == "V-fold passes every check"
    open_scene("scenes/tent.toml")
    assert drawn(bpy, "book")[0][4:6] == ["hingeleaf.show_book"] * 2
    assert drawn(bpy, "check")[1] == "", "what was found in one book is not shown for another"


def test_sidebar_lists_problems_and_findings(bpy, tmp_path):
    file = tmp_path / "book.toml"
    file.write_text('format = 1\n[page]\nsize = "A99"\nfoo = 1\n')
    with pytest.raises(RuntimeError, match="A99"):
        bpy.ops.hingeleaf.open_description(filepath=str(file))
    text = drawn(bpy, "book")[1]
    assert text.startswith("book.toml: 2 problems line 3: page, size:")
    assert "line 4: page, foo" in text
    file.write_text(
        'format = 1\n[page]\nsize = "A6"\n[stock.card]\n[[mechanism]]\nkind = "v-fold"\nid = "tower"\n'
        'fold = "spine"\nat = 100\nangle = 60\nheight = 90\n'
    )
    bpy.ops.hingeleaf.open_description(filepath=str(file))
    assert "problems" not in drawn(bpy, "book")[1]
    bpy.ops.hingeleaf.check_book()
    bpy.ops.hingeleaf.show_finding(index=0)
    text = drawn(bpy, "check")[1]
    finding = bpy.context.scene.hingeleaf.findings[0]
    assert finding.message in text
    assert "At an opening of 0.0°" in text
    assert finding.remedy in text


def test_sidebar_while_a_film_is_made(bpy):
    moment = bpy.context.window_manager.hingeleaf
    moment.film_share, moment.film_label = 0.25, "frame at 40°"
    try:
        assert drawn(bpy, "film") == (["hingeleaf.stop_film"], "25%  frame at 40°")
    finally:
        moment.film_share = -1.0


def test_a_process_that_had_the_whole_extension_ends(installed, tmp_path):
    """What holds Blender's types past its end keeps the process of Blender 4.5 from ending."""
    package = Path(installed.utils.user_resource("EXTENSIONS"), "user_default")
    names = [
        file.relative_to(package).with_suffix("").as_posix().replace("/", ".")
        for file in (package / "hingeleaf").rglob("*.py")
        if file.stem != "__init__" and "geometry" not in file.parts and "__main__" not in file.stem
    ]
    assert "hingeleaf.operators.cut_edge" in names
    read = f"import bpy, hingeleaf; [__import__(name) for name in {names}]"
    done = subprocess.run(
        [sys.executable, "-c", f"{read}; hingeleaf.register(); hingeleaf.unregister()"],
        env={**os.environ, "PYTHONPATH": str(package), "BLENDER_USER_RESOURCES": str(tmp_path)},
        capture_output=True,
        text=True,
        timeout=60,
    )
    assert done.returncode == 0, done.stderr
