"""What works step by step while Blender goes on: a step a tick, stopped by Esc, ended by an error; nothing is left."""

from importlib import import_module
from types import SimpleNamespace

import pytest

from geometry import HingeleafError
from tests.addon.conftest import MODULE

ESC, TICK, MOVE = (SimpleNamespace(type=kind, value="PRESS") for kind in ("ESC", "TIMER", "MOUSEMOVE"))


@pytest.fixture
def begun(bpy):
    """Begin to work by a generator; returns the operator, which notes all that it says, reports and ends."""
    base = import_module(f"{MODULE}.operators.stepping").SteppingOperator

    class Noting(base):
        stopped = ("Stopped; nothing has changed", {"CANCELLED"})

        def say(self, context, step):
            self.noted.append(step)

        def report(self, kinds, text):
            self.noted.append((*kinds, text))

    def begun(steps):
        operator = Noting()
        operator.noted = []
        manager = SimpleNamespace(
            event_timer_add=lambda seconds, window: "timer",
            event_timer_remove=operator.noted.append,
            modal_handler_add=lambda it: None,
        )
        context = SimpleNamespace(window_manager=manager, window=None)
        assert operator.begin(context, steps) == {"RUNNING_MODAL"}
        return operator, context

    return begun


def counting(done, fails=None):
    try:
        for number in (1, 2, 3):
            if number == fails:
                raise core_error()("it cannot be so")
            done.append(number)
            yield number
    finally:
        done.append("closed")


def core_error():
    """The extension's own class, which is not the tests'."""
    error = import_module(f"{MODULE}.geometry").HingeleafError
    assert error is not HingeleafError
    return error


def test_each_tick_is_a_step_and_other_events_pass(begun):
    done = []
    operator, context = begun(counting(done))
    assert operator.modal(context, MOVE) == {"PASS_THROUGH"}
    assert done == []
    for number in (1, 2, 3):
        assert operator.modal(context, TICK) == {"RUNNING_MODAL"}
        assert done == list(range(1, number + 1))
    assert operator.modal(context, TICK) == {"FINISHED"}
    assert operator.noted == [1, 2, 3, "timer", None]


def test_esc_stops_it_and_what_was_begun_is_closed(begun):
    done = []
    operator, context = begun(counting(done))
    operator.modal(context, TICK)
    assert operator.modal(context, ESC) == {"CANCELLED"}
    assert done == [1, "closed"]
    assert operator.noted == [1, "timer", None, ("INFO", "Stopped; nothing has changed")]


def test_an_error_of_the_core_is_reported_and_ends_it(begun):
    done = []
    operator, context = begun(counting(done, fails=2))
    operator.modal(context, TICK)
    assert operator.modal(context, TICK) == {"CANCELLED"}
    assert done == [1, "closed"]
    assert operator.noted[:3] == [1, "timer", None]
    kind, text = operator.noted[3]
    assert kind == "ERROR"
    assert "annot be so" in text


def test_a_file_that_is_loaded_meanwhile_ends_it(begun):
    done = []
    operator, context = begun(counting(done))
    operator.modal(context, TICK)
    operator.cancel(context)
    assert done == [1, "closed"]
    assert operator.noted == [1, "timer", None]


@pytest.mark.parametrize(
    ("name", "steps", "said"),
    [
        ("check_book", [(0.25, "collisions")], ["Check: 25%, collisions. Esc stops it"]),
        ("fit_sizes", [40, 0], ["Fit: trial 1 of 40. Esc stops it", "Fit: trial 2. Esc stops it"]),
        ("bake_model", ["Wood"], ["Baking Wood. Esc stops it"]),
    ],
)
def test_what_is_said_of_each_step_and_taken_away_at_the_end(bpy, name, steps, said):
    operator = getattr(import_module(f"{MODULE}.operators.{name}"), f"HINGELEAF_OT_{name}")
    shown = []
    manager = SimpleNamespace(hingeleaf=SimpleNamespace(), windows=[])
    workspace = SimpleNamespace(status_text_set=shown.append)
    context = SimpleNamespace(window_manager=manager, workspace=workspace, screen=None)
    for step in (*steps, None):
        if not shown:
            it = SimpleNamespace(tried=0)
        operator.say(it, context, step)
    assert shown == [*said, None]
