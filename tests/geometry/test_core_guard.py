"""The core stays a core: no Blender, no absolute imports of itself, no module too long, every public name there."""

from __future__ import annotations

import ast
import subprocess
import sys

import pytest

import geometry
from tests.geometry.scene_texts import ROOT

MODULES = sorted((ROOT / "geometry").rglob("*.py"))
TREES = {path: ast.parse(path.read_text(encoding="utf-8")) for path in MODULES}
every_module = pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(ROOT)))
#: What the core may stand on besides the standard library.
ALLOWED = {"numpy", "shapely", "svgelements", "tomlkit", "ezdxf", "reportlab", "rectpack", "PIL", "fontTools"}


def imports(tree):
    """(module or None, level) of every import statement, wherever it stands."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((alias.name, 0) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield node.module, node.level


@every_module
def test_no_module_imports_blender_or_anything_unexpected(path):
    for module, level in imports(TREES[path]):
        if level == 0:
            top = module.split(".")[0]
            assert top not in ("bpy", "mathutils", "bmesh", "geometry", "addon")
            assert top in sys.stdlib_module_names or top in ALLOWED, module


@every_module
def test_no_import_of_everything_no_path_edits_no_asserts(path):
    text = path.read_text(encoding="utf-8")
    assert "sys.path" not in text
    for node in ast.walk(TREES[path]):
        assert not isinstance(node, ast.Assert)
        assert not (isinstance(node, ast.ImportFrom) and any(alias.name == "*" for alias in node.names))
        assert not (isinstance(node, ast.ExceptHandler) and node.type is None)


@every_module
def test_modules_and_functions_stay_short(path):
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 400
    for node in ast.walk(TREES[path]):
        if isinstance(node, ast.FunctionDef):
            first = node.body[0]
            documented = isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant)
            lines = node.end_lineno - (first.end_lineno if documented else node.lineno)
            assert lines <= 60, node.name


@every_module
def test_every_public_name_exists(path):
    names = [
        element.value
        for node in TREES[path].body
        if isinstance(node, ast.Assign) and getattr(node.targets[0], "id", "") == "__all__"
        for element in node.value.elts
    ]
    defined = {node.name for node in TREES[path].body if isinstance(node, (ast.FunctionDef, ast.ClassDef))}
    defined |= {
        target.id
        for node in TREES[path].body
        if isinstance(node, ast.Assign)
        for target in node.targets
        if isinstance(target, ast.Name)
    }
    defined |= {node.target.id for node in TREES[path].body if isinstance(node, ast.AnnAssign)}
    defined |= {
        alias.asname or alias.name
        for node in TREES[path].body
        if isinstance(node, (ast.Import, ast.ImportFrom))
        for alias in node.names
    }
    assert len(names) == len(set(names))
    assert set(names) <= defined


BLOCKED = """
import importlib, importlib.abc, pkgutil, sys

class Block(importlib.abc.MetaPathFinder):
    def find_spec(self, name, path=None, target=None):
        if name.split(".")[0] in ("bpy", "mathutils", "bmesh", "gpu", "scipy", "mujoco", "trimesh", "pytest"):
            raise ImportError("blocked: " + name)

sys.meta_path.insert(0, Block())
import geometry
count = 0
for module in pkgutil.walk_packages(geometry.__path__, "geometry."):
    if module.name != "geometry.__main__":
        importlib.import_module(module.name)
        count += 1
print(count)
"""


def test_every_module_is_imported_with_blender_blocked():
    result = subprocess.run(
        [sys.executable, "-W", "error", "-c", BLOCKED], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert result.returncode == 0, result.stderr
    assert int(result.stdout) >= 25


def test_the_core_works_under_another_name(tmp_path):
    """As in the extension, where it is a package below another one."""
    (tmp_path / "extension").mkdir()
    (tmp_path / "extension" / "__init__.py").touch()
    (tmp_path / "extension" / "geometry").symlink_to(ROOT / "geometry", target_is_directory=True)
    code = f"""
import sys
sys.path[:] = [path for path in sys.path if path not in ("", {str(ROOT)!r})]
sys.path.insert(0, {str(tmp_path)!r})
from extension.geometry import assemble, parse_description
from extension.geometry.checks import run_checks
spread = assemble(parse_description('format = 1\\n[page]\\nsize = "A5"\\n'))
print(run_checks(spread), "geometry" in sys.modules)
"""
    result = subprocess.run([sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True, check=False)
    assert result.stdout.strip() == "() False", result.stderr


def test_the_public_names_are_documented():
    for name in geometry.__all__:
        assert getattr(geometry, name).__doc__
