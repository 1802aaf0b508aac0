"""Materials of more than a colour or a picture, baked by Cycles into pictures that UV coordinates look up."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import bmesh
import bpy

from .books import find_object
from .geometry import HingeleafError
from .model_materials import color_source, look_of
from .model_state import is_model, sources_of, wishes_group

__all__ = ["bake_materials", "laid_nets", "unbaked_materials", "unplain_materials"]

#: Colours need no more: they are the same from everywhere.
_SAMPLES = 4
_MARGIN_PX = 8


def unplain_materials(root: bpy.types.Object) -> list[bpy.types.Material]:
    """The materials of a model that are more than a colour or a picture."""
    found = [entry.material for entry in wishes_group(root).surfaces if entry.material is not None]
    return [material for material in dict.fromkeys(found) if not look_of(material).plain]


def unbaked_materials(root: bpy.types.Object) -> list[str]:
    """The names of those that have no picture yet."""
    baked = {entry.material for entry in wishes_group(root).surfaces if entry.baked is not None}
    return [material.name for material in unplain_materials(root) if material not in baked]


def bake_materials(context: bpy.types.Context, root: bpy.types.Object, size: int) -> Iterator[str]:
    """Bake them one after the other; yields the name of each before it is baked.

    Parameters
    ----------
    context : of the window
    root : the empty of the nets
    size : width and height of each picture, pixels

    Raises
    ------
    HingeleafError
        Cycles is not there, or a material's faces have no UV coordinates.
    """
    if not hasattr(context.scene, "cycles"):
        raise HingeleafError("Cycles is not enabled: tick it under Edit > Preferences > Add-ons to bake materials")
    # While one is baked Blender goes on: an undo leaves references to nothing, and a material may get another name.
    model = root.name
    for number in [material.session_uid for material in unplain_materials(root)]:
        surfaces = _surfaces(model, number)
        if not surfaces:
            continue
        name = surfaces[0].material.name
        if not any(entry.has_uv for entry in surfaces):
            raise HingeleafError(f"{name}: its faces have no UV coordinates, so it cannot be baked; unwrap them")
        yield name
        surfaces = _surfaces(model, number)
        if surfaces:
            image = _baked(context, laid_nets(model), surfaces[0].material, size)
            for entry in _surfaces(model, number):
                entry.baked = image


def laid_nets(name: str) -> bpy.types.Object:
    """The empty of nets, by name; HingeleafError where they were removed since."""
    found = find_object(name)
    if found is None or not is_model(found):
        raise HingeleafError(f"{name}: the nets were removed while their materials were being baked")
    return found


def _surfaces(model: str, number: int) -> list[Any]:
    """What a model remembers of a material, by its number in this session; HingeleafError where its nets are gone."""
    entries: Any = wishes_group(laid_nets(model)).surfaces
    return [entry for entry in entries if entry.material is not None and entry.material.session_uid == number]


def _baked(
    context: bpy.types.Context, root: bpy.types.Object, material: bpy.types.Material, size: int
) -> bpy.types.Image:
    image = bpy.data.images.new(f"{material.name} Baked", size, size, alpha=False)
    copy = _glowing(material, image)
    scene = bpy.data.scenes.new("Hingeleaf Bake")
    try:
        settings: Any = scene
        settings.render.engine = "CYCLES"
        settings.cycles.samples, settings.cycles.device = _SAMPLES, "CPU"
        with _standing(context, root, material, copy, scene) as items:
            for number, item in enumerate(items):
                layer = scene.view_layers[0]
                layer.objects.active = item
                for other in items:
                    other.select_set(other == item, view_layer=layer)
                with context.temp_override(
                    scene=scene, view_layer=layer, object=item, active_object=item, selected_objects=[item]
                ):
                    bpy.ops.object.bake(type="EMIT", margin=_MARGIN_PX, use_clear=number == 0)
    except RuntimeError as error:
        bpy.data.images.remove(image)
        raise HingeleafError(f"{material.name}: Cycles could not bake it ({str(error).strip()})") from None
    finally:
        bpy.data.scenes.remove(scene)
        bpy.data.materials.remove(copy)
    image.pack()
    return image


def _glowing(material: bpy.types.Material, image: bpy.types.Image) -> bpy.types.Material:
    """A copy of a material whose colour glows, so that light has no part in it; the picture is its active node."""
    copy = material.copy()
    nodes: Any = copy.node_tree.nodes
    links: Any = copy.node_tree.links
    source, plain = color_source(copy)
    if source is not None or plain is not None:
        glow = nodes.new("ShaderNodeEmission")
        if source is not None:
            links.new(source, glow.inputs["Color"])
        else:
            glow.inputs["Color"].default_value = plain
        output = next(node for node in nodes if node.type == "OUTPUT_MATERIAL" and node.is_active_output)
        links.new(glow.outputs[0], output.inputs["Surface"])
    target = nodes.new("ShaderNodeTexImage")
    target.image = image
    for node in nodes:
        node.select = node == target
    nodes.active = target
    return copy


@contextmanager
def _standing(
    context: bpy.types.Context,
    root: bpy.types.Object,
    material: bpy.types.Material,
    copy: bpy.types.Material,
    scene: bpy.types.Scene,
) -> Iterator[list[bpy.types.Object]]:
    """Copies, in a scene of their own, of the faces that wear a material."""
    sources, seen = sources_of(root), set()
    meshes: list[Any] = []
    items: list[bpy.types.Object] = []
    try:
        for instance in context.evaluated_depsgraph_get().object_instances:
            item: Any = instance.object
            owner = instance.parent if instance.is_instance else item
            if owner is None or owner.original not in sources or item.type != "MESH" or item.original in seen:
                continue
            seen.add(item.original)
            worn = [slot.material is not None and slot.material.original == material for slot in item.material_slots]
            if any(worn):
                mesh = bpy.data.meshes.new_from_object(item)
                meshes.append(mesh)
                _keep_only(mesh, {number for number, wears in enumerate(worn) if wears}, copy)
                made = bpy.data.objects.new(item.name, mesh)
                made.matrix_world = instance.matrix_world.copy()
                scene.collection.objects.link(made)
                items.append(made)
        yield [item for item, mesh in zip(items, meshes, strict=True) if len(mesh.polygons)]
    finally:
        bpy.data.batch_remove([*items, *meshes])


def _keep_only(mesh: Any, slots: set[int], material: bpy.types.Material) -> None:
    """Only the faces of some slots, all in one material."""
    edited = bmesh.new()
    edited.from_mesh(mesh)
    bmesh.ops.delete(edited, geom=[face for face in edited.faces if face.material_index not in slots], context="FACES")
    for face in edited.faces:
        face.material_index = 0
    edited.to_mesh(mesh)
    edited.free()
    mesh.materials.clear()
    mesh.materials.append(material)
    rendered = next((layer for layer in mesh.uv_layers if layer.active_render), None)
    if rendered is not None:
        mesh.uv_layers.active = rendered
