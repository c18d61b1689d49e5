"""The mould pressed to its nominal height with the pastry in it: section, and plan below."""

from collections.abc import Sequence
from math import sqrt
from typing import Final

import numpy as np
import shapely

from moulddesign.artwork.outline import Outline
from moulddesign.building import Build
from moulddesign.design import Kind
from moulddesign.export.ink import (
    ARROW_MM,
    STEP_MM,
    TIMES,
    Align,
    Circle,
    Fill,
    Ink,
    Layer,
    Lettering,
    Stroke,
    across,
    box_of,
    diameter,
    fitted,
    number,
    radius,
    upright,
)
from moulddesign.export.views import (
    Profile,
    axis,
    hatched,
    hatching,
    heading,
    level_axis,
    line,
    outline_inks,
    shape_inks,
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
    made: Build, parts: Sequence[Profile], pastry: shapely.Geometry, *, scale: float
) -> tuple[tuple[Ink, ...], tuple[Ink, ...]]:
    """Return section A-A of the pressed mould, and the pastry seen from above.

    Parameters
    ----------
    made : Build
        What is drawn.
    parts : sequence of Profile
        Its parts.
    pastry : shapely geometry
        The pastry's section [mm].
    scale : float
        Length on the paper over true length.
    """
    inks = assembly_section(made, parts, pastry, scale=scale)
    x0, x1 = (
        scale * min(p.cut.bounds[0] for p in parts),
        scale * max(p.cut.bounds[2] for p in parts),
    )
    y1 = scale * max(part.cut.bounds[3] for part in parts)
    title = heading(f"A-A, {state_of(made)}", (x0 + x1) / 2.0, y1 + 6.0)
    return (*inks, title), _plan(made, scale)


def assembly_section(
    made: Build, parts: Sequence[Profile], pastry: shapely.Geometry, *, scale: float
) -> tuple[Ink, ...]:
    """Return section A-A of the pressed mould without its title; the same parameters."""
    pastry = shapely.affinity.scale(pastry, scale, scale, origin=(0.0, 0.0))
    cuts = {part.name: part.scaled_cut(scale) for part in parts}
    inks: list[Ink] = []
    for turn, cut in enumerate(cuts.values()):
        # A casting master holds the place of the pastry, which is drawn in it.
        inks += [*shape_inks(cut, Layer.OUTLINE), *hatched(shapely.difference(cut, pastry), turn)]
    filling = shapely.affinity.scale(made.interior.filling_section, scale, scale, origin=(0.0, 0.0))
    centres = _centres(made, scale)
    crust = shapely.difference(pastry, filling)
    inks += shape_inks(pastry, Layer.PASTRY) + shape_inks(filling, Layer.PASTRY)
    inks += [line(e, Layer.HATCH) for e in hatching(crust, angle_deg=90.0, spacing_mm=0.9)]
    inks += centres
    x0, y0, x1, y1 = shapely.union_all([*cuts.values(), pastry]).bounds
    inks += axis(0.0, y0, y1)
    inks += _section_dimensions(made, scale, (x0, y0, x1, y1))
    anchors = [(name, _anchor(shapely.difference(cut, pastry))) for name, cut in cuts.items()]
    anchors += [
        (f"crust {number(made.interior.crust_mm)}", _anchor(crust)),
        ("filling", _anchor(_without(filling, centres))),
    ]
    anchors += [
        (_centre_label(made), (c.middle[0] - 0.4 * c.radius_mm, c.middle[1])) for c in centres[:1]
    ]
    inks += _labels(anchors, left=x0 - 6.0)
    return tuple(inks)


def state_of(made: Build) -> str:
    """Return in which state the assembly is drawn."""
    if made.design.mould.kind is Kind.PRESS:
        return "pressed to the nominal height"
    return "with the pastry in its place"


def _section_dimensions(
    made: Build, scale: float, box: tuple[float, float, float, float]
) -> list[Ink]:
    _, y0, x1, y1 = box
    half = scale * made.pastry.outline.width_mm / 2.0
    height = made.pastry.height_mm
    sign = {"round": "⌀", "square": "□"}.get(made.pastry.outline.name, "")
    return [
        across(((-half, y0), (half, y0)), y0 - STEP_MM, sign + number(2.0 * half / scale)),
        upright(((half, 0.0), (half, scale * height)), x1 + STEP_MM, number(height)),
        upright(((x1, y0), (0.0, y1)), x1 + 2.0 * STEP_MM, number((y1 - y0) / scale)),
    ]


def _centres(made: Build, scale: float) -> list[Circle]:
    """Return the centres in the section: those that it cuts, and hidden ones that it does not."""
    circles = []
    for ball in made.interior.centres:
        x, y, z = ball.at_mm
        cut_mm = sqrt(max(ball.radius_mm**2 - y**2, 0.0))
        is_cut = cut_mm > LEAST_CUT_MM
        layer, seen_mm = (Layer.CENTRE, cut_mm) if is_cut else (Layer.HIDDEN, ball.radius_mm)
        circles.append(
            Circle(middle=(scale * x, scale * z), radius_mm=scale * seen_mm, layer=layer)
        )
    return circles


