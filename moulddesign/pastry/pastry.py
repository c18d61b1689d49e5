"""The pressed pastry as one solid, its surface, and its complement."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from math import radians, sqrt, tan
from typing import Final

import numpy as np
import shapely
from scipy.ndimage import distance_transform_edt

from moulddesign.artwork.outline import (
    Outline,
    nearer_width_mm,
    outline_of_width,
    round_outline,
    usual_repeats,
    width_for_area_mm,
    width_for_volume_mm,
)
from moulddesign.core import SpecError, mm3_from_ml, say
from moulddesign.design import PROPORTION, Design, PastryTable, PressTable, SideForm
from moulddesign.face.carved_face import petals_at_edge
from moulddesign.geometry import Mesh, Points, volume_over_plane_mm3
from moulddesign.geometry.sampling import grid_over_shape
from moulddesign.pastry.carved_top import CarvedTop, carved_top, face_plan
from moulddesign.pastry.side_bands import mean_depth_mm, reach_mm
from moulddesign.pastry.top_surface import (
    DraftedSide,
    TopSurface,
    drafted_side,
    relief_volume_mm3,
    shoulder_roof,
    stamp_surface,
    top_surface,
)
from moulddesign.portion import TrialMould, figures
from moulddesign.relief.carved_surface import SurfaceMaker, carved_surface
from moulddesign.relief.roof import (
    ReliefRegion,
    Roof,
    relief_regions,
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
BANDS_FIT_MM: Final = 0.02
"""What the plain side above bands may lack: a face's raster and its mesh differ by that [mm]."""

FLAT_TOP_STEP_MM: Final = 0.01
"""The height for which a drafted pastry's relief was laid is met within this [mm]."""

