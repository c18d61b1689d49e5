"""Views of parts and of the assembled mould: sections, plans, sizes and their dimensions."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Final

import numpy as np
import shapely

from moulddesign.artwork.outline import Outline
from moulddesign.building import PASTRY, Build
from moulddesign.core import Message, part_name, say, word
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
from moulddesign.export.fonts import Fonts, fonts_of
from moulddesign.geometry import Mesh, Points, box, difference, section, upright_section

SHARP_DEG: Final = 20.0
"""Edges that turn by more are drawn [deg]."""

FACES_UP: Final = 0.05
"""z of a facet's unit normal above which it is seen from above."""

PAPER_TOLERANCE_MM: Final = 0.005
"""A hundredth of a line's width: what is nearer is one on paper [mm]."""

HIDING_MM: Final = 0.05
"""How far above an edge a facet has to lie to hide it: more than float32 rounds [mm]."""

SIZE_TOLERANCE_MM: Final = 0.05
"""Sizes nearer than this are one [mm]."""

LEAST_WALL_MM: Final = 1.5
"""Shortest upright line of a section whose distance from the axis is a size [mm]."""

LEAST_STEP_MM: Final = 1.5
"""Shortest level line of a section whose height is a size, both halves together [mm]."""

MOST_SIZES: Final = 4
"""Widths, and heights, that are dimensioned besides the whole: those of the longest lines."""

TITLE_MM: Final = 3.5
"""Height of a view's title [mm]."""

HATCH_MM: Final = 2.5
"""Between hatch lines on the paper [mm]."""

SHORTEST_HATCH_MM: Final = 0.2
"""Shorter pieces of hatch lines are left out [mm]."""

AXIS_OVERSHOOT_MM: Final = 2.5
"""How far an axis runs beyond its view [mm]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SymmetricWidth:
    """A width that reaches as far to both sides of the axis."""

    half_mm: float
    height_mm: float
    """Height at which it is measured [mm]."""
    sign: str
    """What ISO 129-1 puts before the figure: diameter, square, or nothing."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PartProfile:
    """What a drawing shows of a part, in true size."""

    name: str
    section: shapely.Geometry
    """Through the axis: x to the right, z up [mm]."""
    edges_behind: tuple[Points, ...]
    """Lines of shape (n_i, 2) that are seen behind the section [mm]."""
    edges_from_above: tuple[Points, ...]
    """Lines of shape (n_i, 2) that are seen from above [mm]."""
    widths: tuple[SymmetricWidth, ...]
    heights_mm: tuple[float, ...]
    """Over the lowest point, the whole height last [mm]."""

    def scaled_section(self, scale: float) -> shapely.Geometry:
        """Return the section on the paper."""
        return shapely.affinity.scale(self.section, scale, scale, origin=(0.0, 0.0))


def part_profile(mesh: Mesh, name: str) -> PartProfile:
    """Return what a drawing shows of a part, a closed mesh as it stands in the assembly [mm]."""
    step = say("export.section-of", part=word(name))
    cut = upright_section(mesh)
    return PartProfile(
        name=name,
        section=cut,
        edges_behind=_edges_behind(mesh, step),
        edges_from_above=_edges_from_above(mesh),
        widths=_main_widths(mesh, cut, step),
        heights_mm=_main_heights_mm(cut),
    )


def part_view(part: PartProfile, *, scale: float, number: int, fonts: Fonts) -> tuple[Entity, ...]:
    """Return a part's section with its main dimensions; `number` chooses the hatching."""
    drawn = part.scaled_section(scale)
    x0, y0, x1, y1 = drawn.bounds
    entities: list[Entity] = [*shape_outlines(drawn, DrawingLayer.OUTLINE)]
    entities += hatching(drawn, number)
    entities += [polyline(scale * edge, DrawingLayer.EDGE) for edge in part.edges_behind]
    entities.append(vertical_axis(0.0, y0, y1))
    entities += _width_dimensions(part, scale=scale, floor=y0)
    for row, height in enumerate(part.heights_mm, start=1):
        ends = ((x1, y0), (x1, y0 + scale * height))
        entities.append(vertical_dimension(ends, x1 + ROW_MM * row, format_number(height)))
    entities.append(
        view_title(fonts.text(part_name(part.name)), (x0 + x1) / 2.0, y1 + AXIS_OVERSHOOT_MM + 1.5)
    )
    return tuple(entities)


