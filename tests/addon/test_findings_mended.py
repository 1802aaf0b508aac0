"""Findings of a check: where they stand, and their remedies applied, or refused where the book is another one now."""

import pytest

from tests.addon.designs import book_of, sizes
from tests.geometry.scene_texts import TOWER, head


def check_too_high_a_tower(bpy, tmp_path):
    """Open and check a book whose v-fold looks out of the page, for which there is a remedy."""
    file = tmp_path / "book.toml"
    file.write_text(head("Too tall", '"A6"') + TOWER)
    bpy.ops.hingeleaf.open_description(filepath=str(file), studio=False)
    bpy.ops.hingeleaf.check_book()


def test_a_remedy_is_applied(bpy, tmp_path):
    check_too_high_a_tower(bpy, tmp_path)
    check = bpy.context.scene.hingeleaf
    index = next(number for number, finding in enumerate(check.findings) if finding.mending)
    message = check.findings[index].message
    assert bpy.ops.hingeleaf.apply_remedy(index=index) == {"FINISHED"}
    assert message not in [finding.message for finding in check.findings]
    assert check.book == book_of(bpy)
    none = [number for number, finding in enumerate(check.findings) if not finding.mending]
    for number in none[:1]:
        with pytest.raises(RuntimeError, match="No remedy"):
            bpy.ops.hingeleaf.apply_remedy(index=number)


def test_a_remedy_for_a_book_that_has_changed_since_is_refused(bpy, tmp_path):
    """It would move what was mended by hand."""
    from bl_ext.user_default.hingeleaf import designing

    check_too_high_a_tower(bpy, tmp_path)
    check, root = bpy.context.scene.hingeleaf, book_of(bpy)
    index = next(number for number, finding in enumerate(check.findings) if finding.mending)
    designing.change_sizes(bpy.context, root, "tower", {"height": 30.0})
    designing.finish_change(bpy.context, root)
    text = root["hingeleaf_description"]
    with pytest.raises(RuntimeError, match="has changed since it was checked: check it again"):
        bpy.ops.hingeleaf.apply_remedy(index=index)
    assert root["hingeleaf_description"] == text


def test_a_finding_stands_where_it_was_found(bpy, new_book, add):
    """Places of glue are on the net of the host, not of the tab that is glued there."""
    root = new_book(size="A5")
    add("v-fold", at=110)
    sizes(root, "v-fold").at = 200.0
    bpy.ops.hingeleaf.check_book()
    glued = [finding for finding in bpy.context.scene.hingeleaf.findings if finding.short.startswith("glue")]
    assert glued
    for finding in glued:
        assert finding.anchor.startswith("page.")
        assert 150 < finding.place_y < 250, "about the head of the page"
        assert abs(1000 * finding.spot[1] - finding.place_y) < 1e-3 or finding.anchor == "page.left"
