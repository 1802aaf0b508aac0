"""What a person should know about how a model was cut."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from .cut_options import CutOptions
from .data import KEEP, Ints, MeshNote, Unfolded
from .limits import Limits, hull_of
from .placing import placed_rings

__all__ = ["notes_of"]


def notes_of(unfolded: Unfolded, options: CutOptions) -> Unfolded:
    """The same nets with notes: edges that were to be kept and are cut, facets that are larger than the room.

    Parameters
    ----------
    unfolded : Unfolded
    options : CutOptions, what was wished
    """
    return replace(unfolded, notes=(*unfolded.notes, *_cut_all_the_same(unfolded), *_too_large(unfolded, options)))


def _cut_all_the_same(unfolded: Unfolded) -> list[MeshNote]:
    """One note for the edges that close a ring of kept ones, one for those that would have made nets overlap."""
    facets = unfolded.facets
    cut = unfolded.cuts[facets.marks[unfolded.cuts] == KEEP]
    if not len(cut):
        return []
    group = _kept_together(unfolded)
    in_ring = group[facets.sides[cut, 0]] == group[facets.sides[cut, 1]]
    notes = []
    for edges, code, why in (
        (cut[in_ring], "kept-ring", "edges that are to be kept close a ring, which cannot lie flat"),
        (
            cut[~in_ring],
            "kept-overlap",
            "with all edges that are to be kept a net would overlap itself or be too large",
        ),
    ):
        if len(edges):
            what = (
                "one of them was cut, the cheapest"
                if len(edges) == 1
                else f"{len(edges)} of them were cut, the cheapest"
            )
            place = facets.vertices[facets.edges[edges[0]]].mean(axis=0)
            faces = sorted({int(face) for facet in facets.sides[edges].ravel() for face in facets.source[facet]})
            notes.append(MeshNote(code, "warning", f"{why}: {what}, {_places(unfolded, edges)}", place, tuple(faces)))
    return notes


def _places(unfolded: Unfolded, edges: Ints) -> str:
    middles = unfolded.facets.vertices[unfolded.facets.edges[edges[:3]]].mean(axis=1)
    places = ", ".join("({:.1f}, {:.1f}, {:.1f})".format(*middle) for middle in middles.tolist())
    return f"at {places} mm" + (" and elsewhere" if len(edges) > 3 else "")


def _kept_together(unfolded: Unfolded) -> Ints:
    """Of each facet a facet that stands for all that hang together at kept folds."""
    facets = unfolded.facets
    above = np.arange(len(facets.rings))
    for net in unfolded.nets:
        for facet, parent, fold in zip(net.facets[1:], net.parents[1:], net.folds[1:], strict=True):
            if facets.marks[fold] == KEEP:
                above[facet] = above[net.facets[parent]]
    return above


def _too_large(unfolded: Unfolded, options: CutOptions) -> list[MeshNote]:
    limits = Limits(options.room_mm)
    if options.room_mm is None:
        return []
    notes = []
    for number, net in enumerate(unfolded.nets):
        if len(net.facets) > 1:
            continue
        corners = placed_rings(unfolded, number)[0][0]
        if not limits.fits(hull_of(corners[:, 0] + 1j * corners[:, 1])):
            facet = int(net.facets[0])
            wide, high = np.ptp(corners, axis=0)
            place = unfolded.facets.frames[facet, :3, 3]
            text = (
                f"a facet of {wide:.1f} x {high:.1f} mm does not fit in "
                f"{options.room_mm[0]:g} x {options.room_mm[1]:g} mm; "
                "make the model smaller or the sheet larger"
            )
            faces = tuple(int(face) for face in unfolded.facets.source[facet])
            notes.append(MeshNote("too-large", "warning", text, place, faces))
    return notes
