"""The walk: a spread from File > New on, its artwork painted over, a bound book, filmed and handed on; and a model."""

from tests.window.bound import bind_and_film
from tests.window.files import FILES
from tests.window.model import unfold_model
from tests.window.pace import beat
from tests.window.painting import paint
from tests.window.spread import build_spread

__all__ = ["walk"]


def walk():
    """The whole way."""
    FILES.mkdir(exist_ok=True)
    yield from beat(20)
    yield from build_spread()
    yield from paint("v-fold")
    yield from bind_and_film()
    yield from unfold_model()
