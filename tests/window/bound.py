"""Two spreads bound into a book: turned, covered, filmed with a break, handed on, saved."""

import contextlib
import functools
from math import degrees

import bpy

from tests.window import book
from tests.window.eyes import (
    browse,
    find,
    find_along,
    find_field,
    middle,
    open_panel,
    open_sidebar,
    sidebar,
    type_over,
    viewport,
)
from tests.window.files import FILES, frame_count, gltf
from tests.window.hands import click, key, move, shot, slide
from tests.window.pace import beat, expect, say, until
from tests.window.spread import TITLE, add, make_book, open_file, set_draft

__all__ = ["bind_and_film"]

SECOND = "Vale"
#: What a board is typed to be, mm; and how long a leaf takes in the film, seconds.
BOARD_MM, LEAF_S = 3.0, 0.1
#: Width and height of the film, pixels; large enough for it to last until somebody has pressed Esc.
SIZE = 640, 360
#: Pictures after which the film is stopped.
ENOUGH = 3
#: How far something may stand off where it is said to be: twice what the baked keyframes promise.
NEAR_M, NEAR_DEG = 2e-5, 0.02


def bind_and_film():
    """The whole way of a bound book, from one spread on."""
    yield from make_book(SECOND)
    yield from add("Platform", "platform", "spine", 0.5)
    yield from bind()
    yield from cover()
    yield from turn_through()
    yield from film_with_break()
    yield from keyframe_turn()
    yield from export_motion()
    yield from bake()
    yield from save_and_reopen()


def bind():
    """Bind what was made so far."""
    place = yield from find("hingeleaf.bind_spreads", sidebar, across=0.75)
    yield from click(place)
    yield from until("the book is bound", lambda: book.bound() is not None)
    yield from beat(20)
    titles = [each.name for each in book.spreads()]
    expect(titles == [TITLE, SECOND], f"bound were {TITLE} and {SECOND}, and the book has {titles}")
    shot("30-bound")
    say(f"Bind Spreads: {titles}")


def cover():
    """Type a thickness of the boards."""
    before = book.thickness()
    place = yield from find("hingeleaf.change_cover", sidebar, across=0.75)
    yield from click(place)
    yield from beat(20)
    x, y = place
    shot("31-cover")
    # The dialog opens with its first field under the pointer, which must not leave it.
    field = yield from find_field("2.0", [(x, y + down) for down in range(0, 120, 8)])
    yield from type_over(field, str(BOARD_MM))
    yield from key("Return")
    yield from until("the boards are thicker", lambda: book.bound_design().get("cover", {}).get("board") == BOARD_MM)
    yield from beat()
    grown = book.thickness() - before
    expect(abs(grown - 2 * (BOARD_MM - 2)) < 1e-3, f"both boards grew by 1 mm, and the book by {grown:.3f} mm")
    shot("32-covered")
    say(f"Cover: boards of {BOARD_MM:g} mm, the book {book.thickness():.2f} mm")


def turn_through():
    """Turn the book by typing and by its slider; the pages of each spread open and lie where the leaves bring them."""
    flat = {}
    for number in (1, 2):
        yield from turn_to(number)
        flat[number] = between_pages(number)
        shot(f"33-turned-{number}")
    for turned, sides in ((0, "RRRR"), (0.5, None), (1, "LRRR"), (1.5, None), (2, "LLLR"), (3, "LLLL")):
        yield from turn_to(turned)
        if turned % 1:
            shot(f"34-turned-{turned:g}".replace(".", "-"))
        for number in flat:
            # A leaf k stands at 180 degrees times what the turn has over k, and a spread is open between two of them.
            wanted = 180 * (_part(turned - number + 1) - _part(turned - number))
            there = 180 - _apart(between_pages(number), flat[number])
            expect(abs(there - wanted) < NEAR_DEG, f"turn {turned}: spread {number} is {there:.3f} open, not {wanted}")
        expect(sides in (None, lying()), f"turn {turned}: the pages lie {lying()}, not {sides}")
    yield from slide_turn()
    say("Turn: typed 0 to 3, and pulled; all pages lie where the leaves bring them")


def _part(turned):
    return min(1.0, max(0.0, turned))


def _apart(one, two):
    angle = degrees(one.rotation_difference(two).angle)
    return min(angle, 360 - angle)


def turn_to(turned):
    """Type how far the book is turned."""
    place = yield from find('["turn"]', sidebar, across=0.4)
    yield from type_over(place, f"{turned:g}")
    yield from until(f"the book is turned to {turned}", lambda: abs(book.bound()["turn"] - turned) < 1e-6)
    yield from beat()


