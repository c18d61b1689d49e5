"""Lettering along a line: along a circle, or along the outline of the pastry itself.

On an outline letters stand on a line that runs inside it. On its straight edges they stay straight,
on its arcs each is turned by the line under its middle, and none stands across a corner: there the
text goes on behind the corner, as far from it as its letters need.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from itertools import pairwise
from math import pi, tan
from pathlib import Path
from typing import Final, TypeAlias

import numpy as np
import shapely
from picosvg.svg_transform import Affine2D
from shapely.geometry.polygon import orient

from moulddesign.artwork import polygons
from moulddesign.artwork.font_files import Font, default_font, open_font
from moulddesign.artwork.lettering import (
    Glyph,
    ShapedLine,
    as_region,
    checked_lines,
    shaped_line,
)
from moulddesign.core import SpecError, say
from moulddesign.geometry import Points


def rim_lettering(
    text: str, font: Path | None, *, radius_mm: float, height_mm: float
) -> tuple[polygons.Region, ...]:
    """Return text along the top of a circle, its feet towards the centre.

    Parameters
    ----------
    radius_mm : float
        Radius of the base line [mm].
    height_mm : float
        Size of the letters: the font's em [mm].

    Returns
    -------
    tuple of Region
        One region of full depth around the circle's centre [mm]. Letters are rotated as they are;
        only in scripts that join them they are bent, so that they still meet.

    Raises
    ------
    SpecError
        The text is empty, too long for the circle, or a character has no glyph.
    FileError
        The font cannot be read.
    """
    return _on_circle(text, font, radius_mm=radius_mm, height_mm=height_mm)


def lower_rim_lettering(
    text: str, font: Path | None, *, radius_mm: float, height_mm: float
) -> tuple[polygons.Region, ...]:
    """Return text along the bottom of a circle, its heads towards the centre.

    As `rim_lettering`; the radius is again that of the base line.
    """
    return _on_circle(text, font, radius_mm=-radius_mm, height_mm=height_mm)


def _on_circle(
    text: str, font: Path | None, *, radius_mm: float, height_mm: float
) -> tuple[polygons.Region, ...]:
    """Return text on a circle about the origin; a negative radius is its lower side."""
    face = open_font(font or default_font())
    scale = height_mm / face.em
    (line,) = [shaped_line(part, face) for part in checked_lines(text, most_lines=1)]
    rim_mm = 2.0 * pi * abs(radius_mm)
    length_mm = line.advance * scale
    if not 0.0 < length_mm <= rim_mm:
        need = say("artwork.text-too-long-for-rim", length_mm=length_mm, rim_mm=rim_mm)
        raise SpecError("text", text, need)
    middle = line.advance / 2.0
    areas = [
        polygons.fill_nonzero(_glyph_on_circle(glyph, middle, radius_mm=radius_mm, scale=scale))
        for glyph in line.glyphs
        if glyph.commands
    ]
    return as_region(polygons.polygon_union(areas), text)


def _glyph_on_circle(
    glyph: Glyph, middle: float, *, radius_mm: float, scale: float
) -> list[Points]:
    """Return a glyph in its place on the circle; bent where its script joins letters.

    A place s along the line, counted from its middle, is the angle s / r clockwise from the top.
    A point (u, v) of the letter, u across from the letter's own middle and v above the base line,
    lies at the radius r + v in the letter's frame, which is rotated by that angle a::

        x =  u cos a + (r + v) sin a
        y = -u sin a + (r + v) cos a

    A letter that is rotated takes one angle for all its points; one that is bent takes each
    point's own, with u = 0. With r negative the same two lines give the lower side: the angle
    changes its sign, so the text still runs left to right, and heads point to the centre.
    """
    flatness = polygons.FLATNESS * abs(radius_mm) * 2.0 / scale
    place = Affine2D(1.0, 0.0, 0.0, 1.0, glyph.x, glyph.y)
    lines = polygons.polylines(glyph.commands, place, flatness)
    result: list[Points] = []
    for line in lines:
        fine = _subdivided(line, abs(radius_mm) / scale / 90.0) if glyph.joined else line
        x, y = (fine * scale).T
        centre = x if glyph.joined else np.full_like(x, glyph.centre * scale)
        angle = (centre - middle * scale) / radius_mm
        across, up = x - centre, y + radius_mm
        result.append(
            np.stack(
                [
                    across * np.cos(angle) + up * np.sin(angle),
                    up * np.cos(angle) - across * np.sin(angle),
                ],
                axis=1,
            )
        )
    return result


def _subdivided(line: Points, longest: float) -> Points:
    """Return a closed line with points added, so that bending it bends its straight parts too."""
    ends = np.roll(line, -1, axis=0)
    counts = np.maximum(np.ceil(np.hypot(*(ends - line).T) / longest).astype(int), 1)
    pieces = [
        start + (end - start) * np.arange(count)[:, None] / count
        for start, end, count in zip(line, ends, counts, strict=True)
    ]
    return np.concatenate(pieces)


CAP_SHARE: Final = 0.78
"""Height of capitals with room above, as a share of the em; common practice, no source."""
DESCENDER_SHARE: Final = 0.25
"""Depth of descenders with room below, as a share of the em; common practice, no source."""
CORNER_DEG: Final = 25.0
"""A line that turns by more over half a letter's height has a corner; our choice [deg]."""
CORNER_WINDOW: Final = 0.5
"""That length, in letters' heights."""
CORNER_GAP: Final = 0.1
"""Room between a corner and a letter, in letters' heights; our choice."""
VALLEY_SHARE: Final = 1e-3
"""An outline has valleys where they take more than this share of its convex hull; our choice."""
MOST_LOBE_SHARE: Final = 0.5
"""Lobes that a disc of this share of the innermost radius does not fit into carry no letters; our
choice."""
ON_EDGE_MM: Final = 6.0
"""Letters that are as large as nobody says; our choice [mm]."""
LEAST_ON_EDGE_MM: Final = 5.5
"""No smaller ones are taken for the sake of one edge: the stems of the bundled font, 0.17 em, then
hold the two walls of a usual relief, 1.6 mm high at 15 deg, which are 0.86 mm wide [mm]."""
SIZE_STEP_MM: Final = 0.01
"""How closely the largest letters are found [mm]."""


