"""Meshes damaged in one way each, as files have them; the same for the same generator."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from geometry.unfold.data import Mesh
from tests.geometry.unfold_meshes import faces_of, merged, mesh_of, moved, turned_by

__all__ = ["DAMAGES", "damaged"]


def _without(mesh: Mesh, rng: np.random.Generator) -> Mesh:
    """Faces are missing."""
    faces = faces_of(mesh)
    keep = rng.random(len(faces)) > 0.1
    keep[rng.integers(len(faces))] = True
    return mesh_of(mesh.vertices, [face for face, kept in zip(faces, keep, strict=True) if kept])


def _flipped(mesh: Mesh, rng: np.random.Generator) -> Mesh:
    """Faces run the other way round."""
    return mesh_of(mesh.vertices, [face[::-1] if rng.random() < 0.3 else face for face in faces_of(mesh)])


def _doubled(mesh: Mesh, rng: np.random.Generator) -> Mesh:
    """Faces are there twice, some of them the other way round."""
    faces = faces_of(mesh)
    more = [faces[k] for k in rng.integers(len(faces), size=max(2, len(faces) // 8))]
    return mesh_of(mesh.vertices, faces + [face[::-1] if rng.random() < 0.5 else face for face in more])


def _loose(mesh: Mesh, rng: np.random.Generator) -> Mesh:
    """Every face has vertices of its own, a hair apart."""
    vertices = mesh.vertices[mesh.corners]
    hair = 1e-9 * mesh.size_mm * rng.normal(size=vertices.shape)
    return mesh_of(vertices + hair, [range(a, b) for a, b in zip(mesh.starts[:-1], mesh.starts[1:], strict=True)])


def _degenerate(mesh: Mesh, rng: np.random.Generator) -> Mesh:
    """Faces of no area: a corner twice, three corners on a line, one corner only."""
    faces = faces_of(mesh)
    first = faces[int(rng.integers(len(faces)))]
    middle = mesh.vertices[first[:2]].mean(axis=0)
    number = len(mesh.vertices)
    faces += [[first[0], first[1], first[1]], [first[0], first[1], number], [first[0], first[0], first[0]]]
    return mesh_of(np.r_[mesh.vertices, [middle]], faces)


def _finned(mesh: Mesh, rng: np.random.Generator) -> Mesh:
    """Fins stand on edges, so that three faces meet there."""
    faces, vertices = faces_of(mesh), mesh.vertices.tolist()
    for face in [faces[k] for k in rng.integers(len(faces), size=3)]:
        vertices.append((mesh.vertices[face[:2]].mean(axis=0) + rng.normal(size=3) * 0.2 * mesh.size_mm).tolist())
        faces.append([face[0], face[1], len(vertices) - 1])
    return mesh_of(vertices, faces)


def _pierced(mesh: Mesh, rng: np.random.Generator) -> Mesh:
    """A copy passes through it."""
    return merged(mesh, moved(mesh, rng.normal(size=3) * 0.1 * mesh.size_mm, turn=turned_by(rng)))


def _unused(mesh: Mesh, rng: np.random.Generator) -> Mesh:
    """Vertices that no face has, some of them far away or no numbers."""
    more = rng.normal(size=(4, 3)) * 1e6
    more[0] = np.nan
    return mesh_of(np.r_[mesh.vertices, more], faces_of(mesh))


DAMAGES: dict[str, Callable[[Mesh, np.random.Generator], Mesh]] = {
    "without": _without, "flipped": _flipped, "doubled": _doubled, "loose": _loose, "degenerate": _degenerate,
    "finned": _finned, "pierced": _pierced, "unused": _unused,
}  # fmt: skip


def damaged(mesh: Mesh, kind: str, rng: np.random.Generator) -> Mesh:
    """A mesh with one kind of damage."""
    return DAMAGES[kind](mesh, rng)
