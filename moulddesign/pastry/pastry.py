"""The pressed pastry as one solid, its surface, and its complement."""

from dataclasses import dataclass, replace
from math import asin, radians, sqrt, tan
from typing import Final

import numpy as np
import shapely
from scipy.optimize import brentq

from moulddesign.artwork.outline import (
    Outline,
    outline_of_width,
    width_for_area_mm,
    width_for_volume_mm,
)
from moulddesign.core import SpecError, ml_from_mm3, mm3_from_ml, say
from moulddesign.design import PROPORTION, TABLE, Design, PressTable
from moulddesign.geometry import Indices, Mesh, Points
from moulddesign.geometry.mending import in_float32
from moulddesign.portion import TrialMould, figures
from moulddesign.relief.medial_axis import MedialAxis, medial_axis, snapped_to_grid
from moulddesign.relief.profile import HeightProfile, shoulder_profile
from moulddesign.relief.roof import (
    ReliefRegion,
    Roof,
    relief_regions,
    roof,
    roof_from_axis,
    triangulated_loops,
)

FAN_RAD: Final = asin(0.25)
"""Largest angle of one facet around a corner, as the shoulder has it [rad]."""

EXACT_MM: Final = 1e-10
"""How near the height is found: on 10,000 mm2 a millionth of a cubic millimetre [mm]."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class DraftedSide:
    """An outline at the table and a side that leans inwards from there.

    With d the distance from the outline, a the draft and r the shoulder's radius:

        z             _______   flat top at z = h
        ^         . '           shoulder: an arc from 45 deg to level, r (1 - 1 / sqrt 2) high
        |       /
        |     /                 side: d = z tan a, as far as the shoulder's lower end
        |   /
        +-/-----------------> d
    """

    outline: Outline
    axis: MedialAxis
    """Its medial axis, known once for every height."""
    draft_deg: float
    radius_mm: float
    """Of the rounded shoulder above it; 0 where the edge is sharp [mm]."""

    def run_mm(self, height_mm: float) -> float:
        """Return how far inside the table's outline the flat top begins [mm]."""
        drop_mm = self.radius_mm * (1.0 - sqrt(0.5))
        return (height_mm - drop_mm) * tan(radians(self.draft_deg)) + self.radius_mm * sqrt(0.5)

    def roof(self, height_mm: float) -> Roof:
        """Return side and shoulder, the flat top at z = 0 and the table below it [mm]."""
        wall = self._profile(height_mm)
        made = roof_from_axis(self.axis, wall)
        drop = np.array([0.0, 0.0, height_mm])
        return replace(made, vertices=made.vertices - drop)

    def volume_mm3(self, height_mm: float) -> float:
        """Return the volume between table, side and flat top, no relief included [mm^3]."""
        return self.outline.area_mm2 * height_mm + top_surface(self.roof(height_mm), ()).volume_mm3

    def height_mm(self, volume_mm3: float) -> float:
        """Return the height at which it holds a volume, relief not included [mm]."""
        least = volume_mm3 / self.outline.area_mm2
        most = self._most_mm()
        if least >= most or self.volume_mm3(most) <= volume_mm3:
            raise SpecError(
                "mould.side_draft_deg",
                self.draft_deg,
                say("pastry.sides-meet", volume_ml=ml_from_mm3(volume_mm3)),
            )
        return float(
            brentq(
                lambda h: self.volume_mm3(h) - volume_mm3, least, most, xtol=EXACT_MM, rtol=1e-13
            )
        )

    def _most_mm(self) -> float:
        """Return the height at which only 2 % of the widest flat top is left [mm]."""
        room = 0.98 * float(self.axis.distances.max()) - self.radius_mm * sqrt(0.5)
        return room / tan(radians(self.draft_deg)) + self.radius_mm * (1.0 - sqrt(0.5))

    def _profile(self, height_mm: float) -> HeightProfile:
        drop_mm = self.radius_mm * (1.0 - sqrt(0.5))
        rise = height_mm - drop_mm
        run = rise * tan(radians(self.draft_deg))
        distances, heights = np.array([0.0, run]), np.array([0.0, rise])
        if self.radius_mm > 0.0:
            over = shoulder_profile(self.radius_mm, 0.0)
            distances = np.concatenate([distances, run + over.distances[1:]])
            heights = np.concatenate([heights, rise + over.heights[1:]])
        heights[-1] = height_mm  # exactly: the flat top is one level
        return HeightProfile(distances=distances, heights=heights, fan_rad=FAN_RAD)


