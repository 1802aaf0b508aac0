"""Where things are on the screen, and what is under the pointer; Blender is asked, nothing is assumed."""

import bpy
from bpy_extras.view3d_utils import location_3d_to_region_2d

from tests.window.hands import click, key, move, screen_size, typed, wheel
from tests.window.pace import beat, expect, until

__all__ = [
    "browse",
    "find",
    "find_field",
    "hovered",
    "middle",
    "on_screen",
    "open_sidebar",
    "region_of",
    "seen",
    "viewport",
]

TAB = "Hingeleaf"
#: Where things were found, as parts of their region's size; they are looked for there first.
_KNOWN = {}


def on_screen(window, x, y):
    """The place on the screen of a window's pixel, from its lower left."""
    return window.x + x, screen_size()[1] - window.y - y


def region_of(kind, area_kind="VIEW_3D", window=None):
    """Window, area and region of a kind, the largest area of its kind."""
    window = window or bpy.context.window_manager.windows[0]
    areas = [area for area in window.screen.areas if area.type == area_kind]
    area = max(areas, key=lambda one: one.width * one.height)
    return window, area, next(region for region in area.regions if region.type == kind)


def viewport():
    """Window, area and region of the 3D viewport."""
    return region_of("WINDOW")


def middle(place):
    """The middle of a region on the screen."""
    window, _, region = place
    return on_screen(window, region.x + region.width / 2, region.y + region.height / 2)


def seen(point):
    """Where a point of the world is seen on the screen."""
    window, area, region = viewport()
    place = location_3d_to_region_2d(region, area.spaces.active.region_3d, point)
    expect(place is not None, f"{tuple(point)} is not in view")
    return on_screen(window, region.x + place[0], region.y + place[1])


def hovered(place):
    """What is under the pointer in a region: an operator with its properties, or the path of a property; "" if neither.

    Blender is asked as for its own entries Copy Python Command and Copy Data Path of a button's menu.
    """
    window, area, region = place
    with bpy.context.temp_override(window=window, area=area, region=region):
        shown = bpy.context.property
        if shown is not None:
            return shown[1]
        if not bpy.ops.ui.copy_python_command_button.poll():
            return ""
        bpy.context.window_manager.clipboard = ""
        bpy.ops.ui.copy_python_command_button()
        return bpy.context.window_manager.clipboard


def find(wanted, place_of, *, across=0.5, step=16):
    """Move the pointer down a region until it is on what is wanted, and return that place; a step of a walk.

    Parameters
    ----------
    wanted : part of what `hovered` says
    place_of : gives window, area and region anew, as they may change meanwhile
    across : where along the region's width to go down, 0 to 1
    step : pixels; less than the height of a button
    """
    told = {}
    place = yield from _look_again(wanted, place_of)
    if place is not None:
        return place
    # Quickly first; a window that is busy may need more time to see what it is on.
    for scroll, ticks in ((0, 2), (12, 2), (-40, 8), (12, 8)):
        if scroll:
            move(middle(place_of()))
            yield from beat(2)
            wheel(scroll)
            yield from beat()
        told = yield from _look_down(wanted, place_of, across, step, ticks)
        if wanted in told:
            return told[wanted]
    listing = ", ".join(sorted(name for name in told if name))
    raise AssertionError(f"{wanted} is not in the {place_of()[2].type} region; there are: {listing}")


def _look_again(wanted, place_of):
    """Where it was found last, if it is there still; else None."""
    if wanted not in _KNOWN:
        return None
    window, _, region = place_of()
    x, y = _KNOWN[wanted]
    place = on_screen(window, region.x + x, region.y + region.height - y)
    move((place[0], place[1] - 1))
    yield from beat(3)
    move(place)
    yield from beat(3)
    return place if wanted in hovered(place_of()) else None


