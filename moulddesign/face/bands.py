"""Bands along the outline, from the edge inwards, with whole repeats.

A point's place on a band is its foot on the band's middle line: s along it and v across. The line
is the outline's parallel inside it. Repeats are whole between corners, or around the whole line
where there are none; with mirrored corners they run from both corners to the middle of a side.
"""

from dataclasses import dataclass
from math import pi, sqrt
from typing import Final

import numpy as np
import shapely
from scipy.ndimage import maximum_filter1d, minimum_filter1d, uniform_filter1d
from scipy.spatial import cKDTree

from moulddesign.artwork.outline import POLYGON_SIDES, Outline
from moulddesign.core import SpecError, say
from moulddesign.design.face_tables import BandSection, BandTable, Corners, Fill
from moulddesign.face.band_fills import (
    CORNER_FREE,
    FILLS,
    PARTS,
    Repeat,
    with_corner_leaf,
)
from moulddesign.face.surface import PIECES, Scale, Surface, half_round, higher_of, lower_of
from moulddesign.geometry import Indices, Points
from moulddesign.relief.field import Heights

LINE_STEP_MM: Final = 0.1
"""Between points of a band's middle line."""
CORNER_CHORDS: Final = 96
CELL_MM: Final = 0.5
"""Of the cells whose nearest point of the line is known."""
AROUND_MM: Final = 4.0
"""Beyond the line, up to which they reach."""
SMOOTHED_MM: Final = 0.9
NEWTON_ROUNDS: Final = 3
EVENED_MM: Final = 3.0
"""Over which the shortening of a side is evened out along the line."""
LEAST_TIGHT: Final = 0.3
"""A side that is shortened more lies beyond the corner's middle, where points have other feet."""
CORNER_RAD: Final = 0.6
"""Turn within `CORNER_SPAN_MM` of a drawn outline that makes a corner: about 35 deg."""
CORNER_SPAN_MM: Final = 2.0
CHORD: Final = 4
"""Steps along a drawn outline over which its heading is taken: a fourth of a millimetre each."""
PEAK_SHARE: Final = 0.9
"""Of the largest turn near by, from which a place belongs to the corner."""
LEAST_WIDTH_MM: Final = 0.8
"""Narrowest band that prints as a stroke of two lines of a usual nozzle."""
LEAST_GAP_MM: Final = 0.5
"""Gaps between bands do not shrink below this: one line of a usual nozzle and a little."""


