"""What the weighings of a trial bake say: loss and density as they are, and new weights."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import zip_longest
from math import fsum, hypot, sqrt
from os import PathLike
from typing import Any, Final

from moulddesign.core import (
    PRACTICE,
    FileError,
    FileMistakesError,
    Message,
    Mistake,
    SpecError,
    ml_from_mm3,
    mm3_from_ml,
    read_cell,
    read_csv,
    require_positive,
    say,
)
from moulddesign.design import Design, PortionTable, Table, given
from moulddesign.kitchen.samples import Estimate, estimate
from moulddesign.portion import (
    Portion,
    TrialMould,
    figures,
    finished_filling_g,
    finished_from_raw_g,
    loss_from_weighing,
    portion,
)

WEIGHED: Final = ("raw_g", "finished_g")
"""Columns that each piece needs."""
SIZES_MM: Final = (
    "height_mm", "released_mm", "baked_width_mm", "baked_height_mm", "relief_left_mm",
)  # fmt: skip
"""Columns that may be left out."""
WEIGHING_COLUMNS: Final = (*WEIGHED, *SIZES_MM)


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighing:
    """One piece of a trial bake.

    Raises
    ------
    SpecError
        A value is not above 0, or the piece gained weight.
    """

    raw_g: float
    """Before baking."""
    finished_g: float
    """When eaten."""
    height_mm: float | None = None
    """Pressed height to the flat top, read while the stamp still presses."""
    released_mm: float | None = None
    """The same height once the piece lies free: dough springs back."""
    baked_width_mm: float | None = None
    """Across, along x, when it is eaten."""
    baked_height_mm: float | None = None
    """To the flat top, when it is eaten."""
    relief_left_mm: float | None = None
    """Depth of the relief that is left when it is eaten."""

    def __post_init__(self) -> None:
        require_positive("raw_g", self.raw_g, "g")
        require_positive("finished_g", self.finished_g, "g")
        for field in SIZES_MM:
            size_mm = getattr(self, field)
            if size_mm is not None:
                require_positive(field, size_mm, "mm")
        if self.finished_g > self.raw_g:
            need = say("portion.gains-weight", raw_g=self.raw_g)
            raise SpecError("finished_g", self.finished_g, need)

    @property
    def needs_mould(self) -> bool:
        """Whether a size was measured that is compared with the mould's."""
        sizes = ("height_mm", "baked_width_mm", "baked_height_mm", "relief_left_mm")
        return any(getattr(self, size) is not None for size in sizes)


class WeighedPiece(Table):
    """One piece of a trial bake, as a form asks for it and a table holds it."""

    raw_g: float = given(..., "Before baking", unit="g", gt=0, le=10_000, main=True)
    finished_g: float = given(
        ..., "The same piece when it is eaten", unit="g", gt=0, le=10_000, main=True
    )
    height_mm: float | None = given(
        None, "Its height to the flat top, read while the stamp presses", unit="mm",
        gt=0, le=400, main=True,
    )  # fmt: skip
    released_mm: float | None = given(
        None, "The same height when the piece lies free", unit="mm", gt=0, le=400, main=True
    )
    baked_width_mm: float | None = given(
        None, "Its width when it is eaten", unit="mm", gt=0, le=400, main=True
    )
    baked_height_mm: float | None = given(
        None, "Its height to the flat top when it is eaten", unit="mm", gt=0, le=400, main=True
    )
    relief_left_mm: float | None = given(
        None, "Depth of its relief when it is eaten", unit="mm", gt=0, le=20, main=True
    )


def typed_weighings(
    raw_g: Sequence[float],
    finished_g: Sequence[float],
    height_mm: Sequence[float] = (),
    released_mm: Sequence[float] = (),
    **baked_mm: Sequence[float],
) -> tuple[Weighing, ...]:
    """Return weighings from lists with one value a piece; sizes may be left out altogether.

    `baked_mm` are those of the sizes of the baked piece, by their names.

    Raises
    ------
    SpecError
        The lists differ in length, or a piece's values cannot be used; its number is named.
    """
    sizes = {"height_mm": height_mm, "released_mm": released_mm, **baked_mm}
    columns = (raw_g, finished_g, *(sizes.get(name, ()) for name in SIZES_MM))
    counts = [len(column) for column in columns]
    if len(finished_g) != len(raw_g) or not {*counts[2:]} <= {0, len(raw_g)}:
        said = ["{} raw", "{} finished", "{} heights", "{} released heights"]
        said += [f"{{}} {name.removesuffix('_mm').replace('_', ' ')}s" for name in SIZES_MM[2:]]
        shown = [text.format(n) for text, n in zip(said, counts, strict=True)]
        kept = shown[:4] + [text for text, n in zip(shown[4:], counts[4:], strict=True) if n]
        raise SpecError("trial", ", ".join(kept), say("kitchen.weighings-uneven"))
    return tuple(
        _piece(number, dict(zip(WEIGHING_COLUMNS, row, strict=True)))
        for number, row in enumerate(zip_longest(*columns), start=1)
    )


