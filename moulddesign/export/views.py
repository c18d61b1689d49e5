"""Views of a drawing.

Sections and plans of meshes, the sizes found in them, and their dimensions.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import shapely

from moulddesign.export.ink import (
    STEP_MM,
    Align,
    Circle,
    Ink,
    Layer,
    Lettering,
    Stroke,
    across,
    box_of,
    number,
    upright,
)
from moulddesign.geometry import Mesh, Points, box, difference, section, upright_section

SHARP_DEG: Final = 20.0
"""Edges that turn by more are drawn [deg]."""

UP: Final = 0.05
"""z of a facet's normal above which it is seen from above."""

SHORTEST_MM: Final = 0.2
"""Shorter pieces of hatching are left out [mm]."""

CUT_SAME_MM: Final = 0.005
"""A hundredth of a line's width: what is nearer is one on paper [mm]."""

LIFT_MM: Final = 0.05
"""How far above an edge another facet has to lie to hide it [mm]."""


def edges_behind(mesh: Mesh, step: str) -> tuple[Points, ...]:
    """Return the sharp edges that are seen behind the plane y = 0 of a cut mesh: x and z.

    Parameters
    ----------
    mesh : Mesh
        Closed [mm].
    step : str
        Names it in a `KernelError`.
    """
    low, high = mesh.bounds
    if high[1] <= 0.0:
        return ()
    front = box(low - 1.0, (high[0] + 1.0, 0.0, high[2] + 1.0))
    half = difference(mesh, [front], step)
    x, y, z = half.vertices.T
    laid = Mesh(np.column_stack([x, z, -y]), half.triangles)
    return edges_from_above(laid, below_mm=-LIFT_MM)


def edges_from_above(mesh: Mesh, below_mm: float = np.inf) -> tuple[Points, ...]:
    """Return the sharp edges of a closed mesh that are seen from above, as lines.

    Parameters
    ----------
    mesh : Mesh
        Closed [mm].
    below_mm : float
        Only edges that begin and end lower than this are wanted [mm].

    Returns
    -------
    tuple of ndarray, shape (n_i, 2)
        x and y along each line [mm].
    """
    corners = mesh.corners
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normals /= np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-300)
    rows, facets = _edges(mesh)
    a, b = normals[facets[:, 0]], normals[facets[:, 1]]
    sharp = (a * b).sum(axis=1) < np.cos(np.radians(SHARP_DEG))
    seen = np.maximum(a[:, 2], b[:, 2]) > UP
    ends = mesh.vertices[rows[sharp & seen]]
    ends = ends[ends[:, :, 2].max(axis=1) < below_mm]
    ends = ends[~_hidden(ends.mean(axis=1), corners[normals[:, 2] > UP])]
    # Edges that stand upright are points from above; edges one below the other are one line.
    flat = shapely.linestrings(ends[:, :, :2])
    lines = shapely.line_merge(shapely.union_all(flat[shapely.length(flat) > CUT_SAME_MM]))
    thinned = shapely.simplify(lines, CUT_SAME_MM)
    return tuple(shapely.get_coordinates(line) for line in shapely.get_parts(thinned))


def hatching(shape: shapely.Geometry, *, angle_deg: float, spacing_mm: float) -> list[Points]:
    """Return parallel lines that fill a shape.

    Parameters
    ----------
    shape : shapely geometry
        Polygons [mm].
    angle_deg : float
        Direction of the lines against x [deg].
    spacing_mm : float
        Between lines [mm].

    Returns
    -------
    list of ndarray, shape (2, 2)
        Ends of each line [mm].
    """
    if shape.is_empty:
        return []
    x0, y0, x1, y1 = shape.bounds
    turn = np.radians(angle_deg)
    along, across = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
    box = np.array([[x0, y0], [x1, y0], [x0, y1], [x1, y1]])
    reach = [(box @ along).min() - 1.0, (box @ along).max() + 1.0]
    first, last = np.ceil((box @ across).min() / spacing_mm), (box @ across).max() / spacing_mm
    offsets = spacing_mm * np.arange(first, last)
    ends = offsets[:, None, None] * across + np.array(reach)[None, :, None] * along
    lines = shapely.intersection(shapely.linestrings(ends), shape)
    pieces = shapely.get_parts(shapely.get_parts(lines))
    return [shapely.get_coordinates(p) for p in pieces if p.length > SHORTEST_MM]


