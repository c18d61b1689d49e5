"""A whole face: ground, bands, crowns, parts and medallion for an outline and a draft."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import atan, ceil, degrees, floor, sqrt
from typing import Final

import numpy as np
import shapely

from moulddesign.artwork.outline import Outline, round_outline
from moulddesign.core import SpecError, say
from moulddesign.design.face_tables import CarvingTable, FaceEdge, FaceTable, GroundForm, Meets
from moulddesign.face.bands import Band, bands_of, gap_of
from moulddesign.face.carved_figures import farthest_ratio, figures_of
from moulddesign.face.carvings import SAMPLE_MM, carved_part, carving_of, room_on
from moulddesign.face.crowns import Reach, crown_count, petal_row
from moulddesign.face.grounds import (
    Ground,
    ground_of,
    shoulder_fall,
    steepest_ground,
)
from moulddesign.face.lettered_bands import lettered_regions
from moulddesign.face.medallions import Medallion, held_regions, medallion_of
from moulddesign.face.surface import PIECES, Carver, Scale, Spots, Surface, steepest
from moulddesign.geometry import Points
from moulddesign.geometry.sampling import Grid, region_mask, top_heights_mm
from moulddesign.relief.field import EdgeDistance, Field, FieldValues, FoldedDistance, Heights
from moulddesign.relief.height_map import Carving
from moulddesign.relief.lifted_walls import LEAST_WALL
from moulddesign.relief.roof import ReliefRegion
from moulddesign.render import Picture, height_picture
from moulddesign.render.scenes import FINER

USUAL_FOLD: Final = 12
LAND_TIP_MM: Final = 0.9
"""Tip that a land leaves a rib of the stamp: two lines of a usual nozzle are 0.84 mm [mm]."""
BLOCK: Final = 1 << 16
"""Points that are worked on at once: what is known of them stays in the processor's cache."""
SLOPE_RESERVE: Final = 0.9
"""Share of the draft's slope that parts may have: chords and tables steepen a little."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class LaidCarving:
    """A height map on a face, and the file that it came from."""

    file: str
    depth_mm: float
    carving: Carving


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class CarvedFace:
    """A face on an outline. Heights are over the plane from which it is measured."""

    field: Field
    ground: Field
    """Its ground alone: no bands, crowns, parts, medallion or carvings."""
    room: shapely.Polygon
    """Where layers of relief may lie: inside the medallion's ring, or inside the bands [mm]."""
    regions: tuple[ReliefRegion, ...]
    """Drawings and lettering that the face itself brings, from the field's height."""
    carvings: tuple[LaidCarving, ...]
    """Height maps that are part of the field."""
    bands: tuple[Band, ...]
    """From the edge inwards."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Plan:
    """What evaluates a face."""

    ground: Ground
    level_mm: float | None
    """Level on which parts stand where the ground has steps."""
    parts: tuple[Carver, ...]
    shoulder_mm: float
    inscribed_mm: float
    """Radius of the largest circle around the middle within the outline."""
    needs_edge_mm: float
    """Distance from the outline up to which parts ask for it."""
    is_round: bool
    edge: Callable[[Points], Heights]

    def __call__(self, points: Points) -> FieldValues:
        points = np.asarray(points, dtype=np.float64).reshape(-1, 2)
        if len(points) > BLOCK:
            blocks = np.array_split(points, ceil(len(points) / BLOCK))
            return FieldValues(*map(np.concatenate, zip(*map(self, blocks), strict=True)))
        radius = np.hypot(points[:, 0], points[:, 1])
        spots = Spots.of(points, radius, self._edge_of(points, radius))
        surface = Surface(spots, self.ground(spots), self.level_mm)
        for part in self.parts:
            part(surface)
        height = surface.height
        if self.shoulder_mm:
            height = height - shoulder_fall(spots.edge, self.shoulder_mm)
        return FieldValues(height, surface.piece)

    def _edge_of(self, points: Points, radius: Heights) -> Heights:
        """Return distances to the outline, exact as far inside as parts ask for them."""
        bound = self.inscribed_mm - radius
        if self.is_round:
            return bound
        near = bound < self.needs_edge_mm
        distance: Heights = bound.copy()
        if near.any():
            distance[near] = self.edge(points[near])
        return distance


def carved_face(
    table: FaceTable,
    outline: Outline,
    *,
    draft_deg: float,
    shoulder_radius_mm: float = 0.0,
    rim_mm: float = 0.0,
    side_mm: float = 0.0,
) -> CarvedFace:
    """Return a carved face on an outline.

    Parameters
    ----------
    table : FaceTable
        The face; one that names a bundled face takes from it what it leaves out.
    outline : Outline
        The pastry's, around the origin: points within it may be asked for.
    draft_deg : float
        Least angle between any wall and the pull direction [deg].
    shoulder_radius_mm : float
        Radius of the pastry's shoulder, where the face names none [mm].
    rim_mm : float
        Outline to the rim of the stamp, which ends inside it [mm].
    side_mm : float
        How deep flutes or reeds cut into the outline from its side [mm].

    Returns
    -------
    CarvedFace
        Nowhere steeper than the draft, shoulder included, which is at most 45 deg at the outline.

    Raises
    ------
    SpecError
        The outline has no room for a band, what a medallion holds cannot be drawn, or the draft
        leaves no slope to walls on ground that slopes itself.
    FileError
        A drawing, picture or font cannot be read.
    """
    table, shape = table.whole(), outline.shape
    is_round = outline.name == "round"
    inscribed_mm = _inscribed_mm(outline)
    scale = face_scale(table, outline)
    shoulder_mm = (
        shoulder_radius_mm if table.shoulder_mm is None else table.shoulder_mm * scale.lengths
    )
    run_mm = shoulder_mm * sqrt(0.5)
    runs_over = table.edge is FaceEdge.RUN_OVER
    slope = SLOPE_RESERVE * steepest(draft_deg)
    start_mm = (0.0 if runs_over else run_mm) + _land_mm(table, scale, run_mm, rim_mm + side_mm)
    base_mm = outline.circumradius_mm
    ground = ground_of(
        table.ground, base_mm=base_mm, scale=scale, start_mm=start_mm, steepest=slope
    )
    lean = steepest_ground(
        table.ground.model_copy(update={"rise_mm": table.ground.rise_mm * scale.heights}), base_mm
    )
    is_stepped = table.ground.form is GroundForm.STEPPED
    level_mm = table.ground.rise_mm * scale.heights if is_stepped else None
    # What stands on a slope has a wall that is flatter by it; the shoulder's own slope is up to 1.
    shoulder = 1.0 if runs_over and shoulder_mm else 0.0
    wall = slope - lean - shoulder
    bands = bands_of(
        table.bands, outline, start_mm=start_mm, scale=scale, wall=wall, shoulder=shoulder
    )
    depth_mm = bands[-1].inner_mm + gap_of(table.bands[-1], scale) if bands else start_mm
    room = _inside(outline, depth_mm)
    first = PIECES * (1 + len(bands))
    fold = fold_of(table, outline)
    reach = Reach(room)
    middle_mm = _level_in_middle(ground, bands, inscribed_mm)
    rows: list[Carver] = []
    for crown in table.crowns:
        rows.append(
            petal_row(
                crown, count=crown_count(crown, fold), reach=reach,
                scale=scale.heights, wall=wall, first_piece=first,
            )
        )  # fmt: skip
        first += PIECES
    disc: Medallion | None = None
    if table.medallion is not None:
        disc = medallion_of(
            table.medallion, inner_mm=reach.inner_mm, scale=scale, ground_mm=middle_mm,
            wall=slope - lean, first_piece=first,
        )  # fmt: skip
        rows.append(disc)
        first += PIECES
    on_parts = wall - (disc.steepest_floor if disc is not None else 0.0)
    _refuse_flat(slope - on_parts, draft_deg)
    for part in table.parts:
        is_clear = farthest_ratio(part) * reach.inner_mm < inscribed_mm - run_mm
        rows += figures_of(
            part, reach=reach, disc_mm=0.0 if disc is None else disc.radius_mm,
            scale=scale.heights, wall=on_parts, first_piece=first,
            top=on_parts + (shoulder if is_clear else 0.0),
        )  # fmt: skip
        first += PIECES
    needs_mm = max(depth_mm, run_mm) + 0.5
    if is_stepped:
        run_mm = table.ground.run_mm * scale.lengths
        needs_mm = max(needs_mm, start_mm + table.ground.steps * run_mm + 1.0)

    # Corners and lobes are all alike, and lie nowhere else.
    distance = FoldedDistance(outline.arcs) if len(outline.arcs) > 1 else EdgeDistance(shape)

    def plan(parts: Sequence[Carver]) -> _Plan:
        return _Plan(
            ground=ground,
            level_mm=level_mm,
            parts=tuple(parts),
            shoulder_mm=shoulder_mm,
            inscribed_mm=inscribed_mm,
            needs_edge_mm=needs_mm,
            is_round=is_round,
            edge=distance,
        )

    free = disc.floor if disc is not None else room
    laid = []
    for one in table.carvings:
        made = carving_of(
            one, inner_mm=_reach_of(free), scale=scale.lengths,
            wall=_left_for(one, plan([*bands, *rows]), on_parts, _reach_of(room)),
        )  # fmt: skip
        rows.append(carved_part(made, one.meets, wall=on_parts, number=first))
        laid.append(LaidCarving(file=one.file, depth_mm=one.depth_mm, carving=made))
        first += PIECES
    return CarvedFace(
        field=plan([*bands, *rows]),
        ground=plan([]),
        room=free,
        regions=(
            *lettered_regions(bands, outline, draft_deg=draft_deg),
            *_brought_by(table, free, scale, draft_deg),
        ),
        carvings=tuple(laid),
        bands=bands,
    )


def _refuse_flat(taken: float, draft_deg: float) -> None:
    """Refuse a draft that leaves too little slope to walls beside what their ground takes."""
    if SLOPE_RESERVE * steepest(draft_deg) - taken < LEAST_WALL:
        most_deg = floor(degrees(atan(SLOPE_RESERVE / (LEAST_WALL + taken))))
        raise SpecError("relief.draft_deg", draft_deg, say("face.most-draft", most_deg=most_deg))


def face_scale(table: FaceTable, outline: Outline) -> Scale:
    """Return the scale of a face, a bundled one's keys included, on an outline."""
    if table.drawn_for_mm is None:
        return Scale(lengths=1.0)
    return Scale(lengths=2.0 * _inscribed_mm(outline) / table.drawn_for_mm)


