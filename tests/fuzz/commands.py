"""Command lines: any of the commands, with options that are right, wrong and at the edge; bytes are its choices."""

from __future__ import annotations

from random import Random

from tests.fuzz import edges

SCENES = ["scene.toml", "hands.toml", "book.toml", "none.toml", "art", "picture.png", "../chosen/scene.toml"]
_SHEETS = [
    "A4", "A3", "A0", "SRA3", "letter", "arch-d", "210x297", "13x19in", "roll:600", "roll:600x2000", "roll:", "x",
    "0x0",
    "-1x5", "nanxnan", "infx10", "1e308x1e308", "1e-308x1", "210x297x3", "roll:nan", "roll:1e999", "A99",
    "99999x99999", "5x5",
]  # fmt: skip
_FORMATS = [
    "svg", "pdf", "dxf", "cutting", "booklet", "all", "svg,pdf", "svg,svg", ",", "", "png", "SVG", "svg,", "png,svg",
    "white",
    "all,svg", "../x",
]  # fmt: skip
_ANGLES = [
    "0:180:5", "0:180:45", "0,90,180", "0", "180", "360", "-1", "nan", "inf", "0:180:0", "0:180:-1", "180:0:5",
    "0:180:1e-9",
    "0:1e308:1", "::", ":", ",", "1,,2", "0:180", "0:180:5:1", "1e-308", "a", "0:180:nan", "nan:180:1", "0:0:1",
    "0:1:0.5",
]  # fmt: skip
_HANDS = [
    "door=90",
    "door=0",
    "door=1e308",
    "door=nan",
    "door=",
    "=5",
    "door",
    "",
    "x=1",
    "door=-1",
    "scene/door=9",
    "tab=5",
]
_WISHES = [
    "largest", "tip=0,10,50@90", "height=40@90", "lean=10@180", "square@90", "stand=45", "tip=nan,0,0@90",
    "tip=1,2@9", "@",
    "height=1e308@90", "height=-5@0", "height=40@181", "lean=360@180", "square@", "stand=0", "stand=180",
    "stand=nan", "", "tip",
]  # fmt: skip
_FREE = [
    "height",
    "angle",
    "at",
    "angle:10:80",
    "height:0:0",
    "height:nan:nan",
    "height:80:10",
    "x",
    "",
    ",",
    "at,height,angle",
]
_MECHANISMS = ["hill", "door", "none", "", "hill.left", "page", "\u202e"]
_OUTS = ["out", "out.pdf", "out.svg", "deep/er/out", "scene.toml", "art", "a" * 300, "picture.png/x", "é\u202e.svg"]
_CODES = ["closes-flat", "stays-inside", "opens-fully", "glue", "x", ""]
_PIECES = ["page", "hill", "cover", "page,hill", ",", "x", ""]
_DPI = ["300", "72", "0", "-1", "nan", "inf", "1e308", "1e-3", "10", "150", "x", "99999"]


def _plain(rng: Random) -> str:
    return rng.choice([edges.number(rng)[:400], edges.text(rng)[:400], "3", "10", "1"])


#: Options by command: what their values are drawn from; None for a switch.
_OPTIONS: dict[str, dict[str, object]] = {}
_SHEET_OPTIONS = {
    "--sheet": _SHEETS, "--margin": _plain, "--gap": _plain, "--bleed": _plain, "--copies": _plain, "--tile": None,
    "--overlap": _plain, "--grain": ["long", "short", "x"],
}  # fmt: skip
_OPTIONS["check"] = {"--apply": _CODES, "--out": _OUTS, "--bulk-map": ["m.svg", "m.pdf", "m.png", "", "art"]}
_OPTIONS["poses"] = {"--angles": _ANGLES, "--turns": _ANGLES, "--hand": _HANDS, "--out": _OUTS}
_OPTIONS["nets"] = {
    **_SHEET_OPTIONS, "--out": _OUTS, "--dimensions": None, "--format": _FORMATS, "--spot": None, "--duplex": None,
    "--crease": ["score", "dashes", "half-cut", "x"], "--dash": _plain, "--bridge": _plain, "--nicks": _plain,
    "--nick-every": _plain,
}  # fmt: skip
_OPTIONS["cost"] = {**_SHEET_OPTIONS, "--compare": SCENES}
_OPTIONS["fit"] = {"--mechanism": _MECHANISMS, "--wish": _WISHES, "--free": _FREE, "--out": _OUTS}
_OPTIONS["booklet"] = {**_SHEET_OPTIONS, "--out": _OUTS, "--paper": ["A4", "letter", "A5", "x", ""]}
_OPTIONS["assign"] = {"--folder": ["art", ".", "none", "scene.toml", "", "deep"], "--out": _OUTS}
_OPTIONS["trace"] = {
    "--width": _plain, "--tolerance": _plain, "--threshold": _plain, "--feature": _plain, "--out": _OUTS
}  # fmt: skip
_OPTIONS["templates"] = {
    "--out": _OUTS, "--dpi": _DPI, "--pieces": _PIECES, "--format": ["png", "svg", "white", "png,svg", *_FORMATS],
    "--test-card": None,
}  # fmt: skip
#: Without these a command is refused at once.
_NEEDED = {
    "poses": ["--out"], "nets": ["--out"], "fit": ["--mechanism", "--wish", "--free"], "booklet": ["--out"],
    "assign": ["--folder"], "trace": ["--width"], "templates": ["--out"],
}  # fmt: skip
PICTURES = ["picture.png", "art/figure.png", "scene.toml", "none.png", "art"]


def command_line(rng: Random) -> list[str]:
    """The words of one."""
    name = rng.choice(list(_OPTIONS))
    options = _OPTIONS[name]
    chosen = list(_NEEDED.get(name, [])) if rng.random() < 0.97 else []
    chosen += rng.sample(list(options), rng.choice([0, 1, 1, 2, 3]) % (len(options) + 1))
    words = [name]
    scenes = PICTURES if name == "trace" else SCENES
    words.append(rng.choice(scenes) if rng.random() < 0.5 else scenes[0])
    for option in chosen:
        pool = options[option]
        words.append(option)
        if pool is None:
            continue
        # Where results go is the user's own choice, so only places inside the folder are chosen.
        fixed = option in ("--out", "--bulk-map") or rng.random() < 0.9
        words.append(pool(rng) if callable(pool) else rng.choice(pool) if fixed else _plain(rng))
    if rng.random() < 0.2:
        words += ["--json", rng.choice(["-", "result.json", "art", "none/x.json"])]
    if rng.random() < 0.03:
        words.insert(rng.randrange(len(words) + 1), _plain(rng))
    # The system hands over no other words.
    return [
        word.replace("\0", "").encode("utf-8", "surrogatepass").decode("utf-8", "surrogateescape") for word in words
    ]
