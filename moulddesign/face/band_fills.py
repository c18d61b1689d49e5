"""What a band repeats along itself: beads, rope, leaves, waves, braid, rings, key, flutes.

A repeat is seen in its own frame: s along the band from its middle, v across from the band's
middle, outwards, both in mm, with its length and the band's half width. Each returns a height
above the ground and a piece number within the repeat, at most `PARTS`.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import pi
from typing import Final

import numpy as np

from moulddesign.design.face_tables import Fill
from moulddesign.face.surface import half_round, lower_of
from moulddesign.geometry import Indices
from moulddesign.relief.field import Heights

PARTS: Final = 16
"""Piece numbers of one repeat."""

STRAND: Final = 0.66
"""Share of the wall's slope that a strand's side has; going over and under takes the rest."""

Carved = tuple[Heights, Indices]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Repeat:
    """Points in the frames of their repeats."""

    along: Heights
    """From the repeat's middle [mm]."""
    across: Heights
    """From the band's middle, outwards [mm]."""
    length: Heights
    """Of the repeat that each point lies in [mm]."""
    half_mm: float
    """Half of the band's width."""
    height_mm: float
    wall: float
    """Slope that walls may have across the band."""
    wall_along: float
    """Slope along the band: more, where a shoulder falls across it."""
    tight: Heights
    """Where the line bends, the band's inner side is this share of its middle, shape (n,)."""


def _higher(first: Carved, second: Carved) -> Carved:
    above = second[0] > first[0]
    return np.where(above, second[0], first[0]), np.where(above, second[1], first[1])


def _beads(at: Repeat) -> Carved:
    """Return half balls, or half eggs where a repeat is longer than the band is wide."""
    half_along = np.minimum(0.47 * at.length, 1.7 * at.half_mm)
    half_across = np.minimum(at.half_mm, 1.3 * half_along)
    share2 = (at.along / half_along) ** 2 + (at.across / half_across) ** 2
    share = np.sqrt(share2)
    top = at.height_mm * np.sqrt(np.maximum(1.0 - share2, 0.0))
    wall = at.wall * at.tight * np.minimum(half_along, half_across) * (1.0 - share)
    return lower_of(top, wall, 0)


def _rope(at: Repeat) -> Carved:
    """Return strands that lie aslant over a round bar, one for each repeat."""
    # A strand passes from one side of the band to the other over one length of a repeat.
    slant = at.length / (2.2 * at.half_mm)
    place = at.along / at.length + slant * at.across / at.length
    strand = np.round(place)
    off = 2.0 * (place - strand)
    bar = np.sqrt(np.maximum(1.0 - (at.across / at.half_mm) ** 2, 0.0))
    # With s = |across| / half, b = sqrt(1 - s s) and k the wall's slope: where the bar b is seen
    # under its wall its slope is at most k s / (1 + s). That of strands, b 4 h depth grad(place),
    # has the rest, k / (1 + s), if 4 h depth grad(place) is 0.77 k: 1 / (b (1 + s)) is no less.
    # Over a shoulder of slope c the sum is in the ellipse of `wall` and `wall_along`, which is
    # beyond the circle of k + c by at most the root of 1.125.
    share = at.wall / (at.wall_along * at.tight)
    grad = np.hypot(share / at.length, 1.0 / (2.2 * at.half_mm))
    depth = np.minimum(0.45, 0.77 * at.wall / (4.0 * at.height_mm * grad))
    top = at.height_mm * ((1.0 - depth) * bar + depth * bar * (1.0 - off * off))
    wall = at.wall * (at.half_mm - np.abs(at.across))
    return lower_of(top, wall, 2 * (strand.astype(np.int64) + 2))


def _leaves(at: Repeat) -> Carved:
    """Return one leaf a repeat, its tip ahead, with a groove along its middle."""
    half_along = 0.49 * at.length
    half = np.minimum(at.half_mm, 0.55 * half_along)
    return _leaf(at.along, at.across, half_along=half_along, half=half, at=at)


CORNER_LEAF: Final = 0.72
"""Half width of a leaf on a corner as a share of its half length; our choice."""
CORNER_FREE: Final = 0.9
"""Where repeats end beside it, as a share of the same; our choice."""


