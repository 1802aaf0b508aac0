"""The binding's result for people and for programs."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from ..checks.findings import Finding
from ..report import SIGNS
from .binding import Binding
from .cover_net import cover_sizes

__all__ = ["binding_data", "binding_text"]


def binding_data(binding: Binding, findings: Sequence[Finding]) -> dict[str, Any]:
    """Sizes and findings of a bound book, ready for JSON."""
    sizes = cover_sizes(binding)
    return {
        "page_mm": list(binding.page_size_mm),
        "leaves_mm": binding.leaves_mm.tolist(),
        "gaps_mm": binding.gaps_mm.tolist(),
        "thickness_mm": binding.thickness_mm,
        "rigid_mm": binding.rigid_mm,
        "spine_mm": sizes.spine,
        "board_mm": [*sizes.board, binding.cover.board_mm],
        "wrap_mm": list(sizes.wrap),
        "findings": [finding.as_dict() for finding in findings],
    }


def binding_text(binding: Binding, findings: Sequence[Finding]) -> str:
    """The same, to be read."""
    width, height = binding.page_size_mm
    sizes, count = cover_sizes(binding), len(binding.spreads)
    gaps = ", ".join(f"{name} {gap:.1f}" for name, gap in zip(binding.names, binding.gaps_mm, strict=True))
    lines = [
        binding.title,
        f"  {count} spread{'s' * (count != 1)} of pages of {width:g} x {height:g} mm, "
        f"{binding.thickness_mm:.1f} mm closed",
        f"  between the pages, mm: {gaps}",
        f"  leaves, mm, boards included: {', '.join(f'{leaf:.1f}' for leaf in binding.leaves_mm)}",
        f"  two boards of {sizes.board[0]:g} x {sizes.board[1]:g} x {binding.cover.board_mm:g} mm, spine strip "
        f"{sizes.spine:.1f} mm, wrap {sizes.wrap[0]:.1f} x {sizes.wrap[1]:g} mm",
    ]
    lines += [f"  {SIGNS[finding.severity]} {finding.code}: {finding.message}" for finding in findings]
    return "\n".join(lines)
