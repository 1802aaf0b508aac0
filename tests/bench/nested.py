"""A spread of 200 nested cells for the benchmark: 25 chains of eight, v-folds, cut-ins in cut-ins, tents."""

from __future__ import annotations

from geometry import Spread, assemble, parse_description

CHAINS = 25
CELLS_A_CHAIN = 8
_PITCH_MM = 150.0


def nested_spread(chains: int = CHAINS) -> Spread:
    """The spread with so many chains, each another size, equal and unequal by turns."""
    tables = [f"format = 1\n[page]\nsize = [600, {chains * _PITCH_MM}]\n"]
    for number in range(chains):
        tables.append(_chain(f"c{number}", 20.0 + number * _PITCH_MM, number))
    return assemble(parse_description("".join(tables)))


def _chain(name: str, at: float, number: int) -> str:
    off = 1.0 + 0.5 * (number % 5)
    links = [
        (
            "v-fold",
            "spine",
            f"at = {at}\nangle_left = {44 + number % 7}\nangle_right = {44 + number % 3}\nheight = 110\nwidth = 80",
        ),
        ("slit-cut-in", "0.middle", f"at = 12\nlength = 90\nwidth_left = 36\nwidth_right = {36 + off}"),
        ("slit-cut-in", "1.middle", f"at = 8\nlength = 74\nwidth_start = {24 - off}\nwidth_end = 26"),
        ("slit-cut-in", "2.middle", "at = 6\nlength = 62\nwidth = 17"),
        ("slit-cut-in", "3.middle", f"at = 5\nlength = 52\nwidth_left = {10 + off / 4}\nwidth_right = 11"),
        (
            "v-fold",
            "4.left",
            f"at = 20\nangle_left = {48 + off}\nangle_right = 48\nheight = 30\nwidth = 28\ntab_width = 4",
        ),
        (
            "tent",
            "5.middle",
            f"at = 4\nlength = 22\nbase_left = 8\nbase_right = {8 + off / 4}\nheight_left = 12\ntab_width = 4",
        ),
        ("slit-cut-in", "6.middle", "at = 4\nlength = 12\nwidth_start = 2\nwidth_end = 4"),
    ]
    text = ""
    for index, (kind, fold, body) in enumerate(links):
        host = fold if fold == "spine" else f"{name}-{fold}"
        text += f'[[mechanism]]\nkind = "{kind}"\nid = "{name}-{index}"\nfold = "{host}"\n{body}\n'
    return text
