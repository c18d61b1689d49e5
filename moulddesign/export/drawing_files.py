"""A drawing as a DXF and as an SVG file, layer by layer; one unit is a millimetre on the paper.

The same drawing is the same bytes. DXF is R2010; its dimensions are entities with a block each,
which a CAD program shows as they are, and draws by its own rules once somebody pulls them.
"""

import io
import re
from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Final
from xml.sax.saxutils import escape

from moulddesign.export.drawing import Drawing
from moulddesign.export.entities import (
    ARROW_MM,
    CAPITAL_RATIO,
    EXTENSION_GAP_MM,
    FIGURE_GAP_MM,
    FIGURE_MM,
    LINE_STYLES,
    OVERSHOOT_MM,
    Align,
    Arrowhead,
    Circle,
    Dimension,
    DimensionKind,
    DrawingLayer,
    DrawnLine,
    Entity,
    Point,
    Primitive,
    Text,
    primitives_of,
)
from moulddesign.export.fonts import Fonts

TEXT_STYLE: Final = "lettering"
TEXT_FONT: Final = "arial.ttf"
"""Programs take another sans-serif font where it is missing."""

DIMENSION_STYLE: Final = "dimension"
DIMENSION_VARIABLES: Final = {
    "dimtxt": FIGURE_MM,
    "dimasz": ARROW_MM,
    "dimexo": EXTENSION_GAP_MM,
    "dimexe": OVERSHOOT_MM,
    "dimgap": FIGURE_GAP_MM,
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
"""How dimensions look after ISO 129-1, in DXF's own variables; lengths on the paper [mm]."""

MOVED_FIGURE: Final = 128
"""Flag of a dimension whose figure does not stand where a program would put it."""

DXF_CODES: Final = {"%": "%%%", "^": "^ ", "\N{DIAMETER SIGN}": "%%c"}
"""What DXF reads as the beginning of a code, and the code of a sign that its fonts lack."""

HORIZONTAL_ALIGNMENT: Final = {Align.LEFT: 0, Align.MIDDLE: 1, Align.RIGHT: 2}
"""Group code 72 of a TEXT."""

JULIAN_DATE: Final = "2440587.5"
"""The first moment of 1970; replaces every time in the file."""

GUID: Final = "{00000000-0000-0000-0000-000000000000}"
"""Replaces the identifiers that ezdxf draws at random."""


def dxf_bytes(drawing: Drawing, fonts: Fonts) -> bytes:
    """Return a drawing as a DXF file whose dimensions measure true lengths.

    Parameters
    ----------
    drawing : Drawing
        Its sheet's limits are the file's.
    fonts : Fonts
        What can be lettered; code points replace the rest.
    """
    from ezdxf import units  # noqa: PLC0415 (a build without a drawing loads no CAD library)
    from ezdxf.filemanagement import new  # noqa: PLC0415 (the same)

    document = new("R2010", setup=["linetypes"], units=units.MM)
    sheet = drawing.sheet
    document.header["$LTSCALE"] = 1.0
    document.header["$LIMMAX"] = (sheet.width_mm, sheet.height_mm)
    document.header["$EXTMIN"] = (0.0, 0.0, 0.0)
    document.header["$EXTMAX"] = (sheet.width_mm, sheet.height_mm, 0.0)
    document.styles.add(TEXT_STYLE, font=TEXT_FONT)
    for layer, style in LINE_STYLES.items():
        document.layers.add(
            layer.value,
            color=style.dxf_colour,
            linetype=style.dxf_line_type,
            lineweight=style.width_um // 10,
        )
    own = {"dimlfac": 1.0 / drawing.scale, "dimtxsty": TEXT_STYLE}
    document.dimstyles.new(DIMENSION_STYLE, dxfattribs=DIMENSION_VARIABLES | own)
    space = document.modelspace()
    for entity in drawing.entities:
        if isinstance(entity, Dimension):
            block = _add_dimension(space, entity)
            for primitive in entity.primitives:
                _add(block, primitive, fonts)
        else:
            _add(space, entity, fonts)
    document.set_modelspace_vport(
        height=sheet.height_mm, center=(sheet.width_mm / 2.0, sheet.height_mm / 2.0)
    )
    # ezdxf 1.4 declares the classes in use in the order of a set of words; those that are there
    # already keep their order.
    for name in sorted(document.entitydb.dxf_types_in_use()):
        document.classes.add_class(name)
    text = io.StringIO()
    document.write(text)
    return _without_times(text.getvalue()).encode("utf-8")


def dxf_text(text: str) -> str:
    """Return a text as DXF writes it, so that it is read as it stands.

    Examples
    --------
    >>> dxf_text("\N{DIAMETER SIGN}53.5"), dxf_text("100 %"), dxf_text("a%%db")
    ('%%c53.5', '100 %', 'a%%%%%%db')
    """
    return "".join(
        DXF_CODES[one] if one in DXF_CODES and (one != "%" or "%%" in text) else one for one in text
    )


def _add(space: Any, primitive: Primitive, fonts: Fonts) -> None:  # noqa: ANN401 (ezdxf's layout)
    look: dict[str, Any] = {"layer": primitive.layer.value}
    match primitive:
        case DrawnLine():
            space.add_lwpolyline(primitive.points, close=primitive.closed, dxfattribs=look)
        case Arrowhead():
            # A SOLID has four corners; a triangle repeats its last.
            space.add_solid([*primitive.points, primitive.points[-1]], dxfattribs=look)
        case Circle():
            space.add_circle(primitive.centre, primitive.radius_mm, dxfattribs=look)
        case Text():
            look |= {"style": TEXT_STYLE, "halign": HORIZONTAL_ALIGNMENT[primitive.align]}
            look |= {"insert": primitive.at, "align_point": primitive.at}
            space.add_text(
                dxf_text(fonts.with_code_points(primitive.text)),
                height=primitive.capital_mm,
                rotation=primitive.rotation_deg,
                dxfattribs=look,
            )


def _add_dimension(space: Any, dimension: Dimension) -> Any:  # noqa: ANN401 (ezdxf's)
    """Add a dimension; return its block, still empty, into which its look is drawn."""
    # ezdxf 1.4 could draw it too, but lets lines cross the figures of short dimensions, and
    # measures texts with whatever fonts the machine has.
    made = _dimension_entity(space, dimension)
    block = space.doc.blocks.new_anonymous_block(type_char="D")
    made.dxf.geometry = block.name
    made.dxf.text_midpoint = _middle(dimension.figure)
    if dimension.figure.align is not Align.MIDDLE:
        made.dxf.dimtype |= MOVED_FIGURE
    return block


def _dimension_entity(space: Any, dimension: Dimension) -> Any:  # noqa: ANN401 (ezdxf's)
    sign = dimension.figure.text.rstrip("0123456789.")
    look = {
        "text": f"{dxf_text(sign)}<>",
        "dimstyle": DIMENSION_STYLE,
        "dxfattribs": {"layer": DrawingLayer.DIMENSION.value},
    }
    points = dimension.points
    match dimension.kind:
        case DimensionKind.DIAMETER:
            centre = ((points[0][0] + points[1][0]) / 2.0, (points[0][1] + points[1][1]) / 2.0)
            return space.add_diameter_dim(centre, mpoint=points[0], **look).dimension
        case DimensionKind.RADIUS:
            return space.add_radius_dim(points[0], mpoint=points[1], **look).dimension
        case _:
            angle = 90.0 if dimension.kind is DimensionKind.VERTICAL else 0.0
            first, second, base = points
            made = space.add_linear_dim(base, first, second, angle=angle, **look).dimension
            made.dxf.defpoint = base
            return made


def _middle(text: Text) -> Point:
    """Return the middle of a line of text [mm]."""
    x, y = text.at
    along = {Align.LEFT: 0.5, Align.MIDDLE: 0.0, Align.RIGHT: -0.5}[text.align] * text.width_mm
    aside = text.capital_mm / 2.0
    return (x - aside, y + along) if text.rotation_deg else (x + along, y + aside)


def _without_times(text: str) -> str:
    """Return a file without what changes from one writing to the next: times and random names.

    ezdxf 1.4 has an option for this; it is global and leaves some of them.
    """
    text = re.sub(r"(\$TD\w+\n *40\n)[^\n]*", rf"\g<1>{JULIAN_DATE}", text)
    text = re.sub(r"(\$(?:FINGERPRINT|VERSION)GUID\n *2\n)[^\n]*", rf"\g<1>{GUID}", text)
    return re.sub(r"( @ )\d{4}-\d\d-\d\dT[^\n]*", r"\g<1>1970-01-01", text)


SVG_FAMILIES: Final = ("Verdana", "Arial")
"""Replace the bundled font, which texts were measured with; none is wider."""

SVG_ANCHORS: Final = {Align.LEFT: "start", Align.MIDDLE: "middle", Align.RIGHT: "end"}


def svg_bytes(
    size_mm: tuple[float, float], entities: Sequence[Entity], title: str, *, fonts: Fonts
) -> bytes:
    """Return entities as an SVG file, its texts as text.

    Parameters
    ----------
    size_mm : tuple of float
        Width and height [mm].
    entities : sequence of Entity
        What is drawn, from the lower left corner.
    title : str
        What a screen reader says.
    fonts : Fonts
        What can be lettered; code points replace the rest.
    """
    width, height = size_mm
    named = ("DejaVu Sans", *fonts.families, *SVG_FAMILIES)
    families = ", ".join(f"'{escape(name, {chr(39): '', chr(34): ''})}'" for name in named)
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:g}mm" height="{height:g}mm" '
        f'viewBox="0 0 {width:g} {height:g}" font-family="{families}, sans-serif">'
    )
    rows = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        head,
        f"<title>{escape(title)}</title>",
        f'<rect width="{width:g}" height="{height:g}" fill="#fff"/>',
    ]
    primitives = list(primitives_of(entities))
    for layer in DrawingLayer:
        shapes = [_svg_element(one, height, fonts) for one in primitives if one.layer is layer]
        if shapes:
            rows += [_svg_group(layer), *shapes, "</g>"]
    return "\n".join([*rows, "</svg>", ""]).encode("utf-8")


