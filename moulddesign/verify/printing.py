"""Whether a part prints: bed, first layer, overhang, bridges, walls, layers of the relief."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, floor
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from moulddesign.core import (
    DESIGN,
    OUR_CHOICE,
    PRACTICE,
    Finding,
    Message,
    Verdict,
    judged,
    say,
    within_finding,
)
from moulddesign.geometry import (
    Indices,
    Mesh,
    Points,
    booleans,
    normals_and_areas,
    sides_and_heights_mm,
)
from moulddesign.geometry.topology import shells
from moulddesign.verify.pull import drafts_deg
from moulddesign.verify.walls import SHEET_MM, thinnest_wall_mm

UPWARD: Final = (0.0, 0.0, 1.0)
SLIVER_MM: Final = 0.002
"""A facet narrower than this has no angle of its own: float32 steps turn it by 0.1 deg [mm]."""
LEVEL_DEG: Final = 85.0
"""From this overhang on a ceiling can be bridged: the lines of a layer lie in one level [deg]."""
DIRECTIONS: Final = 24
"""Directions in which a bridge is tried: its span comes out at most 0.9 % too long."""
WALLS: Final = 8
"""Walls straight off which a bridge is tried too, the longest first."""
POINTS: Final = 150
"""Points of a ceiling that have to be bridged, about."""
ROUND_OFF: Final = 1e-9
"""Error of a sum of areas, as a share; facets that overlap by more are united with care."""
GRID_MM: Final = 1e-4
"""Places that far apart are told apart where facets overlap [mm]."""
Border = tuple[Points, NDArray[np.bool_]]
"""Edges around a patch, shape (e, 2, 2) [mm], and which of them stand on a wall."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ceiling:
    """A patch of surface that hangs over more than is allowed without a bridge."""

    steepest_deg: float
    """Largest angle of its facets from the upright: 90 is level [deg]."""
    area_mm2: float
    """Seen from below [mm^2]."""
    span_mm: float
    """Longest way that a line has to bridge; infinite where it cannot [mm]."""


def overhangs_deg(mesh: Mesh) -> Points:
    """Return how far each facet hangs over, shape (m,): 0 upright, 90 a level ceiling [deg]."""
    return drafts_deg(mesh.corners, UPWARD)


def overhanging_facets(mesh: Mesh, *, over_deg: float, layer_mm: float) -> tuple[Indices, Points]:
    """Return the facets off the bed that hang over by more than an angle, slivers left out."""
    angles = overhangs_deg(mesh)
    rows = np.flatnonzero(angles > over_deg)
    # Most facets of most meshes hang over nothing: what takes longer is asked of the others.
    some = mesh.vertices[mesh.triangles[rows]]
    above = some[:, :, 2].max(axis=1) > mesh.bounds[0, 2] + layer_mm / 2.0
    rows = rows[above & (sides_and_heights_mm(some)[1] > SLIVER_MM)]
    return rows, angles[rows]


def ceilings(
    mesh: Mesh, *, limit_deg: float, line_mm: float, layer_mm: float
) -> tuple[Ceiling, ...]:
    """Return the patches that hang over more than a limit.

    What lies on the bed is left out, and so is what is narrower than one line: the line below
    carries it.
    """
    over, _ = overhanging_facets(mesh, over_deg=limit_deg, layer_mm=layer_mm)
    if not len(over):
        return ()
    borders = _Borders(mesh)
    made = (_ceiling(facets, borders, line_mm) for facets in _patches(mesh, over, line_mm))
    return tuple(ceiling for ceiling in made if ceiling is not None)


def _patches(mesh: Mesh, over: Indices, line_mm: float) -> list[Indices]:
    """Return the facets of each patch that is larger than a line is wide, seen from below."""
    patch = shells(mesh.triangles[over])
    normals, areas_mm2 = normals_and_areas(mesh.corners[over])
    plan_mm2 = np.bincount(patch, -normals[:, 2] * areas_mm2)
    order = np.argsort(patch, kind="stable")
    parts = np.split(over[order], np.flatnonzero(np.diff(patch[order])) + 1)
    return [part for part, mm2 in zip(parts, plan_mm2, strict=True) if mm2 > line_mm**2]