class MiddleLine:
    """The line along a band's middle, its corners, and the feet of points on it.

    A foot is where the line's normal passes through the point. Normals are those of chords over
    `SMOOTHED_MM`, and turn evenly between the line's points: so a place along the line changes
    evenly too, also where the line is made of chords or has a corner.
    """

    def __init__(self, ring: shapely.LinearRing, breaks: Points) -> None:
        self.length_mm = float(ring.length)
        count = max(int(self.length_mm / LINE_STEP_MM), 64)
        self._step = self.length_mm / count
        self._points = shapely.get_coordinates(
            shapely.line_interpolate_point(ring, np.arange(count) * self._step)
        )
        window = max(int(SMOOTHED_MM / self._step / 2.0), 1)
        chord = np.roll(self._points, -window, axis=0) - np.roll(self._points, window, axis=0)
        self._ways = chord / np.linalg.norm(chord, axis=1)[:, None]
        turn = np.roll(self._ways, -1, axis=0) - self._ways
        self._bend = np.linalg.norm(turn, axis=1) / self._step
        self._curvature = np.sign(self._ways[:, 0] * turn[:, 1] - self._ways[:, 1] * turn[:, 0])
        self._curvature *= self._bend
        tree = cKDTree(self._points)
        _, rows = tree.query(breaks)
        self.breaks = np.unique(np.asarray(rows, dtype=np.int64)) * self._step
        """Places on the line at which repeats begin, rising, at least one [mm]."""
        # A foot is looked for from the point that is nearest to the middle of the point's cell.
        self._low = self._points.min(axis=0) - AROUND_MM
        self._cells = np.ceil((np.ptp(self._points, axis=0) + 2.0 * AROUND_MM) / CELL_MM)
        x, y = (np.arange(count) + 0.5 for count in self._cells)
        middles = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2) * CELL_MM + self._low
        self._nearest = np.asarray(tree.query(middles)[1], dtype=np.int64)

    def feet(self, points: Points) -> tuple[Heights, Heights]:
        """Return the places of points along the line and their offsets outwards [mm]."""
        (x, y), (line_x, line_y), (way_x, way_y) = points.T, self._points.T, self._ways.T
        columns, rows = self._cells
        column = np.clip((x - self._low[0]) / CELL_MM, 0.0, columns - 1.0).astype(np.int64)
        row = np.clip((y - self._low[1]) / CELL_MM, 0.0, rows - 1.0).astype(np.int64)
        nearest = self._nearest[row * int(columns) + column]
        for _ in range(NEWTON_ROUNDS):
            out_x, out_y = x - line_x[nearest], y - line_y[nearest]
            u, v = way_x[nearest], way_y[nearest]
            # Outside of a bend, a way along the line is longer by the offset times its curvature.
            longer = 1.0 + (out_x * v - out_y * u) * self._curvature[nearest]
            ahead = (out_x * u + out_y * v) / (np.maximum(longer, LEAST_TIGHT) * self._step)
            first = nearest + np.floor(ahead).astype(np.int64)
            nearest = np.mod(nearest + np.rint(ahead).astype(np.int64), len(line_x))
        first = np.mod(first, len(line_x))
        last = np.mod(first + 1, len(line_x))
        out_x, out_y = x - line_x[first], y - line_y[first]
        along_x, along_y = line_x[last] - line_x[first], line_y[last] - line_y[first]
        u, v = way_x[first], way_y[first]
        turn_u, turn_v = way_x[last] - u, way_y[last] - v
        # (out - s along) . (way + s turn) = 0, by Newton from the middle: nearly linear in s.
        none = out_x * u + out_y * v
        one = out_x * turn_u + out_y * turn_v - along_x * u - along_y * v
        two = -(along_x * turn_u + along_y * turn_v)
        share = np.full(len(x), 0.5)
        for _ in range(NEWTON_ROUNDS):
            share = share - (none + share * (one + share * two)) / (one + 2.0 * share * two)
        share = np.clip(share, 0.0, 1.0)
        off_x, off_y = out_x - share * along_x, out_y - share * along_y
        # The line runs counter-clockwise, so its right is outside.
        side = np.sign(off_x * v - off_y * u)
        return (first + share) * self._step, side * np.hypot(off_x, off_y)

    def tightness(self, place: Heights, half_mm: float) -> Heights:
        """Return what share of the line its side is at places: 1 - v c, c the curvature there.

        It is the least within half of `EVENED_MM`, and changes evenly.
        """
        window = int(EVENED_MM / self._step)
        least = np.clip(1.0 - half_mm * self._bend, LEAST_TIGHT, 1.0)
        least = minimum_filter1d(least, window, mode="wrap")
        even = uniform_filter1d(least, window, mode="wrap")
        at = np.arange(len(even)) * self._step
        found: Heights = np.interp(place, at, even, period=self.length_mm)
        return found


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Band:
    """A band: its profile along the edge, or what it repeats."""

    table: BandTable
    outer_mm: float
    """Distance of its outer side from the outline."""
    width_mm: float
    height_mm: float
    wall: float
    wall_along: float
    first_piece: int
    line: MiddleLine | None
    """None where nothing is repeated."""
    repeats: Indices
    """On each stretch between two corners."""
    asked_mm: float
    """Length of a repeat that its width or its pitch asks for; 0 where nothing is repeated."""

    @property
    def least_mm(self) -> float:
        """Shortest repeat that prints, 0 where nothing is repeated."""
        fill = self.table.fill
        return 0.0 if fill is None or self.line is None else FILLS[fill].least_pitch_mm

    @property
    def least_width_mm(self) -> float:
        """Width from which a band of this fill has repeats that print, unless it names a pitch."""
        fill = self.table.fill
        return 0.0 if fill is None or self.line is None else self.least_mm / FILLS[fill].pitch_ratio

    @property
    def inner_mm(self) -> float:
        """Distance of its inner side from the outline."""
        return self.outer_mm + self.width_mm

    def __call__(self, surface: Surface) -> None:
        """Carve the band."""
        if self.table.section is BandSection.STEP:
            self._step(surface)
            return
        if self.table.fill is Fill.TEXT:
            return  # letters are regions, which the engine lifts onto the ground
        edge = surface.spots.edge
        # A middle line that is rounded at a corner lies further inside there.
        beyond = 0.1 if self.line is None else self.width_mm / 2.0
        rows = np.flatnonzero((edge > self.outer_mm - 0.1) & (edge < self.inner_mm + beyond))
        if not len(rows):
            return
        if self.line is not None:
            self._fill(surface, rows, self.line)
        else:
            self._section(surface, rows)

    def _section(self, surface: Surface, rows: Indices) -> None:
        from_outside = surface.spots.edge[rows] - self.outer_mm
        half = self.width_mm / 2.0
        across = np.abs(from_outside - half)
        ground = surface.ground[rows]
        # Both sides of a ridge are pieces of their own: they are far from each other.
        number = self.first_piece + 2 * (from_outside > half)
        if self.table.section is BandSection.OGEE:
            share = np.clip(from_outside / self.width_mm, 0.0, 1.0)
            top = self.height_mm * share * share * (3.0 - 2.0 * share)
            inner = self.wall * (self.width_mm - from_outside)
            outer = self.wall * from_outside
            made = lower_of(ground + top, ground + np.minimum(inner, outer), number)
            surface.raise_to(rows, *made)
            return
        wall = self.wall * (half - across)
        if self.table.section is BandSection.HOLLOW:
            depth = half_round(across, half, self.height_mm)
            surface.cut_to(rows, *higher_of(ground - depth, ground - wall, number))
            return
        if self.table.section is BandSection.FILLET:
            top = np.full(len(rows), self.height_mm)
        else:
            top = half_round(across, half, self.height_mm)
        surface.raise_to(rows, *lower_of(ground + top, ground + wall, number))

    def _step(self, surface: Surface) -> None:
        """Change the level of everything inside of the band."""
        wall = self.wall * (surface.spots.edge - self.outer_mm)
        sign = -1.0 if self.table.sunk else 1.0
        change = sign * np.clip(wall, 0.0, self.height_mm)
        # Parts that come later stand on the level inside of the step.
        surface.ground += sign * self.height_mm
        surface.height += change
        part = np.where(wall <= 0.0, 0, np.where(wall < self.height_mm, 1, 2))
        surface.piece = np.where(part == 0, surface.piece, self.first_piece + part)

    def _fill(self, surface: Surface, rows: Indices, line: MiddleLine) -> None:
        half_mm = self.width_mm / 2.0
        place, out = line.feet(surface.spots.points[rows])
        stretch = np.searchsorted(line.breaks, place, side="right") - 1
        stretch = np.where(stretch < 0, len(line.breaks) - 1, stretch)
        start = line.breaks[stretch]
        length = np.diff(np.append(line.breaks, line.breaks[0] + line.length_mm))
        free_mm = _free_at_corners(self.table, line, half_mm)
        unit = ((length - 2.0 * free_mm) / self.repeats)[stretch]
        share = (np.mod(place - start, line.length_mm) - free_mm) / unit
        count = self.repeats[stretch]
        number = np.clip(np.floor(share).astype(np.int64), 0, count - 1)
        along = (share - number - 0.5) * unit
        if self.table.corners is not Corners.MITRED and len(line.breaks) > 1:
            along = np.where(2 * number >= count, -along, along)
        fill = self.table.fill
        assert fill is not None  # noqa: S101 (a line is made for a fill only)
        before = np.concatenate([[0], np.cumsum(self.repeats)[:-1]])[stretch]
        frame = Repeat(
            along=along, across=out, length=unit, half_mm=half_mm, height_mm=self.height_mm,
            wall=self.wall, wall_along=self.wall_along, tight=line.tightness(place, half_mm),
        )  # fmt: skip
        height, part = FILLS[fill].carve(frame)
        piece = PARTS * (before + number) + part
        if free_mm:
            after = np.mod(place - start, line.length_mm)
            is_last = 2.0 * after > length[stretch]
            corner = np.mod(stretch + is_last, len(length))
            height, piece = with_corner_leaf(
                (height, piece),
                frame,
                np.where(is_last, after - length[stretch], after),
                PARTS * (int(self.repeats.sum()) + corner),
            )
        piece = self.first_piece + piece
        ground = surface.ground[rows]
        if self.table.section is BandSection.HOLLOW:
            # What a hollow repeats is cut into the ground.
            surface.cut_to(rows, ground - height, piece)
        else:
            surface.raise_to(rows, ground + height, piece)