def _edges(mesh: Mesh) -> tuple[np.ndarray, np.ndarray]:
    """Return corners and the two facets of each edge."""
    count = len(mesh.triangles)
    ends = mesh.triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)
    facet = np.repeat(np.arange(count), 3)
    order = np.lexsort(np.sort(ends, axis=1).T)
    pairs = np.sort(ends, axis=1)[order].reshape(-1, 2, 2)[:, 0]
    return pairs, facet[order].reshape(-1, 2)


def _hidden(points: Points, facets: Points) -> np.ndarray:
    """Return which points lie under a facet that is seen from above."""
    tree = shapely.STRtree(shapely.polygons(facets[:, :, :2]))
    point, facet = tree.query(shapely.points(points[:, :2]), predicate="within")
    a, b, c = np.moveaxis(facets[facet], 1, 0)
    normal = np.cross(b - a, c - a)
    rise = ((a - points[point]) * normal).sum(axis=1) / normal[:, 2]
    hidden = np.zeros(len(points), dtype=bool)
    hidden[point[rise > LIFT_MM]] = True
    return hidden


FEATURES_SAME_MM: Final = 0.05
"""Lengths nearer than this are one [mm]."""

LEAST_WALL_MM: Final = 1.5
"""Shortest upright line whose distance from the middle is named [mm]."""

LEAST_LEVEL_MM: Final = 1.5
"""Shortest level line whose height is named, both halves together [mm]."""

MOST: Final = 4
"""Widths, and levels, that are named besides the whole: the longest lines."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Width:
    """A width that is the same to both sides of the middle.

    Parameters
    ----------
    half_mm : float
        From the middle to each side [mm].
    at_mm : float
        Height at which it is measured [mm].
    sign : str
        What ISO 129-1 puts before the figure: diameter, square, or nothing.
    """

    half_mm: float
    at_mm: float
    sign: str


def widths(mesh: Mesh, cut: shapely.Geometry, step: str) -> tuple[Width, ...]:
    """Return the main widths of a part, the smallest first, the widest always among them.

    Parameters
    ----------
    mesh : Mesh
        Closed, about the z axis [mm].
    cut : shapely geometry
        Its upright section [mm].
    step : str
        Names it in a `KernelError`.
    """
    low, high = _sides(cut)
    upright = np.abs(low[:, 0] - high[:, 0]) < FEATURES_SAME_MM
    low, high = low[upright & (low[:, 0] > 1.0)], high[upright & (low[:, 0] > 1.0)]
    lengths = np.abs(high[:, 1] - low[:, 1])
    groups = _grouped(low[:, 0], lengths, least=LEAST_WALL_MM)
    found = []
    for half, rows in groups:
        longest = rows[np.argmax(lengths[rows])]
        at = float((low[longest, 1] + high[longest, 1]) / 2.0)
        found.append(Width(half_mm=half, at_mm=at, sign=_sign(mesh, half, at, step=step)))
    widest = cut.bounds[2]
    if not any(abs(width.half_mm - widest) < FEATURES_SAME_MM for width in found):
        coords = shapely.get_coordinates(cut)
        at = float(coords[np.argmax(coords[:, 0]), 1])
        found.append(
            Width(half_mm=float(widest), at_mm=at, sign=_sign(mesh, widest, at, step=step))
        )
    return tuple(sorted(found, key=lambda width: width.half_mm))


def levels(cut: shapely.Geometry) -> tuple[float, ...]:
    """Return the main heights of a part over its lowest point, the lowest first, the top last.

    Parameters
    ----------
    cut : shapely geometry
        Its upright section [mm].
    """
    left, right = _sides(cut)
    _, foot, _, top = cut.bounds
    level = np.abs(left[:, 1] - right[:, 1]) < FEATURES_SAME_MM
    heights, lengths = left[level, 1], np.abs(left[level, 0] - right[level, 0])
    found = [height for height, _ in _grouped(heights, lengths, least=LEAST_LEVEL_MM)]
    inner = [h - foot for h in found if FEATURES_SAME_MM < h - foot < top - foot - FEATURES_SAME_MM]
    return (*sorted(inner), float(top - foot))


def _sides(cut: shapely.Geometry) -> tuple[Points, Points]:
    """Return both ends of every side of the section's outline, straight runs as one."""
    rings = shapely.get_rings(shapely.get_parts(shapely.simplify(cut, FEATURES_SAME_MM / 10.0)))
    ends = [shapely.get_coordinates(ring) for ring in rings]
    starts = np.concatenate([ring[:-1] for ring in ends])
    return starts, np.concatenate([ring[1:] for ring in ends])


