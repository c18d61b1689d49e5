"""DXF of a drawing: R2010, millimetres, layers by meaning."""

import io
import re
from dataclasses import replace
from typing import Any, Final

from ezdxf import units
from ezdxf.enums import TextEntityAlignment
from ezdxf.filemanagement import new

from moulddesign.export.drawing import Drawing
from moulddesign.export.dxf_dimension import add_dimension, add_style, encoded
from moulddesign.export.glyphs import Faces
from moulddesign.export.ink import Align, Circle, Dimension, Fill, Layer, Lettering, Mark, Stroke
from moulddesign.export.pens import PENS

STYLE: Final = "lettering"
"""Name of the text style."""

FACE: Final = "arial.ttf"
"""Face of the lettering; programs take another sans-serif face where it is missing."""

ALIGNED: Final = {
    Align.LEFT: TextEntityAlignment.LEFT,
    Align.MIDDLE: TextEntityAlignment.CENTER,
    Align.RIGHT: TextEntityAlignment.RIGHT,
}

JULIAN: Final = "2440587.5"
"""The Julian date that stands for every time in the file: the first moment of 1970."""

GUID: Final = "{00000000-0000-0000-0000-000000000000}"
"""Stands for the identifiers that ezdxf draws at random."""


def dxf_bytes(drawn: Drawing, faces: Faces) -> bytes:
    """Return a drawing as a DXF file; one unit is a millimetre on the paper.

    Parameters
    ----------
    drawn : Drawing
        Its sheet's limits are the drawing's; its dimensions measure true lengths.
    faces : Faces
        What can be lettered; code points stand in the place of the rest.
    """
    document = new("R2010", setup=["linetypes"], units=units.MM)
    sheet = drawn.sheet
    document.header["$LTSCALE"] = 1.0
    document.header["$LIMMAX"] = (sheet.width_mm, sheet.height_mm)
    document.header["$EXTMIN"] = (0.0, 0.0, 0.0)
    document.header["$EXTMAX"] = (sheet.width_mm, sheet.height_mm, 0.0)
    document.styles.add(STYLE, font=FACE)
    for layer in Layer:
        pen = PENS[layer]
        document.layers.add(
            layer.value, color=pen.number, linetype=pen.line_type, lineweight=pen.width_um // 10
        )
    add_style(document, drawn.scale, lettering=STYLE)
    space = document.modelspace()
    for ink in drawn.inks:
        if isinstance(ink, Dimension):
            block = add_dimension(space, ink)
            for mark in ink.marks:
                _add(block, mark, faces)
        else:
            _add(space, ink, faces)
    document.set_modelspace_vport(
        height=sheet.height_mm, center=(sheet.width_mm / 2.0, sheet.height_mm / 2.0)
    )
    # ezdxf 1.4 declares the classes in use in the order of a set of words; those that are there
    # already keep their order.
    for name in sorted(document.entitydb.dxf_types_in_use()):
        document.classes.add_class(name)
    text = io.StringIO()
    document.write(text)
    return _timeless(text.getvalue()).encode("utf-8")


def _add(space: Any, ink: Mark, faces: Faces) -> None:  # noqa: ANN401 (ezdxf's layout)
    marks = {"layer": ink.layer.value}
    if isinstance(ink, Stroke):
        space.add_lwpolyline(ink.points, close=ink.closed, dxfattribs=marks)
    elif isinstance(ink, Circle):
        space.add_circle(ink.middle, ink.radius_mm, dxfattribs=marks)
    elif isinstance(ink, Fill):
        space.add_solid([*ink.points, ink.points[-1]], dxfattribs=marks)
    else:
        _add_text(space, replace(ink, text=faces.marked(ink.text)), marks)


def _add_text(space: Any, ink: Lettering, marks: dict[str, str]) -> None:  # noqa: ANN401 (the same)
    entity = space.add_text(
        encoded(ink.text),
        height=ink.capital_mm,
        rotation=ink.upright_deg,
        dxfattribs=marks | {"style": STYLE},
    )
    entity.set_placement(ink.at, align=ALIGNED[ink.align])


def _timeless(text: str) -> str:
    """Return the file without what changes from one writing to the next: times and random names.

    ezdxf 1.4 has an option for this; it is global and leaves some of them.
    """
    text = re.sub(r"(\$TD\w+\n *40\n)[^\n]*", rf"\g<1>{JULIAN}", text)
    text = re.sub(r"(\$(?:FINGERPRINT|VERSION)GUID\n *2\n)[^\n]*", rf"\g<1>{GUID}", text)
    return re.sub(r"( @ )\d{4}-\d\d-\d\dT[^\n]*", r"\g<1>1970-01-01", text)