def drafted_side(outline: Outline, *, draft_deg: float, radius_mm: float) -> DraftedSide:
    """Return the side of an outline at the table."""
    axis = medial_axis(snapped_to_grid(outline.shape))
    return DraftedSide(outline=outline, axis=axis, draft_deg=draft_deg, radius_mm=radius_mm)


SAME_MM: Final = 1e-9
"""Round-off of a height of some hundred millimetres [mm]."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class TopSurface:
    """The pastry's top surface, the flat top at z = 0."""

    vertices: Points
    triangles: Indices
    """Counter-clockwise seen from above."""
    rim: Indices
    """The outer edge, counter-clockwise; rows of `vertices`."""

    @property
    def volume_mm3(self) -> float:
        """Volume between the surface and z = 0, negative below it [mm^3]."""
        # Under each triangle stands a prism: its area seen from above times its mean height.
        a, b, c = np.moveaxis(self.vertices[self.triangles], 1, 0)
        ab, ac = b - a, c - a
        seen = (ab[:, 0] * ac[:, 1] - ab[:, 1] * ac[:, 0]) / 2.0
        return float(seen @ (a[:, 2] + b[:, 2] + c[:, 2]) / 3.0)

    @property
    def rim_mm(self) -> float:
        """Height of the outer edge, 0 or below [mm]."""
        return float(self.vertices[self.rim[0], 2])

    def solid(self, flat_mm: float, other_mm: float) -> Mesh:
        """Return what lies between the surface, with its flat at one height, and a level plane."""
        if abs(self.rim_mm + flat_mm - other_mm) < SAME_MM:
            return self._closed(flat_mm)
        lift = np.array([0.0, 0.0, flat_mm])
        count = len(self.rim)
        end = self.vertices[self.rim].copy()
        end[:, 2] = other_mm
        low = len(self.vertices) + np.arange(count)
        high = self.rim
        side = np.concatenate(
            [
                np.column_stack([low, np.roll(low, -1), np.roll(high, -1)]),
                np.column_stack([low, np.roll(high, -1), high]),
            ]
        )
        vertices = np.concatenate([self.vertices + lift, end])
        floor = triangulated_loops(vertices, [low])[:, ::-1]
        made = Mesh(vertices, np.concatenate([self.triangles, side, floor]))
        return in_float32(made if other_mm < flat_mm else made.inside_out())

    def _closed(self, flat_mm: float) -> Mesh:
        """Return the solid whose floor is filled in the rim: a drafted side ends on the table."""
        vertices = self.vertices + np.array([0.0, 0.0, flat_mm])
        floor = triangulated_loops(vertices, [self.rim])[:, ::-1]
        return in_float32(Mesh(vertices, np.concatenate([self.triangles, floor])))


def relief_volume_mm3(roofs: tuple[Roof, ...]) -> float:
    """Return the volume of reliefs above z = 0, less what is below it [mm^3]."""
    return sum(
        TopSurface(
            vertices=made.surface.vertices,
            triangles=made.surface.triangles,
            rim=np.empty(0, dtype=np.int64),
        ).volume_mm3
        for made in roofs
    )