def _ceiling(facets: Indices, borders: "_Borders", line_mm: float) -> Ceiling | None:
    mesh = borders.mesh
    plan = _union(shapely.polygons(mesh.corners[facets][:, :, :2]))
    inner = plan.buffer(-line_mm / 2.0)
    if inner.is_empty:
        return None
    angles = drafts_deg(mesh.corners[facets], UPWARD)
    level = angles.min() >= LEVEL_DEG
    return Ceiling(
        steepest_deg=float(angles.max()),
        area_mm2=float(plan.area),
        span_mm=_span_mm(inner, borders.around(facets)) if level else np.inf,
    )


def _union(facets: NDArray[np.object_]) -> BaseGeometry:
    """Return what facets cover, in a fiftieth of the time where none lies over another."""
    area_mm2 = float(shapely.area(facets).sum())
    try:
        side_by_side = shapely.coverage_union_all(facets)
    except shapely.GEOSException:
        side_by_side = shapely.Polygon()
    if side_by_side.is_valid and abs(side_by_side.area - area_mm2) <= ROUND_OFF * area_mm2:
        return side_by_side
    return shapely.union_all(facets, grid_size=GRID_MM)


class _Borders:
    """The edges around patches of facets, and whether a wall stands below each."""

    def __init__(self, mesh: Mesh) -> None:
        self.mesh = mesh
        self.normals = normals_and_areas(mesh.corners)[0]
        self.across = _across(mesh.triangles)

    def around(self, facets: Indices) -> Border:
        """Return the edges of a patch, shape (e, 2, 2) [mm], and which of them stand on a wall."""
        inside = np.zeros(len(self.mesh.triangles), dtype=bool)
        inside[facets] = True
        neighbours = self.across[facets]
        row, side = np.nonzero(~inside[neighbours])
        owner, other = facets[row], neighbours[row, side]
        ends = self.mesh.vertices[
            np.stack(
                [self.mesh.triangles[owner, side], self.mesh.triangles[owner, (side + 1) % 3]], 1
            )
        ]
        # A wall that goes down lies on the side that the ceiling faces: a hollow edge.
        rise = self.mesh.corners[other] - ends[:, :1]
        reach = np.einsum("ekj,ej->ek", rise, self.normals[owner])
        return ends[:, :, :2], reach.max(axis=1) > -reach.min(axis=1)


def _across(triangles: Indices) -> Indices:
    """Return the facet across each side, shape (m, 3); the facet itself where there is none."""
    count = len(triangles)
    tails, heads = triangles.reshape(-1), np.roll(triangles, -1, axis=1).reshape(-1)
    names = np.minimum(tails, heads) * (triangles.max() + 1) + np.maximum(tails, heads)
    order = np.argsort(names, kind="stable")
    pairs = np.flatnonzero(names[order][1:] == names[order][:-1])
    across = np.repeat(np.arange(count), 3)
    one, two = order[pairs], order[pairs + 1]
    across[one], across[two] = two // 3, one // 3
    return across.reshape(-1, 3)


def _span_mm(inner: BaseGeometry, border: Border) -> float:
    """Return the longest of the shortest lines over a ceiling that have a wall at both ends."""
    # A line may be laid in any direction, so a point counts as bridged by the shortest of its ways;
    # the worst point of the ceiling decides.
    points = _points_in(inner)
    best = np.full(len(points), np.inf)
    for way in _ways(border):
        best = np.minimum(best, _line_mm(points, way, border))
    return float(best.max())


def _ways(border: Border) -> Points:
    """Return directions all around, and those straight off the longest walls."""
    turns = np.arange(DIRECTIONS) * np.pi / DIRECTIONS
    around = np.stack([np.cos(turns), np.sin(turns)], axis=1)
    walls = np.diff(border[0][border[1]], axis=1)[:, 0]
    lengths = np.linalg.norm(walls, axis=1)
    longest = np.argsort(-lengths, kind="stable")[:WALLS]
    across = walls[longest][:, ::-1] * (1.0, -1.0) / lengths[longest, None]
    return np.vstack([around, across])


