"""Solid: a model of any shape, folded from its nets and glued on one panel. It stands rigid and does not fold."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from ..building import Building, HingePlan
from ..description.data import MechanismSpec
from ..description.fields import COMMON, Field
from ..errors import HingeleafError, MechanismError
from ..model import Angle, GlueArea, Panel, Piece, Role
from ..outline import carried, common_part, parts_of
from ..solids import Solid
from ..transforms import Array, frame
from ..unfold.cut_options import CutOptions
from ..unfold.data import Unfolded
from ..unfold.mesh_files import State, model_states, read_mesh
from ..unfold.mesh_options import MeshOptions
from ..unfold.unfolding import unfold_facets
from .solid_foot import UPS, footed, sized, turned_up
from .solid_panels import FoldedCrease, FoldedFacet, FoldedTab, creases_of, facets_on_nets, tabs_of

if TYPE_CHECKING:
    from ..unfold.tabs import Join

__all__ = ["FIELDS", "HINTS", "MOST_FACETS", "build"]

#: Each facet is a panel, in the checks as in Blender; more of them are no longer a model for the hand either.
MOST_FACETS = 600

FIELDS = (
    Field("model", "file", "its mesh, an OBJ, STL or PLY file in mm, beside the description or in a folder below"),
    Field("panel", "name", "the panel it is glued on"),
    Field("at", "point", "where the middle of its foot stands on the panel's net, [x, y] in mm"),
    Field("turn", "number", "turned counter-clockwise on its panel, degrees", default="0", low=-360, high=360),
    Field("face", "choice", "glued on the panel's printed face or on its back", "front", choices=("front", "back")),
    Field("up", "choice", "direction of the model that looks away from the panel", default="z", choices=tuple(UPS)),
    Field("height", "length", "how high it is made; or else scale", default="as in the file", positive=True),
    Field("scale", "number", "how many times as large it is made; or else height", default="1", low=1e-4, high=5000),
    Field(
        "foot",
        "choice",
        "what is glued on the panel: flat, the facets at its bottom; inward or outward, tabs along its lower rim, "
        "folded in or out, and what lies at its bottom is left out",
        default="flat where it has a bottom, else inward",
        choices=("flat", "inward", "outward"),
    ),
    Field("foot_width", "length", "how far the tabs along its lower rim reach", default="8", positive=True),
    Field("flatten", "number", "neighbours that bend by no more are one flat facet, degrees", "0", low=0, high=45),
    Field(
        "preset",
        "choice",
        "how it is cut: the fewest nets, the shortest glue lines, or nets that lie close on the sheet",
        default="fewest",
        choices=("fewest", "shortest", "compact"),
    ),
    Field("room", "point", "the largest size of one net, [width, height] in mm", default="none"),
    Field("smooth", "number", "neighbours that bend by less stay together in bands, degrees", "0", low=0, high=90),
    Field("tab_width", "length", "how far the tabs that hold it together reach", default="6", positive=True),
    Field("edge_to_edge", "switch", "no tabs: its edges are glued to each other", default="false"),
    Field("loose", "switch", "it is put on to be shown and taken off before the book is shut", default="false"),
    *(field for field in COMMON if field.name in ("title", "stock")),
)

_ART = "a solid's artwork is that of its model: its materials, and the pictures that its UV coordinates look up"
HINTS: Mapping[str, str] = {
    **dict.fromkeys(("art_front", "art_back", "color_front", "color_back", "art_box"), _ART),
    "fold": "a solid stands on one panel: write panel; over a fold build a box or a tent, which folds with the book",
    "size": "a solid has the size of its model: write height or scale",
    "width": "a solid has the size of its model: write height or scale",
    "tab": "the tabs of a solid are on its cuts; its foot is glued flat, or with foot = inward or outward",
}


@dataclass(frozen=True)
class _Wishes:
    """What a model is unfolded by; equal wishes have equal nets.

    states : of its file, and of those of its materials and pictures
    """

    path: str
    states: tuple[tuple[str, State], ...]
    up: str
    scale: float
    height_mm: float | None
    foot: str | None
    foot_width_mm: float
    flatten_deg: float
    preset: str
    room_mm: tuple[float, float] | None
    smooth_deg: float
    tab_width_mm: float
    edge_to_edge: bool


@dataclass(frozen=True, eq=False)
class _Made:
    """A folded model, all that does not depend on where it stands: its foot is about x = y = 0 on z = 0.

    foot : numbers of the facets of its foot
    """

    unfolded: Unfolded
    foot: tuple[int, ...]
    joins: tuple[Join, ...]
    height_mm: float
    facets: tuple[FoldedFacet, ...]
    creases: tuple[FoldedCrease, ...]
    tabs: tuple[FoldedTab, ...]


def build(spec: MechanismSpec, building: Building) -> None:
    """Add a solid; MechanismError where it cannot be built."""
    values = spec.values
    if "height" in values and "scale" in values:
        raise MechanismError("is given beside scale; leave one of the two out", "height")
    host = building.panel(spec)
    made = _made(_wishes(spec))
    names, place = _facet_names(spec.id, made), _place(spec)
    pieces = tuple(f"{spec.id}.{number}" for number in range(1, len(made.unfolded.nets) + 1))
    for number, facet in enumerate(made.facets):
        role: Role = "rider" if number in made.foot else "panel"
        rest = place @ facet.rest
        building.add_panel(Panel(names[number], pieces[facet.net], facet.outline, host.id, rest, None, role))
    for crease in made.creases:
        _crease(building, f"{spec.id}.e{crease.edge + 1}", tuple(names[facet] for facet in crease.facets), crease)
    tabs = _add_tabs(building, spec.id, made, names, pieces)
    _add_pieces(spec, building, pieces, (*names, *tabs))
    _glue_foot(spec, building, [names[number] for number in made.foot])
    building.solids.append(
        Solid(
            id=spec.id,
            title=values.get("title", spec.id),
            model=values["model"],
            stock=building.description.stocks[values["stock"]],
            unfolded=made.unfolded,
            joins=made.joins,
            pieces=pieces,
            facets=names,
            tabs=tabs,
            foot=tuple(names[number] for number in made.foot),
            host=host.id,
            face=values.get("face", "front"),
            height_mm=made.height_mm,
            loose=values.get("loose", False),
        )
    )


def _wishes(spec: MechanismSpec) -> _Wishes:
    values = spec.values
    path = Path(values["model"])
    try:
        path.stat()
    except OSError as error:
        raise MechanismError(f"{path} cannot be read ({error.strerror or error})", "model") from None
    room = values.get("room")
    if room is not None and min(room) <= 0:
        raise MechanismError(f"is {room[0]:g} x {room[1]:g} mm; both must be above 0", "room")
    return _Wishes(
        path=str(path),
        states=model_states(path),
        up=values.get("up", "z"),
        scale=values.get("scale", 1.0),
        height_mm=values.get("height"),
        foot=values.get("foot"),
        foot_width_mm=values.get("foot_width", 8.0),
        flatten_deg=values.get("flatten", 0.0),
        preset=values.get("preset", "fewest"),
        room_mm=None if room is None else (float(room[0]), float(room[1])),
        smooth_deg=values.get("smooth", 0.0),
        tab_width_mm=values.get("tab_width", 6.0),
        edge_to_edge=values.get("edge_to_edge", False),
    )


@lru_cache(maxsize=64)
def _made(wishes: _Wishes) -> _Made:
    """Read, repair and unfold a model. A book is built anew at every change, its models are not."""
    from ..unfold.tabs import TabOptions, joins_of

    try:
        mesh = sized(turned_up(read_mesh(wishes.path), wishes.up), wishes.scale, wishes.height_mm)
        options = MeshOptions(flat_deg=wishes.flatten_deg)
        facets, foot = footed(mesh, options, wishes.foot, wishes.foot_width_mm)
    except MechanismError:
        raise
    except HingeleafError as error:
        raise MechanismError(str(error), "model") from None
    if len(facets.rings) > MOST_FACETS:
        raise MechanismError(
            f"has {len(facets.rings)} flat facets; a spread takes solids of at most {MOST_FACETS}: reduce the model, "
            f"or raise flatten, or take it as a prop beside the book with the command unfold",
            "model",
        )
    cuts = CutOptions(preset=wishes.preset, room_mm=wishes.room_mm, smooth_deg=wishes.smooth_deg)  # type: ignore[arg-type]
    unfolded = unfold_facets(facets, cuts)
    joins = tuple(joins_of(unfolded, TabOptions(width_mm=wishes.tab_width_mm, edge_to_edge=wishes.edge_to_edge)))
    return _Made(
        unfolded=unfolded,
        foot=foot,
        joins=joins,
        height_mm=float(facets.vertices[facets.triangles][..., 2].max()),
        facets=facets_on_nets(unfolded),
        creases=creases_of(unfolded),
        tabs=tabs_of(unfolded, joins),
    )


def _place(spec: MechanismSpec) -> Array:
    """From the model's space to the host's net coordinates, (4, 4) float."""
    x, y = spec.values["at"]
    angle = math.radians(spec.values.get("turn", 0.0))
    # On the back it stands the other way up, and turned as it is seen from the front.
    sign = -1.0 if spec.values.get("face", "front") == "back" else 1.0
    right = np.array([sign * math.cos(angle), sign * math.sin(angle), 0.0])
    return frame([x, y, 0.0], right, [-math.sin(angle), math.cos(angle), 0.0])


def _facet_names(name: str, made: _Made) -> tuple[str, ...]:
    feet = dict.fromkeys(made.foot)
    called = {facet: f"{name}.foot{number}" for number, facet in enumerate(feet, start=1)}
    if len(made.foot) == 1:
        called = {made.foot[0]: f"{name}.foot"}
    return tuple(called.get(facet, f"{name}.f{facet + 1}") for facet in range(len(made.unfolded.facets.rings)))


def _crease(building: Building, name: str, panels: tuple[str, ...], crease: FoldedCrease | FoldedTab) -> None:
    both = (panels[0], panels[1])
    lines = (crease.start, crease.start), (crease.along, crease.along)
    building.hinges.append(HingePlan(name, "crease", both, *lines, Angle(None, 1.0, crease.dihedral_rad), both))


def _add_tabs(
    building: Building, name: str, made: _Made, names: tuple[str, ...], pieces: tuple[str, ...]
) -> tuple[str, ...]:
    found = []
    for tab in made.tabs:
        own, host = f"{name}.t{tab.label}", names[tab.other]
        building.add_panel(Panel(own, pieces[tab.net], tab.outline, host, tab.rest, None, "tab"))
        building.glue_areas.append(GlueArea(host, own, tab.on_host, "back"))
        _crease(building, own, (names[tab.own], own), tab)
        found.append(own)
    return tuple(found)


def _add_pieces(spec: MechanismSpec, building: Building, pieces: tuple[str, ...], panels: tuple[str, ...]) -> None:
    title, stock = spec.values.get("title", spec.id), building.description.stocks[spec.values["stock"]]
    own: dict[str, list[str]] = {piece: [] for piece in pieces}
    for name in panels:
        own[building.panels[name].piece].append(name)
    for number, (piece, names) in enumerate(own.items(), start=1):
        building.pieces[piece] = Piece(piece, title if len(pieces) == 1 else f"{title} {number}", stock, tuple(names))


def _glue_foot(spec: MechanismSpec, building: Building, foot: list[str]) -> None:
    face = spec.values.get("face", "front")
    for name in foot:
        panel = building.panels[name]
        host = building.panels[str(panel.parent)]
        for part in parts_of(common_part(carried(panel.outline, panel.rest), host.outline)):
            building.glue_areas.append(GlueArea(host.id, name, part, face))
    if not any(area.glued in foot for area in building.glue_areas):
        raise MechanismError(f"lies wholly beside {spec.values['panel']} and cannot be glued on it; move it", "at")
