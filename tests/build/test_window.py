"""The outside of the walk in a window: finding a window, the script that is handed over, and how its end is judged."""

import ast
import os
import subprocess
import sys
from pathlib import Path

import pytest

import build
from tests.window import run as window

HERE = build.Interpreter(build.RUNNING, sys.version.split()[0], sys.executable, True)
posix = pytest.mark.skipif(os.name == "nt", reason="uses shell scripts")


@pytest.fixture
def command(tmp_path, monkeypatch):
    """Lets HINGELEAF_WINDOW be a shell script."""

    def make(text):
        script = tmp_path / "window"
        script.write_text(f"#!/bin/sh\n{text}\n")
        script.chmod(0o755)
        monkeypatch.setenv("HINGELEAF_WINDOW", str(script))

    monkeypatch.setattr(window, "ROOT", tmp_path)
    monkeypatch.setattr(window, "OUT", tmp_path / "out" / "window")
    monkeypatch.setattr(window, "bundle", lambda: "the script")
    return make


class TestScript:
    def test_bundle_holds_every_module_and_needs_nothing_else_of_ours(self):
        script = window.bundle()
        ast.parse(script)
        files = {file.stem for file in Path(window.__file__).parent.glob("*.py")} - {"run", "conftest"}
        assert set(window.MODULES) == files
        for name in window.MODULES:
            assert f"'tests/window/{name}.py'" in script

    def test_modules_come_after_what_they_import(self):
        for place, name in enumerate(window.MODULES):
            tree = ast.parse((Path(window.__file__).parent / f"{name}.py").read_text(encoding="utf-8"))
            for node in ast.walk(tree):
                if isinstance(node, ast.ImportFrom) and str(node.module).startswith("tests.window."):
                    assert node.module.split(".")[-1] in window.MODULES[:place]

    def test_the_last_line_is_the_one_that_is_waited_for(self):
        assert f'DONE = "{window.DONE}"' in (Path(window.__file__).parent / "pace.py").read_text(encoding="utf-8")


class TestFindingAWindow:
    def test_none_is_one_line_and_no_failure(self, monkeypatch, capsys):
        monkeypatch.delenv("HINGELEAF_WINDOW", raising=False)
        monkeypatch.setattr(window.shutil, "which", lambda name: None if name in ("Xvfb", "xdotool") else name)
        monkeypatch.setattr(sys, "argv", ["run.py", "a.zip"])
        assert window.main() == 0
        said = capsys.readouterr()
        assert said.out == ""
        assert said.err.count("\n") == 1
        assert said.err.startswith("Skipped: there is no window to walk in; put Xvfb, xdotool on PATH")

    @posix
    def test_blender_is_asked_for_its_python(self, command, monkeypatch, capsys):
        command('echo noise; grep -q "Python tag" "$1" && echo "Python tag: cp399"')
        monkeypatch.setattr(sys, "argv", ["run.py"])
        assert window.main() == 0
        assert capsys.readouterr().out == "cp399\n"

    @posix
    def test_no_answer_is_said(self, command):
        command("echo no display")
        with pytest.raises(SystemExit, match="does not say which Python it runs:\nno display"):
            window.python_tag(window.window_command())


@posix
class TestOutcome:
    @pytest.mark.parametrize(
        ("text", "status"), [(f"echo '{window.DONE}'", 0), ("echo half way", 1), (f"echo '{window.DONE}'; exit 3", 3)]
    )
    def test_only_a_walk_to_its_end_is_well(self, text, status, command, tmp_path, capsys):
        command(f'echo "got $2"; test -f "$1" && {text}')
        assert window.walk(window.window_command(), "a.zip") == status
        said = capsys.readouterr().out
        assert "got a.zip\n" in said
        assert ("closed before the walk had come to its end" in said) == (status == 1)

    def test_pictures_of_an_earlier_walk_are_gone(self, command, tmp_path):
        command("true")
        old = tmp_path / "out" / "window" / "old.png"
        old.parent.mkdir(parents=True)
        old.touch()
        window.walk(window.window_command(), "a.zip")
        assert not old.exists()


class TestBuildCommand:
    @pytest.fixture
    def calls(self, monkeypatch):
        """What is called by `test --window`; the first entry is what the window's Blender answers."""
        called = []
        monkeypatch.setattr(build, "find_interpreters", lambda wanted: [HERE])
        monkeypatch.setattr(build, "environment", lambda interpreter: sys.executable)
        monkeypatch.setattr(
            build, "make_package", lambda python, platforms, tags: called.append(tags) or [Path("a.zip")]
        )
        monkeypatch.setattr(build.subprocess, "call", lambda command, **options: called.append(command[1:]) or 1)
        return called

    def answer(self, monkeypatch, status, text):
        done = subprocess.CompletedProcess([], status, text)
        monkeypatch.setattr(build.subprocess, "run", lambda command, **options: done)

    def test_zip_is_for_the_python_of_that_blender(self, calls, monkeypatch):
        self.answer(monkeypatch, 0, "cp314\n")
        assert build.main(["test", "--window"]) == 1
        assert calls == [["cp314"], ["tests/window/run.py", "a.zip"]]

    @pytest.mark.parametrize("status", [0, 1])
    def test_without_a_window_nothing_is_built(self, status, calls, monkeypatch):
        self.answer(monkeypatch, status, "")
        assert build.main(["test", "--window"]) == status
        assert calls == []

    def test_further_arguments_are_refused(self, capsys):
        with pytest.raises(SystemExit):
            build.main(["test", "--window", "-k", "tent"])
        assert "unknown arguments: -k tent" in capsys.readouterr().err
