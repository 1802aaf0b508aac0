"""Remedies: every one that is told is tried here anew, from its text's numbers, on the description it belongs to."""

from __future__ import annotations

import re
from functools import cache

import pytest

from geometry import HingeleafError, assemble, parse_description, read_description
from geometry.changes import apply_changes, size_of, sizes_of
from geometry.checks import run_checks
from geometry.remedies import remedied, remedies_for, with_remedies
from tests.geometry import corpus
from tests.geometry.scene_texts import HEAD, tent

#: What a change of a size can put right; for the others nothing is to be had by a number.
CURABLE = ("closes-flat", "opens-fully", "stays-inside")
_TEXT = re.compile(r"(\S+) of (\S+) from (\S+) to (\S+) (?:mm|degrees)")


def key(finding):
    return finding.code, finding.panel, finding.other


def changes_in(text):
    """The changes that the text of a remedy names, one dict an alternative."""
    return [
        {(name, size): float(after) for size, name, _, after in _TEXT.findall(part)} for part in text.split("; or ")
    ]


@cache
def told(path):
    """A faulty scene, and its findings with their remedies."""
    description, spread = corpus.built(path)
    return description, with_remedies(description, spread, run_checks(spread))


@pytest.mark.parametrize("path", corpus.FAULTY, ids=lambda path: path.stem)
def test_every_remedy_that_is_printed_passes(path):
    description, before = told(path)
    for finding in before:
        if finding.code.startswith("solid-"):
            continue  # what is advised there has no sizes
        for changes in changes_in(finding.remedy) if finding.remedy else []:
            assert 1 <= len(changes) <= 2
            after = run_checks(assemble(apply_changes(description, changes)))
            assert key(finding) not in {key(item) for item in after}, finding.remedy
            new = {key(item) for item in after} - {key(item) for item in before}
            assert not new or finding.code in ("closes-flat", "opens-fully"), (finding.remedy, new)


def test_most_curable_faults_have_a_remedy():
    """A missing one is no fault of the file; but most must have one, or the search is broken."""
    curable = [path for path in corpus.FAULTY if corpus.expected(path).values["code"] in CURABLE][::3]
    without = []
    for path in curable:
        expected = corpus.expected(path)
        finding = next(item for item in told(path)[1] if corpus.names(item, expected.values))
        if not finding.remedy:
            without.append(path.stem)
    assert len(without) <= len(curable) // 3, without


def lone(body, code):
    description = parse_description(HEAD + body)
    spread = assemble(description)
    finding = next(item for item in run_checks(spread) if item.code == code)
    return description, spread, finding


def test_the_remedy_of_a_jam_is_the_closed_form():
    body = "at = 60; length = 50; base_left = 40; base_right = 20; height_left = 40; height_right = 60.5"
    best = remedies_for(*lone(tent("roof", body=body), "closes-flat"))[0].changes
    assert [(item.key, item.before) for item in best] == [("height_right", 60.5)]
    assert best[0].after == pytest.approx(60.0, abs=1e-9)


def test_the_remedy_of_an_overshoot_is_the_smallest_step():
    """Base 70 and height 80 on a page of 148 mm: 2 mm too many."""
    wider = lone(tent("roof", body="at = 60; length = 50; base = 70; height = 80"), "stays-inside")
    remedies = remedies_for(*wider)
    assert remedies
    for remedy in remedies:
        (change,) = remedy.changes
        assert change.after - change.before == pytest.approx(-2.0, abs=1e-6)


def test_a_lock_is_remedied_by_a_tenth_of_a_millimetre():
    best = remedies_for(*lone(tent("roof", body="at = 60; length = 50; base = 40; height = 33.33"), "opens-fully"))[0]
    assert best.changes[0].key in ("height", "base")
    assert abs(best.changes[0].after - best.changes[0].before) == pytest.approx(6.7, abs=0.051)


def test_a_rider_is_moved_by_the_parts_of_its_place():
    path = next(path for path in corpus.FAULTY if path.stem == "spine-rider")
    description, spread = corpus.built(path)
    sizes = sizes_of(description, spread, "flag")
    assert sizes["at.x"] == 12.0
    assert sizes["size.y"] == 20.0
    finding = next(item for item in run_checks(spread) if item.code == "stays-inside")
    remedies = remedies_for(description, spread, finding)
    assert any(
        item.key == "at.x" and item.after == pytest.approx(15.0) for remedy in remedies for item in remedy.changes
    )


def test_remedied_puts_right_all_findings_of_a_code():
    path = next(path for path in corpus.FAULTY if path.stem == "glue-narrow-tent")
    changed, remedies = remedied(read_description(path), "glue")
    assert len(remedies) == 1
    assert run_checks(assemble(changed)) == ()
    assert changed.text.startswith("# ")


def test_remedied_without_such_a_finding_is_told():
    path = corpus.SOUND[0]
    with pytest.raises(HingeleafError, match="no finding with the code glue"):
        remedied(read_description(path), "glue")


def test_sizes_that_are_not_there_are_told():
    description, spread = corpus.built(next(path for path in corpus.FAULTY if path.stem == "lock-tent"))
    assert size_of(description, spread, "roof", "height") == 30.0
    with pytest.raises(HingeleafError, match="has no size"):
        size_of(description, spread, "roof", "beauty")
    with pytest.raises(HingeleafError, match="no mechanism"):
        size_of(description, spread, "door", "height")
