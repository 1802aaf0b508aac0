"""Drawings of plain rectangles, to be laid on sheets."""

from shapely import MultiPolygon, box

from geometry.model import Piece, Stock
from geometry.nets import PieceDrawing

CARD = Stock("card", 250.0, 0.3, "any", (1.0, 1.0, 1.0))


def plain(name, width, height, stock=CARD):
    return PieceDrawing(Piece(name, name, stock, (name,)), (), (), None, None, MultiPolygon([box(0, 0, width, height)]))