def _line_mm(points: Points, way: Points, border: Border) -> Points:
    """Return how long a line through each point is from wall to wall, infinite without walls."""
    edges, stands = border
    # In coordinates along the way and across it, a line through a point is where `aside` equals its
    # own; each edge that it crosses is met ahead or behind.
    along, aside = edges @ way, edges @ np.array([-way[1], way[0]])
    at, off = points @ way, points @ np.array([-way[1], way[0]])
    rise = aside[:, 1] - aside[:, 0]
    share = (off[:, None] - aside[:, 0]) / np.where(rise == 0.0, 1.0, rise)
    crossed = (rise != 0.0) & (share >= 0.0) & (share <= 1.0)
    reach = along[:, 0] + share * (along[:, 1] - along[:, 0]) - at[:, None]
    ahead, behind = (np.where(crossed & (side > 0.0), side, np.inf) for side in (reach, -reach))
    walled = stands[ahead.argmin(axis=1)] & stands[behind.argmin(axis=1)]
    length: Points = np.where(walled, ahead.min(axis=1) + behind.min(axis=1), np.inf)
    return length


def _points_in(area: BaseGeometry) -> Points:
    """Return points of a lattice in an area, and one in each of its pieces."""
    low_x, low_y, high_x, high_y = area.bounds
    step = np.sqrt(area.area / POINTS)
    lattice = np.meshgrid(np.arange(low_x, high_x, step), np.arange(low_y, high_y, step))
    x, y = (axis.reshape(-1) for axis in lattice)
    kept = shapely.contains_xy(area, x, y)
    one = shapely.get_coordinates(shapely.point_on_surface(shapely.get_parts(area)))
    return np.vstack([np.stack([x[kept], y[kept]], axis=1), one])


FLARE_MM: Final = 0.2
"""How far a first layer is squeezed out; common practice, no source [mm]."""


def outer_foot_finding(mesh: Mesh, *, part: str, layer_mm: float) -> Finding:
    """Return how far the first layer stands back from the widest outline of a part."""
    first, widest = (
        booleans.filled(_first(mesh, layer_mm)),
        booleans.filled(booleans.shadow(mesh, say("verify.part-from-above"))),
    )
    return _finding(part, inner=first, outer=widest)


def bore_foot_finding(mesh: Mesh, *, part: str, layer_mm: float) -> Finding:
    """Return how far the first layer stands back from the narrowest bore of a part."""
    first, narrowest = (
        booleans.hole(_first(mesh, layer_mm)),
        booleans.hole(booleans.shadow(mesh, say("verify.part-from-above"))),
    )
    return _finding(part, inner=narrowest, outer=first)


def _first(mesh: Mesh, layer_mm: float) -> BaseGeometry:
    return booleans.section_region(
        mesh, float(mesh.bounds[0, 2]) + layer_mm / 2.0, say("verify.first-layer")
    )


def _finding(part: str, *, inner: BaseGeometry, outer: BaseGeometry) -> Finding:
    back_mm = float(inner.boundary.distance(outer.boundary)) if outer.contains(inner) else 0.0
    return Finding(
        what=say("verify.first-layer-stands-back"),
        part=part,
        measured=back_mm,
        limit=say("verify.at-least-squeezed-out", limit=FLARE_MM),
        unit="mm",
        source=PRACTICE,
        verdict=judged(good=back_mm >= FLARE_MM),
    )


def lettering_finding(*, part: str, written: str, wanted: Sequence[str]) -> Finding:
    """Return what is written on a part; `wanted` is what may be written, the longest first.

    Examples
    --------
    >>> lettering_finding(part="sleeve", written="75 g", wanted=("75 g  3:7", "75 g")).verdict
    <Verdict.GOOD: 'good'>
    """
    return Finding(
        what=say("verify.lettering"),
        part=part,
        measured=say("verify.as-written", text=written) if written else say("verify.no-room"),
        limit=say("verify.lettering-wanted", text=wanted[0]),
        unit="",
        source=DESIGN,
        verdict=judged(good=written in wanted, otherwise=Verdict.WARN),
    )