def top_surface(edge: Roof, roofs: tuple[Roof, ...]) -> TopSurface:
    """Return an edge, the flat within it and the reliefs on that as one surface.

    The edge is what lies round the flat, which is at z = 0: a shoulder, a side, or just a loop.
    Reliefs begin at z = 0, each at its own edge.
    """
    parts = [edge, *roofs]
    starts = np.cumsum([0, *(len(part.vertices) for part in parts)])
    vertices = np.concatenate([part.vertices for part in parts])
    inner = [loop + starts[0] for loop in edge.plateaus]
    holes = [
        loop[::-1] + start
        for part, start in zip(roofs, starts[1:], strict=False)
        for loop in part.eaves
    ]
    surfaces = [edge.walls] + [
        part.surface.triangles + start for part, start in zip(roofs, starts[1:], strict=False)
    ]
    flat = triangulated_loops(vertices, inner + holes)
    return TopSurface(
        vertices=vertices, triangles=np.concatenate([*surfaces, flat]), rim=edge.eaves[0]
    )


def shoulder_roof(outline: Outline, *, radius_mm: float, inset_mm: float) -> Roof:
    """Return the shoulder inside an outline, the flat at z = 0; without one, just its loop.

    The outline may lie inside the pastry's by an inset [mm], as a stamp's does: the shoulder then
    begins at that distance.
    """
    run_mm = radius_mm * sqrt(0.5)
    if run_mm <= inset_mm:
        return edge_loop(outline.points)
    wall = shoulder_profile(radius_mm, inset_mm)
    made = roof(snapped_to_grid(outline.shape), wall)
    drop = np.array([0.0, 0.0, float(wall.heights[-1])])
    return replace(made, vertices=made.vertices - drop)


def edge_loop(points: Points) -> Roof:
    """Return the edge of a flat without anything around it: a loop at z = 0, counter-clockwise."""
    loop = np.arange(len(points))
    return Roof(
        vertices=np.column_stack([points, np.zeros(len(loop))]),
        walls=np.empty((0, 3), dtype=np.int64),
        eaves=(loop,),
        plateaus=(loop,),
    )


WIDTH_STEP_MM: Final = 0.5
"""A width that was not given is rounded to this; the height then takes up the volume [mm]."""