PEAK_PIXEL_MM: Final = 0.1
"""Pixel on which the broadest peak of a face is found [mm]."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Pastry:
    """The pressed pastry, standing on z = 0 around the z axis, relief up.

    Its solid and its artwork are asked for by many, and made once.
    """

    outline: Outline
    height_mm: float
    """Table to flat top [mm]."""
    shoulder_radius_mm: float
    """Radius of the rounded top edge, 0 where it is sharp or belongs to a carved face [mm]."""
    relief: tuple[ReliefRegion, ...]
    """The artwork where it lies."""
    roofs: tuple[Roof, ...]
    """The surface over each, from z = 0 at its edge."""
    side: DraftedSide | None = None
    """Its drafted side, the outline being that at the table; none where it is upright."""
    carved: CarvedTop | None = None
    """Its carved face, with the relief on it; `roofs` is empty then."""

    @property
    def side_draft_deg(self) -> float:
        """Lean of the side from upright [deg]."""
        return 0.0 if self.side is None else self.side.draft_deg

    @property
    def side_section(self) -> Points:
        """Corners of the side's section from the table to the top, a shoulder left out.

        Distance from the outline and height of each, shape (n, 2) [mm].
        """
        if self.side is None:
            return np.array([[0.0, 0.0], [0.0, self.height_mm]])
        return replace(self.side, radius_mm=0.0).section(self.height_mm)

    @property
    def top(self) -> TopSurface:
        """The surface within the outline: the top, and the side where it is drafted."""
        if self.carved is not None:
            vertices, triangles, rim = self.carved.top(self.height_mm)
            return TopSurface(vertices=vertices, triangles=triangles, rim=rim)
        edge = (
            shoulder_roof(self.outline, radius_mm=self.shoulder_radius_mm, inset_mm=0.0)
            if self.side is None
            else self.side.roof(self.height_mm)
        )
        return top_surface(edge, self.roofs)

    @property
    def relief_mm3(self) -> float:
        """Volume of the relief above the flat top, less what is sunk below it [mm^3].

        Of a carved face it is what lies above the face's plane, less what is missing below it.
        """
        if self.carved is not None:
            return volume_over_plane_mm3(self.carved.mesh.corners)
        return relief_volume_mm3(self.roofs)

    @property
    def inlays_mm3(self) -> dict[str, float]:
        """Volume of the engravings that take coloured dough first, by its colour [mm^3]."""
        found: dict[str, float] = {}
        for part in self.relief:
            if part.colour is not None:
                found[part.colour] = found.get(part.colour, 0.0) + relief_volume_mm3((part.roof(),))
        return found

    @property
    def depth_above_mm(self) -> float:
        """Highest point of the relief above the flat top, at least 0 [mm]."""
        if self.carved is not None:
            return max(self.carved.highest_mm, 0.0)
        return max([0.0, *(float(made.vertices[:, 2].max()) for made in self.roofs)])

    @property
    def highest_mm(self) -> float:
        """Highest point above the table, that of the relief where it is raised [mm]."""
        return self.height_mm + self.depth_above_mm

    @property
    def depth_below_mm(self) -> float:
        """Depth of the deepest point of sunk relief or shoulder below the flat top [mm]."""
        return max(self.deepest_sunk_mm, shoulder_drop_mm(self.shoulder_radius_mm))

    @property
    def edge_drop_mm(self) -> float:
        """How far the edge of the top lies below the flat top at the most [mm]."""
        if self.carved is not None:
            return -self.carved.rim_mm[0]
        return shoulder_drop_mm(self.shoulder_radius_mm)

    @property
    def edge_rise_mm(self) -> float:
        """How far the edge of the top lies above the flat top; below 0 where it lies lower [mm]."""
        return -self.edge_drop_mm if self.carved is None else self.carved.rim_mm[1]

    @property
    def deepest_sunk_mm(self) -> float:
        """Depth of the deepest sunk relief below the flat top, at least 0 [mm]."""
        if self.carved is not None:
            return max(-self.carved.lowest_mm, 0.0)
        return max([0.0, *(-float(made.vertices[:, 2].min()) for made in self.roofs)])

    @cached_property
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
        """The flat top where no relief is; a carved face has none."""
        if self.carved is not None:
            return shapely.Polygon()
        inset_mm = (
            self.shoulder_radius_mm * sqrt(0.5)
            if self.side is None
            else self.side.run_mm(self.height_mm)
        )
        strokes = shapely.union_all([part.shape for part in self.relief])
        return shapely.difference(self.outline.shape.buffer(-inset_mm), strokes)

    def broadest_peak(self, drop_mm: float) -> tuple[float, float, float]:
        """Return the largest circle in which a carved face is near its highest point.

        Parameters
        ----------
        drop_mm : float
            How far the face may lie below its highest point [mm].

        Returns
        -------
        tuple of float
            Middle, x and y, and radius, within a pixel [mm]; a radius of 0 without a face.
        """
        if self.carved is None:
            return 0.0, 0.0, 0.0
        grid = grid_over_shape(self.outline.shape, PEAK_PIXEL_MM)
        high = self.carved.heights_over(grid) >= self.carved.highest_mm - drop_mm
        inside = distance_transform_edt(high) * grid.pixel_mm
        row, column = np.unravel_index(inside.argmax(), inside.shape)
        across, along = grid.centres_mm
        return float(across[column]), float(along[row]), float(inside.max())

    @cached_property
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
        least = self.highest_mm
        if top_mm <= least:
            raise SpecError("top_mm", top_mm, say("pastry.plane-in-relief", least_mm=least))
        if self.carved is not None:
            if inset_mm != self.carved.inset_mm:
                need = say("pastry.carved-inset", inset_mm=self.carved.inset_mm)
                raise SpecError("inset_mm", inset_mm, need)
            return stamp_surface(self.carved.surface).solid(self.height_mm, top_mm)
        edge = shoulder_roof(
            self.outline.inset(inset_mm), radius_mm=self.shoulder_radius_mm, inset_mm=inset_mm
        )
        return top_surface(edge, self.roofs).solid(self.height_mm, top_mm)

    def extended_below(self, below_mm: float) -> Mesh:
        """Return the solid with its outline extended below the table by a length [mm].

        What it is cut from or joined to then shares no face with it.
        """
        return self.top.solid(self.height_mm, -below_mm)


def pastry(
    design: Design,
    volume_ml: float,
    *,
    surface_of: SurfaceMaker = carved_surface,
    before_face: Callable[[Outline], None] = lambda _: None,
) -> Pastry:
    """Return the pastry of a design that has a volume, relief and shoulder included.

    Parameters
    ----------
    volume_ml : float
        Volume of the pressed piece [mL].
    surface_of : callable
        Makes the surface of a carved face: the true one, or a coarse one to look at.
    before_face : callable
        Called with the outline before that, which takes long; it may refuse it.

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
    table = outline_table(design)
    width_mm = _width_before_top_mm(design, volume_mm3)
    if design.face is not None:
        before_face(outline_of_width(table, width_mm))
    made = best = pastry_of_width(design, width_mm, volume_mm3, surface_of=surface_of)
    if table.height_mm is None or design.face is not None:
        return made
    off_mm = abs(best.height_mm - table.height_mm)
    tried = [(width_mm, made.height_mm)]
    for _ in range(MOST_ROUNDS):
        if off_mm < HEIGHT_STEP_MM:
            return best
        width_mm = nearer_width_mm(tried, table.height_mm)
        made = pastry_of_width(design, width_mm, volume_mm3)
        tried.append((width_mm, made.height_mm))
        next_mm = abs(made.height_mm - table.height_mm)
        if next_mm > off_mm / 2.0 and off_mm < HEIGHT_NOISE_MM:
            return made if next_mm < off_mm else best
        if next_mm < off_mm:
            best, off_mm = made, next_mm
    raise SpecError("pastry.height_mm", table.height_mm, say("pastry.height-fits-no-width"))