def corners_of(outline: Outline) -> Points:
    """Return where repeats begin: corners, valleys between lobes, or one point, shape (n, 2) [mm].

    Of a drawn outline it is where it turns sharply.
    """
    if outline.valleys:
        return np.concatenate([arc.at(np.array([0.5])) for arc in outline.valleys])
    if outline.name in POLYGON_SIDES and outline.arcs:
        return np.concatenate([arc.at(np.array([0.5])) for arc in outline.arcs])
    if outline.name == "drawn":
        found = _sharp_places(outline.points)
        if len(found):
            return found
    return np.array([[0.0, float(outline.points[:, 1].max())]])


def _sharp_places(points: Points) -> Points:
    """Return where a closed line turns sharply within a short way."""
    ring = shapely.LinearRing(points)
    count = max(int(ring.length / (CORNER_SPAN_MM / (2 * CHORD))), 8 * CHORD)
    fine = _evenly_along(ring, np.arange(count) / count)
    along = np.roll(fine, -CHORD, axis=0) - fine
    heading = np.arctan2(along[:, 1], along[:, 0])
    turn = np.abs(np.mod(heading - np.roll(heading, 2 * CHORD) + pi, 2.0 * pi) - pi)
    near = 4 * CHORD + 1
    peak = (turn > CORNER_RAD) & (turn >= PEAK_SHARE * maximum_filter1d(turn, near, mode="wrap"))
    # On both sides of a corner are places that belong to it; those near each other are one.
    gap = 2 * CHORD + 1
    peak = minimum_filter1d(maximum_filter1d(peak, gap, mode="wrap"), gap, mode="wrap")
    first = np.flatnonzero(peak & ~np.roll(peak, 1))
    last = np.flatnonzero(peak & ~np.roll(peak, -1))
    if len(first) and last[0] < first[0]:
        last = np.roll(last, -1)
    # A turn lies in the middle between its chords, half of one before the second begins.
    middle = first + np.mod(last - first, count) / 2.0 - CHORD / 2.0
    return _evenly_along(ring, np.mod(middle / count, 1.0))


