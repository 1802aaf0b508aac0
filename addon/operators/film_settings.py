"""What all that takes pictures of a book asks for: preset, size, look; and how long it will take."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import bpy
from bpy.props import BoolProperty, EnumProperty, FloatProperty, IntProperty, StringProperty

from ..books import active_book, active_bound, camera_of, is_bound_root, spreads_of
from ..designing import finish_change
from ..film_job import duration, expected_seconds, measured, running_job
from ..film_script import Quality, ShotScript
from ..filming import PRESETS, SIZES, Shot, plan_shot
from ..filming_subject import digest_of, subject_of
from ..geometry import HingeleafError
from ..reporting import sentence
from .base import BookOperator, Outcome
from .saving_dialog import SavingDialog

__all__ = ["FORMATS", "FilmOperator", "filmed", "finished"]

_ENGINES = (
    ("CYCLES", "Final", "Soft light and true colors, with Cycles; takes minutes to hours"),
    ("EEVEE", "Preview", "Nearly the same light, with EEVEE; quick with a graphics card, very slow without"),
    ("BLENDER_WORKBENCH", "Draft", "Flat shading, to see the motion; takes seconds"),
)
FORMATS = (
    (".mp4", "MP4 (H.264)", "Plays everywhere"),
    (".webm", "WebM (VP9)", "For web pages"),
    ("PNG", "Picture Sequence", "A folder of PNG files; with alpha before a transparent background"),
)
_SIZES = (*((name, label, f"{size[0]} x {size[1]}") for name, (label, size) in SIZES.items()),
          ("CUSTOM", "Custom", "Width and height as they are set below"))  # fmt: skip
#: Frames, rate and expected seconds of what was asked for last, by all that it depends on.
_estimated: dict[tuple[object, ...], tuple[int, int, float]] = {}


def filmed(context: bpy.types.Context) -> bpy.types.Object:
    """The root of what is filmed: the bound book, or the one spread."""
    root = active_bound(context) or active_book(context)
    if root is None:
        raise HingeleafError("There is no book in this scene: open a description first")
    return root


def finished(context: bpy.types.Context) -> bpy.types.Object:
    """The root of what is filmed, of which all is built that was changed a moment ago."""
    root = filmed(context)
    for spread in spreads_of(root) if is_bound_root(root) else [root]:
        finish_change(context, spread)
    return root


class FilmOperator(SavingDialog, BookOperator):
    """What all that takes pictures asks for."""

    if TYPE_CHECKING:
        filepath: str
        preset: str
        frame: str
        kind: str
        engine: str
        width: int
        height: int
        samples: int
        seconds: float
        lively: bool
        use_depth: bool
        f_stop: float
        follows: bool
    else:
        filepath: StringProperty(name="File", description="The file to write", subtype="FILE_PATH")
        preset: EnumProperty(
            name="Preset",
            description="What the book and the camera do",
            items=[("AUTO", "Usual", "An opening; of a bound book the whole"), *PRESETS[:-1]],
        )
        frame: EnumProperty(name="Size", description="Size of the picture", items=_SIZES, default="CUSTOM")
        kind: EnumProperty(name="Format", description="What is written", items=FORMATS)
        engine: EnumProperty(name="Look", description="How the pictures are made", items=_ENGINES)
        width: IntProperty(name="Width", description="Width of the picture in pixels", default=1280, min=16, max=7680)
        height: IntProperty(name="Height", description="Height of the picture in pixels", default=720, min=16, max=7680)
        samples: IntProperty(
            name="Samples",
            description="More make the studio light cleaner and the film slower",
            default=Quality.samples,
            min=1,
            max=4096,
        )
        seconds: FloatProperty(
            name="Opening Time",
            description="How long the hand takes to open the book or to turn a leaf",
            default=Shot.seconds,
            min=0.05,
            max=60.0,
            subtype="TIME_ABSOLUTE",
        )
        lively: BoolProperty(
            name="Lively Card", description="The card lags a little behind the hand, and springs back at the end"
        )
        use_depth: BoolProperty(
            name="Depth of Field", description="Only what stands highest is quite sharp; not for drafts"
        )
        f_stop: FloatProperty(
            name="F-Stop", description="The smaller, the less is sharp", default=8.0, min=0.5, max=128.0
        )
        follows: BoolProperty(
            name="Camera Follows",
            description="The camera moves with the book; otherwise it stays as the scene has it",
            default=True,
        )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Whether there is a book, a camera, and no other film being made."""
        if not super().poll(context):
            return False
        root = active_bound(context) or active_book(context)
        if running_job() is not None:
            cls.poll_message_set("A film is being made")
            return False
        if context.scene.camera is None and (root is None or camera_of(root) is None):
            cls.poll_message_set("There is no camera: open the description with its studio, or add a camera")
            return False
        return True

    def quality(self) -> Quality:
        """How the pictures are rendered."""
        width, height = (self.width, self.height) if self.frame == "CUSTOM" else SIZES[self.frame][1]
        return Quality((width - width % 2, height - height % 2), self.samples, self.engine)

    def script(self, context: bpy.types.Context) -> ShotScript:
        """What every frame shows."""
        subject = subject_of(filmed(context))
        usual = "BOOK" if len(subject.rests) > 2 else "OPENING"
        shot = Shot(
            preset=usual if self.preset == "AUTO" else self.preset,
            size=self.quality().size,
            seconds=self.seconds,
            lively=self.lively,
            f_stop=self.f_stop if self.use_depth else 0.0,
            follows=self.follows,
        )
        return plan_shot(subject, shot)

    def draw(self, context: bpy.types.Context) -> None:
        """What can be set, and how long it will take."""
        layout: Any = self.layout
        layout.use_property_split = True
        self.draw_settings(layout)
        try:
            count, rate, expected = self.estimate(context)
        except HingeleafError as error:
            layout.label(text=sentence(error), icon="ERROR")
            return
        layout.label(text=self.length(count, rate), icon="INFO")
        layout.label(text=f"About {duration(expected)} on this computer", icon="TIME")

    def length(self, count: int, rate: int) -> str:
        """How much it is, in words."""
        return f"{count} frames, {count / rate:.1f} s"

    def estimate(self, context: bpy.types.Context) -> tuple[int, int, float]:
        """Number of frames, frames a second, and how many seconds they will take; drawing asks at every stroke."""
        root, quality = filmed(context), self.quality()
        asked = (self.preset, self.seconds, self.lively, self.use_depth, self.f_stop, self.follows)
        key = (type(self).__name__, root.name_full, digest_of(root), quality, asked, measured(quality))
        if key not in _estimated:
            script = self.script(context)
            _estimated.clear()
            _estimated[key] = script.count, script.rate, expected_seconds(script, quality)
        return _estimated[key]

    def draw_settings(self, layout: bpy.types.UILayout) -> None:
        """The settings themselves."""
        for name in ("preset", "seconds", "lively", "follows"):
            layout.prop(self, name)
        self.draw_picture(layout)

    def draw_picture(self, layout: bpy.types.UILayout) -> None:
        """Settings of the picture."""
        layout.prop(self, "frame")
        if self.frame == "CUSTOM":
            layout.prop(self, "width")
            layout.prop(self, "height")
        layout.prop(self, "engine")
        if self.engine != "BLENDER_WORKBENCH":
            layout.prop(self, "samples")
            layout.prop(self, "use_depth")
            if self.use_depth:
                layout.prop(self, "f_stop")

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> Outcome:
        """Ask for the file."""
        self.filepath = self.filepath or f"{self.usual_name(context)}{self.ending()}"
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def usual_name(self, context: bpy.types.Context) -> str:
        """What the file is called unless told, without its ending."""
        return filmed(context).name

    def ending(self) -> str:
        """How the name of the file ends."""
        return ""

    def file(self) -> Path:
        """The chosen file, with its ending; pictures go into a folder, whose name may end as those of folders do."""
        if not self.filepath:
            raise HingeleafError("Choose the file that it is to be written to")
        return Path(self.ended(bpy.path.abspath(self.filepath).rstrip("/\\")))

    def ended(self, name: str) -> str:
        """With the ending of what is written instead of any other such ending."""
        ending = Path(name).suffix
        start = name.removesuffix(ending) if ending.lower() in (".mp4", ".webm", ".blend") else name
        return start + self.ending()