def outline_lettering(
    text: str, font: Path | None, *, outline: shapely.Polygon, height_mm: float | None = None
) -> tuple[polygons.Region, ...]:
    """Return text along the inside of an outline, from the middle of its top, feet to the middle.

    Parameters
    ----------
    outline : shapely Polygon
        Where the letters may lie; their heads touch it [mm].
    height_mm : float, optional
        Size of the letters: the font's em [mm]. Where it is left out, they are as large as they
        fit without a corner in the text, or in a word, from `LEAST_ON_EDGE_MM` to `ON_EDGE_MM`.

    Returns
    -------
    tuple of Region
        One region of full depth [mm]. At a corner the text breaks between two words where each
        word has room on an edge, and else between two letters.

    Raises
    ------
    SpecError
        The text is empty, too long for the outline, or a character has no glyph.
    FileError
        The font cannot be read.
    """
    return _on_outline(text, font, outline=outline, height_mm=height_mm, upper=1.0)


def lower_outline_lettering(
    text: str, font: Path | None, *, outline: shapely.Polygon, height_mm: float | None = None
) -> tuple[polygons.Region, ...]:
    """Return text along the inside of an outline, about the middle of its foot, heads inwards.

    As `outline_lettering`.
    """
    return _on_outline(text, font, outline=outline, height_mm=height_mm, upper=-1.0)


