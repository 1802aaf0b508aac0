"""What operators share that ask for the file they write."""

from pathlib import Path
from typing import TYPE_CHECKING

import bpy
from bpy.props import BoolProperty

from ..geometry import HingeleafError
from .base import OperatorBase

__all__ = ["SavingDialog"]


class SavingDialog(OperatorBase):
    """Gives the name in the dialog the ending it will have, so that Blender asks before that very file is replaced."""

    if TYPE_CHECKING:
        filepath: str
        check_existing: bool
    else:
        check_existing: BoolProperty(default=True, options={"HIDDEN"})

    def ended(self, name: str) -> str:
        """A file's name with the ending of what is written."""
        raise NotImplementedError

    def check(self, context: bpy.types.Context) -> bool:
        """Whether the name has changed; Blender calls this while a person types."""
        if _is_folder(self.filepath):
            return False  # there is no name yet
        before, self.filepath = self.filepath, self.ended(self.filepath)
        return self.filepath != before

    def file(self) -> Path:
        """The chosen file, with its ending; HingeleafError where none is chosen."""
        if _is_folder(self.filepath):
            raise HingeleafError("Choose the file that it is to be written to")
        return Path(self.ended(bpy.path.abspath(self.filepath)))


def _is_folder(name: str) -> bool:
    return not name or name.endswith(("/", "\\"))
