"""From File > New to a spread with artwork, a film and nets, by mouse and keyboard alone."""

import bpy

from tests.window import book
from tests.window.eyes import browse, choose, fill, find, find_field, middle, open_sidebar, seen, sidebar, viewport
from tests.window.files import FILES, checks
from tests.window.hands import click, drag, key, move, shot, slide, typed
from tests.window.pace import beat, expect, say, until

__all__ = ["TITLE", "add", "build_spread", "make_book", "new_file", "open_file", "set_draft"]

TITLE = "Hill"


def build_spread():
    """The whole way of one spread."""
    yield from new_book()
    yield from add("V-Fold", "v-fold", "spine", 0.7)
    yield from add("Slit Cut-In", "slit-cut-in", "v-fold.middle", 0.4)
    yield from add("Platform", "platform", "spine", 0.25)
    shot("10-built")
    yield from drag_handle("v-fold", "height")
    before = book.text()
    yield from type_size("v-fold", "v_fold", "height", 48)
    yield from undo_and_redo(before, book.text(), "typing height")
    yield from close_and_open()
    found = yield from check_book()
    expect(not found, f"the book stands as it was placed, and the check finds {found}")
    shot("14-checked")
    yield from assign_artwork("v-fold.right", "v-fold")
    yield from make_film()
    yield from write_nets()
    yield from go_to_finding()
    yield from save_and_reopen()


def new_file():
    """File > New, General."""
    loaded = book.files_loaded()
    move(middle(viewport()))
    yield from beat()
    yield from key("ctrl+n")
    yield from beat()
    yield from key("g")
    yield from until("the new file is open", lambda: book.files_loaded() > loaded)
    expect(not bpy.data.filepath and "Cube" in bpy.data.objects, "File > New gave no new file")
    yield from beat()


def new_book():
    """File > New, then New Book in the sidebar."""
    yield from new_file()
    yield from open_sidebar()
    yield from make_book(TITLE)
    shot("03-book")


def make_book(title):
    """New Book in the sidebar, of a file that was opened since the last one: dialogs forget what they held."""
    before = book.root()
    place = yield from find("hingeleaf.new_book", sidebar, across=0.25)
    yield from click(place)
    yield from beat()
    x, y = place
    field = yield from find_field("New Spread", [(x - 50, y + down) for down in range(-40, 120, 10)])
    shot("01-new-book")
    yield from click(field, times=2)
    yield from key("ctrl+a")
    yield from typed(title)
    yield from key("Return")
    shot("02-new-book")
    yield from key("Return")
    yield from until("there is a new book", lambda: book.root() not in (None, before))
    expect(book.design()["title"] == title, f"the new book is not named {title}:\n{book.text()}")
    yield from beat()
    say(f"New Book: {title}")


def add(label, kind, fold, part):
    """Choose a kind in the Add menu by typing, point at a fold, click."""
    before = book.kinds()
    move(middle(viewport()))
    yield from beat()
    yield from key("shift+a")
    yield from beat()
    yield from typed(label.lower())
    yield from beat()
    shot(f"04-add-{kind}")
    yield from key("Return")
    yield from beat()
    place = seen(book.fold_place(kind, fold, part))
    move((place[0] - 40, place[1] + 30))
    yield from beat()
    move(place)
    yield from beat()
    shot(f"05-point-{kind}")
    yield from click(place)
    yield from until(f"{label} stands on {fold}", lambda: len(book.kinds()) == len(before) + 1)
    expect(book.kinds() == [*before, kind], f"{label} was chosen, and there are {book.kinds()}")
    host = book.design()["mechanism"][-1]["fold"]
    expect(host == fold, f"{label} was put on {fold}, and stands on {host}")
    yield from beat()
    shot(f"06-added-{kind}")
    say(f"Add {label}")


def drag_handle(name, handle):
    """Click a panel of a mechanism, drag one of its sizes, take it back, and do it again."""
    yield from click(seen(book.panel_place(f"{name}.left")))
    yield from until(f"{name} is active", lambda: book.active() == name)
    yield from beat()
    before, opened = book.design(), book.text()
    place, way = book.handle_place(name, handle)
    start, end = seen(place), seen(place + 0.008 * way)
    yield from drag(start, end)
    yield from until(f"dragging {handle} changes the description", lambda: book.text() != opened)
    yield from beat()
    shot("11-dragged")
    pulled = book.text()
    expect(book.changed(before) == [(name, handle)], f"dragging {handle} changed {book.changed(before)}")
    yield from undo_and_redo(opened, pulled, f"dragging {handle}")


def undo_and_redo(before, after, action):
    """One Ctrl+Z takes an action back, one Ctrl+Shift+Z brings it again."""
    expect(book.text() == after, f"{action} has gone on")
    move(middle(viewport()))
    yield from beat()
    yield from key("ctrl+z")
    yield from until(f"undo takes {action} back", lambda: book.text() == before)
    yield from beat(20)
    expect(book.text() == before, f"after undoing {action} the description changed once more")
    yield from key("ctrl+shift+z")
    yield from until(f"redo brings {action} again", lambda: book.text() == after)
    yield from beat(20)
    expect(book.text() == after, f"after redoing {action} the description changed once more")
    say(f"Undo and redo after {action}")