def _on_outline(
    text: str, font: Path | None, *, outline: shapely.Polygon, height_mm: float | None, upper: float
) -> tuple[polygons.Region, ...]:
    """Return text on an outline; `upper` is 1 for heads outwards, and -1 for heads inwards."""
    face = open_font(font or default_font())
    (words,) = checked_lines(text, most_lines=1)
    line = shaped_line(words, face)

    def placed(size_mm: float, *, split: Split) -> _Placed | None:
        return _placed(split(line), face, outline=outline, height_mm=size_mm, upper=upper)

    size_mm = ON_EDGE_MM if height_mm is None else height_mm
    for split in (_whole, _words) if height_mm is None else ():
        fitting_mm = _largest_mm(partial(placed, split=split), size_mm)
        if fitting_mm >= LEAST_ON_EDGE_MM:
            size_mm = fitting_mm
            break
    ways = (placed(size_mm, split=split) for split in (_whole, _words, _letters))
    found = next((way for way in ways if way is not None), None)
    if found is None:
        most_mm = _largest_mm(partial(placed, split=_letters), size_mm)
        need = say("artwork.text-too-long-for-outline", most_mm=most_mm)
        raise SpecError("relief.layers.size_mm", size_mm, need)
    scale = size_mm / face.em
    flatness = polygons.FLATNESS * float(np.ptp(outline.bounds[::2])) / scale
    areas = [
        polygons.fill_nonzero(
            _unit_on_path(unit, at_mm, found.path, scale=scale, flatness=flatness)
        )
        for unit, at_mm in found.units
    ]
    return as_region(polygons.polygon_union(areas), text)


def _largest_mm(fits: Callable[[float], object], most_mm: float) -> float:
    """Return the largest size of letters that fits, up to a most; 0 where none does [mm]."""
    if fits(most_mm) is not None:
        return most_mm
    low, high = 0.0, most_mm
    while high - low > SIZE_STEP_MM:
        middle = (low + high) / 2.0
        low, high = (middle, high) if fits(middle) is not None else (low, middle)
    return low


@dataclass(frozen=True, slots=True, eq=False)
class _BasePath:
    """A closed line on which letters stand; the text's middle is its start, letters to its left."""

    points: Points
    """Its corners, the first repeated at the end, shape (n, 2) [mm]."""
    places: Points
    """How far along it each of them lies [mm]."""

    @property
    def length_mm(self) -> float:
        return float(self.places[-1])

    def at(self, along_mm: Points) -> Points:
        """Return points on it, shape (n, 2) [mm]; lengths below 0 lie before its start."""
        way = np.asarray(along_mm) % self.length_mm
        return np.stack([np.interp(way, self.places, axis) for axis in self.points.T], axis=-1)

    def corners(self, height_mm: float, reach_mm: float) -> list[tuple[float, float]]:
        """Return the stretches, beside corners and on them, that no letter may touch [mm].

        `reach_mm` is how far letters reach to the inner side of the corners.
        """
        ways = np.diff(self.points, axis=0)
        headings = np.arctan2(ways[:, 1], ways[:, 0])
        turns = (headings - np.roll(headings, 1) + pi) % (2.0 * pi) - pi
        places, window = self.places[:-1], CORNER_WINDOW * height_mm / 2.0
        apart = np.abs(places[:, None] - places[None, :])
        near = np.minimum(apart, self.length_mm - apart) <= window
        bent = np.abs(near @ turns) > np.radians(CORNER_DEG)
        zones: list[list[int]] = []
        for corner in np.flatnonzero(bent).tolist():
            joins = zones and places[corner] - places[zones[-1][-1]] <= 2.0 * window
            zones = [*zones[:-1], [*zones[-1], corner]] if joins else [*zones, [corner]]
        stretches = []
        for zone in zones:
            turn = min(abs(float(turns[zone].sum())), MOST_TURN)
            free = reach_mm * tan(turn / 2.0) + CORNER_GAP * height_mm
            stretches.append((float(places[zone[0]]) - free, float(places[zone[-1]]) + free))
        return stretches


MOST_TURN: Final = 2.6
"""Sharper corners than this, 150 deg, are taken as one of it [rad]."""


