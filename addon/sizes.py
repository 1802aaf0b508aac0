"""The sizes of the active mechanism as live properties: read from the description, written into it.

Nothing is stored: every property's getter asks the description, its setter changes the book. So undo, a reopened file
and a description that was read again can never disagree with what the sidebar shows. One group a kind, made from the
kind's own table of keys, so that names, limits and tooltips are those of the reference.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Mapping
from math import degrees, radians
from typing import Any

import bpy
from bpy.props import BoolProperty, EnumProperty, FloatProperty, FloatVectorProperty, StringProperty

from .books import text_of
from .designing import change_sizes, part_with, read_design
from .geometry import HingeleafError
from .geometry.changes import spec_of
from .geometry.description.data import MechanismSpec
from .geometry.description.fields import HOSTS, SIDES, Field
from .geometry.design.showing import Shown, fields_of, shown_of
from .geometry.mechanisms import KINDS
from .reporting import sentence, show_refusal

__all__ = ["APART", "KIND_GROUPS", "active_spec", "edit_sizes", "group_name", "kind_label", "label_of", "shown_sizes"]

#: Ends the name of the switch that shows the two sides of a size apart.
APART = "_apart"
#: A float of Blender's has seven digits; what a person types is written without what lies beyond.
_DECIMALS = 4
_SHOWN: OrderedDict[tuple[tuple[str, str], str], dict[str, Shown]] = OrderedDict()
_KEPT = 8
_HYPHENATED = ("v-fold", "pull-strip")
_DRAWN = ("line", "outline", "outlines", "file", "color")
#: What nobody types: it is set where an outline is traced from artwork.
_UNTYPED = ("art_box",)


def group_name(kind: str) -> str:
    """Name of the property that holds the sizes of a kind."""
    return kind.replace("-", "_")


def label_of(key: str) -> str:
    """A key as a label.

    Examples
    --------
    >>> label_of("crease_angle")
    'Crease Angle'
    """
    return " ".join(word.capitalize() for word in key.split("_"))


def kind_label(kind: str) -> str:
    """A kind of mechanism as a label.

    Examples
    --------
    >>> kind_label("v-fold"), kind_label("slit-cut-in")
    ('V-Fold', 'Slit Cut-In')
    """
    words = [part.capitalize() for part in kind.split("-")]
    if kind in _HYPHENATED:
        return "-".join(words)
    return " ".join(words[:-2] + ["-".join(words[-2:])])


def active_spec(root: bpy.types.Object) -> MechanismSpec | None:
    """The active mechanism of a book; None where there is none."""
    name = root.hingeleaf.active  # type: ignore[attr-defined]
    return next((spec for spec in read_design(root).mechanisms if spec.id == name), None)


def shown_sizes(root: bpy.types.Object, mechanism: str) -> dict[str, Shown]:
    """Every key of a mechanism as it is shown."""
    key = text_of(root), mechanism
    if key not in _SHOWN:
        description = read_design(root)
        try:
            spread = part_with(root, mechanism)
        except HingeleafError:
            spread = None
        _SHOWN[key] = shown_of(description, spread, spec_of(description, mechanism))
        while len(_SHOWN) > _KEPT:
            _SHOWN.popitem(last=False)
    return _SHOWN[key]


def edit_sizes(root: bpy.types.Object, values: Mapping[str, Any]) -> None:
    """Change sizes of the active mechanism; what cannot be is said in the sidebar, and nothing changes."""
    context = bpy.context
    try:
        change_sizes(context, root, root.hingeleaf.active, values)  # type: ignore[attr-defined]
        show_refusal(context, "")
    except HingeleafError as error:
        show_refusal(context, sentence(error))


def _shown(group: Any, kind: str, key: str) -> Shown | None:
    """A key of the active mechanism; None where that is of another kind."""
    # Asked for every number whenever the sidebar is drawn, so the list is asked and not the description.
    design = group.id_data.hingeleaf
    entry = design.entries.get(design.active)
    return shown_sizes(group.id_data, entry.name).get(key) if entry is not None and entry.kind == kind else None


def _reader(kind: str, key: str, empty: Any, shape: Callable[[Any], Any]) -> Callable[[Any], Any]:
    def read(group: Any) -> Any:
        try:
            shown = _shown(group, kind, key)
        except HingeleafError:
            return empty
        return empty if shown is None or shown.value is None else shape(shown.value)

    return read


def _writer(key: str, shape: Callable[[Any], Any]) -> Callable[[Any, Any], None]:
    def write(group: Any, value: Any) -> None:
        edit_sizes(group.id_data, {key: shape(value)})

    return write


def _property(kind: str, key: str, field: Field) -> Any:
    """The property of one key."""
    said: dict[str, Any] = {"name": label_of(key), "description": _sentence(field.meaning), "options": set()}
    if field.type == "angle":
        said |= {"subtype": "ANGLE", "precision": 3, "step": 100}
        said |= {"min": radians(field.low if field.low is not None else 0), "max": radians(_high(field))}
        ways = _reader(kind, key, 0.0, radians), _writer(key, lambda value: round(degrees(value), _DECIMALS - 1))
        return FloatProperty(**said, get=ways[0], set=ways[1])
    if field.type in ("number", "length"):
        said |= {"precision": 2, "step": 50, "soft_max": 500.0} | _limits(field)
        return FloatProperty(**said, get=_reader(kind, key, 0.0, float), set=_writer(key, _rounded))
    if field.type == "choice":
        items = [(choice, label_of(choice.replace("-", "_")), "") for choice in field.choices]
        index = field.choices.index
        return EnumProperty(
            **said, items=items, get=_reader(kind, key, 0, index), set=_writer(key, lambda at: field.choices[at])
        )
    if field.type == "switch":
        return BoolProperty(**said, get=_reader(kind, key, False, bool), set=_writer(key, bool))
    if field.type in ("lengths", "numbers"):
        return StringProperty(**said, get=_reader(kind, key, "", _listed), set=_writer(key, _list))
    if field.type == "point":
        return FloatVectorProperty(
            **said, size=2, precision=2, get=_reader(kind, key, (0.0, 0.0), tuple), set=_writer(key, _point)
        )
    return StringProperty(**said, get=_reader(kind, key, "", str), set=_writer(key, lambda text: text or None))


def _high(field: Field) -> float:
    return field.high if field.high is not None else 180.0


def _limits(field: Field) -> dict[str, float]:
    if field.type == "length":
        return {"min": 0.01 if field.positive else 0.0, "max": 5000.0}
    found = {"soft_min": -500.0}
    if field.low is not None:
        found["min"] = field.low
    if field.high is not None:
        found["max"] = field.high
    return found


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]


def _rounded(value: float) -> float:
    return round(value, _DECIMALS)


def _point(value: Any) -> list[float]:
    return [_rounded(number) for number in value]


def _listed(values: Any) -> str:
    return ", ".join(f"{value:g}" for value in values)


def _list(text: str) -> Any:
    """Numbers from what was typed; what is none is left for the reader to say so."""
    found: list[Any] = []
    for word in text.replace(",", " ").split():
        try:
            found.append(float(word))
        except ValueError:
            found.append(word)
    return found


def _apart(kind: str, field: Field) -> Any:
    """The switch that shows the two sides of a size apart."""
    left, right = (f"{field.name}_{side}" for side in SIDES)

    def read(group: Any) -> bool:
        try:
            sides = _shown(group, kind, left), _shown(group, kind, right)
        except HingeleafError:
            return False
        return any(side is not None and side.given for side in sides)

    def write(group: Any, value: bool) -> None:
        shown = shown_sizes(group.id_data, group.id_data.hingeleaf.active)
        if not value:
            edit_sizes(group.id_data, {field.name: shown[left].value})
        else:
            edit_sizes(group.id_data, {left: shown[left].value, right: shown[right].value})

    label = f"{label_of(field.name)} on Each Side"
    return BoolProperty(name=label, description="Let left and right differ", options=set(), get=read, set=write)


def _group(kind: str) -> type[bpy.types.PropertyGroup]:
    properties: dict[str, Any] = {}
    for key, field in fields_of(kind).items():
        if key not in (*HOSTS, *_UNTYPED) and field.type not in _DRAWN:
            properties[key] = _property(kind, key, field)
        if field.sided and key == field.name and field.type not in _DRAWN:
            properties[f"{key}{APART}"] = _apart(kind, field)
    name = f"HINGELEAF_PG_{group_name(kind)}"
    return type(name, (bpy.types.PropertyGroup,), {"__annotations__": properties, "__doc__": f"Sizes of a {kind}."})


#: One group a kind.
KIND_GROUPS = {kind: _group(kind) for kind in KINDS}
