"""The pieces that fill a cavity, and the window of heights and weights of a press mould."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot
from typing import Any, Final

from moulddesign.core import (
    Message,
    SpecError,
    ml_from_mm3,
    mm3_from_ml,
    require_positive,
    say,
)
from moulddesign.design import Design, OwnedMould
from moulddesign.fit.cavities import Bore, MeasuredCavity, uniform_crust_mm
from moulddesign.pastry.interior import ring_reach_mm
from moulddesign.portion import (
    Portion,
    Spread,
    balls,
    finished_filling_g,
    finished_from_raw_g,
    known_centres,
    portion,
    spread,
)
from moulddesign.verify.piece_checks import CUT_RATIO, LEAST_CRUST_MM, LEAST_PASTE_MM

RATIOS: Final = ("2:8", "3:7", "4:6", "5:5")
"""Crust to filling by mass, from thin to thick; common practice, no source."""
THIN_CRUST: Final = say("fit.crust-thin", least_mm=LEAST_CRUST_MM)
DEEP_RELIEF: Final = say("fit.relief-in-crust")
NO_ROOM: Final = say("fit.centre-too-large")
CLOSE: Final = say("fit.centre-close", paste_mm=LEAST_PASTE_MM)
NO_CRUST: Final = say("fit.no-crust")


@dataclass(frozen=True, slots=True, kw_only=True)
class WeightUncertainty:
    """What one cause alone leaves open of the raw weight."""

    name: str
    """The cause."""
    volume_ml: float
    """Standard uncertainty as a volume, by this cause alone."""
    raw_g: float
    """The same as a raw weight that fills the cavity."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FittingPiece:
    """The piece of one ratio that fills a cavity."""

    ratio: str
    """Crust to filling by mass."""
    has_centres: bool
    """Whether it holds the design's centres."""
    piece: Portion | None
    """None where the centres leave no room for crust and paste."""
    crust_thickness_mm: float | None
    """Uniform; None where the shape is not known or no crust is left."""
    wrap_disc_mm: float | None
    """Diameter of the disc of all the crust that wraps the filling's ball."""
    uncertainties: tuple[WeightUncertainty, ...]
    """How well the raw weight is known, by cause."""
    remarks: tuple[Message, ...]

    @property
    def raw_g_sd(self) -> float:
        """Standard uncertainty of the raw weight that fills the cavity [g]."""
        return hypot(*(cause.raw_g for cause in self.uncertainties))

    def report(self) -> dict[str, Any]:
        """Return it as plain values."""
        piece = self.piece
        masses = ("raw_g", "crust_g", "filling_g", "paste_g", "centre_g", "finished_g")
        return {
            "ratio": self.ratio,
            "with_centre": self.has_centres,
            **{name: None if piece is None else getattr(piece, name) for name in masses},
            "crust_thickness_mm": self.crust_thickness_mm,
            "wrap_disc_mm": self.wrap_disc_mm,
            "raw_g_sd": None if piece is None else self.raw_g_sd,
            "remarks": list(self.remarks),
        }


def fitting_pieces(
    design: Design, cavity: MeasuredCavity, ratios: Sequence[str] = RATIOS
) -> tuple[FittingPiece, ...]:
    """Return the pieces that fill a cavity, one for each ratio, without and with the centres.

    Raises
    ------
    SpecError
        A ratio is none.
    """
    return tuple(fitting_piece(each, cavity) for each in designs_of_ratios(design, ratios))


def designs_of_ratios(design: Design, ratios: Sequence[str] = RATIOS) -> tuple[Design, ...]:
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


def fitting_piece(design: Design, cavity: MeasuredCavity) -> FittingPiece:
    """Return the piece of a design that fills a cavity, whatever the design's own weight."""
    piece = filling_piece(design, cavity.volume_mm3)
    ratio, has_centres = design.portion.ratio, bool(design.portion.centres)
    if piece is None:
        return FittingPiece(
            ratio=ratio, has_centres=has_centres, piece=None, crust_thickness_mm=None,
            wrap_disc_mm=None, uncertainties=(), remarks=(NO_ROOM,),
        )  # fmt: skip
    thickness_mm = _thickness_mm(cavity, piece)
    return FittingPiece(
        ratio=ratio,
        has_centres=has_centres,
        piece=piece,
        crust_thickness_mm=thickness_mm,
        wrap_disc_mm=balls(piece).disc_mm,
        uncertainties=_uncertainties(design, cavity, piece),
        remarks=_remarks(design, cavity, thickness_mm),
    )


