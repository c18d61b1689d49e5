"""DXF of a drawing.

R2010, millimetres, layers by meaning, dimensions that a CAD program measures anew.
"""

import io
import re
from dataclasses import replace
from typing import Any, Final

from ezdxf import units
from ezdxf.enums import TextEntityAlignment
from ezdxf.filemanagement import new

from moulddesign.export.drawing import Drawing
from moulddesign.export.glyphs import Faces
from moulddesign.export.ink import (
    ARROW_MM,
    CAPITAL_MM,
    GAP_MM,
    LIFT_MM,
    OVER_MM,
    PENS,
    Align,
    Circle,
    Dimension,
    Fill,
    Layer,
    Lettering,
    Mark,
    Measures,
    Point,
    Stroke,
)

DXF_DIMENSION_STYLE: Final = "dimension"
"""Name of the style."""

SHAPE: Final = {
    "dimtxt": CAPITAL_MM,
    "dimasz": ARROW_MM,
    "dimexo": GAP_MM,
    "dimexe": OVER_MM,
    "dimgap": LIFT_MM,
    "dimtad": 1,  # the figure stands above its line
    "dimtih": 0,  # and along it
    "dimtoh": 0,
    "dimdec": 2,
    "dimzin": 8,  # no trailing zeros
    "dimdsep": ord("."),
    "dimlunit": 2,  # decimal
    "dimblk": "",  # a filled arrow
    "dimscale": 1.0,
}
"""How dimensions look, after ISO 129-1, in DXF's own words; lengths on the paper [mm]."""

MOVED: Final = 128
"""Flag of a figure that does not stand where a program would put it."""

CONTROLS: Final = {"%": "%%%", "^": "^ ", "\N{DIAMETER SIGN}": "%%c"}
"""Characters that DXF reads as the beginning of a code, and the code of one that its faces lack."""


def encoded(text: str) -> str:
    """Return a text as DXF writes it, so that it is read as it stands.

    Examples
    --------
    >>> encoded("\N{DIAMETER SIGN}53.5"), encoded("100 %"), encoded("a%%db")
    ('%%c53.5', '100 %', 'a%%%%%%db')
    """
    return "".join(
        CONTROLS[one] if one in CONTROLS and (one != "%" or "%%" in text) else one for one in text
    )


def add_style(document: Any, scale: float, *, lettering: str) -> None:  # noqa: ANN401 (ezdxf's)
    """Add the style of the dimensions to a document.

    Parameters
    ----------
    document : ezdxf document
        Changed.
    scale : float
        Length on the paper over true length; dimensions tell the true one.
    lettering : str
        Name of the text style.
    """
    own = {"dimlfac": 1.0 / scale, "dimtxsty": lettering}
    document.dimstyles.new(DXF_DIMENSION_STYLE, dxfattribs=SHAPE | own)


def add_dimension(space: Any, ink: Dimension) -> Any:  # noqa: ANN401 (ezdxf's)
    """Add a dimension to a space.

    Parameters
    ----------
    space : ezdxf layout
        Changed.
    ink : Dimension
        What it measures.

    Returns
    -------
    ezdxf block
        Empty; what the dimension looks like is drawn into it.
    """
    made = _entity(space, ink)
    block = space.doc.blocks.new_anonymous_block(type_char="D")
    made.dxf.geometry = block.name
    made.dxf.text_midpoint = _middle(ink.figure)
    if ink.figure.align is not Align.MIDDLE:
        made.dxf.dimtype |= MOVED
    return block


def _entity(space: Any, ink: Dimension) -> Any:  # noqa: ANN401 (ezdxf's)
    sign = ink.figure.text.rstrip("0123456789.")
    look = {
        "text": f"{encoded(sign)}<>",
        "dimstyle": DXF_DIMENSION_STYLE,
        "dxfattribs": {"layer": Layer.DIMENSION.value},
    }
    points = ink.points
    match ink.measures:
        case Measures.DIAMETER:
            middle = ((points[0][0] + points[1][0]) / 2.0, (points[0][1] + points[1][1]) / 2.0)
            return space.add_diameter_dim(middle, mpoint=points[0], **look).dimension
        case Measures.RADIUS:
            return space.add_radius_dim(points[0], mpoint=points[1], **look).dimension
        case _:
            angle = 90.0 if ink.measures is Measures.UPRIGHT else 0.0
            first, second, base = points
            made = space.add_linear_dim(base, first, second, angle=angle, **look).dimension
            made.dxf.defpoint = base
            return made


def _middle(figure: Lettering) -> Point:
    """Return the middle of a figure [mm]."""
    x, y = figure.at
    along = {Align.LEFT: 0.5, Align.MIDDLE: 0.0, Align.RIGHT: -0.5}[figure.align] * figure.width_mm
    aside = figure.capital_mm / 2.0
    return (x - aside, y + along) if figure.upright_deg else (x + along, y + aside)


DXF_STYLE: Final = "lettering"
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
    document.styles.add(DXF_STYLE, font=FACE)
    for layer in Layer:
        pen = PENS[layer]
        document.layers.add(
            layer.value, color=pen.number, linetype=pen.line_type, lineweight=pen.width_um // 10
        )
    add_style(document, drawn.scale, lettering=DXF_STYLE)
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
        dxfattribs=marks | {"style": DXF_STYLE},
    )
    entity.set_placement(ink.at, align=ALIGNED[ink.align])


def _timeless(text: str) -> str:
    """Return the file without what changes from one writing to the next: times and random names.

    ezdxf 1.4 has an option for this; it is global and leaves some of them.
    """
    text = re.sub(r"(\$TD\w+\n *40\n)[^\n]*", rf"\g<1>{JULIAN}", text)
    text = re.sub(r"(\$(?:FINGERPRINT|VERSION)GUID\n *2\n)[^\n]*", rf"\g<1>{GUID}", text)
    return re.sub(r"( @ )\d{4}-\d\d-\d\dT[^\n]*", r"\g<1>1970-01-01", text)
