#!/usr/bin/env python3
"""Sets up, demonstrates, tests, packages and measures Hingeleaf: `python3 build.py COMMAND --help` says more.

Standard library only. It starts on any Python from 3.8 on and looks for the 3.11 or 3.13 that Blender needs.
Environments, downloaded wheels and logs of the set-up are kept in .venv/, results in out/.
"""

from __future__ import annotations

import argparse
import contextlib
import ctypes.util
import hashlib
import os
import platform
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import NamedTuple, TextIO

ROOT = Path(__file__).resolve().parent
VENV = ROOT / ".venv"
OUT = ROOT / "out"
PACKAGES = OUT / "packages"
DEMO_BOOK = "scenes/demo/book.toml"
DEMO_SCENE = "scenes/demo/low-tide.toml"  # its first spread
DEMO_FILM_SIZE = "640x360"  # a whole book has many frames
BULK_MAPS = ("bulk.svg", "bulk.pdf")
DEMO_RESULTS = (
    "report.txt",
    "report.json",
    *BULK_MAPS,
    "poses.json",
    "nets",
    "cutting",
    "assembly",
    "specification.txt",
    "demo.blend",
    "stills",
    "book.mp4",
    "demo.log",
)

PYTHONS = ("3.13", "3.11")  # of Blender 5.2 LTS and 4.5 LTS; the first found is taken where one is enough
RUNNING = f"{sys.version_info[0]}.{sys.version_info[1]}"
REQUIREMENTS = {
    "core": ("requirements.txt",),
    "dev": ("requirements.txt", "requirements-dev.txt", "requirements-data.txt"),
    "types": ("requirements-types.txt",),
    "mutation": ("requirements-mutation.txt",),
}
DATA_ONLY = "requirements-data.txt"  # installed without what they need
STAMPED_BY = {"core": ("core",), "dev": ("core", "dev"), "types": ("types",), "mutation": ("mutation",)}
OWN_FOLDER = ("types", "mutation")  # purposes whose packages would be in the way of Blender's

PURE_WHEELS = ("ezdxf", "fonttools", "pyparsing", "reportlab", "svgelements", "tomlkit", "typing_extensions")
BUILT_WHEELS = ("rectpack",)  # published as source only
COMPILED_WHEELS = ("pillow", "shapely")
PYTHON_TAGS = ("cp311", "cp313")
PLATFORMS = {  # the oldest systems that Blender 4.5 runs on
    "windows-x64": ("win_amd64",),
    "macos-arm64": ("macosx_11_0_arm64",),
    "macos-x64": ("macosx_10_13_x86_64",),
    "linux-x64": ("manylinux_2_28_x86_64", "manylinux_2_17_x86_64", "manylinux2014_x86_64"),
}

DEBIAN_PACKAGES = {
    "libEGL.so.1": "libegl1", "libGL.so.1": "libgl1", "libICE.so.6": "libice6", "libSM.so.6": "libsm6",
    "libX11.so.6": "libx11-6", "libXext.so.6": "libxext6", "libXfixes.so.3": "libxfixes3", "libXi.so.6": "libxi6",
    "libXrender.so.1": "libxrender1", "libxkbcommon.so.0": "libxkbcommon0",
}  # fmt: skip


class BuildError(Exception):
    """What went wrong and what would put it right, in one sentence."""


def say(text: str) -> None:
    """Print one line at once, so that it stands before the output of what is started next."""
    print(text, flush=True)


# Progress and running


def span(seconds: float) -> str:
    """Duration as m:ss or h:mm:ss.

    >>> span(65.4), span(3725)
    ('1:05', '1:02:05')
    """
    minutes, rest = divmod(round(seconds), 60)
    return f"{minutes}:{rest:02d}" if minutes < 60 else f"{minutes // 60}:{minutes % 60:02d}:{rest:02d}"


