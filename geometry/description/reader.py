"""Reading a description strictly: every problem is found and reported at once, with its place."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from difflib import get_close_matches
from pathlib import Path
from typing import Any

from ..assembly import building_problems
from ..errors import DescriptionError, FileError, Problem
from ..limits import LIMITS, Limits
from ..mechanisms import KINDS
from ..model import Stock
from ..paper import caliper_mm, parse_color
from .data import Description, MechanismSpec, PageSpec
from .fields import PAGE, STOCK, TOP
from .locate import key_lines
from .table_reader import TableReader
from .values import NAME, name_of, too_long

__all__ = ["describes_book", "parse_description", "parsed", "read_description", "read_text", "reread_mechanism"]

_RESERVED = ("page", "spine")
_OF_BOOKS = (
    "a bound book has a file of its own, with [[spread]] tables that name the files of its spreads, and without [page] "
    "and [[mechanism]]"
)
_HINTS = dict.fromkeys(("spread", "spreads", "Spread", "Spreads", "cover"), _OF_BOOKS)
_LARGEST_BYTES = 20_000_000
_MOST_MECHANISMS = 5000


def read_description(path: str | Path) -> Description:
    """Read a scene file.

    Parameters
    ----------
    path : a TOML file

    Returns
    -------
    Description

    Raises
    ------
    FileError
        The file cannot be read.
    DescriptionError
        It can be read but not built; carries every problem.
    """
    file = Path(path)
    return parse_description(read_text(file), source=file.name, folder=file.resolve().parent)


def read_text(file: Path) -> str:
    """The text of a description's file; FileError where it cannot be read, is too large, or is no text."""
    try:
        if file.stat().st_size > _LARGEST_BYTES:
            raise FileError(
                f"{file.name}: is larger than {_LARGEST_BYTES // 1_000_000} MB; a description is a short text"
            )
        return file.read_bytes().decode("utf-8")
    except OSError as error:
        raise FileError(f"{file}: cannot be read ({error.strerror or error})") from None
    except UnicodeDecodeError as error:
        raise FileError(f"{file.name}: is no UTF-8 text (byte {error.start}); save it as UTF-8") from None


def parsed(text: str, source: str) -> dict[str, Any]:
    """A TOML text as tables; DescriptionError where it is none."""
    try:
        return tomllib.loads(text.removeprefix("\ufeff"))
    except tomllib.TOMLDecodeError as error:
        place = re.search(r"at line (\d+)", str(error))
        raise DescriptionError([Problem("TOML", str(error), int(place[1]) if place else None)], source) from None
    except ValueError:
        raise DescriptionError([Problem("TOML", "has a number of thousands of digits")], source) from None
    except RecursionError:
        raise DescriptionError([Problem("TOML", "is nested too deeply")], source) from None


def describes_book(data: Mapping[str, Any]) -> bool:
    """Whether tables describe a bound book, and not one spread."""
    return bool(data.keys() & {"spread", "cover"}) and not data.keys() & {"page", "mechanism"}


def parse_description(text: str, *, source: str = "description", folder: Path | None = None) -> Description:
    """Read a description from its text; see read_description.

    Examples
    --------
    >>> description = parse_description('''
    ... format = 1
    ... [page]
    ... size = "A5"
    ... [[mechanism]]
    ... kind = "v-fold"
    ... id = "hill"
    ... fold = "spine"
    ... at = 60
    ... angle = 45
    ... height = 50
    ... ''')
    >>> description.page.width_mm, [(spec.id, spec.kind) for spec in description.mechanisms]
    (148.0, [('hill', 'v-fold')])
    """
    data = parsed(text, source)
    if describes_book(data):
        message = (
            "is a bound book: check, poses, nets, cost, booklet and templates take its file as it is (not from a "
            "pipe), and Open Description in Blender does; everything else wants the file of one of its spreads"
        )
        raise DescriptionError([Problem("the file", message)], source)
    reader = _Reader(text, source, (folder or Path.cwd()).resolve(), key_lines(text))
    description = reader.read(data)
    if reader.problems:
        if reader.pages_read:
            reader.problems.extend(building_problems(description, frozenset(reader.failed)))
        raise DescriptionError(reader.problems, source)
    return description