OVERHANG_DEG: Final = 45.0
"""Largest overhang without support, from the upright; common practice, no source [deg]."""
ANGLE_DEG: Final = 0.5
"""Error of a facet's angle on small facets in float32 [deg]."""
BRIDGE_MM: Final = 10.0
"""Longest bridge; common practice, no source [mm]."""
GOOD_OFF_RATIO: Final = 0.01
"""Share by which a printed volume may be off; our choice."""
FAIL_OFF_RATIO: Final = 0.03
"""Share above which it is not the portion any more; our choice."""
LEAST_LAYERS: Final = 4
"""Fewest layers of a relief; our choice."""
LEAST_FOOT: Final = 0.1
"""Least area of the first layer by the part's shadow; common practice, no source."""
MOST_LIFT_MM: Final = 1.4
"""Lift of the corners that a bed holds back; our choice [mm]."""
MOST_SLENDER: Final = 4.0
"""Height by the narrowest extent of the first layer, above which the nozzle knocks a part off;
common practice, no source."""
ON_BED_MM: Final = 0.01
"""How far from z = 0 the lowest corner may be [mm]."""


def printing_findings(
    mesh: Mesh,
    *,
    part: str,
    bed_mm: tuple[float, float, float],
    line_mm: float,
    layer_mm: float,
    shrink: float,
) -> tuple[Finding, ...]:
    """Return whether a closed part, standing on z = 0, can be printed without support.

    `shrink` is the share by which its plastic comes out smaller.
    """
    upright = mesh.size_mm[2] > SHEET_MM  # it is limp, and the bed holds it without effort
    return (
        bed_finding(mesh, part=part, bed_mm=bed_mm),
        *_standing(mesh, part, layer_mm),
        *([warping_finding(mesh, part=part, shrink=shrink)] if upright else []),
        *overhang_findings(mesh, part=part, line_mm=line_mm, layer_mm=layer_mm),
        *([wall_finding(mesh, part=part, line_mm=line_mm)] if upright else []),
    )


def bed_finding(mesh: Mesh, *, part: str, bed_mm: tuple[float, float, float]) -> Finding:
    """Return whether a part fits the build volume, turned by a quarter if need be."""
    x, y, z = mesh.size_mm
    long, short = max(bed_mm[:2]), min(bed_mm[:2])
    good = max(x, y) <= long and min(x, y) <= short and z <= bed_mm[2]
    return Finding(
        what=say("verify.fits-bed"),
        part=part,
        measured=say("verify.extents", x_mm=x, y_mm=y, z_mm=z),
        limit=say("verify.at-most-bed", x_mm=bed_mm[0], y_mm=bed_mm[1], z_mm=bed_mm[2]),
        unit="mm",
        source=say("verify.printer-in-design"),
        verdict=judged(good=bool(good)),
    )


def overhang_findings(
    mesh: Mesh, *, part: str, line_mm: float, layer_mm: float
) -> tuple[Finding, Finding]:
    """Return the steepest overhang that nothing carries, and the longest bridge.

    A ceiling is a bridge where each of its points has, in some direction, a wall on both sides
    within 10 mm. What is narrower than one line is carried by the line below it.
    """
    found = ceilings(mesh, limit_deg=OVERHANG_DEG + ANGLE_DEG, line_mm=line_mm, layer_mm=layer_mm)
    hanging = [c.steepest_deg for c in found if not np.isfinite(c.span_mm)]
    spans_mm = [c.span_mm for c in found if np.isfinite(c.span_mm)]
    steepest_deg = max(hanging, default=_steepest_carried_deg(mesh, layer_mm))
    longest_mm = max(spans_mm, default=0.0)
    return (
        Finding(
            what=say("verify.steepest-overhang"),
            part=part,
            measured=steepest_deg,
            limit=say("verify.at-most-from-upright", limit=OVERHANG_DEG, tolerance=ANGLE_DEG),
            unit="deg",
            source=PRACTICE,
            verdict=judged(good=not hanging),
        ),
        Finding(
            what=say("verify.longest-bridge", count=len(spans_mm)),
            part=part,
            measured=longest_mm,
            limit=say("core.at-most", limit=BRIDGE_MM),
            unit="mm",
            source=PRACTICE,
            verdict=judged(good=longest_mm <= BRIDGE_MM),
        ),
    )


