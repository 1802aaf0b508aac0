"""Film the book, take its stills, or hand the film to a render farm, while the user goes on working."""

from pathlib import Path
from typing import TYPE_CHECKING

import bpy
from bpy.props import EnumProperty, StringProperty

from ..film import frames_folder
from ..film_job import FilmJob, running_job, start_film, start_joining
from ..film_script import ShotScript
from ..filming import Shot, plan_shot
from ..filming_backgrounds import BACKGROUNDS, set_background
from ..filming_subject import subject_of
from ..geometry import HingeleafError
from ..reporting import sentence
from .base import BookOperator, Outcome
from .film_settings import FORMATS, FilmOperator, filmed, finished

__all__ = [
    "CLASSES",
    "HINGELEAF_OT_make_film",
    "HINGELEAF_OT_stop_film",
    "HINGELEAF_OT_watch_film",
]

_SECONDS_BETWEEN_LOOKS = 0.5


def _wait_or_watch(job: FilmJob) -> None:
    """Show how far it is; without a window wait for it."""
    if bpy.app.background:
        job.finish()
    else:
        bpy.ops.hingeleaf.watch_film("INVOKE_DEFAULT")  # type: ignore[attr-defined]


class HINGELEAF_OT_make_film(FilmOperator, bpy.types.Operator):
    """Film the book as it opens or is turned through; the open file is not changed"""

    bl_idname = "hingeleaf.make_film"
    bl_label = "Make Film"

    if not TYPE_CHECKING:
        filter_glob: StringProperty(default="*.mp4;*.webm", options={"HIDDEN"})

    def ending(self) -> str:
        """By the format."""
        return "" if self.kind == "PNG" else self.kind

    def draw_settings(self, layout: bpy.types.UILayout) -> None:
        """Also the format."""
        layout.prop(self, "kind")
        super().draw_settings(layout)

    def run(self, context: bpy.types.Context) -> None:
        """Start the film."""
        root = finished(context)
        if root.users_scene[0].render.film_transparent and self.kind != "PNG":
            raise HingeleafError("A transparent background needs the format Picture Sequence; or choose another one")
        _wait_or_watch(start_film(root, self.file(), self.script(context), self.quality()))


class HINGELEAF_OT_make_stills(FilmOperator, bpy.types.Operator):
    """Take pictures of the book closed, half open, open at every spread, and details; into a folder"""

    bl_idname = "hingeleaf.make_stills"
    bl_label = "Make Stills"

    def script(self, context: bpy.types.Context) -> ShotScript:
        """The set of stills."""
        f_stop = self.f_stop if self.use_depth else 0.0
        shot = Shot(preset="STILLS", size=self.quality().size, f_stop=f_stop, follows=True)
        return plan_shot(subject_of(filmed(context)), shot)

    def length(self, count: int, rate: int) -> str:
        """They take no time."""
        return f"{count} pictures"

    def draw_settings(self, layout: bpy.types.UILayout) -> None:
        """Nothing moves."""
        self.draw_picture(layout)

    def run(self, context: bpy.types.Context) -> None:
        """Start them."""
        _wait_or_watch(start_film(finished(context), self.file(), self.script(context), self.quality()))


class HINGELEAF_OT_save_for_farm(FilmOperator, bpy.types.Operator):
    """Save a file with the film in keyframes that any Blender or render farm renders, without this extension"""

    bl_idname = "hingeleaf.save_for_farm"
    bl_label = "Save for Render Farm"

    if not TYPE_CHECKING:
        filter_glob: StringProperty(default="*.blend", options={"HIDDEN"})

    def ending(self) -> str:
        """A Blender file."""
        return ".blend"

    def usual_name(self, context: bpy.types.Context) -> str:
        """Another one than the open file has."""
        return f"{filmed(context).name}-farm"

    def run(self, context: bpy.types.Context) -> None:
        """Save it, of a copy of the open file."""
        root, file = finished(context), self.file()
        if bpy.data.filepath and file.resolve() == Path(bpy.path.abspath(bpy.data.filepath)).resolve():
            raise HingeleafError(f"{file} is the open file, which the film's would replace; choose another name")
        _wait_or_watch(start_film(root, file, self.script(context), self.quality(), farm=True))


class HINGELEAF_OT_join_film(BookOperator, bpy.types.Operator):
    """Put the frames of a folder, as several computers have rendered them, into one film beside it"""

    bl_idname = "hingeleaf.join_film"
    bl_label = "Join Frames"

    if TYPE_CHECKING:
        directory: str
        kind: str
    else:
        directory: StringProperty(name="Folder", description="The folder of the frames", subtype="DIR_PATH")
        kind: EnumProperty(name="Format", description="What is written", items=FORMATS[:2])

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Whether no other film is being made."""
        cls.poll_message_set("A film is being made")
        return running_job() is None

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> Outcome:
        """Ask for the folder."""
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def run(self, context: bpy.types.Context) -> None:
        """Start joining."""
        folder = Path(bpy.path.abspath(self.directory))
        if not folder.is_dir():
            raise HingeleafError(f"{folder}: there is no such folder; choose the one that holds the frames")
        name = folder.name.removesuffix(".frames").removesuffix(".mp4").removesuffix(".webm")
        _wait_or_watch(start_joining(folder, folder.with_name(f"{name}{self.kind}")))


class HINGELEAF_OT_set_background(BookOperator, bpy.types.Operator):
    """Put another background behind the book"""

    bl_idname = "hingeleaf.set_background"
    bl_label = "Background"
    bl_options = {"REGISTER", "UNDO"}

    if TYPE_CHECKING:
        background: str
    else:
        background: EnumProperty(
            name="Background",
            description="What the book stands before",
            items=[(name, look.label, look.text) for name, look in BACKGROUNDS.items()],
        )

    def run(self, context: bpy.types.Context) -> None:
        """Change the studio."""
        root = filmed(context)
        set_background(root.users_scene[0], root, self.background)


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
            kept = f"; the pictures so far are kept in {frames_folder(self.job.file)}" if self.job.keeps else ""
            self.report({"INFO"}, f"Stopped{kept}")
            return {"CANCELLED"}
        self.report({"INFO"}, f"{self.job.what.capitalize()} written: {self.job.file}")
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


CLASSES = (
    HINGELEAF_OT_make_film,
    HINGELEAF_OT_make_stills,
    HINGELEAF_OT_save_for_farm,
    HINGELEAF_OT_join_film,
    HINGELEAF_OT_set_background,
    HINGELEAF_OT_watch_film,
    HINGELEAF_OT_stop_film,
)
