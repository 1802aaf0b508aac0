"""The errors of the core: each says what is wrong, where, and what would be right."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

__all__ = ["DescriptionError", "FileError", "HingeleafError", "MechanismError", "Problem"]


class HingeleafError(ValueError):
    """Base of every error this library raises on purpose; its text is one readable sentence."""


class FileError(HingeleafError):
    """A file cannot be read or written."""


@dataclass(frozen=True)
class Problem:
    """One thing wrong in a description.

    Parameters
    ----------
    place : table and key, as a person finds it in the file, e.g. ``v-fold "hill", angle``
    message : what is wrong and what would be right
    line : line in the file, counted from 1; None where it cannot be had
    """

    place: str
    message: str
    line: int | None = None

    def __str__(self) -> str:
        where = f"line {self.line}: " if self.line is not None else ""
        return f"{where}{self.place}: {self.message}"


class DescriptionError(HingeleafError):
    """A description that cannot be built; carries every problem found, not only the first."""

    def __init__(self, problems: Iterable[Problem], source: str = "description") -> None:
        self.source = source
        self.problems = tuple(sorted(problems, key=lambda problem: (problem.line or 0, problem.place)))
        count = len(self.problems)
        head = f"{source}: {count} problem{'' if count == 1 else 's'}"
        super().__init__("\n".join([head, *(f"  {problem}" for problem in self.problems)]))


class MechanismError(HingeleafError):
    """A mechanism that cannot be built as written.

    Parameters
    ----------
    message : what is wrong and what would be right
    key : the key to change; "" for the mechanism as a whole
    """

    def __init__(self, message: str, key: str = "") -> None:
        super().__init__(message)
        self.key = key
