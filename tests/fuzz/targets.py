"""What is fuzzed: each target takes bytes, does with them what a command does, and says by raising what is broken."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from dataclasses import dataclass, replace
from random import Random

import numpy as np

from geometry import HingeleafError, assemble
from geometry.__main__ import main
from geometry.artwork import check_whole, opened_picture, picture_head
from geometry.binding.binding import bind
from geometry.binding.checks import check_binding
from geometry.binding.reader import parse_book, read_spreads
from geometry.checks import run_checks
from geometry.description.reader import read_description
from geometry.description.writer import write_description
from geometry.design.strokes import stroke_of, value_of
from geometry.figures import figures_of
from geometry.outline import closed_outline, polyline
from geometry.outline_files import read_outlines
from geometry.poses import poses_data
from geometry.remedies import with_remedies
from geometry.report import report_data
from geometry.tracing import read_alpha, trace_alpha
from geometry.unfold import facets_of, read_mesh
from tests.fuzz import commands, drawings, edges, meshes, toml_texts
from tests.fuzz.guard import Broken, Folder, more_time, quiet, unwatched
from tests.geometry.scene_texts import FILES, HEAD, ROOT, v_fold

__all__ = ["HANDS", "TARGETS", "Target", "furnish"]

HANDS = HEAD + (
    '[[mechanism]]\nkind = "flap"\nid = "door"\npanel = "page.right"\nat = [80, 100]\nturn = 180\n'
    "length = 40\nwidth = 30\n"
)
BOOK = (
    'format = 1\ntitle = "Two"\n[cover]\nboard = 2\n[[spread]]\nfile = "scene.toml"\n[[spread]]\nfile = "hands.toml"\n'
)
SCENE = HEAD + v_fold("hill") + 'art_front = "picture.png"\n'


@dataclass(frozen=True)
class Target:
    """One of the fuzzers.

    Parameters
    ----------
    run : does it; raises Broken, or what the code should not have raised
    seeds : sound inputs, or nearly
    changed : an input that is nearly one of them
    """

    run: Callable[[Folder, bytes], None]
    seeds: tuple[bytes, ...]
    changed: Callable[[Random, bytes], bytes]


def _seed_texts() -> list[str]:
    corpus = sorted((ROOT / "tests/geometry/corpus").glob("*/*.toml"))
    found = [file.read_text(encoding="utf-8") for file in [*FILES, *corpus] if file.stat().st_size < 1500]
    return [*found, SCENE, HANDS]


def furnish(folder: Folder) -> None:
    """Put into a folder what descriptions and commands refer to, and links that lead out of it."""
    (folder.path / "art").mkdir(exist_ok=True)
    (folder.path / "scene.toml").write_text(SCENE, encoding="utf-8")
    (folder.path / "hands.toml").write_text(HANDS, encoding="utf-8")
    (folder.path / "book.toml").write_text(BOOK, encoding="utf-8")
    for name in ("picture.png", "art/figure.png", "art/hill.png"):
        (folder.path / name).write_bytes(drawings.PICTURES[0])
    for name in ("link.toml", "link.png", "art/link.png"):
        link = folder.path / name
        if not link.is_symlink():
            link.symlink_to(folder.outside)


def _description(folder: Folder, data: bytes) -> None:
    file = folder.path / "fuzzed.toml"
    file.write_bytes(data)
    try:
        description = read_description(file)
        spread = assemble(description)
        findings = run_checks(spread)
        said: object = [finding.measure for finding in findings]
        if len(data) % 16 == 0:
            # What takes longest, for one in some: thousands of books with errors, and sizes tried one by one.
            more_time(60.0)
            said = report_data(spread, with_remedies(description, spread, findings), figures_of(spread))
        poses = poses_data(spread, np.array([0.0, 1e-7, 45.0, 90.0, 180.0]), {})
    except HingeleafError as error:
        _readable(str(error))
        return
    # What JSON has no word for must not be in a result.
    json.dumps(said, allow_nan=False)
    json.dumps(poses, allow_nan=False)
    written = folder.path / "written.toml"
    write_description(description, written)
    again = read_description(written)
    if replace(again, source=description.source, title=description.title) != description:
        raise Broken("written back and read again it is another one")
    for finding in findings:
        _readable(finding.message)


def _book(folder: Folder, data: bytes) -> None:
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError:
        return
    try:
        book = parse_book(text, source="fuzzed.toml", folder=folder.path)
        descriptions, spreads = read_spreads(book)
        findings = check_binding(bind(book, descriptions, spreads))
    except HingeleafError as error:
        _readable(str(error))
        return
    for finding in findings:
        _readable(finding.message)


def _outlines(folder: Folder, data: bytes) -> None:
    file = folder.path / "fuzzed.svg"
    file.write_bytes(data)
    try:
        found = read_outlines(file)
        for outline in found:
            polyline(outline.data)
            _readable(str(outline))
    except HingeleafError as error:
        _readable(str(error))


def _path(folder: Folder, data: bytes) -> None:
    text = data.decode("utf-8", "replace")
    for read in (polyline, closed_outline, lambda value: value_of(stroke_of(value, closed=True))):
        try:
            read(text)
        except HingeleafError as error:
            _readable(str(error))


def _picture(folder: Folder, data: bytes) -> None:
    file = folder.path / "fuzzed.png"
    file.write_bytes(data)
    try:
        picture_head(file)
        check_whole(file)
        with opened_picture(file) as image:
            if image.width * image.height <= 40_000_000:
                image.load()
        trace_alpha(read_alpha(file), 50.0)
    except HingeleafError as error:
        _readable(str(error))


def _mesh(folder: Folder, data: bytes) -> None:
    kind, body = data[:1], data[1:]
    suffix = meshes.SUFFIXES[kind[0] % len(meshes.SUFFIXES) if kind else 0]
    file = folder.path / f"fuzzed{suffix}"
    file.write_bytes(body)
    if suffix == ".mtl":
        file = file.with_suffix(".obj")
        file.write_text(meshes.OBJ, encoding="utf-8")
    try:
        facets = facets_of(read_mesh(file))
    except HingeleafError as error:
        _readable(str(error))
        return
    for note in facets.notes:
        _readable(note.text)
    if not np.isfinite(facets.vertices).all():
        raise Broken("a vertex that is no number is left")


def _command(folder: Folder, data: bytes) -> None:
    rng = Random(data)
    words = commands.command_line(rng)
    with unwatched():
        furnish(folder)
        if rng.random() < 0.3:
            # Titles stand in drawings, and may be taken for names of files.
            named = toml_texts.titled(SCENE, edges.text(rng), edges.text(rng))
            (folder.path / "scene.toml").write_text(named, encoding="utf-8", errors="replace")
    with quiet() as (_, err), folder.entered():
        try:
            status = main(words)
        except SystemExit as stop:
            status = stop.code
    if status not in (0, 1, 2):
        raise Broken(f"{words!r} ends with {status!r}")
    said = err.getvalue()
    if "Traceback" in said or (status == 2) != bool(said.strip()):
        raise Broken(f"{words!r} ends with {status} and says {said[:200]!r}")
    _readable(said)
    with unwatched():
        _swept(folder, words)


def _swept(folder: Folder, words: list[str]) -> None:
    """No half file is left behind; then all is taken away for the next one."""
    left = [path for path in folder.path.rglob(".*") if path.is_file()]
    if left:
        raise Broken(f"{words!r} leaves {left}")
    for path in folder.path.iterdir():
        if path.is_dir() and not path.is_symlink():
            shutil.rmtree(path)
        else:
            path.unlink()


def _readable(message: str) -> None:
    """What is said to a person is text that can be shown, and not endless."""
    if not isinstance(message, str) or "Traceback" in message or "Error(" in message:
        raise Broken(f"says {message[:300]!r}")


def _changed_text(rng: Random, data: bytes) -> bytes:
    text = data.decode("utf-8", "replace")
    return toml_texts.changed(rng, text, _TEXTS).encode("utf-8", "surrogatepass")


def _changed_path(rng: Random, data: bytes) -> bytes:
    if rng.random() < 0.3:
        return toml_texts.path_data(rng).encode()
    words = data.decode("utf-8", "replace").split(" ")
    new = toml_texts.path_data(rng).split(" ")
    place = rng.randrange(len(words))
    words[place : place + rng.choice([0, 1, 2])] = rng.sample(new, min(len(new), rng.choice([0, 1, 2])))
    return " ".join(words).encode("utf-8", "replace")


_TEXTS = _seed_texts()
TARGETS = {
    "description": Target(_description, tuple(text.encode() for text in _TEXTS), _changed_text),
    "book": Target(_book, (BOOK.encode(),), _changed_text),
    "outlines": Target(_outlines, tuple(drawings.SVGS), drawings.changed_svg),
    "path": Target(
        _path,
        (b"M 0 0 C 10 0 10 20 0 20 Z", b"m 0 0 h 10 v 10 a 5 3 20 1 0 6 7 q 1 2 3 4 t 5 6 s 1 2 3 4 z"),
        _changed_path,
    ),
    "picture": Target(_picture, tuple(drawings.PICTURES), drawings.changed_picture),
    "mesh": Target(_mesh, meshes.SEEDS, meshes.changed_mesh),
    "command": Target(_command, tuple(bytes([k]) for k in range(32)), lambda rng, _: rng.randbytes(8)),
}
