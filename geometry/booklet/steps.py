"""The order of assembly as data: steps, and what the picture of each shows."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from ..model import GlueArea

__all__ = ["Kind", "Mark", "NetPicture", "Picture", "SheetPicture", "SpreadPicture", "State", "Step"]

Kind = Literal["cut out", "crease", "cut-in", "glue", "fold shut", "hand parts", "press", "check"]

#: standing as at an opening; folded shut on the left page; laid flat, the printed face or the back up.
State = Literal["standing", "lying", "flat", "flat back"]


@dataclass(frozen=True)
class Mark:
    """A place with glue in a picture.

    Parameters
    ----------
    area : where
    on_host : drawn on the host; else on the part that is glued there
    text : what stands beside it
    """

    area: GlueArea
    on_host: bool
    text: str


@dataclass(frozen=True)
class SpreadPicture:
    """A picture of panels in space.

    Parameters
    ----------
    caption : what it shows
    state : where the panels are
    opening_rad : float, of the pages
    panels : what is drawn
    highlighted : the panels that the step is about
    marks : places with glue
    folded : with state "lying", the panels that lie folded shut
    moved : how much of its travel a hand has moved what it moves, 0 to 1
    closing : an arrow shows the right page being turned over on the left one
    over : the spread is turned over left to right
    """

    caption: str
    state: State
    opening_rad: float
    panels: tuple[str, ...]
    highlighted: tuple[str, ...] = ()
    marks: tuple[Mark, ...] = ()
    folded: tuple[str, ...] = ()
    moved: float = 0.03
    closing: bool = False
    over: bool = False


@dataclass(frozen=True)
class NetPicture:
    """A piece laid flat as on its net, with names at some of its creases.

    Parameters
    ----------
    caption : what it shows
    piece : its name
    names : crease by crease (its id), what stands beside it
    close : only what is about these creases is shown
    """

    caption: str
    piece: str
    names: tuple[tuple[str, str], ...]
    close: bool = False


@dataclass(frozen=True)
class SheetPicture:
    """A sheet of the nets, by its number."""

    caption: str
    number: int


Picture = SpreadPicture | NetPicture | SheetPicture


@dataclass(frozen=True)
class Step:
    """One step of assembly.

    Parameters
    ----------
    number : from 1
    kind : what is done
    title : in a few words
    sentences : what to do, in order
    cautions : what must not happen
    pieces : the pieces that it is about
    glue : the places that are glued in it
    creases : the creases that are folded in it, by id
    pictures : what they show
    """

    number: int
    kind: Kind
    title: str
    sentences: tuple[str, ...]
    cautions: tuple[str, ...] = ()
    pieces: tuple[str, ...] = ()
    glue: tuple[GlueArea, ...] = ()
    creases: tuple[str, ...] = ()
    pictures: tuple[Picture, ...] = ()

    @property
    def panels(self) -> frozenset[str]:
        """Panels that its pictures show."""
        return frozenset(name for item in self.pictures if isinstance(item, SpreadPicture) for name in item.panels)
