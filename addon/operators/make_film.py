"""Film the opening while the user goes on working."""

from pathlib import Path
from typing import TYPE_CHECKING

import bpy
from bpy.props import EnumProperty, FloatProperty, IntProperty, StringProperty

from ..books import active_book, camera_of
from ..film import FilmPlan, Quality, frames_folder
from ..film_job import running_job, start_film
from ..geometry import HingeleafError
from ..reporting import sentence
from .base import BookOperator, Outcome

__all__ = ["HINGELEAF_OT_make_film", "HINGELEAF_OT_stop_film", "HINGELEAF_OT_watch_film"]

_ENGINES = (
    ("CYCLES", "Studio", "Soft light and true colors; takes minutes"),
    ("BLENDER_WORKBENCH", "Draft", "Flat shading, to see the motion; takes seconds"),
)
_SECONDS_BETWEEN_LOOKS = 0.5


class HINGELEAF_OT_make_film(BookOperator, bpy.types.Operator):
    """Film the book as it opens, as an MP4 file; the open file is not changed"""

    bl_idname = "hingeleaf.make_film"
    bl_label = "Make Film"

    if TYPE_CHECKING:
        filepath: str
        engine: str
        width: int
        height: int
        samples: int
        seconds: float
    else:
        filepath: StringProperty(name="Film", description="The MP4 file to write", subtype="FILE_PATH")
        filter_glob: StringProperty(default="*.mp4", options={"HIDDEN"})
        check_existing: bpy.props.BoolProperty(default=True, options={"HIDDEN"})
        engine: EnumProperty(name="Look", description="How the pictures are made", items=_ENGINES)
        width: IntProperty(name="Width", description="Width of the picture in pixels", default=1280, min=16, max=7680)
        height: IntProperty(name="Height", description="Height of the picture in pixels", default=720, min=16, max=4320)
        samples: IntProperty(
            name="Samples",
            description="More make the studio light cleaner and the film slower",
            default=Quality.samples,
            min=1,
            max=4096,
        )
        seconds: FloatProperty(
            name="Opening Time",
            description="How long the book takes to open",
            default=FilmPlan.turn / FilmPlan.rate,
            min=0.05,
            max=60.0,
            subtype="TIME_ABSOLUTE",
        )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Whether there is a book, a camera, and no other film being made."""
        if not super().poll(context):
            return False
        root = active_book(context)
        if running_job() is not None:
            cls.poll_message_set("A film is being made")
            return False
        if context.scene.camera is None and (root is None or camera_of(root) is None):
            cls.poll_message_set("There is no camera: open the description with its studio, or add a camera")
            return False
        return True

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> Outcome:
        """Ask for the file."""
        self.filepath = self.filepath or f"{self.book(context).name}.mp4"
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def run(self, context: bpy.types.Context) -> None:
        """Start the film; without a window wait for it."""
        if not self.filepath:
            raise HingeleafError("Choose the file that the film is to be written to")
        file = Path(bpy.path.ensure_ext(bpy.path.abspath(self.filepath), ".mp4"))
        size = (self.width - self.width % 2, self.height - self.height % 2)
        quality = Quality(size=size, samples=self.samples, engine=self.engine)
        plan = FilmPlan(turn=max(2, round(self.seconds * FilmPlan.rate)))
        job = start_film(self.book(context), file, quality, plan)
        if bpy.app.background:
            job.finish()
        else:
            bpy.ops.hingeleaf.watch_film("INVOKE_DEFAULT")  # type: ignore[attr-defined]


class HINGELEAF_OT_watch_film(bpy.types.Operator):
    """Show how far the film is; Esc stops it"""

    bl_idname = "hingeleaf.watch_film"
    bl_label = "Watch Film"
    bl_options = {"INTERNAL"}

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> Outcome:
        """Look at the film from time to time."""
        self.job = running_job()
        if self.job is None:
            return {"CANCELLED"}
        self.timer = context.window_manager.event_timer_add(_SECONDS_BETWEEN_LOOKS, window=context.window)
        context.window_manager.modal_handler_add(self)
        _show(context, *self.job.progress())
        return {"RUNNING_MODAL"}

    def modal(self, context: bpy.types.Context, event: bpy.types.Event) -> Outcome:
        """Show progress; let every other event through."""
        if event.type == "ESC" and event.value == "PRESS":
            self.job.stop()
        elif event.type != "TIMER":
            return {"PASS_THROUGH"}
        if self.job.running():
            _show(context, *self.job.progress())
            return {"PASS_THROUGH"}
        self.cancel(context)
        return self._end()

    def cancel(self, context: bpy.types.Context) -> None:
        """Called at the end, and by Blender when the window closes."""
        if self.job.running():
            self.job.stop()
        context.window_manager.event_timer_remove(self.timer)
        _show(context, -1.0, "")

    def _end(self) -> Outcome:
        """Say how it ended."""
        try:
            self.job.finish()
        except HingeleafError as error:
            self.report({"ERROR"}, sentence(error))
            return {"CANCELLED"}
        if self.job.stopped:
            self.report({"INFO"}, f"The film was stopped; its pictures are kept in {frames_folder(self.job.file)}")
            return {"CANCELLED"}
        self.report({"INFO"}, f"Film written: {self.job.file}")
        return {"FINISHED"}


class HINGELEAF_OT_stop_film(bpy.types.Operator):
    """Stop the film that is being made"""

    bl_idname = "hingeleaf.stop_film"
    bl_label = "Stop Film"
    bl_options = {"INTERNAL"}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Whether a film is being made."""
        cls.poll_message_set("No film is being made")
        return running_job() is not None

    def execute(self, context: bpy.types.Context) -> Outcome:
        """Stop it; whoever watches it says so."""
        job = running_job()
        if job is not None:
            job.stop()
        return {"FINISHED"}


def _show(context: bpy.types.Context, share: float, label: str) -> None:
    """Put progress into the sidebar and the status bar."""
    moment = context.window_manager.hingeleaf  # type: ignore[attr-defined]
    moment.film_share, moment.film_label = share, label
    text = f"Film: {share:.0%}, {label}. Esc stops it" if share >= 0 else None
    context.workspace.status_text_set(text)
    for window in context.window_manager.windows:
        for area in window.screen.areas:
            if area.type == "VIEW_3D":
                area.tag_redraw()
