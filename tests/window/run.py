"""Walks through the extension in a real Blender window: `python3 build.py test --window` calls this.

The window is whatever HINGELEAF_WINDOW starts, else our own on a virtual screen, else there is none and the walk is
skipped with exit status 0. Standard library only; in Blender runs one file that holds all modules of the walk.

HINGELEAF_WINDOW is a command. Called as `COMMAND SCRIPT.py [EXTENSION.zip]` it starts a Blender with a window and
default preferences, installs and enables the extension, runs the script with xdotool and import on PATH, and ends with
Blender's exit status. It may name a folder for pictures in WINDOW_DIR, and then leaves them beside the script.
"""

import argparse
import contextlib
import os
import re
import shlex
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
OUT = ROOT / "out" / "window"
#: Modules of the walk, each after what it imports.
MODULES = ("pace", "hands", "files", "eyes", "book", "spread", "painting", "bound", "model", "walk")
NEEDED = ("blender", "Xvfb", "xdotool", "import")
SIZE = (1600, 1000)
DONE = "Window walk: done"

_ASK = """import bpy, sys
print("Python tag: cp%d%d" % sys.version_info[:2], flush=True)
bpy.ops.wm.quit_blender()
"""


def bundle():
    """One script that holds every module under its own name and takes the walk."""
    lines = ["import sys, types", "", "import bpy", ""]
    lines += ["bpy.context.preferences.view.show_splash = False"]
    for name in ("tests", "tests.window", *(f"tests.window.{name}" for name in MODULES)):
        lines += [f"sys.modules[{name!r}] = types.ModuleType({name!r})"]
    for name in MODULES:
        text = (ROOT / "tests" / "window" / f"{name}.py").read_text(encoding="utf-8")
        lines += [f"module = sys.modules['tests.window'].{name} = sys.modules['tests.window.{name}']"]
        lines += [f"exec(compile({text!r}, 'tests/window/{name}.py', 'exec'), module.__dict__)"]
    lines += ["from tests.window.hands import shot", "from tests.window.pace import start"]
    lines += ["from tests.window.walk import walk", "start(walk(), shot)"]
    return "\n".join(lines) + "\n"


class NoWindowError(Exception):
    """There is no window to walk in; what would give one."""


def window_command():
    """The command of HINGELEAF_WINDOW, empty where our own window is used; NoWindowError where there is none."""
    command = shlex.split(os.environ.get("HINGELEAF_WINDOW", ""))
    missing = [name for name in NEEDED if shutil.which(name) is None]
    if not command and missing:
        raise NoWindowError(
            f"Skipped: there is no window to walk in; put {', '.join(missing)} on PATH (import is ImageMagick's), "
            "or let HINGELEAF_WINDOW be a command that runs `COMMAND SCRIPT.py EXTENSION.zip` in a Blender's window"
        )
    return command


def run(command, *, env=None):
    """Run a command, say what it says at once, and return its exit status and output."""
    said = []
    with subprocess.Popen(
        command, env=env, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, encoding="utf-8", errors="replace"
    ) as child:
        for line in child.stdout:
            said.append(line)
            print(line, end="", flush=True)
    return child.returncode, "".join(said)


def python_tag(command):
    """Tag of the Python that Blender runs, such as cp313; it is asked."""
    with tempfile.TemporaryDirectory() as folder:
        script = Path(folder, "ask.py")
        script.write_text(_ASK)
        call = [*command, str(script)] if command else ["blender", "-b", "--factory-startup", "--python", str(script)]
        done = subprocess.run(call, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
    found = re.search(r"^Python tag: (cp\d+)$", done.stdout, re.M)
    if found is None:
        raise SystemExit(f"Blender does not say which Python it runs:\n{done.stdout}")
    return found[1]


@contextlib.contextmanager
def screen():
    """A virtual screen, with a window manager if there is one; yields its name."""
    reading, writing = os.pipe()
    size = f"{SIZE[0]}x{SIZE[1]}x24"
    server = ["Xvfb", "-displayfd", str(writing), "-screen", "0", size, "+extension", "GLX", "-nolisten", "tcp"]
    children = [subprocess.Popen(server, pass_fds=[writing], stderr=subprocess.DEVNULL)]
    os.close(writing)
    try:
        with os.fdopen(reading) as told:
            name = f":{told.readline().strip()}"
        if shutil.which("openbox"):
            env = {**os.environ, "DISPLAY": name}
            children.append(subprocess.Popen(["openbox"], env=env, stderr=subprocess.DEVNULL))
        yield name
    finally:
        for child in reversed(children):
            child.terminate()
            child.wait()


def run_here(script, package):
    """Install the extension into a Blender of its own, and run a script in its window; as `run`."""
    with tempfile.TemporaryDirectory(prefix="hingeleaf-window-") as folder, screen() as name:
        env = {**os.environ, "DISPLAY": name, "BLENDER_USER_RESOURCES": folder, "WINDOW_DIR": str(script.parent)}
        env.setdefault("LIBGL_ALWAYS_SOFTWARE", "1")
        install = ["extension", "install-file", "-r", "user_default", "--enable", str(package)]
        status, said = run(["blender", "--factory-startup", "--command", *install], env=env)
        if status:
            return status, said
        place = ["--window-geometry", "0", "0", *map(str, SIZE)]
        return run(["blender", *place, "--python-exit-code", "1", "--python", str(script)], env=env)


def walk(command, package):
    """Take the walk; returns the exit status."""
    shutil.rmtree(OUT, ignore_errors=True)
    OUT.mkdir(parents=True)
    script = OUT / "walk.py"
    script.write_text(bundle(), encoding="utf-8")
    status, said = run([*command, str(script), str(package)]) if command else run_here(script, package)
    if not status and DONE not in said:
        print("The window was closed before the walk had come to its end")
        status = 1
    print(f"Pictures of the walk: {OUT.relative_to(ROOT).as_posix()}/", flush=True)
    return status


def main():
    """Say which Python the window's Blender runs, or walk."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("package", nargs="?", help="zip of the extension; without it only Blender's Python is told")
    args = parser.parse_args()
    try:
        command = window_command()
    except NoWindowError as error:
        print(error, file=sys.stderr)
        return 0
    if args.package is None:
        print(python_tag(command))
        return 0
    return 1 if walk(command, args.package) else 0


if __name__ == "__main__":
    sys.exit(main())