def _width_dimensions(part: PartProfile, *, scale: float, floor: float) -> list[Entity]:
    """Return the dimensions of a part's widths, the smallest nearest below the view."""
    halves = [scale * width.half_mm for width in part.widths]
    dimensions: list[Entity] = []
    for row, width in enumerate(part.widths, start=1):
        half, y = scale * width.half_mm, min(scale * width.height_mm, floor)
        text = width.sign + format_number(2.0 * width.half_mm)
        wider = [other for other in halves if other > half]
        dimensions.append(
            horizontal_dimension(
                ((-half, y), (half, y)), floor - ROW_MM * row, text, crossing_x=wider
            )
        )
    return dimensions


def part_plan(part: PartProfile, *, scale: float) -> tuple[Entity, ...]:
    """Return a part seen from above: its sharp edges, and sizes that its section does not show."""
    lines = [polyline(scale * edge, DrawingLayer.OUTLINE) for edge in part.edges_from_above]
    x0, y0, x1, y1 = bounds_of(lines)
    entities: list[Entity] = [*lines, vertical_axis(0.0, y0, y1), horizontal_axis(x0, x1, 0.0)]
    width_mm, depth_mm = (x1 - x0) / scale, (y1 - y0) / scale
    left, _, right, _ = part.section.bounds
    if abs(width_mm - (right - left)) > SIZE_TOLERANCE_MM:
        ends = ((x0, y0), (x1, y0))
        entities.append(horizontal_dimension(ends, y0 - ROW_MM, format_number(width_mm)))
    if abs(depth_mm - width_mm) > SIZE_TOLERANCE_MM:
        ends = ((x1, y0), (x1, y1))
        entities.append(vertical_dimension(ends, x1 + ROW_MM, format_number(depth_mm)))
    return tuple(entities)


def _edges_behind(mesh: Mesh, step: Message) -> tuple[Points, ...]:
    """Return the sharp edges that are seen behind the plane y = 0 of a cut mesh: x and z."""
    low, high = mesh.bounds
    if high[1] <= 0.0:
        return ()
    front = box(low - 1.0, (high[0] + 1.0, 0.0, high[2] + 1.0))
    half = difference(mesh, [front], step)
    x, y, z = half.vertices.T
    tipped = Mesh(np.column_stack([x, z, -y]), half.triangles)
    # The cut face lies at height 0 of the tipped half; its own edges are the section's outline.
    return _edges_from_above(tipped, below_mm=-HIDING_MM)


def _edges_from_above(mesh: Mesh, below_mm: float = np.inf) -> tuple[Points, ...]:
    """Return the sharp edges of a closed mesh that are seen from above, as lines of x and y.

    Of hidden lines the whole edge counts: it is hidden if a facet lies above its middle. An edge
    whose ends do not both lie below a height is left out.
    """
    corners = mesh.corners
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-300)
    rows, facets = _edges(mesh)
    a, b = normals[facets[:, 0]], normals[facets[:, 1]]
    sharp = (a * b).sum(axis=1) < np.cos(np.radians(SHARP_DEG))
    visible = np.maximum(a[:, 2], b[:, 2]) > FACES_UP
    ends = mesh.vertices[rows[sharp & visible]]
    ends = ends[ends[:, :, 2].max(axis=1) < below_mm]
    ends = ends[~_hidden(ends.mean(axis=1), corners[normals[:, 2] > FACES_UP])]
    # Edges that stand upright are points from above; edges one below the other are one line.
    flat = shapely.linestrings(ends[:, :, :2])
    lines = shapely.line_merge(shapely.union_all(flat[shapely.length(flat) > PAPER_TOLERANCE_MM]))
    thinned = shapely.simplify(lines, PAPER_TOLERANCE_MM)
    return tuple(shapely.get_coordinates(line) for line in shapely.get_parts(thinned))


