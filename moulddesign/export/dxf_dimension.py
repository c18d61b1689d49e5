"""Dimensions of a DXF file: entities that a CAD program measures anew when they are pulled."""

from typing import Any, Final

from moulddesign.export.dimension import ARROW_MM, CAPITAL_MM, GAP_MM, LIFT_MM, OVER_MM
from moulddesign.export.ink import Align, Dimension, Layer, Lettering, Measures, Point

STYLE: Final = "dimension"
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
    document.dimstyles.new(STYLE, dxfattribs=SHAPE | own)


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
        "dimstyle": STYLE,
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
