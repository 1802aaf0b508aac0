"""Values at the edges: what a slip of the hand, another program or an enemy puts into a file or a command."""

from __future__ import annotations

from random import Random

#: As they are written in a TOML file.
NUMBERS = [
    "0", "-0.0", "1", "-1", "0.5", "1e-3", "nan", "-nan", "inf", "-inf", "1e308", "-1e308", "1e-308", "5e-324", "1e999",
    "90", "90.0", "179.999999999", "180", "180.000001", "360", "1e-12", "1e15", "99999", "100000", "100001",
    "10000.0001",
    "2147483648", "9223372036854775807", "9223372036854775808", "1" + "0" * 400, "9" * 5000, "0x7fffffff", "1_000",
    "0.1", "45", "45.0000000001", "44.9999999", "3.0000001", "1e-9", "148", "210", "1979-05-27", "07:32:00", "true",
]  # fmt: skip

TEXTS = [
    "", " ", "\t", "a" * 300, "x" * 20_000, "..", ".", "/", "//", "\\", "a/b", "../outside.toml", "/etc/passwd", "~",
    "C:\\x", "\\\\host\\share", "NUL", "con.png", "a\0b", "\x01\x1b[31m", "\ufeff", "\u202eabc", "\u2028", "\ud800",
    "e\u0301", "𝒳", "🂡", "%s%n", "{0}", "${x}", "a\nb", "a\rb", "</title>", "<!--", "]]>", "&amp;", "(", ")", "'\"",
    "page", "spine", "page.left", "page.right", "left", "right", "middle", "edge", "A4", "a0 landscape", "#fff", "-",
    "--",
    "art/link.png", "link.png", "picture.png", "picture.png/", "M 0 0", "M0 0L10 0 10 10Z", "M nan nan L inf inf",
    "1e5",
]  # fmt: skip


def number(rng: Random) -> str:
    """One number as written: at an edge, or any."""
    if rng.random() < 0.6:
        return rng.choice(NUMBERS)
    value = rng.choice([rng.uniform(-10, 400), rng.uniform(0, 180), 10 ** rng.uniform(-320, 308), rng.gauss(0, 1)])
    return repr(value) if rng.random() < 0.5 else repr(round(value))


def text(rng: Random) -> str:
    """One text."""
    if rng.random() < 0.8:
        return rng.choice(TEXTS)
    pools = (range(128), range(0x3000), range(0xD800, 0xD801))
    return "".join(chr(rng.choice(rng.choice(pools))) for _ in range(rng.randrange(12)))


def near(rng: Random, value: float) -> str:
    """A number beside another one."""
    return repr(
        rng.choice(
            [
                value * (1 + 1e-12), value + 1e-9, value - 1e-9, -value, value / 2, value * 2, value + 90, 180 - value,
                value * 1000, value / 1000, value + rng.gauss(0, 1), value * rng.uniform(0.5, 1.5),
            ]
        )
    )  # fmt: skip
