"""The window of a press mould: which heights and weights it presses."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from moulddesign.check.crust import LEAST_CRUST_MM
from moulddesign.design import Design
from moulddesign.design.shelf import OwnedMould
from moulddesign.errors import SpecError
from moulddesign.fit.measured import Bore
from moulddesign.fit.rows import filling_piece
from moulddesign.portion import Portion, portion
from moulddesign.portion.limits import positive
from moulddesign.units import mm3_from_ml


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Window:
    """Between which heights, and so which weights, a press mould presses one kind of piece.

    Parameters
    ----------
    design : Design
        The kind of piece; its weight does not count.
    bore : Bore
        Of the mould.
    least_mm, most_mm : float
        Heights to the flat top [mm].
    least, most : Portion or None
        The pieces of these heights; None where the centres do not fit.
    """

    design: Design
    bore: Bore
    least_mm: float
    most_mm: float
    least: Portion | None
    most: Portion | None

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
    """A piece at the height that it is pressed to.

    Parameters
    ----------
    height_mm : float
        To the flat top [mm].
    piece : Portion
        Its weights.
    inside : bool
        Whether the height lies in the window.
    """

    height_mm: float
    piece: Portion
    inside: bool

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
) -> tuple[tuple[Window, ...], tuple[str, ...]]:
    """Return the windows of kinds of pieces, and a sentence where a centre is too large for any.

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
            f"must be above the least height of {least_mm:.4g} mm, which is relief and twice the "
            "crust where it is not given",
        )
    closed = {f"{low:.1f}" for _, low in spans if low >= most_mm}
    return (
        tuple(_window(d, bore, least_mm=low, most_mm=most_mm) for d, low in spans if low < most_mm),
        tuple(
            f"A piece with the centre is at least {low} mm high, and the press reaches "
            f"{most_mm:.1f} mm: the centre does not fit."
            for low in sorted(closed)
        ),
    )


def pressings(
    limits: Window | None, *, raw_g: Sequence[float], heights_mm: Sequence[float]
) -> tuple[Pressing, ...]:
    """Return the height of each raw weight, and the weight of each height.

    Parameters
    ----------
    limits : Window or None
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
    if limits is None:
        if raw_g or heights_mm:
            raise SpecError("pressed", "asked for", "needs a press mould: add --most-height")
        return ()
    pieces = [_piece_of_raw(limits.design, positive("pressed_weight", g, "g")) for g in raw_g]
    pieces += [_piece_at(limits, positive("pressed_height", h, "mm")) for h in heights_mm]
    heights = [limits.height_of_mm(piece) for piece in pieces]
    return tuple(
        Pressing(height_mm=h, piece=piece, inside=limits.holds(h))
        for h, piece in zip(heights, pieces, strict=True)
    )


def _piece_of_raw(design: Design, raw_g: float) -> Portion:
    finished_g = raw_g * (1.0 - design.portion.loss)
    return portion(design.with_values({"portion.finished_weight_g": finished_g}).portion)


def _piece_at(limits: Window, height_mm: float) -> Portion:
    piece = limits.piece_at(height_mm)
    if piece is None:
        raise SpecError(
            "pressed_height", height_mm, "leaves no room for the centre with crust and paste"
        )
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
    diameters = [centre.diameter_mm for centre in design.portion.centres]
    return mould.relief_depth_mm + max(diameters, default=0.0) + 2.0 * LEAST_CRUST_MM


def _most_mm(mould: OwnedMould) -> float:
    if mould.most_height_mm is not None:
        return mould.most_height_mm
    if mould.bore_length_mm is None or mould.guide_mm is None:
        raise SpecError(
            "most_height_mm",
            "not given",
            "must be given for the window of a press mould, or bore_length_mm and guide_mm",
        )
    return mould.bore_length_mm - mould.guide_mm