def _piece(number: int, values: dict[str, float]) -> Weighing:
    try:
        return Weighing(**values)
    except SpecError as error:
        raise SpecError(f"piece {number} {error.field}", error.value, error.need) from error


def read_weighings(path: str | PathLike[str]) -> tuple[Weighing, ...]:
    """Return the weighings in a CSV file.

    Parameters
    ----------
    path : str or path-like
        A CSV table with the heads raw_g, finished_g and perhaps height_mm, released_mm,
        baked_width_mm, baked_height_mm and relief_left_mm; decimal points, or decimal
        commas where no comma separates the cells.

    Returns
    -------
    tuple of Weighing
        In the file's order; empty lines are passed over.

    Raises
    ------
    FileError
        The file cannot be read, or a column is missing.
    FileMistakesError
        Cells are no numbers, or rows no pieces.
    """
    table = read_csv(path, advice=say("kitchen.weighings-are-short"))
    if not table.rows:
        raise FileError(str(path), say("kitchen.weighings-missing"))
    heads = [head.lower() for head in table.heads]
    missing = [name for name in WEIGHED if name not in heads]
    if missing:
        reason = say("kitchen.weighings-heads", missing=tuple(missing), heads=table.heads)
        raise FileError(str(path), reason)
    pieces: list[Weighing] = []
    mistakes: list[Mistake] = []
    for row in table.rows:
        values, wrong = _cells(heads, row.cells, table.separator)
        if not wrong:
            try:
                pieces.append(Weighing(**values))
            except SpecError as error:
                wrong = [error]
        mistakes += [Mistake(row.number, error) for error in wrong]
    if mistakes:
        raise FileMistakesError(str(path), tuple(mistakes))
    return tuple(pieces)


def _cells(
    heads: list[str], row: tuple[str, ...], separator: str
) -> tuple[dict[str, float], list[SpecError]]:
    """Return a row's numbers by column, and what is wrong in it."""
    if len(row) != len(heads):
        need = say("kitchen.weighings-cells", heads=len(heads))
        return {}, [SpecError("cells", len(row), need)]
    cells = dict(zip(heads, (cell.strip() for cell in row), strict=True))
    values: dict[str, float] = {}
    wrong: list[SpecError] = []
    for name in WEIGHING_COLUMNS:
        cell = cells.get(name, "")
        if not cell and name in WEIGHED:
            wrong.append(SpecError(name, cell, say("kitchen.weighing-incomplete")))
        if not cell:
            continue
        try:
            values[name] = read_cell(name, cell, "g" if name.endswith("_g") else "mm", separator)
        except SpecError as error:
            wrong.append(error)
    return values, wrong


CORRECTED_DECIMALS: Final = 6
"""Of the corrected figures, so that a baker can read the file; far finer than they are known."""

TRIED: Final = "-trial"
"""What a corrected design's name ends with, so that it never takes the first one's place."""

LONGEST_NAME: Final = 80 - len(TRIED)

RULER_MM: Final = 0.3
"""Standard deviation of a height read off a ruler; from memory, measure your own [mm]."""

OTHER_PIECE: Final = 1.5
"""A piece so many times as heavy or as light as the design's is another one: for its mass it has an
eighth less surface, or more, through which it loses. Common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Trial:
    """What the weighings of a trial bake say, and the ways on from there."""

    loss: Estimate
    """Share of the raw mass lost."""
    density_g_per_ml: Estimate | None
    """Of the pressed piece with its centres and trapped air; None without heights under load."""
    springback_mm: Estimate | None
    """By how much pieces rise when they are released; None where it was not measured. It is no
    matter of density, so nothing is corrected by it."""
    width_ratio: Estimate | None
    """Baked width over the mould's; this and the next two None where it was not measured."""
    height_ratio: Estimate | None
    """Baked height over the pressed one."""
    relief_ratio: Estimate | None
    """Depth of the relief left over that of the stamp."""
    corrected: Design
    """The design with loss and densities as they were found, for the weight it asks for. Its volume
    is another, so a mould made from it is a new one."""
    same_mould: Design
    """The same for the mould that exists: the finished weight is what fills its volume."""
    volume_ml: float
    """Of the mould that exists, at its nominal height."""
    pressed_mm: float | None
    """Height to which the weight that was asked for presses in that mould; None where its size is
    not known."""
    remarks: tuple[Message, ...]
    """What speaks against the weighings."""


