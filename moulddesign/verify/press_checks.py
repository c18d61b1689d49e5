"""The assembled press, from the meshes alone: closed cavity, stroke, lean, stop.

Meshes are in assembly pose, the stamp at its nominal height, its face down. One that is not closed
raises `KernelError`.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from statistics import NormalDist
from typing import Final

import numpy as np
import shapely
from numpy.typing import ArrayLike
from shapely.geometry.base import BaseGeometry

from moulddesign.core import (
    DESIGN,
    OUR_CHOICE,
    Finding,
    Verdict,
    judged,
    ml_from_mm3,
    say,
    within_finding,
)
from moulddesign.geometry import Mesh, booleans, normals_and_areas
from moulddesign.verify.soundness import volume_finding

SLAB_MM: Final = 0.005
"""The table is taken to be this far above z = 0, so that float32 noise opens no leak [mm]."""
ON_WALL_MM: Final = 0.002
"""A corner this near the shadow's edge lies on the wall: ten float32 steps at 250 mm [mm]."""
UPRIGHT: Final = 0.05
"""Largest share upwards of an upright facet's normal."""
FACE_RATIO: Final = 0.02
"""Share of all that looks down level which a face has at the least; slivers have less."""
EDGE_MM: Final = 0.01
"""How far inside a body a level is cut that means its end [mm]."""

SAME_RATIO: Final = 1e-4
"""Two sections of a prism differ by less than this for float32 steps on 0.1 mm facets."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Press:
    """A press of closed meshes in assembly pose, and what can be measured on it."""

    sleeve: Mesh
    stamp: Mesh
    plunger: Mesh
    stop: Mesh

    @cached_property
    def bore(self) -> BaseGeometry:
        """What one sees through the sleeve along the bore: the narrowest opening."""
        return booleans.hole(booleans.shadow(self.sleeve, say("verify.sleeve-from-above")))

    @cached_property
    def travel_mm(self) -> float:
        """How far the stamp goes down until the palm disc meets the sleeve [mm].

        Infinite where nothing of the plunger is wider than the bore.
        """
        corners = self.plunger.vertices
        outside = ~shapely.contains_xy(self.bore, *corners[:, :2].T)
        lowest_mm = corners[outside, 2].min(initial=np.inf)
        return float(lowest_mm - self.sleeve.bounds[1, 2])

    @cached_property
    def lift_mm(self) -> float:
        """How far the stamp goes up until it is out of the sleeve at the top [mm]."""
        return float(self.sleeve.bounds[1, 2] - self.stamp.bounds[0, 2])

    @cached_property
    def entering(self) -> tuple[Mesh, Mesh]:
        """What enters the bore: the stamp, and the plunger up to its palm disc."""
        low, high = self.plunger.bounds
        high[2] = min(high[2], self.sleeve.bounds[1, 2] + self.travel_mm) - EDGE_MM
        stem = booleans.intersection(
            [self.plunger, booleans.box(low - 1.0, high + np.array((1.0, 1.0, 0.0)))],
            say("verify.stem"),
        )
        return self.stamp, stem

    @cached_property
    def mover(self) -> BaseGeometry:
        """Shadow along the bore of all that enters it."""
        shadows = [
            booleans.shadow(part, say("verify.stamp-and-stem-from-above")) for part in self.entering
        ]
        return booleans.filled(shapely.union_all(shadows))

    @cached_property
    def stop_top(self) -> BaseGeometry:
        """What of the stop lies level under the disc."""
        level_mm = float(self.stop.bounds[1, 2]) - EDGE_MM
        return booleans.section_region(self.stop, level_mm, say("verify.stops-top"))

    @cached_property
    def over_stop_mm(self) -> float:
        """Way of the disc from the nominal position until it meets the stop [mm].

        Infinite where nothing of the plunger lies over the stop.
        """
        top_mm, bearing = float(self.stop.bounds[1, 2]), self.stop_top
        corners = self.plunger.corners
        level = np.ptp(corners[:, :, 2], axis=1) < ON_WALL_MM
        above = level & (corners[:, 0, 2] > top_mm - self.travel_mm)
        shapely.prepare(bearing)
        flat = corners[above]
        facets = shapely.polygons(flat[:, :, :2])
        near = shapely.intersects(bearing, facets)
        over = shapely.area(shapely.intersection(facets[near], bearing)) > EDGE_MM
        lowest_mm = flat[near][over][:, 0, 2].min(initial=np.inf)
        return float(lowest_mm - top_mm)

    @cached_property
    def edge_high_mm(self) -> float:
        """Highest point of the stamp's edge, where the pastry's side ends [mm]."""
        return float(lower_edge(self.stamp)[:, :, 2].max(initial=-np.inf))

    @cached_property
    def least_gap_mm(self) -> float:
        """Least gap over the whole stroke between bore and what enters it; 0 where they meet [mm].

        Stamp and stem move along z, so their shadow sweeps a prism: what holds for the shadows
        holds at every position.
        """
        if not self.bore.contains(self.mover):
            return 0.0
        return float(self.bore.boundary.distance(self.mover.boundary))

    @cached_property
    def guide_mm(self) -> float:
        """Length over which stamp and vanes lie on the bore's profile [mm]."""
        heights_mm = [part.vertices[_on_wall(part, self.mover), 2] for part in self.entering]
        return float(np.ptp(np.concatenate(heights_mm)))


