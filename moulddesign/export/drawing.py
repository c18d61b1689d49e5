"""The drawing: views on the smallest sheet that takes them in true size, as DXF and as SVG.

One unit is a millimetre on the paper, and the same drawing is the same bytes. DXF is R2010; its
dimensions are entities with a block each, which a CAD program shows as they are, and draws by its
own rules after they are edited.
"""

import io
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final
from xml.sax.saxutils import escape

import numpy as np
import shapely

from moulddesign import __version__
from moulddesign.building import PASTRY, Build
from moulddesign.core import DECIMAL_COMMA, KernelError, Message, say, with_decimal_sign, word
from moulddesign.design import Kind, Paper
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
    bounds_of,
    fit_text,
    format_number,
    primitives_of,
)
from moulddesign.export.fonts import Fonts, fonts_of
from moulddesign.export.side_band_table import side_band_table
from moulddesign.export.views import (
    SIZE_TOLERANCE_MM,
    PartProfile,
    assembly_section,
    assembly_view,
    part_plan,
    part_profile,
    part_view,
)
from moulddesign.geometry import upright_section
from moulddesign.mould import PressLayout

View = tuple[Entity, ...]

SCALES: Final = (1.0, 0.5, 0.2, 0.1)
"""Scales of ISO 5455 that are tried, true size first."""

VIEW_GAP_MM: Final = 8.0
"""Between views of a column [mm]."""

COLUMN_GAP_MM: Final = 2.0
"""Least distance between columns, and from the frame [mm]."""

FRAME_MM: Final = 10.0
"""From the edge of the paper to the frame; ISO 5457 wants 20 mm at the left, for filing [mm]."""

TITLE_BLOCK_MM: Final = (180.0, 34.0)
"""Width, that of ISO 7200, and height of the title block [mm]."""

CARD_ROOM_MM: Final = (60.0, 84.0)
"""Largest width and height of the section on a card, without dimensions and labels [mm]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """A sheet of paper as it lies before the reader."""

    name: str
    width_mm: float
    height_mm: float
    third_angle: bool = False
    """Whether its readers are used to third-angle projection: a plan above the view, not below."""


SHEETS: Final = {
    Paper.A4: (
        Sheet(name="A4", width_mm=210.0, height_mm=297.0),
        Sheet(name="A4", width_mm=297.0, height_mm=210.0),
        Sheet(name="A3", width_mm=420.0, height_mm=297.0),
    ),
    Paper.LETTER: (
        Sheet(name="Letter", width_mm=215.9, height_mm=279.4, third_angle=True),
        Sheet(name="Letter", width_mm=279.4, height_mm=215.9, third_angle=True),
        Sheet(name="Tabloid", width_mm=431.8, height_mm=279.4, third_angle=True),
    ),
}
"""Sheets of each paper, the smallest first."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sections:
    """What the views of a build are drawn from."""

    parts: tuple[PartProfile, ...]
    pastry: shapely.Geometry
    """The pastry's section [mm]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawing:
    """A sheet and all that is drawn on it."""

    sheet: Sheet
    scale: float
    """Length on the paper over true length."""
    entities: View
    """From the sheet's lower left corner [mm]."""


def build_sections(build: Build) -> Sections:
    """Return the sections and edges of a build's parts, and the section of its pastry."""
    return Sections(
        parts=tuple(part_profile(part.mesh, part.name) for part in build.mould.assembled),
        pastry=upright_section(build.meshes[PASTRY]),
    )


def drawing(build: Build, shown: Sections, paper: Paper) -> Drawing:
    """Return the drawing: at 1:1 on the smallest sheet, or the largest at a smaller scale."""
    for scale in SCALES:
        views = _views(build, shown, scale=scale, third_angle=paper is Paper.LETTER)
        for sheet in SHEETS[paper]:
            arranged = _arranged(views, sheet)
            if arranged is not None:
                far = (sheet.width_mm - FRAME_MM, sheet.height_mm - FRAME_MM)
                frame = _rectangle((FRAME_MM, FRAME_MM), far)
                title = _title_block(build, sheet, f"1:{1.0 / scale:g}")
                entities = _with_decimal_signs((*title, *arranged), fonts_of(build.design).language)
                return Drawing(sheet=sheet, scale=scale, entities=(frame, *entities))
    raise KernelError(say("export.the-drawing"), say("export.mould-larger-than-any-sheet"))


def card_section(build: Build, shown: Sections) -> tuple[tuple[float, float], View]:
    """Return the section of the pressed mould alone, no larger than a card has room for.

    Width and height of what is drawn come first [mm]; entities count from its lower left corner.
    """
    low, high = (
        np.array([part.section.bounds for part in shown.parts]).reshape(-1, 2, 2).swapaxes(0, 1)
    )
    size = high.max(axis=0) - low.min(axis=0)
    scale = min(1.0, *(np.array(CARD_ROOM_MM) / size).tolist())
    entities = assembly_section(build, shown.parts, shown.pastry, scale=scale)
    entities = _with_decimal_signs(entities, fonts_of(build.design).language)
    x0, y0, x1, y1 = bounds_of(entities)
    return (x1 - x0, y1 - y0), tuple(entity.moved(-x0, -y0) for entity in entities)


