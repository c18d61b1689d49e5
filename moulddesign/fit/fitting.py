"""A mould that exists: from its measures to the weights that fit it; several moulds ranked."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

from moulddesign.core import Message, ml_from_mm3, mm3_from_ml, say
from moulddesign.design import Design, OwnedMould
from moulddesign.fit.cavities import (
    MeasuredCavity,
    SizedShape,
    cavity_from_sizes,
    cavity_from_water,
)
from moulddesign.fit.mesh_cavities import (
    MeasuredMould,
    cavities_from_mesh,
    cavity_from_press_meshes,
)
from moulddesign.fit.pieces import (
    RATIOS,
    FittingPiece,
    Window,
    designs_of_ratios,
    fitting_piece,
    fitting_pieces,
    windows,
)
from moulddesign.portion import Portion, figures

EQUAL_RATIO: Final = 0.002
"""Cavities hold the same where they differ by no more, which is less than a scale shows."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Fit:
    """What fits a mould that exists."""

    mould: OwnedMould
    """As it was measured; with meshes, with the bore's length and guide found in them."""
    cavities: tuple[tuple[MeasuredCavity, tuple[FittingPiece, ...]], ...]
    """Each cavity, the largest first, and the pieces that fill it."""
    windows: tuple[Window, ...]
    """Of a press mould, one for each ratio, without and with centres; empty for any other."""
    notes: tuple[Message, ...]
    """What was mended, what is odd about the size, centres too large for a press. How a cavity was
    measured is among the remarks of the cavity."""

    @property
    def equal_cavities(self) -> tuple[tuple[int, ...], ...]:
        """Cavities that follow one another and hold the same, as numbers from 0."""
        groups: list[tuple[int, ...]] = []
        for number, (cavity, _) in enumerate(self.cavities):
            held = self.cavities[groups[-1][0]][0].volume_mm3 if groups else 0.0
            if abs(cavity.volume_mm3 - held) <= EQUAL_RATIO * held:
                groups[-1] += (number,)
            else:
                groups.append((number,))
        return tuple(groups)

    def own_window(self, design: Design) -> Window | None:
        """Return the window of the design's own ratio, with its centres; None without one."""
        own = [w for w in self.windows if w.design.portion.ratio == design.portion.ratio]
        return own[-1] if own else None

    def own_piece(self, design: Design) -> FittingPiece:
        """Return the piece of the largest cavity in the design's own ratio, with its centres."""
        own = [r for r in self.cavities[0][1] if r.ratio == design.portion.ratio]
        return own[-1]

    def report(self, design: Design) -> dict[str, Any]:
        """Return everything as plain values."""
        main = self.own_window(design)
        return {
            "name": self.mould.name,
            "cavities": [_cavity_report(cavity, each) for cavity, each in self.cavities],
            "window": None
            if main is None
            else main.report() | {"rows": [w.report() for w in self.windows]},
            "notes": list(self.notes),
        }


def fit(
    design: Design,
    mould: OwnedMould,
    *,
    ratios: Sequence[str] = (),
    stage: Callable[[str], None] = lambda _: None,
) -> Fit:
    """Return the weights that fit a mould.

    Parameters
    ----------
    design : Design
        Loss, densities, centres, scale; its own ratio is among the rows.
    mould : OwnedMould
        The mould, known by sizes, water or mesh.
    ratios : sequence of str
        Ratios beside 2:8, 3:7, 4:6, 5:5 and the design's own.
    stage : callable
        Called with the name of each stage before it starts: reading, mending, checking, catchments,
        cavities, crust, weights.

    Raises
    ------
    SpecError
        The sizes do not go together, a ratio is none, or the mesh holds nothing that way up.
    FileError
        A file cannot be read, or its mesh bounds no solid.
    KernelError
        A geometry library could not do a step.
    """
    asked = tuple(dict.fromkeys((*RATIOS, design.portion.ratio, *ratios)))
    every = designs_of_ratios(design, asked)
    found = _measured(design, mould, stage)
    known = _with_found_lengths(mould, found)
    stage("weights")
    bore = found.cavities[0].bore
    limits, closed = ((), ()) if bore is None else windows(every, known, bore)
    return Fit(
        mould=known,
        cavities=tuple(
            (cavity, fitting_pieces(design, cavity, asked)) for cavity in found.cavities
        ),
        windows=limits,
        notes=(*found.notes, *closed),
    )


def _measured(design: Design, mould: OwnedMould, stage: Callable[[str], None]) -> MeasuredMould:
    if mould.stamp is not None:
        return cavity_from_press_meshes(mould, stage)
    if mould.mesh is not None:
        return cavities_from_mesh(mould, stage)
    cavity = cavity_from_water(mould, design) if mould.water_g else cavity_from_sizes(mould)
    return MeasuredMould(cavities=(cavity,), notes=())


def _with_found_lengths(mould: OwnedMould, found: MeasuredMould) -> OwnedMould:
    lengths = {"bore_length_mm": found.bore_length_mm, "guide_mm": found.guide_mm}
    missing = {k: v for k, v in lengths.items() if v is not None and getattr(mould, k) is None}
    return mould.model_copy(update=missing)


def _cavity_report(cavity: MeasuredCavity, each: tuple[FittingPiece, ...]) -> dict[str, Any]:
    mean = cavity.weighings
    return {
        "volume_ml": ml_from_mm3(cavity.volume_mm3),
        "volume_ml_sd": ml_from_mm3(cavity.volume_sd_mm3) if cavity.uncertainties else None,
        "doubts_ml": {each.name: ml_from_mm3(each.volume_mm3) for each in cavity.uncertainties},
        "depth_mm": None if cavity.shape is None else cavity.shape.height_mm,
        "water_g": None if mean is None else {"mean": mean.value, "sd": mean.seen_sd},
        "rows": [piece.report() for piece in each],
        "remarks": list(cavity.remarks),
    }


