"""What was unfolded, in words and as data."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from .data import MeshNote, Unfolded
from .placing import net_bounds
from .tabs import Join
from .wording import counted

__all__ = ["needs_person", "unfolded_data", "unfolded_words"]

#: Warnings about what was asked for: they say how far it goes, and nobody has to look.
_ASKED_FOR = ("flattened",)


def needs_person(notes: Sequence[MeshNote]) -> bool:
    """Whether a person has to look at the model: faces that pass through each other, what could not be unfolded."""
    return any(note.severity == "warning" and note.code not in _ASKED_FOR for note in notes)


def unfolded_data(unfolded: Unfolded, joins: Sequence[Join], notes: Sequence[MeshNote]) -> dict[str, Any]:
    """Nets, creases, cuts and notes, ready for JSON; lengths in mm, angles between the faces in degrees."""
    facets = unfolded.facets
    areas = facets.areas_mm2
    creases = [(number, edge) for number, net in enumerate(unfolded.nets) for edge in net.folds.tolist() if edge >= 0]
    return {
        "name": facets.mesh.name,
        "size_mm": np.ptp(facets.vertices, axis=0).tolist(),
        "facets": len(facets.rings),
        "area_mm2": float(areas.sum()),
        "nets": [
            {
                "piece": _piece(number),
                "facets": len(net.facets),
                "size_mm": _size(unfolded, number),
                "area_mm2": float(areas[net.facets].sum()),
            }
            for number, net in enumerate(unfolded.nets)
        ],
        "creases": [
            {"id": f"fold-{edge + 1}", "piece": _piece(number), **_edge(unfolded, edge)} for number, edge in creases
        ],
        "cuts": [
            {
                "label": join.label,
                "pieces": [_piece(side.net) for side in join.sides],
                "tab_on": None if join.tab is None else _piece(join.sides[join.tab_side].net),
                **_edge(unfolded, join.edge),
            }
            for join in joins
        ],
        "notes": [
            {
                "code": note.code,
                "severity": note.severity,
                "text": note.text,
                "place_mm": None if note.place_mm is None else [float(value) for value in note.place_mm],
                "faces": [int(face) for face in note.faces],
            }
            for note in notes
        ],
    }


def _piece(number: int) -> str:
    return f"net.{number + 1}"


def _size(unfolded: Unfolded, number: int) -> list[float]:
    left, low, right, high = net_bounds(unfolded, number)
    return [right - left, high - low]


def _edge(unfolded: Unfolded, edge: int) -> dict[str, float]:
    facets = unfolded.facets
    start, end = facets.vertices[facets.edges[edge]]
    return {
        "length_mm": float(np.linalg.norm(end - start)),
        "dihedral_deg": 180.0 - float(np.degrees(facets.bends[edge])),
    }


def unfolded_words(unfolded: Unfolded, joins: Sequence[Join], notes: Sequence[MeshNote]) -> list[str]:
    """The same in lines to be read: what it is, what was repaired, what is to be glued."""
    facets = unfolded.facets
    across, deep, high = np.ptp(facets.vertices, axis=0)
    glued = float(facets.lengths_mm[[join.edge for join in joins]].sum()) if joins else 0.0
    tabs = sum(join.tab is not None for join in joins)
    return [
        f"{facets.mesh.name}: {across:.1f} x {deep:.1f} x {high:.1f} mm, {counted(len(facets.rings), 'flat facet')}, "
        f"{facets.areas_mm2.sum() / 100:.1f} cm2 of card",
        f"{counted(len(unfolded.nets), 'net')}, {counted(len(joins), 'cut')} to glue of {glued:.0f} mm together, "
        f"{counted(tabs, 'tab')}",
        *(f"{note.severity} {note.code}: {note.text}" for note in notes),
    ]