def _with_decimal_signs(entities: View, language: str) -> View:
    """Return entities with the figures of dimensions as a language writes them."""

    def written(one: Primitive) -> Primitive:
        if isinstance(one, Text):
            return replace(one, text=with_decimal_sign(one.text, language))
        return one

    return tuple(
        replace(one, primitives=tuple(map(written, one.primitives)))
        if isinstance(one, Dimension)
        else one
        for one in entities
    )


def _views(build: Build, shown: Sections, *, scale: float, third_angle: bool) -> list[View]:
    is_press, fonts = build.design.mould.kind is Kind.PRESS, fonts_of(build.design)
    whole = assembly_view(build, shown.parts, shown.pastry, scale=scale)
    views = [_with_plan(*whole, third_angle=third_angle)]
    for number, part in enumerate(shown.parts):
        view = part_view(part, scale=scale, number=number, fonts=fonts)
        plan = part_plan(part, scale=scale)
        if not is_press:
            # Beside the section, not below it: so most blocks fit a sheet in true size.
            views += [view, plan]
        elif _is_round(part):
            views.append(view)  # the diameters say it all
        else:
            views.append(_with_plan(view, plan, third_angle=third_angle))
    bands = side_band_table(build)
    return [*views, bands] if bands else views


def _is_round(part: PartProfile) -> bool:
    """Return whether a part reaches as far in every direction from its axis, seen from above."""
    x, y = np.concatenate(part.edges_from_above).T
    sides = np.array([x.max(), -x.min(), y.max(), -y.min()])
    return bool(np.ptp(sides) < SIZE_TOLERANCE_MM and np.hypot(x, y).max() < sides.max() + 0.1)


def _with_plan(view: View, plan: View, *, third_angle: bool) -> View:
    """Return a section with its plan: below it in first angle, above it in third."""
    upper, lower = (plan, view) if third_angle else (view, plan)
    down = bounds_of(lower)[3] + VIEW_GAP_MM - bounds_of(upper)[1]
    return (*upper, *(entity.moved(0.0, -down) for entity in lower))


def _arranged(views: list[View], sheet: Sheet) -> View | None:
    """Return views in columns from the left; None where the sheet is too small."""
    left, high = FRAME_MM + COLUMN_GAP_MM, sheet.height_mm - FRAME_MM - COLUMN_GAP_MM
    low = FRAME_MM + TITLE_BLOCK_MM[1] + COLUMN_GAP_MM
    right = sheet.width_mm - FRAME_MM - COLUMN_GAP_MM
    columns = _columns(views, high - low)
    if columns is None:
        return None
    widths = [max(_size_mm(view)[0] for view in column) for column in columns]
    spare = right - left - sum(widths)
    if spare < COLUMN_GAP_MM * (len(columns) - 1):
        return None
    gap = spare / (len(columns) + 1)
    entities: list[Entity] = []
    x = left
    for column, width in zip(columns, widths, strict=True):
        x += gap
        entities += _column(column, (x, width), (low, high))
        x += width
    return tuple(entities)


def _columns(views: list[View], height: float) -> list[list[View]] | None:
    """Return views in columns, each filled from above; None where one view is too high."""
    columns: list[list[View]] = [[]]
    for view in views:
        if _size_mm(view)[1] > height:
            return None
        used = sum(_size_mm(other)[1] + VIEW_GAP_MM for other in columns[-1])
        if columns[-1] and used + _size_mm(view)[1] > height:
            columns.append([])
        columns[-1].append(view)
    return columns


def _column(
    views: list[View], left_and_width: tuple[float, float], low_and_high: tuple[float, float]
) -> list[Entity]:
    """Return views one below the other, spread evenly over a column's height."""
    left, width = left_and_width
    low, high = low_and_high
    gap = (high - low - sum(_size_mm(view)[1] for view in views)) / (len(views) + 1)
    y, entities = high, []
    for view in views:
        x0, _, x1, y1 = bounds_of(view)
        y -= gap
        shift = (left + (width - (x1 - x0)) / 2.0 - x0, y - y1)
        entities += [entity.moved(*shift) for entity in view]
        y -= _size_mm(view)[1]
    return entities


def _size_mm(view: View) -> tuple[float, float]:
    x0, y0, x1, y1 = bounds_of(view)
    return x1 - x0, y1 - y0