def _thickness_mm(cavity: MeasuredCavity, piece: Portion) -> float | None:
    if cavity.shape is None or piece.filled_ml == 0.0:
        return None
    return uniform_crust_mm(cavity.shape, mm3_from_ml(piece.volume_ml - piece.crust_ml))


def _remarks(
    design: Design, cavity: MeasuredCavity, thickness_mm: float | None
) -> tuple[Message, ...]:
    shape = cavity.shape
    if shape is None or not design.portion.is_filled:
        return ()
    if thickness_mm is None:
        return (NO_CRUST,)
    centres = known_centres(design.portion)
    diameters = [c.diameter_mm for c in centres for _ in range(c.count)]
    # From the nearest ball to the outside of the piece.
    room_mm = min(
        (shape.height_mm - max(diameters, default=0.0)) / 2.0,
        shape.width_mm / 2.0 - ring_reach_mm(diameters),
    )
    # A soft one flattens: how far is not known, but not where its ball outgrows the whole piece.
    needed_mm = thickness_mm if any(c.rigid is True for c in centres) else 0.0
    found = {
        THIN_CRUST: thickness_mm < LEAST_CRUST_MM,
        DEEP_RELIEF: cavity.relief_depth_mm > CUT_RATIO * thickness_mm,
        NO_ROOM: bool(diameters) and room_mm < needed_mm,
        CLOSE: bool(diameters) and needed_mm <= room_mm < thickness_mm + LEAST_PASTE_MM,
    }
    return tuple(sentence for sentence, holds in found.items() if holds)


def _uncertainties(
    design: Design, cavity: MeasuredCavity, piece: Portion
) -> tuple[WeightUncertainty, ...]:
    """Return the uncertainty of the raw weight: by the volume, the densities, the scale."""
    # With given centres the raw weight is linear in the volume, and its slope is what a millilitre
    # of crust and paste weighs in their ratio. A density that makes the piece larger by some volume
    # takes as much off the weight as that volume holds, to first order.
    without = design.with_values({"portion.centres": []})
    one_ml = filling_piece(without, mm3_from_ml(1.0))
    g_per_ml = 0.0 if one_ml is None else one_ml.raw_g
    scatter: Spread = spread(design, piece)
    volumes = [(d.name, ml_from_mm3(d.volume_mm3)) for d in cavity.uncertainties]
    volumes += [(c.name, c.volume_ml) for c in scatter.common]
    scale = [
        WeightUncertainty(name="weighing: scale", volume_ml=0.0, raw_g=c.raw_g)
        for c in scatter.pieces
        if c.name == "scale"
    ]
    return (
        *(
            WeightUncertainty(name=n, volume_ml=ml, raw_g=ml * g_per_ml)
            for n, ml in volumes
            if ml > 0.0
        ),
        *scale,
    )


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Window:
    """Between which heights, and so which weights, a press mould presses one kind of piece."""

    design: Design
    """The kind of piece; its weight does not count."""
    bore: Bore
    least_mm: float
    """Least height to the flat top."""
    most_mm: float
    """Greatest height to the flat top."""
    least: Portion | None
    """The piece of the least height; None where the centres do not fit."""
    most: Portion | None
    """The piece of the greatest height."""

    def piece_at(self, height_mm: float) -> Portion | None:
        """Return the piece that is pressed to a height, None where its centres do not fit."""
        return filling_piece(self.design, self.bore.volume_mm3(height_mm))

    def height_of_mm(self, piece: Portion) -> float:
        """Return the height that a piece is pressed to [mm]."""
        return self.bore.height_mm(mm3_from_ml(piece.volume_ml))

    def holds(self, height_mm: float) -> bool:
        """Whether a height lies in the window."""
        return self.least_mm <= height_mm <= self.most_mm

    def report(self) -> dict[str, Any]:
        """Return it as plain values."""
        return {
            "ratio": self.design.portion.ratio,
            "with_centre": bool(self.design.portion.centres),
            "least_height_mm": self.least_mm,
            "most_height_mm": self.most_mm,
            "least_raw_g": None if self.least is None else self.least.raw_g,
            "most_raw_g": None if self.most is None else self.most.raw_g,
            "least_finished_g": None if self.least is None else self.least.finished_g,
            "most_finished_g": None if self.most is None else self.most.finished_g,
        }


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Pressing:
    """A piece at the height that it is pressed to."""

    height_mm: float
    """To the flat top."""
    piece: Portion
    inside: bool
    """Whether the height lies in the window."""

    def report(self) -> dict[str, Any]:
        """Return it as plain values."""
        return {
            "height_mm": self.height_mm,
            "raw_g": self.piece.raw_g,
            "finished_g": self.piece.finished_g,
            "inside_window": self.inside,
        }


