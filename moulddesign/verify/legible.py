"""Whether artwork can be read once it is pressed, and what of it the eater would not see.

A stroke comes to its depth where a disc fits into it whose radius is the run of its wall: the depth
times the tangent of the draft. What such discs cover is the morphological opening of the artwork by
the disc, taken here on a raster. The roof that made the relief is not
asked.
"""

from collections.abc import Sequence
from math import ceil, floor, isqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt
from shapely.geometry.base import BaseGeometry

from moulddesign.core import DESIGN, OUR_CHOICE, PRACTICE, Finding, Message, Verdict, judged, say
from moulddesign.geometry.sampling import grid_over_shape, region_mask

FINE_PIXEL_MM: Final = 0.05
"""Side of a pixel: an eighth of the run of a usual wall [mm]."""
RUN_STEP_PX: Final = 0.25
"""How closely the longest run is found [pixels]."""
LEAST_LEGIBLE_RATIO: Final = 0.25
"""Least share of an artwork whose strokes come to their depth; our choice."""
ROUND_OFF_MM: Final = 1e-6
"""What two equal depths may differ by [mm]."""


def opened(mask: NDArray[np.bool_], radius_px: float) -> NDArray[np.bool_]:
    """Return what discs of a radius that fit into a mask cover: its opening [pixels].

    A disc fits where the next pixel outside is at least its radius away. Distances are between the
    centres of pixels, so radii are right within half a pixel.

    Examples
    --------
    >>> bar = np.zeros((9, 40), dtype=bool)
    >>> bar[2:7, 2:38] = True
    >>> bool(opened(bar, 2.0).any()), bool(opened(bar, 4.0).any())
    (True, False)
    """
    padded, reach2 = np.pad(mask, 1), (radius_px + 0.5) ** 2
    centres = ~_near(~padded, ceil(reach2) - 1)
    return (_near(centres, floor(reach2)) & padded)[1:-1, 1:-1]


def _near(mask: NDArray[np.bool_], reach2: int) -> NDArray[np.bool_]:
    """Return which pixels have one of a mask at most so far away, by the square [pixels].

    Row by row: what is near in its own row is near in other rows where it is near enough. For
    discs of some pixels that takes a quarter of the time of a distance transform.
    """
    reach, columns = isqrt(reach2), np.arange(mask.shape[1], dtype=np.int32)
    none = len(columns) + reach + 1
    before = np.maximum.accumulate(np.where(mask, columns, -none), axis=1)
    after = np.minimum.accumulate(np.where(mask, columns, 2 * none)[:, ::-1], axis=1)[:, ::-1]
    aside = np.minimum(columns - before, after - columns)
    near = aside <= reach
    for rows in range(1, min(reach, len(mask) - 1) + 1):
        hit = aside <= isqrt(reach2 - rows**2)
        near[rows:] |= hit[:-rows]
        near[:-rows] |= hit[rows:]
    return near


def reached_mm2(region: BaseGeometry, drawn: BaseGeometry, *, run_mm: float) -> float:
    """Return the area of artwork whose strokes are wide enough to come to their depth [mm^2].

    Parameters
    ----------
    region : shapely geometry
        What is one relief: strokes of several layers may be one stroke of it [mm].
    drawn : shapely geometry
        The part of it that is asked about [mm].
    run_mm : float
        How far a wall runs until it is at its depth [mm].

    Examples
    --------
    >>> import shapely
    >>> bars = shapely.union_all([shapely.box(0, 0, 20, 2), shapely.box(0, 5, 20, 5.5)])
    >>> round(reached_mm2(bars, bars, run_mm=0.4))
    40
    """
    grid = grid_over_shape(region, FINE_PIXEL_MM)
    reached = opened(region_mask(region, grid), run_mm / FINE_PIXEL_MM)
    reached &= region_mask(drawn, grid)
    return float(reached.sum()) * FINE_PIXEL_MM**2


def legible_run_mm(drawn: BaseGeometry) -> float:
    """Return the longest run of a wall at which enough of an artwork comes to its depth [mm].

    Found by bisection, as a wider disc never covers more; half a pixel is the least.
    """
    mask = region_mask(drawn, grid_over_shape(drawn, FINE_PIXEL_MM))
    low, high = 0.5, float(distance_transform_edt(np.pad(mask, 1)).max())
    while high - low > RUN_STEP_PX:
        middle = (low + high) / 2.0
        if opened(mask, middle).sum() >= LEAST_LEGIBLE_RATIO * mask.sum():
            low = middle
        else:
            high = middle
    return low * FINE_PIXEL_MM


