"""Fit the sizes of a mechanism to a wish: as large as it can be, or its tip where the 3D cursor is."""

from collections.abc import Generator
from typing import TYPE_CHECKING, Any, Literal

import bpy
import numpy as np
from bpy.props import BoolProperty, EnumProperty, FloatProperty

from ..books import active_book, find_object, text_of
from ..channels import OPENING
from ..convert import millimetres
from ..design_properties import active_id
from ..designing import change_book, design_of, finish_change, read_design
from ..geometry import HingeleafError
from ..geometry.changes import sizes_of, spec_of
from ..geometry.description.data import MechanismSpec
from ..geometry.description.fields import SIDES
from ..geometry.fit import Fit, Wish, fit_in_steps
from ..presenting import redraw
from ..reporting import sentence
from ..sizes import label_of
from .base import BookOperator, Outcome, is_mechanism_active
from .stepping import SteppingOperator

__all__ = ["HINGELEAF_OT_fit_sizes"]

#: Sizes that are free unless told; the others are ticked by hand.
_FREE = ("height", "height_left", "width", "length")
#: A menu of ticks has one bit each.
_MOST = 31
#: Sizes of two sides that differ by less, mm or degrees, are one.
_EQUAL = 1e-9
_WISHES = (
    ("largest", "As Large as Closes Inside the Page", "Grow until something is wrong that was not wrong before"),
    ("tip", "Tip at the 3D Cursor", "The end of the middle crease comes to the 3D cursor at the present opening"),
    ("height", "Tip at a Height", "The end of the middle crease stands so high above the right page at this opening"),
    ("lean", "Lean", "The middle crease leans so far from the upright at this opening, towards the head positive"),
    ("square", "Square to the Spine", "The middle crease stands square to the spine at this opening"),
    ("stand", "Stand", "The middle crease stands at this angle to the open page"),
)
#: What a menu shows must stay alive as long as Blender shows it.
_SHOWN: list[tuple[str, str, str, int]] = []


def _shown_sizes(operator: Any, context: bpy.types.Context | None) -> list[tuple[str, str, str, int]]:
    """The sizes of the active mechanism, for ticking."""
    _SHOWN.clear()
    root = None if context is None else active_book(context)
    if root is None or not active_id(root):
        return _SHOWN
    try:
        sizes = _together(sizes_of(*design_of(root), active_id(root)), spec_of(read_design(root), active_id(root)))
    except HingeleafError:
        return _SHOWN
    for number, (key, value) in enumerate(list(sizes.items())[:_MOST]):
        _SHOWN.append((key, f"{label_of(key)} ({value:.4g})", f"Let {key} change", 1 << number))
    return _SHOWN


def _together(sizes: dict[str, float], spec: MechanismSpec) -> dict[str, float]:
    """The sizes with those of the two sides as one where they are equal and were not given one by one."""
    found: dict[str, float] = {}
    for key, value in sizes.items():
        base = key.removesuffix(f"_{SIDES[0]}").removesuffix(f"_{SIDES[1]}")
        pair = [sizes.get(f"{base}_{side}") for side in SIDES]
        apart = any(f"{base}_{side}" in spec.values for side in SIDES)
        equal = not apart and None not in pair and abs(float(pair[0] or 0) - float(pair[1] or 0)) < _EQUAL
        found[base if equal else key] = value
    return found


