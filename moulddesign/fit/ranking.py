"""Which of several moulds takes a portion."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

from moulddesign.design import Design
from moulddesign.design.shelf import OwnedMould
from moulddesign.fit.cup import Cup
from moulddesign.fit.fitting import Fit, fit
from moulddesign.fit.measured import Measured
from moulddesign.fit.rows import row
from moulddesign.fit.window import Window
from moulddesign.portion import Portion, portion
from moulddesign.units import ml_from_mm3, mm3_from_ml

NEAR_RATIO: Final = 0.02
"""A piece fills a mould when their volumes differ by no more; our choice, as small as weighing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ranked:
    """A mould beside the portion asked for.

    Parameters
    ----------
    name : str
        The mould, and which of its cavities where they differ.
    volume_ml : float
        What it holds [mL].
    over_ratio : float
        By how much the portion is larger than what the mould takes, as a share; negative where it
        is smaller, 0 inside a press mould's window.
    height_mm : float or None
        Pressed height in a press mould [mm].
    crust_thickness_mm : float or None
        Where the shape is known [mm].
    fills_raw_g : float or None
        Raw weight of the piece that fills it; in a window, the portion's own [g].
    takes : bool
        Whether it takes the portion.
    says : tuple of str
        Sentences.
    """

    name: str
    volume_ml: float
    over_ratio: float
    height_mm: float | None
    crust_thickness_mm: float | None
    fills_raw_g: float | None
    takes: bool
    says: tuple[str, ...]

    def report(self) -> dict[str, Any]:
        """Return it as plain values."""
        return {name: getattr(self, name) for name in self.__slots__} | {"says": list(self.says)}


def ranked(
    design: Design,
    moulds: Sequence[OwnedMould],
    stage: Callable[[str], None] = lambda _: None,
) -> tuple[Ranked, ...]:
    """Return moulds beside the portion asked for, the best first.

    Parameters
    ----------
    design : Design
        The portion: weight, ratio, centres.
    moulds : sequence of OwnedMould
        The shelf.
    stage : callable
        Called with the name of each mould before it is measured.

    Returns
    -------
    tuple of Ranked
        Those that take the portion first, among them those without a remark; then by how far the
        portion is from filling each.

    Raises
    ------
    MouldError
        A mould cannot be measured, or the portion cannot be made.
    """
    piece = portion(design.portion)
    found = [each for mould in moulds for each in _beside(design, piece, mould, stage=stage)]
    return tuple(sorted(found, key=_order))


def _order(each: Ranked) -> tuple[bool, bool, float]:
    # Rounded, so that what fits equally well stays in the shelf's order.
    return (not each.takes, bool(each.says), round(abs(each.over_ratio), 3))


def _beside(
    design: Design, piece: Portion, mould: OwnedMould, *, stage: Callable[[str], None]
) -> tuple[Ranked, ...]:
    stage(mould.name)
    made = fit(design, mould)
    window = made.window(design)
    if window is not None:
        return (_pressed(piece, made, window),)
    return tuple(
        _poured(design, piece, made.cavities[numbers[0]][0], name=_named(made, numbers))
        for numbers in made.alike
    )


def _named(made: Fit, numbers: Sequence[int]) -> str:
    if len(numbers) == len(made.cavities):
        return made.mould.name
    first, last = numbers[0] + 1, numbers[-1] + 1
    return f"{made.mould.name}, {first}" if first == last else f"{made.mould.name}, {first}-{last}"


def _poured(design: Design, piece: Portion, cavity: Measured, *, name: str) -> Ranked:
    """Return a mould that takes one weight."""
    filling = row(design, cavity)
    volume_ml = ml_from_mm3(cavity.volume_mm3)
    over = piece.volume_ml / volume_ml - 1.0
    return Ranked(
        name=name,
        volume_ml=volume_ml,
        over_ratio=over,
        height_mm=None,
        crust_thickness_mm=filling.crust_thickness_mm,
        fills_raw_g=None if filling.piece is None else filling.piece.raw_g,
        takes=abs(over) <= NEAR_RATIO,
        says=(*_too(over, "the mould"), *filling.remarks),
    )


def _pressed(piece: Portion, made: Fit, window: Window) -> Ranked:
    """Return a press mould, which takes what lies in its window."""
    height_mm = window.height_of_mm(piece)
    nearest_mm = min(max(height_mm, window.least_mm), window.most_mm)
    volume_mm3 = window.bore.volume_mm3(nearest_mm)
    filling = row(window.design, _at_height(made, window, nearest_mm))
    over = 0.0 if window.holds(height_mm) else mm3_from_ml(piece.volume_ml) / volume_mm3 - 1.0
    takes = abs(over) <= NEAR_RATIO
    return Ranked(
        name=made.mould.name,
        volume_ml=ml_from_mm3(volume_mm3),
        over_ratio=over,
        height_mm=height_mm,
        crust_thickness_mm=filling.crust_thickness_mm,
        fills_raw_g=None if filling.piece is None else filling.piece.raw_g,
        takes=takes,
        says=(*_too(over, "the window"), *filling.remarks),
    )


def _at_height(made: Fit, window: Window, height_mm: float) -> Measured:
    return Measured(
        volume_mm3=window.bore.volume_mm3(height_mm),
        doubts=(),
        body=Cup(outline=window.bore.outline, height_mm=height_mm),
        relief_depth_mm=made.mould.relief_depth_mm,
    )


def _too(over_ratio: float, what: str) -> tuple[str, ...]:
    if abs(over_ratio) <= NEAR_RATIO:
        return ()
    kind = "large" if over_ratio > 0.0 else "small"
    return (f"The portion is {abs(over_ratio):.0%} too {kind} for {what}.",)
