"""What a finding is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

__all__ = ["Finding", "Severity"]

Severity = Literal["error", "warning", "note"]


@dataclass(frozen=True)
class Finding:
    """One result of a check.

    Parameters
    ----------
    code : name of the check, e.g. "closes-flat"
    severity : error: it cannot be made like this; warning: it can, with care; note: worth knowing
    piece, panel : names; panel None where the piece as a whole is meant
    other : the second panel, where two meet
    place_mm : where, in the panel's net coordinates; None where there is no one place
    opening_deg : the opening where it happens; None where at every opening
    measure, unit : how much
    message : one sentence
    area_mm2 : the area concerned, where there is one
    remedy : what makes it pass, with numbers; None where it was not computed
    mending : the sizes of the first remedy, (mechanism, key, value) each; none where there is no remedy
    """

    code: str
    severity: Severity
    piece: str
    panel: str | None
    place_mm: tuple[float, float] | None
    opening_deg: float | None
    measure: float
    unit: Literal["mm", "deg", "deg/deg", "mm2", "files", "faces", "motions"]
    message: str
    remedy: str | None = None
    area_mm2: float | None = None
    other: str | None = None
    mending: tuple[tuple[str, str, float], ...] = ()

    @property
    def key(self) -> tuple[str, str | None, str | None]:
        """What makes it the same finding on a changed spread: code and panels, not the measure."""
        return self.code, self.panel, self.other

    def as_dict(self) -> dict[str, Any]:
        """The finding for a JSON file."""
        return {
            "code": self.code,
            "severity": self.severity,
            "piece": self.piece,
            "panel": self.panel,
            "other": self.other,
            "place_mm": None if self.place_mm is None else list(self.place_mm),
            "opening_deg": self.opening_deg,
            "measure": self.measure,
            "unit": self.unit,
            "message": self.message,
            "remedy": self.remedy,
            "area_mm2": self.area_mm2,
        }
