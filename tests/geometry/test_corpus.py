"""The corpus: every planted fault is found with its measure and nothing else is; sound scenes have no finding."""

from __future__ import annotations

import pytest

from geometry.checks import CHECKS, run_checks
from tests.geometry import corpus


def named(paths):
    return pytest.mark.parametrize("path", paths, ids=lambda path: path.stem)


def test_the_corpus_is_large_and_covers_every_code():
    assert len(corpus.FAULTY) >= 60
    assert len(corpus.SOUND) >= 60
    codes = {corpus.expected(path).values["code"] for path in corpus.FAULTY}
    # Creases are found where panels meet, so none that is described ends in mid card: see test_cuts_and_creases.py.
    assert codes == set(CHECKS) - {"crease-ends-loose"}


@named(corpus.FAULTY)
def test_the_planted_fault_is_found_and_nothing_else(path):
    expected = corpus.expected(path)
    _, spread = corpus.built(path)
    findings = run_checks(spread)
    found = [finding for finding in findings if corpus.names(finding, expected.values)]
    assert len(found) == 1, [(item.code, item.panel, item.other, item.measure) for item in findings]
    values = expected.values
    if values["measure"] != "-":
        assert found[0].measure == pytest.approx(expected.number("measure"), abs=expected.number("tolerance"))
    assert found[0].unit == values["unit"]
    if "severity" in values:
        assert found[0].severity == values["severity"]
    if "opening" in values:
        assert found[0].opening_deg == pytest.approx(
            expected.number("opening"), abs=expected.number("opening_tolerance")
        )
    others = [finding for finding in findings if finding is not found[0]]
    strange = [item for item in others if not any(corpus.names(item, also) for also in expected.also)]
    assert not strange, [(item.code, item.panel, item.other, item.message) for item in strange]


@named(corpus.FAULTY)
def test_a_finding_says_where_and_how_much(path):
    _, spread = corpus.built(path)
    for finding in run_checks(spread):
        assert finding.panel is None or finding.panel in spread.panels
        assert finding.other is None or finding.other in spread.panels
        assert finding.piece in {piece.id for piece in spread.pieces}
        assert finding.code in CHECKS
        assert finding.measure >= 0
        # The message gives the measure, a share or a count, in digits.
        assert any(letter.isdigit() for letter in finding.message) or finding.code in (
            "artwork",
            "order",
            "closes-flat",
        )


@named(corpus.SOUND)
def test_a_sound_scene_has_no_finding(path):
    _, spread = corpus.built(path)
    assert run_checks(spread) == ()
