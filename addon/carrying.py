"""Artwork that a .blend carries: packed pictures that know the names of their files, and a folder of them on demand.

A description names its artwork by files beside it. The pictures that a book shows are packed into the .blend, each with
that name; where a file is gone, or a picture was painted over in Blender, what is packed is written into a temporary
folder against which the description is then read. So a .blend alone can be changed, checked and printed.
"""

from __future__ import annotations

import hashlib
import shutil
import tempfile
import tomllib
from collections.abc import Iterator, Mapping
from functools import lru_cache
from itertools import chain, count
from pathlib import Path, PurePath, PurePosixPath
from typing import Any

import bpy

from .geometry.errors import FileError
from .packed_models import are_models_gone, models_in, models_of, pack_models

__all__ = [
    "BOUND_KEY",
    "FOLDER_KEY",
    "TEXT_KEY",
    "Source",
    "artwork_files",
    "artwork_name",
    "artwork_names",
    "carried_image",
    "file_of",
    "folder_with",
    "gone_files",
    "has_origins",
    "holds",
    "images_of_book",
    "is_materialized",
    "is_painted_over",
    "keep_models",
    "mark_image",
    "materialized_folder",
    "model_names",
    "name_images",
    "name_of",
    "note_origin",
    "note_state",
    "own_folder",
    "shown_images",
]

#: Properties of a book's root: the description's text, and the folder that it was read from or saved in.
TEXT_KEY, FOLDER_KEY = "hingeleaf_description", "hingeleaf_folder"
#: Property of a bound book's root: the text of the book's own description, which names the artwork of its cover.
BOUND_KEY = "hingeleaf_book"
#: Properties of a picture: its file as the description names it, and the size and digest of that file when it was read.
_FILE_KEY, _DIGEST_KEY = "hingeleaf_file", "hingeleaf_digest"
#: Properties of a picture that was turned upright or brought into sRGB when it was packed: the digest of its file; and
#: of one that was taken from outside the description's folder: where its file was.
_READ_KEY, _ORIGIN_KEY = "hingeleaf_read", "hingeleaf_origin"
#: Folder of what is written out, in Blender's own temporary folder, which it removes when it ends.
_CARRIED = "hingeleaf-artwork"
#: Where artwork from elsewhere is put, beside the description.
_ART = "art"
_FACES = ("art_front", "art_back")


#: Where a picture's file comes from: a file, or what is packed; and where any file comes from.
Source = Path | bpy.types.Image
_Any = Source | bytes


def own_folder(root: bpy.types.Object) -> Path:
    """The folder that a book's description was read from or saved in."""
    return Path(root[FOLDER_KEY])


def is_materialized(folder: Path) -> bool:
    """Whether a folder is one that packed artwork was written into."""
    return _CARRIED in folder.parts


@lru_cache(maxsize=64)
def artwork_names(text: str) -> tuple[str, ...]:
    """The artwork files that a description names, as it names them; none where it cannot be read."""
    if not any(face in text for face in _FACES):
        # Asked at every step of a drag, and reading a long book takes time.
        return ()
    try:
        data = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError, ValueError):
        return ()
    mechanisms = data.get("mechanism", [])
    tables = [data.get("page"), data.get("cover"), *(mechanisms if isinstance(mechanisms, list) else [])]
    found = (table.get(face) for table in tables if isinstance(table, dict) for face in _FACES)
    return tuple(dict.fromkeys(name for name in found if isinstance(name, str)))


def materialized_folder(root: bpy.types.Object) -> Path:
    """The folder against which a book's description is read: its own, or one with the packed artwork in it.

    Parameters
    ----------
    root : the book

    Returns
    -------
    Path : the description's own folder while every artwork file that the book shows is there as the book shows it, and
    every model

    Raises
    ------
    FileError
        The temporary folder cannot be written.
    """
    names = artwork_names(_text_of(root))
    gone = are_models_gone(root, _text_of(root), own_folder(root))
    if not names and not gone:
        return own_folder(root)
    folder, images = own_folder(root), images_of_book(root)
    if not gone and all(name not in images or _is_there(folder / name, images[name]) for name in names):
        return folder
    return _written({**_models(root), **_sources(folder, names, images)})


def folder_with(root: bpy.types.Object, added: Mapping[str, Source]) -> Path:
    """A folder with all artwork of a book and some more.

    Parameters
    ----------
    root : the book
    added : files or packed pictures, by the names that the description is going to have for them

    Returns
    -------
    Path : the description's own folder if all are there already

    Raises
    ------
    FileError
        The temporary folder cannot be written.
    """
    folder = materialized_folder(root)
    if all((folder / name).is_file() and _file_digest(folder / name) == _digest(each) for name, each in added.items()):
        return folder
    names = artwork_names(_text_of(root))
    return _written({**_models(root), **_sources(own_folder(root), names, images_of_book(root)), **added})