def closed_cavity_mm3(sleeve: Mesh, stamp: Mesh) -> float:
    """Return the volume between table, bore and stamp, 0 where it is open to a side [mm^3].

    The air is cut out of a block by a boolean, and the part that stands on the table and does not
    reach the sides of the block is kept. It holds the gap beside the stamp too, which is taken off:
    difference of the two sections times the mean height of the gap. The block ends where the stamp
    still fills the bore; what its engraving holds above that is cut out of a second one.
    """
    plan, on_wall = _seen_from_above(stamp)
    wall_mm = stamp.vertices[on_wall, 2]  # above it the back is chamfered
    edge = lower_edge(stamp)
    lengths_mm = np.linalg.norm(edge[:, 1, :2] - edge[:, 0, :2], axis=1)
    edge_mm, mean_mm = (
        float(wall_mm.min()),
        float(np.average(edge[:, :, 2].mean(axis=1), weights=lengths_mm)),
    )
    bore_mm2 = _bore_mm2(sleeve, edge_mm / 2.0)
    top_mm = _straight_top_mm(sleeve, edge_mm, float(wall_mm.max()))
    low, high = sleeve.bounds + MARGINS_MM
    inside_mm3 = _enclosed_mm3([sleeve, stamp], (*low[:2], SLAB_MM), (*high[:2], top_mm))
    gap_mm3 = (bore_mm2 - plan.area) * (top_mm - mean_mm)
    low, high = stamp.bounds + MARGINS_MM
    above_mm3 = _enclosed_mm3([stamp], (*low[:2], top_mm), high)
    made = inside_mm3 + bore_mm2 * SLAB_MM - gap_mm3 + above_mm3
    return float(made) if inside_mm3 > 0.0 else 0.0


def face_mm(stamp: Mesh) -> float:
    """Return the z of the stamp's flat face: the level that looks down and reaches farthest out.

    Relief may cover more of the face than it leaves flat, but never its edge. The result is not a
    number where nothing level looks down.
    """
    a, b, c = np.moveaxis(stamp.corners, 1, 0)
    down_mm2 = -np.cross(b - a, c - a)[:, 2] / 2.0
    flat = (np.ptp(stamp.corners[:, :, 2], axis=1) < ON_WALL_MM) & (down_mm2 > 0.0)
    if not flat.any():
        return float("nan")
    reach_mm = np.linalg.norm(stamp.corners[flat][:, :, :2], axis=2).max(axis=1)
    # Levels that differ by less than float32 noise count as one.
    levels, rows = np.unique(np.round(a[flat, 2] / ON_WALL_MM), return_inverse=True)
    areas_mm2 = np.bincount(rows, down_mm2[flat])
    reaches_mm = np.zeros(len(levels))
    np.maximum.at(reaches_mm, rows, reach_mm)
    reaches_mm[areas_mm2 < FACE_RATIO * areas_mm2.sum()] = 0.0
    return float(levels[np.argmax(reaches_mm)] * ON_WALL_MM)