class Progress:
    """One line a step: renewed in place on a terminal, printed about every ten seconds elsewhere."""

    def __init__(self, title: str, stream: TextIO | None = None, clock: Callable[[], float] = time.monotonic) -> None:
        self.title = title
        self.stream = sys.stdout if stream is None else stream
        self.clock = clock
        self.begun = clock()
        self.first: tuple[float, int] | None = None
        self.printed = self.begun
        self.inline = True
        self._write(f"{title} ... ")

    def _write(self, text: str) -> None:
        self.stream.write(text)
        self.stream.flush()

    def update(self, done: int, total: int, label: str) -> None:
        """Tell how far the step is; the time left is judged by the speed since the first call."""
        now = self.clock()
        if self.first is None:
            self.first = (now, done)
        since, start = self.first
        left = f", about {span((now - since) * (total - done) / (done - start))} left" if start < done < total else ""
        text = f"{self.title}: {label} ({done} of {total}), {span(now - self.begun)} gone{left}"
        if self.stream.isatty():
            width = shutil.get_terminal_size().columns - 1
            self._write("\r" + text[:width].ljust(width))
        elif now - self.printed >= 10:
            self.printed = now
            self._write("\n" * self.inline + f"  {text}\n")
            self.inline = False

    def close(self, outcome: str) -> None:
        """End the line with what came of the step and the time it took."""
        text = f"{outcome}, {self.clock() - self.begun:.1f} s"
        if self.stream.isatty():
            width = shutil.get_terminal_size().columns - 1
            self._write(f"\r{f'{self.title} ... {text}'.ljust(width)}\n")
        else:
            self._write(f"{text}\n" if self.inline else f"{self.title} ... {text}\n")


def child_environment(**variables: str) -> dict[str, str]:
    """Environment for our own Pythons: theirs alone, unbuffered, in UTF-8."""
    kept = {key: value for key, value in os.environ.items() if key not in ("PYTHONPATH", "PYTHONHOME")}
    return {**kept, "PYTHONUNBUFFERED": "1", "PYTHONUTF8": "1", **variables}


def progress_line(line: str) -> tuple[int, int, str] | None:
    """Read `PROGRESS done total label`, as the Blender step prints it; None for any other line.

    >>> progress_line("PROGRESS 3 120 film")
    (3, 120, 'film')
    """
    match = re.match(r"PROGRESS (\d+) (\d+) (.*)", line)
    return (int(match[1]), int(match[2]), match[3].strip()) if match else None


def run_step(
    title: str,
    command: Sequence[str],
    log: Path,
    *,
    env: dict[str, str] | None = None,
    accept: Sequence[int] = (0,),
    reading: Callable[[str], tuple[int, int, str] | None] = progress_line,
) -> int:
    """Run a command with its output in a log and its progress on the screen; return its exit status.

    Raises BuildError, after showing the end of the log, for a status that is not accepted.
    """
    progress = Progress(title)
    log.parent.mkdir(parents=True, exist_ok=True)
    tail: list[str] = []
    with log.open("a", encoding="utf-8") as kept, subprocess.Popen(
        command,
        cwd=ROOT,
        env=env or child_environment(),
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        encoding="utf-8",
        errors="replace",
    ) as child:
        for line in child.stdout or ():
            kept.write(line)
            reached = reading(line)
            if reached is None:
                tail = [*tail[-14:], line]
            else:
                progress.update(*reached)
    progress.close("done" if child.returncode in accept else "failed")
    if child.returncode not in accept:
        ended = f"stopped by signal {-child.returncode}" if child.returncode < 0 else f"exit status {child.returncode}"
        sys.stdout.writelines(f"  | {line}" for line in tail)
        sys.stdout.flush()
        raise BuildError(f"{title} failed ({ended}); its output is in {log.relative_to(ROOT).as_posix()}")
    return child.returncode


# Interpreters and environments


class Interpreter(NamedTuple):
    """A Python that is really there: "3.13", "3.13.0", where it is, and whether it can make environments."""

    version: str
    full: str
    path: str
    complete: bool


PROBE = """
import importlib.util, sys
ensurepip = getattr(importlib.util.find_spec("ensurepip"), "origin", None)
print("%d.%d" % sys.version_info[:2], sys.version.split()[0], ensurepip)
print(sys.executable)
"""


def probe(command: Sequence[str]) -> Interpreter | None:
    """Start a Python and ask it what it is; None if it does not start, as a pyenv shim that is not selected."""
    try:
        answer = subprocess.run([*command, "-c", PROBE], capture_output=True, text=True, timeout=60)
    except (OSError, subprocess.TimeoutExpired):
        return None
    lines = answer.stdout.splitlines()
    if answer.returncode or len(lines) != 2:
        return None
    version, full, ensurepip = lines[0].split(" ", 2)
    return Interpreter(version, full, lines[1], ensurepip != "None")


def candidates(version: str) -> Iterator[list[str]]:
    """Commands that may start a Python of this version, the running one first."""
    if version == RUNNING:
        yield [sys.executable]
    name = f"python{version}"
    found = (shutil.which(name, path=folder) for folder in os.get_exec_path())
    yield from ([path] for path in found if path)
    if os.name == "nt":
        yield ["py", f"-{version}"]
    root = os.environ.get("PYENV_ROOT")
    if not root and shutil.which("pyenv"):
        root = subprocess.run(["pyenv", "root"], capture_output=True, text=True).stdout.strip()
    if root:
        yield from ([str(path)] for path in sorted(Path(root, "versions").glob(f"{version}*/bin/{name}")))


