"""A mould that exists: from its measures to the weights that fit it; several moulds ranked."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import hypot, sqrt
from typing import Any, Final

from moulddesign.core import Message, SpecError, ml_from_mm3, mm3_from_ml, say
from moulddesign.design import Design, Kind, OwnedMould, OwnTable
from moulddesign.fit.cavities import (
    MeasuredCavity,
    SizedShape,
    cavity_from_sizes,
    cavity_from_volume,
    cavity_from_water,
)
from moulddesign.fit.mesh_cavities import (
    MeasuredMould,
    cavities_from_mesh,
    cavity_from_press_meshes,
)
from moulddesign.fit.pieces import (
    CLOSE,
    NO_CRUST,
    NO_ROOM,
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

    def recommended(self, design: Design) -> FittingPiece | None:
        """Return the piece of the largest cavity to begin with; None where none can be made.

        The design's own, or where its crust, relief or centre does not fit the one nearest in crust
        whose does.
        """
        own, share = self.own_piece(design), design.portion.crust_share
        rows = self.cavities[0][1]
        good = [r for r in rows if r.piece is not None and {*r.remarks} <= {CLOSE}]
        alike = [r for r in good if r.has_centres == own.has_centres] or good
        if own in alike or not alike:
            return None if own.piece is None else own
        return min(alike, key=lambda r: abs(_crust_share(r) - share))

    def filled(self, design: Design) -> tuple[MeasuredCavity, FittingPiece]:
        """Return the largest cavity as a design's piece fills it, and that piece.

        A press mould's is as high as the design's weight presses it; another is full.
        """
        window = self.own_window(design)
        if window is None:
            return self.cavities[0][0], self.own_piece(design)
        cavity = _at_height(self, window, window.height_of_mm(figures(design).piece))
        return cavity, fitting_piece(window.design, cavity)

    def report(self, design: Design) -> dict[str, Any]:
        """Return everything as plain values."""
        main, best = self.own_window(design), self.recommended(design)
        return {
            "name": self.mould.name,
            "cavities": [_cavity_report(cavity, each) for cavity, each in self.cavities],
            "window": None
            if main is None
            else main.report() | {"rows": [w.report() for w in self.windows]},
            "recommended": None
            if best is None
            else {"ratio": best.ratio, "with_centre": best.has_centres},
            "notes": list(self.notes),
        }


def _crust_share(row: FittingPiece) -> float:
    """Return the share of crust in a piece that can be made, its centres left out."""
    piece = row.piece
    assert piece is not None  # noqa: S101 (asked of such pieces only)
    return piece.crust_g / (piece.crust_g + piece.filling_g)


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
        Nothing was measured, the sizes do not go together, a ratio is none, or the mesh holds
        nothing that way up.
    FileError
        A file cannot be read, or its mesh bounds no solid.
    KernelError
        A geometry library could not do a step.
    """
    if not mould.is_measured:
        raise SpecError("mould", mould.name, say("design.unknown-mould"))
    usual = RATIOS if design.portion.is_filled else ()
    asked = tuple(dict.fromkeys((*usual, design.portion.ratio, *ratios)))
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
    if mould.volume_ml is not None:
        cavity = cavity_from_volume(mould)
    elif mould.water_g:
        cavity = cavity_from_water(mould, design)
    else:
        cavity = cavity_from_sizes(mould)
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