class HINGELEAF_OT_fit_sizes(SteppingOperator, BookOperator, bpy.types.Operator):
    """Find sizes of the active mechanism with which it stands as wished, closes flat and stays inside the page"""

    bl_idname = "hingeleaf.fit_sizes"
    bl_label = "Fit Sizes"
    # Not in the panel of the last operation: every change there would search anew.
    bl_options = {"UNDO"}

    stopped = "Fitting was stopped; nothing has changed", {"CANCELLED"}

    if TYPE_CHECKING:
        wish: Literal["largest", "tip", "height", "lean", "square", "stand"]
        free: set[str]
        height: float
        lean: float
        stand: float
        anyway: bool
    else:
        wish: EnumProperty(name="Wish", description="How it is to stand", items=_WISHES, default="largest")
        free: EnumProperty(
            name="Free Sizes",
            description="Sizes that may change",
            items=_shown_sizes,
            options={"ENUM_FLAG", "SKIP_SAVE"},
        )
        height: FloatProperty(name="Height (mm)", description="Above the right page", default=50, soft_min=0)
        lean: FloatProperty(name="Lean (degrees)", description="From the upright", default=0, min=-90, max=90)
        stand: FloatProperty(name="Stand (degrees)", description="To the open page", default=90, min=-90, max=90)
        anyway: BoolProperty(
            name="Even if Missed",
            description="Take the sizes that come nearest, also where the wish cannot be granted",
            default=False,
        )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Whether a mechanism with a middle crease is active."""
        return super().poll(context) and is_mechanism_active(cls, context)

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> Outcome:
        """Ask what is wished; height and width are free unless told."""
        if not self.free:
            self.free = {key for key, *_ in _shown_sizes(self, context) if key in _FREE}
        return context.window_manager.invoke_props_dialog(self, width=360)  # type: ignore[return-value]

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the choices."""
        layout: Any = self.layout
        layout.use_property_split = True
        layout.prop(self, "wish")
        if self.wish in ("height", "lean", "stand"):
            layout.prop(self, self.wish)
        layout.label(text="Free Sizes")
        layout.use_property_split = False
        layout.grid_flow(columns=2).prop(self, "free")
        layout.prop(self, "anyway")

    def execute(self, context: bpy.types.Context) -> Outcome:
        """Search; in a window while Blender goes on."""
        if bpy.app.background or context.window is None:
            return super().execute(context)
        try:
            steps = self._steps(context)
            next(steps)
        except StopIteration:
            # The wish was granted already.
            return {"FINISHED"}
        except HingeleafError as error:
            self.report({"ERROR"}, sentence(error))
            return {"CANCELLED"}
        self.tried = 0
        return self.begin(context, steps)

    def say(self, context: bpy.types.Context, step: int | None) -> None:
        """Put into the status bar how many trials there were, of how many where that is known."""
        said = None
        if step is not None:
            self.tried += 1
            said = f"Fit: trial {self.tried}{f' of {step}' if step else ''}. Esc stops it"
        if context.workspace is not None:
            context.workspace.status_text_set(said)
        redraw(context)

    def run(self, context: bpy.types.Context) -> None:
        """Search to the end."""
        for _ in self._steps(context):
            pass

    def _steps(self, context: bpy.types.Context) -> Generator[int, None, None]:
        """Search trial by trial; the book changes only at the end."""
        root = self.book(context)
        finish_change(context, root)
        name, text, mechanism = root.name, text_of(root), active_id(root)
        if not self.free:
            raise HingeleafError("No size is free: tick those that may change")
        wish = self._wished(context, root)
        found = yield from fit_in_steps(design_of(root)[0], mechanism, [wish], sorted(self.free))
        # Found again by its name: an undo meanwhile has put another object in its place.
        now = find_object(name)
        if now is None or text_of(now) != text:
            raise HingeleafError("The book was changed while its sizes were fitted: fit them again")
        self._take(context, now, found)

    def _wished(self, context: bpy.types.Context, root: bpy.types.Object) -> Wish:
        opening = float(root[OPENING])
        if self.wish == "tip":
            cursor: Any = context.scene.cursor.location
            place = np.array(root.matrix_world.inverted() @ cursor, dtype=float)
            return Wish("tip", tuple(np.asarray(millimetres(place)).tolist()), opening)
        target = {"height": (self.height,), "lean": (self.lean,), "stand": (self.stand,)}.get(self.wish, ())
        return Wish(self.wish, target, 180.0 if self.wish == "stand" else opening)

    def _take(self, context: bpy.types.Context, root: bpy.types.Object, found: Fit) -> None:
        """Change the book, and say what has changed or what stands in the way."""
        changed = "; ".join(f"{item.key} {item.before:.4g} → {item.after:.4g} {item.unit}" for item in found.changes)
        if found.granted:
            change_book(context, root, found.description)
            self.report({"INFO"}, f"Fitted: {changed}")
            return
        unit = "degrees" if self.wish in ("lean", "square", "stand") else "mm"
        missed = f"missed by {max(found.misses):.3g} {unit}: " if max(found.misses) >= 1e-3 else ""
        reasons = f"{missed}{'; '.join(found.obstacles[:3])}"
        if not self.anyway:
            raise HingeleafError(f"It cannot stand so, {reasons}. Nearest would be {changed}")
        change_book(context, root, found.description)
        self.report({"WARNING"}, f"Fitted as near as can be, {reasons}. {changed}")