def _on_wall(mesh: Mesh, plan: BaseGeometry) -> np.ndarray:
    """Which corners lie on the upright wall above the edge of a shadow."""
    edge = plan.boundary
    shapely.prepare(edge)
    return np.asarray(shapely.dwithin(edge, shapely.points(mesh.vertices[:, :2]), ON_WALL_MM))


@lru_cache(maxsize=4)
def _seen_from_above(stamp: Mesh) -> tuple[BaseGeometry, np.ndarray]:
    """Return a stamp's shadow, holes filled, and which corners lie on the wall above its edge."""
    plan = booleans.filled(booleans.shadow(stamp, say("verify.stamp-from-above")))
    return plan, _on_wall(stamp, plan)


@lru_cache(maxsize=4)
def lower_edge(stamp: Mesh) -> np.ndarray:
    """Return where a stamp's upright wall begins, its back up: edges, shape (n, 2, 3) [mm]."""
    _, on_wall = _seen_from_above(stamp)
    wall = stamp.triangles[on_wall[stamp.triangles].all(axis=1)]
    normals, _ = normals_and_areas(stamp.vertices[wall])
    upright = np.abs(normals[:, 2]) < UPRIGHT
    wall, normals = wall[upright], normals[upright]
    edges = np.stack([wall, np.roll(wall, -1, axis=1)], axis=2).reshape(-1, 2)
    # Inside the wall each edge is there both ways. Seen from outside facets turn
    # counter-clockwise, so the lower edge runs to the right: along z x n.
    count = len(stamp.vertices)
    outer = ~np.isin(edges @ [count, 1], edges[:, ::-1] @ [count, 1])
    ways = stamp.vertices[edges[:, 1]] - stamp.vertices[edges[:, 0]]
    right = np.repeat(np.column_stack([-normals[:, 1], normals[:, 0]]), 3, axis=0)
    lower = outer & (np.einsum("ij,ij->i", ways[:, :2], right) > 0.0)
    made: np.ndarray = stamp.vertices[edges[lower]]
    return made


def _straight_top_mm(sleeve: Mesh, edge_mm: float, wall_top_mm: float) -> float:
    """Return the highest level beside the stamp, of ten, at which the bore is as wide as below it.

    The stamp's wall reaches from `edge_mm` to `wall_top_mm`.
    """
    bore_mm2 = _bore_mm2(sleeve, edge_mm / 2.0)
    end_mm = min(float(sleeve.bounds[1, 2]), wall_top_mm) - EDGE_MM
    levels = [edge_mm + share * (end_mm - edge_mm) for share in np.linspace(1.0, 0.5, 10)]
    for level_mm in levels:
        if abs(_bore_mm2(sleeve, level_mm) - bore_mm2) <= SAME_RATIO * bore_mm2:
            return float(level_mm)
    return float(levels[0])


def _bore_mm2(sleeve: Mesh, height_mm: float) -> float:
    return float(booleans.hole(booleans.section_region(sleeve, height_mm, say("verify.bore"))).area)


MARGINS_MM: Final = np.array([[-1.0], [1.0]])
"""How much larger than what it is cut out of a block of air is, below and above [mm]."""


