"""Whether the crust is thick enough, the centres fit, and the relief reads, prints and fills."""

from collections.abc import Callable
from typing import Final

import numpy as np
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from moulddesign.core import PRACTICE, Finding, Message, Verdict, judged, say
from moulddesign.geometry import Mesh, Points, normals_and_areas
from moulddesign.geometry.sampling import grid_over, grid_over_shape, region_mask, top_heights_mm

LEAST_CRUST_MM: Final = 2.0
"""Crust nowhere thinner; common practice, no source [mm]."""
TORN_CRUST_MM: Final = 1.0
"""A crust below this cannot be wrapped; common practice, no source [mm]."""
CUT_RATIO: Final = 0.5
"""Largest share of the crust that sunk relief may take; common practice, no source."""
LEAST_PASTE_MM: Final = 1.0
"""Paste around a centre, so that it does not show; our choice [mm]."""


def crust_findings(
    *, thickness_mm: float, deepest_sunk_mm: float, held_mm: float | None = None
) -> tuple[Finding, ...]:
    """Return whether a uniform crust holds, and whether sunk relief leaves enough of it.

    The deepest sunk relief is measured from the flat top, 0 where there is none. The thinnest crust
    of one's own dough that held takes the place of common practice.
    """
    least_mm = LEAST_CRUST_MM if held_mm is None else held_mm
    torn_mm = min(TORN_CRUST_MM, least_mm)
    thick = Finding(
        what=say("verify.crust-thickness"),
        measured=thickness_mm,
        limit=say("verify.at-least-or-fails", limit=least_mm, fails=torn_mm),
        unit="mm",
        source=PRACTICE if held_mm is None else say("verify.crust-of-your-dough"),
        verdict=judged(
            good=thickness_mm >= least_mm,
            otherwise=Verdict.FAIL if thickness_mm < torn_mm else Verdict.WARN,
        ),
    )
    if deepest_sunk_mm == 0.0:
        return (thick,)
    share = deepest_sunk_mm / thickness_mm
    through = Verdict.FAIL if share >= 1.0 else Verdict.WARN
    return (
        thick,
        Finding(
            what=say("verify.sunk-share-of-crust"),
            measured=share,
            limit=say("verify.at-most-cutting-through", limit=CUT_RATIO),
            unit="",
            source=PRACTICE,
            verdict=judged(good=share <= CUT_RATIO, otherwise=through),
        ),
    )


def centre_finding(*, least_paste_mm: float, least_rigid_mm: float) -> Finding:
    """Return whether the centres, as balls side by side, fit inside the crust with paste around.

    Parameters
    ----------
    least_paste_mm : float
        Least distance from a centre to the crust, below 0 where it reaches into it [mm].
    least_rigid_mm : float
        The same from a centre that keeps its shape in pressing; infinite without one [mm].
    """
    room_mm = least_paste_mm - LEAST_PASTE_MM
    return Finding(
        what=say("verify.room-around-centres"),
        measured=room_mm,
        limit=say("verify.paste-or-fails", paste_mm=LEAST_PASTE_MM),
        unit="mm",
        source=say("verify.centres-as-balls"),
        verdict=judged(
            good=room_mm >= 0.0, otherwise=Verdict.FAIL if least_rigid_mm < 0.0 else Verdict.WARN
        ),
    )


def paste_finding(*, least_paste_g: float) -> Finding:
    """Return whether a filling that is weighed with its centres has paste beside heavy ones.

    Parameters
    ----------
    least_paste_g : float
        Paste beside centres as heavy as 95 of 100 pieces have them [g].
    """
    return Finding(
        what=say("verify.paste-beside-heavy"),
        measured=least_paste_g,
        limit=say("verify.above-zero"),
        unit="g",
        source=say("verify.scatter-of-centres"),
        verdict=judged(good=least_paste_g > 0.0, otherwise=Verdict.WARN),
    )


