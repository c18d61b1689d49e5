"""Whether the crust is thick enough all round, and whether the centres fit inside it."""

from collections.abc import Sequence
from typing import Final

from moulddesign.finding import Finding, Verdict, judged

LEAST_CRUST_MM: Final = 2.0
"""Crust nowhere thinner; common practice, no source [mm]."""
PRACTICE: Final = "common practice, no source"
CUT_RATIO: Final = 0.5
"""Largest share of the crust that sunk relief may take; common practice, no source."""
LEAST_PASTE_MM: Final = 1.0
"""Paste around a centre, so that it does not show; our choice [mm]."""


def crust_findings(*, thickness_mm: float, deepest_sunk_mm: float) -> tuple[Finding, ...]:
    """Return whether the crust holds, and whether sunk relief leaves enough of it.

    Parameters
    ----------
    thickness_mm : float
        Uniform crust thickness [mm].
    deepest_sunk_mm : float
        Depth of the deepest sunk relief below the flat top, 0 where there is none [mm].
    """
    thick = Finding(
        name="crust thickness",
        measured=thickness_mm,
        limit=f"at least {LEAST_CRUST_MM:g}",
        unit="mm",
        source=PRACTICE,
        verdict=judged(good=thickness_mm >= LEAST_CRUST_MM, otherwise=Verdict.WARN),
    )
    if deepest_sunk_mm == 0.0:
        return (thick,)
    share = deepest_sunk_mm / thickness_mm
    through = Verdict.FAIL if share >= 1.0 else Verdict.WARN
    return (
        thick,
        Finding(
            name="sunk relief as a share of the crust",
            measured=share,
            limit=f"at most {CUT_RATIO:g}; 1 cuts through",
            unit="",
            source=PRACTICE,
            verdict=judged(good=share <= CUT_RATIO, otherwise=through),
        ),
    )


def centre_findings(
    *, diameters_mm: Sequence[float], crust_mm: float, width_mm: float, height_mm: float
) -> tuple[Finding, ...]:
    """Return whether the centres, as balls side by side, fit inside the crust with paste around.

    Parameters
    ----------
    diameters_mm : sequence of float
        Of each centre; none gives no finding [mm].
    crust_mm : float
        Uniform crust thickness [mm].
    width_mm, height_mm : float
        Least extents of the pastry [mm].
    """
    if not diameters_mm:
        return ()
    within_mm = 2.0 * (crust_mm + LEAST_PASTE_MM)
    over_mm = max(
        max(diameters_mm) - (height_mm - within_mm), sum(diameters_mm) - (width_mm - within_mm)
    )
    return (
        Finding(
            name="room around the centres, inside crust and paste",
            measured=-over_mm / 2.0,
            limit=f"at least 0, with {LEAST_PASTE_MM:g} mm of paste on each side",
            unit="mm",
            source="the design: balls of the centres' mass and density, side by side",
            verdict=judged(good=over_mm <= 0.0, otherwise=Verdict.WARN),
        ),
    )
