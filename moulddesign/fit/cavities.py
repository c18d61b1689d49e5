"""A cavity as it was measured, by its inner sizes or the water that fills it.

Its volume, and what lies deeper than a crust.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from math import cos, hypot, radians, sqrt, tan
from typing import Any, Final, Protocol

import numpy as np
import shapely
from scipy.optimize import brentq

from moulddesign.artwork.outline import QUARTER_CHORDS, Outline, outline_of_width
from moulddesign.core import SpecError, mm3_from_ml, require_positive
from moulddesign.design import Design, OwnedMould, Sense
from moulddesign.geometry import Points
from moulddesign.kitchen import Mean, mean_of
from moulddesign.pastry.pastry import shoulder_drop_mm
from moulddesign.portion import LEVEL_SPREAD, water_density_g_per_ml


class Body(Protocol):
    """The shape of a cavity, as far as a crust needs it."""

    @property
    def width_mm(self) -> float:
        """Least extent across [mm]."""

    @property
    def height_mm(self) -> float:
        """Rim to floor [mm]."""

    def inside_mm3(self, thickness_mm: float) -> float:
        """Return the volume that lies deeper than a thickness [mm^3]."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Doubt:
    """What one cause alone makes of the volume.

    Parameters
    ----------
    name : str
        The cause, in words.
    volume_mm3 : float
        Standard uncertainty of the volume [mm^3].
    """

    name: str
    volume_mm3: float


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Bore:
    """A press mould's bore, in which the pressed height follows the volume.

    Parameters
    ----------
    outline : Outline
        Of the bore.
    beyond_mm3 : float
        Volume beyond area times height: relief less shoulder [mm^3].
    """

    outline: Outline
    beyond_mm3: float

    def volume_mm3(self, height_mm: float) -> float:
        """Return what it holds with the stamp's flat face at a height, exact [mm^3]."""
        return self.outline.area_mm2 * height_mm + self.beyond_mm3

    def height_mm(self, volume_mm3: float) -> float:
        """Return the height to the flat top at which it holds a volume, exact [mm]."""
        return (volume_mm3 - self.beyond_mm3) / self.outline.area_mm2


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Measured:
    """A cavity as it was measured.

    Parameters
    ----------
    volume_mm3 : float
        What it holds [mm^3].
    doubts : tuple of Doubt
        How well that is known, by cause.
    body : Body or None
        Its shape, where it is known.
    relief_depth_mm : float
        Depth of the relief, 0 where there is none or it is not known [mm].
    bore : Bore or None
        Where it is a press mould.
    remarks : tuple of str
        Sentences on how it was measured.
    weighings : Mean or None
        Mass of the water that fills it [g].
    """

    volume_mm3: float
    doubts: tuple[Doubt, ...]
    body: Body | None
    relief_depth_mm: float = 0.0
    bore: Bore | None = None
    remarks: tuple[str, ...] = ()
    weighings: Mean | None = None

    @property
    def volume_sd_mm3(self) -> float:
        """Standard uncertainty of the volume, causes taken as independent [mm^3]."""
        return hypot(*(doubt.volume_mm3 for doubt in self.doubts))


def crust_mm(body: Body, filled_mm3: float) -> float | None:
    """Return the thickness of a crust that is the same under wall, floor and mouth.

    Parameters
    ----------
    body : Body
        The cavity.
    filled_mm3 : float
        Volume inside the crust [mm^3].

    Returns
    -------
    float or None
        None where the filling alone needs all of the room [mm].
    """
    if filled_mm3 >= body.inside_mm3(0.0):
        return None

    def left_mm3(thickness_mm: float) -> float:
        return body.inside_mm3(thickness_mm) - filled_mm3

    return float(brentq(left_mm3, 0.0, body.height_mm / 2.0, xtol=1e-6))