def find_interpreter(version: str) -> Interpreter:
    """First Python of this version that runs and can make environments. Raises BuildError with what to install."""
    crippled = None
    for command in candidates(version):
        found = probe(command)
        if found and found.version == version:
            if found.complete:
                return found
            crippled = crippled or found
    if crippled:
        remedy = f"install it with: sudo apt-get install python{version}-venv"
        raise BuildError(f"Python {version} in {crippled.path} lacks ensurepip ({remedy})")
    raise BuildError(f"Python {version} was not found (install python{version})")


def find_interpreters(wanted: str | None, *, enough: int = 1) -> list[Interpreter]:
    """Interpreters to use: the wanted version, or of all supported ones the first `enough`, the running one first.

    Says which ones are skipped if more were asked for than were found. Raises BuildError if there is none.
    """
    order = [wanted] if wanted else sorted(PYTHONS, key=lambda version: version != RUNNING)
    found: list[Interpreter] = []
    missing: list[str] = []
    for version in order:
        try:
            found.append(find_interpreter(version))
        except BuildError as error:
            missing.append(str(error))
        if len(found) == enough:
            return found
    if not found:
        raise BuildError("; ".join(missing) + ("" if wanted else ". One of them on PATH is enough"))
    for reason in missing:
        say(f"Skipped: {reason}")
    return found


def python_in(folder: Path) -> str:
    """Path of the interpreter of a virtual environment."""
    return str(folder / ("Scripts/python.exe" if os.name == "nt" else "bin/python"))


def fingerprint(interpreter: Interpreter, purpose: str) -> str:
    """What an environment for this purpose is made from; its stamp holds the same text."""
    content = b"".join((ROOT / name).read_bytes() for name in REQUIREMENTS[purpose])
    return f"Python {interpreter.full}, requirements {hashlib.sha256(content).hexdigest()}\n"


def environment(interpreter: Interpreter, purpose: str = "core") -> str:
    """Make or complete the environment for a purpose (core, dev, types or mutation) and return the path of its Python.

    A stamp is written last: an environment without it, or with another, is made anew. The packages for
    development are added to a finished core. A finished environment stays with the Python that it was made with.
    """
    folder = VENV / (purpose if purpose in OWN_FOLDER else f"py{interpreter.version.replace('.', '')}")
    python = python_in(folder)

    def finished(name: str) -> bool:
        stamp = folder / f"{name}.stamp"
        inside = probe([python]) if stamp.is_file() else None
        return inside is not None and stamp.read_text() == fingerprint(inside, name)

    if finished(purpose):
        return python
    title = f"Setting up .venv/{folder.name}"
    log = VENV / f"setup-{folder.name}.log"
    extend = purpose == "dev" and finished("core")
    for stamp in folder.glob("*.stamp"):
        stamp.unlink()
    log.unlink(missing_ok=True)
    if not extend:
        run_step(f"{title}, Python {interpreter.full}", [interpreter.path, "-m", "venv", "--clear", str(folder)], log)
    files = [ROOT / name for name in REQUIREMENTS[purpose] if name != DATA_ONLY]
    total = sum(len(re.findall(r"^\w.*==", file.read_text(encoding="utf-8"), re.M)) for file in files)
    options = [option for file in files for option in ("-r", str(file))]
    command = [python, "-m", "pip", "install", "--no-input", "--disable-pip-version-check", "--progress-bar", "off"]
    run_step(f"{title}, packages for {purpose}", [*command, *options], log, reading=install_counter(total))
    if DATA_ONLY in REQUIREMENTS[purpose]:
        run_step(f"{title}, data for {purpose}", [*command, "--no-deps", "-r", str(ROOT / DATA_ONLY)], log)
    for name in STAMPED_BY[purpose]:
        (folder / f"{name}.stamp").write_text(fingerprint(interpreter, name))
    return python


def install_counter(total: int) -> Callable[[str], tuple[int, int, str] | None]:
    """Reader that turns what pip says into progress: a package taken up a line."""
    seen: list[str] = []

    def read(line: str) -> tuple[int, int, str] | None:
        match = re.match(r"(?:Collecting|Requirement already satisfied:) ([\w.-]+)", line)
        if match is None:
            return None
        seen.append(match[1])
        return min(len(set(seen)), total), total, match[1]

    return read


def blender_folder(python: str) -> Path:
    """Folder of the bpy module in an environment, without importing it."""
    code = "import importlib.util as u; print(u.find_spec('bpy').origin)"
    return Path(subprocess.run([python, "-c", code], capture_output=True, text=True, check=True).stdout.strip()).parent