def with_corner_leaf(made: Carved, at: Repeat, off: Heights, first: Indices) -> Carved:
    """Return a fill that ends beside corners, on each a leaf across the band, its tip outwards.

    Parameters
    ----------
    off : array, shape (n,)
        Places along the band from the nearest corner [mm].
    first : array, shape (n,)
        First piece numbers of that corner's leaf.
    """
    half_along = np.full(len(off), at.half_mm)
    height, piece = made
    # A bend shortens the band's inner side: walls along it are flatter by that.
    height = np.minimum(height, at.wall * at.tight * (np.abs(off) - CORNER_FREE * at.half_mm))
    leaf, part = _leaf(at.across, off, half_along=half_along, half=CORNER_LEAF * half_along, at=at)
    leaf = np.where(np.abs(off) < at.half_mm, leaf, -np.inf)
    return _higher((height, piece), (leaf, first + part))


def _leaf(
    along: Heights, across: Heights, *, half_along: Heights, half: Heights, at: Repeat
) -> Carved:
    """Return a leaf of two arcs with a groove along its middle."""
    # Two arcs of radius r whose centres lie c on either side of the axis: r - c = half.
    radius = (half_along**2 + half**2) / (2.0 * half)
    centre = radius - half
    inside = radius - np.hypot(along, np.abs(across) + centre)
    q = np.abs(across) / half
    swell = 1.0 - 0.25 * (along / half_along + 0.15) ** 2
    # A groove exp(-(y / w)^2) is steepest, 0.86 of its depth over w, where y is 0.7 w.
    wide, wall = np.maximum(0.2 * half, 0.28), at.wall * at.tight
    depth = np.minimum(0.42, wall * wide / at.height_mm)
    body = (1.0 - 0.5 * q * q - depth * np.exp(-((across / wide) ** 2))) * swell
    side = (across > 0.0).astype(np.int64)
    height, piece = lower_of(at.height_mm * body, wall * inside, 0)
    return height, 2 * piece + side


def _strand(  # noqa: PLR0917 (a curve and its strand)
    at: Repeat, middle: Heights, slope: Heights, half_mm: float, number: int
) -> Carved:
    """Return a round strand along a curve v = f(s), from its height and slope there.

    Its four pieces are top and wall on either side: where it is narrow, its walls meet in a ridge.
    """
    aside = (at.across - middle) / np.sqrt(1.0 + slope * slope)
    off = np.abs(aside)
    top = half_round(off, half_mm, at.height_mm)
    wall = STRAND * at.tight * at.wall * (half_mm - off)
    return lower_of(top, wall, number + 2 * (aside > 0.0))


def _wave(at: Repeat) -> Carved:
    """Return a round strand in waves, with a bead in each bay."""
    swing = at.half_mm * 0.62
    turn = 2.0 * pi * at.along / at.length
    strand = _strand(
        at, swing * np.cos(turn), -swing * 2.0 * pi / at.length * np.sin(turn),
        at.half_mm * 0.36, 0,
    )  # fmt: skip
    found = strand
    size = np.minimum(at.half_mm * 0.4, 0.2 * at.length)
    for number, place, side in ((4, 0.0, -0.55), (6, 0.5, 0.55), (8, -0.5, 0.55)):
        share = np.hypot(at.along - place * at.length, at.across - side * at.half_mm) / size
        ball = 0.9 * at.height_mm * np.sqrt(np.maximum(1.0 - share * share, 0.0))
        found = _higher(found, lower_of(ball, at.tight * at.wall * size * (1.0 - share), number))
    return found


def _braid(at: Repeat) -> Carved:
    """Return three strands that pass over and under each other, one crossing a repeat."""
    return _plaited(at, 3)


def _rings(at: Repeat) -> Carved:
    """Return two strands that cross twice a repeat, with a bead in each eye."""
    eyes = _plaited(at, 2)
    size = np.minimum(0.42 * at.half_mm, 0.16 * at.length)
    for number, place in ((12, 0.25), (14, -0.25)):
        share = np.hypot(at.along - place * at.length, at.across) / size
        ball = 0.8 * at.height_mm * np.sqrt(np.maximum(1.0 - share * share, 0.0))
        eyes = _higher(eyes, lower_of(ball, at.tight * at.wall * size * (1.0 - share), number))
    return eyes