MOST_ROUNDS: Final = 40
"""Rounds of the width's iteration before it is given up."""
HEIGHT_STEP_MM: Final = 1e-5
"""A height that was given is met within this [mm]."""
HEIGHT_NOISE_MM: Final = 0.01
"""Nor is it sought more closely than this where the relief's volume is no smooth function of the
width: a bevelled relief of many small corners moves it by some micrometres [mm]."""
FLAT_TOP_STEP_MM: Final = 0.01
"""The height for which a drafted pastry's relief was laid is met within this [mm]."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Pastry:
    """The pressed pastry, standing on z = 0 around the z axis, relief up."""

    outline: Outline
    height_mm: float
    """Table to flat top [mm]."""
    shoulder_radius_mm: float
    """Radius of the rounded top edge, 0 where it is sharp [mm]."""
    relief: tuple[ReliefRegion, ...]
    """The artwork where it lies."""
    roofs: tuple[Roof, ...]
    """The surface over each, from z = 0 at its edge."""
    side: DraftedSide | None = None
    """Its drafted side, the outline being that at the table; none where it is upright."""

    @property
    def side_draft_deg(self) -> float:
        """Lean of the side from upright [deg]."""
        return 0.0 if self.side is None else self.side.draft_deg

    @property
    def top(self) -> TopSurface:
        """The surface within the outline: the top, and the side where it is drafted."""
        edge = (
            shoulder_roof(self.outline, radius_mm=self.shoulder_radius_mm, inset_mm=0.0)
            if self.side is None
            else self.side.roof(self.height_mm)
        )
        return top_surface(edge, self.roofs)

    @property
    def relief_mm3(self) -> float:
        """Volume of the relief above the flat top, less what is sunk below it [mm^3]."""
        return relief_volume_mm3(self.roofs)

    @property
    def inlays_mm3(self) -> dict[str, float]:
        """Volume of the engravings that take coloured dough first, by its colour [mm^3]."""
        found: dict[str, float] = {}
        for part, made in zip(self.relief, self.roofs, strict=True):
            if part.colour is not None:
                found[part.colour] = found.get(part.colour, 0.0) + relief_volume_mm3((made,))
        return found

    @property
    def depth_above_mm(self) -> float:
        """Highest point of the relief above the flat top, at least 0 [mm]."""
        return max([0.0, *(float(made.vertices[:, 2].max()) for made in self.roofs)])

    @property
    def depth_below_mm(self) -> float:
        """Depth of the deepest point of sunk relief or shoulder below the flat top [mm]."""
        return max(self.deepest_sunk_mm, shoulder_drop_mm(self.shoulder_radius_mm))

    @property
    def edge_drop_mm(self) -> float:
        """How far the edge of the top lies below the flat top [mm]."""
        return shoulder_drop_mm(self.shoulder_radius_mm)

    @property
    def deepest_sunk_mm(self) -> float:
        """Depth of the deepest sunk relief below the flat top, at least 0 [mm]."""
        return max([0.0, *(-float(made.vertices[:, 2].min()) for made in self.roofs)])

    @property
    def artwork(self) -> tuple[tuple[shapely.MultiPolygon, float], ...]:
        """What stands out and what is sunk, each as one region with its deepest depth [mm]."""
        made = []
        for sign in (1.0, -1.0):
            parts = [part for part in self.relief if sign * part.depth_mm > 0.0]
            if parts:
                depth_mm = sign * max(abs(part.depth_mm) for part in parts)
                made.append((shapely.union_all([part.shape for part in parts]), depth_mm))
        return tuple(made)

    @property
    def free_top(self) -> shapely.Geometry:
        """The flat top where no relief is."""
        inset_mm = (
            self.shoulder_radius_mm * sqrt(0.5)
            if self.side is None
            else self.side.run_mm(self.height_mm)
        )
        strokes = shapely.union_all([part.shape for part in self.relief])
        return shapely.difference(self.outline.shape.buffer(-inset_mm), strokes)

    @property
    def mesh(self) -> Mesh:
        """The solid, in float32 numbers."""
        return self.top.solid(self.height_mm, 0.0)

    @property
    def volume_mm3(self) -> float:
        """Volume of the solid [mm^3]."""
        return self.outline.area_mm2 * self.height_mm + self.top.volume_mm3

    def block_above(self, inset_mm: float, top_mm: float) -> Mesh:
        """Return what lies between the top surface and a level plane above it.

        It ends inside the outline by a margin. `SpecError` where the plane cuts the relief, or the
        relief lies outside the margin.
        """
        least = self.height_mm + self.depth_above_mm
        if top_mm <= least:
            raise SpecError("top_mm", top_mm, say("pastry.plane-in-relief", least_mm=least))
        edge = shoulder_roof(
            self.outline.inset(inset_mm), radius_mm=self.shoulder_radius_mm, inset_mm=inset_mm
        )
        return top_surface(edge, self.roofs).solid(self.height_mm, top_mm)

    def extended_below(self, below_mm: float) -> Mesh:
        """Return the solid with its outline extended below the table by a length [mm].

        What it is cut from or joined to then shares no face with it.
        """
        return self.top.solid(self.height_mm, -below_mm)


def pastry(design: Design, volume_ml: float) -> Pastry:
    """Return the pastry of a design that has a volume, relief and shoulder included.

    Parameters
    ----------
    volume_ml : float
        Volume of the pressed piece [mL].

    Raises
    ------
    SpecError
        The sizes, the relief or the shoulder do not go together.
    FileError
        The artwork cannot be read.

    Notes
    -----
    The volume is A h + (relief - shoulder), linear in the height, so the height is exact. Where
    the height is given, the width is scaled until the area holds the rest of the volume; the
    relief grows with it, so each round leaves a few percent of the error of the one before, down
    to the noise of the relief's volume: corners of its roof come and go with the width.
    """
    volume_mm3 = mm3_from_ml(volume_ml)
    table = design.pastry
    if table.height_mm is None:
        made = pastry_of_width(design, _width_mm(design, volume_mm3), volume_mm3)
        return made if table.width_mm is not None else in_whole_layers(design, made, volume_mm3)
    width_mm = width_for_area_mm(table, volume_mm3 / table.height_mm)
    made = best = pastry_of_width(design, width_mm, volume_mm3)
    off_mm = abs(best.height_mm - table.height_mm)
    for _ in range(MOST_ROUNDS):
        if off_mm < HEIGHT_STEP_MM:
            return best
        rest_mm3 = volume_mm3 - made.top.volume_mm3
        # The area has to be rest / height, and grows with the square of the width.
        width_mm *= sqrt(rest_mm3 / table.height_mm / made.outline.area_mm2)
        made = pastry_of_width(design, width_mm, volume_mm3)
        next_mm = abs(made.height_mm - table.height_mm)
        if next_mm > off_mm / 2.0 and off_mm < HEIGHT_NOISE_MM:
            return made if next_mm < off_mm else best
        if next_mm < off_mm:
            best, off_mm = made, next_mm
    raise SpecError("pastry.height_mm", table.height_mm, say("pastry.height-fits-no-width"))


def shoulder_drop_mm(radius_mm: float) -> float:
    """Return how far a shoulder's edge lies below the flat top: r (1 - cos 45 deg) [mm]."""
    return radius_mm * (1.0 - sqrt(0.5))