def windows(
    designs: Sequence[Design], mould: OwnedMould, bore: Bore
) -> tuple[tuple[Window, ...], tuple[Message, ...]]:
    """Return the windows of kinds of pieces, and a remark where a centre is too large for any.

    Parameters
    ----------
    designs : sequence of Design
        Ratio, loss, densities, centres of each kind.
    mould : OwnedMould
        Its heights: the least, or relief, centre and twice the least crust; the most, or the
        bore's length less the guide.
    bore : Bore
        What it holds at each height.

    Raises
    ------
    SpecError
        The most is not above the least for any of them, or is not known.
    """
    spans = [(design, _least_mm(design, mould)) for design in designs]
    most_mm = _most_mm(mould)
    least_mm = min(low for _, low in spans)
    if most_mm <= least_mm:
        raise SpecError(
            "most_height_mm",
            round(most_mm, 3),
            say("fit.window-empty", least_mm=least_mm),
        )
    closed = {round(low, 1) for _, low in spans if low >= most_mm}
    return (
        tuple(_window(d, bore, least_mm=low, most_mm=most_mm) for d, low in spans if low < most_mm),
        tuple(
            say("fit.centre-above-window", least_mm=low, most_mm=most_mm) for low in sorted(closed)
        ),
    )


def pressings(
    window: Window | None, *, raw_g: Sequence[float], heights_mm: Sequence[float]
) -> tuple[Pressing, ...]:
    """Return the height of each raw weight, and the weight of each height.

    Parameters
    ----------
    window : Window or None
        Of a press mould and one kind of piece.
    raw_g : sequence of float
        Raw weights [g].
    heights_mm : sequence of float
        Heights to the flat top [mm].

    Raises
    ------
    SpecError
        There is no window, a value is not above 0, or the centres do not fit.
    """
    if window is None:
        if raw_g or heights_mm:
            raise SpecError("pressed", "asked for", say("fit.no-press"))
        return ()
    masses_g = [require_positive("pressed_weight", g, "g") for g in raw_g]
    pieces = [_piece_of_raw(window.design, mass_g) for mass_g in masses_g]
    pieces += [_piece_at(window, require_positive("pressed_height", h, "mm")) for h in heights_mm]
    heights = [window.height_of_mm(piece) for piece in pieces]
    return tuple(
        Pressing(height_mm=h, piece=piece, inside=window.holds(h))
        for h, piece in zip(heights, pieces, strict=True)
    )


def _piece_of_raw(design: Design, raw_g: float) -> Portion:
    return portion(design.portion, finished_from_raw_g(design.portion, raw_g))


def _piece_at(window: Window, height_mm: float) -> Portion:
    piece = window.piece_at(height_mm)
    if piece is None:
        raise SpecError("pressed_height", height_mm, say("fit.no-room-for-centre"))
    return piece


def _window(design: Design, bore: Bore, *, least_mm: float, most_mm: float) -> Window:
    return Window(
        design=design,
        bore=bore,
        least_mm=least_mm,
        most_mm=most_mm,
        least=filling_piece(design, bore.volume_mm3(least_mm)),
        most=filling_piece(design, bore.volume_mm3(most_mm)),
    )


def _least_mm(design: Design, mould: OwnedMould) -> float:
    """Return the least height given, or relief, the largest centre and twice the least crust."""
    if mould.least_height_mm is not None:
        return mould.least_height_mm
    diameters = [centre.diameter_mm for centre in known_centres(design.portion)]
    return mould.rise_mm + max(diameters, default=0.0) + 2.0 * LEAST_CRUST_MM


def _most_mm(mould: OwnedMould) -> float:
    if mould.most_height_mm is not None:
        return mould.most_height_mm
    if mould.bore_length_mm is None or mould.guide_mm is None:
        raise SpecError(
            "most_height_mm",
            "not given",
            say("fit.most-height-not-given"),
        )
    return mould.bore_length_mm - mould.guide_mm