NODES: Final = np.polynomial.legendre.leggauss(16)
"""Abscissas and weights of Gauss and Legendre between -1 and 1."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Cup:
    """A cavity as its sizes describe it, the mouth down on the table z = 0, the floor up.

    Parameters
    ----------
    outline : Outline
        Of the mouth; with draft, its widest section.
    height_mm : float
        Mouth to the flat floor, which makes the pastry's flat top [mm].
    draft_deg : float
        How far the side leans in from the pull direction, 0 for an upright one [deg].
    shoulder_radius_mm : float
        Radius of the rounded edge of the floor, an arc from the flat down to 45 deg at the side;
        0 is sharp [mm].
    relief_depth_mm : float
        How far the relief stands out of the pastry's top; negative where it is sunk [mm].
    relief_cover : float
        Share of the flat top that it covers, counted at full depth.

    Raises
    ------
    SpecError
        The side or the shoulder leaves no flat top, or the relief is deeper than the cavity.
    """

    outline: Outline
    height_mm: float
    draft_deg: float = 0.0
    shoulder_radius_mm: float = 0.0
    relief_depth_mm: float = 0.0
    relief_cover: float = 0.0

    def __post_init__(self) -> None:
        if shoulder_drop_mm(self.shoulder_radius_mm) >= self.height_mm:
            raise SpecError(
                "shoulder_radius_mm",
                self.shoulder_radius_mm,
                f"is deeper than the cavity of {self.height_mm:g} mm; measure again",
            )
        if self.top_mm2 <= 0.0:
            field = "draft_deg" if self.draft_deg > 0.0 else "shoulder_radius_mm"
            raise SpecError(field, getattr(self, field), "leaves no flat top; measure again")
        if -self.relief_depth_mm >= self.height_mm:
            raise SpecError(
                "relief_depth_mm",
                -self.relief_depth_mm,
                f"cuts through the cavity of {self.height_mm:g} mm; measure again",
            )

    @property
    def volume_mm3(self) -> float:
        """Volume with its relief [mm^3]."""
        return self.inside_mm3(0.0) + self.relief_mm3

    @property
    def relief_mm3(self) -> float:
        """Volume of the relief: depth times the area that it covers, negative where sunk [mm^3]."""
        return self.relief_depth_mm * self.relief_cover * self.top_mm2

    @property
    def top_mm2(self) -> float:
        """Area of the flat top, inside side and shoulder [mm^2]."""
        return float(self._areas_mm2(np.array([self._shoulder_inset_mm]))[0])

    @property
    def width_mm(self) -> float:
        """Least extent across, half-way up [mm]."""
        lean = tan(radians(self.draft_deg)) * self.height_mm
        return min(self.outline.width_mm, self.outline.depth_mm) - lean

    def inside_mm3(self, thickness_mm: float) -> float:
        """Return the volume that lies deeper than a thickness under side, floor and mouth.

        Parameters
        ----------
        thickness_mm : float
            0 for the whole; the relief is not regarded [mm].

        Returns
        -------
        float
            Integral of the sections' areas, each an inset of the outline [mm^3]. For a convex
            outline it is exact but for round-off and the chords of the outline's arcs.
        """
        low, high = thickness_mm, self.height_mm - thickness_mm
        if high <= low:
            return 0.0
        bends = [z for z in self._bends_mm(thickness_mm) if low < z < high]
        ends = np.array([low, *sorted(bends), high])
        z, weights = _nodes(ends[:-1], ends[1:])
        return float(weights @ self._areas_mm2(self._insets_mm(z, thickness_mm)))

    @property
    def _lean(self) -> float:
        return tan(radians(self.draft_deg))

    @property
    def _shoulder_inset_mm(self) -> float:
        """Where the flat top begins, and the shoulder's arc has its centre [mm]."""
        edge_mm = self.height_mm - shoulder_drop_mm(self.shoulder_radius_mm)
        return edge_mm * self._lean + self.shoulder_radius_mm * sqrt(0.5)

    def _insets_mm(self, z: Points, thickness_mm: float) -> Points:
        """Return how far the sections at some heights lie inside the outline of the mouth."""
        side = z * self._lean + thickness_mm / cos(radians(self.draft_deg))
        if self.shoulder_radius_mm == 0.0:
            return side
        # Moved in by t the arc keeps its centre and has the radius r - t; beyond its 45 deg end,
        # and where t has used it up, the plane that touched it there bounds the rest.
        radius = self.shoulder_radius_mm - thickness_mm
        rise = z - (self.height_mm - self.shoulder_radius_mm)
        arc = np.sqrt(np.maximum(radius**2 - rise**2, 0.0))
        plane = sqrt(2.0) * radius - rise
        out = np.where((radius > 0.0) & (rise >= radius * sqrt(0.5)), arc, plane)
        return np.maximum(side, self._shoulder_inset_mm - out)

    def _bends_mm(self, thickness_mm: float) -> tuple[float, float]:
        """Return the heights at which the side meets the shoulder, and its plane the arc."""
        radius = self.shoulder_radius_mm - thickness_mm
        centre = self.height_mm - self.shoulder_radius_mm
        wall = thickness_mm / cos(radians(self.draft_deg))
        meet = wall - self._shoulder_inset_mm + sqrt(2.0) * radius + centre
        return meet / (1.0 - self._lean), centre + max(radius, 0.0) * sqrt(0.5)

    def _areas_mm2(self, insets_mm: Points) -> Points:
        distinct, rows = np.unique(insets_mm, return_inverse=True)
        inside = shapely.buffer(self.outline.shape, -distinct, quad_segs=QUARTER_CHORDS)
        areas: Points = shapely.area(inside)[rows]
        return areas


