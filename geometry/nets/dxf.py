"""A sheet as DXF R2010: millimetres, one layer a line class, one group a piece."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

import numpy as np
from ezdxf import units
from ezdxf._options import options
from ezdxf.colors import rgb2int
from ezdxf.document import Drawing
from ezdxf.entities.dxfentity import DXFEntity
from ezdxf.enums import TextEntityAlignment
from ezdxf.filemanagement import new
from ezdxf.layouts.layout import Modelspace

from ..transforms import Array
from .classes import LINE_CLASSES, STYLES, Style, dashes_mm
from .curves import refined
from .lettering import CAP_HEIGHT
from .lines import NetLine, NetText
from .sheets import Sheet

__all__ = ["add_line", "document_bytes", "fixed_dates", "new_document", "sheet_dxf"]

_TEXT_STYLE = "NET"
#: Of a line that is only scored lightly, 1/100 mm; one of the widths that DXF knows.
_LIGHT_WEIGHT = 13
#: Curves are polylines here, one path a line as machines want it, and nowhere further from the curve than this.
_CHORD_MM = 0.001
_ALIGN = {
    "start": TextEntityAlignment.MIDDLE_LEFT,
    "middle": TextEntityAlignment.MIDDLE_CENTER,
    "end": TextEntityAlignment.MIDDLE_RIGHT,
}


def sheet_dxf(sheet: Sheet) -> bytes:
    """Write one sheet.

    Parameters
    ----------
    sheet : Sheet

    Returns
    -------
    bytes, UTF-8; artwork is not in it, its layer is empty
    """
    with fixed_dates():
        document = new_document(sheet.width_mm, sheet.height_mm)
        space = document.modelspace()
        for number, drawing in enumerate(sheet.pieces, 1):
            parts = [add_line(space, line) for line in drawing.lines]
            parts += [_letters(space, text) for text in drawing.texts]
            name = re.sub(r"[^\w-]", "_", "-".join([drawing.piece.id, *drawing.part.attributes.values()]))
            document.groups.new(f"{number}-{name}", description=drawing.piece.id).extend(parts)
        _content(space, sheet.lines, sheet.texts)
        return document_bytes(document)


def document_bytes(document: Drawing) -> bytes:
    """A finished drawing as a file's contents, UTF-8; within fixed_dates, the same for the same drawing."""
    # ezdxf adds these when it writes, in the order of a set of names, which differs from run to run.
    for name in sorted(document.entitydb.dxf_types_in_use()):
        document.classes.add_class(name)
    stream = io.StringIO()
    document.write(stream)
    return stream.getvalue().encode("utf-8")


@contextmanager
def fixed_dates() -> Iterator[None]:
    """The same input gives the same bytes: ezdxf's own switch for fixed dates and identifiers."""
    before = options.write_fixed_meta_data_for_testing
    options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        options.write_fixed_meta_data_for_testing = before


def new_document(width_mm: float, height_mm: float) -> Drawing:
    """An empty drawing of a sheet of that size, with a layer a line class."""
    document = new("R2010", units=units.MM)
    document.header["$MEASUREMENT"] = 1
    document.header["$LTSCALE"] = 1.0
    document.styles.new(_TEXT_STYLE, dxfattribs={"font": "arial.ttf"})
    for name in LINE_CLASSES:
        style = STYLES[name]
        if style.dashes:
            signed = [dash if index % 2 == 0 else -dash for index, dash in enumerate(style.dashes)]
            document.linetypes.add(style.dxf_type, [round(sum(style.dashes), 6), *signed], description=f"{name} fold")
        layer = document.layers.add(name, color=style.dxf_color, linetype=style.dxf_type)
        if _is_coloured(style):
            layer.rgb = style.color
        layer.dxf.lineweight = round(style.width_mm * 100) if style.width_mm > 0.1 else 9
    size = (width_mm, height_mm)
    space = document.modelspace()
    space.reset_extents((0.0, 0.0, 0.0), (*size, 0.0))
    space.reset_limits((0.0, 0.0), size)
    document.set_modelspace_vport(height=1.05 * size[1], center=(size[0] / 2, size[1] / 2))
    return document


def _is_coloured(style: Style) -> bool:
    """Whether a style has a hue; blacks and greys keep to the index, which a dark screen shows light."""
    return len(set(style.color)) > 1


def _content(space: Modelspace, lines: Sequence[NetLine], texts: Sequence[NetText]) -> None:
    for line in lines:
        add_line(space, line)
    for text in texts:
        _letters(space, text)


def _rounded(point: Array) -> tuple[float, float]:
    """A point to a nanometre, so that the last bits of a computer's arithmetic do not show in the file."""
    x, y = point
    return round(float(x), 6), round(float(y), 6)


def add_line(space: Modelspace, line: NetLine) -> DXFEntity:
    """Draw a line on the layer and in the style of its class."""
    attributes: dict[str, object] = {"layer": line.line_class}
    style = STYLES[line.look or line.line_class]
    if line.look is not None:
        attributes |= {"color": style.dxf_color, "linetype": style.dxf_type}
        attributes |= {"lineweight": round(style.width_mm * 100)}
        if _is_coloured(style):
            attributes["true_color"] = rgb2int(style.color)
    if line.light:
        attributes["lineweight"] = _LIGHT_WEIGHT
    if style.dashes:
        attributes["ltscale"] = round(dashes_mm(style, line.length_mm)[0] / style.dashes[0], 6)
    points = [_rounded(point) for point in refined(line.stretches, line.closed, _CHORD_MM)]
    if style.tint and line.closed and line.tinted:
        fill = {key: value for key, value in attributes.items() if key in ("layer", "true_color")}
        hatch = space.add_hatch(color=style.dxf_color, dxfattribs=fill)
        hatch.transparency = 1.0 - style.tint
        hatch.paths.add_polyline_path(points, is_closed=True)
    return space.add_lwpolyline(points, close=line.closed, dxfattribs=attributes)


def _letters(space: Modelspace, text: NetText) -> DXFEntity:
    attributes = {"layer": text.line_class, "style": _TEXT_STYLE}
    entity = space.add_text(
        text.text,
        height=round(text.size_mm * CAP_HEIGHT, 6),
        rotation=round(float(np.degrees(text.turn_rad)), 6),
        dxfattribs=attributes,
    )
    return entity.set_placement(_rounded(text.place), align=_ALIGN[text.anchor])
