"""Overlays: symbols stand where the findings are, sizes where they are measured; and drawing never fails."""

from contextlib import contextmanager
from importlib import import_module

import numpy as np
import pytest

from tests.geometry.scene_texts import TOWER, head, tent

PACKAGE = "bl_ext.user_default.hingeleaf"
TALL = head("Too tall", '"A6"') + TOWER + tent("roof", body="at = 20; length = 40; base = 25; height = 30")


def module(name):
    return import_module(f"{PACKAGE}.{name}")


@pytest.fixture
def tall(bpy, tmp_path, monkeypatch):
    # Remedies are tried elsewhere; here they would only take their time.
    monkeypatch.setattr(module("checking"), "each_with_remedy", lambda description, spread, findings: iter(findings))
    file = tmp_path / "tall.toml"
    file.write_text(TALL)
    bpy.ops.hingeleaf.open_description(filepath=str(file))
    return bpy.context.view_layer.objects.active


def findings_of(text):
    from geometry import assemble, parse_description
    from geometry.checks import run_checks

    return run_checks(assemble(parse_description(text)))


@contextmanager
def viewport(bpy):
    """The first 3D viewport as the context."""
    window = bpy.context.window_manager.windows[0]
    area = next(area for area in window.screen.areas if area.type == "VIEW_3D")
    region = next(region for region in area.regions if region.type == "WINDOW")
    with bpy.context.temp_override(window=window, area=area, region=region):
        yield bpy.context


def check_of(bpy):
    return bpy.context.scene.hingeleaf


def rewrite(bpy, root, old, new):
    text = root["hingeleaf_description"]
    assert old in text
    module("designing").change_book(bpy.context, root, module("geometry").parse_description(text.replace(old, new)))


def test_symbols_stand_at_the_places_of_the_findings(bpy, tall, rig):
    from mathutils import Vector

    from geometry import assemble, parse_description
    from geometry.transforms import apply

    bpy.ops.hingeleaf.check_book()
    spread = assemble(parse_description(TALL))
    for opening in (0.0, 77.0, 180.0):
        rig.set_opening(tall, opening)
        poses = spread.pose([np.radians(opening)]).matrices
        for entry, finding in zip(check_of(bpy).findings, findings_of(TALL), strict=True):
            assert entry.has_place == (finding.place_mm is not None)
            middle = spread.panels[entry.anchor].outline.representative_point()
            place = finding.place_mm or (middle.x, middle.y)
            assert (entry.place_x, entry.place_y) == pytest.approx(place, abs=1e-4)
            expected = apply(poses[entry.anchor][0], np.array([place]))[0]
            spot = 1000 * np.array(rig.panels(tall)[entry.anchor].matrix_world @ Vector(entry.spot))
            assert spot == pytest.approx(expected, abs=0.02)


def test_there_are_findings_with_a_place_and_without(bpy, tall):
    """Or the test above would test nothing."""
    bpy.ops.hingeleaf.check_book()
    assert {entry.has_place for entry in check_of(bpy).findings} >= {True}
    assert {entry.severity for entry in check_of(bpy).findings} >= {"error"}


def test_none_lies_over_another(bpy, tall):
    bpy.ops.hingeleaf.check_book()
    for _ in range(4):
        entry, first = check_of(bpy).findings.add(), check_of(bpy).findings[0]
        entry.severity, entry.anchor, entry.spot = "note", first.anchor, first.spot
    with viewport(bpy) as context:
        symbols = module("found").symbols_in(context, 26.0)
    assert len(symbols) == len(check_of(bpy).findings)
    places = np.array([symbol.place for symbol in symbols])
    away = np.abs(places[:, None] - places[None]).max(axis=2) + 1e3 * np.eye(len(places))
    assert away.min() > 25.9


def test_hidden_when_another_book_is_meant_or_they_are_switched_off(bpy, tall, open_scene):
    bpy.ops.hingeleaf.check_book()
    shown = module("found").shown_check
    assert shown(bpy.context) is not None
    check_of(bpy).show_findings = False
    assert shown(bpy.context) is None
    check_of(bpy).show_findings = True
    open_scene("scenes/v-fold.toml")
    assert shown(bpy.context) is None


def test_a_changed_book_is_said_to_be_checked_again(bpy, tall):
    bpy.ops.hingeleaf.check_book()
    is_stale = module("found").is_stale
    assert not is_stale(check_of(bpy))
    rewrite(bpy, tall, "height = 90", "height = 60")
    assert is_stale(check_of(bpy))
    rewrite(bpy, tall, "height = 60", "height = 90")
    assert not is_stale(check_of(bpy))


def test_a_finding_whose_panel_is_gone_has_no_symbol(bpy, tall):
    bpy.ops.hingeleaf.check_book()
    start = TALL.index("[[mechanism]]")
    end = TALL.index("[[mechanism]]", start + 1)
    rewrite(bpy, tall, TALL[start:end], "")
    gone = {i for i, entry in enumerate(check_of(bpy).findings) if entry.anchor.startswith("tower")}
    assert gone
    with viewport(bpy) as context:
        assert not gone & {symbol.index for symbol in module("found").symbols_in(context, 26.0)}