def trial(design: Design, weighings: Sequence[Weighing], mould: TrialMould | None = None) -> Trial:
    """Return what the weighings of a trial bake say.

    Parameters
    ----------
    design : Design
        What the pieces were made by.
    weighings : sequence of Weighing
        At least one piece.
    mould : TrialMould or None
        The mould, needed where heights were measured.

    Returns
    -------
    Trial
        Outliers are named and never dropped.

    Raises
    ------
    SpecError
        There is no piece, a height has no mould, or what was found cannot be a piece of food.
    """
    if not weighings:
        raise SpecError("weighings", "none", say("kitchen.no-weighings"))
    step_g = design.scale.resolution_g / sqrt(12.0)
    losses = [loss_from_weighing(w.raw_g, w.finished_g) for w in weighings]
    reading = [hypot(step_g, step_g * w.finished_g / w.raw_g) / w.raw_g for w in weighings]
    loss = estimate(losses, reading, design.portion.loss_sd)
    density = _density(design, weighings, mould)
    ratios = _baked_ratios(weighings, mould)
    corrected = _corrected(design, weighings, loss=loss, density=density, ratios=ratios)
    volume_ml = figures(design).piece.volume_ml if mould is None else mould.volume_ml
    filling_g = finished_filling_g(corrected.portion, volume_ml)
    return Trial(
        loss=loss,
        density_g_per_ml=density,
        springback_mm=_springback(weighings),
        **ratios,
        corrected=corrected,
        same_mould=corrected.with_values(
            {"portion.finished_weight_g": filling_g, "mould": design.mould.plain()}
        ),
        volume_ml=volume_ml,
        pressed_mm=None if mould is None else _pressed_mm(corrected, mould),
        remarks=_other_piece(figures(design).piece, weighings),
    )


def _other_piece(piece: Portion, weighings: Sequence[Weighing]) -> tuple[Message, ...]:
    """Return what is to be said of the mass that is farthest from the design's."""
    ratio, number, field = max(
        (max(mass_g / asked_g, asked_g / mass_g), number, field)
        for number, weighing in enumerate(weighings, start=1)
        for field in WEIGHED
        for mass_g, asked_g in [(getattr(weighing, field), getattr(piece, field))]
    )
    if ratio <= OTHER_PIECE:
        return ()
    return (
        say(
            "kitchen.other-piece",
            number=number,
            field=field,
            mass_g=getattr(weighings[number - 1], field),
            asked_g=getattr(piece, field),
            most=OTHER_PIECE,
            source=PRACTICE,
        ),
    )


def _pressed_mm(corrected: Design, mould: TrialMould) -> float:
    """Return the height to which a piece of the corrected design presses in a mould."""
    more_mm3 = mm3_from_ml(figures(corrected).piece.volume_ml - mould.volume_ml)
    return mould.height_mm + more_mm3 / mould.area_mm2


def _springback(weighings: Sequence[Weighing]) -> Estimate | None:
    rises_mm = [
        w.released_mm - w.height_mm
        for w in weighings
        if w.height_mm is not None and w.released_mm is not None
    ]
    # Both heights are read off the same ruler; one or two pieces say no more than that.
    reading_mm = sqrt(2.0) * RULER_MM
    return estimate(rises_mm, [reading_mm] * len(rises_mm), 0.0) if rises_mm else None


def _baked_ratios(
    weighings: Sequence[Weighing], mould: TrialMould | None
) -> dict[str, Estimate | None]:
    """Return what baking leaves of width, height and relief, by the names of the ratios."""
    size = mould or TrialMould(volume_ml=1.0, height_mm=1.0, area_mm2=1.0)
    return {
        "width_ratio": _baked_ratio(
            "baked_width_mm", [(w.baked_width_mm, size.width_mm) for w in weighings]
        ),
        "height_ratio": _baked_ratio(
            "baked_height_mm",
            [
                (w.baked_height_mm, w.height_mm or (None if mould is None else mould.height_mm))
                for w in weighings
            ],
        ),
        "relief_ratio": _baked_ratio(
            "relief_left_mm", [(w.relief_left_mm, size.relief_mm) for w in weighings]
        ),
    }


