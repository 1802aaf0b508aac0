"""Long names: two that Blender would cut alike are told apart, and all of designing works on them."""

import json
import re

import pytest

from tests.addon.designs import assert_same, book_of, standing, text_of

#: Two that agree in far more than their first 60 characters, which is about what Blender 4.5 keeps of a name.
LONG = tuple(f"{'a-very-long-name-of-a-hill-' * 7}{end}"[-200:].lstrip("-") for end in ("north", "south"))


def opened(bpy, tmp_path, names, kind="v-fold", title="T"):
    file = tmp_path / "long.toml"
    sizes = {"v-fold": "fold = 'spine'\nat = {at}\nangle = 45\nheight = 40", "flap": FLAP}[kind]
    tables = "".join(
        f'[[mechanism]]\nkind = "{kind}"\nid = "{name}"\n{sizes.replace("{at}", str(60 + 60 * number))}\n'
        for number, name in enumerate(names)
    )
    file.write_text(f'format = 1\ntitle = "{title}"\n[page]\nsize = "A5"\n{tables}', encoding="utf-8")
    assert bpy.ops.hingeleaf.open_description(filepath=str(file), studio=False) == {"FINISHED"}
    return book_of(bpy)


FLAP = "panel = 'page.right'\nat = [60, {at}]\nlength = 30\nwidth = 20"


def test_names_that_agree_for_long_are_told_apart(bpy, rig, tmp_path):
    root = opened(bpy, tmp_path, LONG)
    panels = rig.panels(root)
    assert {name.partition(".")[0] for name in panels} == {"page", *LONG}
    shown = [panels[name].name for name in panels]
    assert not [name for name in shown if re.search(r"\.\d{3}$", name)], "Blender had to number none"
    assert {name.partition(".")[2] for name in shown} == {name.partition(".")[2] for name in panels}
    materials = {slot.material.name for item in panels.values() for slot in item.material_slots}
    assert not [name for name in materials if re.search(r"\.\d{3}$", name)]


def test_one_of_two_such_is_changed_checked_and_taken_back(bpy, tmp_path):
    root = opened(bpy, tmp_path, LONG)
    before = standing(bpy)
    bpy.ops.ed.undo_push(message="base")
    root.hingeleaf.index = 1
    root.hingeleaf.v_fold.height = 33.0
    assert text_of(bpy).count("height = 33") == 1
    after = standing(bpy)
    moved = {name for name in before if abs(before[name] - after[name]).max() > 0.5}
    assert {name.partition(".")[0] for name in moved} == {LONG[1]}
    assert bpy.ops.hingeleaf.check_book() == {"FINISHED"}
    bpy.ops.hingeleaf.delete_mechanism("EXEC_DEFAULT", True)
    assert {name.partition(".")[0] for name in standing(bpy)} == {"page", LONG[0]}
    bpy.ops.ed.undo()
    root = book_of(bpy)
    root.hingeleaf.index = 1
    root.hingeleaf.v_fold.height = 40.0
    assert_same(standing(bpy), before)


def test_hands_of_such_have_each_their_own_slider(bpy, tmp_path, rig):
    root = opened(bpy, tmp_path, LONG, "flap")
    keys = [key for key in dict(root) if key.startswith("hand_")]
    assert len(keys) == 2
    root[keys[1]] = 90.0
    rig.set_opening(root, 180.0)
    raised = {name for name, item in rig.panels(root).items() if rig.world(item)[:, 2].max() > 15.0}
    assert {name.partition(".")[0] for name in raised} == {LONG[1]}


def test_a_long_title(bpy, tmp_path, rig):
    title = "The long way round the bay and back again " * 23
    root = opened(bpy, tmp_path, ["near", "far"], title=title[:990])
    root.hingeleaf.index = 1
    root.hingeleaf.v_fold.height = 33.0
    assert text_of(bpy).count("height = 33") == 1
    materials = {slot.material.name for item in rig.panels(root).values() for slot in item.material_slots}
    assert not [name for name in materials if re.search(r"\.\d{3}$", name)]


def test_a_copy_of_the_longest_name_is_no_longer(bpy, tmp_path):
    root = opened(bpy, tmp_path, [("a" * 200)])
    root.hingeleaf.index = 0
    assert bpy.ops.hingeleaf.duplicate_mechanism("EXEC_DEFAULT", True) == {"FINISHED"}
    names = re.findall(r'^id = "(.*)"', text_of(bpy), re.MULTILINE)
    assert len(set(names)) == 2
    assert max(map(len, names)) == 200


def test_a_name_that_is_too_long_is_refused_where_it_is_typed(bpy, tmp_path):
    root = opened(bpy, tmp_path, ["hill"])
    root.hingeleaf.index = 0
    before = text_of(bpy)
    with pytest.raises(RuntimeError, match="has 201 characters; a name has at most 200"):
        bpy.ops.hingeleaf.rename_mechanism(name="a" * 201)
    assert text_of(bpy) == before


@pytest.mark.parametrize("name", ["a-book-", "hill-"])
def test_what_is_exported_is_called_as_in_the_book(bpy, tmp_path, rig, name):
    """While a file is written the book has other names, which must not be cut back to its own."""
    title, hill = ("a-book-" * 40, "hill") if name == "a-book-" else ("Hills", (name * 40)[:200])
    root = opened(bpy, tmp_path, [hill], title=title)
    shown = {item.name for item in (root, *rig.panels(root).values())}
    assert max(map(len, shown)) >= 63
    bpy.ops.preferences.addon_enable(module="io_scene_gltf2")
    file = tmp_path / "book.glb"
    assert bpy.ops.hingeleaf.export_gltf("EXEC_DEFAULT", filepath=str(file), start=1, end=2) == {"FINISHED"}
    data = file.read_bytes()
    nodes = json.loads(data[20 : 20 + int.from_bytes(data[12:16], "little")])["nodes"]
    assert shown <= {node["name"] for node in nodes}
    assert {item.name for item in (root, *rig.panels(root).values())} == shown