def missing_libraries(python: str) -> list[str]:
    """File names of the system libraries that bpy needs and that are not here (looked for on Linux only)."""
    if not sys.platform.startswith("linux") or not shutil.which("ldd"):
        return []
    listing = subprocess.run(["ldd", str(blender_folder(python) / "__init__.so")], capture_output=True, text=True)
    missing = set(re.findall(r"^\s*(\S+) => not found", listing.stdout, re.M))
    if ctypes.util.find_library("EGL") is None:  # opened by Workbench at run time, which aborts without it
        missing.add("libEGL.so.1")
    return sorted(missing)


def require_libraries(python: str) -> None:
    """Raise BuildError with the command that installs what bpy needs and does not find."""
    missing = missing_libraries(python)
    known = [DEBIAN_PACKAGES[name] for name in missing if name in DEBIAN_PACKAGES]
    remedies = [f"install them on Debian or Ubuntu with: sudo apt-get install {' '.join(known)}"] if known else []
    unknown = [name for name in missing if name not in DEBIAN_PACKAGES]
    remedies += [f"find the package of your system that has {' and '.join(unknown)}"] if unknown else []
    if missing:
        raise BuildError(f"Blender needs {', '.join(missing)}, which this system lacks; {'; '.join(remedies)}")


# Packaging


def stage(target: Path, root: Path = ROOT) -> Path:
    """Lay out the extension as it is installed, addon/ as target/hingeleaf with geometry/ as its subpackage."""
    package = target / "hingeleaf"
    leave = shutil.ignore_patterns("__pycache__", "*.pyc")
    shutil.copytree(root / "addon", package, ignore=leave)
    shutil.copytree(root / "geometry", package / "geometry", ignore=leave)
    shutil.copy2(root / "LICENSE", package)
    return package


def pins(names: Sequence[str]) -> list[str]:
    """Requirements of these packages as requirements.txt pins them."""
    text = (ROOT / "requirements.txt").read_text(encoding="utf-8")
    return [re.findall(rf"^{name}==[^\s;]+", text, re.M)[0] for name in names]


def fetch_wheels(python: str, folder: Path, wanted: Sequence[str], *options: str) -> list[Path]:
    """Wheels of the wanted requirements, kept in a folder; a note, written last, says that it is complete.

    They are downloaded with these options of pip, or built here if there are none: as PEP 517 has it, for an older pip
    would otherwise take what that needs from the environment, where it may be missing.
    """
    note = folder / "complete.txt"
    if not note.is_file() or note.read_text() != "\n".join(wanted):
        shutil.rmtree(folder, ignore_errors=True)
        how = ["download", "--only-binary=:all:", "--dest"] if options else ["wheel", "--use-pep517", "--wheel-dir"]
        command = [python, "-m", "pip", *how, str(folder), "--no-deps", *options, *wanted]
        run_step(f"Wheels for {folder.name}", command, VENV / "wheels.log")
        note.write_text("\n".join(wanted))
    return sorted(folder.glob("*.whl"))


def gather_wheels(python: str, platforms: Sequence[str], tags: Sequence[str]) -> list[Path]:
    """Every wheel that the extension needs on these platforms and Pythons, from the cache or downloaded."""
    cache = VENV / "wheels"
    pure = ["--platform", "any", "--abi", "none", "--implementation", "py", "--python-version", "3.11"]
    wheels = fetch_wheels(python, cache / "any", pins(PURE_WHEELS), *pure)
    wheels += fetch_wheels(python, cache / "built", pins(BUILT_WHEELS))
    for name in platforms:
        systems = [option for system in PLATFORMS[name] for option in ("--platform", system)]
        for tag in tags:
            abis = [option for abi in (tag, "abi3", "none") for option in ("--abi", abi)]
            options = [*systems, "--implementation", "cp", "--python-version", tag[2:], *abis]
            wheels += fetch_wheels(python, cache / f"{name}-{tag}", pins(COMPILED_WHEELS), *options)
    return wheels


def complete_manifest(manifest: str, platforms: Sequence[str], wheels: Sequence[str]) -> str:
    """Manifest text with the platforms and wheels of a zip, added before its first table."""

    def array(name: str, values: Sequence[str]) -> str:
        return "".join([f"{name} = [\n", *(f'    "{value}",\n' for value in values), "]\n"])

    head, table, rest = manifest.partition("\n[")
    added = array("platforms", platforms) + array("wheels", [f"./wheels/{name}" for name in wheels])
    return f"{head.rstrip()}\n\n{added}{table}{rest}"


