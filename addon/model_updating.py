"""Keeping the nets of models up to date: after a wish has changed, the model was edited, or something was undone."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import bpy
from bpy.app.handlers import persistent

from .geometry import HingeleafError
from .geometry.unfold.data import MeshNote
from .model_baking import unbaked_materials
from .model_gathering import Gathered, gather
from .model_preview import new_root, place_beside, prepared, show
from .model_properties import on_change
from .model_state import (
    all_models_anywhere,
    choices_of,
    found_anew,
    is_model,
    is_stale,
    list_notes,
    packed_of,
    remember_choices,
    remember_folds,
    remember_gathered,
    sources_of,
    wish_size,
    wishes_group,
    wishes_of,
)
from .model_wishes import Choice, Model, chosen, first_wishes, forget_models, packed
from .panel_objects import PANEL_KEY
from .presenting import redraw
from .reporting import sentence

__all__ = ["gather_again", "lay_nets", "look_after", "register_handlers", "renew", "show_choice", "unregister_handlers"]

#: How long a hand has to rest before nets are laid anew, seconds: after a change of a wish, and of the model.
_REST_S, _EDIT_S = 0.35, 0.8
#: Names of models of which the mesh is to be gathered again; a hint only, looked at when the timer comes.
_EDITED: set[str] = set()
#: While nets are laid, what Blender says of it is no edit.
_BUSY: list[bool] = []
#: After an undo or a redo, until Blender has said all of it; how long that takes at most, seconds.
_STEPPED: list[bool] = []
_STEP_S = 0.05


def lay_nets(context: bpy.types.Context, sources: Sequence[bpy.types.Object]) -> bpy.types.Object:
    """Lay the nets of objects beside them; those that were there of the same objects are laid anew.

    Raises
    ------
    HingeleafError
        They cannot be unfolded; then nothing was changed.
    """
    known = [root for root in all_models_anywhere() if set(sources_of(root)) == set(sources)]
    if known:
        gather_again(context, known[0])
        return known[0]
    gathered = gather(context, sources)
    wishes = first_wishes(gathered.mesh)
    made = prepared(chosen(context, packed(gathered.mesh), wishes, (), None))
    root = new_root(context, sources[0].name)
    remember_gathered(root, gathered, sources)
    wish_size(root, wishes, gathered.mesh)
    show(root, made)
    place_beside(root, made, gathered.origin_m)
    _note(root, made.model)
    return root


def gather_again(context: bpy.types.Context, root: bpy.types.Object) -> None:
    """Take the model as it is now, and lay its nets anew; HingeleafError where that cannot be done."""
    gathered = _gathered(context, root)
    wishes, choices = wishes_of(root), choices_of(root)
    made = prepared(chosen(context, packed(gathered.mesh), wishes, choices, None))
    remember_gathered(root, gathered, sources_of(root))
    show(root, made)
    _note(root, made.model)


def _gathered(context: bpy.types.Context, root: bpy.types.Object) -> Gathered:
    sources = sources_of(root)
    if not sources:
        raise HingeleafError(f"{root.name}: the model is no more; its nets can be written as they are")
    return gather(context, sources)


def renew(context: bpy.types.Context, root: bpy.types.Object) -> None:
    """Lay nets as they are wished now; HingeleafError where that cannot be done, then the objects are as they were."""
    made = prepared(found_anew(context, root))
    show(root, made)
    _note(root, made.model)


def show_choice(context: bpy.types.Context, root: bpy.types.Object, model: Model, choice: Choice) -> None:
    """Show nets in which one edge was cut or joined by hand, and remember the choice."""
    made = prepared(model)
    others = [each for each in choices_of(root) if each.ends_mm != choice.ends_mm]
    remember_choices(root, [*others, choice])
    show(root, made)
    _note(root, model)


def _note(root: bpy.types.Object, model: Model) -> None:
    remember_folds(root, model.folds)
    list_notes(root, model, [_unbaked(name) for name in unbaked_materials(root)])
    wishes_group(root).refusal = ""


def _unbaked(name: str) -> MeshNote:
    text = f"{name}: is more than a color or an image, so it is printed in its viewport color until it is baked."
    return MeshNote("unbaked", "warning", text)


def _soon(_root: bpy.types.Object | None = None, *, rest_s: float = _REST_S) -> None:
    """Look after all nets once the hand rests."""
    if bpy.app.timers.is_registered(_look_now):
        bpy.app.timers.unregister(_look_now)
    bpy.app.timers.register(_look_now, first_interval=rest_s)


def _look_now() -> float | None:
    context = bpy.context
    if context.mode not in ("OBJECT", "PAINT_TEXTURE"):
        return _EDIT_S
    if look_after(context):
        # An undo that finds objects of which no step knows ends Blender.
        bpy.ops.ed.undo_push(message="Lay Nets Anew")
    return None


def look_after(context: bpy.types.Context) -> bool:
    """Lay anew what is not as it is wished, or of which the model was edited; what fails is said in the sidebar.

    Returns
    -------
    bool : whether anything has become otherwise
    """
    _BUSY.append(True)
    try:
        tried = [_try(context, root, edited=root.name in _EDITED) for root in all_models_anywhere()]
        _EDITED.clear()
        redraw(context)
    finally:
        _BUSY.pop()
    return any(tried)


def _try(context: bpy.types.Context, root: bpy.types.Object, *, edited: bool) -> bool:
    """Lay nets anew where there is need; returns whether there was."""
    group = wishes_group(root)
    try:
        if edited and _has_changed(context, root):
            gather_again(context, root)
        elif is_stale(root):
            renew(context, root)
        else:
            return False
    except HingeleafError as error:
        group.refusal = sentence(error)
    return True


def _has_changed(context: bpy.types.Context, root: bpy.types.Object) -> bool:
    """Whether the model is another one than was gathered."""
    return packed(_gathered(context, root).mesh) != packed_of(root)


@persistent  # type: ignore[untyped-decorator]
def _after_update(_scene: Any, depsgraph: Any = None) -> None:
    """Note which models were edited; nothing is done to the file from here."""
    if _BUSY or _STEPPED or depsgraph is None or not depsgraph.id_type_updated("OBJECT"):
        return
    geometry = (update.id.original for update in depsgraph.updates if update.is_updated_geometry)
    # Panels of books are no models; while one is dragged, this is asked at every step.
    changed = {item for item in geometry if isinstance(item, bpy.types.Object) and item.get(PANEL_KEY) is None}
    if not changed:
        return
    roots = [item for item in _scene.objects if is_model(item)]
    hit = [root for root in roots if wishes_group(root).follow and changed & set(sources_of(root))]
    if hit:
        _EDITED.update(root.name for root in hit)
        _soon(rest_s=_EDIT_S)


@persistent  # type: ignore[untyped-decorator]
def _after_undo(*_: object) -> None:
    """What Blender says of the model now is no edit, and an undo that ends between a wish and its nets goes on."""
    _after_step(_undo_on)


@persistent  # type: ignore[untyped-decorator]
def _after_redo(*_: object) -> None:
    """The same of a redo."""
    _after_step(_redo_on)


def _after_step(go_on: Callable[[], None]) -> None:
    _forget_steps()
    bpy.app.timers.register(go_on, first_interval=_STEP_S)
    _STEPPED.append(True)


def _forget_steps() -> None:
    for waiting in (_undo_on, _redo_on):
        if bpy.app.timers.is_registered(waiting):
            bpy.app.timers.unregister(waiting)
    _STEPPED.clear()


def _undo_on() -> None:
    _STEPPED.clear()
    if _is_half_done():
        bpy.ops.ed.undo()


def _redo_on() -> None:
    _STEPPED.clear()
    if _is_half_done() and bpy.ops.ed.redo() != {"FINISHED"}:
        _soon()


def _is_half_done() -> bool:
    """Whether nets are wished otherwise than they lie, and nothing has refused that."""
    return any(is_stale(root) and not wishes_group(root).refusal for root in all_models_anywhere())


_HANDLERS = (("depsgraph_update_post", _after_update), ("undo_post", _after_undo), ("redo_post", _after_redo))


def register_handlers() -> None:
    """Begin to listen."""
    on_change(_soon)
    for name, handler in _HANDLERS:
        getattr(bpy.app.handlers, name).append(handler)


def unregister_handlers() -> None:
    """Listen no more."""
    for name, handler in _HANDLERS:
        listening = getattr(bpy.app.handlers, name)
        if handler in listening:
            listening.remove(handler)
    if bpy.app.timers.is_registered(_look_now):
        bpy.app.timers.unregister(_look_now)
    _forget_steps()
    _EDITED.clear()
    forget_models()