PIXEL_MM: Final = 0.1
"""Side of a pixel: a sixth of the thinnest stroke that prints [mm]."""
FOOT_MM: Final = 1e-4
"""Height above the flat top from which the relief counts: its walls stand on their feet [mm]."""
CARVED_FOOT_MM: Final = 0.02
"""The same above a carved ground: its facets are nearer to it but for a thousandth [mm]."""
NEAR_ARTWORK_MM: Final = 2.0
"""On a carved face other parts are seen so far from the artwork [mm]."""
LEAST_OVERLAP: Final = 0.98
"""Least area that relief and artwork share, by the area that either covers."""


GroundHeights = Callable[[Points], Points]
"""Heights of the ground under a relief over the flat top's plane, shape (n, 2) to (n,) [mm]."""


def reading_finding(
    pastry: Mesh,
    *,
    artwork: BaseGeometry,
    flat_mm: float,
    depth_mm: float,
    ground: GroundHeights | None = None,
    foot_run_mm: float = CARVED_FOOT_MM,
) -> Finding:
    """Return whether the pastry's top matches the artwork; where mirrored it does not.

    What is compared is the intersection over the union of the two, rasterised at 0.1 mm. The pastry
    stands on z = 0, relief up, as the eater sees it; the flat top lies at `flat_mm`, and the relief
    is `depth_mm` above it, negative where it is sunk. On a carved face it stands on the ground, and
    is `CARVED_FOOT_MM` high from `foot_run_mm` inside its edge.
    """
    share = overlap_ratio(
        pastry,
        artwork=artwork,
        flat_mm=flat_mm,
        depth_mm=depth_mm,
        ground=ground,
        foot_run_mm=foot_run_mm,
    )
    return Finding(
        what=say("verify.relief-matches-artwork"),
        measured=share,
        limit=say("verify.at-least-of-area-shared", limit=LEAST_OVERLAP),
        unit="",
        source=say("verify.rasterised", pixel_mm=PIXEL_MM),
        verdict=judged(good=share >= LEAST_OVERLAP),
    )


def overlap_ratio(
    pastry: Mesh,
    *,
    artwork: BaseGeometry,
    flat_mm: float,
    depth_mm: float,
    ground: GroundHeights | None = None,
    foot_run_mm: float = CARVED_FOOT_MM,
) -> float:
    """Return the area that relief and artwork share by the area that either covers.

    A sunk relief is looked for within the artwork's own box and 1 mm around it, so that a
    rounded shoulder at the pastry's edge is not taken for relief. 1 where both are empty.
    """
    if ground is not None:
        sign = np.sign(depth_mm)
        return _overlap_on_ground(
            pastry, artwork, ground, flat_mm=flat_mm, sign=sign, foot_run_mm=foot_run_mm
        )
    low, high = pastry.bounds[:, :2]
    grid = grid_over(low, high, PIXEL_MM)
    rise = np.sign(depth_mm) * (top_heights_mm(_seen_from_above(pastry), grid) - flat_mm)
    asked = region_mask(artwork, grid)
    relief = (rise > FOOT_MM) & np.isfinite(rise)
    if depth_mm < 0.0:
        # A rounded shoulder lies lower than the flat top too; artwork never reaches it.
        relief &= region_mask(artwork.convex_hull, grid)
    return _shared(relief, asked)


def _overlap_on_ground(
    pastry: Mesh,
    artwork: BaseGeometry,
    ground: GroundHeights,
    *,
    flat_mm: float,
    sign: float,
    foot_run_mm: float,
) -> float:
    """Return the same on a carved face, around the artwork; the sign is 1 where it is raised."""
    grid = grid_over_shape(artwork.buffer(NEAR_ARTWORK_MM), PIXEL_MM)
    under = ground(grid.points_mm(np.ones(grid.shape, dtype=bool))).reshape(grid.shape)
    rise = sign * (top_heights_mm(_seen_from_above(pastry), grid) - flat_mm - under)
    # Fine artwork has hundreds of millimetres of edge: where its walls are not as high as the foot
    # yet is left out, or its sum would count as a fault.
    clear = ~region_mask(artwork.boundary.buffer(foot_run_mm), grid)
    relief = (rise > CARVED_FOOT_MM) & np.isfinite(rise)
    return _shared(relief & clear, region_mask(artwork, grid) & clear)


def _shared(relief: NDArray[np.bool_], asked: NDArray[np.bool_]) -> float:
    either = np.sum(relief | asked)
    return float(np.sum(relief & asked) / either) if either else 1.0


