"""The mould pressed to its nominal height with the pastry in it: section, and plan below."""

from collections.abc import Sequence
from math import sqrt
from typing import Final

import numpy as np
import shapely

from moulddesign.artwork.outline import Outline
from moulddesign.building import Build
from moulddesign.design import Kind
from moulddesign.export.entities import (
    ARROW_MM,
    ROW_MM,
    TIMES,
    Align,
    Arrowhead,
    Circle,
    DrawingLayer,
    DrawnLine,
    Entity,
    Text,
    bounds_of,
    diameter_dimension,
    fit_text,
    format_number,
    horizontal_dimension,
    radius_dimension,
    vertical_dimension,
)
from moulddesign.export.views import (
    PartProfile,
    hatch_lines,
    hatching,
    horizontal_axis,
    outline_entity,
    shape_outlines,
    vertical_axis,
    view_title,
)

LABEL_MM: Final = 2.8
"""Height of a label's capitals [mm]."""

LABEL_STEP_MM: Final = 6.0
"""Least distance of one label from the next [mm]."""

LEAST_CUT_MM: Final = 0.2
"""Least radius of the disc in which the plane cuts a centre that is drawn as cut [mm]."""

LABEL_ROOM_MM: Final = 34.0
"""Longest label [mm]."""


def assembly_view(
    build: Build, parts: Sequence[PartProfile], pastry: shapely.Geometry, *, scale: float
) -> tuple[tuple[Entity, ...], tuple[Entity, ...]]:
    """Return section A-A of the pressed mould, and the pastry seen from above.

    Parts and pastry's section are in true size; `scale` is length on the paper over true length.
    """
    entities = assembly_section(build, parts, pastry, scale=scale)
    x0, x1 = (
        scale * min(p.section.bounds[0] for p in parts),
        scale * max(p.section.bounds[2] for p in parts),
    )
    y1 = scale * max(part.section.bounds[3] for part in parts)
    title = view_title(f"A-A, {state_of(build)}", (x0 + x1) / 2.0, y1 + 6.0)
    return (*entities, title), _plan(build, scale)


def assembly_section(
    build: Build, parts: Sequence[PartProfile], pastry: shapely.Geometry, *, scale: float
) -> tuple[Entity, ...]:
    """Return section A-A of the pressed mould without its title."""
    pastry = shapely.affinity.scale(pastry, scale, scale, origin=(0.0, 0.0))
    cuts = {part.name: part.scaled_section(scale) for part in parts}
    entities: list[Entity] = []
    for turn, cut in enumerate(cuts.values()):
        # A casting master holds the place of the pastry, which is drawn in it.
        entities += [
            *shape_outlines(cut, DrawingLayer.OUTLINE),
            *hatching(shapely.difference(cut, pastry), turn),
        ]
    filling = shapely.affinity.scale(
        build.interior.filling_section, scale, scale, origin=(0.0, 0.0)
    )
    centres = _centres(build, scale)
    crust = shapely.difference(pastry, filling)
    entities += shape_outlines(pastry, DrawingLayer.PASTRY) + shape_outlines(
        filling, DrawingLayer.PASTRY
    )
    entities += hatch_lines(crust, angle_deg=90.0, spacing_mm=0.9)
    entities += centres
    x0, y0, x1, y1 = shapely.union_all([*cuts.values(), pastry]).bounds
    entities.append(vertical_axis(0.0, y0, y1))
    entities += _section_dimensions(build, scale, (x0, y0, x1, y1))
    anchors = [(name, _anchor(shapely.difference(cut, pastry))) for name, cut in cuts.items()]
    anchors += [
        (f"crust {format_number(build.interior.crust_mm)}", _anchor(crust)),
        ("filling", _anchor(_without(filling, centres))),
    ]
    anchors += [
        (_centre_label(build), (c.centre[0] - 0.4 * c.radius_mm, c.centre[1])) for c in centres[:1]
    ]
    entities += _labels(anchors, left=x0 - 6.0)
    return tuple(entities)


def state_of(build: Build) -> str:
    """Return in which state the assembly is drawn."""
    if build.design.mould.kind is Kind.PRESS:
        return "pressed to the nominal height"
    return "with the pastry in its place"


def _section_dimensions(
    build: Build, scale: float, box: tuple[float, float, float, float]
) -> list[Entity]:
    _, y0, x1, y1 = box
    half = scale * build.pastry.outline.width_mm / 2.0
    height = build.pastry.height_mm
    sign = {"round": "⌀", "square": "□"}.get(build.pastry.outline.name, "")
    return [
        horizontal_dimension(
            ((-half, y0), (half, y0)), y0 - ROW_MM, sign + format_number(2.0 * half / scale)
        ),
        vertical_dimension(
            ((half, 0.0), (half, scale * height)), x1 + ROW_MM, format_number(height)
        ),
        vertical_dimension(
            ((x1, y0), (0.0, y1)), x1 + 2.0 * ROW_MM, format_number((y1 - y0) / scale)
        ),
    ]