NEAR_RATIO: Final = 0.02
"""A piece fills a mould when their volumes differ by no more; our choice, as small as weighing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RankedMould:
    """A mould beside the portion asked for."""

    name: str
    """The mould, and which of its cavities where they differ."""
    volume_ml: float
    """What it holds."""
    over_ratio: float
    """By how much the portion is larger than what the mould takes, as a share; negative where it is
    smaller, 0 inside a press mould's window."""
    height_mm: float | None
    """Pressed height in a press mould."""
    crust_thickness_mm: float | None
    """Where the shape is known."""
    fills_raw_g: float | None
    """Raw weight of the piece that fills it; in a window, the portion's own."""
    fits: bool
    """Whether it takes the portion."""
    remarks: tuple[Message, ...]

    def report(self) -> dict[str, Any]:
        """Return it as plain values."""
        return {
            "name": self.name,
            "volume_ml": self.volume_ml,
            "over_ratio": self.over_ratio,
            "height_mm": self.height_mm,
            "crust_thickness_mm": self.crust_thickness_mm,
            "fills_raw_g": self.fills_raw_g,
            "takes": self.fits,
            "says": list(self.remarks),
        }


def ranked_moulds(
    design: Design,
    moulds: Sequence[OwnedMould],
    stage: Callable[[str], None] = lambda _: None,
) -> tuple[RankedMould, ...]:
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
    tuple of RankedMould
        Those that take the portion first, among them those without a remark; then by how far the
        portion is from filling each.

    Raises
    ------
    MouldError
        A mould cannot be measured, or the portion cannot be made.
    """
    piece = figures(design).piece
    found = [each for mould in moulds for each in _ranked_mould(design, piece, mould, stage=stage)]
    return tuple(sorted(found, key=_rank))


def _rank(each: RankedMould) -> tuple[bool, bool, float]:
    # Rounded, so that what fits equally well stays in the shelf's order.
    return (not each.fits, bool(each.remarks), round(abs(each.over_ratio), 3))


def _ranked_mould(
    design: Design, piece: Portion, mould: OwnedMould, *, stage: Callable[[str], None]
) -> tuple[RankedMould, ...]:
    stage(mould.name)
    made = fit(design, mould)
    window = made.own_window(design)
    if window is not None:
        return (_ranked_press(piece, made, window),)
    return tuple(
        _ranked_cavity(
            design, piece, made.cavities[numbers[0]][0], name=_cavity_name(made, numbers)
        )
        for numbers in made.equal_cavities
    )


def _cavity_name(made: Fit, numbers: Sequence[int]) -> str:
    if len(numbers) == len(made.cavities):
        return made.mould.name
    first, last = numbers[0] + 1, numbers[-1] + 1
    return f"{made.mould.name}, {first}" if first == last else f"{made.mould.name}, {first}-{last}"


def _ranked_cavity(
    design: Design, piece: Portion, cavity: MeasuredCavity, *, name: str
) -> RankedMould:
    """Return a cavity that takes one weight."""
    filling = fitting_piece(design, cavity)
    volume_ml = ml_from_mm3(cavity.volume_mm3)
    over = piece.volume_ml / volume_ml - 1.0
    return RankedMould(
        name=name,
        volume_ml=volume_ml,
        over_ratio=over,
        height_mm=None,
        crust_thickness_mm=filling.crust_thickness_mm,
        fills_raw_g=None if filling.piece is None else filling.piece.raw_g,
        fits=abs(over) <= NEAR_RATIO,
        remarks=(*_mould_remarks(over), *filling.remarks),
    )


def _ranked_press(piece: Portion, made: Fit, window: Window) -> RankedMould:
    """Return a press mould, which takes what lies in its window."""
    height_mm = window.height_of_mm(piece)
    nearest_mm = min(max(height_mm, window.least_mm), window.most_mm)
    volume_mm3 = window.bore.volume_mm3(nearest_mm)
    filling = fitting_piece(window.design, _at_height(made, window, nearest_mm))
    over = 0.0 if window.holds(height_mm) else mm3_from_ml(piece.volume_ml) / volume_mm3 - 1.0
    fits = abs(over) <= NEAR_RATIO
    return RankedMould(
        name=made.mould.name,
        volume_ml=ml_from_mm3(volume_mm3),
        over_ratio=over,
        height_mm=height_mm,
        crust_thickness_mm=filling.crust_thickness_mm,
        fills_raw_g=None if filling.piece is None else filling.piece.raw_g,
        fits=fits,
        remarks=(*_window_remarks(over), *filling.remarks),
    )


def _at_height(made: Fit, window: Window, height_mm: float) -> MeasuredCavity:
    return MeasuredCavity(
        volume_mm3=window.bore.volume_mm3(height_mm),
        uncertainties=(),
        shape=SizedShape(outline=window.bore.outline, height_mm=height_mm),
        relief_depth_mm=made.mould.relief_depth_mm,
    )


def _mould_remarks(over_ratio: float) -> tuple[Message, ...]:
    if abs(over_ratio) <= NEAR_RATIO:
        return ()
    if over_ratio > 0.0:
        return (say("fit.too-large-for-mould", over=over_ratio),)
    return (say("fit.too-small-for-mould", over=-over_ratio),)


def _window_remarks(over_ratio: float) -> tuple[Message, ...]:
    if abs(over_ratio) <= NEAR_RATIO:
        return ()
    if over_ratio > 0.0:
        return (say("fit.too-large-for-window", over=over_ratio),)
    return (say("fit.too-small-for-window", over=-over_ratio),)