def _edges(mesh: Mesh) -> tuple[np.ndarray, np.ndarray]:
    """Return both corners of each edge, and the two facets that share it."""
    facet = np.repeat(np.arange(len(mesh.triangles)), 3)
    ends = np.sort(mesh.triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
    # In a closed mesh every edge comes twice, so that sorted edges are pairs.
    order = np.lexsort(ends.T)
    return ends[order].reshape(-1, 2, 2)[:, 0], facet[order].reshape(-1, 2)


def _hidden(points: Points, facets: Points) -> np.ndarray:
    """Return which points lie under a facet that is seen from above."""
    tree = shapely.STRtree(shapely.polygons(facets[:, :, :2]))
    point, facet = tree.query(shapely.points(points[:, :2]), predicate="within")
    a, b, c = np.moveaxis(facets[facet], 1, 0)
    normal = np.cross(b - a, c - a)
    # How far the facet's plane lies above the point: n . (a - p) / n_z.
    rise = ((a - points[point]) * normal).sum(axis=1) / normal[:, 2]
    hidden = np.zeros(len(points), dtype=bool)
    hidden[point[rise > HIDING_MM]] = True
    return hidden


def _main_widths(mesh: Mesh, cut: shapely.Geometry, step: Message) -> tuple[SymmetricWidth, ...]:
    """Return the main widths of a part about the z axis, the smallest first, the widest always.

    What reaches out to one side alone, such as a tab, has no width about the axis.
    """
    starts, ends = _sides(cut)
    walls = np.abs(starts[:, 0] - ends[:, 0]) < SIZE_TOLERANCE_MM
    walls &= starts[:, 0] > 1.0
    starts, ends = starts[walls], ends[walls]
    lengths = np.abs(ends[:, 1] - starts[:, 1])
    found = []
    for half, rows in _grouped(starts[:, 0], lengths, least=LEAST_WALL_MM):
        longest = rows[np.argmax(lengths[rows])]
        height = float((starts[longest, 1] + ends[longest, 1]) / 2.0)
        found.append(_symmetric_width(mesh, half, height, step=step))
    widest = cut.bounds[2]
    if not any(abs(width.half_mm - widest) < SIZE_TOLERANCE_MM for width in found):
        coords = shapely.get_coordinates(cut)
        height = float(coords[np.argmax(coords[:, 0]), 1])
        found.append(_symmetric_width(mesh, float(widest), height, step=step))
    (x0, y0, _), (x1, y1, _) = mesh.bounds
    reach_mm = max(min(-x0, x1), min(-y0, y1)) + SIZE_TOLERANCE_MM
    both = (width for width in found if width.half_mm <= reach_mm)
    return tuple(sorted(both, key=lambda width: width.half_mm))


def _main_heights_mm(cut: shapely.Geometry) -> tuple[float, ...]:
    """Return the main heights of a part over its lowest point, the lowest first, the top last."""
    starts, ends = _sides(cut)
    _, foot, _, top = cut.bounds
    level = np.abs(starts[:, 1] - ends[:, 1]) < SIZE_TOLERANCE_MM
    z, lengths = starts[level, 1], np.abs(starts[level, 0] - ends[level, 0])
    heights = [height - foot for height, _ in _grouped(z, lengths, least=LEAST_STEP_MM)]
    whole = float(top - foot)
    inner = [h for h in heights if SIZE_TOLERANCE_MM < h < whole - SIZE_TOLERANCE_MM]
    return (*sorted(inner), whole)


def _sides(cut: shapely.Geometry) -> tuple[Points, Points]:
    """Return both ends of every side of the section's outline, straight runs as one."""
    rings = shapely.get_rings(shapely.get_parts(shapely.simplify(cut, SIZE_TOLERANCE_MM / 10.0)))
    coords = [shapely.get_coordinates(ring) for ring in rings]
    starts = np.concatenate([ring[:-1] for ring in coords])
    return starts, np.concatenate([ring[1:] for ring in coords])


def _grouped(values: Points, lengths: Points, *, least: float) -> list[tuple[float, np.ndarray]]:
    """Return values that many sides share, with the rows of the sides: those with most length."""
    order = np.argsort(values, kind="stable")
    breaks = np.flatnonzero(np.diff(values[order]) > SIZE_TOLERANCE_MM) + 1
    groups = [rows for rows in np.split(order, breaks) if len(rows)]
    groups = [rows for rows in groups if lengths[rows].sum() >= least]
    groups.sort(key=lambda rows: -lengths[rows].sum())
    return [
        (float(np.average(values[rows], weights=lengths[rows])), rows)
        for rows in groups[:MOST_SIZES]
    ]


def _symmetric_width(
    mesh: Mesh, half_mm: float, height_mm: float, *, step: Message
) -> SymmetricWidth:
    """Return a width with the sign of its level section: round, square or neither."""
    low, high = mesh.bounds[:, 2]
    margin = SIZE_TOLERANCE_MM / 5.0
    level = float(min(max(height_mm, low + margin), high - margin))
    sign = ""
    for loop in section(mesh, level, step):
        if abs(loop[:, 0].max() - half_mm) > SIZE_TOLERANCE_MM:
            continue
        width, depth = np.ptp(loop, axis=0)
        area = shapely.Polygon(loop).area
        inside_circle = np.linalg.norm(loop, axis=1).max() < half_mm + SIZE_TOLERANCE_MM
        if inside_circle and area > 0.98 * np.pi * half_mm**2:
            sign = "⌀"
            break
        # A square keeps 85 % of its area under its rounded corners.
        if abs(width - depth) < SIZE_TOLERANCE_MM and area > 0.85 * width * depth:
            sign = "□"
            break
    return SymmetricWidth(half_mm=half_mm, height_mm=height_mm, sign=sign)


def view_title(text: str, x: float, y: float) -> Text:
    """Return a view's title, centred over a point [mm]."""
    return Text(text=text, at=(x, y), capital_mm=TITLE_MM, align=Align.MIDDLE)


def polyline(points: Points, layer: DrawingLayer, *, closed: bool = False) -> DrawnLine:
    """Return points, shape (n, 2), as a line on a layer [mm]."""
    return DrawnLine(points=tuple(map(tuple, points.tolist())), layer=layer, closed=closed)


def shape_outlines(shape: shapely.Geometry, layer: DrawingLayer) -> list[Entity]:
    """Return the rings of a shape as closed lines on a layer."""
    thinned = shapely.simplify(shape, PAPER_TOLERANCE_MM)
    rings = [ring for part in shapely.get_parts(thinned) for ring in shapely.get_rings(part)]
    return [polyline(shapely.get_coordinates(ring)[:-1], layer, closed=True) for ring in rings]


def outline_entity(points: Points, name: str, scale: float) -> Entity:
    """Return an outline seen from above: a true circle where it is round."""
    if name == "round":
        radius = scale * float(np.linalg.norm(points[0]))
        return Circle(centre=(0.0, 0.0), radius_mm=radius, layer=DrawingLayer.OUTLINE)
    return polyline(scale * points, DrawingLayer.OUTLINE, closed=True)


def hatching(shape: shapely.Geometry, number: int) -> list[Entity]:
    """Return the hatching of a section: neighbours lean to other sides, and then lie closer."""
    return hatch_lines(
        shape,
        angle_deg=(45.0, 135.0)[number % 2],
        spacing_mm=HATCH_MM * (1.0, 1.0, 0.7, 0.7)[number % 4],
    )


def hatch_lines(shape: shapely.Geometry, *, angle_deg: float, spacing_mm: float) -> list[Entity]:
    """Return parallel lines that fill a shape, at multiples of a spacing from the origin.

    So the pieces of one part, cut apart by another, have lines that continue each other.
    """
    if shape.is_empty:
        return []
    x0, y0, x1, y1 = shape.bounds
    turn = np.radians(angle_deg)
    along = np.array([np.cos(turn), np.sin(turn)])
    across = np.array([-np.sin(turn), np.cos(turn)])
    corners = np.array([[x0, y0], [x1, y0], [x0, y1], [x1, y1]])
    reach = np.array([(corners @ along).min() - 1.0, (corners @ along).max() + 1.0])
    first = np.ceil((corners @ across).min() / spacing_mm)
    offsets = spacing_mm * np.arange(first, (corners @ across).max() / spacing_mm)
    ends = offsets[:, None, None] * across + reach[None, :, None] * along
    lines = shapely.intersection(shapely.linestrings(ends), shape)
    pieces = shapely.get_parts(shapely.get_parts(lines))
    return [
        polyline(shapely.get_coordinates(piece), DrawingLayer.HATCH)
        for piece in pieces
        if piece.length > SHORTEST_HATCH_MM
    ]


def vertical_axis(x: float, low: float, high: float) -> DrawnLine:
    """Return a centre line that runs a little beyond a view [mm]."""
    ends = np.array([[x, low - AXIS_OVERSHOOT_MM], [x, high + AXIS_OVERSHOOT_MM]])
    return polyline(ends, DrawingLayer.AXIS)


def horizontal_axis(left: float, right: float, y: float) -> DrawnLine:
    """Return a centre line that runs a little beyond a view [mm]."""
    ends = np.array([[left - AXIS_OVERSHOOT_MM, y], [right + AXIS_OVERSHOOT_MM, y]])
    return polyline(ends, DrawingLayer.AXIS)


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
    said = fonts_of(build.design).text(say("export.section-in-state", state=state_of(build)))
    title = view_title(said, (x0 + x1) / 2.0, y1 + 6.0)
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
    inside = build.interior.filling_section if build.interior.is_filled else shapely.Polygon()
    filling = shapely.affinity.scale(inside, scale, scale, origin=(0.0, 0.0))
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
    part_anchors = {name: _anchor(shapely.difference(cut, pastry)) for name, cut in cuts.items()}
    anchors = [(part_name(name), at) for name, at in part_anchors.items()]
    if build.interior.is_filled:
        thick = say("export.crust-label", mm=format_number(build.interior.crust_mm))
        inside = _anchor(_without(filling, centres))
        anchors += [(thick, _anchor(crust)), (word("filling"), inside)]
    else:
        anchors.append((word(build.design.portion.composition.value), _anchor(crust)))
    for c in centres[:1]:
        anchors.append((_centre_label(build), (c.centre[0] - 0.4 * c.radius_mm, c.centre[1])))
    text = fonts_of(build.design).text
    entities += _labels([(text(says), at) for says, at in anchors], left=x0 - 6.0)
    return tuple(entities)


def state_of(build: Build) -> Message:
    """Return in which state the assembly is drawn."""
    is_press = build.design.mould.kind is Kind.PRESS
    return say("export.pressed-to-height") if is_press else say("export.with-pastry")


def _section_dimensions(
    build: Build, scale: float, box: tuple[float, float, float, float]
) -> list[Entity]:
    _, y0, x1, y1 = box
    half = scale * build.pastry.outline.width_mm / 2.0
    height = build.pastry.height_mm
    sign = {"round": "⌀", "square": "□"}.get(build.pastry.outline.plain.name, "")
    heights = [(half, height)]
    if build.pastry.carved is not None:  # to its ground, and to its highest point
        x, _, top = build.meshes[PASTRY].vertices[build.meshes[PASTRY].vertices[:, 2].argmax()]
        heights.append((scale * abs(float(x)), float(top)))
    rows = len(heights) + 1
    return [
        horizontal_dimension(
            ((-half, y0), (half, y0)), y0 - ROW_MM, sign + format_number(2.0 * half / scale)
        ),
        *(
            vertical_dimension(
                ((x, 0.0), (x, scale * each)), x1 + row * ROW_MM, format_number(each)
            )
            for row, (x, each) in enumerate(heights, start=1)
        ),
        vertical_dimension(
            ((x1, y0), (0.0, y1)), x1 + rows * ROW_MM, format_number((y1 - y0) / scale)
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


def _centre_label(build: Build) -> Message:
    count = sum(centre.count for centre in build.design.portion.centres)
    first, *others = (word(each.name) for each in build.design.portion.centres)
    if others:
        return say("export.centres", count=count)
    return first if count == 1 else say("export.card-times", count=count, times=TIMES, name=first)


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
    entities.append(view_title(fonts_of(build.design).text(say("export.from-above")), 0.0, title_y))
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