def _look_down(wanted, place_of, across, step, ticks):
    """Everything that is under the pointer on its way down, with its place, up to what is wanted."""
    told = {}
    for down in range(step // 2, place_of()[2].height, step):
        window, area, region = place_of()
        here = on_screen(window, region.x + across * region.width, region.y + region.height - down)
        move(here)
        yield from beat(ticks)
        name = hovered((window, area, region))
        told.setdefault(name, here)
        if wanted in name:
            # A little lower is still on it, and further from its edge.
            _KNOWN[wanted] = across * region.width, down + 2
            return {wanted: (here[0], here[1] + 2)}
    return told


def find_field(text, places):
    """The first of some places where Copy of the keyboard copies a text, as over a dialog's field; a step of a walk.

    Popups are no regions that Blender names to scripts, so the keyboard has to ask.
    """
    manager = bpy.context.window_manager
    for place in places:
        manager.clipboard = ""
        move(place)
        yield from beat()
        yield from key("ctrl+c")
        yield from beat(2)
        if manager.clipboard == text:
            return place
    raise AssertionError(f"no field of the dialog holds {text}")


def browsed():
    """Whether a file browser is open."""
    return browser_region("EXECUTE") is not None


def browse(folder, name=""):
    """Type a folder, and the name of a file, into the file browser that is open, and confirm; a step of a walk."""
    yield from until("the file browser is open", browsed)
    yield from beat(10)
    place = yield from find("directory", lambda: browser_region("UI"), step=6)
    yield from _type_over(place, str(folder))
    yield from until(f"the file browser is in {folder}", lambda: _browsed_folder() == str(folder))
    # Blender opens the field once more; a click beside it, low in the list, closes it.
    window, _, region = browser_region("WINDOW")
    yield from click(on_screen(window, region.x + region.width / 2, region.y + 40))
    button = yield from find("file.execute", lambda: browser_region("EXECUTE"), across=0.93, step=6)
    if name:
        window, _, region = browser_region("EXECUTE")
        yield from _type_over((window.x + region.x + 0.3 * region.width, button[1]), name)
    for _ in range(3):
        if browsed():
            yield from click(button)
            yield from beat(20)
    yield from until("the file browser is closed", lambda: not browsed())
    yield from beat()


def _type_over(place, text):
    """Put text in place of what the field under a place holds."""
    yield from click(place, times=2)
    yield from key("ctrl+a")
    yield from typed(text)
    yield from key("Return")
    yield from beat()


def _browsed_folder():
    """The folder that the file browser shows."""
    _, area, _ = browser_region("WINDOW")
    return area.spaces.active.params.directory.decode().rstrip("/")


def _fill(field, place_of, text, across):
    """Put text in place of what a field holds."""
    for share in across:
        told = yield from _look_down(field, place_of, share, 6, 4)
        if field in told:
            break
    expect(field in told, f"the file browser shows no field {field}, but {sorted(told)}")
    yield from click(told[field], times=2)
    yield from key("ctrl+a")
    yield from typed(text)
    yield from key("Return")


def open_sidebar():
    """Show the sidebar and turn to our tab, as a person does; a step of a walk."""
    move(middle(viewport()))
    yield from beat()
    if region_of("UI")[2].width <= 1:
        yield from key("n")
        yield from until("the sidebar shows", lambda: region_of("UI")[2].width > 1)
    yield from beat()
    for down in range(15, 500, 15):
        window, _, region = region_of("UI")
        if region.active_panel_category == TAB:
            return
        yield from click(on_screen(window, region.x + region.width - 10, region.y + region.height - down))
    raise AssertionError(f"the sidebar has no tab {TAB}")


def browser_region(kind):
    """Window, area and region of the open file browser; None where there is none."""
    for window in reversed(bpy.context.window_manager.windows[:]):
        for area in window.screen.areas:
            if area.type == "FILE_BROWSER":
                for region in area.regions:
                    if region.type == kind and region.width > 1:
                        return window, area, region
    return None
