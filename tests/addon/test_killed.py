"""A Blender killed outright while it saves and exports: what lies there is whole, and opens in another one."""

import json
import os
import re
import struct
import subprocess
import sys
import time
import zipfile
from random import Random

import pytest

from tests.addon.conftest import ROOT, ZIP

#: Saves and exports one book again and again until it is killed; says so after each file.
CHILD = """
import os, sys
# Blender says things on its own already while it is imported, as that it cannot list mounted file systems.
said = os.dup(1)
os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
from pathlib import Path
import bpy
from hingeleaf.geometry import assemble, read_description
from hingeleaf.open_book import open_book
from hingeleaf.exporting import export_gltf, export_usd
from hingeleaf.saving import save_blend
scene, folder = Path(sys.argv[1]), Path(sys.argv[2])
bpy.ops.wm.read_factory_settings(use_empty=True)
bpy.ops.preferences.addon_enable(module="io_scene_gltf2")
description = read_description(scene)
root = open_book(description, assemble(description), bpy.context).root
for frame, opening in ((1, 0.0), (13, 180.0)):
    root["opening"] = opening
    root.keyframe_insert('["opening"]', frame=frame)
while True:
    save_blend(folder / "book.blend")
    os.write(said, b"saved\\n")
    export_gltf(bpy.context, root, folder / "book.glb", 1, 13)
    export_usd(bpy.context, root, folder / "book.usdc", 1, 13)
    os.write(said, b"exported\\n")
"""
#: Opens what a killed one left behind.
OPENED = """
import bpy, sys
bpy.ops.wm.open_mainfile(filepath=sys.argv[1])
print("PANELS", sum("hingeleaf_panel" in item for item in bpy.data.objects))
bpy.ops.wm.read_factory_settings(use_empty=True)
bpy.ops.wm.usd_import(filepath=sys.argv[2])
print("MESHES", sum(item.type == "MESH" for item in bpy.data.objects))
"""


def glb_is_whole(path):
    """Header, JSON and data as long as they say (glTF 2.0, binary container)."""
    data = path.read_bytes()
    magic, version, length = struct.unpack("<4sII", data[:12])
    size, kind = struct.unpack("<I4s", data[12:20])
    return (magic, version, length, kind) == (b"glTF", 2, len(data), b"JSON") and bool(json.loads(data[20 : 20 + size]))


@pytest.mark.slow
@pytest.mark.skipif(os.name == "nt", reason="processes are not killed there so")
def test_killed_while_it_saves_and_exports(tmp_path, plain_blender):
    package, made = tmp_path / "package" / "hingeleaf", tmp_path / "made"
    made.mkdir()
    with zipfile.ZipFile(ZIP) as archive:
        archive.extractall(package)
    environment = {
        **os.environ,
        "PYTHONPATH": str(package.parent),
        "BLENDER_USER_RESOURCES": str(tmp_path / "blender"),
    }
    command = [sys.executable, "-c", CHILD, str(ROOT / "scenes/v-fold.toml"), str(made)]
    rng = Random(1)
    for kill in range(4):
        pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.DEVNULL}
        with subprocess.Popen(command, env=environment, **pipes) as child:
            # By turns while it saves and while it exports, after the first time of each.
            waited = [child.stdout.readline() for _ in range(2 + kill % 2)]
            assert waited[:2] == [b"saved\n", b"exported\n"], waited
            time.sleep(rng.uniform(0.0, 0.3 if kill % 2 else 0.05))
            child.kill()
        there = {path.name for path in made.iterdir()}
        assert {"book.blend", "book.glb", "book.usdc"} <= there
        # What is left has a name that nobody takes for a result.
        left = [name for name in there if not re.fullmatch(r"book\.(blend|glb|usdc)|textures", name)]
        assert all(name.startswith((".part-", "hingeleaf-")) for name in left), left
        assert glb_is_whole(made / "book.glb")
    found = plain_blender(OPENED, made / "book.blend", made / "book.usdc")
    assert re.search(r"PANELS [1-9]", found)
    assert re.search(r"MESHES [1-9]", found)
