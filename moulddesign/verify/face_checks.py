"""Whether a carved face is what was asked for, measured on the written pastry."""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from moulddesign.core import DESIGN, OUR_CHOICE, PRACTICE, Finding, Message, Verdict, judged, say
from moulddesign.geometry import Mesh
from moulddesign.geometry.sampling import Grid, top_heights_mm
from moulddesign.verify.piece_checks import CUT_RATIO
from moulddesign.verify.pull import least_draft_deg

MOST_ERROR_MM: Final = 0.03
"""Largest height error; a seventh of a usual layer; our choice [mm]."""
USUAL_ERROR_MM: Final = 0.02
"""The same for all but a thousandth of the face [mm]."""
SHOWN_ERROR_MM: Final = 0.1
"""Half a usual layer: a print shows what is off by more [mm]."""
USUAL_SHARE: Final = 0.999
COVER_MM: Final = 0.2
"""A place counts as carved from so much above or below the ground: one usual layer [mm]."""
LEVEL_MM: Final = 0.4
"""Height of a level: two usual layers [mm]."""
LEVEL_SHARE: Final = 0.05
"""Share of the face that makes a level one."""
NARROW_SHARE: Final = 0.05
"""Share of the stamp's rim that is not judged: valleys between petals end in points; our choice."""
MOST_LOST_MM: Final = 0.2
"""What a print may lose at the rim: a usual layer, which a slope of 45 deg loses [mm]."""
MOVED_RATIO: Final = 0.25
"""Share of a carving's depth that its draft may move; our choice."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AskedHeights:
    """Heights that a face was asked to have, on pixels."""

    grid: Grid
    heights_mm: NDArray[np.float64]
    """Over the table, not a number under artwork and beside the face, shape `grid.shape`."""
    ground_mm: NDArray[np.float64]
    """The same of the bare ground, known under artwork too."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FaceFigures:
    """A carved face in figures."""

    error_mm: float
    """Largest height error."""
    usual_error_mm: float
    """Height error of all but a thousandth of the face."""
    covered_ratio: float
    """Share of the face that is a layer or more above or below its ground."""
    least_draft_deg: float
    """Least angle between the face and the pull direction, but for a thousandth of its area."""
    levels: int
    """Levels of 0.4 mm that make up at least a twentieth of the face each."""


def face_figures(pastry: Mesh, asked: AskedHeights) -> FaceFigures:
    """Return what is measured of a face on a pastry that stands on z = 0.

    Parameters
    ----------
    asked : AskedHeights
        At least one pixel of it is a number.
    """
    made = top_heights_mm(pastry, asked.grid)
    known = np.isfinite(asked.heights_mm) & np.isfinite(made)
    off = np.abs(made - asked.heights_mm)[known]
    over = (made - asked.ground_mm)[np.isfinite(asked.ground_mm) & np.isfinite(made)]
    _, counts = np.unique(np.rint(over / LEVEL_MM), return_counts=True)
    return FaceFigures(
        error_mm=float(off.max()),
        usual_error_mm=float(np.quantile(off, USUAL_SHARE)),
        covered_ratio=float(np.mean(np.abs(over) >= COVER_MM)),
        least_draft_deg=_least_draft_deg(pastry, float(np.nanmin(asked.heights_mm))),
        levels=int(np.sum(counts >= LEVEL_SHARE * len(over))),
    )


def _least_draft_deg(pastry: Mesh, lowest_mm: float) -> float:
    """Return the least draft of what looks upwards above a height; a side begins below it."""
    corners = pastry.corners
    upwards = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])[:, 2] > 0.0
    above = corners[:, :, 2].min(axis=1) > lowest_mm - MOST_ERROR_MM
    return least_draft_deg(corners[upwards & above], (0.0, 0.0, -1.0))


def face_finding(figures: FaceFigures) -> Finding:
    """Return whether the written face is the one that was asked for."""
    good = figures.error_mm <= MOST_ERROR_MM and figures.usual_error_mm <= USUAL_ERROR_MM
    shown = figures.error_mm > SHOWN_ERROR_MM
    remedy = say("verify.another-width") if shown else say("verify.no-layer-shows-it")
    return Finding(
        what=say("verify.face-error"),
        measured=figures.error_mm,
        limit=say("verify.at-most-and-usually", most_mm=MOST_ERROR_MM, usual_mm=USUAL_ERROR_MM),
        unit="mm",
        source=OUR_CHOICE,
        verdict=judged(good=good, otherwise=Verdict.FAIL if shown else Verdict.WARN),
        remedy=None if good else remedy,
    )