def make_package(python: str, platforms: Sequence[str], tags: Sequence[str]) -> list[Path]:
    """Build and validate one extension zip a platform with Blender's own tool; return their paths in out/packages/."""
    wheels = gather_wheels(python, platforms, tags)
    blender = next(blender_folder(python).glob("*/scripts"))
    tool = [python, str(blender / "addons_core/bl_pkg/cli/blender_ext.py")]
    tag_list = f"--valid-tags={blender / 'modules/_bpy_internal/extensions/tags.py'}"
    PACKAGES.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=OUT, prefix="package-") as scratch:
        source = stage(Path(scratch, "source"))
        (source / "wheels").mkdir()
        for wheel in wheels:
            shutil.copy2(wheel, source / "wheels")
        manifest = source / "blender_manifest.toml"
        text = complete_manifest(manifest.read_text(encoding="utf-8"), platforms, [wheel.name for wheel in wheels])
        manifest.write_text(text, encoding="utf-8")
        made = Path(scratch, "made")
        made.mkdir()
        log = VENV / "package.log"
        places = ["--source-dir", str(source), "--output-dir", str(made)]
        run_step("Building the extension", [*tool, "build", *places, "--split-platforms", tag_list], log)
        for file in sorted(made.glob("*.zip")):
            run_step(f"Validating {file.name}", [*tool, "validate", tag_list, str(file)], log)
        suffix = "" if tuple(tags) == PYTHON_TAGS else "-" + "-".join(tags)
        return [file.replace(PACKAGES / f"{file.stem}{suffix}.zip") for file in sorted(made.glob("*.zip"))]


def this_platform() -> str:
    """Blender's name of the platform that this runs on, if zips are made for it."""
    system = {"win32": "windows", "darwin": "macos"}.get(sys.platform, "linux")
    machine = {"amd64": "x64", "x86_64": "x64", "aarch64": "arm64"}.get(platform.machine().lower(), platform.machine())
    if f"{system}-{machine}" not in PLATFORMS:
        raise BuildError(f"There is no Blender module for {system}-{machine}; use one of {', '.join(PLATFORMS)}")
    return f"{system}-{machine}"


# Commands


def set_up(args: argparse.Namespace, rest: list[str]) -> int:
    """Make the environments and say what bpy does not find."""
    screen = sys.stderr if args.missing_packages else sys.stdout
    with contextlib.redirect_stdout(screen):
        found = find_interpreters(args.python, enough=len(PYTHONS))
        pythons = [environment(each, "dev" if args.dev else "core") for each in found]
    if args.missing_packages:
        missing = {name for python in pythons for name in missing_libraries(python)}
        print(" ".join(sorted(DEBIAN_PACKAGES[name] for name in missing if name in DEBIAN_PACKAGES)))
        return 0
    for python in pythons:
        require_libraries(python)
    say("Ready: " + ", ".join(str(Path(python).relative_to(ROOT)) for python in pythons))
    return 0


def demo(args: argparse.Namespace, rest: list[str]) -> int:
    """Check, print and film the demo book into out/."""
    python = environment(find_interpreters(args.python)[0])
    require_libraries(python)
    log = OUT / "demo.log"
    for old in ("demo.log", "report.txt", "report.json", "specification.txt"):  # others are replaced when finished
        (OUT / old).unlink(missing_ok=True)
    for folder in ("nets", "cutting", "assembly", "stills"):
        shutil.rmtree(OUT / folder, ignore_errors=True)
    core = [python, "-m", "geometry"]
    check = [*core, "check", DEMO_BOOK, "--json", "out/report.json"]
    run_step("Checking the demo book", check, OUT / "report.txt", accept=(0, 1))
    say((OUT / "report.txt").read_text(encoding="utf-8").rstrip())
    if not (OUT / "report.json").is_file():
        raise BuildError("Checking the demo book wrote no report; its output is in out/report.txt")
    maps = [word for name in BULK_MAPS for word in ("--bulk-map", f"out/{name}")]
    run_step("Bulk map of its first spread", [*core, "check", DEMO_SCENE, *maps], log, accept=(0, 1))
    nets = [*core, "nets", DEMO_BOOK]
    run_step("Nets", [*nets, "--out", "out/nets", "--format", "svg,pdf,dxf", "--duplex"], log)
    run_step("Cutting files", [*nets, "--out", "out/cutting", "--format", "cutting", "--nicks", "0.4"], log)
    run_step("Order of assembly", [*core, "booklet", DEMO_BOOK, "--out", "out/assembly"], log)
    run_step("Specification", [*core, "cost", DEMO_BOOK], OUT / "specification.txt")
    run_step("Poses", [*core, "poses", DEMO_BOOK, "--turns", "0:4:0.05", "--out", "out/poses.json"], log)
    picture = ["--size", args.size] if args.size else []
    quality = [*(["--quick"] if args.quick else []), *(["--samples", str(args.samples)] if args.samples else [])]
    stills = ["--blend", "out/demo.blend", "--stills", "out/stills", *picture, *quality]
    film_of = ["--film", "out/book.mp4", "--size", args.size or DEMO_FILM_SIZE, *quality]
    film_of += ["--engine", "draft"] if args.quick else []
    OUT.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory(dir=OUT, prefix="stage-") as scratch:
        stage(Path(scratch))
        env = child_environment(PYTHONPATH=scratch, BLENDER_USER_RESOURCES=str(Path(scratch, "blender")))
        batch = [python, "-m", "hingeleaf.batch", DEMO_BOOK]
        run_step("Blender file and stills", [*batch, *stills], log, env=env)
        run_step("Film of the book", [*batch, *film_of], log, env=env)
    say("In out/:")
    for path in (OUT / name for name in DEMO_RESULTS):
        files = [file for file in path.rglob("*") if file.is_file()] if path.is_dir() else [path]
        count = f", {len(files)} files" if path.is_dir() else ""
        say(f"  {path.name:<17} {sum(file.stat().st_size for file in files) / 1e3:10,.1f} kB{count}")
    return 0