def _without(filling: shapely.Geometry, centres: Sequence[Circle]) -> shapely.Geometry:
    """Return the filling's section beside the centres."""
    discs = [shapely.Point(*c.middle).buffer(c.radius_mm) for c in centres]
    paste = shapely.difference(filling, shapely.union_all(discs))
    return filling if paste.is_empty else paste


def _centre_label(made: Build) -> str:
    count = sum(centre.count for centre in made.design.portion.centres)
    first = made.design.portion.centres[0]
    if len(made.design.portion.centres) > 1:
        return f"{count} centres"
    return f"{count} {TIMES} {first.name}" if count > 1 else first.name


def _anchor(shape: shapely.Geometry) -> tuple[float, float]:
    """Return a point well inside the left half of a shape."""
    x0, y0, x1, y1 = shape.bounds
    left = shapely.intersection(shape, shapely.box(x0, y0, min(0.0, x1), y1))
    largest = max(shapely.get_parts(left), key=lambda part: part.area)
    point = largest.representative_point()
    return point.x, point.y


def _labels(anchors: list[tuple[str, tuple[float, float]]], *, left: float) -> list[Ink]:
    """Return labels in a column, each with a leader to its point, top to bottom as the points."""
    inks: list[Ink] = []
    y = np.inf
    for text, (x, at_y) in sorted(anchors, key=lambda anchor: -anchor[1][1]):
        y = min(at_y, y - LABEL_STEP_MM)
        shown, capital = fitted(text, capital_mm=LABEL_MM, least_mm=2.0, room_mm=LABEL_ROOM_MM)
        inks.append(
            Lettering(
                text=shown, at=(left, y - capital / 2.0), capital_mm=capital, align=Align.RIGHT
            )
        )
        inks.append(Stroke(points=((left + 1.0, y), (left + 4.0, y), (x, at_y)), layer=Layer.LABEL))
        inks.append(Circle(middle=(x, at_y), radius_mm=0.4, layer=Layer.LABEL))
    return inks


def _plan(made: Build, scale: float) -> tuple[Ink, ...]:
    outline = made.pastry.outline
    inks: list[Ink] = outline_inks(outline.points, outline.name, scale)
    for placed in made.pastry.relief:
        art = shapely.affinity.scale(placed.shape, scale, scale, origin=(0.0, 0.0))
        inks += shape_inks(art, Layer.ARTWORK)
    x0, y0, x1, y1 = box_of(tuple(inks))
    inks += axis(0.0, y0, y1) + level_axis(x0, x1, 0.0) + _cutting_line(x0, x1)
    if outline.name != "round":
        inks.append(upright(((0.0, y0), (0.0, y1)), x1 + STEP_MM + 8.0, number(outline.depth_mm)))
    inks += _round_dimension(outline, scale)
    title_y = max(y1 + 6.0, box_of(inks)[3] + 2.0)
    inks.append(heading("Pastry, seen from above", 0.0, title_y))
    return tuple(inks)


def _round_dimension(outline: Outline, scale: float) -> list[Ink]:
    """Return the diameter of a round outline, or the radius of another's rounded corner."""
    if outline.name == "round":
        size = scale * outline.width_mm / 2.0
        return [diameter((0.0, 0.0), size, f"⌀{number(outline.width_mm)}")]
    corners = [arc for arc in outline.arcs if arc.turn_rad > 0.0 and arc.radius_mm > 0.0]
    if not corners:
        return []
    # The corner that looks most to the right and above, where its figure has room.
    arc = max(corners, key=lambda arc: sum(arc.centre))
    x, y = arc.centre
    return [radius((scale * x, scale * y), scale * arc.radius_mm, f"R{number(arc.radius_mm)}")]


def _cutting_line(left: float, right: float) -> list[Ink]:
    """Return the thick ends of section line A-A, with arrows that look away from the reader."""
    inks: list[Ink] = []
    for x, outer in ((left - 4.0, -1.0), (right + 4.0, 1.0)):
        inks.append(Stroke(points=((x, 0.0), (x + 5.0 * outer, 0.0)), layer=Layer.CUT))
        tip = (x + 3.0 * outer, 0.3)
        inks.append(
            Fill(
                points=(tip, (tip[0] - 0.8, -1.6 * ARROW_MM), (tip[0] + 0.8, -1.6 * ARROW_MM)),
                layer=Layer.CUT,
            )
        )
        inks.append(Lettering(text="A", at=(tip[0], 1.5), capital_mm=3.5, align=Align.MIDDLE))
    return inks
