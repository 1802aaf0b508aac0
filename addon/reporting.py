"""Errors of the core as a user sees them: one sentence at once, all problems in the sidebar."""

import bpy

from .geometry import DescriptionError, HingeleafError

__all__ = ["clear_problems", "sentence", "show_problems", "show_refusal"]


def sentence(error: HingeleafError) -> str:
    """What went wrong, in one sentence; of many problems the first and their number."""
    if not isinstance(error, DescriptionError):
        return str(error)
    first, *others = error.problems
    more = f" (and {len(others)} more problem{'s' * (len(others) > 1)}, listed in the sidebar)" if others else ""
    return f"{error.source}: {first}{more}"


def show_problems(context: bpy.types.Context, error: HingeleafError) -> None:
    """List every problem in the sidebar."""
    clear_problems(context)
    moment = context.window_manager.hingeleaf  # type: ignore[attr-defined]
    if isinstance(error, DescriptionError):
        moment.source = error.source
        for problem in error.problems:
            moment.problems.add().message = str(problem)


def clear_problems(context: bpy.types.Context) -> None:
    """Forget the problems of an earlier description."""
    moment = context.window_manager.hingeleaf  # type: ignore[attr-defined]
    moment.source = ""
    moment.problems.clear()


def show_refusal(context: bpy.types.Context, text: str) -> None:
    """Say in the sidebar why a size could not be changed; "" once one could."""
    context.window_manager.hingeleaf.refusal = text  # type: ignore[attr-defined]