#: Options of `film` that go to the extension's own command line as they are, and what they say in the help.
FILM_WORDS = {
    "preset": "opening, look-around, book, teaser or stills; unless told, an opening, of a book the whole",
    "size": "WIDTHxHEIGHT in pixels, or hd, full-hd, square, vertical",
    "engine": "draft, preview or final (the usual)",
    "samples": "light paths a pixel: more is slower and cleaner",
    "format": "mp4 (the usual), webm, or png for a folder of pictures",
    "background": "gray-blue, cream, rose, sage, wood, dark, white or transparent",
    "seconds": "what one turn of the hand takes",
    "f-stop": "depth of field: the smaller, the less is sharp; all is unless told",
    "frames": "FIRST-LAST: render only these, to be joined later",
}


def film_target(args: argparse.Namespace, scene: Path, stills: bool) -> Path:
    """The file or folder that `film` writes, with the ending of its format."""
    endings = {"mp4": ".mp4", "webm": ".webm", "png": ""}
    ending = endings.get((args.format or "mp4").lower(), ".mp4")
    if args.out is None:
        return (OUT / "film" / f"{scene.stem}{'-stills' if stills else ending}").resolve()
    target = Path(args.out).resolve()
    if args.format is None or stills or target.suffix.lower() == ending:
        return target
    known = target.suffix.lower() in endings.values()
    return target.with_suffix(ending) if known and target.suffix else target.with_name(f"{target.name}{ending}")


def film(args: argparse.Namespace, rest: list[str]) -> int:
    """Film a spread or a book into out/film/, whole or a range of frames, or join what was rendered apart."""
    python = environment(find_interpreters(args.python)[0])
    require_libraries(python)
    scene = Path(args.scene or ROOT / DEMO_SCENE)
    if not scene.is_file():
        raise BuildError(f"{scene}: there is no such file; give the description of a spread or of a book")
    stills = (args.preset or "").lower() == "stills"
    if stills and args.farm:
        raise BuildError("--preset stills: these are pictures and no film, which --farm is for; leave one of them out")
    target = film_target(args, scene, stills)
    if args.join is not None:
        folders = [Path(folder).resolve() for folder in args.join] or [target.with_name(f"{target.name}.frames")]
        words = ["--join", *map(str, folders), "--film", str(target)]
    else:
        given = {name: getattr(args, name.replace("-", "_")) for name in FILM_WORDS}
        words = [str(scene.resolve()), "--stills" if stills else "--film", str(target)]
        words += [word for name, value in given.items() if value for word in (f"--{name}", value)]
        words += ["--lively"] if args.lively else []
        words += ["--farm", str(target.with_suffix(".blend"))] if args.farm else []
        if args.farm:
            words = [word for word in words if word not in ("--film", str(target))]
    target.parent.mkdir(parents=True, exist_ok=True)
    OUT.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory(dir=OUT, prefix="stage-") as scratch:
        stage(Path(scratch))
        env = child_environment(PYTHONPATH=scratch, BLENDER_USER_RESOURCES=str(Path(scratch, "blender")))
        run_step("Film", [python, "-m", "hingeleaf.batch", *words], OUT / "film.log", env=env)
    made = target.with_suffix(".blend") if args.farm else target
    say(f"Written: {made}" if made.exists() else f"Frames are in {target}.frames; join them with --join")
    return 0


