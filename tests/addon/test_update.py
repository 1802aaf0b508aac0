"""An update of the extension over an open book with unsaved changes: removed, a newer zip installed, enabled again.

In a Blender of its own, since what is installed stays for all tests of a run.
"""

import os
import subprocess
import sys
import zipfile

from tests.addon.conftest import ROOT, ZIP

CODE = """
import sys
import bpy
import numpy as np

old, new, scene, folder = sys.argv[1:5]
MODULE = "bl_ext.user_default.hingeleaf"
bpy.ops.preferences.addon_enable(module="bl_pkg")
install = bpy.ops.extensions.package_install_files


def book():
    return next(item for item in bpy.data.objects if item.get("hingeleaf_description"))


def text():
    return book()["hingeleaf_description"]


def module(name):
    return sys.modules[f"{MODULE}.{name}"]


def listening():
    kinds = ("load_post", "undo_post", "redo_post", "depsgraph_update_post", "frame_change_post", "save_pre")
    every = [handler for kind in kinds for handler in getattr(bpy.app.handlers, kind)]
    return sorted(f"{each.__module__}.{each.__name__}" for each in every if "hingeleaf" in each.__module__)


def version():
    import tomllib
    from pathlib import Path

    manifest = Path(module("books").__file__).with_name("blender_manifest.toml")
    return tomllib.loads(manifest.read_text(encoding="utf-8"))["version"]


def turned():
    found = []
    for opening in (10.0, 95.0, 170.0):
        book()["opening"] = opening
        book().update_tag()
        bpy.context.view_layer.update()
        panels = sorted((item for item in book().children_recursive if "hingeleaf_panel" in item), key=lambda i: i.name)
        found.append([np.array([item.matrix_world @ point.co for point in item.data.vertices]) for item in panels])
    return np.concatenate([np.concatenate(each) for each in found])


install(filepath=old, repo="user_default", enable_on_install=True)
first, handlers = version(), listening()
assert handlers, "it listens to something"
bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
bpy.ops.hingeleaf.open_description(filepath=scene, studio=False)
bpy.ops.wm.save_as_mainfile(filepath=f"{folder}/book.blend")
book().hingeleaf.index = 0
book().hingeleaf.v_fold.height = 41.0
unsaved, places = text(), turned()
assert "height = 41" in unsaved
look = module("watching")._look
finish = module("designing")._finish_now
module("designing").finish_soon()
assert bpy.app.timers.is_registered(finish)

bpy.ops.preferences.addon_disable(module=MODULE)
assert listening() == []
assert not bpy.app.timers.is_registered(look) and not bpy.app.timers.is_registered(finish)
assert text() == unsaved
book()["opening"] = 33.0
assert np.allclose(turned(), places), "its drivers need no extension"
bpy.ops.extensions.package_uninstall(repo_index=[r.module for r in bpy.context.preferences.extensions.repos].index(
    "user_default"), pkg_id="hingeleaf")
assert MODULE not in bpy.context.preferences.addons
assert text() == unsaved

install(filepath=new, repo="user_default", enable_on_install=True)
assert version() != first, version()
assert bpy.data.filepath.endswith("book.blend") and text() == unsaved
assert listening() == handlers

assert not bpy.app.timers.is_registered(look), "of the older one nothing is left"
module("handlers")._look_now()

assert [entry.name for entry in book().hingeleaf.entries] == ["fold"]
bpy.ops.ed.undo_push(message="base")
book().hingeleaf.index = 0
assert abs(book().hingeleaf.v_fold.height - 41.0) < 1e-4
book().hingeleaf.v_fold.height = 43.0
bpy.ops.ed.undo_push(message="sidebar")
assert "height = 43" in text()
bpy.ops.hingeleaf.drag_size("EXEC_DEFAULT", True, mechanism="fold", handle="height", value=45.0)
assert "height = 45" in text()
bpy.ops.ed.undo()
assert "height = 43" in text()
bpy.ops.ed.undo()
assert text() == unsaved
assert np.allclose(turned(), places)
bpy.ops.ed.redo()
assert "height = 43" in text()
assert not np.allclose(turned(), places)
assert bpy.ops.hingeleaf.check_book() == {"FINISHED"}
bpy.ops.wm.save_mainfile()

# The older one again, over a file of the newer one.
install(filepath=old, repo="user_default", enable_on_install=True)
assert version() == first
assert listening() == handlers
bpy.ops.wm.open_mainfile(filepath=f"{folder}/book.blend")
assert "height = 43" in text()
book().hingeleaf.index = 0
book().hingeleaf.v_fold.height = 42.0
assert "height = 42" in text()
bpy.ops.preferences.addon_disable(module=MODULE)
bpy.ops.preferences.addon_disable(module="bl_pkg")
print("updated", flush=True)
"""


def newer(folder):
    """The same zip under a higher version."""
    file = folder / "hingeleaf-9.0.0.zip"
    with zipfile.ZipFile(ZIP) as own, zipfile.ZipFile(file, "w") as made:
        for item in own.infolist():
            data = own.read(item)
            if item.filename.endswith("blender_manifest.toml"):
                lines = data.decode("utf-8").splitlines()
                lines = ['version = "9.0.0"' if line.startswith("version =") else line for line in lines]
                data = "\n".join(lines).encode()
            made.writestr(item, data)
    return file


def test_an_update_over_an_open_book(tmp_path):
    environment = {key: value for key, value in os.environ.items() if key != "PYTHONPATH"}
    environment["BLENDER_USER_RESOURCES"] = str(tmp_path / "user")
    (tmp_path / "user").mkdir()
    scene = ROOT / "scenes" / "v-fold.toml"
    words = [ZIP, newer(tmp_path), scene, tmp_path]
    # It is ended at once: what an update leaves in memory keeps Blender 4.5 from ending by itself.
    ended = "\nexcept BaseException:\n    traceback.print_exc()\nos._exit(0)\n"
    code = f"import os, traceback\ntry:\n    exec({CODE!r}){ended}"
    command = [sys.executable, "-c", code, *map(str, words)]
    done = subprocess.run(command, env=environment, capture_output=True, text=True, timeout=300)
    assert done.stdout.rstrip().endswith("updated"), done.stdout[-2000:] + done.stderr[-4000:]