def _seen_from_above(solid: Mesh) -> Mesh:
    """Return a closed mesh without the facets that look down: above each of them lies another."""
    a, b, c = np.moveaxis(solid.corners[:, :, :2], 1, 0)
    twice_mm2 = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
    return Mesh(solid.vertices, solid.triangles[twice_mm2 >= 0.0])


LEAST_STROKE_MM: Final = 0.6
"""Narrowest stroke that dough fills; common practice, no source [mm]."""
WALL_LINES: Final = 2.0
"""Lines of plastic that a wall between two engravings needs; common practice, no source."""
FULL_MM: Final = 0.05
"""A stroke is at its full depth where it comes this close to it [mm]."""
LEAST_FULL_RATIO: Final = 0.25
"""Share of the relief that should reach its full depth; from memory, press the sampler."""


ReadWidths = tuple[float | None, float | None]
"""Narrowest stroke and gap that read in one's own dough; None where nobody looked [mm]."""


def least_widths_mm(
    *, line_mm: float, raised: bool, read_mm: ReadWidths = (None, None)
) -> tuple[float, float]:
    """Return the narrowest stroke and the narrowest gap of a relief.

    What stands out of the pastry is a groove in the stamp and needs one printed line and dough that
    fills it; what lies between two such grooves is a wall in the stamp and needs two lines. Sunk
    relief is the other way round. What reads in one's own dough takes the place of common practice,
    as far as it prints.

    Examples
    --------
    >>> least_widths_mm(line_mm=0.42, raised=True)
    (0.6, 0.84)
    """
    wall_mm = WALL_LINES * line_mm
    usual = (LEAST_STROKE_MM, wall_mm) if raised else (wall_mm, LEAST_STROKE_MM)
    printed = (line_mm, wall_mm) if raised else (wall_mm, line_mm)
    stroke_mm, gap_mm = (
        max(by_practice if own is None else own, least)
        for by_practice, least, own in zip(usual, printed, read_mm, strict=True)
    )
    return stroke_mm, gap_mm


def width_finding(
    what: Message,
    *,
    thinnest: tuple[float, float, float] | None,
    limit_mm: float,
    is_own: bool = False,
) -> Finding:
    """Return whether the thinnest stroke or gap is wide enough; `is_own` by one's own dough.

    `thinnest` is its width and its place x, y on the pastry; None where all are wide enough.
    """
    if thinnest is None:
        measured: float | Message = say("verify.wide-enough")
        limit = say("core.at-least", limit=limit_mm)
    else:
        measured, x_mm, y_mm = thinnest
        limit = say("verify.at-least-at-place", limit_mm=limit_mm, x_mm=x_mm, y_mm=y_mm)
    return Finding(
        what=what,
        measured=measured,
        limit=limit,
        unit="" if thinnest is None else "mm",
        source=say("verify.strokes-of-your-dough") if is_own else say("verify.strokes-by-practice"),
        verdict=judged(good=thinnest is None, otherwise=Verdict.WARN),
    )


def full_depth_finding(
    pastry: Mesh, *, flat_mm: float, depth_mm: float, artwork_mm2: float
) -> Finding:
    """Return which share of a flat relief reaches its full depth.

    Plateaus lie `depth_mm` above the flat top at `flat_mm`, below it where that is negative;
    `artwork_mm2` is the area that has this depth.
    """
    normals, areas_mm2 = normals_and_areas(pastry.corners)
    heights_mm = pastry.corners[:, :, 2]
    full = np.abs(heights_mm - flat_mm - depth_mm).max(axis=1) <= FULL_MM
    share = float((areas_mm2 * normals[:, 2])[full].sum() / artwork_mm2)
    return Finding(
        what=say("verify.share-at-full-depth", depth_mm=abs(depth_mm)),
        measured=share,
        limit=say("verify.at-least-narrow-stay-lower", limit=LEAST_FULL_RATIO),
        unit="",
        source=say("verify.memory-press-sampler"),
        verdict=judged(good=share >= LEAST_FULL_RATIO, otherwise=Verdict.WARN),
    )