def wall_finding(mesh: Mesh, *, part: str, line_mm: float) -> Finding:
    """Return whether the thinnest wall takes two lines; below one line it is not printed at all."""
    measured_mm = thinnest_wall_mm(mesh)
    return Finding(
        what=say("verify.thinnest-wall"),
        part=part,
        measured=measured_mm if np.isfinite(measured_mm) else say("verify.nothing-parallel"),
        limit=say("verify.at-least-two-lines", limit=2.0 * line_mm),
        unit="mm" if np.isfinite(measured_mm) else "",
        source=PRACTICE,
        verdict=judged(
            good=measured_mm >= 2.0 * line_mm,
            otherwise=Verdict.WARN if measured_mm >= line_mm else Verdict.FAIL,
        ),
    )


def as_printed_finding(
    *,
    part: str,
    target_mm3: float,
    ratio: float,
    percent: float,
    material: tuple[str, Message | str],
) -> Finding:
    """Return the volume of a piece from a mould as it will print.

    Parameters
    ----------
    part : str
        The piece.
    target_mm3 : float
        Volume asked for [mm^3].
    ratio : float
        Length of a print by that in the design.
    percent : float
        Scale that the slicer would need [%].
    material : tuple of str, and of str or Message
        Name of the plastic, and source of its shrinkage.

    Examples
    --------
    >>> found = as_printed_finding(
    ...     part="pastry", target_mm3=60e3, ratio=0.985, percent=101.52, material=("PP", "-")
    ... )
    >>> round(found.measured, 2), found.verdict.value
    (57.34, 'fail')
    """
    off = abs(ratio**3 - 1.0)
    good = off <= GOOD_OFF_RATIO
    name, source = material
    return Finding(
        what=say("verify.volume-as-printed"),
        part=part,
        measured=target_mm3 * ratio**3 / 1000.0,
        limit=say(
            "verify.within-or-fails",
            target_ml=target_mm3 / 1000.0,
            percent=100.0 * GOOD_OFF_RATIO,
            fails=100.0 * FAIL_OFF_RATIO,
        ),
        unit="mL",
        source=say("verify.shrinkage-of-plastic", material=name, source=source),
        verdict=judged(
            good=good, otherwise=Verdict.WARN if off <= FAIL_OFF_RATIO else Verdict.FAIL
        ),
        remedy=None if good else say("verify.scale-the-prints", percent=percent),
    )


def layers_finding(*, depth_mm: float, layer_mm: float) -> Finding:
    """Return whether a relief is deep enough to be drawn by the layers.

    Examples
    --------
    >>> layers_finding(depth_mm=1.5, layer_mm=0.2).measured
    7.5
    """
    layers = round(depth_mm / layer_mm, 9)
    return Finding(
        what=say("verify.layers-in-depth"),
        measured=layers,
        limit=say("core.at-least", limit=LEAST_LAYERS),
        unit="layers",
        source=OUR_CHOICE,
        verdict=judged(
            good=layers >= LEAST_LAYERS, otherwise=Verdict.WARN if layers >= 1.0 else Verdict.FAIL
        ),
    )


WITHIN_LAYERS: Final = 0.05
"""A height this near to whole layers is printed as it is drawn; our choice [layers]."""


def whole_layers_finding(depths_mm: Sequence[float], *, layer_mm: float) -> Finding:
    """Return whether the depths of a relief are whole layers; the slicer rounds the others.

    Examples
    --------
    >>> found = whole_layers_finding([1.6, 1.5], layer_mm=0.2)
    >>> found.measured, found.verdict.value, str(found.remedy)
    (1.5, 'warn', 'the nearest depths that print as drawn: 1.4 or 1.6 mm')
    """
    worst_mm = max(depths_mm, key=lambda each: abs(each / layer_mm - round(each / layer_mm)))
    layers = worst_mm / layer_mm
    good = abs(layers - round(layers)) <= WITHIN_LAYERS
    nearest = say(
        "verify.nearest-depths",
        low_mm=max(floor(layers), 1) * layer_mm,
        high_mm=max(ceil(layers), 2) * layer_mm,
    )
    return Finding(
        what=say("verify.depth-in-whole-layers"),
        measured=worst_mm,
        limit=say("verify.whole-layers-of", layer_mm=layer_mm),
        unit="mm",
        source=OUR_CHOICE,
        verdict=judged(good=good, otherwise=Verdict.WARN),
        remedy=None if good else nearest,
    )


