"""Random sequences of actions with undo and redo end as if only the surviving actions had ever been done.

What stands then is held against the replay, against a book opened afresh from its text, and against the saved file.

HINGELEAF_SEQUENCES sets how many are tried; a few keep the suite quick, five hundred are what a release is held to.
"""

import os
import random

import pytest

from tests.addon.designs import assert_same, book_of, push, standing, text_of

SEQUENCES = int(os.environ.get("HINGELEAF_SEQUENCES", "20"))
ACTIONS = 7
GROUPS = 10

KINDS = (("v-fold", "spine"), ("tent", "spine"), ("slit-cut-in", "spine"), ("slit-cut-in", "v-fold.middle"))
SIZES = {
    "v_fold": (("height", 25.0, 60.0), ("at", 60.0, 150.0), ("tab_width", 8.0, 14.0)),
    "tent": (("length", 15.0, 40.0), ("at", 40.0, 160.0)),
    "slit_cut_in": (("at", 5.0, 12.0), ("length", 8.0, 20.0)),
}


def kinds_of(bpy):
    return {entry.name: entry.kind for entry in book_of(bpy).hingeleaf.entries}


def random_action(bpy, dice):
    """Something to do now, as (name, arguments); it is done again the same way when it is replayed."""
    there = kinds_of(bpy)
    if not there or dice.random() < 0.3:
        kind, fold = dice.choice(KINDS)
        return "add", {"kind": kind, "fold": fold, "at": round(dice.uniform(10, 180), 1)}
    name = dice.choice(sorted(there))
    acts = ("size", "size", "size", "drag", "mirror", "duplicate", "delete", "rename", "move", "pages", "color")
    act = dice.choice(acts)
    if act in ("size", "drag"):
        group = there[name].replace("-", "_")
        key, low, high = dice.choice(SIZES[group])
        return act, {"mechanism": name, "group": group, "key": key, "value": round(dice.uniform(low, high), 1)}
    if act == "rename":
        return act, {"mechanism": name, "name": f"part-{dice.randrange(1000)}"}
    if act == "move":
        return act, {"mechanism": name, "by": dice.choice((-1, 1))}
    if act == "color":
        color = f"#{dice.randrange(1 << 24):06x}"
        return act, {"mechanism": name, "face": dice.choice(("front", "back")), "color": color}
    if act == "pages":
        return act, {"margin": float(dice.randrange(0, 8))}
    return act, {"mechanism": name}


def do(bpy, action):
    """Do it; False where it is refused, as it then must be again. Makes one step of undo if it is not."""
    name, given = action
    ops = bpy.ops.hingeleaf
    before = text_of(bpy)
    try:
        if name == "add":
            ops.add_mechanism("EXEC_DEFAULT", True, **given)
        elif name == "size":
            root = book_of(bpy)
            root.hingeleaf.index = [entry.name for entry in root.hingeleaf.entries].index(given["mechanism"])
            setattr(getattr(root.hingeleaf, given["group"]), given["key"], given["value"])
            if text_of(bpy) == before:
                return False
            push(bpy, "size")
        elif name == "color":
            root = book_of(bpy)
            root.hingeleaf.index = [entry.name for entry in root.hingeleaf.entries].index(given["mechanism"])
            red, green, blue = bytes.fromhex(given["color"][1:])
            setattr(root.hingeleaf, f"color_{given['face']}", (red / 255, green / 255, blue / 255))
            if text_of(bpy) == before:
                return False
            push(bpy, "color")
        elif name == "drag":
            values = {"mechanism": given["mechanism"], "handle": given["key"], "value": given["value"]}
            ops.drag_size("EXEC_DEFAULT", True, **values)
        elif name == "pages":
            ops.change_pages("EXEC_DEFAULT", True, title="Yard", size="A5", grammage=250, **given)
        else:
            getattr(ops, f"{name}_mechanism")("EXEC_DEFAULT", True, **given)
    except RuntimeError:
        assert text_of(bpy) == before, "what is refused changes nothing"
        return False
    return True


def new_book(bpy):
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    bpy.ops.hingeleaf.new_book("EXEC_DEFAULT", True, title="Yard", studio=False)
    push(bpy, "new")


def play(bpy, dice):
    """A random sequence; returns the actions that survive."""
    done, undone = [], []
    for _ in range(ACTIONS):
        chance = dice.random()
        if chance < 0.2 and done:
            assert bpy.ops.ed.undo() == {"FINISHED"}
            undone.append(done.pop())
        elif chance < 0.35 and undone:
            assert bpy.ops.ed.redo() == {"FINISHED"}
            done.append(undone.pop())
        else:
            action = random_action(bpy, dice)
            if do(bpy, action):
                done.append(action)
                undone.clear()
    return done


@pytest.mark.parametrize("group", range(GROUPS))
def test_undo_and_redo_leave_what_survives(bpy, group, tmp_path):
    for seed in range(group, SEQUENCES, GROUPS):
        dice = random.Random(seed)
        new_book(bpy)
        survivors = play(bpy, dice)
        text, places = text_of(bpy), standing(bpy)
        file = tmp_path / f"{seed}.blend"
        bpy.ops.wm.save_as_mainfile(filepath=str(file), check_existing=False)
        new_book(bpy)
        for action in survivors:
            assert do(bpy, action), (seed, action)
        assert text_of(bpy) == text, (seed, survivors)
        assert_same(standing(bpy), places)
        described = tmp_path / "book.toml"
        described.write_text(text)
        bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
        bpy.ops.hingeleaf.open_description(filepath=str(described), studio=False)
        assert_same(standing(bpy), places)
        bpy.ops.wm.open_mainfile(filepath=str(file))
        assert text_of(bpy) == text, seed
        assert_same(standing(bpy), places)
        assert [entry.name for entry in book_of(bpy).hingeleaf.entries] == list(kinds_of(bpy))