def _inscribed_mm(outline: Outline) -> float:
    """Return the radius of the largest circle around the middle within an outline."""
    # A circle's chords lie a little inside of it, and what is carved follows the circle.
    if outline.name == "round":
        return outline.width_mm / 2.0
    return float(outline.shape.exterior.distance(shapely.Point(0.0, 0.0)))


def _land_mm(table: FaceTable, scale: Scale, run_mm: float, rim_mm: float) -> float:
    """Return the width of the land, from the shoulder's end or, where it runs over, the outline.

    What prints at the stamp's rim does not scale: where no width is given it is the least.
    """
    runs_over = table.edge is FaceEdge.RUN_OVER
    if runs_over and not table.bands:
        return 0.0
    if table.land_mm is not None:
        return table.land_mm * scale.lengths
    return max(rim_mm + LAND_TIP_MM - (0.0 if runs_over else run_mm), 0.0)


def _brought_by(
    table: FaceTable, room: shapely.Polygon, scale: Scale, draft_deg: float
) -> tuple[ReliefRegion, ...]:
    """Return the drawing or lettering that a face's medallion holds."""
    held = None if table.medallion is None else table.medallion.holds
    if held is None:
        return ()
    return held_regions(held, room, scale=scale.heights, draft_deg=draft_deg)


