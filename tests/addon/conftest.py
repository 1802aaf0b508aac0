"""The extension as a user has it: its built zip, installed into a Blender of its own."""

import os
import shutil
import subprocess
import sys
import tempfile
import zipfile
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

ROOT = Path(__file__).resolve().parents[2]
MODULE = "bl_ext.user_default.hingeleaf"
#: Every spread; a bound book names files of spreads instead.
SCENES = sorted(
    path.relative_to(ROOT).as_posix()
    for path in (ROOT / "scenes").rglob("*.toml")
    if "[[spread]]" not in path.read_text(encoding="utf-8")
)
ZIP = os.environ.get("HINGELEAF_ZIP")

#: Blender reads this when it is imported, so it is set before any test does.
USER_FOLDER = tempfile.mkdtemp(prefix="hingeleaf-blender-")
os.environ["BLENDER_USER_RESOURCES"] = USER_FOLDER


def pytest_collection_modifyitems(items):
    """Without a zip there is nothing to test."""
    if not ZIP:
        skip = pytest.mark.skip(reason="the extension is tested as its built zip: run python3 build.py test")
        for item in items:
            if Path(__file__).parent in Path(item.path).parents:
                item.add_marker(skip)


def pytest_unconfigure():
    """Leave no folder behind."""
    shutil.rmtree(USER_FOLDER, ignore_errors=True)


def pytest_generate_tests(metafunc):
    """Tests that take a scene_file run for every scene of the project."""
    if "scene_file" in metafunc.fixturenames:
        metafunc.parametrize("scene_file", SCENES)


@pytest.fixture(scope="session")
def installed():
    """Blender with the extension installed from its zip and enabled."""
    import bpy

    bpy.ops.preferences.addon_enable(module="bl_pkg")
    bpy.ops.extensions.package_install_files(filepath=ZIP, repo="user_default", enable_on_install=True)
    assert MODULE in bpy.context.preferences.addons
    yield bpy
    # A class that is still registered when Python ends makes Blender 4.5 hang.
    bpy.ops.preferences.addon_disable(module=MODULE)
    bpy.ops.preferences.addon_disable(module="bl_pkg")


@pytest.fixture
def bpy(installed):
    """An empty file; the extension stays enabled."""
    installed.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    return installed


@pytest.fixture
def open_scene(bpy):
    """Open a description of the project through the operator; returns the book's root."""

    def open_scene(path="scenes/v-fold.toml", **options):
        assert bpy.ops.hingeleaf.open_description(filepath=str(ROOT / path), **options) == {"FINISHED"}
        return bpy.context.view_layer.objects.active

    return open_scene


@pytest.fixture
def spread_of():
    """The core's own spread of a description."""
    from geometry import assemble, read_description

    return lambda path: assemble(read_description(ROOT / path))


@pytest.fixture
def plain_blender(tmp_path):
    """Run Python code in a fresh Blender without any extension; returns what it printed."""

    def run(code, *words):
        folder = tmp_path / "plain"
        folder.mkdir(exist_ok=True)
        environment = {key: value for key, value in os.environ.items() if key != "PYTHONPATH"}
        environment["BLENDER_USER_RESOURCES"] = str(folder)
        command = [sys.executable, "-c", code, *map(str, words)]
        done = subprocess.run(command, env=environment, capture_output=True, text=True, timeout=300)
        assert done.returncode == 0, done.stderr
        return done.stdout

    return run


@pytest.fixture
def rig():
    """What the tests read from a book's objects."""

    def panels(root):
        return {item["hingeleaf_panel"]: item for item in root.children_recursive if "hingeleaf_panel" in item}

    def front_corners(item):
        """Corners of the printed face in object coordinates, (n, 3) float, metres; the first half of the slab."""
        points = np.empty(3 * len(item.data.vertices))
        item.data.vertices.foreach_get("co", points)
        return points.reshape(-1, 3)[: len(points) // 6]

    def world(item):
        """The same in the world, mm."""
        matrix = np.array(item.matrix_world)
        return 1000.0 * (front_corners(item) @ matrix[:3, :3].T + matrix[:3, 3])

    def set_opening(root, degrees):
        root["opening"] = float(degrees)
        root.update_tag()
        root.id_data.users_scene[0].view_layers[0].update()

    return SimpleNamespace(panels=panels, front_corners=front_corners, world=world, set_opening=set_opening)


@pytest.fixture(scope="module")
def package(tmp_path_factory):
    """A folder that holds the zip's content as the package hingeleaf, as build.py stages it."""
    folder = tmp_path_factory.mktemp("staged")
    with zipfile.ZipFile(ZIP) as archive:
        archive.extractall(folder / "hingeleaf")
    return folder


@pytest.fixture
def new_book(bpy):
    """Make a book with an empty spread, and a step of undo to go back to; returns its root."""
    from tests.addon.designs import book_of, push

    def new_book(**given):
        push(bpy, "start")
        given = {"title": "Yard", "studio": False} | given
        assert bpy.ops.hingeleaf.new_book("EXEC_DEFAULT", True, **given) == {"FINISHED"}
        return book_of(bpy)

    return new_book


@pytest.fixture
def add(bpy):
    """Add a mechanism as a click would; returns its id."""
    from tests.addon.designs import book_of

    def add(kind, fold="spine", **given):
        assert bpy.ops.hingeleaf.add_mechanism("EXEC_DEFAULT", True, kind=kind, fold=fold, **given) == {"FINISHED"}
        return book_of(bpy).hingeleaf.active

    return add


@pytest.fixture
def opened(bpy, tmp_path):
    """Open a bound book of three spreads, or of others, from its file; returns its root."""
    from tests.addon.bound_books import bound_root, write_book

    def opened(studio=False, **how):
        file = write_book(tmp_path / "book", **how)
        assert bpy.ops.hingeleaf.open_description(filepath=str(file), studio=studio) == {"FINISHED"}
        return bound_root(bpy)

    return opened


@pytest.fixture
def new_bound(bpy):
    """Make a new bound book; returns its root."""
    from tests.addon.bound_books import bound_root

    def new_bound(count=3, **given):
        given = {"title": "Harbor", "size": "A6", "studio": False} | given
        assert bpy.ops.hingeleaf.new_bound_book(count=count, **given) == {"FINISHED"}
        return bound_root(bpy)

    return new_bound


@pytest.fixture
def no_step_waits(bpy):
    """Timers never fire here: what waits for one after an undo waits no longer than its test."""
    from tests.addon.unfolded_models import forget_steps

    yield
    forget_steps()


@pytest.fixture
def box(bpy, no_step_waits):
    """A mesh object, active and alone selected: a box of 80 x 60 x 50 mm."""
    from tests.addon.unfolded_models import add_box

    return add_box(bpy)


@pytest.fixture
def house(bpy, no_step_waits):
    """The same of a house whose walls are pentagons at its gables."""
    from tests.addon.unfolded_models import add_house

    return add_house(bpy)