def _baked_ratio(field: str, pairs: Sequence[tuple[float | None, float | None]]) -> Estimate | None:
    """Return the mean of baked over pressed sizes; None where nothing baked was measured."""
    ratios, readings = [], []
    for baked_mm, pressed_mm in pairs:
        if baked_mm is None:
            continue
        if pressed_mm is None:
            need = say("kitchen.no-size-to-compare")
            if field == "relief_left_mm":
                need = say("kitchen.no-relief-to-compare")
            raise SpecError(field, baked_mm, need)
        ratios.append(baked_mm / pressed_mm)
        readings.append(RULER_MM / pressed_mm)
    return estimate(ratios, readings, 0.0) if ratios else None


def _density(
    design: Design, weighings: Sequence[Weighing], mould: TrialMould | None
) -> Estimate | None:
    measured = [(w.raw_g, w.height_mm) for w in weighings if w.height_mm is not None]
    if not measured:
        return None
    if mould is None:
        raise SpecError("height_mm", measured[0][1], say("kitchen.height-without-mould"))
    step_g = design.scale.resolution_g / sqrt(12.0)
    values, readings = [], []
    for raw_g, height_mm in measured:
        volume = mould.volume_at_ml(height_mm)
        values.append(raw_g / volume)
        ruler = ml_from_mm3(mould.area_mm2 * RULER_MM) / volume
        readings.append(raw_g / volume * hypot(step_g / raw_g, ruler))
    # One or two pieces cannot show how densities scatter: they are taken as uncertain as before.
    made = figures(design)
    expected_ratio = made.spread.common_volume_ml / made.piece.volume_ml
    return estimate(values, readings, expected_ratio * fsum(values) / len(values))


def _corrected(
    design: Design,
    weighings: Sequence[Weighing],
    *,
    loss: Estimate,
    density: Estimate | None,
    ratios: Mapping[str, Estimate | None],
) -> Design:
    """Return the design with loss and baked sizes as found, and its densities changed alike."""
    values = {
        "portion.loss": loss.value,
        "portion.loss_sd": loss.sd,
        "portion.loss_uncertainty": loss.uncertainty,
    }
    if density is not None:
        raw_g = fsum(w.raw_g for w in weighings) / len(weighings)
        factor = _density_factor(design.portion, raw_g, density.value)
        share = density.uncertainty / density.value
        for part in ("crust", "filling"):
            found = factor * getattr(design.portion, f"{part}_density").g_per_ml
            values[f"portion.{part}_density_g_per_ml"] = found
            values[f"portion.{part}_density_sd_g_per_ml"] = share * found
    for name, ratio in ratios.items():
        if ratio is not None:
            values |= {f"dough.{name}": ratio.value, f"dough.{name}_sd": ratio.sd}
    rounded: dict[str, Any] = {k: round(v, CORRECTED_DECIMALS) for k, v in values.items()}
    name = f"{design.name.removesuffix(TRIED)[:LONGEST_NAME]}{TRIED}"
    # What keeps the weight and not the mould asks for a new one.
    new: dict[str, Any] = {} if design.own_mould is None else {"mould": {}}
    return design.with_values(rounded | {"name": name} | new)


def _density_factor(table: PortionTable, raw_g: float, mean_g_per_ml: float) -> float:
    """Return the factor by which crust and paste are denser than the design says."""
    # The mean mass over the mean density is the volume; less the trapped air and the centres,
    # which are as given, it is the room that crust and paste really took. One height cannot tell
    # the two apart, so both densities change by the factor of planned over real volume.
    piece = _piece_of_raw(table, raw_g)
    room_ml = raw_g / mean_g_per_ml * (1.0 - table.trapped_air) - piece.centre_ml
    if room_ml <= 0.0:
        density = f"{mean_g_per_ml:.4g} g/mL"
        raise SpecError("height_mm", density, say("kitchen.height-leaves-no-room"))
    return (piece.crust_ml + piece.paste_ml) / room_ml


def _piece_of_raw(table: PortionTable, raw_g: float) -> Portion:
    return portion(table, finished_from_raw_g(table, raw_g))