def _centres(build: Build, scale: float) -> list[Circle]:
    """Return the centres in the section: those that it cuts, and hidden ones that it does not."""
    circles = []
    for ball in build.interior.centres:
        x, y, z = ball.at_mm
        cut_mm = sqrt(max(ball.radius_mm**2 - y**2, 0.0))
        is_cut = cut_mm > LEAST_CUT_MM
        layer, seen_mm = (
            (DrawingLayer.CENTRE, cut_mm) if is_cut else (DrawingLayer.HIDDEN, ball.radius_mm)
        )
        circles.append(
            Circle(centre=(scale * x, scale * z), radius_mm=scale * seen_mm, layer=layer)
        )
    return circles


def _without(filling: shapely.Geometry, centres: Sequence[Circle]) -> shapely.Geometry:
    """Return the filling's section beside the centres."""
    discs = [shapely.Point(*c.centre).buffer(c.radius_mm) for c in centres]
    paste = shapely.difference(filling, shapely.union_all(discs))
    return filling if paste.is_empty else paste


def _centre_label(build: Build) -> str:
    count = sum(centre.count for centre in build.design.portion.centres)
    first = build.design.portion.centres[0]
    if len(build.design.portion.centres) > 1:
        return f"{count} centres"
    return f"{count} {TIMES} {first.name}" if count > 1 else first.name


def _anchor(shape: shapely.Geometry) -> tuple[float, float]:
    """Return a point well inside the left half of a shape."""
    x0, y0, x1, y1 = shape.bounds
    left = shapely.intersection(shape, shapely.box(x0, y0, min(0.0, x1), y1))
    largest = max(shapely.get_parts(left), key=lambda part: part.area)
    point = largest.representative_point()
    return point.x, point.y


def _labels(anchors: list[tuple[str, tuple[float, float]]], *, left: float) -> list[Entity]:
    """Return labels in a column, each with a leader to its point, top to bottom as the points."""
    entities: list[Entity] = []
    y = np.inf
    for text, (x, at_y) in sorted(anchors, key=lambda anchor: -anchor[1][1]):
        y = min(at_y, y - LABEL_STEP_MM)
        shown, capital = fit_text(
            text, capital_mm=LABEL_MM, least_capital_mm=2.0, room_mm=LABEL_ROOM_MM
        )
        entities.append(
            Text(text=shown, at=(left, y - capital / 2.0), capital_mm=capital, align=Align.RIGHT)
        )
        entities.append(
            DrawnLine(
                points=((left + 1.0, y), (left + 4.0, y), (x, at_y)), layer=DrawingLayer.LABEL
            )
        )
        entities.append(Circle(centre=(x, at_y), radius_mm=0.4, layer=DrawingLayer.LABEL))
    return entities


def _plan(build: Build, scale: float) -> tuple[Entity, ...]:
    outline = build.pastry.outline
    entities: list[Entity] = [outline_entity(outline.points, outline.name, scale)]
    for placed in build.pastry.relief:
        art = shapely.affinity.scale(placed.shape, scale, scale, origin=(0.0, 0.0))
        entities += shape_outlines(art, DrawingLayer.ARTWORK)
    x0, y0, x1, y1 = bounds_of(tuple(entities))
    entities += [vertical_axis(0.0, y0, y1), horizontal_axis(x0, x1, 0.0), *_cutting_line(x0, x1)]
    if outline.name != "round":
        entities.append(
            vertical_dimension(
                ((0.0, y0), (0.0, y1)), x1 + ROW_MM + 8.0, format_number(outline.depth_mm)
            )
        )
    entities += _round_dimension(outline, scale)
    title_y = max(y1 + 6.0, bounds_of(entities)[3] + 2.0)
    entities.append(view_title("Pastry, seen from above", 0.0, title_y))
    return tuple(entities)


def _round_dimension(outline: Outline, scale: float) -> list[Entity]:
    """Return the diameter of a round outline, or the radius of another's rounded corner."""
    if outline.name == "round":
        size = scale * outline.width_mm / 2.0
        return [diameter_dimension((0.0, 0.0), size, f"⌀{format_number(outline.width_mm)}")]
    corners = [arc for arc in outline.arcs if arc.turn_rad > 0.0 and arc.radius_mm > 0.0]
    if not corners:
        return []
    # The corner that looks most to the right and above, where its figure has room.
    arc = max(corners, key=lambda arc: sum(arc.centre))
    x, y = arc.centre
    return [
        radius_dimension(
            (scale * x, scale * y), scale * arc.radius_mm, f"R{format_number(arc.radius_mm)}"
        )
    ]


def _cutting_line(left: float, right: float) -> list[Entity]:
    """Return the thick ends of section line A-A, with arrows that look away from the reader."""
    entities: list[Entity] = []
    for x, outer in ((left - 4.0, -1.0), (right + 4.0, 1.0)):
        entities.append(
            DrawnLine(points=((x, 0.0), (x + 5.0 * outer, 0.0)), layer=DrawingLayer.CUT)
        )
        tip = (x + 3.0 * outer, 0.3)
        entities.append(
            Arrowhead(
                points=(tip, (tip[0] - 0.8, -1.6 * ARROW_MM), (tip[0] + 0.8, -1.6 * ARROW_MM)),
                layer=DrawingLayer.CUT,
            )
        )
        entities.append(Text(text="A", at=(tip[0], 1.5), capital_mm=3.5, align=Align.MIDDLE))
    return entities
