"""Where things are on the screen, and what is under the pointer; Blender is asked, nothing is assumed."""

import bpy
from bpy_extras.view3d_utils import location_3d_to_region_2d

from tests.window.hands import click, key, move, screen_size, typed, wheel
from tests.window.pace import beat, expect, until

__all__ = [
    "browse",
    "choose",
    "copied",
    "fill",
    "find",
    "find_along",
    "find_field",
    "hovered",
    "middle",
    "on_screen",
    "open_panel",
    "open_sidebar",
    "region_of",
    "seen",
    "sidebar",
    "type_over",
    "viewport",
]

TAB = "Hingeleaf"
#: Where things were found, as parts of their region's size; they are looked for there first.
_KNOWN = {}
#: A region that has not moved for so many ticks has come to rest.
_STILL = 6


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


def sidebar():
    """Window, area and region of the sidebar."""
    return region_of("UI")


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
    """Move the pointer down a region, scrolled to its end if need be, until it is on what is wanted.

    A step of a walk that returns that place.

    Parameters
    ----------
    wanted : part of what `hovered` says
    place_of : gives window, area and region anew, as they may change meanwhile
    across : where along the region's width to go down, 0 to 1
    step : pixels; less than the height of a button
    """
    place = yield from _look_again(wanted, place_of)
    if place is not None:
        return place
    told = {}
    # Quickly first; a window that is busy may need more time to see what it is on.
    for ticks in (2, 8):
        there_is_more = True
        while there_is_more:
            told |= yield from _look_down(wanted, place_of, across, step, ticks)
            if wanted in told:
                return told[wanted]
            there_is_more = yield from _scroll(place_of, 12)
        yield from _scroll(place_of, -200)
    listing = ", ".join(sorted(name for name in told if name))
    raise AssertionError(f"{wanted} is not in the {place_of()[2].type} region; there are: {listing}")


def find_along(wanted, place, place_of, *, step=6):
    """Move the pointer to the right from a place until it is on what is wanted, such as a button that is an icon only.

    A step of a walk that returns that place.
    """
    window, _, region = place_of()
    told = set()
    for x in range(round(place[0]), window.x + region.x + region.width, step):
        move((x, place[1]))
        yield from beat()
        name = hovered(place_of())
        if wanted in name:
            return x + 2, place[1]
        told.add(name)
    raise AssertionError(f"{wanted} is not beside; there are: {', '.join(sorted(told - {''}))}")


def _scroll(place_of, clicks):
    """Turn the wheel in a region, down where positive; a step that returns whether that has moved what it shows."""
    window, _, region = place_of()
    # Beside lists, which would take the wheel for themselves.
    move(on_screen(window, region.x + 9, region.y + region.height / 2))
    yield from beat()
    before = last = _shown(place_of)
    wheel(clicks)
    still = 0
    while still < _STILL or (still < 4 * _STILL and last == before):
        yield
        now = _shown(place_of)
        still, last = (still + 1 if now == last else 0), now
    return last != before


def _shown(place_of):
    """Which part of its contents a region shows."""
    return place_of()[2].view2d.region_to_view(0, 0)[1]


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


def _look_down(wanted, place_of, across, step, ticks, *, first=0):
    """Everything that is under the pointer on its way down, with its place, up to what is wanted."""
    told = {}
    for down in range(first + step // 2, place_of()[2].height, step):
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
    told = set()
    for place in places:
        held = yield from copied(place)
        if held == text:
            return place
        told.add(held)
    raise AssertionError(f"no field holds {text}; there are: {', '.join(sorted(told - {''}))}")


def copied(place):
    """What Copy of the keyboard copies from the field at a place; a step of a walk that returns it."""
    bpy.context.window_manager.clipboard = ""
    move(place)
    yield from beat()
    yield from key("ctrl+c")
    yield from beat(2)
    return bpy.context.window_manager.clipboard


def fill(before, text, after):
    """Type over a setting beside the file browser, found by what it holds; a step of a walk.

    Parameters
    ----------
    before, after : what Copy of the keyboard copies from it, before and after
    text : what is typed
    """
    place = yield from _setting(before)
    yield from type_over(place, text)
    held = yield from copied(place)
    expect(held == after, f"{text} was typed over {before}, and the field holds {held}")


def choose(before, letter, after):
    """Choose from the menu of a setting beside the file browser by a key; otherwise as `fill`."""
    place = yield from _setting(before)
    yield from click(place)
    yield from beat()
    yield from key(letter)
    held = yield from copied(place)
    expect(held == after, f"{letter} was pressed in the menu of {before}, and the field holds {held}")


def _setting(text):
    """Where a setting beside the file browser is that holds a text."""
    yield from until("the file browser shows settings", lambda: browser_region("TOOL_PROPS") is not None)
    yield from beat(10)
    window, _, region = browser_region("TOOL_PROPS")
    x = region.x + 0.75 * region.width
    downs = range(36, 300, 10)
    return (yield from find_field(text, [on_screen(window, x, region.y + region.height - down) for down in downs]))


def browsed():
    """Whether a file browser is open."""
    return browser_region("EXECUTE") is not None


def browse(folder, name=""):
    """Type a folder, and the name of a file, into the file browser that is open, and confirm; a step of a walk."""
    yield from until("the file browser is open", browsed)
    yield from beat(10)
    place = yield from find("directory", lambda: browser_region("UI"), step=6)
    yield from type_over(place, str(folder))
    yield from until(f"the file browser is in {folder}", lambda: _browsed_folder() == str(folder))
    # Blender opens the field once more; a click beside it, low in the list, closes it.
    window, _, region = browser_region("WINDOW")
    yield from click(on_screen(window, region.x + region.width / 2, region.y + 40))
    button = yield from find("file.execute", lambda: browser_region("EXECUTE"), across=0.93, step=6)
    if name:
        window, _, region = browser_region("EXECUTE")
        yield from type_over((window.x + region.x + 0.3 * region.width, button[1]), name)
    for _ in range(3):
        if browsed():
            yield from click(button)
            yield from beat(20)
    yield from until("the file browser is closed", lambda: not browsed())
    yield from beat()


def type_over(place, text):
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


def open_panel(holds):
    """Open the last panel of the sidebar, which is closed at first, by a click on its header; a step of a walk.

    Parameters
    ----------
    holds : what is found in it when it is open
    """
    yield from _scroll(sidebar, 200)
    told = yield from _look_down(holds, sidebar, 0.5, 12, 3)
    if holds in told:
        return
    x, y = max((place for name, place in told.items() if name), key=lambda place: place[1])
    window, _, region = sidebar()
    top, height = on_screen(window, 0, region.y + region.height)[1], region.height
    # Below the last button its own panel ends, and then comes the header. A click beside it does nothing.
    for down in range(round(y - top) + 10, height, 10):
        yield from click((x, top + down))
        yield from beat(10)
        scrolled = yield from _scroll(sidebar, 200)
        if holds in (yield from _look_down(holds, sidebar, 0.5, 12, 3, first=0 if scrolled else down)):
            return
    raise AssertionError(f"no panel with {holds} opens below {sorted(told)}")


def browser_region(kind):
    """Window, area and region of the open file browser; None where there is none."""
    for window in reversed(bpy.context.window_manager.windows[:]):
        for area in window.screen.areas:
            if area.type == "FILE_BROWSER":
                for region in area.regions:
                    if region.type == kind and region.width > 1:
                        return window, area, region
    return None
