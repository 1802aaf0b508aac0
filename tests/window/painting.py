"""Artwork as an illustrator makes it: templates, a painting beside them, and the painting painted over."""

import time

from tests.window import book
from tests.window.eyes import browse, find, middle, seen, sidebar, type_over, viewport
from tests.window.files import FILES, picture_size, quarters
from tests.window.hands import click, color_at, move, shot
from tests.window.pace import beat, expect, say, until

__all__ = ["paint"]

#: Quarters of a painting; all green, and the same with green and blue changed. Nothing else on the screen is either.
GREEN = (60, 217, 40), (40, 217, 90), (60, 180, 30), (90, 230, 90)
BLUE = tuple((red, blue, green) for red, green, blue in GREEN)


def paint(piece):
    """Open the book, write templates, paint on one, assign the folder, paint over it."""
    place = yield from find('["opening"]', sidebar, across=0.4)
    yield from type_over(place, "180")
    yield from until("the book is open", lambda: book.opening() > 179)
    folder = FILES / "paintings"
    folder.mkdir()
    template = yield from write_templates(folder, piece)
    painting = folder / f"{piece}-front.png"
    painting.write_bytes(quarters(picture_size(template), GREEN))
    yield from assign_folder(folder, painting)
    yield from paint_over(painting, f"{piece}.right")


def write_templates(folder, piece):
    """The templates of a spread; a step that returns the PNG for the front of a piece."""
    place = yield from find("hingeleaf.write_templates", sidebar)
    yield from click(place)
    yield from browse(folder)
    wanted = [f"{name}-{face}-template.{ending}" for name in ("page", piece) for face in ("front", "back")
              for ending in ("png", "svg")]  # fmt: skip
    template = folder / f"{piece}-front-template.png"
    yield from until("the templates are written", lambda: all((folder / name).is_file() for name in wanted))
    say(f"Write Templates: {len(list(folder.iterdir()))} files, {piece} {picture_size(template)}")
    return template


def assign_folder(folder, painting):
    """Assign from Folder, and see the painting on its piece."""
    before = book.design()
    yield from until("the sidebar can be used", lambda: not book.moment().problems)
    place = yield from find("hingeleaf.assign_folder", sidebar)
    yield from click(place)
    yield from browse(folder)
    yield from until("the description names the painting", lambda: painting.name in book.text())
    yield from beat(10)
    shot("20-assigned")
    # Templates that were not painted on are no problem.
    said = [each.message for each in book.moment().problems]
    expect(not said, f"of templates and one painting was said: {said}")
    changed = book.changed(before)
    expect(len(changed) == 1 and changed[0][1].startswith("art"), f"one painting was assigned, and changed {changed}")
    expect(_shows(painting, GREEN), f"{painting.name} is not shown as it was painted")
    say(f"Assign from Folder: {changed}")


def paint_over(painting, panel):
    """Paint over the file on disk; the picture and the screen follow without a click."""
    place = seen(book.panel_place(panel))
    before = _rounded(color_at(place))
    expect(_which(before) == 1, f"{panel} was painted green, and its color on the screen is {before}")
    kept = book.text()
    move(middle(viewport()))
    yield from beat()
    # Another program writes it.
    painting.write_bytes(quarters(picture_size(painting), BLUE))
    since = time.monotonic()
    yield from until("the picture follows its file", lambda: _shows(painting, BLUE))
    took = time.monotonic() - since
    yield from until("the screen follows", lambda: _which(color_at(place)) == 2)
    shot("21-painted-over")
    expect(book.text() == kept, "painting over a file changed the description")
    say(f"Painted over on disk: shown after {took:.1f} s, {before} is now {_rounded(color_at(place))}")


def _shows(painting, colors):
    """Whether the picture named as a file has that file's bytes, and these colors in its quarters."""
    image = next((image for name, image in book.pictures().items() if name.endswith(painting.name)), None)
    if image is None or image.packed_file is None or bytes(image.packed_file.data) != painting.read_bytes():
        return False
    width, height = image.size
    pixels = image.pixels
    for (right, up), color in zip(((0, 0), (1, 0), (0, 1), (1, 1)), colors, strict=True):
        first = 4 * ((height // 4 + up * height // 2) * width + width // 4 + right * width // 2)
        if any(abs(255 * pixels[first + channel] - color[channel]) > 0.5 for channel in range(3)):
            return False
    return True


def _which(color):
    """Which of red, green and blue is far the strongest, 0 to 2; None where none is."""
    strongest = max(color)
    others = sorted(color)[:-1]
    return color.index(strongest) if strongest > max(others) + 25 else None


def _rounded(color):
    return tuple(map(round, color))