def _width_before_top_mm(design: Design, volume_mm3: float) -> float:
    """Return the width of a pastry as it is known before its relief or its face is made [mm].

    It is that of the pastry but for a flat top of a given height: there the relief moves it.
    """
    table = outline_table(design)
    if table.height_mm is not None:
        width_mm = width_for_area_mm(table, volume_mm3 / table.height_mm)
        if design.face is None:
            return width_mm
        return _of_height_mm(design, width_mm, table.height_mm, volume_mm3)
    width_mm = first_width_mm(design, volume_mm3)
    if table.width_mm is None and isinstance(design.mould, PressTable):
        return _for_whole_layers_mm(design, width_mm, volume_mm3)
    return width_mm


def shoulder_drop_mm(radius_mm: float) -> float:
    """Return how far a shoulder's edge lies below the flat top: r (1 - cos 45 deg) [mm]."""
    return radius_mm * (1.0 - sqrt(0.5))


def outline_table(design: Design) -> PastryTable:
    """Return what a design asks of its outline, flutes or reeds in step with its face's petals."""
    table, face = design.pastry, design.face
    if table.side is SideForm.PLAIN or table.side_count is not None or face is None:
        return table
    any_width = replace(round_outline(1.0), name=table.outline)  # petals go by the name alone
    count = usual_repeats(table.outline, petals_at_edge(face, any_width))
    return table.model_copy(update={"side_count": count})


def first_width_mm(design: Design, volume_mm3: float) -> float:
    """Return the width that was given, or the one of the usual proportion in its steps [mm]."""
    table = outline_table(design)
    if table.width_mm is not None:
        return table.width_mm
    share = table.height_to_width if table.height_to_width is not None else PROPORTION
    # The mean section of a drafted side lies at half its height h, and is h tan a narrower than the
    # width w at the table. With h = share w and lean = share tan a, it is (1 - lean) w wide, and
    # h is share / (1 - lean) of that: a prism of the mean section has the volume.
    lean = share * tan(radians(design.mould.side_lean_deg))
    free = width_for_volume_mm(table, volume_mm3, share / (1.0 - lean)) / (1.0 - lean)
    # Bands that take m off each side on average: (w - 2 m)^2 w is what w^3 was, to first order.
    free += 4.0 / 3.0 * mean_depth_mm(table.side_bands, share * free)
    return max(round(free / WIDTH_STEP_MM), 1) * WIDTH_STEP_MM


STOP_MARGIN_MM: Final = 0.01
"""How much later than it has to a solved stop comes, for what is left out of the sum [mm]."""