def _enclosed_mm3(meshes: Sequence[Mesh], low_mm: ArrayLike, high_mm: ArrayLike) -> float:
    """Return the volume of the air on a block's floor that does not reach its sides [mm^3]."""
    low, high = np.asarray(low_mm), np.asarray(high_mm)
    air = booleans.pieces_of_air(meshes, low, high, step=say("verify.cavity-of-press"))
    inside = [
        part.volume_mm3
        for part in air
        if part.bounds[0, 2] < low[2] + SLAB_MM
        and np.all(part.bounds[0, :2] > low[:2] + EDGE_MM)
        and np.all(part.bounds[1, :2] < high[:2] - EDGE_MM)
    ]
    return sum(inside)


CAVITY_RATIO: Final = 0.002
"""Largest deviation of the closed cavity from the target, as a share."""
GAP_MM: Final = 0.02
"""Largest deviation of a gap or an interference from the one asked for [mm]."""
NOISE_MM3: Final = 0.1
"""Two faces of 100 cm^2 that touch overlap by this for float32 steps of 7.6e-6 mm [mm^3]."""
POSITIONS: Final = 9
"""Positions of the stroke at which the overlap is cut out."""
MOST_DROP_MM: Final = 1.0
"""Largest drop across the pastry that a leaning stamp leaves; our choice [mm]."""


def press_findings(
    press: Press, *, target_mm3: float, clearance_mm: float, past_rim_mm: float, width_mm: float
) -> tuple[Finding, ...]:
    """Return whether an assembled press holds the portion, slides, and lets the pastry go.

    Asked for are the volume of the pastry, the gap between stamp and bore on each side, and how far
    the face of the stamp has to come out of the bore at the table; the width of the pastry is for
    the drop across it.
    """
    return (
        volume_finding(
            what=say("verify.closed-cavity"),
            measured_mm3=closed_cavity_mm3(press.sleeve, press.stamp),
            target_mm3=target_mm3,
            within_ratio=CAVITY_RATIO,
            source=DESIGN,
        ),
        within_finding(
            say("verify.least-gap"),
            press.least_gap_mm,
            clearance_mm,
            tolerance=GAP_MM,
            unit="mm",
            source=DESIGN,
        ),
        _overlap(press),
        _past_rim(press, past_rim_mm),
        _drop(press, width_mm),
    )


FILLING_SHARE: Final = 0.95
"""Share of the pieces whose relief has to fill before the disc meets the stop; our choice."""


def stop_finding(
    press: Press, *, target_mm3: float, area_mm2: float, mean_mm3: float, sd_mm3: float
) -> Finding:
    """Return how many of a hundred pieces fill the relief before the disc meets the stop.

    Parameters
    ----------
    target_mm3 : float
        Volume of the pastry at the stamp's nominal height [mm^3].
    area_mm2 : float
        Area of the outline [mm^2].
    mean_mm3, sd_mm3 : float
        Volume of a piece as it is weighed out, and its standard deviation [mm^3].
    """
    closed_mm3 = target_mm3 - area_mm2 * press.over_stop_mm
    share = (
        NormalDist().cdf((mean_mm3 - closed_mm3) / sd_mm3)
        if sd_mm3
        else float(mean_mm3 >= closed_mm3)
    )
    lower_mm = (closed_mm3 - mean_mm3) / area_mm2 - sd_mm3 / area_mm2 * NormalDist().inv_cdf(
        1.0 - FILLING_SHARE
    )
    good = share >= FILLING_SHARE
    return Finding(
        what=say("verify.pieces-that-fill"),
        measured=100.0 * share,
        limit=say("core.at-least", limit=100.0 * FILLING_SHARE),
        unit="%",
        source=say("verify.spread-of-pieces"),
        verdict=judged(good=good, otherwise=Verdict.WARN),
        remedy=None if good else say("verify.lower-stop", lower_mm=lower_mm),
    )


MOST_OFF_RATIO: Final = 0.01
"""Most that the stop's whole layers may take from a piece, as a share; our choice."""