SHOWN_MM: Final = 54.0
"""Width of the round piece on which a face is pictured: about 75 g [mm]."""
SHOWN_HEIGHT_MM: Final = 5.0
"""As high as it looks, by its shadow [mm]."""
SHOWN_DRAFT_DEG: Final = 15.0
SHOWN_SHARE: Final = 0.82
"""Its width as a share of the picture's."""


def face_picture(table: FaceTable, size_px: int) -> Picture:
    """Return a face as it bakes on a round piece, seen from above, shape (n, n, 3)."""
    outline = round_outline(SHOWN_MM)
    made = carved_face(table, outline, draft_deg=SHOWN_DRAFT_DEG)
    pixel_mm = SHOWN_MM / SHOWN_SHARE / size_px
    half_mm = pixel_mm * size_px / 2.0
    side = FINER * size_px
    grid = Grid(low_mm=np.full(2, -half_mm), pixel_mm=pixel_mm / FINER, shape=(side, side))
    inside = region_mask(outline.shape, grid)
    heights = np.zeros(grid.shape, dtype=np.float32)
    heights[inside] = SHOWN_HEIGHT_MM + made.field(grid.points_mm(inside)).height
    for region in made.regions:
        over = top_heights_mm(region.roof().surface, grid)
        heights += np.where(np.isfinite(over), over, 0.0).astype(np.float32)
    return height_picture(heights, pixel_mm)


