"""Random nests of mechanisms, a scene a seed; many cannot be built, which is for the reader of the seed to see."""

from __future__ import annotations

from dataclasses import dataclass
from random import Random

from tests.geometry.scene_texts import HEAD, mechanism


@dataclass(frozen=True)
class Place:
    """A fold to build on: its name, its length, how far its hosts reach, and whether it is a glue line."""

    fold: str
    length: float
    reach: float
    foot: bool = False


def random_scene(seed: int, most: int) -> str:
    """The text of a scene of up to so many mechanisms, each on one of the last folds that were made."""
    rng = Random(seed)
    places = [Place("spine", 210.0, 140.0)]
    panels = ["page.left", "page.right"]
    text = HEAD
    for number in range(rng.randint(1, most)):
        name, place = f"m{number}", rng.choice(places[-6:])
        kind = rng.choice(["v-fold", "v-fold", "tent", "slit-cut-in", "slit-cut-in", "rider"])
        build = {"v-fold": _v_fold, "tent": _tent, "slit-cut-in": _cut_in, "rider": _rider}[kind]
        body, new = build(rng, name, place, panels)
        on_panel = body.startswith("panel")
        table = mechanism(kind, name, place.fold, body)
        text += table.replace(f'fold = "{place.fold}"\n', "", 1) if on_panel else table
        places.extend(new)
        panels.extend([name] if on_panel else [f"{name}.left", f"{name}.right"])
    return text


def _side(rng: Random, place: Place) -> str:
    if rng.random() < 0.5:
        return ""
    return f'; side = "{rng.choice(["outer", "inner"] if place.foot else ["valley", "mountain"])}"'


def _choices(rng: Random) -> str:
    text = "; tab_width = 4"
    if rng.random() < 0.5:
        text += f'; printed = "{rng.choice(["outer", "inner"])}"'
    if rng.random() < 0.5:
        text += f'; tab = "{rng.choice(["outer", "inner"])}"'
    return text


def _v_fold(rng: Random, name: str, place: Place, panels: list[str]) -> tuple[str, list[Place]]:
    height = place.reach * rng.uniform(0.3, 0.5)
    left = rng.choice([45.0, rng.uniform(20.0, 130.0)])
    right = rng.choice([left, left, left * (1 + 1e-12), left + rng.uniform(-15.0, 15.0)])
    body = f"at = {place.length * rng.uniform(0.3, 0.6)}; height = {height}; width = {0.8 * height}"
    body += f"; angle_left = {left}; angle_right = {right}" + _side(rng, place) + _choices(rng)
    if rng.random() < 0.3:
        body += f"; crease_angle_left = {rng.uniform(70.0, 110.0)}"
    feet = [Place(f"{name}.{side}", 0.8 * height, 0.6 * height, True) for side in ("left", "right")]
    return body, [Place(f"{name}.middle", height, 0.7 * height), *feet]


def _tent(rng: Random, name: str, place: Place, panels: list[str]) -> tuple[str, list[Place]]:
    length, base = place.length * rng.uniform(0.2, 0.4), place.reach * rng.uniform(0.2, 0.4)
    other = rng.choice([base, base * (1 + 1e-12), base * rng.uniform(0.7, 1.3)])
    height = base * rng.uniform(1.0, 1.4)
    body = f"at = {place.length * rng.uniform(0.1, 0.5)}; length = {length}; base_left = {other}; base_right = {base}"
    body += f"; height_left = {height}" + _side(rng, place) + _choices(rng)
    feet = [Place(f"{name}.{side}", length, 0.6 * height, True) for side in ("left", "right")]
    return body, [Place(f"{name}.middle", length, 0.6 * height), *feet]


def _cut_in(rng: Random, name: str, place: Place, panels: list[str]) -> tuple[str, list[Place]]:
    length, width = place.length * rng.uniform(0.15, 0.35), min(0.3 * place.reach, 30.0) * rng.uniform(0.4, 1.0)
    if place.foot:
        length, width = min(length, 8.0), rng.uniform(1.5, 2.5)
    other = rng.choice([width, width * rng.uniform(0.7, 1.3)])
    body = f"at = {place.length * rng.uniform(0.2, 0.5)}; length = {length}; "
    body += rng.choice(
        [
            f"width_left = {width}; width_right = {other}",
            f"width_start = {width}; width_end = 0",
            f"width_start = 0; width_end_left = {width}; width_end_right = {other}",
            f"width_start_left = {width}; width_start_right = {other}; "
            f"width_end_left = {width * rng.uniform(0.3, 1.6)}",
        ]
    )
    hinges = [Place(f"{name}.{part}", length, 0.6 * width) for part in ("middle", "left", "right")]
    return body, hinges


def _rider(rng: Random, name: str, place: Place, panels: list[str]) -> tuple[str, list[Place]]:
    if place.foot or rng.random() < 0.5:
        at = f"at = [{rng.uniform(-30.0, 30.0)}, {rng.uniform(10.0, 60.0)}]"
        face, panel = rng.choice(["front", "back"]), rng.choice(panels)
        return f'panel = "{panel}"; {at}; size = [40, 40]; turn = {rng.uniform(0.0, 360.0)}; face = "{face}"', []
    side = rng.choice(["valley", "mountain"])
    height = 0.3 * place.length
    body = f'at = [0, {height}]; size = [{0.5 * place.reach}, {height}]; side = "{side}"'
    return body, [Place(f"{name}.middle", 0.5 * height, 0.3 * place.reach)]
