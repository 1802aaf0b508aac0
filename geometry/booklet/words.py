"""What the booklet calls things: pieces by their titles, glued parts and creases by the names on the nets."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from ..model import Hinge
from ..nets.glue import glue_name
from ..nets.lettering import one_line
from ..spread import Spread

__all__ = ["Words", "counted", "crease_id", "crease_id_of", "listed", "quoted"]


def quoted(text: str) -> str:
    """A name as it stands on the nets, in quotation marks."""
    return f"“{text}”"


def listed(items: Sequence[str]) -> str:
    """Items as one phrase.

    Examples
    --------
    >>> listed(["a", "b", "c"]), listed(["a"])
    ('a, b and c', 'a')
    """
    return " and ".join([", ".join(items[:-1]), items[-1]]) if len(items) > 1 else "".join(items)


def counted(number: int, word: str) -> str:
    """A number with its word.

    Examples
    --------
    >>> counted(1, "tab"), counted(3, "tab")
    ('1 tab', '3 tabs')
    """
    return f"{number} {word}{'s' * (number != 1)}"


class Words:
    """Names of the parts of one spread."""

    def __init__(self, spread: Spread) -> None:
        self._spread = spread
        self._count = Counter(one_line(piece.title) for piece in spread.pieces)

    def piece(self, piece_id: str) -> str:
        """A piece by its title; with its id where several have the same title."""
        if piece_id == "page":
            return "the page card"
        title = one_line(self._spread.piece(piece_id).title)
        return quoted(title) + (f" ({piece_id})" if self._count[title] > 1 else "")

    def pieces(self, piece_ids: Sequence[str]) -> str:
        """Several pieces."""
        return listed([self.piece(name) for name in piece_ids])

    def glued(self, panel_id: str) -> str:
        """A glued part: the tab, the half or the ends that get the glue."""
        panel = self._spread.panels[panel_id]
        if panel.role == "tab":
            return f"tab {quoted(glue_name(panel_id))}"
        if len(self._spread.piece(panel.piece).panels) > 1:
            return f"the part {quoted(glue_name(panel_id))}"
        return self.piece(panel.piece)

    def mark(self, panel_id: str, face: str) -> str:
        """The place for a glued part, as it is lettered on the host's net."""
        return quoted(glue_name(panel_id) + (" (on the back)" if face == "back" else ""))

    def host(self, panel_id: str) -> str:
        """The panel on which something is glued, by the piece or the cut-in that it belongs to."""
        panel = self._spread.panels[panel_id]
        if panel.role == "page":
            return f"the {panel_id.removeprefix('page.')} page"
        if panel.role == "strip":
            return f"the cut-in {quoted(panel_id.split('.')[0])} of {self.piece(panel.piece)}"
        return self.piece(panel.piece)

    def face(self, panel_id: str, face: str) -> str:
        """A host's printed face or its back."""
        return f"the {'printed face' if face == 'front' else 'back'} of {self.host(panel_id)}"

    def crease(self, hinge: Hinge) -> str:
        """A crease, by the tab that it bounds or by its own name."""
        name = crease_id(hinge)
        if hinge.kind == "spine":
            return "the spine"
        roles = {self._spread.panels[panel].role: panel for panel in hinge.panels}
        if "tab" in roles and "strip" not in roles:
            return f"tab {quoted(glue_name(roles['tab']))}"
        piece, _, rest = name.rpartition(".")
        if rest == "middle" and piece in {each.id for each in self._spread.pieces}:
            return "the middle crease"
        return f"crease {quoted(name.replace('.', ' '))}"

    def fold(self, hinge: Hinge) -> str:
        """A crease in a sentence of its own."""
        name = self.crease(hinge)
        return f"the crease of {name}" if name.startswith("tab ") else name


def crease_id_of(hinge_id: str) -> str:
    """The name of a crease from that of one of its parts."""
    return hinge_id.split("#")[0]


def crease_id(hinge: Hinge) -> str:
    """The name of a crease; what a cut-in parts in two keeps one name."""
    return crease_id_of(hinge.id)
