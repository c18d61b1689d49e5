"""A cavity from its inner sizes, and what their readings leave open."""

from collections.abc import Mapping
from typing import Any, Final

from moulddesign.design import Sense
from moulddesign.design.shelf import OwnedMould
from moulddesign.errors import SpecError
from moulddesign.fit.cup import Cup
from moulddesign.fit.measured import Bore, Doubt, Measured
from moulddesign.pastry.outline import Outline
from moulddesign.pastry.outline_kinds import of_width
from moulddesign.portion.limits import positive

COVER_SD: Final = 0.05
"""Standard uncertainty of the share that a relief covers, by eye; from memory, measure your own."""
DRAFT_SD_DEG: Final = 0.3
"""Standard uncertainty of a draft: half a degree either way, evenly spread; our choice [deg]."""
LEAST_WIDTH_MM: Final = 1.0
"""Narrowest mouth; our choice [mm]."""
STEP_RATIO: Final = 1e-3
"""Step of a size for its slope, as a share of it."""
NAMES: Final = {
    "width_mm": "width",
    "height_mm": "height",
    "corner_radius_mm": "corner radius",
    "lobe_depth_mm": "lobe depth",
    "shoulder_radius_mm": "shoulder",
    "relief_depth_mm": "relief depth",
    "relief_cover": "relief cover",
    "draft_deg": "side draft",
}
"""What each size is called."""
LENGTHS: Final = tuple(key for key in NAMES if key.endswith("_mm"))
"""Sizes that are read off a ruler or caliper."""


def from_sizes(mould: OwnedMould) -> Measured:
    """Return a cavity from its inner sizes.

    Parameters
    ----------
    mould : OwnedMould
        With its width, and its height; a press mould without one is taken at its greatest.

    Raises
    ------
    SpecError
        The sizes do not go together.
    FileError
        A drawn outline cannot be read.
    """
    sizes = mould.model_dump()
    sizes["height_mm"] = _height_mm(mould)
    cup = cup_of(sizes)
    bore = Bore(
        outline=cup.outline, beyond_mm3=cup.volume_mm3 - cup.outline.area_mm2 * cup.height_mm
    )
    return Measured(
        volume_mm3=cup.volume_mm3,
        doubts=_reading(sizes, cup.volume_mm3, mould.tool.sd_mm),
        body=cup,
        relief_depth_mm=mould.relief_depth_mm,
        bore=bore if mould.is_press else None,
        remarks=_notes(mould),
    )


def signed_depth_mm(mould: OwnedMould) -> float:
    """Return the relief's depth, negative where it is sunk [mm]."""
    return mould.relief_depth_mm * (1.0 if mould.sense is Sense.RAISED else -1.0)


def cup_of(sizes: Mapping[str, Any]) -> Cup:
    """Return the cavity of an `OwnedMould`'s values, its width and height among them.

    Raises
    ------
    SpecError
        The sizes do not go together.
    FileError
        A drawn outline cannot be read.
    """
    table = OwnedMould.model_construct(**sizes)
    return Cup(
        outline=_mouth(table, sizes["width_mm"]),
        height_mm=sizes["height_mm"],
        draft_deg=table.draft_deg,
        shoulder_radius_mm=table.shoulder_radius_mm,
        relief_depth_mm=signed_depth_mm(table),
        relief_cover=table.relief_cover,
    )


def _mouth(table: OwnedMould, width_mm: float) -> Outline:
    """Return the outline of the mouth; what is wrong with it is told of the mould's own fields."""
    if width_mm < LEAST_WIDTH_MM:
        raise SpecError("width_mm", width_mm, f"must be at least {LEAST_WIDTH_MM:g} mm")
    try:
        return of_width(table.outline_table, width_mm)
    except SpecError as error:
        field = error.field.removeprefix("pastry.")
        raise SpecError(field, error.value, error.need) from error


def _height_mm(mould: OwnedMould) -> float:
    if mould.height_mm is not None:
        return mould.height_mm
    if mould.most_height_mm is not None:
        return mould.most_height_mm
    if mould.bore_length_mm is not None and mould.guide_mm is not None:
        return positive("height_mm", mould.bore_length_mm - mould.guide_mm, "mm")
    raise SpecError("height_mm", "not given", "must be given, or most_height_mm")


def _reading(sizes: Mapping[str, Any], volume_mm3: float, sd_mm: float) -> tuple[Doubt, ...]:
    """Return what each size, read wrongly by its standard uncertainty, makes of the volume."""
    sds = dict.fromkeys(LENGTHS, sd_mm) | {"relief_cover": COVER_SD, "draft_deg": DRAFT_SD_DEG}
    slopes = {key: _slope(sizes, key, volume_mm3) for key in sds if sizes[key] > 0.0}
    return tuple(
        Doubt(name=NAMES[key], volume_mm3=abs(slope) * sds[key])
        for key, slope in slopes.items()
        if slope != 0.0
    )


def _slope(sizes: Mapping[str, Any], key: str, volume_mm3: float) -> float:
    """Return the volume's change over a size's: a step down, for then what fitted still fits."""
    step = STEP_RATIO * sizes[key]
    return float((volume_mm3 - cup_of({**sizes, key: sizes[key] - step}).volume_mm3) / step)


def _notes(mould: OwnedMould) -> tuple[str, ...]:
    if mould.relief_depth_mm == 0.0:
        return ()
    counted = f"The relief counts as {mould.relief_cover:.0%} of the flat top at full depth"
    return (f"{counted}; sloping walls make it less.",)