def _inside(outline: Outline, depth_mm: float) -> shapely.Polygon:
    """Return what lies inside of the bands."""
    try:
        room = outline.inset(depth_mm).shape if depth_mm else outline.shape
    except SpecError as error:
        raise SpecError("face.bands", depth_mm, say("face.bands-too-wide")) from error
    if not room.contains(shapely.Point(0.0, 0.0)):
        raise SpecError("face.bands", depth_mm, say("face.bands-too-wide"))
    return room


def _reach_of(room: shapely.Polygon) -> float:
    """Return the radius of the largest circle around the middle in a room."""
    return float(room.exterior.distance(shapely.Point(0.0, 0.0)))


def _left_for(table: CarvingTable, plan: _Plan, wall: float, reach_mm: float) -> float:
    """Return the slope that a carving may have: less what lies under one that is added to it."""
    if table.meets is not Meets.ON:
        return wall
    half = table.size_mm / 2.0 if table.size_mm is not None else reach_mm
    steps = np.arange(-half, half, SAMPLE_MM)
    x, y = np.meshgrid(steps + table.x_mm, steps + table.y_mm)
    heights = plan(np.column_stack([x.ravel(), y.ravel()])).height.reshape(x.shape)
    return room_on(float(np.hypot(*np.gradient(heights, SAMPLE_MM)).max()), wall, table.file)


def fold_of(table: FaceTable, outline: Outline) -> int:
    """Return a face's fold: its own, or an outline's lobes, or 12, or 16 on an octagon."""
    if table.fold is not None:
        return table.fold
    if outline.valleys:
        return len(outline.valleys)
    return 16 if outline.name == "octagon" else USUAL_FOLD


def petals_at_edge(table: FaceTable, plain: Outline) -> int:
    """Return how many petals a face has in the row that reaches farthest, or its fold."""
    table = table.whole()
    fold = fold_of(table, plain)
    farthest = max(table.crowns, key=lambda crown: crown.to_ratio, default=None)
    return fold if farthest is None else crown_count(farthest, fold)


def _level_in_middle(ground: Ground, bands: tuple[Band, ...], inscribed_mm: float) -> float:
    """Return the height of the ground in the middle, steps of bands included."""
    spots = Spots.of(np.zeros((1, 2)), np.zeros(1), np.array([inscribed_mm]))
    surface = Surface(spots, ground(spots))
    for band in bands:
        band(surface)
    return float(surface.ground[0])