def _base_path(outline: shapely.Polygon, height_mm: float, upper: float) -> _BasePath | None:
    """Return the line inside an outline on which letters stand; None where there is no room."""
    inset_mm = height_mm * (CAP_SHARE if upper > 0.0 else DESCENDER_SHARE)
    inner = outline.buffer(-inset_mm)
    hull = inner.convex_hull
    if hull.area - inner.area > VALLEY_SHARE * hull.area:
        lobe_mm = MOST_LOBE_SHARE * float(inner.exterior.distance(inner.centroid))
        inner = inner.buffer(-lobe_mm).buffer(lobe_mm)
    if inner.is_empty or not isinstance(inner, shapely.Polygon):
        return None
    ring = orient(inner, -upper).exterior
    left, low, right, high = inner.bounds
    middle = shapely.Point((left + right) / 2.0, high if upper > 0.0 else low)
    start = ring.project(middle)
    corners = shapely.get_coordinates(ring)[:-1]
    along = np.array([ring.project(shapely.Point(corner)) for corner in corners])
    order = np.argsort((along - start) % ring.length)
    first = shapely.get_coordinates(ring.interpolate(start))
    points = np.concatenate([first, corners[order], first])
    keep = np.r_[True, np.hypot(*np.diff(points, axis=0).T) > SIZE_STEP_MM / 10.0]
    points = points[keep]
    steps = np.hypot(*np.diff(points, axis=0).T)
    return _BasePath(points, np.concatenate([[0.0], np.cumsum(steps)]))


@dataclass(frozen=True, slots=True)
class _Unit:
    """Glyphs that stay together: those of one letter, or of letters that join [font units]."""

    glyphs: tuple[Glyph, ...]
    left: float
    right: float

    @property
    def centre(self) -> float:
        return (self.left + self.right) / 2.0


Blocks: TypeAlias = list[list[_Unit]]
"""Letters, those together that no corner may part."""
Split: TypeAlias = Callable[[ShapedLine], Blocks]


def _letters(line: ShapedLine) -> Blocks:
    """Return the letters of a line from left to right; spaces draw nothing and are left out."""
    return [[unit] for word in _words(line) for unit in word]


def _whole(line: ShapedLine) -> Blocks:
    """Return all letters together."""
    return [[unit for word in _words(line) for unit in word]]


def _words(line: ShapedLine) -> Blocks:
    """Return the letters of each word; those that join are one unit."""
    words: Blocks = [[]]
    last: Glyph | None = None
    for glyph in sorted(line.glyphs, key=lambda one: (one.left, one.right)):
        if not glyph.commands:
            words.append([])
            last = None
            continue
        joins = last is not None and (glyph.left < last.right or (glyph.joined and last.joined))
        known = words[-1].pop() if joins else _Unit((), glyph.left, glyph.right)
        right = max(known.right, glyph.right)
        words[-1].append(_Unit((*known.glyphs, glyph), known.left, right))
        last = glyph
    return [word for word in words if word]


@dataclass(frozen=True, slots=True, eq=False)
class _Placed:
    """Where the middle of each letter stands on its line."""

    path: _BasePath
    units: list[tuple[_Unit, float]]


def _placed(
    blocks: Blocks,
    face: Font,
    *,
    outline: shapely.Polygon,
    height_mm: float,
    upper: float,
) -> _Placed | None:
    """Return a text on its line; None where it does not fit.

    Blocks are laid one after the other; one that would touch a corner goes on behind it. Of several
    beginnings about the middle, that is taken which leaves least free at corners. Words are then
    moved to the middle of their edge.
    """
    path = _base_path(outline, height_mm, upper)
    if path is None:
        return None
    reach_mm = height_mm * (DESCENDER_SHARE if upper > 0.0 else CAP_SHARE)
    scale, length = height_mm / face.em, path.length_mm
    corners = _merged(path.corners(height_mm, reach_mm), length)
    if len(blocks) == 1:
        half_mm = (blocks[0][-1].right - blocks[0][0].left) * scale / 2.0
        if any(low < half_mm and high > -half_mm for low, high in corners):
            return None

    width_mm = (blocks[-1][-1].right - blocks[0][0].left) * scale
    steps = range(-BEGINNINGS, BEGINNINGS + 1) if corners else (0,)
    begins = (step * height_mm / 2.0 - width_mm / 2.0 for step in steps)
    best = min((_laid(blocks, begin, corners, scale) for begin in begins), key=_spread)
    if best[-1].right_mm > length or best[-1].right_mm - best[0].left_mm > length:
        return None  # beyond a whole turn it only goes on where no edge has room for a word
    if len(blocks) > 1 and any(len(block) > 1 for block in blocks):
        best = _centred_on_edges(best, corners)
    units = [(unit, unit.centre * scale + one.shift_mm) for one in best for unit in one.block]
    return _Placed(path, units)