def artwork_name(root: bpy.types.Object, source: Source, also: Mapping[str, Source] | None = None) -> str:
    """The name by which a book's description can have a picture as artwork.

    Parameters
    ----------
    root : the book
    source : a file anywhere, or a packed picture that has a name already
    also : pictures that get their names in the same action, by name

    Returns
    -------
    str : the path from the description's folder where a file lies in it; else art/NAME, or the picture's own name,
        with a number where that is taken by another picture
    """
    folder = own_folder(root).resolve()
    if isinstance(source, Path):
        path = source.resolve()
        if path.is_relative_to(folder) and not is_materialized(path):
            return path.relative_to(folder).as_posix()
        wanted = PurePosixPath(_ART, path.name)
    else:
        wanted = PurePosixPath(name_of(source))
    sources = _sources(folder, artwork_names(_text_of(root)), images_of_book(root))

    def is_free(name: str) -> bool:
        taken = (also or {}).get(name) or sources.get(name) or ((folder / name) if (folder / name).is_file() else None)
        return taken is None or _digest(taken) == _digest(source)

    numbered = (wanted.with_stem(f"{wanted.stem}-{number}") for number in count(2))
    return next(str(name) for name in chain([wanted], numbered) if is_free(str(name)))


def gone_files(root: bpy.types.Object, folder: Path) -> frozenset[str]:
    """Paths, in a folder against which a book's description is read, of artwork that is beside it no more."""
    own = own_folder(root)
    names = artwork_names(_text_of(root))
    return frozenset(str(folder / name) for name in names if (folder / name).is_file() and not (own / name).is_file())


def artwork_files(root: bpy.types.Object) -> dict[str, bytes]:
    """What is in each artwork file of a book, by the name that its description has for it; without what is nowhere.

    The files of its solids' models are among them.
    """
    names = artwork_names(_text_of(root))
    sources: dict[str, _Any] = {**_models(root), **_sources(own_folder(root), names, images_of_book(root))}
    return {name: _content(source) for name, source in sources.items()}


def carried_image(path: str) -> bpy.types.Image | None:
    """A packed picture that holds what is in a file, under the same name; None where there is none."""
    for image in bpy.data.images:
        name = PurePath(image.get(_FILE_KEY, ""))
        same_name = bool(name.parts) and PurePath(path).parts[-len(name.parts) :] == name.parts
        if same_name and image.packed_file is not None and _read_digest(image) == _file_digest(Path(path)):
            return image
    return None


def name_of(image: bpy.types.Image) -> str:
    """The name that descriptions have for a packed picture; "" where none has one."""
    return str(image.get(_FILE_KEY, ""))


def mark_image(image: bpy.types.Image, path: str) -> None:
    """Note which file a picture was read from; name_images makes that the description's name for it."""
    image[_FILE_KEY] = path
    note_state(image, Path(path))


def note_state(image: bpy.types.Image, file: Path) -> None:
    """Note what is packed, and of which state of its file that is."""
    image[_DIGEST_KEY] = _digest_text(_packed(image))
    read = _file_digest(file)
    if read != image[_DIGEST_KEY]:
        image[_READ_KEY] = read
    elif image.get(_READ_KEY) is not None:
        del image[_READ_KEY]


def note_origin(root: bpy.types.Object, name: str, file: Path) -> None:
    """Note where outside the description's folder a book's picture comes from, so that it can be watched there."""
    image = images_of_book(root).get(name)
    if image is not None and not (own_folder(root) / name).is_file():
        image[_ORIGIN_KEY] = str(file.resolve())


def file_of(root: bpy.types.Object, name: str, image: bpy.types.Image | None) -> Path:
    """The file from which a book's picture is read: beside the description, else where it was taken from."""
    beside = own_folder(root) / name
    origin = "" if image is None else str(image.get(_ORIGIN_KEY, ""))
    return Path(origin) if origin and not beside.is_file() else beside


def holds(image: bpy.types.Image, file: Path) -> bool:
    """Whether what is packed is what is in a file now; OSError where that cannot be read."""
    return _read_digest(image) == _file_digest(file)


def is_painted_over(image: bpy.types.Image) -> bool:
    """Whether somebody painted on a picture in Blender since it was read."""
    return bool(image.is_dirty) or _recorded_size(image) != _packed_size(image)


def has_origins() -> bool:
    """Whether any picture was taken from outside its description's folder."""
    return any(image.get(_ORIGIN_KEY) is not None for image in bpy.data.images)


def name_images(folder: Path) -> None:
    """Call the pictures just read from a description's folder as the description does."""
    for image in bpy.data.images:
        path = Path(image.get(_FILE_KEY, ""))
        if path.is_absolute() and path.is_relative_to(folder):
            image[_FILE_KEY] = path.relative_to(folder).as_posix()


def _text_of(root: bpy.types.Object) -> str:
    """The description of a book, or of a bound one."""
    return str(root.get(TEXT_KEY, root.get(BOUND_KEY, "")))