def test_the_border_of_a_panel_is_its_outline_with_its_windows(bpy, open_scene, spread_of, rig):
    scene = "scenes/tab-through-a-slot.toml"
    root, spread = open_scene(scene), spread_of(scene)
    assert any(panel.outline.interiors for panel in spread.panels.values())
    for name, item in rig.panels(root).items():
        pairs = 1000 * module("overlays")._border(item.data).reshape(-1, 2, 3)
        length = np.linalg.norm(pairs[:, 1] - pairs[:, 0], axis=1).sum()
        assert length == pytest.approx(spread.panels[name].outline.length, rel=1e-4), name


def test_sizes_are_worked_out_once_for_each_description(bpy, tall, monkeypatch):
    overlays = module("overlays")
    counted = []
    real = overlays.drawn_sizes
    monkeypatch.setattr(overlays, "drawn_sizes", lambda *words: counted.append(words[1]) or real(*words))
    for _ in range(3):
        first = overlays._sizes(tall, "tower")
    assert {text for lines in first for _, text in lines.texts} >= {"at 100", "angle 60°", "height 90"}
    rewrite(bpy, tall, "height = 90", "height = 60")
    assert any(text == "height 60" for lines in overlays._sizes(tall, "tower") for _, text in lines.texts)
    overlays._sizes(tall, "roof")
    assert counted == ["tower", "tower", "roof"]


def test_dimensions_are_switched_on_and_off_and_undone(bpy, tall):
    bpy.ops.ed.undo_push(message="base")
    bpy.ops.hingeleaf.show_dimensions("EXEC_DEFAULT", True)
    assert check_of(bpy).show_dimensions
    bpy.ops.ed.undo()
    assert not check_of(bpy).show_dimensions
    bpy.ops.ed.redo()
    bpy.ops.hingeleaf.show_dimensions()
    assert not check_of(bpy).show_dimensions


def drawn(bpy, context, draw):
    """How many pixels a draw handler colors, by a drawing of the world and of the region."""
    import gpu
    from mathutils import Matrix

    width, height = context.region.width, context.region.height
    screen = gpu.types.GPUOffScreen(width, height)
    with screen.bind():
        buffer = gpu.state.active_framebuffer_get()
        buffer.clear(color=(0.0, 0.0, 0.0, 0.0))
        with gpu.matrix.push_pop(), gpu.matrix.push_pop_projection():
            if draw.endswith("space"):
                gpu.matrix.load_matrix(context.region_data.view_matrix)
                gpu.matrix.load_projection_matrix(context.region_data.window_matrix)
            else:
                gpu.matrix.load_identity()
                rows = [[2 / width, 0, 0, -1], [0, 2 / height, 0, -1], [0, 0, 1, 0], [0, 0, 0, 1]]
                gpu.matrix.load_projection_matrix(Matrix(rows))
            getattr(module("overlays"), draw)()
        pixels = buffer.read_color(0, 0, width, height, 4, 0, "FLOAT")
    screen.free()
    return int((np.array(pixels.to_list())[..., :3].max(axis=2) > 0.05).sum())


def test_what_is_drawn_is_seen_and_nothing_without_overlays(bpy, tall, rig):
    if bpy.app.version < (5, 2, 0):
        pytest.skip("Blender as a module draws from 5.2 on")
    import gpu

    gpu.init()
    bpy.ops.hingeleaf.check_book()
    bpy.ops.hingeleaf.show_finding(index=0)
    bpy.ops.hingeleaf.show_dimensions()
    rig.set_opening(tall, 120.0)
    bpy.context.view_layer.objects.active = rig.panels(tall)["tower.right"]
    with viewport(bpy) as context:
        view = context.region_data
        view.view_perspective, view.view_location, view.view_distance = "PERSP", (0.0, 0.07, 0.03), 0.4
        view.update()
        for draw in ("_draw_in_space", "_draw_on_screen"):
            context.space_data.overlay.show_overlays = True
            # Without a window, text is tiny: Blender does not know the screen's resolution.
            assert drawn(bpy, context, draw) > 30, draw
            context.space_data.overlay.show_overlays = False
            assert drawn(bpy, context, draw) == 0, draw


def test_handlers_say_nothing_when_a_book_is_half_there(bpy, tall, rig):
    """As in the middle of an undo: a property is missing, a text cannot be read."""
    overlays = module("overlays")
    bpy.ops.hingeleaf.show_dimensions()
    bpy.context.view_layer.objects.active = rig.panels(tall)["tower.right"]
    tall["hingeleaf_description"] = "no toml ["
    with viewport(bpy):
        overlays._quietly(overlays._draw_in_space)()
        overlays._quietly(overlays._draw_on_screen)()


def test_handlers_go_with_the_extension(bpy, installed):
    overlays = module("overlays")
    assert len(overlays._HANDLERS) == 2
    overlays.unregister_handlers()
    assert not overlays._HANDLERS
    overlays.register_handlers()
    assert len(overlays._HANDLERS) == 2