BLOCKING: Final = frozenset({NO_ROOM, NO_CRUST})
"""Remarks beside which no mould takes a piece."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RankedMould:
    """A mould beside the portion asked for."""

    name: str
    """The mould, and which of its cavities where they differ."""
    volume_ml: float
    """What it holds."""
    tolerance_ml: float
    """How far the portion may be from that: twice the standard uncertainty of what it holds, and of
    the scale; 0 in a press mould, whose window counts."""
    over_ratio: float
    """By how much the portion is larger than what the mould takes, as a share; negative where it is
    smaller, 0 inside a press mould's window."""
    height_mm: float | None
    """Pressed height in a press mould."""
    crust_thickness_mm: float | None
    """Where the shape is known."""
    fills_raw_g: float | None
    """Raw weight of the piece that fills it; in a window, the portion's own."""
    fills_finished_g: float | None
    """The same when it is eaten."""
    fits: bool
    """Whether it takes the portion: never where the centre does not fit, or outside the window."""
    remarks: tuple[Message, ...]

    @property
    def is_blocked(self) -> bool:
        """Whether no weight makes the portion's kind of piece fit."""
        return not BLOCKING.isdisjoint(self.remarks)

    def report(self) -> dict[str, Any]:
        """Return it as plain values."""
        return {
            "name": self.name,
            "volume_ml": self.volume_ml,
            "tolerance_ml": self.tolerance_ml,
            "over_ratio": self.over_ratio,
            "height_mm": self.height_mm,
            "crust_thickness_mm": self.crust_thickness_mm,
            "fills_raw_g": self.fills_raw_g,
            "fills_finished_g": self.fills_finished_g,
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


def nearest_mould(found: Sequence[RankedMould]) -> RankedMould | None:
    """Return the mould whose own weight of the same piece is nearest; None where none takes it."""
    possible = [each for each in found if not each.is_blocked and each.fills_raw_g is not None]
    return min(possible, key=lambda each: abs(each.over_ratio), default=None)


def nearest_remark(found: Sequence[RankedMould]) -> Message | None:
    """Return what to weigh instead where no mould takes the portion; None where one does."""
    if any(each.fits for each in found):
        return None
    best = nearest_mould(found)
    if best is None or best.fills_raw_g is None or best.fills_finished_g is None:
        return say("fit.nothing-near")
    return say(
        "fit.nearest",
        mould=best.name,
        finished_g=best.fills_finished_g,
        raw_g=best.fills_raw_g,
    )


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
    found = tuple(
        _ranked_cavity(
            design, piece, made.cavities[numbers[0]][0], name=_cavity_name(made, numbers)
        )
        for numbers in made.equal_cavities
    )
    if made.cavities[0][0].bore is None:
        return found
    # A press without a window for this piece: its centre is higher than the press reaches.
    return tuple(
        replace(each, fits=False, remarks=(NO_ROOM, *made.notes, *each.remarks)) for each in found
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
    # What two pieces of neighbouring readings on the scale differ by cannot be told apart either.
    step_ml = design.scale.resolution_g / sqrt(12.0) * piece.volume_ml / piece.raw_g
    tolerance_ml = 2.0 * hypot(ml_from_mm3(cavity.volume_sd_mm3), step_ml)
    near = abs(piece.volume_ml - volume_ml) <= tolerance_ml
    return RankedMould(
        name=name,
        volume_ml=volume_ml,
        tolerance_ml=tolerance_ml,
        over_ratio=over,
        height_mm=None,
        crust_thickness_mm=filling.crust_thickness_mm,
        fills_raw_g=None if filling.piece is None else filling.piece.raw_g,
        fills_finished_g=None if filling.piece is None else filling.piece.finished_g,
        fits=near and BLOCKING.isdisjoint(filling.remarks),
        remarks=(*(() if near else _mould_remarks(over)), *filling.remarks),
    )


def _ranked_press(piece: Portion, made: Fit, window: Window) -> RankedMould:
    """Return a press mould, which takes what lies in its window."""
    height_mm = window.height_of_mm(piece)
    nearest_mm = min(max(height_mm, window.least_mm), window.most_mm)
    volume_mm3 = window.bore.volume_mm3(nearest_mm)
    filling = fitting_piece(window.design, _at_height(made, window, nearest_mm))
    inside = window.holds(height_mm)
    over = 0.0 if inside else mm3_from_ml(piece.volume_ml) / volume_mm3 - 1.0
    return RankedMould(
        name=made.mould.name,
        volume_ml=ml_from_mm3(volume_mm3),
        tolerance_ml=0.0,
        over_ratio=over,
        height_mm=height_mm,
        crust_thickness_mm=filling.crust_thickness_mm,
        fills_raw_g=None if filling.piece is None else filling.piece.raw_g,
        fills_finished_g=None if filling.piece is None else filling.piece.finished_g,
        fits=inside and BLOCKING.isdisjoint(filling.remarks),
        remarks=(*(() if inside else _window_remarks(over)), *filling.remarks),
    )


def _at_height(made: Fit, window: Window, height_mm: float) -> MeasuredCavity:
    return MeasuredCavity(
        volume_mm3=window.bore.volume_mm3(height_mm),
        uncertainties=(),
        shape=None
        if window.bore.outline is None
        else SizedShape(outline=window.bore.outline, height_mm=height_mm),
        relief_depth_mm=made.mould.rise_mm,
    )


def _mould_remarks(over_ratio: float) -> tuple[Message, ...]:
    if over_ratio > 0.0:
        return (say("fit.too-large-for-mould", over=over_ratio),)
    return (say("fit.too-small-for-mould", over=-over_ratio),)


def _window_remarks(over_ratio: float) -> tuple[Message, ...]:
    if over_ratio > 0.0:
        return (say("fit.too-large-for-window", over=over_ratio),)
    return (say("fit.too-small-for-window", over=-over_ratio),)


def fitted_design(design: Design, made: Fit, finished_g: float | None = None) -> Design:
    """Return the design of the piece that a mould takes, which holds that mould as its own.

    Parameters
    ----------
    design : Design
        Ratio, centres, densities, loss, batch.
    made : Fit
        The mould.
    finished_g : float, optional
        Weight to press a piece of [g]; what the largest cavity is full with where it is left out.

    Raises
    ------
    SpecError
        The mould does not take the weight or the centres, or a press mould needs a weight.
    """
    row, window = made.own_piece(design), made.own_window(design)
    if made.cavities[0][0].bore is not None and (window is None or finished_g is None):
        need = say("fit.weight-of-press") if window is not None else say("fit.no-room-for-centre")
        raise SpecError("weight", "not given" if finished_g is None else finished_g, need)
    if window is not None and finished_g is not None:
        piece = figures(design.with_values({FINISHED: finished_g})).piece
        if not window.holds(window.height_of_mm(piece)) or window.least is None:
            ends = [end for end in (window.least, window.most) if end is not None]
            low, high = (ends[n].finished_g if ends else 0.0 for n in (0, -1))
            need = say("fit.outside-window", least_g=low, most_g=high)
            raise SpecError("weight", finished_g, need)
    elif row.piece is None or not BLOCKING.isdisjoint(row.remarks):
        raise SpecError("portion.centres", made.mould.name, say("fit.no-room-for-centre"))
    else:
        finished_g = round(row.piece.finished_g, 2)  # far finer than any scale
    values = {FINISHED: finished_g, "mould": _own_values(made)}
    found = design.with_values(values | _known_sizes(made.mould))
    needed_g = figures(found).piece.finished_g
    if needed_g > finished_g * (1.0 + EQUAL_RATIO):
        need = say("fit.label-too-heavy", held_g=finished_g, needed_g=needed_g)
        raise SpecError("label.weight_g", design.label.weight_g, need)
    return found


def design_in(design: Design, mould: OwnedMould) -> Design:
    """Return the design of the piece that a mould takes, under a name of its own.

    A press takes the weight of the design, any other mould is filled. `fit` and `fitted_design` say
    what is raised.
    """
    made = fit(design, mould)
    is_press = made.own_window(design) is not None
    taken = fitted_design(design, made, design.portion.finished_weight_g if is_press else None)
    return Design.of({key: value for key, value in taken.plain().items() if key != "name"})


def fit_of_own(design: Design, stage: Callable[[str], None] = lambda _: None) -> Fit | None:
    """Return what the own mould of a design takes; None where nothing of it was measured.

    Raises
    ------
    SpecError
        The design has no mould of its own, or its piece is not what that one takes.
    """
    mould = design.own_mould
    if mould is None:
        raise SpecError("mould.kind", design.mould.kind.value, say("fit.not-own"))
    if not mould.is_measured:
        return None
    made = fit(design, mould, stage=stage)
    finished_g = design.portion.finished_weight_g
    taken = fitted_design(design, made, None if made.own_window(design) is None else finished_g)
    taken_g = taken.portion.finished_weight_g
    if abs(taken_g - finished_g) > EQUAL_RATIO * taken_g:
        need = say("fit.not-what-mould-takes", mould=mould.name, finished_g=taken_g)
        raise SpecError("portion.finished_weight_g", finished_g, need)
    return made


FINISHED: Final = "portion.finished_weight_g"
OF_MESH: Final = frozenset(
    {"mesh", "stamp", "unit", "up", "mend", "print_error_mm", "outline", "width_mm", "height_mm"}
)
"""Keys of a mould for which a design has what its mesh holds."""
KEPT_DIGITS: Final = 6


def _own_values(made: Fit) -> dict[str, Any]:
    """Return the mould as the design of its piece holds it: of a mesh what was found in it."""
    mould, cavity = made.mould, made.cavities[0][0]
    values = {key: value for key, value in mould.plain().items() if key in OwnTable.model_fields}
    if mould.mesh is not None:
        values = {key: value for key, value in values.items() if key not in OF_MESH}
        values |= {
            "volume_ml": ml_from_mm3(cavity.volume_mm3),
            "volume_sd_ml": ml_from_mm3(cavity.volume_sd_mm3),
            "cavities": len(made.equal_cavities[0]),
        }
        if cavity.bore is not None and cavity.shape is not None:
            values |= {"area_mm2": cavity.bore.area_mm2, "height_mm": cavity.shape.height_mm}
    rounded = {k: round(v, KEPT_DIGITS) if isinstance(v, float) else v for k, v in values.items()}
    return rounded | {"kind": Kind.OWN.value}


def _known_sizes(mould: OwnedMould) -> dict[str, Any]:
    """Return the pastry's shape where it is known wholly, so that a trial can measure heights."""
    plain: dict[str, Any] = {"face": None, "relief.layers": [], "further_stamps": []}
    if mould.mesh is not None or mould.width_mm is None or mould.rise_mm > 0.0:
        return plain
    if mould.draft_deg > 0.0:  # the pastry of a press stands upright
        return plain
    keys = ("outline", "width_mm", "corner_radius_mm", "lobes", "lobe_depth_mm",
            "shoulder_radius_mm")  # fmt: skip
    return plain | {f"pastry.{key}": getattr(mould, key) for key in keys}