def slide_turn():
    """Pull the slider of the turn down and up."""
    place = yield from find('["turn"]', sidebar, across=0.4)
    yield from slide(place, -400)
    yield from until("the book is closed", lambda: book.bound()["turn"] < 1e-6)
    expect(lying() == "RRRR", f"the book is turned to its front, and its pages lie {lying()}")
    yield from slide(place, 110)
    yield from until("the book is partly open", lambda: 0.2 < book.bound()["turn"] < 3)
    yield from beat()


def between_pages(number):
    """How the right page of a spread is turned against the left one."""
    found = book.panels(book.spreads()[number - 1])
    left, right = (found[name].matrix_world.to_quaternion() for name in ("page.left", "page.right"))
    return left.rotation_difference(right)


def lying():
    """For each page, in the order of reading, whether it lies at the left or at the right of the spine."""
    found = [book.panels(each)[name] for each in book.spreads() for name in ("page.left", "page.right")]
    return "".join("L" if book.middle_of(page).x < 0 else "R" for page in found)


def film_with_break():
    """Film the whole book in draft, stop it with Esc, and let it go on to the end."""
    film = FILES / "book.mp4"
    frames = film.with_name(f"{film.name}.frames")
    pictures = functools.partial(written, frames)
    place = yield from find("hingeleaf.make_film", sidebar)
    yield from click(place)
    shot("35-film")
    yield from set_draft(*SIZE)
    shot("36-film")
    yield from browse(FILES, film.name)
    yield from until("some pictures are made", lambda: len(pictures()) >= ENOUGH, seconds=300)
    move(middle(viewport()))
    yield from key("Escape")
    yield from until("the film is stopped", lambda: book.moment().film_share < 0)
    kept = pictures()
    count = book.film_frames(LEAF_S, SIZE)
    expect(not film.exists() and ENOUGH <= len(kept) < count, f"stopped, {len(kept)} of {count} pictures are there")
    say(f"Film stopped after {len(kept)} of {count} pictures")
    yield from resume_film(film, pictures, kept)
    expect(frame_count(film) == count, f"the film plays {frame_count(film)} pictures, not {count}")
    expect(film.read_bytes()[4:8] == b"ftyp", "the film is no MP4 file")
    expect(not frames.exists(), f"{frames.name} is left of a film that is finished")
    say(f"Film of the book: {count} frames, {film.stat().st_size} bytes")


def written(frames):
    """The whole pictures in a folder, and when each was written; what goes while it is looked at is not there."""
    found = {}
    for file in frames.glob("[0-9]*.png"):
        with contextlib.suppress(FileNotFoundError):
            found[file.name] = file.stat().st_mtime_ns
    return found


def resume_film(film, pictures, kept):
    """Make the film again, with the settings that its dialog remembers; all pictures are kept."""
    place = yield from find("hingeleaf.make_film", sidebar)
    yield from click(place)
    yield from browse(FILES, film.name)
    grown = False

    def finished():
        nonlocal grown
        now = pictures()
        anew = [name for name in kept if name in now and now[name] != kept[name]]
        expect(not anew, f"the film went on, and rendered {anew} again")
        grown = grown or len(now) > len(kept)
        return film.is_file() and book.moment().film_share < 0

    yield from until("the film goes on", lambda: finished() or grown)
    shot("37-filming")
    yield from until("the film is written", finished, seconds=300)
    expect(grown, "the film was never seen to go on from the pictures that were there")


def keyframe_turn():
    """A keyframe of the turn at the first frame and at the last, with the pointer on its slider."""
    for jump, turned in (("shift+Left", 0.0), ("shift+Right", 3.0)):
        yield from to_frame(jump)
        yield from turn_to(turned)
        place = yield from find('["turn"]', sidebar, across=0.4)
        move(place)
        yield from beat()
        yield from key("i")
        yield from beat()
    at = [point.co[:] for curve in curves(book.bound()) for point in curve.keyframe_points]
    last = bpy.context.scene.frame_end
    expect(at == [(1.0, 0.0), (float(last), 3.0)], f"keyframes were set at both ends, and there are {at}")
    say(f"Keyframes of the turn: {at}")


def curves(item):
    """The curves of a turn's keyframes."""
    action = item.animation_data.action if item.animation_data else None
    if action is None:
        return []
    bags = [bag for layer in action.layers for strip in layer.strips for bag in strip.channelbags]
    return [curve for bag in bags for curve in bag.fcurves if curve.data_path == '["turn"]']


def to_frame(jump, *, steps=0):
    """Jump to the first or the last frame by keyboard, and go some frames on from there."""
    move(middle(viewport()))
    yield from beat()
    yield from key(jump)
    wanted = bpy.context.scene.frame_start if "Left" in jump else bpy.context.scene.frame_end
    yield from until(f"frame {wanted} is shown", lambda: bpy.context.scene.frame_current == wanted)
    if steps:
        yield from key("Right", times=steps)
        yield from until(f"{steps} more", lambda: bpy.context.scene.frame_current == wanted + steps)
    yield from beat()