def stop_layers_finding(
    press: Press, *, low_mm: float, area_mm2: float, density_g_per_ml: float, piece_g: float
) -> Finding:
    """Return what the stop's whole layers take from the lightest piece that is to fill the relief.

    Parameters
    ----------
    low_mm : float
        How much lower than the nominal height the stop has to let the stamp go for it [mm].
    area_mm2 : float
        Area of the outline [mm^2].
    density_g_per_ml : float
        Density of the raw piece [g/mL].
    piece_g : float
        Its mass [g].
    """
    off_g = density_g_per_ml * ml_from_mm3((press.over_stop_mm - low_mm) * area_mm2)
    good = abs(off_g) <= MOST_OFF_RATIO * piece_g
    return Finding(
        what=say("verify.stop-in-whole-layers"),
        measured=off_g if np.isfinite(off_g) else say("verify.nothing-stops-it"),
        limit=say("core.within", value=0, tolerance=MOST_OFF_RATIO * piece_g),
        unit="g" if np.isfinite(off_g) else "",
        source=OUR_CHOICE,
        verdict=judged(good=good, otherwise=Verdict.WARN),
    )


def _overlap(press: Press) -> Finding:
    worst_mm3 = _worst_overlap_mm3(press)
    return Finding(
        what=say("verify.overlap-over-stroke", positions=POSITIONS),
        measured=worst_mm3,
        limit=say("verify.round-off", tolerance=NOISE_MM3),
        unit="mm3",
        source=DESIGN,
        verdict=judged(good=worst_mm3 <= NOISE_MM3),
    )


def _worst_overlap_mm3(press: Press) -> float:
    travel_mm = press.travel_mm if np.isfinite(press.travel_mm) else 0.0
    shifts_mm = np.zeros((POSITIONS, 3))
    # The first position is the nominal one; the others go from the stop at the table to out of the
    # sleeve.
    shifts_mm[1:, 2] = np.linspace(-travel_mm, press.lift_mm, POSITIONS - 1)
    parts: tuple[Mesh, ...] = press.stamp, press.plunger
    if press.bore.contains(press.mover):
        # What lies inside the bore as seen along the stroke shares nothing with the sleeve
        # anywhere; the rest of the plunger is above the sleeve from where it lies on it.
        parts, shifts_mm = (press.plunger,), shifts_mm[[np.argmin(shifts_mm[:, 2])]]
    return max(
        float(booleans.overlaps_mm3(p, press.sleeve, shifts_mm, step=say("verify.stroke")).max())
        for p in parts
    )


def _past_rim(press: Press, past_rim_mm: float) -> Finding:
    out_mm = press.travel_mm - press.edge_high_mm
    return Finding(
        what=say("verify.stamp-past-rim"),
        measured=out_mm if np.isfinite(out_mm) else say("verify.nothing-stops-it"),
        limit=say("core.at-least", limit=past_rim_mm),
        unit="mm" if np.isfinite(out_mm) else "",
        source=DESIGN,
        verdict=judged(good=past_rim_mm - GAP_MM <= out_mm < np.inf),
    )


def _drop(press: Press, width_mm: float) -> Finding:
    """Return the drop: the stamp leans by twice the gap over its guided length."""
    guide_mm = press.guide_mm
    drop_mm = 2.0 * press.least_gap_mm * width_mm / guide_mm if guide_mm > 0.0 else np.inf
    return Finding(
        what=say("verify.drop-across-pastry"),
        measured=float(drop_mm) if np.isfinite(drop_mm) else say("verify.not-guided"),
        limit=say("core.at-most", limit=MOST_DROP_MM),
        unit="mm" if np.isfinite(drop_mm) else "",
        source=say("verify.small-angle-tilt"),
        verdict=judged(good=drop_mm <= MOST_DROP_MM),
        remedy=None if drop_mm <= MOST_DROP_MM else say("verify.longer-guide"),
    )