def _nodes(low: Points, high: Points) -> tuple[Points, Points]:
    """Return points and weights that integrate over spans, in which a root may end upright.

    With z = high - (high - low) (1 - s)^2 a square root at the upper end is smooth in s.
    """
    s, weights = (NODES[0] + 1.0) / 2.0, NODES[1] / 2.0
    span = (high - low)[:, None]
    z = high[:, None] - span * (1.0 - s) ** 2
    return z.reshape(-1), (span * 2.0 * (1.0 - s) * weights).reshape(-1)


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
        return outline_of_width(table.outline_table, width_mm)
    except SpecError as error:
        field = error.field.removeprefix("pastry.")
        raise SpecError(field, error.value, error.need) from error


def _height_mm(mould: OwnedMould) -> float:
    if mould.height_mm is not None:
        return mould.height_mm
    if mould.most_height_mm is not None:
        return mould.most_height_mm
    if mould.bore_length_mm is not None and mould.guide_mm is not None:
        return require_positive("height_mm", mould.bore_length_mm - mould.guide_mm, "mm")
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


MOST_WATER_G: Final = 100_000.0
"""Most water of a mould, a hundred litres; our choice [g]."""
APART_RATIO: Final = 0.1
"""Volumes by sizes and by water that differ by more are pointed at; our choice."""


def from_water(mould: OwnedMould, design: Design) -> Measured:
    """Return a cavity from the water that fills it.

    Parameters
    ----------
    mould : OwnedMould
        With at least one weighing; its width gives a press mould's bore, and the crust's shape:
        of a straight-sided piece of the same volume, where no height is given.
    design : Design
        For the scale's step.

    Returns
    -------
    Measured
        Mass over the density of water; the air's buoyancy of 0.1 % is left out.

    Raises
    ------
    SpecError
        A weighing is not above the empty mould, or the water is ice or steam.
    """
    mean = _weighed(mould, design.scale.resolution_g)
    per_g = mm3_from_ml(1.0) / water_density_g_per_ml(mould.at_c)
    volume_mm3 = mean.value * per_g
    outline = (
        None if mould.width_mm is None else outline_of_width(mould.outline_table, mould.width_mm)
    )
    body, remarks = _shape(mould, outline, volume_mm3)
    return Measured(
        volume_mm3=volume_mm3,
        doubts=(
            Doubt(name="water: scale and repeats", volume_mm3=mean.uncertainty * per_g),
            Doubt(name="water: level at the rim", volume_mm3=LEVEL_SPREAD * volume_mm3),
        ),
        body=body,
        relief_depth_mm=mould.relief_depth_mm,
        bore=_bore_of_water(mould, outline, volume_mm3) if mould.is_press else None,
        remarks=(*_mean_remarks(mean, len(mould.water_g)), *_water_remarks(outline), *remarks),
        weighings=mean,
    )


