"""The pages of the documentation taken apart: their blocks of code, code in sentences, commands and links."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PAGES = ("README.md", "DEVELOPERS.md", "addon/README.md", "geometry/README.md", "scenes/README.md")

_FENCED = re.compile(r"^```(\w*)\n(.*?)^```\n", re.M | re.S)
_INDENTED = re.compile(r"(?:\A|(?<=\n\n))((?: {4}.*\n)+)")
#: What a command does stands after it, behind a number sign.
_SAYING = re.compile(r" +#.*")
_EITHER = re.compile(r"(--[\w-]+ [^\s|]+)\|(--[\w-]+ [^\s|]+)")


@dataclass(frozen=True)
class Block:
    """Code that stands by itself; of commands the language is empty."""

    page: str
    language: str
    text: str


def page_text(page: str) -> str:
    """All of a page."""
    return (ROOT / page).read_text(encoding="utf-8")


def blocks(page: str) -> list[Block]:
    """The fenced blocks of a page, then the indented ones."""
    text = page_text(page)
    fenced = [Block(page, match[1], match[2]) for match in _FENCED.finditer(text)]
    indented = _INDENTED.findall(_FENCED.sub("", text))
    return fenced + [Block(page, "", re.sub(r"^ {4}", "", part, flags=re.M)) for part in indented]


def prose(page: str) -> str:
    """A page without its blocks of code."""
    return _INDENTED.sub("", _FENCED.sub("", page_text(page)))


def spans(page: str) -> list[str]:
    """Code within the sentences and tables of a page, each on one line."""
    found = re.findall(r"`([^`]+)`", prose(page))
    return [re.sub(r"\s+", " ", span).replace("\\|", "|") for span in found]


def command_lines(page: str) -> list[str]:
    """The lines of all blocks of commands, without what is said about them."""
    lines = [line for block in blocks(page) if not block.language for line in block.text.splitlines()]
    return [_SAYING.sub("", line).rstrip() for line in lines if line.strip()]


def links(page: str) -> list[str]:
    """Where the links and pictures of a page lead."""
    return re.findall(r"\]\(([^)\s]+)\)", prose(page))


def anchors(page: str) -> set[str]:
    """The headings of a page, as links name them."""
    headings = re.findall(r"^#+ (.+)$", prose(page), re.M)
    return {re.sub(r"[^\w -]", "", heading.lower()).replace(" ", "-") for heading in headings}


def variants(usage: str) -> list[list[str]]:
    """The command lines that a line of usage stands for: without its options, and with all, once for each alternative.

    Examples
    --------
    >>> for words in variants("nets SCENE [--sheet A4] [--crease A|B]"):
    ...     print(" ".join(words))
    nets SCENE
    nets SCENE --sheet A4 --crease A
    nets SCENE --sheet A4 --crease B
    """
    usage = re.sub(r"\[[^]]*see below\]", "", usage)
    bare = re.sub(r"\[[^]]*\](\.\.\.)?", "", usage)
    full = re.sub(r"[][]|\.\.\.", "", usage)
    chosen = []
    for text in dict.fromkeys((bare, full)):
        for number in (0, 1):
            one = _EITHER.sub(lambda match, which=number: match[1 + which], text)
            chosen.append(tuple(word.split("|")[min(number, word.count("|"))] for word in one.split()))
    return [list(words) for words in dict.fromkeys(chosen)]