def _for_whole_layers_mm(design: Design, width_mm: float, volume_mm3: float) -> float:
    """Return the width near another at which a press's stop, in whole layers, is right [mm]."""
    if design.face is None:
        made = pastry_of_width(design, width_mm, volume_mm3)
        return in_whole_layers_mm(design, volume_mm3, made.outline, made.height_mm)
    near = outline_of_width(outline_table(design), width_mm)  # on the raster: a face is carved once
    return in_whole_layers_mm(
        design, volume_mm3, near, _face_height_mm(design, width_mm, volume_mm3)
    )


def in_whole_layers_mm(design: Design, volume_mm3: float, near: Outline, height_mm: float) -> float:
    """Return how wide a pressed pastry is whose stop, in whole layers, ends the press right [mm].

    Outline and height [mm] are those of a pastry of the same volume that is nearly as wide. The
    stop comes lower than the pastry's height h by c / A, A the area and c a volume that follows
    from the spread of the pieces. Every part of a press stands in whole layers s, so h - c / A has
    to be some k s. A relief grows with the area: V = A h + A t / A0, t its volume on the area A0
    at hand, and A = (V - c) / (k s + m + t / A0), m the margin.
    """
    layer_mm, area_mm2 = design.printer.height_step_mm, near.area_mm2
    below_mm3 = figures(design).stop_low_mm(1.0)
    layers = round((height_mm - below_mm3 / area_mm2) / layer_mm)
    if layers < 1:  # such a spread is refused with the mould
        return near.width_mm
    top_mm = volume_mm3 / area_mm2 - height_mm
    needed_mm2 = (volume_mm3 - below_mm3) / (layers * layer_mm + STOP_MARGIN_MM + top_mm)
    return width_for_area_mm(outline_table(design), needed_mm2)


def as_written_mm(width_mm: float) -> float:
    """Return a width in whole nanometres: a file that holds it gives the same outline again [mm].

    An outline's own width is measured on its corners, and off by a rounding error.
    """
    return round(width_mm, 6)


def pastry_of_width(
    design: Design,
    width_mm: float,
    volume_mm3: float,
    *,
    surface_of: SurfaceMaker = carved_surface,
) -> Pastry:
    """Return the pastry of a width whose height holds the volume."""
    width_mm = as_written_mm(width_mm)
    if design.face is not None:
        return _carved(design, width_mm, volume_mm3, surface_of)
    if design.mould.side_lean_deg:
        return _drafted(design, width_mm, volume_mm3)
    outline = outline_of_width(outline_table(design), width_mm)
    radius_mm = design.pastry.shoulder_radius_mm
    relief = relief_regions(design.relief, _flat_top(outline, radius_mm))
    roofs = tuple(part.roof() for part in relief)
    edge = shoulder_roof(outline, radius_mm=radius_mm, inset_mm=0.0)
    # V = A h + relief - shoulder, and neither relief nor shoulder changes with h: the height is
    # linear in the volume and needs no root finder.
    rest_mm3 = volume_mm3 - relief_volume_mm3(roofs) - edge.volume_mm3
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
    outline = outline_of_width(outline_table(design), width_mm)
    side = drafted_side(
        outline,
        draft_deg=design.mould.side_lean_deg,
        radius_mm=design.pastry.shoulder_radius_mm,
        bands=design.pastry.side_bands,
    )
    height_mm = side.height_mm(volume_mm3)
    for _ in range(MOST_ROUNDS):
        flat_top = outline.inset(side.run_mm(height_mm)).shape
        relief = relief_regions(design.relief, flat_top)
        roofs = tuple(part.roof() for part in relief)
        if not roofs:  # it is the height already
            break
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


