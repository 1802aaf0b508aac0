"""Opening a description: what stands afterwards, undo, several books, bad input."""

import pytest

GOOD = """
format = 1
title = "One hill"
[page]
size = "A6"
art_front = "missing.png"
[stock.card]
grammage = 250
[[mechanism]]
kind = "v-fold"
id = "hill"
fold = "spine"
at = 50
angle = 45
height = 40
"""


def snapshot(bpy):
    """Names of everything in the file that a book brings."""
    kinds = ("objects", "meshes", "materials", "images", "collections", "cameras", "lights", "worlds", "texts")
    return {kind: sorted(block.name for block in getattr(bpy.data, kind)) for kind in kinds}


def open_file(bpy, path, **options):
    return bpy.ops.hingeleaf.open_description("EXEC_DEFAULT", True, filepath=str(path), **options)


@pytest.fixture
def description(tmp_path):
    file = tmp_path / "hill.toml"
    file.write_text(GOOD, encoding="utf-8")
    return file


def test_every_scene_opens(open_scene, scene_file, spread_of, rig):
    root = open_scene(scene_file)
    spread = spread_of(scene_file)
    panels = rig.panels(root)
    assert set(panels) == set(spread.panels)
    low, high = (float(value) for value in __import__("numpy").degrees(spread.reachable()))
    limits = root.id_properties_ui("opening").as_dict()
    assert limits["min"] == pytest.approx(low, abs=1e-9)
    assert limits["max"] == pytest.approx(high, abs=1e-9)
    assert limits["description"]
    for name, item in panels.items():
        parent = spread.panels[name].parent
        assert item.parent == (root if parent is None else panels[parent])
        curves = item.animation_data.drivers if item.animation_data else []
        axis = spread.panels[name].axis
        channel = "location" if axis is not None and axis.slides else "rotation_euler"
        moving = [curve for curve in curves if curve.data_path != 'modifiers["Card on Card"].strength']
        assert [(curve.data_path, curve.array_index) for curve in moving] == [(channel, 0)] * (axis is not None)
        # What a hand moves follows that hand's property and nothing else, all other panels the opening.
        hands = [hand.id for hand in spread.hands if spread.panels[name].variable in spread.moved_by(hand.variable)]
        moved_by = [f'["hand_{hand}"]' for hand in hands] or ['["opening"]']
        for curve in curves:
            assert curve.driver.type == "AVERAGE"
            # A tab on a flap is drawn as the flap is.
            allowed = [moved_by] if curve in moving else [[f'["hand_{hand.id}"]'] for hand in spread.hands]
            assert [v.targets[0].data_path for v in curve.driver.variables] in allowed
            assert curve.driver.variables[0].targets[0].id == root


def test_book_lies_in_a_collection_of_its_title(bpy, open_scene):
    root = open_scene("scenes/v-fold.toml")
    collection = root.users_collection[0]
    assert collection.name == root.name == "V-fold"
    assert [inner.name for inner in collection.children] == ["Studio"]
    assert bpy.context.scene.camera.name in collection.children[0].objects
    assert all(item.name in collection.all_objects for item in root.children_recursive)


def test_panel_has_card_thickness_and_three_materials(open_scene, spread_of, rig):
    root = open_scene("scenes/v-fold.toml")
    spread = spread_of("scenes/v-fold.toml")
    for name, item in rig.panels(root).items():
        caliper = spread.piece(spread.panels[name].piece).stock.caliper_mm
        heights = {round(1e6 * vertex.co.z) for vertex in item.data.vertices}
        assert heights == {0, round(-1e3 * caliper)}
        assert len(item.material_slots) == 3
        assert {face.material_index for face in item.data.polygons} == {0, 1, 2}
        # Along a crease the side of the slab belongs to one of its faces: nothing is cut there.
        signs = {(face.material_index, round(face.normal.z)) for face in item.data.polygons}
        assert signs - {(0, 0), (1, 0)} == {(0, 1), (1, -1), (2, 0)}


def test_panels_of_a_piece_share_their_materials(open_scene, rig):
    panels = rig.panels(open_scene("scenes/v-fold.toml"))
    by_piece = {}
    for item in panels.values():
        names = tuple(slot.material.name for slot in item.material_slots)
        by_piece.setdefault(item["hingeleaf_piece"], set()).add(names)
    assert all(len(materials) == 1 for materials in by_piece.values())
    assert len({next(iter(materials)) for materials in by_piece.values()}) == len(by_piece)