def images_of_book(root: bpy.types.Object) -> dict[str, bpy.types.Image]:
    """The packed pictures that a book shows, by name."""
    named = [image for image in shown_images(root) if image.get(_FILE_KEY) is not None]
    return {image[_FILE_KEY]: image for image in named if image.packed_file}


def shown_images(root: bpy.types.Object) -> list[bpy.types.Image]:
    """All pictures in what the objects of a book wear, also those that no description names."""
    materials = {slot.material for item in root.children_recursive for slot in item.material_slots if slot.material}
    found = (node.image for material in materials for node in _nodes(material) if node.type == "TEX_IMAGE")
    return [image for image in found if image is not None]


def _nodes(material: bpy.types.Material) -> Iterator[Any]:
    return iter(material.node_tree.nodes if material.node_tree is not None else ())


def _is_there(file: Path, image: bpy.types.Image) -> bool:
    """Whether a file is where it was and its picture was not painted over since."""
    return file.is_file() and _recorded_size(image) == _packed_size(image)


def _sources(folder: Path, names: tuple[str, ...], images: Mapping[str, bpy.types.Image]) -> dict[str, Source]:
    """Where each artwork file comes from: the folder, or what is packed."""
    found: dict[str, Source] = {}
    for name in names:
        image = images.get(name)
        if image is not None and not _is_there(folder / name, image):
            found[name] = image
        elif (folder / name).is_file():
            found[name] = folder / name
    return found


def model_names(root: bpy.types.Object) -> tuple[str, ...]:
    """The files of the models of a book's solids, with their materials and pictures; those that are in its folder."""
    return tuple(models_in(_text_of(root), own_folder(root)))


def keep_models(root: bpy.types.Object) -> None:
    """Pack the files of a book's models as they are in its folder now; what is gone there stays packed."""
    pack_models(root, _text_of(root), own_folder(root))


def _models(root: bpy.types.Object) -> Mapping[str, _Any]:
    return models_of(root, _text_of(root), own_folder(root))


def _content(source: _Any) -> bytes:
    if isinstance(source, bytes):
        return source
    if not isinstance(source, Path):
        return _packed(source)
    try:
        return source.read_bytes()
    except OSError as error:
        raise FileError(f"{source}: the artwork cannot be read ({error.strerror or error})") from None


def _written(sources: Mapping[str, _Any]) -> Path:
    """A folder that holds the sources under their names, and nothing else; the same one for the same content."""
    digests = [(name, _digest(source)) for name, source in sorted(sources.items())]
    base = Path(bpy.app.tempdir or tempfile.gettempdir(), _CARRIED)
    target = (base / hashlib.blake2b(repr(digests).encode(), digest_size=12).hexdigest()).resolve()
    if target.is_dir():
        return target
    try:
        base.mkdir(parents=True, exist_ok=True)
        part = Path(tempfile.mkdtemp(prefix="part-", dir=base)).resolve()
        for name, source in sources.items():
            file = (part / name).resolve()
            # The reader refuses a description that names files elsewhere; here it has not been read yet.
            if file.is_relative_to(part) and file != part:
                file.parent.mkdir(parents=True, exist_ok=True)
                file.write_bytes(_content(source))
        shutil.move(part, target)
    except OSError as error:
        raise FileError(f"{base}: the packed artwork cannot be written there ({error.strerror or error})") from None
    return target


def _digest(source: _Any) -> str:
    if isinstance(source, bytes):
        return _digest_text(source)
    return _file_digest(source) if isinstance(source, Path) else _digest_of(source)


def _file_digest(path: Path) -> str:
    state = path.stat()
    return _digest_at(str(path), state.st_mtime_ns, state.st_size)


@lru_cache(maxsize=256)
def _digest_at(path: str, _changed_ns: int, _size: int) -> str:
    return _digest_text(Path(path).read_bytes())


def _digest_text(data: bytes) -> str:
    return f"{len(data)} {hashlib.blake2b(data, digest_size=16).hexdigest()}"


def _digest_of(image: bpy.types.Image) -> str:
    """Digest of what is packed; the noted one while the size is as noted, for it is asked for at every change."""
    noted = str(image.get(_DIGEST_KEY, ""))
    return noted if _recorded_size(image) == _packed_size(image) else _digest_text(_packed(image))


def _read_digest(image: bpy.types.Image) -> str:
    """Digest of the file that a picture was read from; of what is packed, where that was painted over."""
    read = image.get(_READ_KEY)
    return str(read) if read is not None and _recorded_size(image) == _packed_size(image) else _digest_of(image)


def _recorded_size(image: bpy.types.Image) -> int:
    return int(str(image.get(_DIGEST_KEY, "-1")).split()[0])


def _packed_size(image: bpy.types.Image) -> int:
    return 0 if image.packed_file is None else int(image.packed_file.size)


def _packed(image: bpy.types.Image) -> bytes:
    packed: Any = image.packed_file
    return b"" if packed is None else bytes(packed.data)
