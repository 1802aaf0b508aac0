"""From a gathered mesh and what is wished of its nets to the nets: the calls of the core, in their order."""

from __future__ import annotations

import hashlib
import io
import json
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

import bpy
import numpy as np

from .geometry.nets import SheetOptions
from .geometry.transforms import Array
from .geometry.unfold.cut_options import CutOptions, Preset
from .geometry.unfold.data import KEEP, Facets, Flags, Ints, Mesh, MeshNote, Unfolded
from .geometry.unfold.facets import facets_of
from .geometry.unfold.hinges import hinges_of
from .geometry.unfold.limits import Limits
from .geometry.unfold.mesh_options import MeshOptions
from .geometry.unfold.tabs import Join, TabOptions, joins_of
from .geometry.unfold.unfolding import nets_from, unfold_facets
from .geometry.unfold.write import rooms
from .model_reduction import reduced

__all__ = ["Choice", "Model", "Wishes", "chosen", "first_wishes", "forget_models", "packed", "unpacked"]

#: A model that is about as large as a hand can fold and a page can carry is made in its real size, mm.
_HANDY_MM = (20.0, 250.0)
#: How large another one is made at first, mm.
_SUGGESTED_MM = 50.0
#: Ends of an edge that are nearer than this part of the model's size are one.
_SAME = 1e-5
#: How many meshes' facets, and how many models, are kept; working them out again gives the same.
_KEPT = 8
_REDUCED: OrderedDict[tuple[str, int], Mesh] = OrderedDict()
_FACETS: OrderedDict[tuple[Any, ...], Facets] = OrderedDict()
_MODELS: OrderedDict[tuple[Any, ...], Model] = OrderedDict()


@dataclass(frozen=True)
class Wishes:
    """What is wished of the nets of a model.

    Parameters
    ----------
    height_mm : None for the real size
    sheet : that nets are cut to fit; "NONE" for any size
    faces : how many the model is reduced to; None for all
    sharp : whether sharp edges are kept
    preset, smooth_deg, flatten_deg, tab_mm, edge_to_edge : as the core has them
    """

    height_mm: float | None
    sheet: str
    preset: Preset
    smooth_deg: float
    flatten_deg: float
    tab_mm: float
    edge_to_edge: bool
    faces: int | None
    sharp: bool

    @property
    def tabs(self) -> TabOptions:
        """As the core has them."""
        return TabOptions(width_mm=self.tab_mm, edge_to_edge=self.edge_to_edge)

    @property
    def room_mm(self) -> tuple[float, float] | None:
        """What the facets of a net may take of its sheet."""
        if self.sheet == "NONE":
            return None
        return rooms(self.sheet, SheetOptions(), 0.0 if self.edge_to_edge else self.tab_mm)[0][1]

    def text(self) -> str:
        """What tells these wishes from others."""
        return json.dumps(asdict(self), sort_keys=True)


@dataclass(frozen=True)
class Choice:
    """An edge that a hand has chosen to be cut or joined.

    Parameters
    ----------
    ends_mm : its two ends, six numbers, in the mesh as it was gathered
    mark : CUT or KEEP
    """

    ends_mm: tuple[float, ...]
    mark: int


@dataclass(frozen=True)
class Model:
    """A model worked out.

    Parameters
    ----------
    unfolded, joins : its nets, and what is glued
    scale : how many times as large as its mesh was gathered
    """

    unfolded: Unfolded
    joins: tuple[Join, ...]
    scale: float

    @property
    def folds(self) -> Ints:
        """Numbers of the edges that are folded."""
        folds = np.concatenate([net.folds for net in self.unfolded.nets])
        return np.asarray(np.unique(folds[folds >= 0]))

    def choice(self, edge: int, mark: int) -> Choice:
        """A choice about one of its edges."""
        facets = self.unfolded.facets
        ends = facets.vertices[facets.edges[edge]] / self.scale
        return Choice(tuple(float(value) for value in ends.ravel()), mark)

    def with_unfolded(self, unfolded: Unfolded, wishes: Wishes) -> Model:
        """The same model with other nets."""
        return replace(self, unfolded=unfolded, joins=joins_of(unfolded, wishes.tabs))


def chosen(
    context: bpy.types.Context, packed_mesh: bytes, wishes: Wishes, choices: Sequence[Choice], folds: Ints | None
) -> Model:
    """Work a model out.

    Parameters
    ----------
    context : of the window
    packed_mesh : as gathered and packed
    wishes : Wishes
    choices : by hand
    folds : the edges that are folded, where that is decided already; else they are found

    Raises
    ------
    HingeleafError
        It cannot be unfolded, or a wish cannot be one.
    """
    digest = hashlib.blake2b(packed_mesh, digest_size=12).hexdigest()
    key = digest, wishes.text(), tuple(choices), None if folds is None else folds.tobytes()
    if key in _MODELS:
        return _MODELS[key]
    facets = _facets(context, packed_mesh, digest, wishes)
    mesh = facets.mesh
    scale = _scale(mesh, unpacked(packed_mesh)) if wishes.height_mm is not None else 1.0
    facets, missed = _with_choices(facets, choices, scale, mesh.size_mm)
    if folds is None:
        options = CutOptions(preset=wishes.preset, room_mm=wishes.room_mm, smooth_deg=wishes.smooth_deg)
        unfolded = unfold_facets(facets, options)
    else:
        hinges = hinges_of(facets)
        limits = Limits(wishes.room_mm, wishes.preset == "compact")
        unfolded = nets_from(facets, hinges, np.isin(hinges.edges, folds), limits)
    if missed:
        text = f"{missed} of the edges chosen by hand are no more; forget the choices, or choose anew."
        unfolded = replace(unfolded, notes=(*unfolded.notes, MeshNote("choice", "warning", text)))
    model = Model(unfolded, joins_of(unfolded, wishes.tabs), scale)
    _keep(_MODELS, key, model)
    return model


