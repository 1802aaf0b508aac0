"""How much each hinge is wished to be a fold: long ones, kept ones, those that are seen, and those along bands."""

from __future__ import annotations

import numpy as np

from ..transforms import Array
from .cut_options import CutOptions
from .data import AVOID, KEEP, Facets
from .hinges import Hinges

__all__ = ["wishes_of"]

#: How many times its length an edge counts that is better not cut, that is seen, or that leads on along a band.
_AVOIDED, _SEEN, _BAND = 50.0, 4.0, 10.0
#: And one that is never to be cut, unless nothing else helps.
_KEPT = 1e6
#: How much going round the longest axis counts for a band, against how the surface bends.
_ROUND = 0.3


def wishes_of(facets: Facets, hinges: Hinges, options: CutOptions) -> Array:
    """What it costs to cut at each hinge.

    Parameters
    ----------
    facets : Facets
    hinges : Hinges
    options : CutOptions

    Returns
    -------
    (m,) float above 0: lengths in mm, many times larger where a cut is not wanted
    """
    marks = facets.marks[hinges.edges]
    wish = hinges.lengths * np.where(marks == AVOID, _AVOIDED, 1.0) * np.where(marks == KEEP, _KEPT, 1.0)
    if options.seen_from is not None:
        towards = facets.frames[:, :3, 2] @ np.asarray(options.seen_from, dtype=float) > 0
        wish = np.where(towards[hinges.first] & towards[hinges.second], _SEEN, 1.0) * wish
    if options.smooth_deg > 0:
        wish = wish * (1.0 + _BAND * _along_bands(facets, hinges, np.radians(options.smooth_deg)))
    return np.asarray(wish)


def _along_bands(facets: Facets, hinges: Hinges, smooth_rad: float) -> Array:
    """Of how many of its two facets each hinge is one of the two at which a band goes on; (m,) float.

    A band goes where a facet bends most to its smooth neighbours; where it bends alike in all directions, round the
    longest axis of the whole.
    """
    bends = np.abs(facets.bends[hinges.edges])
    smooth = np.nonzero((bends > 0) & (bends < smooth_rad))[0]
    ends = facets.vertices[facets.edges[hinges.edges[smooth]]]
    along = ends[:, 1] - ends[:, 0]
    normals = facets.frames[:, :3, 2]
    used = facets.vertices[np.unique(facets.triangles)]
    axis = np.linalg.eigh(np.cov(used.T))[1][:, 2]
    round_it = np.cross(axis, normals)
    tensors = np.zeros((hinges.count, 3, 3))
    outward = []
    # Seen from outside the first facet lies to the left of the edge, so the way out of it is to the right.
    for side, sign in ((hinges.first[smooth], 1.0), (hinges.second[smooth], -1.0)):
        out = sign * np.cross(along, normals[side])
        out /= np.linalg.norm(out, axis=1)[:, None]
        np.add.at(
            tensors, side, (bends[smooth] * hinges.lengths[smooth])[:, None, None] * out[:, :, None] * out[:, None]
        )
        outward.append((side, out))
    trace = np.trace(tensors, axis1=1, axis2=2)
    tensors += _ROUND * trace[:, None, None] * round_it[:, :, None] * round_it[:, None]
    way = np.linalg.eigh(tensors)[1][:, :, 2]
    facing = [(side, (out * way[side]).sum(axis=1)) for side, out in outward]
    most, least = np.full(hinges.count, 0.5), np.full(hinges.count, -0.5)
    for side, onward in facing:
        np.maximum.at(most, side, onward)
        np.minimum.at(least, side, onward)
    count = np.zeros(len(hinges.edges))
    for side, onward in facing:
        count[smooth] += (onward >= most[side] - 1e-9) | (onward <= least[side] + 1e-9)
    return count
