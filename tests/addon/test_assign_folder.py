"""Artwork by file name: what a folder holds goes where it belongs; what does not is listed with the reason."""

import pytest

from tests.addon.painted_books import DESCRIPTION, picture, shown, text


@pytest.fixture
def book(bpy, tmp_path):
    file = tmp_path / "book" / "painted.toml"
    file.parent.mkdir()
    file.write_text(DESCRIPTION)
    assert bpy.ops.hingeleaf.open_description(filepath=str(file), studio=False) == {"FINISHED"}
    return bpy.context.view_layer.objects.active


def problems(bpy):
    return [entry.message for entry in bpy.context.window_manager.hingeleaf.problems]


def test_each_picture_goes_where_it_is_named(bpy, book, rig, tmp_path):
    folder = tmp_path / "paint"
    picture(folder / "Hill.PNG", (1, 2, 3))
    picture(folder / "hill_back.jpg", (90, 91, 92))
    picture(folder / "page-front.png", (7, 8, 9))
    picture(folder / "roof.png", (70, 80, 90))
    picture(folder / "step.png", (1, 1, 1))
    picture(folder / "hil-back.png", (1, 1, 1))
    (folder / "page-back.png").write_text("no picture")
    (folder / "notes.txt").write_text("not artwork at all")
    assert bpy.ops.hingeleaf.assign_folder(directory=str(folder)) == {"FINISHED"}
    panels = rig.panels(book)
    assert shown(panels["hill.left"]) == (1, 2, 3)
    assert shown(panels["hill.left"], 1) == pytest.approx((90, 91, 92), abs=2)
    assert shown(panels["page.left"]) == (7, 8, 9)
    assert shown(panels["roof.left"]) == (70, 80, 90)
    assert shown(panels["page.left"], 1) is None
    assert [name in text(book) for name in ("art/Hill.PNG", "art/hill_back.jpg", "art/roof.png")] == [True] * 3
    said = "\n".join(problems(bpy))
    assert "hil-back.png: there is no such piece; did you mean hill?" in said
    assert "step.png: step has no artwork of its own" in said
    assert "page-back.png: it is no picture" in said
    assert len(problems(bpy)) == 3


def test_what_lies_in_the_books_folder_is_named_from_there(bpy, book, rig, tmp_path):
    picture(tmp_path / "book" / "paint" / "hill.png", (1, 2, 3))
    bpy.ops.hingeleaf.assign_folder(directory=str(tmp_path / "book" / "paint"))
    assert 'art_front = "paint/hill.png"' in text(book)
    assert shown(rig.panels(book)["hill.left"]) == (1, 2, 3)


def test_one_step_of_undo(bpy, book, rig, tmp_path):
    picture(tmp_path / "paint" / "hill.png", (1, 2, 3))
    picture(tmp_path / "paint" / "page.png", (4, 5, 6))
    before, name = text(book), book.name
    bpy.ops.ed.undo_push(message="base")
    bpy.ops.hingeleaf.assign_folder("EXEC_DEFAULT", True, directory=str(tmp_path / "paint"))
    assert text(bpy.data.objects[name]) != before
    bpy.ops.ed.undo()
    assert text(bpy.data.objects[name]) == before
    assert shown(rig.panels(bpy.data.objects[name])["page.left"]) is None


@pytest.mark.parametrize(
    ("names", "words"),
    [
        ([], "no picture is named after a piece"),
        (["hill.png", "hill-front.png"], "ambiguous"),
        (["hills.png"], "did you mean hill"),
        (["hill-front-template.png"], "is a template; save what you paint on it as hill-front.png"),
    ],
)
def test_where_nothing_fits_nothing_changes(bpy, book, tmp_path, names, words):
    folder = tmp_path / "paint"
    folder.mkdir()
    for name in names:
        picture(folder / name, (1, 2, 3))
    before = text(book)
    with pytest.raises(RuntimeError, match=words):
        bpy.ops.hingeleaf.assign_folder(directory=str(folder))
    assert text(book) == before
    assert len(bpy.data.images) == 0


def test_templates_without_a_painting_are_no_problems(bpy, book, tmp_path):
    """A folder of templates is what one paints in."""
    folder = tmp_path / "paint"
    picture(folder / "hill.png", (1, 2, 3))
    for name in ("hill-back-template.png", "page-front-template.png", "page-front-template-on-white.png"):
        picture(folder / name, (1, 2, 3))
    assert bpy.ops.hingeleaf.assign_folder(directory=str(folder)) == {"FINISHED"}
    moment = bpy.context.window_manager.hingeleaf
    assert (list(moment.problems), moment.source) == ([], "")
    picture(folder / "hils.png", (1, 2, 3))
    assert bpy.ops.hingeleaf.assign_folder(directory=str(folder)) == {"FINISHED"}
    assert [problem.message for problem in moment.problems] == ["hils.png: there is no such piece; did you mean hill?"]
    assert bpy.ops.hingeleaf.dismiss_problems() == {"FINISHED"}
    assert (list(moment.problems), moment.source) == ([], "")


def test_a_folder_that_is_none(bpy, book, tmp_path):
    with pytest.raises(RuntimeError, match="cannot be read"):
        bpy.ops.hingeleaf.assign_folder(directory=str(tmp_path / "nowhere"))


def test_names_that_are_given_together_are_kept_apart(bpy, rig, tmp_path):
    """Another hill.png lies beside the book already, so that of the folder gets a number; and one has that name."""
    file = tmp_path / "book" / "painted.toml"
    file.parent.mkdir()
    file.write_text(DESCRIPTION.replace('id = "roof"', 'id = "hill-2"'))
    picture(tmp_path / "book" / "art" / "hill.png", (200, 200, 200))
    assert bpy.ops.hingeleaf.open_description(filepath=str(file), studio=False) == {"FINISHED"}
    root = bpy.context.view_layer.objects.active
    picture(tmp_path / "paint" / "hill.png", (1, 2, 3))
    picture(tmp_path / "paint" / "hill-2.png", (70, 80, 90))
    assert bpy.ops.hingeleaf.assign_folder(directory=str(tmp_path / "paint")) == {"FINISHED"}
    panels = rig.panels(root)
    assert shown(panels["hill.left"]) == (1, 2, 3)
    assert shown(panels["hill-2.left"]) == (70, 80, 90)
