"""Mechanisms as assets: mark one, and put one that was dropped into the scene onto the nearest fold."""

from pathlib import Path
from typing import TYPE_CHECKING

import bpy
from bpy.props import StringProperty

from ..asset_places import Spot, spots_near
from ..assets import artwork_of, cutting_of, is_dropped, make_asset, remove_dropped, snapshot
from ..books import all_books, find_object, is_linked
from ..carrying import Source, artwork_name, folder_with
from ..design_properties import activate, active_id
from ..designing import change_book, design_of, finish_change
from ..geometry import Description, HingeleafError, Spread, assemble, parse_description
from ..geometry.changes import spec_of
from ..geometry.design.copying import cutting, family, paste
from ..geometry.design.decorating import with_artwork
from ..sizes import kind_label
from .base import BookOperator, ReportingOperator, is_mechanism_active

__all__ = ["HINGELEAF_OT_mark_asset", "HINGELEAF_OT_place_asset"]

#: So many of the nearest places are tried.
_TRIED = 8


class HINGELEAF_OT_mark_asset(BookOperator, bpy.types.Operator):
    """Make an asset of the active mechanism and of all that stands on it, to be dropped onto a fold of any book"""

    bl_idname = "hingeleaf.mark_asset"
    bl_label = "Make Asset of Mechanism"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Whether a mechanism is active."""
        return super().poll(context) and is_mechanism_active(cls, context)

    def run(self, context: bpy.types.Context) -> None:
        """Cut its text out, take its likeness, mark it."""
        root = self.book(context)
        finish_change(context, root)
        (description, spread), mechanism = design_of(root), active_id(root)
        text, spec = cutting(description, mechanism), spec_of(description, mechanism)
        others = len(family(description, mechanism)) - 1
        above = f", with {others} more on it" if others else ""
        item = snapshot(context, root, description, spread, mechanism)
        make_asset(context, item, text, spec.kind, f"{kind_label(spec.kind)} {item.name}{above}")
        self.report({"INFO"}, f"{item.name} is an asset now: drop it from the Asset Browser onto a fold")


class HINGELEAF_OT_place_asset(ReportingOperator, bpy.types.Operator):
    """Put a mechanism that was dropped into the scene onto the nearest fold that can carry it"""

    bl_idname = "hingeleaf.place_asset"
    bl_label = "Place Asset on Fold"
    bl_options = {"REGISTER", "UNDO"}

    if TYPE_CHECKING:
        name: str
    else:
        name: StringProperty(
            name="Asset", description="The dropped object; empty for the active one", options={"HIDDEN", "SKIP_SAVE"}
        )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Whether there is a book to put it in."""
        if not all_books(context):
            cls.poll_message_set("There is no book in this scene: make one, or open a description")
            return False
        return True

    def run(self, context: bpy.types.Context) -> None:
        """Try the nearest places, one after the other."""
        item = find_object(self.name) if self.name else context.view_layer.objects.active
        if item is None or not is_dropped(item):
            raise HingeleafError("Select a mechanism that was dropped from the Asset Browser")
        spots = [spot for root in all_books(context) if not is_linked(root) for spot in spots_near(root, item)]
        spots.sort(key=lambda spot: spot.distance_mm)
        refusals: list[str] = []
        for spot in [spot for spot in spots if not spot.reason][:_TRIED]:
            try:
                self._put(context, item, spot)
            except HingeleafError as error:
                refusals.append(f"{spot}: {error.problems[0] if hasattr(error, 'problems') else error}")
            else:
                return
        near = spots[0] if spots else None
        if not refusals and near is not None:
            refusals.append(f"{near} {near.reason}")
        raise HingeleafError(f"{item.name} can stand nowhere here ({refusals[0] if refusals else 'no fold'})")

    def _put(self, context: bpy.types.Context, item: bpy.types.Object, spot: Spot) -> None:
        """Put it there for good; HingeleafError where it cannot stand there, and nothing has changed."""
        root = spot.root
        finish_change(context, root)
        description, spread = design_of(root)
        text, added = _with_artwork_of(root, item, cutting_of(item))
        changed, names = paste(description, text, fold=spot.fold, side=spot.side, panel=spot.panel, at=spot.at)
        if added:
            changed = parse_description(changed.text, source=changed.source, folder=folder_with(root, added))
        _refuse_locked(spread, assemble(changed), str(spot))
        warnings = change_book(context, root, changed)
        remove_dropped(item)
        activate(context, root, names[0])
        self.report({"INFO"}, f"{names[0]} stands on {spot}")
        for warning in warnings:
            self.report({"WARNING"}, warning)


def _refuse_locked(before: Spread, after: Spread, where: str) -> None:
    """HingeleafError where the book opens or closes less than it did."""
    (low, high), (now_low, now_high) = before.reachable(), after.reachable()
    if not (now_low <= low + 1e-6 and now_high >= high - 1e-6):
        raise HingeleafError("there the book would no longer open and close as far as it does")


def _with_artwork_of(root: bpy.types.Object, item: bpy.types.Object, text: str) -> tuple[str, dict[str, Source]]:
    """A cutting with names for its artwork that are free in a book, and the pictures; what is nowhere is left out."""
    cut, images = parse_description(text, source=item.name), artwork_of(item)
    added: dict[str, Source] = {}
    for spec in cut.mechanisms:
        for face in ("front", "back"):
            path = spec.values.get(f"art_{face}")
            if path is None:
                continue
            image = images.get(_relative(cut, path))
            name = None if image is None else artwork_name(root, image)
            if image is not None and name is not None:
                added[name] = image
            cut = with_artwork(cut, spec.id, face, name)
    return cut.text, added


def _relative(description: Description, path: str) -> str:
    return Path(path).relative_to(description.folder).as_posix()