def legible_finding(*, share: float, part: str) -> Finding:
    """Return whether enough of an artwork comes to its depth to be read."""
    return Finding(
        what=say("verify.artwork-at-depth"),
        part=part,
        measured=share,
        limit=say("verify.at-least-of-its-area", limit=LEAST_LEGIBLE_RATIO),
        unit="",
        source=say("verify.opened-raster", pixel_mm=FINE_PIXEL_MM),
        verdict=judged(good=share >= LEAST_LEGIBLE_RATIO),
    )


LEAST_SHOWN_RATIO: Final = 0.05
"""A layer of which later ones leave less than this shows nothing; our choice."""


def hidden_finding(*, share: float, part: str, remedy: Message) -> Finding:
    """Return that a layer shows nothing, for later ones cover it."""
    return Finding(
        what=say("verify.shown-of-layer"),
        part=part,
        measured=share,
        limit=say("verify.at-least-of-its-area", limit=LEAST_SHOWN_RATIO),
        unit="",
        source=OUR_CHOICE,
        verdict=Verdict.WARN,
        remedy=remedy,
    )


def repeats_finding(*, count: int, step: int, part: str) -> Finding:
    """Return that the parts of a motif do not match the outline's symmetry."""
    low, high = max(count // step, 1) * step, (count // step + 1) * step
    return Finding(
        what=say("verify.motif-count"),
        part=part,
        measured=float(count),
        limit=say("verify.multiple-of", step=step),
        unit="",
        source=DESIGN,
        verdict=Verdict.WARN,
        remedy=say("verify.whole-count", count=low if count - low < high - count else high),
    )


def shallow_finding(*, share: float, part: str) -> Finding:
    """Return that the darkest shade of a drawing is grey, which makes the whole of it shallower."""
    return Finding(
        what=say("verify.deepest-shade"),
        part=part,
        measured=share,
        limit=say("verify.black-is-whole-depth"),
        unit="",
        source=DESIGN,
        verdict=Verdict.WARN,
        remedy=say("verify.make-it-black", threshold=round(1.0 - share / 2.0, 2)),
    )


def greys_finding(*, share: float, part: str) -> Finding:
    """Return that a picture has greys, which became either full depth or nothing."""
    return Finding(
        what=say("verify.greys-of-picture"),
        part=part,
        measured=share,
        limit=say("verify.black-or-white"),
        unit="",
        source=DESIGN,
        verdict=Verdict.WARN,
        remedy=say("verify.draw-levels"),
    )


def grooves_finding(*, length_mm: float, gap_mm: float) -> Finding:
    """Return that reliefs of unlike height touch: both come down to the ground in between."""
    return Finding(
        what=say("verify.grooves"),
        measured=length_mm,
        limit=say("verify.no-grooves"),
        unit="mm",
        source=PRACTICE,
        verdict=Verdict.WARN,
        remedy=say("verify.one-shade-or-gap", gap_mm=gap_mm),
    )


def deep_finding(*, depth_mm: float, most_mm: float, part: str, remedy: Message | None) -> Finding:
    """Return whether a relief is no deeper than what was seen to come out whole of the dough."""
    good = depth_mm <= most_mm + ROUND_OFF_MM
    return Finding(
        what=say("verify.deepest-relief"),
        part=part,
        measured=depth_mm,
        limit=say("core.at-most", limit=most_mm),
        unit="mm",
        source=say("verify.depth-of-your-dough"),
        verdict=Verdict.GOOD if good else Verdict.WARN,
        remedy=None if good else remedy,
    )


def side_bands_finding(lengths_mm: Sequence[float], *, line_mm: float, layer_mm: float) -> Finding:
    """Return whether the smallest height or depth of bands around a side is printed.

    Examples
    --------
    >>> side_bands_finding([3.0, 0.3], line_mm=0.42, layer_mm=0.2).verdict
    <Verdict.WARN: 'warn'>
    """
    least_mm = max(line_mm, 2.0 * layer_mm)
    return Finding(
        what=say("verify.smallest-of-side-bands"),
        measured=min(lengths_mm),
        limit=say("verify.line-or-two-layers", limit=least_mm),
        unit="mm",
        source=OUR_CHOICE,
        verdict=judged(good=min(lengths_mm) >= least_mm, otherwise=Verdict.WARN),
    )
