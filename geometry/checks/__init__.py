"""What is known before anything is cut: one module a check, all run by run_checks."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

from ..spread import Spread
from .artwork import check_artwork
from .bulk import check_bulk
from .closes_flat import check_closes_flat
from .collisions import check_collisions
from .cuts_and_creases import check_crease_ends, check_creases_cross_cuts, check_cut_ends
from .findings import Finding
from .glue import check_glue
from .hand_collisions import check_hand_collisions
from .hand_travel import check_hand_locks, check_pull_strips
from .hands_together import check_hands_together
from .loops import check_free_motions, check_loop_dead_points
from .moving import check_dead_points, check_snaps
from .opens_fully import check_opens_fully
from .order import check_order
from .solid_hands import check_solids_and_hands
from .solids import (
    check_solid_facets,
    check_solid_meshes,
    check_solid_tabs,
    check_solids_collide,
    check_solids_overhang,
    check_solids_stand,
)
from .stays_inside import check_stays_inside
from .strength import check_strength
from .through_host import check_through_host
from .wheels import check_wheels

__all__ = ["CHECKS", "Finding", "run_checks", "worst_first"]

#: Every check by the code of its findings.
CHECKS: Mapping[str, Callable[[Spread], list[Finding]]] = {
    "closes-flat": check_closes_flat,
    "opens-fully": check_opens_fully,
    "stays-inside": lambda spread: [*check_stays_inside(spread), *check_solids_overhang(spread)],
    "collides": check_collisions,
    "through-host": check_through_host,
    "order": check_order,
    "crease-crosses-cut": check_creases_cross_cuts,
    "crease-ends-loose": check_crease_ends,
    "cut-ends-loose": check_cut_ends,
    "glue": lambda spread: [*check_glue(spread), *check_solid_tabs(spread)],
    "strength": lambda spread: [*check_strength(spread), *check_solid_facets(spread)],
    "bulk": check_bulk,
    "free-motion": check_free_motions,
    "dead-point": lambda spread: [*check_dead_points(spread), *check_loop_dead_points(spread)],
    "snaps": check_snaps,
    "pull-strip": check_pull_strips,
    "hand-locks": check_hand_locks,
    "wheel": check_wheels,
    "hand-collides": lambda spread: [*check_hand_collisions(spread), *check_solids_and_hands(spread)],
    "hands-collide": check_hands_together,
    "artwork": check_artwork,
    "solid-stands": check_solids_stand,
    "solid-collides": check_solids_collide,
    "solid-mesh": check_solid_meshes,
}
_RANK = {"error": 0, "warning": 1, "note": 2}


def run_checks(spread: Spread) -> tuple[Finding, ...]:
    """Run every check.

    Parameters
    ----------
    spread : Spread

    Returns
    -------
    tuple of Finding, errors first

    Examples
    --------
    A tent whose walls are shorter than its bases locks, where the sine of half the opening is 18/20.

    >>> from ..assembly import assemble
    >>> from ..description.reader import parse_description
    >>> low = assemble(parse_description('''
    ... format = 1
    ... [page]
    ... size = "A5"
    ... [[mechanism]]
    ... kind = "tent"
    ... id = "roof"
    ... fold = "spine"
    ... at = 60
    ... length = 50
    ... base = 20
    ... height = 18
    ... '''))
    >>> worst = run_checks(low)[0]
    >>> worst.code, worst.severity, round(worst.opening_deg, 2)
    ('opens-fully', 'error', 128.32)
    """
    return worst_first(finding for check in CHECKS.values() for finding in check(spread))


def worst_first(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    """Findings with errors first, then warnings, then notes; otherwise as they are."""
    return tuple(sorted(findings, key=lambda finding: _RANK[finding.severity]))