def _evenly_along(ring: shapely.LinearRing, shares: Heights) -> Points:
    found: Points = shapely.get_coordinates(
        shapely.line_interpolate_point(ring, shares, normalized=True)
    )
    return found


def bands_of(
    tables: tuple[BandTable, ...],
    outline: Outline,
    *,
    start_mm: float,
    scale: Scale,
    wall: float,
    shoulder: float,
) -> tuple[Band, ...]:
    """Return the bands of a face, from the edge inwards.

    Parameters
    ----------
    start_mm : float
        Where the first one begins, from the outline inwards [mm].
    scale : Scale
        Of the bands; no band gets narrower than prints, none loses a part of a repeat.
    wall : float
        Slope that walls may have.
    shoulder : float
        Slope of the shoulder under them, which `wall` is less by.

    Raises
    ------
    SpecError
        The outline has no room for a band.
    """
    made: list[Band] = []
    at_mm = start_mm
    for number, table in enumerate(tables):
        width_mm = (
            0.0
            if table.section is BandSection.STEP
            else max(table.width_mm * scale.lengths, LEAST_WIDTH_MM)
        )
        height_mm = table.height_mm * scale.heights
        if table.section is BandSection.STEP:
            width_mm = height_mm / wall
        line = _middle_line(table, outline, (at_mm, width_mm / 2.0), number)
        asked_mm = _asked_mm(table, line, width_mm, scale.lengths)
        repeats = _repeats(table, line, width_mm, asked_mm)
        made.append(
            Band(
                table=table,
                outer_mm=at_mm,
                width_mm=width_mm,
                height_mm=height_mm,
                wall=wall,
                wall_along=sqrt((wall + shoulder) ** 2 - shoulder**2),
                first_piece=(1 + number) * PIECES,
                line=line,
                repeats=repeats,
                asked_mm=asked_mm,
            )
        )
        at_mm += width_mm + gap_of(table, scale)
    return tuple(made)