BEGINNINGS: Final = 8
"""Beginnings that are tried on either side, half a letter's height apart; our choice."""


@dataclass(frozen=True, slots=True)
class _LaidBlock:
    """A block, how far it is moved along its line, and where it ends there."""

    block: list[_Unit]
    shift_mm: float
    left_mm: float
    right_mm: float


def _laid(
    blocks: Blocks, begin_mm: float, corners: list[tuple[float, float]], scale: float
) -> list[_LaidBlock]:
    """Return blocks one after the other, each that would touch a corner behind it."""
    shift, made = begin_mm - blocks[0][0].left * scale, []
    for block in blocks:
        left, right = block[0].left * scale, block[-1].right * scale
        for low, high in corners:
            if left + shift < high and low < right + shift:
                shift = high - left
        made.append(_LaidBlock(block, shift, left + shift, right + shift))
    return made


def _spread(laid: list[_LaidBlock]) -> float:
    """Return the length that a text takes, and how far its middle lies off its line's [mm]."""
    begin, end = laid[0].left_mm, laid[-1].right_mm
    return end - begin + abs(begin + end) / 2.0


def _centred_on_edges(
    laid: list[_LaidBlock], corners: list[tuple[float, float]]
) -> list[_LaidBlock]:
    """Return words moved to the middle of the edge that they stand on."""
    made: list[_LaidBlock] = []
    for (_, low), (high, _) in pairwise(corners):
        # By its middle: a word that begins right behind a corner may do so a rounding error before.
        own = [one for one in laid if low <= (one.left_mm + one.right_mm) / 2.0 < high]
        if own:
            move = (low + high - own[0].left_mm - own[-1].right_mm) / 2.0
            made += [replace(one, shift_mm=one.shift_mm + move) for one in own]
    return made or laid


def _merged(corners: list[tuple[float, float]], length: float) -> list[tuple[float, float]]:
    """Return the stretches at corners once around before and after, those that overlap as one.

    The line is closed: what lies before its start is also its end.
    """
    around = sorted(
        (low + turn * length, high + turn * length) for low, high in corners for turn in (-1, 0, 1)
    )
    made = around[:1]
    for low, high in around[1:]:
        if low <= made[-1][1]:
            made[-1] = (made[-1][0], max(made[-1][1], high))
        else:
            made.append((low, high))
    return made


def _unit_on_path(
    unit: _Unit, at_mm: float, path: _BasePath, *, scale: float, flatness: float
) -> list[Points]:
    """Return a unit's outlines in their place: rigid, or bent where its letters join.

    A rigid letter stands on the line under its middle and has the direction of the chord under it.
    """
    half_mm = (unit.right - unit.left) * scale / 2.0
    bent = any(glyph.joined for glyph in unit.glyphs)
    result: list[Points] = []
    for glyph in unit.glyphs:
        place = Affine2D(1.0, 0.0, 0.0, 1.0, glyph.x - unit.centre, glyph.y)
        for line in polygons.polylines(glyph.commands, place, flatness):
            fine = _subdivided(line, half_mm / scale / 20.0) if bent else line
            across, up = (fine * scale).T
            foot_mm = at_mm + across if bent else np.full_like(across, at_mm)
            reach_mm = CHORD_MM if bent else half_mm
            way = path.at(foot_mm + reach_mm) - path.at(foot_mm - reach_mm)
            way /= np.hypot(*way.T)[:, None]
            normal = np.stack([-way[:, 1], way[:, 0]], axis=1)
            along = np.zeros_like(across) if bent else across
            result.append(path.at(foot_mm) + along[:, None] * way + up[:, None] * normal)
    return result


CHORD_MM: Final = 0.2
"""Half the chord that gives a bent letter its direction [mm]."""
