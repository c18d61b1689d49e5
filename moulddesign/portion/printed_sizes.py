"""What a press presses as it came off the printer, from caliper readings, and what to do about it.

The disc bears on the stop, the stop on the sleeve, and the stamp hangs under the plunger: a sleeve
or a stop that is too high ends the press too high, a stamp that is too thick too low. The plunger
counts as designed.
"""

from dataclasses import dataclass
from math import sqrt
from typing import Any, Final

from moulddesign.core import Message, SpecError, mm3_from_ml, say
from moulddesign.design import PressedPiece, SetFile, Tool
from moulddesign.design.mould_tables import LEAST_CLEARANCE_MM
from moulddesign.design.printers import ERROR_ROOM_MM

LEANS_MM: Final = 1.0
"""Largest drop across the piece that a leaning stamp leaves; our choice, as for a design [mm]."""

SHIM_STEP: Final = 2
"""Shims come in twos of layers."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PrintedSet:
    """A press as it was measured."""

    gap_mm: float
    """Between bore and stamp, each side [mm]."""
    drop_mm: float
    """How much higher one side of a piece may come out than the other [mm]."""
    stopped_mm: float
    """Height at which the stop ends the press, to the flat top or the face's ground [mm]."""
    height_mm: float
    """Height of a piece of the weight that it is for [mm]."""
    at_stop_g: float
    """Finished weight of what the press holds at its stop [g]."""
    asked_at_stop_g: float
    """The same as designed [g]."""
    at_stop_sd_g: float
    """Standard uncertainty of it, by the calipers alone [g]."""
    least_g: float
    most_g: float
    """Finished weights that the sleeve takes with other stops [g]."""
    is_good: bool
    to_do: Message
    """The one thing to do."""

    @property
    def sentences(self) -> tuple[Message, ...]:
        """What the prints are, before what is to be done."""
        held = say(
            "portion.printed-set",
            gap_mm=self.gap_mm,
            drop_mm=self.drop_mm,
            stopped_mm=self.stopped_mm,
            at_stop_g=self.at_stop_g,
            sd_g=self.at_stop_sd_g,
            asked_g=self.asked_at_stop_g,
        )
        takes = say(
            "portion.printed-range",
            height_mm=self.height_mm,
            least_g=self.least_g,
            most_g=self.most_g,
        )
        return held, takes

    def report(self) -> dict[str, Any]:
        """Return it as plain values."""
        return {
            "gap_mm": self.gap_mm,
            "drop_mm": self.drop_mm,
            "stopped_height_mm": self.stopped_mm,
            "height_mm": self.height_mm,
            "at_stop_g": self.at_stop_g,
            "at_stop_g_sd": self.at_stop_sd_g,
            "designed_at_stop_g": self.asked_at_stop_g,
            "sleeve_takes_g": [self.least_g, self.most_g],
            "good": self.is_good,
            "to_do": str(self.to_do),
        }


def printed_set(found: SetFile, folder: str) -> PrintedSet:
    """Return what a press is that was measured, and the one thing to do.

    Parameters
    ----------
    found : SetFile
        With its readings; a size that was not read counts as designed.
    folder : str
        Where the set lies, for the command that is told.

    Raises
    ------
    SpecError
        The file tells no piece, no sizes, or nothing was read.

    Notes
    -----
    The press holds V = s^2 (A h + t) at the height h: A is the area as designed, t what relief and
    edge add to the prism, s the width of the bore by that of the design. Weights go with volumes.
    """
    piece = found.piece
    if piece is None or found.readings is None:
        raise SpecError("readings", None, say("portion.nothing-measured"))
    read = {key: value for key, value in found.readings.plain().items() if value is not None}
    off = {
        key: read.get(key, found.size(key).mm) - found.size(key).mm
        for key in ("bore_mm", "sleeve_mm", "stamp_mm", "thickness_mm", "stop_mm")
    }
    bore_mm = found.size("bore_mm").mm
    layer_mm = piece.shim_layer_mm or found.size("stop_mm").within_mm
    grown: float = (1.0 + off["bore_mm"] / bore_mm) ** 2
    gap_mm = piece.clearance_mm + (off["bore_mm"] - off["stamp_mm"]) / 2.0
    stopped_mm = piece.stopped_mm + off["sleeve_mm"] + off["stop_mm"] - off["thickness_mm"]
    added_mm3 = mm3_from_ml(piece.volume_ml) - piece.area_mm2 * piece.height_mm
    g_per_mm3 = piece.finished_g / mm3_from_ml(piece.volume_ml)

    def held_g(height_mm: float, growth: float) -> float:
        return g_per_mm3 * growth * (piece.area_mm2 * height_mm + added_mm3)

    def height_for(weight_g: float) -> float:
        return (weight_g / g_per_mm3 / grown - added_mm3) / piece.area_mm2

    asked_g = held_g(piece.stopped_mm, 1.0)
    at_stop_g = held_g(stopped_mm, grown)
    sd_mm = Tool.CALIPER.sd_mm
    higher_g = g_per_mm3 * grown * piece.area_mm2 * sd_mm * sqrt(3.0)  # of three readings
    drop_mm = 2.0 * gap_mm * (bore_mm + off["bore_mm"]) / piece.guide_mm
    to_do = _to_do(
        piece,
        gap_mm=gap_mm,
        drop_mm=drop_mm,
        lower_mm=stopped_mm - height_for(asked_g),
        layer_mm=layer_mm,
        folder=folder,
    )
    return PrintedSet(
        gap_mm=gap_mm,
        drop_mm=drop_mm,
        stopped_mm=stopped_mm,
        height_mm=height_for(piece.finished_g),
        at_stop_g=at_stop_g,
        asked_at_stop_g=asked_g,
        at_stop_sd_g=sqrt(higher_g**2 + (2.0 * at_stop_g * sd_mm / bore_mm) ** 2),
        least_g=grown * piece.least_g,
        most_g=grown * piece.most_g,
        is_good=to_do is None,
        to_do=say("portion.print-is-good") if to_do is None else to_do,
    )


def _to_do(
    piece: PressedPiece,
    *,
    gap_mm: float,
    drop_mm: float,
    lower_mm: float,
    layer_mm: float,
    folder: str,
) -> Message | None:
    """Return what to do first, None where the prints are as they should be.

    A stamp that comes out as wide as this one has the right gap if it is drawn by as much narrower.
    """
    clearance_mm = max(2.0 * piece.clearance_mm - gap_mm, LEAST_CLEARANCE_MM)
    if gap_mm < ERROR_ROOM_MM:
        return say(
            "portion.stamp-sticks",
            gap_mm=gap_mm,
            narrower_mm=2.0 * (piece.clearance_mm - gap_mm),
            folder=folder,
            clearance_mm=clearance_mm,
        )
    if drop_mm > LEANS_MM and gap_mm > piece.clearance_mm:
        return say(
            "portion.stamp-leans",
            drop_mm=drop_mm,
            wider_mm=2.0 * (gap_mm - piece.clearance_mm),
            folder=folder,
            clearance_mm=clearance_mm,
        )
    layers = round(lower_mm / layer_mm)
    if layers > 0:
        return say("portion.stop-too-high", lower_mm=layers * layer_mm, folder=folder)
    twos = round(-lower_mm / layer_mm / SHIM_STEP)
    if twos > 0:
        return say("portion.stop-too-low", shim_mm=SHIM_STEP * twos * layer_mm)
    return None