def _width_mm(design: Design, volume_mm3: float) -> float:
    table = design.pastry
    if table.width_mm is not None:
        return table.width_mm
    share = table.height_to_width if table.height_to_width is not None else PROPORTION
    # The mean section of a drafted side lies at half its height h, and is h tan a narrower than the
    # width w at the table. With h = share w and lean = share tan a, it is (1 - lean) w wide, and
    # h is share / (1 - lean) of that: a prism of the mean section has the volume.
    lean = share * tan(radians(design.mould.side_lean_deg))
    free = width_for_volume_mm(table, volume_mm3, share / (1.0 - lean)) / (1.0 - lean)
    return max(round(free / WIDTH_STEP_MM), 1) * WIDTH_STEP_MM


STOP_MARGIN_MM: Final = 0.01
"""How much later than it has to a solved stop comes, for what is left out of the sum [mm]."""


def in_whole_layers(design: Design, made: Pastry, volume_mm3: float) -> Pastry:
    """Return a pastry of a press as wide as its stop, which has whole layers, ends the press right.

    The stop comes lower than the pastry's height h by c / A, A the area and c a volume that follows
    from the spread of the pieces. Every part of a press stands in whole layers s, so h - c / A has
    to be some k s. A relief grows with the area: V = A h + A t / A0, t its volume on the area A0
    at hand, and A = (V - c) / (k s + m + t / A0), m the margin.
    """
    if not isinstance(design.mould, PressTable):
        return made
    layer_mm, area_mm2 = design.printer.layer_height_mm, made.outline.area_mm2
    below_mm3 = figures(design).stop_low_mm(1.0)
    layers = round((made.height_mm - below_mm3 / area_mm2) / layer_mm)
    if layers < 1:  # such a spread is refused with the mould
        return made
    top_mm = volume_mm3 / area_mm2 - made.height_mm
    needed_mm2 = (volume_mm3 - below_mm3) / (layers * layer_mm + STOP_MARGIN_MM + top_mm)
    return pastry_of_width(design, width_for_area_mm(design.pastry, needed_mm2), volume_mm3)