def _carved(design: Design, width_mm: float, volume_mm3: float, surface_of: SurfaceMaker) -> Pastry:
    """Return the pastry of a width with a carved face whose height holds the volume."""
    outline = edge = outline_of_width(outline_table(design), width_mm)
    side, roof = None, None
    if design.mould.side_lean_deg:
        within = _within_side(design, outline, volume_mm3)
        if within.height_mm < within.side.least_mm - BANDS_FIT_MM:
            within.side.height_mm(within.rest_mm3)  # refuses it
        edge, side, roof = within.edge, within.side, within.side_roof
    carved = carved_top(design, edge, outline, roof, surface_of=surface_of)
    base_mm = 1.0 + reach_mm(design.pastry.side_bands)
    plain = Pastry(
        outline=outline,
        height_mm=base_mm,
        shoulder_radius_mm=0.0,
        relief=carved.regions,
        roofs=(),
        side=side,
        carved=carved,
    )
    # Neither the face nor the run of a drafted side changes with the height any more, so the volume
    # is linear in it.
    low_mm3, high_mm3 = plain.volume_mm3, replace(plain, height_mm=base_mm + 1.0).volume_mm3
    made = replace(plain, height_mm=base_mm + (volume_mm3 - low_mm3) / (high_mm3 - low_mm3))
    if side is not None:
        side.refuse_low(made.height_mm - made.edge_drop_mm + BANDS_FIT_MM)
    _refuse_cut_through(made)
    return made


def _of_height_mm(design: Design, width_mm: float, height_mm: float, volume_mm3: float) -> float:
    """Return the width at which a pastry with a carved face has a height, from near it [mm].

    The width is sought on the face's raster, and the height of its mesh then holds the volume
    exactly: it is what was asked for but for some micrometres.
    """
    tried: list[tuple[float, float]] = []
    for _ in range(MOST_ROUNDS):
        tried.append((width_mm, _face_height_mm(design, width_mm, volume_mm3)))
        if abs(tried[-1][1] - height_mm) < HEIGHT_STEP_MM:
            break
        width_mm = nearer_width_mm(tried, height_mm)
    return width_mm


def _face_height_mm(design: Design, width_mm: float, volume_mm3: float) -> float:
    """Return the height at which a piece of a width holds a volume, from its face's raster [mm]."""
    outline = outline_of_width(outline_table(design), width_mm)
    if design.mould.side_lean_deg:
        return _within_side(design, outline, volume_mm3).height_mm
    return (volume_mm3 - face_plan(design, outline).volume_mm3) / outline.area_mm2


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _WithinSide:
    """Where a face ends within a drafted side, from the face's raster."""

    edge: Outline
    side: DraftedSide
    rest_mm3: float
    """What is left of the volume without the face."""
    height_mm: float
    rim_mm: float
    """Highest point of the face's edge."""

    @property
    def side_roof(self) -> Roof:
        """The drafted side. Where the edge is not level, its highest point still has the draft."""
        return self.side.roof(self.height_mm + self.rim_mm)


def _within_side(design: Design, outline: Outline, volume_mm3: float) -> _WithinSide:
    """Return where the face of a piece with a drafted side ends.

    How far the side runs follows from the height, the height from the face's volume, and that
    from the run.
    """
    lean_deg = design.mould.side_lean_deg
    bands = design.pastry.side_bands
    side = drafted_side(outline, draft_deg=lean_deg, radius_mm=0.0, bands=bands)
    height_mm, rim_mm = side.extended_height_mm(volume_mm3), 0.0
    for _ in range(MOST_ROUNDS):
        edge = outline.inset(side.run_mm(height_mm + rim_mm))
        plan = face_plan(design, edge)
        rest_mm3 = volume_mm3 - plan.volume_mm3
        before_mm, height_mm = height_mm, side.extended_height_mm(rest_mm3)
        rim_mm = plan.rim_mm
        if abs(height_mm - before_mm) < FLAT_TOP_STEP_MM:
            break
    return _WithinSide(edge=edge, side=side, rest_mm3=rest_mm3, height_mm=height_mm, rim_mm=rim_mm)


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
    if design.own_mould is not None and design.pastry.width_mm is None:
        need = say("pastry.existing-mould-without-sizes")
        raise SpecError("mould", design.own_mould.name, need)
    volume_ml = figures(design).piece.volume_ml
    made = pastry(design, volume_ml)
    return TrialMould(
        volume_ml=volume_ml,
        height_mm=made.height_mm,
        area_mm2=made.outline.area_mm2,
        width_mm=made.outline.width_mm,
        relief_mm=design.relief.depth_mm if design.relief.layers else None,
    )
