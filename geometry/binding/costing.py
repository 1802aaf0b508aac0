"""What a publisher asks for of a bound book: its spreads together, its boards, its cover and its thickness."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from ..nets import SheetOptions
from ..specification import Specification, specification, specification_text
from .binding import Binding
from .cover_net import CoverSizes, cover_sizes, cover_spread

__all__ = ["BookCost", "book_cost", "cost_text"]


@dataclass(frozen=True)
class BookCost:
    """A bound book in numbers.

    Parameters
    ----------
    title : of the book
    names, spreads : each spread with its own specification
    cover : sizes of boards, spine and wrap
    board_mm : thickness of a board
    board_area_mm2, wrap_area_mm2 : of both boards and the spine's strip; of the cloth
    cover_weight_g : of boards and cloth
    leaves_glued : leaves that are glued, those on the boards among them
    thickness_mm : of the closed book
    """

    title: str
    names: tuple[str, ...]
    spreads: tuple[Specification, ...]
    cover: CoverSizes
    board_mm: float
    board_area_mm2: float
    wrap_area_mm2: float
    cover_weight_g: float
    leaves_glued: int
    thickness_mm: float

    @property
    def total(self) -> dict[str, float]:
        """What is summed over all spreads; the weight with the cover."""
        each = self.spreads
        steps = [spec.assembly_steps or 0 for spec in each]
        return {
            "pieces": sum(len(spec.pieces) for spec in each),
            "glue_points": sum(spec.glue_points for spec in each),
            "glue_area_mm2": sum(spec.glue_area_mm2 for spec in each),
            "cut_mm": sum(spec.cut_mm for spec in each),
            "crease_mm": sum(spec.crease_mm for spec in each),
            "assembly_steps": sum(steps),
            "hand_operations": sum(spec.hand_operations for spec in each),
            "sheets": sum(stock.sheets for spec in each for stock in spec.stocks),
            "weight_g": sum(spec.weight_g for spec in each) + self.cover_weight_g,
        }

    def as_dict(self) -> dict[str, Any]:
        """Everything, ready for JSON."""
        spreads = [{"name": name, **spec.as_dict()} for name, spec in zip(self.names, self.spreads, strict=True)]
        rest = {key: value for key, value in asdict(self).items() if key not in ("title", "names", "spreads")}
        return {"format": 1, "title": self.title, "spreads": spreads, "binding": rest, "total": self.total}


def book_cost(binding: Binding, *, sheet: str | None = None, options: SheetOptions | None = None) -> BookCost:
    """Measure a bound book on its own nets.

    Parameters
    ----------
    binding : Binding
    sheet, options : as for nets

    Returns
    -------
    BookCost

    Raises
    ------
    HingeleafError
        The sheet size is not known, or it cannot be laid out so.
    """
    specs = tuple(specification(spread, sheet=sheet, options=options) for spread in binding.spreads)
    cover = cover_spread(binding)
    areas = {piece.id: cover.panels[piece.panels[0]].outline.area for piece in cover.pieces}
    weights = {piece.id: areas[piece.id] * piece.stock.grammage_gsm * 1e-6 for piece in cover.pieces}
    return BookCost(
        title=binding.title,
        names=binding.names,
        spreads=specs,
        cover=cover_sizes(binding),
        board_mm=binding.cover.board_mm,
        board_area_mm2=sum(area for name, area in areas.items() if name != "wrap"),
        wrap_area_mm2=areas["wrap"],
        cover_weight_g=sum(weights.values()),
        leaves_glued=len(binding.spreads) + 1,
        thickness_mm=binding.thickness_mm,
    )


def cost_text(cost: BookCost) -> str:
    """The cost of a book, to be read: the whole first, a line for each spread, then each in full."""
    total, sizes, count = cost.total, cost.cover, len(cost.spreads)
    lines = [
        f"{cost.title}: {count} spread{'s' * (count != 1)}, {total['pieces']:.0f} pieces on "
        f"{total['sheets']:.0f} sheets, "
        f"{total['glue_points']:.0f} glue points ({total['glue_area_mm2'] / 100:.1f} cm2), "
        f"{total['hand_operations']:.0f} operations by hand",
        f"  cuts {total['cut_mm'] / 1000:.2f} m, creases {total['crease_mm'] / 1000:.2f} m; {total['weight_g']:.0f} g "
        f"with its cover; closed {cost.thickness_mm:.1f} mm",
        f"  cover: two boards of {sizes.board[0]:g} x {sizes.board[1]:g} x {cost.board_mm:g} mm and a spine strip of "
        f"{sizes.spine:.1f} mm, {cost.board_area_mm2 / 100:.0f} cm2 of board; a wrap of {sizes.wrap[0]:.1f} x "
        f"{sizes.wrap[1]:g} mm, {cost.wrap_area_mm2 / 100:.0f} cm2; {cost.cover_weight_g:.0f} g",
        f"  binding: {cost.leaves_glued} leaves to glue, two of them on the boards",
    ]
    lines += [
        f"  {name}: {len(spec.pieces)} pieces, {spec.glue_points} glue points, {spec.hand_operations} operations, cuts "
        f"{spec.cut_mm / 1000:.2f} m, creases {spec.crease_mm / 1000:.2f} m, {spec.weight_g:.1f} g"
        for name, spec in zip(cost.names, cost.spreads, strict=True)
    ]
    return "\n".join([*lines, *map(specification_text, cost.spreads)])