def check_types(interpreter: Interpreter) -> bool:
    """Run mypy on the extension as installed, with the core as its subpackage, but name files as in the repository."""
    python = environment(interpreter, "types")
    with tempfile.TemporaryDirectory(dir=VENV, prefix="types-") as scratch:
        stage(Path(scratch))
        options = ["--config-file", str(ROOT / "pyproject.toml"), "--cache-dir", str(VENV / "types" / "cache")]
        command = [python, "-m", "mypy", *options, "--package", "hingeleaf"]
        done = subprocess.run(command, cwd=scratch, env=child_environment(), stdout=subprocess.PIPE, text=True)
    found = re.sub(r"^hingeleaf/(?!geometry/)", "addon/", done.stdout, flags=re.M)
    say(re.sub(r"^hingeleaf/", "", found, flags=re.M).rstrip())
    return done.returncode == 0


def walk_in_window(args: argparse.Namespace) -> int:
    """Build the extension for the Blender of the window there is, and walk through it by mouse and keyboard."""
    python = environment(find_interpreters(args.python)[0])
    script = [python, "tests/window/run.py"]
    asked = subprocess.run(script, cwd=ROOT, env=child_environment(), stdout=subprocess.PIPE, text=True)
    tag = asked.stdout.strip()
    if asked.returncode or not tag:  # it has said why
        return asked.returncode
    made = make_package(python, [this_platform()], [tag])[0]
    return subprocess.call([*script, str(made)], cwd=ROOT, env=child_environment())


def run_tests(args: argparse.Namespace, rest: list[str]) -> int:
    """Style, types, the extension's zip, then every test on each Python; or the walk in a window."""
    if args.window:
        return walk_in_window(args)
    found = sorted(find_interpreters(args.python, enough=len(PYTHONS)), key=lambda each: each.full, reverse=True)
    pythons = {each.version: environment(each, "dev") for each in found}
    for python in pythons.values():
        require_libraries(python)
    newest = pythons[found[0].version]
    failed = []
    say("Style (ruff)")
    if subprocess.call([newest, "-m", "ruff", "check", "."], cwd=ROOT, env=child_environment()):
        failed.append("ruff")
    say("Types (mypy)")
    if not check_types(found[0]):
        failed.append("mypy")
    try:
        env = child_environment(HINGELEAF_ZIP=str(make_package(newest, [this_platform()], PYTHON_TAGS)[0]))
    except BuildError as error:
        say(str(error))
        failed.append("package")
        env = child_environment()
    for version, python in reversed(list(pythons.items())):
        say(f"Tests on Python {version}")
        if subprocess.call([python, "-m", "pytest", "-n", "2", *rest], cwd=ROOT, env=env):
            failed.append(f"tests on Python {version}")
    if failed:
        print(f"Failed: {', '.join(failed)}", file=sys.stderr)
    return 1 if failed else 0


def package(args: argparse.Namespace, rest: list[str]) -> int:
    """Build and validate the zips."""
    wrong = [tag for tag in args.python_tags.split(",") if not re.fullmatch(r"cp3\d+", tag)]
    if wrong:
        raise BuildError(f"--python-tags: {', '.join(wrong)} is no CPython tag; write for example cp311,cp313")
    python = environment(find_interpreters(args.python)[0])
    for file in make_package(python, args.platform or list(PLATFORMS), args.python_tags.split(",")):
        say(f"  {file.relative_to(ROOT).as_posix()}  {file.stat().st_size / 1e6:.1f} MB")
    return 0


def bench(args: argparse.Namespace, rest: list[str]) -> int:
    """Run the benchmarks."""
    python = environment(find_interpreters(args.python)[0], "dev")
    env = child_environment(PYTHONPATH=str(ROOT))
    return subprocess.call([python, "tests/bench/run.py", *rest], cwd=ROOT, env=env)


def fuzz(args: argparse.Namespace, rest: list[str]) -> int:
    """Run the fuzzers."""
    python = environment(find_interpreters(args.python)[0], "dev")
    return subprocess.call([python, "-m", "tests.fuzz.run", *rest], cwd=ROOT, env=child_environment())


def mutate(args: argparse.Namespace, rest: list[str]) -> int:
    """Run the mutation tester; it listens to which test reaches what, which Python 3.12 brought."""
    interpreter = find_interpreter("3.13")
    env = child_environment(HINGELEAF_MUTANTS=environment(interpreter, "mutation"), OPENBLAS_NUM_THREADS="1")
    return subprocess.call([environment(interpreter, "dev"), "-m", "tests.mutation.run", *rest], cwd=ROOT, env=env)