def _weighed(mould: OwnedMould, step_g: float) -> Mean:
    masses = [require_positive("water_g", mass, "g") - mould.empty_g for mass in mould.water_g]
    if max(mould.water_g) > MOST_WATER_G:
        raise SpecError("water_g", max(mould.water_g), f"must be at most {MOST_WATER_G:g} g")
    if min(masses) <= 0.0:
        raise SpecError(
            "water_g",
            min(mould.water_g),
            f"must be above the empty mould's {mould.empty_g:g} g; weigh again, or leave the empty "
            "mould out where the scale was set to zero with it",
        )
    readings = 1 if mould.empty_g == 0.0 else 2
    return mean_of(masses, [step_g / sqrt(12.0) * sqrt(readings)] * len(masses))


def _shape(
    mould: OwnedMould, outline: Outline | None, volume_mm3: float
) -> tuple[Body | None, tuple[str, ...]]:
    """Return the shape that a crust is taken of, and what there is to say of it."""
    if outline is None:
        return None, (
            "The crust's thickness needs the shape: add the width, and the height if you can.",
        )
    if mould.height_mm is None:
        level_mm = volume_mm3 / outline.area_mm2
        return Cup(outline=outline, height_mm=level_mm), (
            f"The crust is that of an upright-sided piece {level_mm:.1f} mm high of this volume.",
        )
    cup = cup_of(mould.model_dump())
    share = volume_mm3 / cup.volume_mm3
    if abs(share - 1.0) <= APART_RATIO:
        return cup, ()
    remark = (
        f"The sizes make {cup.volume_mm3 / 1000.0:.3g} mL and the water "
        f"{volume_mm3 / 1000.0:.3g} mL: measure again, and look for a leak."
    )
    return cup, (remark,)


def _bore_of_water(mould: OwnedMould, outline: Outline | None, volume_mm3: float) -> Bore:
    if outline is None or mould.height_mm is None:
        raise SpecError(
            "width_mm" if outline is None else "height_mm",
            "not given",
            "must come with the water of a press mould, for the window of heights: the bore's "
            "width, and the height at which it was filled",
        )
    return Bore(outline=outline, beyond_mm3=volume_mm3 - outline.area_mm2 * mould.height_mm)


def _water_remarks(outline: Outline | None) -> tuple[str, ...]:
    bulge = "" if outline is None else f": 1 mm of it is {outline.area_mm2 / 1000.0:.2g} mL here"
    level = (
        f"Surface tension lets water bulge over the rim{bulge}. Look along the rim, or break "
        "the bulge with a drop of dish soap."
    )
    return (
        level,
        "Water that leaks makes a mould look small: line a press mould with film, and weigh soon.",
    )


def _mean_remarks(mean: Mean, count: int) -> tuple[str, ...]:
    if mean.sd is None:
        return ()
    said = f"Water: {mean.value:.1f} g is the mean of {count} weighings, their sd {mean.sd:.2f} g."
    if not mean.outliers:
        return (said,)
    numbers = ", ".join(map(str, mean.outliers))
    return (
        said,
        f"Weighing {numbers} stands apart: weigh again. It is in the mean all the same.",
    )