def gap_of(table: BandTable, scale: Scale) -> float:
    """Return the ground that is left free inside of a band [mm]."""
    return max(table.gap_mm * scale.lengths, min(table.gap_mm, LEAST_GAP_MM))


def _middle_line(
    table: BandTable, outline: Outline, place: tuple[float, float], number: int
) -> MiddleLine | None:
    """Return the middle line of a fill at a distance inside the outline, for its half width.

    Corners and valleys are rounded, so that neither side of the band folds over itself.
    """
    if table.fill is None or table.fill is Fill.TEXT:
        return None
    start_mm, half_mm = place
    inset_mm, round_mm = start_mm + half_mm, FILLS[table.fill].rounded * half_mm
    line = outline.shape
    for grow in (-inset_mm - round_mm, 2.0 * round_mm, -round_mm):
        line = line.buffer(grow, quad_segs=CORNER_CHORDS)
    if line.geom_type != "Polygon" or line.is_empty or line.interiors:
        need = say("face.no-room-for-band", inset_mm=inset_mm)
        raise SpecError(f"face.bands.{number}.width_mm", table.width_mm, need)
    return MiddleLine(shapely.orient_polygons(line).exterior, corners_of(outline))


def _free_at_corners(table: BandTable, line: MiddleLine, half_mm: float) -> float:
    """Return how far from a corner repeats begin: beside its leaf, where it has one [mm]."""
    has_leaf = table.corners is Corners.LEAF and len(line.breaks) > 1
    return CORNER_FREE * half_mm if has_leaf else 0.0


def _asked_mm(table: BandTable, line: MiddleLine | None, width_mm: float, scale: float) -> float:
    """Return the length of a repeat that a band asks for; 0 where it has none."""
    if table.fill is None or line is None:
        return 0.0
    if table.count is not None:
        return line.length_mm / table.count
    if table.pitch_mm is not None:
        return table.pitch_mm * scale
    return width_mm * FILLS[table.fill].pitch_ratio


def _repeats(
    table: BandTable, line: MiddleLine | None, width_mm: float, asked_mm: float
) -> Indices:
    """Return whole repeats for each stretch; even where they are mirrored in its middle."""
    if line is None or table.fill is None:
        return np.zeros(0, dtype=np.int64)
    lengths = np.diff(np.append(line.breaks, line.breaks[0] + line.length_mm))
    lengths = lengths - 2.0 * _free_at_corners(table, line, width_mm / 2.0)
    shares = lengths / max(asked_mm, FILLS[table.fill].least_pitch_mm)
    mirrored = table.corners is not Corners.MITRED and len(lengths) > 1
    whole = 2.0 * np.round(shares / 2.0) if mirrored else np.round(shares)
    return np.maximum(whole, 2 if mirrored else 1).astype(np.int64)
