"""Lay the net of a piece beside the book, take it away, and let it unfold over time."""

import bpy

from ..books import active_book, panel_objects
from ..designing import spread_of
from ..flat_net import add_net, keyframe_unfolding, net_of, piece_of, remove_net
from ..panel_objects import PIECE_KEY
from ..presenting import look_down_on
from ..tinting import show_tints
from .base import BookOperator

__all__ = ["HINGELEAF_OT_keyframe_unfolding", "HINGELEAF_OT_show_net"]


def _piece(context: bpy.types.Context) -> str:
    """The piece of the active object; "" where it is no panel."""
    item = context.active_object
    return "" if item is None else str(item.get(PIECE_KEY, ""))


class HINGELEAF_OT_show_net(BookOperator, bpy.types.Operator):
    """Lay the net of the selected piece beside the book, to unfold from the standing piece; again to take it away"""

    bl_idname = "hingeleaf.show_net"
    bl_label = "Show Net"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Whether a piece is meant, or a net lies there."""
        if not super().poll(context):
            return False
        root = active_book(context)
        if not _piece(context) and (root is None or net_of(root) is None):
            cls.poll_message_set("Select a panel of the piece first")
            return False
        return True

    def run(self, context: bpy.types.Context) -> None:
        """Add the net, put it in the place of another one, or remove it."""
        root, piece = self.book(context), _piece(context)
        shown = net_of(root)
        if shown is not None and piece in ("", piece_of(shown)):
            remove_net(shown)
            return
        net = add_net(context, root, spread_of(root), piece)
        if shown is not None:
            remove_net(shown)
        copies = [item for item in net.children_recursive if item.type == "MESH"]
        look_down_on(context, root, [*copies, *panel_objects(root, "", "page")])
        show_tints(context)


class HINGELEAF_OT_keyframe_unfolding(BookOperator, bpy.types.Operator):
    """Let the net unfold from the current frame on, within 30 frames"""

    bl_idname = "hingeleaf.keyframe_unfolding"
    bl_label = "Keyframe Unfolding"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Whether there is a net."""
        root = active_book(context)
        if root is None or net_of(root) is None:
            cls.poll_message_set("Show the net of a piece first")
            return False
        return True

    def run(self, context: bpy.types.Context) -> None:
        """Set two keyframes."""
        net = net_of(self.book(context))
        if net is not None:
            last = keyframe_unfolding(net, context.scene.frame_current)
            self.report({"INFO"}, f"It unfolds from frame {context.scene.frame_current} to {last}")
