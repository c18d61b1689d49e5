"""What has to be true of an assembled press, as findings."""

from typing import Final

import numpy as np

from moulddesign.check.assembly import (
    Press,
    closed_cavity_mm3,
    face_mm,
    interference_mm,
    overlap_beside_joint_mm2,
)
from moulddesign.check.soundness import volume_finding
from moulddesign.finding import Finding, judged
from moulddesign.probing import overlaps_mm3

DESIGN: Final = "the design"
CAVITY_RATIO: Final = 0.002
"""Largest deviation of the closed cavity from the target, as a share."""
GAP_MM: Final = 0.02
"""Largest deviation of a gap or an interference from the one asked for [mm]."""
NOISE_MM3: Final = 0.1
"""Two faces of 100 cm^2 that touch overlap by this for float32 steps of 7.6e-6 mm [mm^3]."""
POSITIONS: Final = 9
"""Positions of the stroke at which the overlap is cut out."""


def press_findings(
    press: Press, *, target_mm3: float, clearance_mm: float, past_rim_mm: float, width_mm: float
) -> tuple[Finding, ...]:
    """Return whether an assembled press holds the portion, slides, and lets the pastry go.

    Parameters
    ----------
    press : Press
        The three meshes in assembly pose, the stamp at its nominal height.
    target_mm3 : float
        Volume of the pastry [mm^3].
    clearance_mm : float
        Gap asked for between stamp and bore, each side [mm].
    past_rim_mm : float
        How far the stamp's face has to come out of the bore at the table [mm].
    width_mm : float
        Width of the pastry, for the drop across it [mm].

    Raises
    ------
    KernelError
        A mesh is not closed.
    """
    return (
        volume_finding(
            name="closed cavity of the assembled press",
            measured_mm3=closed_cavity_mm3(press.sleeve, press.stamp),
            target_mm3=target_mm3,
            within_ratio=CAVITY_RATIO,
            source=DESIGN,
        ),
        _gap(press, clearance_mm),
        _overlap(press),
        _past_rim(press, past_rim_mm),
        _drop(press, width_mm),
    )


def peg_findings(press: Press, *, interference_asked_mm: float) -> tuple[Finding, ...]:
    """Return whether the plunger's peg holds in the stamp's pocket, and meets it only there.

    Parameters
    ----------
    press : Press
        The three meshes in assembly pose.
    interference_asked_mm : float
        How much wider the peg is than its pocket, on the diameter [mm].
    """
    measured_mm = interference_mm(press.stamp, press.plunger)
    beside_mm2 = overlap_beside_joint_mm2(press.stamp, press.plunger)
    return (
        _within("peg wider than its pocket", measured_mm, interference_asked_mm),
        Finding(
            name="plunger and stamp overlap beside the joint",
            measured=beside_mm2,
            limit="0 within 0.1 (round-off)",
            unit="mm2",
            source=DESIGN,
            verdict=judged(good=beside_mm2 <= NOISE_MM3),
        ),
    )


def _gap(press: Press, clearance_mm: float) -> Finding:
    return _within("least gap over the whole stroke", press.least_gap_mm, clearance_mm)


def _overlap(press: Press) -> Finding:
    worst_mm3 = _worst_overlap_mm3(press)
    return Finding(
        name=f"overlap of sleeve and plunger at {POSITIONS} positions of the stroke",
        measured=worst_mm3,
        limit=f"0 within {NOISE_MM3:g} (round-off)",
        unit="mm3",
        source=DESIGN,
        verdict=judged(good=worst_mm3 <= NOISE_MM3),
    )


def _worst_overlap_mm3(press: Press) -> float:
    travel_mm = press.travel_mm if np.isfinite(press.travel_mm) else 0.0
    shifts_mm = np.zeros((POSITIONS, 3))
    shifts_mm[1:, 2] = np.linspace(-travel_mm, press.lift_mm, POSITIONS - 1)
    parts = (press.stamp, press.plunger)
    return max(
        float(overlaps_mm3(p, press.sleeve, shifts_mm, step="the stroke").max()) for p in parts
    )


def _past_rim(press: Press, past_rim_mm: float) -> Finding:
    out_mm = press.travel_mm - face_mm(press.stamp)
    return Finding(
        name="stamp past the rim when the pastry is pushed out",
        measured=out_mm if np.isfinite(out_mm) else "nothing stops it",
        limit=f"{past_rim_mm:g} within {GAP_MM:g}",
        unit="mm" if np.isfinite(out_mm) else "",
        source=DESIGN,
        verdict=judged(good=abs(out_mm - past_rim_mm) <= GAP_MM),
    )


def _drop(press: Press, width_mm: float) -> Finding:
    """Return the drop: the stamp leans by twice the gap over its guided length."""
    guide_mm = press.guide_mm
    drop_mm = 2.0 * press.least_gap_mm * width_mm / guide_mm if guide_mm > 0.0 else np.inf
    return Finding(
        name="drop across the pastry when the stamp leans",
        measured=float(drop_mm) if np.isfinite(drop_mm) else "not guided",
        limit="at most 1",
        unit="mm" if np.isfinite(drop_mm) else "",
        source="small-angle tilt: width times twice the gap by the guided length",
        verdict=judged(good=drop_mm <= 1.0),
    )


def _within(name: str, measured_mm: float, asked_mm: float) -> Finding:
    return Finding(
        name=name,
        measured=measured_mm,
        limit=f"{asked_mm:g} within {GAP_MM:g}",
        unit="mm",
        source=DESIGN,
        verdict=judged(good=abs(measured_mm - asked_mm) <= GAP_MM),
    )