def crust_under_face_finding(*, least_mm: float, crust_mm: float) -> Finding:
    """Return whether the lowest places of a carved face leave enough of the crust.

    Parameters
    ----------
    least_mm : float
        Least crust under the face, at most 0 where it is cut through [mm].
    crust_mm : float
        Crust where the face lies on its ground [mm].
    """
    return Finding(
        what=say("verify.crust-under-face"),
        measured=least_mm,
        limit=say("core.at-least", limit=round(CUT_RATIO * crust_mm, 2)),
        unit="mm",
        source=PRACTICE,
        verdict=judged(
            good=least_mm >= CUT_RATIO * crust_mm,
            otherwise=Verdict.FAIL if least_mm <= 0.0 else Verdict.WARN,
        ),
    )


def moved_finding(
    *, moved_mm: float, at_mm: tuple[float, float], depth_mm: float, part: str
) -> Finding:
    """Return whether draft and rounding left a carving as its file has it.

    Parameters
    ----------
    moved_mm : float
        The most that they moved a height [mm].
    at_mm : tuple of float
        Where, x and y [mm].
    depth_mm : float
        Depth of the carving [mm].
    part : str
        Name of its file.
    """
    good = moved_mm <= MOVED_RATIO * depth_mm
    x_mm, y_mm = at_mm
    return Finding(
        what=say("verify.carving-moved"),
        part=part,
        measured=moved_mm,
        limit=say(
            "verify.at-most-of-depth-at", most_mm=MOVED_RATIO * depth_mm, x_mm=x_mm, y_mm=y_mm
        ),
        unit="mm",
        source=OUR_CHOICE,
        verdict=judged(good=good, otherwise=Verdict.WARN),
        remedy=None if good else say("verify.larger-or-flatter-carving"),
    )


def fine_repeats_finding(
    *, asked_mm: float, least_mm: float, width_mm: float, part: str
) -> Finding:
    """Return that a band asks for shorter repeats than print, so that it got fewer and longer ones.

    Parameters
    ----------
    width_mm : float
        From this width on its fill has repeats that print [mm].
    """
    return Finding(
        what=say("verify.repeat-length"),
        part=part,
        measured=asked_mm,
        limit=say("core.at-least", limit=least_mm),
        unit="mm",
        source=OUR_CHOICE,
        verdict=Verdict.WARN,
        remedy=say("verify.wider-band", width_mm=width_mm),
    )


def repeat_count_finding(*, asked: int, made: int, part: str) -> Finding:
    """Return that a band has another count of repeats than was asked for: they are whole."""
    return Finding(
        what=say("verify.band-repeats"),
        part=part,
        measured=float(made),
        limit=say("verify.asked-for", count=asked),
        unit="",
        source=DESIGN,
        verdict=Verdict.WARN,
        remedy=say("verify.whole-count", count=made),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class RimFigures:
    """What a stamp's rim is like under a carved face, but for the worst `NARROW_SHARE` of it."""

    tip_mm: float
    """The tip of a rib that is narrowest beside what it has to be."""
    needed_mm: float
    """What it has to be."""
    at_mm: tuple[float, float]
    """Where it is, x and y."""
    lost_mm: float
    """What a print loses in height at the rim."""

    @property
    def is_good(self) -> bool:
        """Whether ribs end wide enough, and a print loses no more than a layer."""
        return self.tip_mm >= self.needed_mm and self.lost_mm <= MOST_LOST_MM


def rim_findings(figures: RimFigures, remedy: Message | None) -> tuple[Finding, Finding]:
    """Return whether what a carved face leaves at the stamp's rim prints as it is drawn.

    Parameters
    ----------
    remedy : Message or None
        The smallest change that mends it, where it has to be mended and one is known.
    """
    x_mm, y_mm = figures.at_mm
    tip = Finding(
        what=say("verify.rim-tip"),
        measured=figures.tip_mm,
        limit=say("verify.at-least-at", least_mm=figures.needed_mm, x_mm=x_mm, y_mm=y_mm),
        unit="mm",
        source=OUR_CHOICE,
        verdict=judged(good=figures.tip_mm >= figures.needed_mm, otherwise=Verdict.WARN),
    )
    loss = Finding(
        what=say("verify.rim-loss"),
        measured=figures.lost_mm,
        limit=say("verify.at-most-slope", most_mm=MOST_LOST_MM),
        unit="mm",
        source=OUR_CHOICE,
        verdict=judged(good=figures.lost_mm <= MOST_LOST_MM, otherwise=Verdict.WARN),
    )
    first = tip if tip.verdict is Verdict.WARN else loss
    told = None if figures.is_good else remedy
    return (
        replace(tip, remedy=told if first is tip else None),
        replace(loss, remedy=told if first is loss else None),
    )