def _grouped(values: Points, lengths: Points, *, least: float) -> list[tuple[float, np.ndarray]]:
    """Return like values with the rows that share them: those with the most length."""
    order = np.argsort(values, kind="stable")
    breaks = np.flatnonzero(np.diff(values[order]) > FEATURES_SAME_MM) + 1
    groups = [rows for rows in np.split(order, breaks) if len(rows)]
    groups = [rows for rows in groups if lengths[rows].sum() >= least]
    groups.sort(key=lambda rows: -lengths[rows].sum())
    return [(float(np.average(values[r], weights=lengths[r])), r) for r in groups[:MOST]]


def _sign(mesh: Mesh, half_mm: float, at_mm: float, *, step: str) -> str:
    """Return how the level section through a width looks: round, square or neither."""
    low, high = mesh.bounds[:, 2]
    level = min(max(at_mm, low + FEATURES_SAME_MM / 5.0), high - FEATURES_SAME_MM / 5.0)
    for loop in section(mesh, float(level), step):
        if abs(loop[:, 0].max() - half_mm) > FEATURES_SAME_MM:
            continue
        wide, deep = np.ptp(loop, axis=0)
        area = shapely.Polygon(loop).area
        if (
            np.linalg.norm(loop, axis=1).max() < half_mm + FEATURES_SAME_MM
            and area > 0.98 * np.pi * half_mm**2
        ):
            return "⌀"
        if abs(wide - deep) < FEATURES_SAME_MM and area > 0.85 * wide * deep:
            return "□"
    return ""


TITLE_MM: Final = 3.5
"""Height of a view's title [mm]."""

HATCH_MM: Final = 2.5
"""Between hatching lines on the paper [mm]."""

AXIS_MM: Final = 2.5
"""How far an axis runs beyond its view [mm]."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Profile:
    """What a drawing shows of a part, in true size.

    Parameters
    ----------
    name : str
        The part's name.
    cut : shapely geometry
        Its section through the middle: x to the right, z up [mm].
    behind, plan : tuple of ndarray, shape (n_i, 2)
        Edges seen behind the section, and from above [mm].
    widths : tuple of Width
        Its main widths.
    levels : tuple of float
        Its main heights [mm].
    """

    name: str
    cut: shapely.Geometry
    behind: tuple[Points, ...]
    plan: tuple[Points, ...]
    widths: tuple[Width, ...]
    levels: tuple[float, ...]

    def scaled_cut(self, scale: float) -> shapely.Geometry:
        """Return the section on the paper."""
        return shapely.affinity.scale(self.cut, scale, scale, origin=(0.0, 0.0))


def profile(mesh: Mesh, name: str) -> Profile:
    """Return what a drawing shows of a part.

    Parameters
    ----------
    mesh : Mesh
        As it stands in the assembly [mm].
    name : str
        Its name.

    Raises
    ------
    KernelError
        It cannot be cut.
    """
    step = f"the section of the {name}"
    cut = upright_section(mesh, step)
    return Profile(
        name=name,
        cut=cut,
        behind=edges_behind(mesh, step),
        plan=edges_from_above(mesh),
        widths=widths(mesh, cut, step),
        levels=levels(cut),
    )


def part_view(part: Profile, *, scale: float, turn: int) -> tuple[Ink, ...]:
    """Return a part's section through its middle, with its main dimensions.

    Parameters
    ----------
    part : Profile
        The part.
    scale : float
        Length on the paper over true length.
    turn : int
        Place in the set: neighbours are hatched to other sides.
    """
    drawn = part.scaled_cut(scale)
    x0, y0, x1, y1 = drawn.bounds
    inks: list[Ink] = [*shape_inks(drawn, Layer.OUTLINE), *hatched(drawn, turn)]
    inks += [line(scale * edge, Layer.EDGE) for edge in part.behind]
    inks += axis(0.0, y0, y1)
    inks += _width_dimensions(part, scale=scale, floor=y0)
    for row, level in enumerate(part.levels, start=1):
        ends = ((x1, y0), (x1, y0 + scale * level))
        inks.append(upright(ends, x1 + STEP_MM * row, number(level)))
    inks.append(heading(part.name, (x0 + x1) / 2.0, y1 + AXIS_MM + 1.5))
    return tuple(inks)


def _width_dimensions(part: Profile, *, scale: float, floor: float) -> list[Ink]:
    """Return the dimensions of a part's widths, the smallest nearest below the view."""
    halves = [scale * width.half_mm for width in part.widths]
    inks: list[Ink] = []
    for row, width in enumerate(part.widths, start=1):
        half, at = scale * width.half_mm, scale * width.at_mm
        crossed = [other for other in halves if other > half]
        text = width.sign + number(2.0 * width.half_mm)
        ends = ((-half, min(at, floor)), (half, min(at, floor)))
        inks.append(across(ends, floor - STEP_MM * row, text, crossed=crossed))
    return inks


