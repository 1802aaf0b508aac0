"""The set-up and packaging of build.py, as far as it can be tested without downloading anything."""

import ast
import importlib.metadata
import importlib.util
import io
import os
import platform
import re
import runpy
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

import pytest

import build

REQUIREMENT_FILES = (
    "requirements.txt",
    "requirements-dev.txt",
    "requirements-data.txt",
    "requirements-types.txt",
    "requirements-mutation.txt",
)
COMMANDS = ("demo", "test", "package", "bench", "fuzz", "mutate", "setup")
HERE = build.Interpreter(build.RUNNING, sys.version.split()[0], sys.executable, True)


def pinned(name):
    """Lines of a requirement file: package, version, marker."""
    lines = [line.split("#")[0].strip() for line in (build.ROOT / name).read_text(encoding="utf-8").splitlines()]
    return [re.fullmatch(r"([\w.-]+)==([\w.]+)(?:; (.+))?", line).groups() for line in lines if line]


def script(path, text):
    """A program that stands in for one of the system's."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(f"#!/bin/sh\n{text}\n")
    path.chmod(0o755)
    return path


def refuse(*arguments, **options):
    """Stands in for what must not be called."""
    raise AssertionError(f"called with {arguments}")


posix = pytest.mark.skipif(os.name == "nt", reason="uses shell scripts")


class TestStarting:
    def test_source_is_python_3_8(self):
        ast.parse((build.ROOT / "build.py").read_text(encoding="utf-8"), feature_version=(3, 8))

    @pytest.mark.parametrize("version", ["3.8", "3.9", "3.10", "3.12"])
    def test_starts_on_other_pythons(self, version):
        other = next((found for found in map(build.probe, build.candidates(version)) if found), None)
        if other is None or other.version != version:
            pytest.skip(f"no Python {version} here")
        command = [other.path, str(build.ROOT / "build.py"), "--help"]
        done = subprocess.run(command, capture_output=True, text=True)
        assert done.returncode == 0, done.stderr
        assert "package" in done.stdout

    @pytest.mark.parametrize("command", COMMANDS)
    def test_each_command_has_help(self, command, capsys):
        with pytest.raises(SystemExit) as stopped:
            build.main([command, "--help"])
        assert stopped.value.code == 0
        assert "--python" in capsys.readouterr().out

    def test_unknown_arguments_are_refused(self, capsys):
        with pytest.raises(SystemExit) as stopped:
            build.main(["demo", "--sise", "1280x720"])
        assert stopped.value.code == 2
        assert "--sise 1280x720" in capsys.readouterr().err

    def test_wrong_python_tag_is_one_sentence(self, capsys):
        assert build.main(["package", "--python-tags", "cp311,3.13"]) == 2
        assert capsys.readouterr().err == (
            "build.py: --python-tags: 3.13 is no CPython tag; write for example cp311,cp313\n"
        )


class TestRequirements:
    @pytest.mark.parametrize("name", REQUIREMENT_FILES)
    def test_every_line_is_an_exact_pin(self, name):
        assert pinned(name)

    def test_files_agree(self):
        versions: dict[str, set[str]] = {}
        for name in REQUIREMENT_FILES:
            for package, version, marker in pinned(name):
                if marker is None:
                    versions.setdefault(package.lower().replace("_", "-"), set()).add(version)
        assert {package: found for package, found in versions.items() if len(found) > 1} == {}

    def test_this_environment_has_the_pinned_versions(self):
        applies = {None: True, 'sys_platform == "win32"': sys.platform == "win32"}
        intel = sys.platform == "linux" and platform.machine() == "x86_64"
        on_intel = ' and sys_platform == "linux" and platform_machine == "x86_64"'
        applies |= {f'python_version == "{each}"{on_intel}': intel and each == build.RUNNING for each in build.PYTHONS}
        applies |= {f'python_version == "{version}"': version == build.RUNNING for version in build.PYTHONS}
        found = [entry for name in REQUIREMENT_FILES[:3] for entry in pinned(name) if applies[entry[2]]]
        assert {name: importlib.metadata.version(name) for name, _, _ in found} == {name: at for name, at, _ in found}


class TestInterpreters:
    @posix
    def test_shim_that_does_not_run_is_passed_over(self, tmp_path, monkeypatch):
        shim = script(tmp_path / "python", "echo 'command not found' >&2; exit 127")
        absent = str(tmp_path / "absent")
        monkeypatch.setattr(build, "candidates", lambda version: [[absent], [str(shim)], [sys.executable]])
        assert build.find_interpreter(build.RUNNING).path == sys.executable

    @posix
    def test_pyenv_versions_are_looked_through(self, tmp_path, monkeypatch):
        real = script(tmp_path / "versions/3.13.9/bin/python3.13", f"echo '3.13 3.13.9 x'; echo '{tmp_path}/real'")
        monkeypatch.setenv("PYENV_ROOT", str(tmp_path))
        monkeypatch.setenv("PATH", str(tmp_path / "nothing"))
        monkeypatch.setattr(build, "RUNNING", "3.10")
        assert list(build.candidates("3.13"))[-1] == [str(real)]
        assert build.find_interpreter("3.13") == ("3.13", "3.13.9", f"{tmp_path}/real", True)

    @posix
    def test_missing_ensurepip_names_the_package(self, tmp_path, monkeypatch):
        bare = script(tmp_path / "python3.11", "echo '3.11 3.11.2 None'; echo /usr/bin/python3.11")
        monkeypatch.setattr(build, "candidates", lambda version: [[str(bare)]])
        with pytest.raises(build.BuildError, match=r"apt-get install python3\.11-venv"):
            build.find_interpreter("3.11")

    def test_none_found_says_what_to_install_on_one_line(self, monkeypatch, capsys):
        monkeypatch.setattr(build, "candidates", lambda version: [])
        assert build.main(["demo"]) == 2
        message = capsys.readouterr().err
        assert message.count("\n") == 1
        assert "install python3.13" in message
        assert "install python3.11" in message

    def test_the_skipped_one_is_named(self, monkeypatch, capsys):
        other = next(version for version in build.PYTHONS if version != build.RUNNING)
        monkeypatch.setattr(build, "candidates", lambda version: [[sys.executable]] if version != other else [])
        assert [found.version for found in build.find_interpreters(None, enough=2)] == [build.RUNNING]
        assert f"Skipped: Python {other}" in capsys.readouterr().out


@posix
class TestEnvironment:
    @pytest.fixture
    def steps(self, tmp_path, monkeypatch):
        """Commands that a set-up in a temporary place would run; making the environment only links a Python."""
        for name in REQUIREMENT_FILES:
            (tmp_path / name).write_text("numpy==1.0\n")
        monkeypatch.setattr(build, "ROOT", tmp_path)
        monkeypatch.setattr(build, "VENV", tmp_path / ".venv")
        taken = []

        def take(title, command, log, **options):
            taken.append(command[2])
            if command[2] == "venv":
                assert command[3] == "--clear"
                script(Path(command[-1], "bin/python"), f'exec "{sys.executable}" "$@"')

        monkeypatch.setattr(build, "run_step", take)
        return taken

    def test_finished_one_is_left_alone(self, steps):
        build.environment(HERE)
        assert steps == ["venv", "pip"]
        build.environment(HERE)
        assert steps == ["venv", "pip"]

    def test_development_is_added_to_a_finished_core_and_contains_it(self, steps):
        build.environment(HERE)
        build.environment(HERE, "dev")
        assert steps == ["venv", "pip", "pip", "pip"]  # the last one without dependencies
        build.environment(HERE)
        build.environment(HERE, "dev")
        assert len(steps) == 4

    def test_interrupted_one_is_made_anew(self, steps, monkeypatch):
        take = build.run_step

        def interrupt(title, command, log, **options):
            take(title, command, log, **options)
            if command[2] == "pip":
                raise KeyboardInterrupt

        monkeypatch.setattr(build, "run_step", interrupt)
        with pytest.raises(KeyboardInterrupt):
            build.environment(HERE)
        monkeypatch.setattr(build, "run_step", take)
        build.environment(HERE)
        assert steps == ["venv", "pip", "venv", "pip"]

    def test_interrupted_addition_is_made_anew(self, steps, monkeypatch):
        build.environment(HERE)
        take = build.run_step
        monkeypatch.setattr(build, "run_step", refuse)
        with pytest.raises(AssertionError):
            build.environment(HERE, "dev")
        monkeypatch.setattr(build, "run_step", take)
        build.environment(HERE)
        assert steps == ["venv", "pip", "venv", "pip"]

    def test_other_requirements_or_another_python_make_it_anew(self, steps):
        build.environment(HERE)
        (build.ROOT / "requirements.txt").write_text("numpy==2.0\n")
        build.environment(HERE)
        assert len(steps) == 4
        stamp = next(build.VENV.glob("py*/core.stamp"))
        stamp.write_text(stamp.read_text().replace(HERE.full, "3.0.0"))
        build.environment(HERE)
        assert len(steps) == 6

    def test_environment_whose_python_is_gone_is_made_anew(self, steps):
        python = Path(build.environment(HERE))
        python.unlink()
        build.environment(HERE)
        assert len(steps) == 4


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="libraries are looked for on Linux")
class TestLibraries:
    @pytest.fixture
    def ldd(self, tmp_path, monkeypatch):
        """Sets what ldd and the search for EGL answer."""

        def answer(listing, egl):
            script(tmp_path / "ldd", f"cat <<'END'\n{listing}\nEND")
            monkeypatch.setenv("PATH", str(tmp_path), prepend=os.pathsep)
            monkeypatch.setattr(build, "blender_folder", lambda python: tmp_path)
            monkeypatch.setattr(build.ctypes.util, "find_library", lambda name: egl)

        return answer

    def test_nothing_is_missing(self, ldd):
        ldd("\tlibSM.so.6 => /lib/libSM.so.6 (0x00007f)", "libEGL.so.1")
        build.require_libraries(sys.executable)

    def test_missing_ones_are_named_with_the_command(self, ldd):
        ldd("\tlibSM.so.6 => not found\n\tlibm.so.6 => /lib/libm.so.6 (0x0)\n\tlibOdd.so.3 => not found", None)
        with pytest.raises(build.BuildError) as raised:
            build.require_libraries(sys.executable)
        assert str(raised.value) == (
            "Blender needs libEGL.so.1, libOdd.so.3, libSM.so.6, which this system lacks; install them on Debian or "
            "Ubuntu with: sudo apt-get install libegl1 libsm6; find the package of your system that has libOdd.so.3"
        )

    def test_readme_brings_all_that_a_bare_debian_lacks(self):
        readme = (build.ROOT / "README.md").read_text(encoding="utf-8")
        line = next(line for line in readme.splitlines() if line.startswith("sudo apt-get install"))
        assert line.split()[3:] == ["python3-venv", *sorted(build.DEBIAN_PACKAGES.values())]

    def test_this_system_is_complete(self):
        assert build.missing_libraries(sys.executable) == []


class TestProgress:
    def test_plain_lines_every_ten_seconds_with_the_time_left(self):
        now = [0.0]
        stream = io.StringIO()
        progress = build.Progress("Film", stream, lambda: now[0])
        for done in range(101):
            now[0] = 30 + 2.0 * done  # a slow start does not count
            progress.update(done, 100, "frame")
        progress.close("done")
        lines = stream.getvalue().splitlines()
        assert lines[0] == "Film ... "
        assert lines[2] == "  Film: frame (5 of 100), 0:40 gone, about 3:10 left"
        assert lines[-1] == "Film ... done, 230.0 s"
        assert len(lines) == 23

    def test_terminal_line_is_renewed_in_place(self, monkeypatch):
        stream = io.StringIO()
        stream.isatty = lambda: True
        monkeypatch.setenv("COLUMNS", "40")
        progress = build.Progress("Film", stream, lambda: 0.0)
        progress.update(1, 2, "a label too long for the width of this terminal")
        progress.close("done")
        assert stream.getvalue().count("\n") == 1
        assert max(len(part) for part in re.split("[\r\n]", stream.getvalue())) == 39

    def test_step_relays_progress_and_keeps_the_output(self, tmp_path, monkeypatch, capsys):
        monkeypatch.setattr(build, "ROOT", tmp_path)
        code = "print('PROGRESS 1 2 still'); print('Saved')"
        seen = []

        def read(line):
            seen.append(build.progress_line(line))

        build.run_step("Stills", [sys.executable, "-c", code], tmp_path / "log.txt", reading=read)
        assert seen == [(1, 2, "still"), None]
        assert (tmp_path / "log.txt").read_text() == "PROGRESS 1 2 still\nSaved\n"
        assert re.fullmatch(r"Stills \.\.\. done, \d+\.\d s\n", capsys.readouterr().out)

    def test_failed_step_shows_its_last_lines(self, tmp_path, monkeypatch, capsys):
        monkeypatch.setattr(build, "ROOT", tmp_path)
        command = [sys.executable, "-c", "print('no camera'); raise SystemExit(3)"]
        with pytest.raises(build.BuildError, match=r"Stills failed \(exit status 3\); its output is in log\.txt"):
            build.run_step("Stills", command, tmp_path / "log.txt")
        assert "  | no camera" in capsys.readouterr().out
        assert build.run_step("Stills", command, tmp_path / "log.txt", accept=(0, 3)) == 3


class TestPackaging:
    def test_stage_makes_the_core_a_subpackage(self, tmp_path):
        kept = ("addon/__init__.py", "geometry/__init__.py", "LICENSE")
        for name in (*kept, "addon/__pycache__/a.pyc", "geometry/b.pyc"):
            script(tmp_path / name, "")
        package = build.stage(tmp_path / "out", tmp_path)
        files = {path.relative_to(package).as_posix() for path in package.rglob("*") if path.is_file()}
        assert package == tmp_path / "out/hingeleaf"
        assert files == {"__init__.py", "geometry/__init__.py", "LICENSE"}

    def test_staged_core_needs_no_other_place(self, tmp_path):
        build.stage(tmp_path)
        (tmp_path / "hingeleaf/__init__.py").write_text("")  # the add-on's own imports Blender
        code = "import hingeleaf.geometry, sys; print('geometry' in sys.modules, 'bpy' in sys.modules)"
        env = build.child_environment(PYTHONPATH=str(tmp_path))
        done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, env=env, cwd=tmp_path)
        assert (done.stdout, done.stderr) == ("False False\n", "")

    def test_manifest_takes_platforms_and_wheels_before_its_tables(self):
        source = (build.ROOT / "addon/blender_manifest.toml").read_text(encoding="utf-8")
        plain, made = tomllib.loads(source), tomllib.loads(build.complete_manifest(source, ["linux-x64"], ["a-1.whl"]))
        assert made == {**plain, "platforms": ["linux-x64"], "wheels": ["./wheels/a-1.whl"]}
        assert made["permissions"]

    def test_manifest_is_as_blender_asks(self):
        manifest = tomllib.loads((build.ROOT / "addon/blender_manifest.toml").read_text(encoding="utf-8"))
        scripts = next(Path(importlib.util.find_spec("bpy").origin).parent.glob("*/scripts"))
        known = runpy.run_path(str(scripts / "modules/_bpy_internal/extensions/tags.py"))["addons"]
        assert (manifest["id"], manifest["license"]) == ("hingeleaf", ["SPDX:GPL-3.0-or-later"])
        assert set(manifest["tags"]) <= known
        for text in (manifest["tagline"], *manifest["permissions"].values()):
            assert len(text) <= 64
            assert text[-1].isalnum()

    def test_cached_wheels_are_not_fetched_again(self, tmp_path, monkeypatch):
        monkeypatch.setattr(build, "VENV", tmp_path)
        asked = []

        def download(title, command, log):
            asked.append(command)
            folder = Path(command[command.index("--dest" if "download" in command else "--wheel-dir") + 1])
            script(folder / f"{folder.name}.whl", "")

        monkeypatch.setattr(build, "run_step", download)
        wheels = build.gather_wheels("python", ["macos-arm64"], ["cp313", "cp314"])
        assert [path.stem for path in wheels] == ["any", "built", "macos-arm64-cp313", "macos-arm64-cp314"]
        assert {"macosx_11_0_arm64", "314", "cp314", "abi3", "none"} < set(asked[3])
        monkeypatch.setattr(build, "run_step", refuse)
        assert build.gather_wheels("python", ["macos-arm64"], ["cp313", "cp314"]) == wheels

    @pytest.mark.skipif("HINGELEAF_ZIP" not in os.environ, reason="build.py test builds the zip")
    def test_built_zip_has_its_wheels_and_no_others(self):
        with zipfile.ZipFile(os.environ["HINGELEAF_ZIP"]) as archive:
            names = archive.namelist()
            manifest = tomllib.loads(archive.read("blender_manifest.toml").decode())
        wheels = [name for name in names if name.endswith(".whl")]
        assert sorted(manifest["wheels"]) == sorted(f"./{name}" for name in wheels)
        assert manifest["platforms"] == [build.this_platform()]
        expected = dict.fromkeys((*build.PURE_WHEELS, *build.BUILT_WHEELS), 1)
        expected |= dict.fromkeys(build.COMPILED_WHEELS, len(build.PYTHON_TAGS))
        distributions = [Path(name).name.split("-")[0].lower() for name in wheels]
        assert {name: distributions.count(name) for name in distributions} == expected
        assert {"__init__.py", "geometry/__init__.py", "geometry/__main__.py", "LICENSE"} < set(names)
        assert not [name for name in names if "__pycache__" in name]


class TestTestCommand:
    @pytest.mark.parametrize(("failing", "status"), [(None, 0), ("ruff", 1), ("mypy", 1), ("pytest", 1), ("zip", 1)])
    def test_any_failure_counts_and_the_tests_run_all_the_same(self, failing, status, monkeypatch):
        called = []

        def call(command, **options):
            called.append(command[2])
            return int(command[2] == failing)

        def make(python, platforms, tags):
            if failing == "zip":
                raise build.BuildError("Building the extension failed")
            return [Path("a.zip")]

        monkeypatch.setattr(build, "find_interpreters", lambda wanted, enough: [HERE])
        monkeypatch.setattr(build, "environment", lambda interpreter, purpose: sys.executable)
        monkeypatch.setattr(build, "require_libraries", lambda python: None)
        monkeypatch.setattr(build, "check_types", lambda interpreter: failing != "mypy")
        monkeypatch.setattr(build, "make_package", make)
        monkeypatch.setattr(build.subprocess, "call", call)
        assert build.main(["test", "-k", "tent"]) == status
        assert called == ["ruff", "pytest"]