def _svg_group(layer: DrawingLayer) -> str:
    style = LINE_STYLES[layer]
    dashes = " ".join(f"{length:g}" for length in style.svg_dashes_mm)
    return (
        f'<g id="{layer}" fill="none" stroke="{style.svg_colour}" '
        f'stroke-width="{style.width_um / 1000:g}" '
        f'stroke-linejoin="round" stroke-linecap="round"'
        + (f' stroke-dasharray="{dashes}"' if dashes else "")
        + ">"
    )


def _svg_element(primitive: Primitive, height: float, fonts: Fonts) -> str:
    if isinstance(primitive, Text):
        return _svg_text(replace(primitive, text=fonts.with_code_points(primitive.text)), height)
    if isinstance(primitive, Circle):
        x, y = primitive.centre
        return f'<circle cx="{_um(x)}" cy="{_um(height - y)}" r="{_um(primitive.radius_mm)}"/>'
    points = " ".join(f"{_um(x)},{_um(height - y)}" for x, y in primitive.points)
    if isinstance(primitive, Arrowhead):
        colour = LINE_STYLES[primitive.layer].svg_colour
        return f'<polygon points="{points}" fill="{colour}" stroke="none"/>'
    return f'<{"polygon" if primitive.closed else "polyline"} points="{points}"/>'


def _svg_text(text: Text, height: float) -> str:
    x, y = _um(text.at[0]), _um(height - text.at[1])
    rotation = f' transform="rotate(-90 {x} {y})"' if text.rotation_deg else ""
    return (
        f'<text x="{x}" y="{y}" font-size="{_um(text.capital_mm / CAPITAL_RATIO)}" '
        f'text-anchor="{SVG_ANCHORS[text.align]}" fill="{LINE_STYLES[text.layer].svg_colour}" '
        f'stroke="none"{rotation}>{escape(text.text)}</text>'
    )


def _um(length_mm: float) -> str:
    """Return a length with three decimals at most: to a micrometre."""
    return f"{length_mm + 0.0:.3f}".rstrip("0").rstrip(".") or "0"