def test_undo_removes_the_book_wholly_and_redo_brings_it_back(bpy, description):
    from PIL import Image

    Image.new("RGB", (20, 20)).save(description.with_name("missing.png"))
    bpy.ops.ed.undo_push(message="base")
    before = snapshot(bpy)
    assert open_file(bpy, description) == {"FINISHED"}
    after = snapshot(bpy)
    assert all(after[kind] != before[kind] for kind in before if kind != "texts")
    bpy.ops.ed.undo()
    assert snapshot(bpy) == before
    assert bpy.context.scene.camera is None
    bpy.ops.ed.redo()
    assert snapshot(bpy) == after
    assert "One hill" in bpy.data.objects


def test_missing_artwork_leaves_plain_card_and_warns(bpy, description, capfd):
    assert open_file(bpy, description) == {"FINISHED"}
    assert "missing.png: the artwork is not there; the card stays plain" in capfd.readouterr().out
    assert not bpy.data.images


def test_artwork_that_is_no_picture_leaves_plain_card_and_warns(bpy, description, capfd):
    description.with_name("missing.png").write_text("no picture at all")
    assert open_file(bpy, description) == {"FINISHED"}
    assert "the card stays plain" in capfd.readouterr().out
    assert not bpy.data.images


def test_several_books_do_not_clash(bpy, description, rig):
    assert open_file(bpy, description) == {"FINISHED"}
    first = bpy.context.view_layer.objects.active
    assert open_file(bpy, description, alone=False) == {"FINISHED"}
    second = bpy.context.view_layer.objects.active
    assert first != second
    assert first.users_collection != second.users_collection
    rig.set_opening(first, 90)
    rig.set_opening(second, 30)
    left, other = rig.panels(first)["page.left"], rig.panels(second)["page.left"]
    assert left.rotation_euler.x != pytest.approx(other.rotation_euler.x)
    assert {item.name for item in first.children_recursive}.isdisjoint(item.name for item in second.children_recursive)


def test_other_collections_are_hidden_and_come_back(bpy, description):
    other = bpy.data.collections.new("Mine")
    bpy.context.scene.collection.children.link(other)
    open_file(bpy, description)
    layers = bpy.context.view_layer.layer_collection.children
    assert layers["Mine"].exclude
    assert not layers["One hill"].exclude
    open_file(bpy, description)
    assert bpy.ops.hingeleaf.show_book(name="One hill") == {"FINISHED"}
    assert not layers["One hill"].exclude
    assert layers["One hill.001"].exclude
    assert bpy.context.scene.camera.parent.name == "One hill"


def test_bad_description_gives_one_sentence_and_changes_nothing(bpy, description):
    description.write_text(GOOD.replace('size = "A6"', 'size = "A99"').replace("height = 40", "height = -40"))
    before = snapshot(bpy)
    with pytest.raises(RuntimeError) as caught:
        open_file(bpy, description)
    message = str(caught.value).strip()
    assert message.startswith("Error: hill.toml: line 5: page, size:")
    assert "(and 1 more problem, listed in the sidebar)" in message
    assert "\n" not in message
    assert snapshot(bpy) == before
    moment = bpy.context.window_manager.hingeleaf
    assert [problem.message.split(":")[0] for problem in moment.problems] == ["line 5", "line 15"]
    description.write_text(GOOD)
    open_file(bpy, description)
    assert not moment.problems


@pytest.mark.parametrize("content", [b"\xff\xfe\x00", b"", b"[page", None])
def test_unreadable_description_changes_nothing(bpy, tmp_path, content):
    file = tmp_path / "broken.toml"
    if content is not None:
        file.write_bytes(content)
    before = snapshot(bpy)
    with pytest.raises(RuntimeError, match=r"broken\.toml"):
        open_file(bpy, file)
    assert snapshot(bpy) == before


def test_reload_shows_the_changed_description_at_the_same_opening(bpy, description, rig):
    open_file(bpy, description)
    root = bpy.context.view_layer.objects.active
    rig.set_opening(root, 70)
    before = snapshot(bpy)
    description.write_text(GOOD.replace('id = "hill"', 'id = "peak"'))
    assert bpy.ops.hingeleaf.reload_description("EXEC_DEFAULT", True) == {"FINISHED"}
    root = bpy.context.view_layer.objects.active
    assert root["opening"] == pytest.approx(70)
    assert "peak.left" in rig.panels(root)
    after = {kind: [name.replace("peak", "hill") for name in names] for kind, names in snapshot(bpy).items()}
    before["worlds"] = after["worlds"]
    assert {kind: sorted(names) for kind, names in after.items()} == before


def test_reload_of_a_bad_description_keeps_the_book(bpy, description):
    open_file(bpy, description)
    before = snapshot(bpy)
    description.write_text(GOOD.replace("angle = 45", "angle = 200"))
    with pytest.raises(RuntimeError, match=r"hill\.toml"):
        bpy.ops.hingeleaf.reload_description()
    assert snapshot(bpy) == before