def _title_block(build: Build, sheet: Sheet, scale: str) -> list[Entity]:
    """Return the title block, three rows of three cells in the frame's lower right corner."""
    width, height = TITLE_BLOCK_MM
    width = min(width, sheet.width_mm - 2.0 * FRAME_MM)
    right, low = sheet.width_mm - FRAME_MM, FRAME_MM
    left, high = right - width, low + height
    columns = (left, left + 0.5 * width, left + 0.78 * width, right)
    rows = (low, low + height / 3.0, low + 2.0 * height / 3.0, high)
    entities: list[Entity] = [_rectangle((left, low), (right, high))]
    entities += [_line((x, low), (x, high)) for x in columns[1:-1]]
    entities += [_line((left, y), (right, y)) for y in rows[1:-1]]
    for (column, row), (head, text) in _cells(build, sheet, scale).items():
        entities += _cell((head, text), (columns[column], rows[row]), columns[column + 1])
    symbol = (columns[2] + 27.0, rows[1] + height / 6.0 - 1.0)
    return [*entities, *_projection_symbol(*symbol, third_angle=sheet.third_angle)]


def _cells(build: Build, sheet: Sheet, scale: str) -> dict[tuple[int, int], tuple[str, str]]:
    """Return heading and text of each cell by its column and its row from below."""
    piece, mould, text = build.portion.piece, build.design.mould, fonts_of(build.design).text
    unsure = build.design.portion.is_loss_unmeasured
    filled = build.portion.is_filled
    weights = say(
        "export.title-piece",
        finished=format_number(piece.finished_g),
        raw=format_number(piece.raw_g),
        loss=say("export.title-unmeasured") if unsure else "",
        made_of=say("export.title-ratio", ratio=build.design.portion.ratio)
        if filled
        else word(build.portion.composition.value),
    )
    kind = word(mould.kind.value)
    if isinstance(build.mould.layout, PressLayout):
        gap = format_number(build.mould.layout.clearance_mm)
        kind = say("export.title-clearance", kind=kind, mm=gap)
    third = say("export.title-third-angle"), say("export.title-first-angle")
    at_scale = say("export.title-scale-on", scale=scale, sheet=sheet.name)
    cells: dict[tuple[int, int], tuple[Message, Message | str]] = {
        (0, 2): (say("export.title-name"), word(build.design.name)),
        (0, 1): (say("export.title-of-piece"), weights),
        (0, 0): (say("export.title-by"), f"moulddesign {__version__}"),
        (1, 2): (say("export.title-mould"), kind),
        (1, 1): (say("export.title-material"), word(build.design.printer.material)),
        (1, 0): (say("export.title-date"), ""),
        (2, 2): (say("export.title-scale"), at_scale),
        (2, 1): (third[0] if sheet.third_angle else third[1], ""),
        (2, 0): (say("export.title-checked"), ""),
    }
    return {
        place: (text(head), said if isinstance(said, str) else text(said))
        for place, (head, said) in cells.items()
    }


def _cell(head_and_text: tuple[str, str], corner: Point, right: float) -> list[Entity]:
    """Return a cell's small heading and its text, from its lower left corner to its right side."""
    (head, text), (x, y) = head_and_text, corner
    room_mm = right - x - 4.0
    head, small = fit_text(head, capital_mm=1.8, least_capital_mm=1.4, room_mm=room_mm)
    entities: list[Entity] = [Text(text=head, at=(x + 2.0, y + 8.2), capital_mm=small)]
    if text:
        text, capital = fit_text(text, capital_mm=3.2, least_capital_mm=1.8, room_mm=room_mm)
        entities.append(Text(text=text, at=(x + 2.0, y + 2.6), capital_mm=capital))
    return entities


def _projection_symbol(x: float, y: float, *, third_angle: bool) -> list[Entity]:
    """Return the symbol of ISO 5456-2: a truncated cone's two views, as the angle places them."""
    # The cone's small end faces the circles in third angle, and away from them in first.
    cone_x, circles_x = (x + 6.0, x - 6.0) if third_angle else (x - 6.0, x + 6.0)
    cone = ((-3.5, -1.5), (3.5, -3.0), (3.5, 3.0), (-3.5, 1.5))
    points = tuple((cone_x + px, y + py) for px, py in cone)
    return [
        DrawnLine(points=points, layer=DrawingLayer.FRAME, closed=True),
        Circle(centre=(circles_x, y), radius_mm=1.5, layer=DrawingLayer.FRAME),
        Circle(centre=(circles_x, y), radius_mm=3.0, layer=DrawingLayer.FRAME),
        DrawnLine(points=((x - 10.5, y), (x + 10.5, y)), layer=DrawingLayer.AXIS),
        DrawnLine(points=((circles_x, y - 4.0), (circles_x, y + 4.0)), layer=DrawingLayer.AXIS),
    ]


def _rectangle(low: Point, high: Point) -> DrawnLine:
    (x0, y0), (x1, y1) = low, high
    corners = ((x0, y0), (x1, y0), (x1, y1), (x0, y1))
    return DrawnLine(points=corners, layer=DrawingLayer.FRAME, closed=True)


def _line(a: Point, b: Point) -> DrawnLine:
    return DrawnLine(points=(a, b), layer=DrawingLayer.FRAME)


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
    """Return a drawing as a DXF file whose dimensions measure true lengths."""
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
    own |= {"dimdsep": ord("," if fonts.language in DECIMAL_COMMA else ".")}
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
    sign = dimension.figure.text.rstrip("0123456789.,")
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
    """Return entities as an SVG file, its texts as text."""
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