def _facets(context: bpy.types.Context, packed_mesh: bytes, digest: str, wishes: Wishes) -> Facets:
    key = digest, wishes.height_mm, wishes.flatten_deg, wishes.faces, wishes.sharp
    if key not in _FACETS:
        mesh = unpacked(packed_mesh)
        if wishes.faces is not None:
            if (digest, wishes.faces) not in _REDUCED:
                _keep(_REDUCED, (digest, wishes.faces), reduced(context, mesh, wishes.faces))
            mesh = _REDUCED[(digest, wishes.faces)]
        if not wishes.sharp and mesh.marks is not None and mesh.marked is not None:
            left = mesh.marks != KEEP
            mesh = replace(mesh, marked=mesh.marked[left], marks=mesh.marks[left])
        options = MeshOptions(height_mm=wishes.height_mm, flat_deg=wishes.flatten_deg)
        _keep(_FACETS, key, facets_of(mesh, options))
    return _FACETS[key]


def _scale(mesh: Mesh, gathered: Mesh) -> float:
    """How many times as large a mesh was made; a reduced one has nearly, not quite, the height of the whole."""
    return mesh.size_mm / max(gathered.size_mm, 1e-300)


def _with_choices(facets: Facets, choices: Sequence[Choice], scale: float, size: float) -> tuple[Facets, int]:
    """Facets with the marks of choices, and how many of these have no edge."""
    if not choices:
        return facets, 0
    marks, missed = facets.marks.copy(), 0
    ends = facets.vertices[facets.edges].reshape(-1, 6)
    turned = ends[:, [3, 4, 5, 0, 1, 2]]
    for choice in choices:
        place = np.array(choice.ends_mm) * scale
        near = _near(ends, place, _SAME * size) | _near(turned, place, _SAME * size)
        marks[near] = choice.mark
        missed += not near.any()
    return replace(facets, marks=marks), missed


def _near(ends: Array, place: Array, within: float) -> Flags:
    return np.asarray(np.abs(ends - place).max(axis=1) <= within)


def first_wishes(mesh: Mesh) -> Wishes:
    """What is wished of a model at first: a handy size, and nets that fit A4."""
    return Wishes(_suggested_height_mm(mesh), "A4", "fewest", 0.0, 0.0, 6.0, False, None, True)


def _suggested_height_mm(mesh: Mesh) -> float | None:
    """A height that gives a model of a handy size, mm; None where its real size is handy."""
    used = mesh.vertices[mesh.corners]
    box = np.ptp(used, axis=0)
    largest, height = float(box.max()), float(box[2])
    if _HANDY_MM[0] <= largest <= _HANDY_MM[1] or height <= 0.0:
        return None
    exact = height * _SUGGESTED_MM / largest
    return max(1.0, float(5 * round(exact / 5)) if exact >= 10 else round(exact, 1))


def packed(mesh: Mesh) -> bytes:
    """A mesh as bytes that a .blend keeps; the same mesh gives the same bytes."""
    words = {"name": mesh.name, "notes": [[note.code, note.severity, note.text] for note in mesh.notes]}
    arrays = {"vertices": mesh.vertices, "corners": mesh.corners, "starts": mesh.starts}
    for name in ("surface_of", "uv", "marked", "marks"):
        if getattr(mesh, name) is not None:
            arrays[name] = getattr(mesh, name)
    arrays["words"] = np.frombuffer(json.dumps(words).encode(), dtype=np.uint8)
    file = io.BytesIO()
    # Not a zip: that has the time in it.
    for name, array in arrays.items():
        file.write(name.encode() + b"\n")
        np.save(file, np.ascontiguousarray(array), allow_pickle=False)
    return file.getvalue()


def unpacked(data: bytes) -> Mesh:
    """The mesh of such bytes."""
    file, arrays = io.BytesIO(data), {}
    while name := file.readline().strip().decode():
        arrays[name] = np.load(file, allow_pickle=False)
    words = json.loads(arrays.pop("words").tobytes())
    notes = tuple(MeshNote(*note) for note in words["notes"])
    return Mesh(name=words["name"], notes=notes, **arrays)


def _keep(kept: OrderedDict[Any, Any], key: Any, value: Any) -> None:
    kept[key] = value
    while len(kept) > _KEPT:
        kept.popitem(last=False)


def forget_models() -> None:
    """Forget what was worked out, as when the extension is disabled."""
    for kept in (_REDUCED, _FACETS, _MODELS):
        kept.clear()