def _plaited(at: Repeat, strands: int) -> Carved:
    """Return strands that swing from side to side, each lower where another one covers it."""
    width_mm = at.half_mm * (0.3 if strands == 2 else 0.27)  # noqa: PLR2004 (two strands leave eyes)
    swing = at.half_mm - width_mm
    found: Carved | None = None
    for strand in range(strands):
        turn = 2.0 * pi * (at.along / at.length + strand / strands)
        slope = -swing * 2.0 * pi / at.length * np.sin(turn)
        height, piece = _strand(at, swing * np.cos(turn), slope, width_mm, 4 * strand)
        # Over where it swings outwards to the left, under where it comes back.
        over = 0.22 * at.height_mm * np.sin(strands * turn if strands > 2 else 2.0 * turn)  # noqa: PLR2004
        one = (
            height + np.where(height > 0.0, over, 0.0) * np.clip(height / at.height_mm, 0.0, 1.0),
            piece,
        )
        found = one if found is None else _higher(found, one)
    assert found is not None  # noqa: S101 (there are strands)
    return found


KEY: Final = (
    (-0.5, -1.0, 0.5, -0.55), (0.1, -1.0, 0.34, 1.0), (-0.34, 0.5, 0.34, 1.0),
    (-0.34, -0.3, -0.1, 1.0),
)  # fmt: skip
"""Bars of a key: left, low, right, high, as shares of the length and of the half width."""


def _key(at: Repeat) -> Carved:
    """Return the bars of a running key with level tops."""
    inside = np.full(len(at.along), -np.inf)
    for left, low, right, high in KEY:
        # A bar that ends at the repeat's own end runs on in the next one.
        first = left * at.length if left > -0.5 else -at.length  # noqa: PLR2004 (half a repeat)
        last = right * at.length if right < 0.5 else at.length  # noqa: PLR2004 (the same)
        bar = np.minimum(
            at.tight * np.minimum(at.along - first, last - at.along),
            np.minimum(at.across - low * at.half_mm, high * at.half_mm - at.across),
        )
        inside = np.maximum(inside, bar)
    return lower_of(np.full(len(inside), at.height_mm), at.wall * inside, 0)


def _flutes(at: Repeat) -> Carved:
    """Return short ribs across the band, side by side, rounded along it."""
    off = 2.0 * at.along / at.length
    # It is steepest, 4 depth / length, where ribs meet.
    depth = np.minimum(0.7, at.wall_along * at.tight * at.length / (4.0 * at.height_mm))
    top = at.height_mm * (1.0 - depth * off * off)
    end = at.wall * (at.half_mm - np.abs(at.across))
    return lower_of(top, end, 0)


@dataclass(frozen=True, slots=True, kw_only=True)
class BandFill:
    """How one repeat is carved, and how long it is."""

    carve: Callable[[Repeat], Carved]
    pitch_ratio: float
    """Usual length of a repeat as a share of the band's width."""
    least_pitch_mm: float
    """Shortest repeat that prints: its strokes and gaps are 0.8 mm or little less."""
    rounded: float = 1.5
    """Least radius of corners of the band's middle line, in half widths of the band."""


FILLS: Final[Mapping[Fill, BandFill]] = {
    Fill.BEADS: BandFill(carve=_beads, pitch_ratio=1.06, least_pitch_mm=1.1),
    Fill.ROPE: BandFill(carve=_rope, pitch_ratio=0.62, least_pitch_mm=1.1),
    Fill.LEAVES: BandFill(carve=_leaves, pitch_ratio=2.3, least_pitch_mm=2.4),
    Fill.WAVE: BandFill(carve=_wave, pitch_ratio=2.4, least_pitch_mm=4.0),
    # In tighter bends walls along a strand would be so flat that little of it is left.
    Fill.BRAID: BandFill(carve=_braid, pitch_ratio=3.2, least_pitch_mm=5.0, rounded=2.5),
    Fill.RINGS: BandFill(carve=_rings, pitch_ratio=3.0, least_pitch_mm=5.0, rounded=2.5),
    Fill.KEY: BandFill(carve=_key, pitch_ratio=1.9, least_pitch_mm=4.4),
    Fill.FLUTES: BandFill(carve=_flutes, pitch_ratio=0.75, least_pitch_mm=1.2),
}
