"""The findings in the sidebar are the core's, and each leads to where it is."""

import pytest

from tests.geometry.scene_texts import TOWER, head

STICKS_OUT = head("Too tall", '"A6"') + TOWER


@pytest.fixture
def too_tall(bpy, tmp_path):
    file = tmp_path / "tall.toml"
    file.write_text(STICKS_OUT)
    bpy.ops.hingeleaf.open_description(filepath=str(file))
    return bpy.context.view_layer.objects.active


def core_findings():
    from geometry import assemble, parse_description
    from geometry.checks import run_checks

    return run_checks(assemble(parse_description(STICKS_OUT)))


def test_findings_are_the_cores(bpy, too_tall):
    assert bpy.ops.hingeleaf.check_book() == {"FINISHED"}
    listed = [(entry.severity, entry.piece, entry.message) for entry in bpy.context.scene.hingeleaf.findings]
    assert listed == [(finding.severity, finding.piece, finding.message) for finding in core_findings()]
    assert "error" in {severity for severity, _, _ in listed}
    assert bpy.context.scene.hingeleaf.book == too_tall


def test_finding_opens_the_book_so_far_and_selects_the_panel(bpy, too_tall):
    bpy.ops.hingeleaf.check_book()
    findings = core_findings()
    index = next(i for i, f in enumerate(findings) if f.severity == "error" and f.panel and f.opening_deg is not None)
    assert bpy.ops.hingeleaf.show_finding(index=index) == {"FINISHED"}
    assert too_tall["opening"] == pytest.approx(findings[index].opening_deg)
    assert [item["hingeleaf_panel"] for item in bpy.context.selected_objects] == [findings[index].panel]
    assert bpy.context.scene.hingeleaf.active == index


def test_check_speaks_of_the_book_that_stands(bpy, too_tall, tmp_path):
    """The file on disk may have changed, or be gone."""
    (tmp_path / "tall.toml").unlink()
    assert bpy.ops.hingeleaf.check_book() == {"FINISHED"}
    assert len(bpy.context.scene.hingeleaf.findings) == len(core_findings())


def test_finding_that_is_gone(bpy, too_tall):
    with pytest.raises(RuntimeError, match="check the book again"):
        bpy.ops.hingeleaf.show_finding(index=99)


def test_good_book_has_no_errors(bpy, open_scene):
    open_scene("scenes/v-fold.toml")
    assert bpy.ops.hingeleaf.check_book() == {"FINISHED"}
    assert not [entry for entry in bpy.context.scene.hingeleaf.findings if entry.severity == "error"]


def test_checked_book_can_be_undone(bpy, too_tall):
    bpy.ops.ed.undo_push(message="base")
    bpy.ops.hingeleaf.check_book("EXEC_DEFAULT", True)
    assert bpy.context.scene.hingeleaf.findings
    bpy.ops.ed.undo()
    assert not bpy.context.scene.hingeleaf.findings