def export_motion():
    """Export glTF: its animation is as long as what is played, and every panel is in it."""
    file = FILES / "book.glb"
    yield from open_panel("hingeleaf.bake_motion")
    place = yield from find("hingeleaf.export_gltf", sidebar, across=0.3)
    shot("38-export")
    yield from click(place)
    yield from browse(FILES, file.name)
    yield from until("the glTF is written", file.is_file, seconds=180)
    yield from beat(20)
    data = gltf(file)
    names = {node.get("name") for node in data["nodes"]}
    panels = {item.name for each in book.spreads() for item in book.panels(each).values()}
    expect(panels <= names, f"panels are not in the glTF: {panels - names}; there are {sorted(map(str, names))}")
    samplers = [sampler for each in data["animations"] for sampler in each["samplers"]]
    long = max(data["accessors"][sampler["input"]]["max"][0] for sampler in samplers)
    first = min(data["accessors"][sampler["input"]]["min"][0] for sampler in samplers)
    scene = bpy.context.scene
    wanted = (scene.frame_end - scene.frame_start) / scene.render.fps
    expect(abs(long - first - wanted) < 1e-3, f"the glTF plays {long - first:.3f} s, not {wanted:.3f} s")
    expect(data.get("images"), "there is no artwork in the glTF")
    say(f"Export glTF: {len(names)} nodes, {wanted:.2f} s, {len(data['images'])} pictures")


def bake():
    """Bake to keyframes: the copy is where the book was, at the ends and on the way."""
    shown = bpy.context.scene
    before = {}
    for jump, steps in MOMENTS:
        yield from to_frame(jump, steps=steps)
        before[shown.frame_current] = places()
    expect(len({str(each) for each in before.values()}) == len(MOMENTS), "the book stands still between its keyframes")
    place = yield from find("hingeleaf.bake_motion", sidebar, across=0.3)
    yield from click(place)
    yield from beat(20)
    shot("39-bake")
    yield from key("Return")
    yield from until("the copy is made", lambda: baked(next(iter(before[1]))) is not None, seconds=180)
    yield from beat(20)
    for jump, steps in MOMENTS:
        yield from to_frame(jump, steps=steps)
        off = {
            name: max((one - two).length for one, two in zip(book.corners_of(baked(name)), corners, strict=True))
            for name, corners in before[shown.frame_current].items()
        }
        worst = max(off, key=off.get)
        expect(off[worst] < NEAR_M, f"frame {shown.frame_current}: the copy of {worst} is off by {off[worst]:.2e} m")
    shot("40-baked")
    expect(not any(baked(name).animation_data.drivers for name in before[1] if baked(name).animation_data),
           "the baked copy has drivers")  # fmt: skip
    say(f"Bake to Keyframes: {len(before[1])} panels, where the book was at frames {sorted(before)}")


#: Where the copy is compared: how a frame is reached by keyboard.
MOMENTS = (("shift+Left", 0), ("shift+Left", 40), ("shift+Right", 0))


def places():
    """The corners of every panel of the bound book, by the object's name."""
    found = [item for each in book.spreads() for item in book.panels(each).values()]
    return {item.name: book.corners_of(item) for item in found}


def baked(name):
    """The baked copy of an object; None where there is none."""
    return bpy.data.objects.get(f"{name} Baked")


def save_and_reopen():
    """Take the copy away, save under another name, open again: the book is as it was, and turns."""
    place = yield from find("hingeleaf.bake_motion", sidebar, across=0.3)
    place = yield from find_along("hingeleaf.remove_bake", place, sidebar)
    yield from click(place)
    yield from until("the copy is gone", lambda: all(baked(name) is None for name in places()))
    kept, texts = book.bound_design(), [str(each["hingeleaf_description"]) for each in book.spreads()]
    file = FILES / "book.blend"
    move(middle(viewport()))
    yield from beat()
    yield from key("ctrl+shift+s")
    yield from browse(FILES, file.name)
    yield from until("the file is saved", file.is_file)
    yield from open_file(file)
    yield from open_sidebar()
    shot("41-reopened")
    expect(book.bound_design() == kept, f"saved was the book\n{kept}\nand opened was\n{book.bound_design()}")
    opened = [str(each["hingeleaf_description"]) for each in book.spreads()]
    expect(opened == texts, "a spread was opened otherwise than it was saved")
    yield from to_frame("shift+Left")
    expect(lying() == "RRRR", f"opened again, the book lies {lying()} at the first frame")
    yield from to_frame("shift+Right")
    expect(lying() == "LLLL", f"opened again, the book lies {lying()} at the last frame")
    yield from turn_to(1)
    expect(lying() == "LRRR", f"opened again and turned to 1, the book lies {lying()}")
    shot("42-turned")
    say("Save and reopen the bound book")
