"""Outlines traced from the alpha of artwork."""

from __future__ import annotations

from .alpha import read_alpha
from .trace import Shape, Trace, TraceOptions, alpha_edge, trace_alpha

__all__ = ["Shape", "Trace", "TraceOptions", "alpha_edge", "read_alpha", "trace_alpha"]