def warping_finding(mesh: Mesh, *, part: str, shrink: float) -> Finding:
    """Return how far the corners of a part could lift, were it not held on the bed.

    Upper layers that shrink by s on lower ones that are held bend a part of height h and length L
    to the curvature s / h, so its ends lift by s L^2 / (8 h). The bed holds most of it back.
    """
    x, y, height_mm = mesh.size_mm.tolist()
    lift_mm = shrink * (x**2 + y**2) / (8.0 * height_mm)
    good = lift_mm <= MOST_LIFT_MM
    return Finding(
        what=say("verify.warping"),
        part=part,
        measured=lift_mm,
        limit=say("core.at-most", limit=MOST_LIFT_MM),
        unit="mm",
        source=say("verify.bent-strip"),
        verdict=judged(good=good, otherwise=Verdict.WARN),
        remedy=None if good else say("verify.print-with-brim-and-lid"),
    )


def _slenderness(mesh: Mesh, first: BaseGeometry) -> float:
    """Return the height of a part by the narrowest extent of its first layer."""
    corners = shapely.get_coordinates(first.minimum_rotated_rectangle)
    sides_mm = np.linalg.norm(np.diff(corners[:3], axis=0), axis=1) if len(corners) > 2 else [0.0]  # noqa: PLR2004 (a rectangle has corners)
    return float(mesh.size_mm[2] / max(min(sides_mm), SLIVER_MM))


def _standing(mesh: Mesh, part: str, layer_mm: float) -> tuple[Finding, ...]:
    """Return whether the part stands on the bed, and how well its first layer holds it."""
    lowest_mm = float(mesh.bounds[0, 2])
    first = booleans.section_region(mesh, lowest_mm + layer_mm / 2.0, say("verify.first-layer"))
    share = float(first.area / booleans.shadow(mesh, say("verify.part-from-above")).area)
    stands = bool(first.convex_hull.contains(shapely.Point(_middle_of_mass(mesh)[:2])))
    slender = _slenderness(mesh, first)
    return (
        within_finding(
            say("verify.lowest-point"),
            lowest_mm,
            0.0,
            tolerance=ON_BED_MM,
            unit="mm",
            source=say("verify.print-pose"),
            part=part,
        ),
        Finding(
            what=say("verify.first-layer-share"),
            part=part,
            measured=share if stands else say("verify.falls-over"),
            limit=say("verify.at-least-under-mass", limit=LEAST_FOOT),
            unit="",
            source=PRACTICE,
            verdict=judged(good=share >= LEAST_FOOT, otherwise=Verdict.WARN)
            if stands
            else Verdict.FAIL,
        ),
        Finding(
            what=say("verify.height-by-foot"),
            part=part,
            measured=slender,
            limit=say("core.at-most", limit=MOST_SLENDER),
            unit="",
            source=PRACTICE,
            verdict=judged(good=slender <= MOST_SLENDER, otherwise=Verdict.WARN),
            remedy=None if slender <= MOST_SLENDER else say("verify.print-with-brim"),
        ),
    )


def _middle_of_mass(mesh: Mesh) -> np.ndarray:
    origin = mesh.bounds.mean(axis=0)
    a, b, c = np.moveaxis(mesh.corners - origin, 1, 0)
    volumes = np.einsum("ij,ij->i", a, np.cross(b, c))
    middle = origin + volumes @ (a + b + c) / (4.0 * volumes.sum())
    return np.asarray(middle)


def _steepest_carried_deg(mesh: Mesh, layer_mm: float) -> float:
    """Return the steepest overhang within the limit, off the bed; 0 where nothing hangs over."""
    _, angles = overhanging_facets(mesh, over_deg=0.0, layer_mm=layer_mm)
    return float(angles[angles <= OVERHANG_DEG + ANGLE_DEG].max(initial=0.0))