def pastry_of_width(design: Design, width_mm: float, volume_mm3: float) -> Pastry:
    """Return the pastry of a width whose height holds the volume."""
    if design.face is not None:
        raise SpecError("face", TABLE, say("pastry.face-not-made"))
    if design.mould.side_lean_deg:
        return _drafted(design, width_mm, volume_mm3)
    outline = outline_of_width(design.pastry, width_mm)
    radius_mm = design.pastry.shoulder_radius_mm
    relief = relief_regions(design.relief, _flat_top(outline, radius_mm))
    roofs = tuple(part.roof() for part in relief)
    edge = shoulder_roof(outline, radius_mm=radius_mm, inset_mm=0.0)
    # V = A h + relief - shoulder, and neither relief nor shoulder changes with h: the height is
    # linear in the volume and needs no root finder.
    rest_mm3 = volume_mm3 - top_surface(edge, roofs).volume_mm3
    made = Pastry(
        outline=outline,
        height_mm=rest_mm3 / outline.area_mm2,
        shoulder_radius_mm=radius_mm,
        relief=relief,
        roofs=roofs,
    )
    _refuse_cut_through(made)
    return made


def _drafted(design: Design, width_mm: float, volume_mm3: float) -> Pastry:
    """Return the pastry of a width at the table whose drafted side has the height for a volume.

    The height decides how wide the flat top is, the flat top how large the relief, and the
    relief's volume the height: a fixed-point iteration, each round of which leaves a few percent
    of the error of the one before. The last relief is kept, and the height is solved for it, so
    the volume is exact.
    """
    outline = outline_of_width(design.pastry, width_mm)
    side = drafted_side(
        outline, draft_deg=design.mould.side_lean_deg, radius_mm=design.pastry.shoulder_radius_mm
    )
    height_mm = side.height_mm(volume_mm3)
    for _ in range(MOST_ROUNDS):
        flat_top = outline.inset(side.run_mm(height_mm)).shape
        relief = relief_regions(design.relief, flat_top)
        roofs = tuple(part.roof() for part in relief)
        before_mm, height_mm = height_mm, side.height_mm(volume_mm3 - relief_volume_mm3(roofs))
        if abs(height_mm - before_mm) < FLAT_TOP_STEP_MM:
            break
    made = Pastry(
        outline=outline,
        height_mm=height_mm,
        shoulder_radius_mm=side.radius_mm,
        relief=relief,
        roofs=roofs,
        side=side,
    )
    _refuse_cut_through(made)
    return made


def _refuse_cut_through(made: Pastry) -> None:
    """Refuse a pastry that its relief or its shoulder cuts through."""
    if made.height_mm <= made.depth_below_mm:
        raise SpecError(
            "pastry.width_mm",
            round(made.outline.width_mm, 3),
            say("pastry.cut-through", height_mm=made.height_mm, depth_mm=made.depth_below_mm),
        )


def _flat_top(outline: Outline, radius_mm: float) -> shapely.Polygon:
    """Return the level part of the top, inside the shoulder."""
    run_mm = radius_mm * sqrt(0.5)
    if 2.0 * run_mm >= outline.width_mm:
        need = say("pastry.no-flat-top", width_mm=outline.width_mm)
        raise SpecError("pastry.shoulder_radius_mm", radius_mm, need)
    return outline.inset(run_mm).shape if radius_mm > 0.0 else outline.shape


def trial_mould(design: Design) -> TrialMould:
    """Return the size of the mould that a design builds, for heights measured in a trial.

    Raises
    ------
    SpecError
        The mould exists already, and its sizes are not known.
    """
    if design.existing_mould is not None and design.pastry.width_mm is None:
        need = say("pastry.existing-mould-without-sizes")
        raise SpecError("existing_mould", design.existing_mould, need)
    volume_ml = figures(design).piece.volume_ml
    made = pastry(design, volume_ml)
    return TrialMould(volume_ml=volume_ml, height_mm=made.height_mm, area_mm2=made.outline.area_mm2)