def part_plan(part: Profile, *, scale: float) -> tuple[Ink, ...]:
    """Return a part seen from above: its sharp edges, and sizes that its section does not have."""
    lines = [line(scale * edge, Layer.OUTLINE) for edge in part.plan]
    x0, y0, x1, y1 = box_of(lines)
    inks: list[Ink] = [*lines, *axis(0.0, y0, y1), *level_axis(x0, x1, 0.0)]
    wide, deep = (x1 - x0) / scale, (y1 - y0) / scale
    left, _, right, _ = part.cut.bounds
    if abs(wide - (right - left)) > FEATURES_SAME_MM:
        inks.append(across(((x0, y0), (x1, y0)), y0 - STEP_MM, number(wide)))
    if abs(deep - wide) > FEATURES_SAME_MM:
        inks.append(upright(((x1, y0), (x1, y1)), x1 + STEP_MM, number(deep)))
    return tuple(inks)


def heading(text: str, x: float, y: float) -> Lettering:
    """Return a view's title, centred over a point [mm]."""
    return Lettering(text=text, at=(x, y), capital_mm=TITLE_MM, align=Align.MIDDLE)


def line(points: Points, layer: Layer, *, closed: bool = False) -> Stroke:
    """Return points, shape (n, 2), as a line on a layer [mm]."""
    return Stroke(points=tuple(map(tuple, points.tolist())), layer=layer, closed=closed)


def shape_inks(shape: shapely.Geometry, layer: Layer) -> list[Ink]:
    """Return the rings of a shape as closed lines on a layer."""
    thinned = shapely.simplify(shape, 0.005)  # a hundredth of a line's width
    rings = [ring for part in shapely.get_parts(thinned) for ring in shapely.get_rings(part)]
    return [line(shapely.get_coordinates(ring)[:-1], layer, closed=True) for ring in rings]


def hatched(shape: shapely.Geometry, turn: int, spacing_mm: float = HATCH_MM) -> list[Ink]:
    """Return the hatching of a section: 45 deg to the right or left by turns."""
    angle = (45.0, 135.0)[turn % 2]
    spacing = spacing_mm * (1.0, 1.0, 0.7, 0.7)[turn % 4]
    return [
        line(ends, Layer.HATCH) for ends in hatching(shape, angle_deg=angle, spacing_mm=spacing)
    ]


def axis(x: float, low: float, high: float) -> list[Ink]:
    """Return an upright centre line that runs a little beyond a view [mm]."""
    ends = np.array([[x, low - AXIS_MM], [x, high + AXIS_MM]])
    return [line(ends, Layer.AXIS)]


def level_axis(left: float, right: float, y: float) -> list[Ink]:
    """Return a level centre line that runs a little beyond a view [mm]."""
    ends = np.array([[left - AXIS_MM, y], [right + AXIS_MM, y]])
    return [line(ends, Layer.AXIS)]


def outline_inks(points: Points, name: str, scale: float) -> list[Ink]:
    """Return an outline seen from above: a true circle where it is one."""
    if name == "round":
        radius = scale * float(np.linalg.norm(points[0]))
        return [Circle(middle=(0.0, 0.0), radius_mm=radius, layer=Layer.OUTLINE)]
    return [line(scale * points, Layer.OUTLINE, closed=True)]


def lowered(inks: Sequence[Ink], by_mm: float) -> tuple[Ink, ...]:
    """Return entities moved down [mm]."""
    return tuple(ink.moved(0.0, -by_mm) for ink in inks)