def reread_mechanism(
    description: Description, index: int, table: dict[str, Any], lines: Mapping[str, int]
) -> MechanismSpec:
    """One mechanism of a description, its table changed: checked as if the whole were read anew.

    Parameters
    ----------
    description : of which it is one
    index : its number there, from 0
    table : as it is written now, parsed; its id is the one that it had
    lines : key to line in the file; "" is the head of its table

    Raises
    ------
    DescriptionError
        It is not sound; carries every problem found in it.
    """
    placed = {("mechanism", index, key): line for key, line in lines.items()}
    reader = _Reader(description.text, description.source, description.folder, placed)
    spec = reader.mechanism(table, index, description.stocks)
    if spec is None or reader.problems:
        raise DescriptionError(reader.problems, description.source)
    return spec


class _Reader(TableReader):
    """Collects problems while it reads; what could not be read is left out of the result."""

    def __init__(self, text: str, source: str, folder: Path, lines: dict[tuple[str, int, str], int]) -> None:
        super().__init__(text, source, folder, lines)
        self.mechanism_lines: dict[int, dict[str, int]] = {}
        for (table, index, key), line in lines.items():
            if table == "mechanism":
                self.mechanism_lines.setdefault(index, {})[key] = line
        self.failed: set[str] = set()
        self.pages_read = False

    def read(self, data: dict[str, Any]) -> Description:
        tables = {"page", "stock", "mechanism", "checks"}
        top = {key: value for key, value in data.items() if key not in tables}
        values = self.table(top, TOP, "", 0, "top of the file", extra=tuple(tables), hints=_HINTS)
        self.check_format(values)
        stocks = self.stocks(data.get("stock", {}))
        page = self.page(data.get("page"), stocks)
        self.pages_read = not self.problems
        mechanisms = self.mechanisms(data.get("mechanism", []), stocks)
        limits = self.limits(data.get("checks", {}))
        title = values.get("title", Path(self.source).stem)
        return Description(title, self.source, self.folder, self.text, page, stocks, mechanisms, limits)

    def stocks(self, data: Any) -> dict[str, Stock]:
        if not isinstance(data, dict) or not all(isinstance(item, dict) for item in data.values()):
            self.problem("stock", "must be tables such as [stock.card]", self.line("stock", 0, ""))
            return {}
        stocks: dict[str, Stock] = {}
        for name, table in (data or {"card": {}}).items():
            place = f"stock.{name}"
            if not NAME.match(name):
                self.problem(place, "is no name; use letters, digits, - and _", self.line(place, 0, ""))
            elif too_long(name):
                self.problem(f"stock.{name[:20]}...", too_long(name), self.line(place, 0, ""))
            values = self.table(table, STOCK, place, 0, place)
            grammage = values.get("grammage", 250.0)
            caliper = values.get("caliper", caliper_mm(grammage, values.get("bulk", 1.2)))
            color = values.get("color", parse_color("#fbfaf6"))
            stocks[name] = Stock(name, grammage, caliper, values.get("grain", "any"), color)
        return stocks

    def limits(self, data: Any) -> Limits:
        if not isinstance(data, dict):
            self.problem("checks", "must be a table [checks]", self.line("checks", 0, ""))
            return Limits()
        return Limits.of(self.table(data, LIMITS, "checks", 0, "checks"))

    def stock_of(self, values: Mapping[str, Any], stocks: Mapping[str, Stock], place: str, line: int | None) -> str:
        name = values.get("stock", next(iter(stocks), ""))
        if stocks and name not in stocks:
            self.problem(f"{place}, stock", f'"{name}" is not described; known are {", ".join(stocks)}', line)
        return str(name)

    def page(self, data: Any, stocks: Mapping[str, Stock]) -> PageSpec:
        if data is not None and not isinstance(data, dict):
            self.problem("page", "must be one table that begins with [page]", self.line("page", 0, ""))
            return PageSpec(1.0, 1.0, 0.0, "", None, None)
        if data is None:
            self.problem("page", 'is missing; write [page] with size = "A5" or [width, height] in mm', None)
            return PageSpec(1.0, 1.0, 0.0, "", None, None)
        values = self.table(data, PAGE, "page", 0, "page")
        width, height = values.get("size", (1.0, 1.0))
        margin = values.get("margin", 0.0)
        if "size" in values and margin >= min(width, height / 2):
            message = f"is {margin:g} mm and leaves nothing of a page of {width:g} x {height:g} mm"
            self.problem("page, margin", message, self.line("page", 0, "margin"))
        stock = self.stock_of(values, stocks, "page", self.line("page", 0, "stock"))
        front = self.artwork(values, "art_front", "page", self.line("page", 0, "art_front"))
        back = self.artwork(values, "art_back", "page", self.line("page", 0, "art_back"))
        colors = values.get("color_front"), values.get("color_back")
        return PageSpec(width, height, margin, stock, front, back, *colors)

    def artwork(self, values: Mapping[str, Any], key: str, place: str, line: int | None) -> str | None:
        """Absolute path of an artwork file; it must lie in the description's folder or below."""
        if key not in values:
            return None
        path = self.below(str(values[key]), f"{place}, {key}", line, beside="the description")
        return None if path is None else str(path)

    def mechanisms(self, data: Any, stocks: Mapping[str, Stock]) -> tuple[MechanismSpec, ...]:
        if not isinstance(data, list) or not all(isinstance(item, dict) for item in data):
            self.problem("mechanism", "must be tables that begin with [[mechanism]]", self.line("mechanism", 0, ""))
            return ()
        if len(data) > _MOST_MECHANISMS:
            self.problem("mechanism", f"are {len(data)}; one spread takes at most {_MOST_MECHANISMS}", None)
            return ()
        specs: dict[str, MechanismSpec] = {}
        for index, table in enumerate(data):
            before = len(self.problems)
            spec = self.mechanism(table, index, stocks)
            if len(self.problems) > before:
                self.failed.add(str(table.get("id")))
            if spec is None:
                continue
            if spec.id in specs:
                first = specs[spec.id].line("id")
                where = f" (first on line {first})" if first else ""
                self.problem(spec.place("id"), f"is used twice{where}; give each its own", spec.line("id"))
                continue
            specs[spec.id] = spec
        return tuple(specs.values())

    def mechanism(self, table: dict[str, Any], index: int, stocks: Mapping[str, Stock]) -> MechanismSpec | None:
        number = f"mechanism number {index + 1}"
        kind, name = table.get("kind"), table.get("id")
        if not isinstance(kind, str) or kind not in KINDS:
            near = get_close_matches(kind if isinstance(kind, str) else "", KINDS, 1)
            hint = f"did you mean {near[0]}?" if near else f"known kinds are {', '.join(KINDS)}"
            what = f"{name_of(kind)} is no kind" if "kind" in table else "needs kind"
            place = f'mechanism "{name}"' if isinstance(name, str) and not too_long(name) else number
            self.problem(f"{place}, kind", f"{what}; {hint}", self.line("mechanism", index, "kind"))
            return None
        if not isinstance(name, str) or not NAME.match(name) or name in _RESERVED:
            reason = "must be a name of letters, digits, - and _, beginning with a letter, and not page or spine"
            self.problem(f"{number} ({kind}), id", reason, self.line("mechanism", index, "id"))
            return None
        if too_long(name):
            self.problem(f"{number} ({kind}), id", too_long(name), self.line("mechanism", index, "id"))
            return None
        place = f'{kind} "{name}"'
        rest = {key: value for key, value in table.items() if key not in ("kind", "id")}
        values = self.table(rest, KINDS[kind].FIELDS, "mechanism", index, place, hints=KINDS[kind].HINTS)
        lines = dict(self.mechanism_lines.get(index, {}))
        for key in (field.name for field in KINDS[kind].FIELDS if field.type == "file"):
            if key in values:
                values[key] = self.artwork(values, key, place, self.line("mechanism", index, key))
        if any(field.name == "stock" for field in KINDS[kind].FIELDS):
            values["stock"] = self.stock_of(values, stocks, place, self.line("mechanism", index, "stock"))
        return MechanismSpec(name, kind, values, lines)