def pictures(args: argparse.Namespace, rest: list[str]) -> int:
    """Draw the pictures of the reference page."""
    python = environment(find_interpreters(args.python)[0])
    require_libraries(python)
    env = child_environment(PYTHONPATH=str(ROOT))
    for drawing in (["scenes/draw_checks.py"], ["scenes/draw_nets.py", *rest]):
        if failed := subprocess.call([python, *drawing], cwd=ROOT, env=env):
            return failed
    with tempfile.TemporaryDirectory() as folder:
        stage(Path(folder))
        env = child_environment(PYTHONPATH=folder)
        return subprocess.call([python, "scenes/draw_pictures.py", *rest], cwd=ROOT, env=env)


def command_line() -> argparse.ArgumentParser:
    """Commands and their options."""
    common = argparse.ArgumentParser(add_help=False, allow_abbrev=False)
    common.add_argument("--python", choices=sorted(PYTHONS), help="only this Python (and its Blender)")
    parser = argparse.ArgumentParser(prog="build.py", description="Sets itself up at the first call, then does one of:")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)

    def command(action: Callable[..., int], name: str, about: str, more: str) -> argparse.ArgumentParser:
        text = f"{about[0].upper()}{about[1:]}. {more}"
        added = commands.add_parser(name, parents=[common], allow_abbrev=False, help=about, description=text)
        added.set_defaults(action=action)
        return added

    about = "check the demo book, write all that it takes to make it, and render its stills and film into out/"
    added = command(demo, "demo", about, "Takes minutes at the default quality.")
    added.add_argument("--size", metavar="WxH", help="size of stills and film in pixels, such as 1280x720")
    added.add_argument("--samples", type=int, metavar="N", help="samples a pixel: more is slower and cleaner")
    added.add_argument("--quick", action="store_true", help="small pictures and few frames, to try things out")
    about = "film a spread or a book into out/film/, split over computers if you like"
    more = "Parts that were rendered with --frames, here or elsewhere, become a film with --join."
    added = command(film, "film", about, more)
    added.add_argument("scene", nargs="?", metavar="SCENE", help="a description; the demo spread unless told")
    for name, text in FILM_WORDS.items():
        added.add_argument(f"--{name}", metavar="F-L" if name == "frames" else "X", help=text)
    added.add_argument("--lively", action="store_true", help="card lags a little, and springs back at the end")
    added.add_argument("--farm", action="store_true", help="no film, but a .blend that any render farm takes")
    added.add_argument("--join", nargs="*", metavar="FRAMES", help="join the frames of the film, or of these folders")
    added.add_argument("--out", metavar="FILE", help="where to; out/film/SCENE.mp4 unless told")
    about = "check style and types, build the extension, and run every test on each Python found"
    added = command(run_tests, "test", about, "Further arguments go to pytest, as in: test tests/geometry -k tent")
    text = "instead walk through the extension in a real Blender window, by mouse and keyboard"
    added.add_argument("--window", action="store_true", help=text)
    added = command(package, "package", "build and validate the extension's zips into out/packages/", "")
    added.add_argument("--platform", action="append", choices=list(PLATFORMS), help="may be repeated; default: all")
    tags = ",".join(PYTHON_TAGS)
    text = f"Pythons to bring wheels for; default: {tags}"
    added.add_argument("--python-tags", default=tags, metavar="TAGS", help=text)
    command(bench, "bench", "time Hingeleaf against its peers and print the ratios", "Further arguments are passed on.")
    command(fuzz, "fuzz", "try wrong and hostile input for hours", "Further arguments as tests/fuzz/run.py has them.")
    more = "Further arguments as tests/mutation/run.py has them."
    command(mutate, "mutate", "try which small faults in the core no test sees", more)
    command(pictures, "pictures", "draw the pictures of scenes/README.md", "Names of scenes may follow; default: all.")
    added = command(set_up, "setup", "make the environments in .venv/", "The other commands do this by themselves.")
    added.add_argument("--dev", action="store_true", help="with what tests and benchmarks need")
    text = "print only the Debian packages that hold the system libraries Blender does not find here"
    added.add_argument("--missing-packages", action="store_true", help=text)
    return parser


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; return its exit status, 2 for what a user has to put right first."""
    parser = command_line()
    args, rest = parser.parse_known_args(arguments)
    if rest and (args.action not in (run_tests, bench, fuzz, mutate, pictures) or getattr(args, "window", False)):
        parser.error(f"unknown arguments: {' '.join(rest)}")
    try:
        return int(args.action(args, rest))
    except BuildError as error:
        print(f"build.py: {error}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print("\nbuild.py: stopped", file=sys.stderr)
        return 130


if __name__ == "__main__":
    sys.exit(main())
