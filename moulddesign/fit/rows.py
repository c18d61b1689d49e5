"""The weights that fill a cavity, one row for each ratio, with and without the centres."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot
from typing import Any, Final

from moulddesign.check.crust import CUT_RATIO, LEAST_CRUST_MM, centre_findings
from moulddesign.design import Design
from moulddesign.errors import SpecError
from moulddesign.finding import Verdict
from moulddesign.fit.measured import Measured, crust_mm
from moulddesign.portion import Portion, Spread, balls, finished_filling_g, portion, spread
from moulddesign.units import ml_from_mm3, mm3_from_ml

RATIOS: Final = ("2:8", "3:7", "4:6", "5:5")
"""Crust to filling by mass, from thin to thick; common practice, no source."""
THIN: Final = f"The crust is under {LEAST_CRUST_MM:g} mm."
DEEP: Final = "The relief is deeper than half the crust."
NO_ROOM: Final = "The centre does not fit."
NO_CRUST: Final = "The filling alone needs all of the room without the relief."


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What one cause alone leaves open of the raw weight.

    Parameters
    ----------
    name : str
        The cause.
    volume_ml : float
        Standard uncertainty as a volume [mL].
    raw_g : float
        As a raw weight that fills the cavity [g].
    """

    name: str
    volume_ml: float
    raw_g: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """The piece of one ratio that fills a cavity.

    Parameters
    ----------
    ratio : str
        Crust to filling by mass.
    centred : bool
        Whether it holds the design's centres.
    piece : Portion or None
        None where the centres leave no room for crust and paste.
    crust_thickness_mm : float or None
        Uniform thickness; None where the shape is not known or no crust is left [mm].
    wrap_disc_mm : float or None
        Diameter of the disc of all the crust that wraps the filling's ball [mm].
    known : tuple of Known
        How well the raw weight is known, by cause.
    remarks : tuple of str
        Sentences.
    """

    ratio: str
    centred: bool
    piece: Portion | None
    crust_thickness_mm: float | None
    wrap_disc_mm: float | None
    known: tuple[Known, ...]
    remarks: tuple[str, ...]

    @property
    def raw_g_sd(self) -> float:
        """Standard uncertainty of the raw weight that fills the cavity [g]."""
        return hypot(*(cause.raw_g for cause in self.known))

    def report(self) -> dict[str, Any]:
        """Return it as plain values."""
        piece = self.piece
        masses = ("raw_g", "crust_g", "filling_g", "paste_g", "centre_g", "finished_g")
        return {
            "ratio": self.ratio,
            "with_centre": self.centred,
            **{name: None if piece is None else getattr(piece, name) for name in masses},
            "crust_thickness_mm": self.crust_thickness_mm,
            "wrap_disc_mm": self.wrap_disc_mm,
            "raw_g_sd": None if piece is None else self.raw_g_sd,
            "remarks": list(self.remarks),
        }


def rows(design: Design, cavity: Measured, ratios: Sequence[str] = RATIOS) -> tuple[Row, ...]:
    """Return the pieces that fill a cavity, one for each ratio, without and with the centres.

    Parameters
    ----------
    design : Design
        Loss, densities, centres, scale.
    cavity : Measured
        What is filled.
    ratios : sequence of str
        Crust to filling by mass.

    Raises
    ------
    SpecError
        A ratio is none.
    """
    return tuple(row(each, cavity) for each in kinds(design, ratios))


def kinds(design: Design, ratios: Sequence[str] = RATIOS) -> tuple[Design, ...]:
    """Return the design with each ratio, without and, where it has any, with its centres."""
    plain = design.with_values({"portion.centres": []})
    bases = (plain, design) if design.portion.centres else (plain,)
    return tuple(base.with_values({"portion.ratio": r}) for base in bases for r in ratios)


def filling_piece(design: Design, volume_mm3: float) -> Portion | None:
    """Return the piece of a design that fills a volume, None where its centres do not fit."""
    try:
        finished_g = finished_filling_g(design.portion, ml_from_mm3(volume_mm3))
    except SpecError:
        return None
    return portion(design.portion.model_copy(update={"finished_weight_g": finished_g}))


def row(design: Design, cavity: Measured) -> Row:
    """Return the piece of a design that fills a cavity, whatever the design's own weight."""
    piece = filling_piece(design, cavity.volume_mm3)
    ratio, centred = design.portion.ratio, bool(design.portion.centres)
    if piece is None:
        return Row(
            ratio=ratio, centred=centred, piece=None, crust_thickness_mm=None, wrap_disc_mm=None,
            known=(), remarks=(NO_ROOM,),
        )  # fmt: skip
    thickness_mm = _thickness_mm(cavity, piece)
    return Row(
        ratio=ratio,
        centred=centred,
        piece=piece,
        crust_thickness_mm=thickness_mm,
        wrap_disc_mm=balls(piece).disc_mm,
        known=_known(design, cavity, piece),
        remarks=_remarks(design, cavity, thickness_mm),
    )


def _thickness_mm(cavity: Measured, piece: Portion) -> float | None:
    if cavity.body is None:
        return None
    return crust_mm(cavity.body, mm3_from_ml(piece.volume_ml - piece.crust_ml))


def _remarks(design: Design, cavity: Measured, thickness_mm: float | None) -> tuple[str, ...]:
    body = cavity.body
    if body is None:
        return ()
    if thickness_mm is None:
        return (NO_CRUST,)
    diameters = [c.diameter_mm for c in design.portion.centres for _ in range(c.count)]
    room = centre_findings(
        diameters_mm=diameters,
        crust_mm=thickness_mm,
        width_mm=body.width_mm,
        height_mm=body.height_mm,
    )
    found = {
        THIN: thickness_mm < LEAST_CRUST_MM,
        DEEP: cavity.relief_depth_mm > CUT_RATIO * thickness_mm,
        NO_ROOM: any(f.verdict is not Verdict.GOOD for f in room),
    }
    return tuple(sentence for sentence, holds in found.items() if holds)


def _known(design: Design, cavity: Measured, piece: Portion) -> tuple[Known, ...]:
    """Return what leaves the raw weight open: the volume, the densities, the scale.

    The raw weight is linear in the volume, so a density that makes a piece larger by some
    volume takes as much off the weight as that volume holds.
    """
    # A mL more holds more crust and paste, in their ratio.
    without = design.with_values({"portion.centres": []})
    one_ml = filling_piece(without, mm3_from_ml(1.0))
    g_per_ml = 0.0 if one_ml is None else one_ml.raw_g
    scatter: Spread = spread(design, piece)
    volumes = [(d.name, ml_from_mm3(d.volume_mm3)) for d in cavity.doubts]
    volumes += [(c.name, c.volume_ml) for c in scatter.causes if "density" in c.name]
    scale = [
        Known(name="weighing: scale", volume_ml=0.0, raw_g=c.raw_g)
        for c in scatter.causes
        if c.name == "scale"
    ]
    return (
        *(Known(name=n, volume_ml=ml, raw_g=ml * g_per_ml) for n, ml in volumes if ml > 0.0),
        *scale,
    )