def type_size(name, group, size, value):
    """Type a number into the sidebar."""
    before = book.design()
    place = yield from find(f"{group}.{size}", sidebar, across=0.62)
    yield from click(place, times=2)
    yield from key("ctrl+a")
    yield from typed(str(value))
    yield from key("Return")
    yield from until(f"{size} is what was typed", lambda: book.mechanism(name)[size] == value)
    expect(book.changed(before) == [(name, size)], f"typing {size} changed {book.changed(before)}")
    yield from beat(20)
    shot(f"12-typed-{size}")
    say(f"Type {size}")


def close_and_open():
    """Close the book with the slider of its opening, and open it again."""
    before = book.panel_place("v-fold.left")
    place = yield from find('["opening"]', sidebar, across=0.4)
    yield from slide(place, -400)
    yield from until("the book is closed", lambda: book.opening() < 1)
    yield from beat()
    shot("13-closed")
    expect((book.panel_place("v-fold.left") - before).length > 0.01, "the book is closed, and its v-fold stands still")
    yield from slide(place, 400)
    yield from until("the book is open", lambda: book.opening() > 179)
    yield from beat()
    expect((book.panel_place("v-fold.left") - before).length < 1e-5, "the v-fold stands elsewhere than before")
    say("Close and open")


def check_book():
    """Check the book; a step that returns what was found."""
    place = yield from find("hingeleaf.check_book", sidebar)
    yield from click(place)
    yield from until("the book is checked", book.is_checked)
    yield from beat()
    found = [each.short for each in book.check().findings]
    say(f"Check Book: {found or 'nothing found'}")
    return found


def go_to_finding():
    """Put the v-fold where it sticks out of the closed book, check, click the finding, and put the v-fold back."""
    at = book.mechanism("v-fold")["at"]
    yield from type_size("v-fold", "v_fold", "at", 200)
    found = yield from check_book()
    expect(found, "a v-fold sticks out of the closed book, and the check finds nothing")
    place = yield from find("hingeleaf.show_finding", sidebar, across=0.3)
    yield from click(place)
    yield from until("a finding is shown", lambda: book.check().active >= 0)
    yield from beat()
    shot("15-finding")
    expect(
        book.active() == "v-fold", f"the finding {found[0]} was clicked, and the active mechanism is {book.active()}"
    )
    say("Show Finding")
    yield from type_size("v-fold", "v_fold", "at", at)


def assign_artwork(panel, piece):
    """Click a panel, and put a picture on its piece."""
    file = FILES / "checks.png"
    file.write_bytes(checks(64, 64))
    before = book.design()
    yield from click(seen(book.panel_place(panel)))
    yield from until(f"{panel} is active", lambda: book.active() == panel.split(".")[0])
    place = yield from find("hingeleaf.assign_artwork", sidebar)
    yield from click(place)
    yield from browse(FILES, file.name)
    yield from until("the description names the artwork", lambda: file.name in book.text())
    yield from beat()
    shot("16-artwork")
    changed = book.changed(before)
    expect(changed, f"artwork was put on {piece}, and the description has not changed")
    pictures = [image for image in bpy.data.images if file.stem in image.name and image.packed_file is not None]
    expect(pictures, f"{file.name} is not packed into the file")
    say(f"Assign Artwork: {changed}")


def make_film():
    """A small draft film."""
    film = FILES / "film.mp4"
    place = yield from find("hingeleaf.make_film", sidebar)
    yield from click(place)
    yield from set_draft(160, 90)
    yield from browse(FILES, film.name)
    moment = book.moment
    yield from until("the film is written", lambda: film.is_file() and moment().film_share < 0, seconds=300)
    expect(film.read_bytes()[4:8] == b"ftyp", "the film is no MP4 file")
    say("Make Film")


def set_draft(width, height):
    """Set a short film of a size, flatly shaded, beside the file browser that is open."""
    yield from fill("3.5 s", "0.1", "100 ms")
    yield from fill("1280", str(width), str(width))
    yield from fill("720", str(height), str(height))
    yield from choose("CYCLES", "d", "BLENDER_WORKBENCH")


def write_nets():
    """The nets into a folder."""
    folder = FILES / "nets"
    folder.mkdir()
    place = yield from find("hingeleaf.write_nets", sidebar)
    yield from click(place)
    yield from beat(20)
    shot("17-nets")
    yield from browse(folder)
    yield from until("the nets are written", lambda: any(folder.glob("*.pdf")))
    endings = {file.suffix for file in folder.iterdir()}
    expect(endings >= {".svg", ".pdf", ".dxf"}, f"of the nets there are only {endings}")
    say(f"Write Nets: {len(list(folder.iterdir()))} files")


def save_and_reopen():
    """Save, File > New, open: the design is the same and can be changed."""
    file, kept, at = FILES / "hill.blend", book.text(), book.mechanism("v-fold")["at"]
    move(middle(viewport()))
    yield from beat()
    yield from key("ctrl+s")
    yield from browse(FILES, file.name)
    yield from until("the file is saved", file.is_file)
    yield from open_file(file)
    shot("18-reopened")
    expect(book.text() == kept, f"saved was\n{kept}\nand opened was\n{book.text()}")
    say("Save and reopen")
    yield from type_size("v-fold", "v_fold", "at", at + 1)
    yield from undo_and_redo(kept, book.text(), "typing at")


def open_file(file):
    """File > New, then open a file with a book."""
    yield from new_file()
    expect(book.root() is None, "in the new file there is still a book")
    yield from key("ctrl+o")
    yield from browse(FILES, file.name)
    yield from until("the file is open again", lambda: book.root() is not None)
    yield from beat(20)
