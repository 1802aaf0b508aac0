"""Write the active book with its motion for other programs."""

from pathlib import Path
from typing import TYPE_CHECKING

import bpy
from bpy.props import IntProperty, StringProperty

from ..exporting import GLTF_ENDS, USD_ENDS, export_gltf, export_usd
from ..geometry import HingeleafError
from .bake_motion import frame_range
from .base import BookOperator, Outcome
from .saving_dialog import SavingDialog

__all__ = ["HINGELEAF_OT_export_gltf", "HINGELEAF_OT_export_usd"]

_GLTF = "io_scene_gltf2"


class _Exporter(SavingDialog, BookOperator):
    """Asks for a file and frames."""

    #: What the file may be called at its end; the first where it is not.
    ends: tuple[str, ...] = ("",)

    if TYPE_CHECKING:
        filepath: str
        start: int
        end: int
    else:
        filepath: StringProperty(name="File", description="Where it is written", subtype="FILE_PATH")
        start: IntProperty(name="Start Frame", description="First frame that is written", default=1)
        end: IntProperty(name="End Frame", description="Last frame that is written", default=250)

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> Outcome:
        """Ask for the file; the frames are those that are played unless told."""
        self.start, self.end = frame_range(context)
        if not self.filepath:
            self.filepath = bpy.path.clean_name(self.book(context).name) + self.ends[0]
        context.window_manager.fileselect_add(self)  # type: ignore[arg-type]
        return {"RUNNING_MODAL"}

    def ended(self, name: str) -> str:
        """As it is where that is an ending of its kind."""
        return name if name.lower().endswith(self.ends) else name + self.ends[0]

    def draw(self, context: bpy.types.Context) -> None:
        """Draw the frames beside the file."""
        layout = self.layout
        layout.use_property_split = True
        layout.use_property_decorate = False
        layout.prop(self, "start")
        layout.prop(self, "end")

    def file(self) -> Path:
        """The chosen file. Another ending than those of its kind stays, and is refused: it may be a slip."""
        ended, given = super().file(), Path(bpy.path.abspath(self.filepath))
        return given if given.suffix else ended


class HINGELEAF_OT_export_gltf(_Exporter, bpy.types.Operator):
    """Write the book with its motion and artwork as one glTF file, for web pages, game engines and viewers"""

    bl_idname = "hingeleaf.export_gltf"
    bl_label = "Export glTF"

    ends = GLTF_ENDS

    if not TYPE_CHECKING:
        filter_glob: StringProperty(default="*.glb", options={"HIDDEN"})

    def run(self, context: bpy.types.Context) -> None:
        """Write it."""
        if _GLTF not in context.preferences.addons:
            raise HingeleafError("Turn on Blender's own add-on glTF 2.0 format in the preferences first")
        path = self.file()
        export_gltf(context, self.book(context), path, self.start, self.end)
        self.report({"INFO"}, f"Wrote {path}")


class HINGELEAF_OT_export_usd(_Exporter, bpy.types.Operator):
    """Write the book with its motion and artwork as USD, for other 3D programs"""

    bl_idname = "hingeleaf.export_usd"
    bl_label = "Export USD"

    ends = USD_ENDS

    if not TYPE_CHECKING:
        filter_glob: StringProperty(default="*.usdc;*.usda;*.usd;*.usdz", options={"HIDDEN"})

    def run(self, context: bpy.types.Context) -> None:
        """Write it."""
        path = self.file()
        export_usd(context, self.book(context), path, self.start, self.end)
        self.report({"INFO"}, f"Wrote {path}")
