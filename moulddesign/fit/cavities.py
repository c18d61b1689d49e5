"""A cavity as it was measured, by its inner sizes or by the water that fills it.

What it holds, how well that is known, and the volume that lies deeper in it than a crust.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from math import cos, hypot, radians, sqrt, tan
from typing import Any, Final, Protocol

import numpy as np
import shapely
from scipy.optimize import brentq

from moulddesign.artwork.outline import QUARTER_CHORDS, Outline, outline_of_width
from moulddesign.core import Message, SpecError, ml_from_mm3, mm3_from_ml, require_positive, say
from moulddesign.design import Design, OwnedMould, Sense
from moulddesign.geometry import Points
from moulddesign.kitchen.samples import Estimate, estimate
from moulddesign.pastry.pastry import shoulder_drop_mm
from moulddesign.portion import LEVEL_SPREAD, water_density_g_per_ml


class CavityShape(Protocol):
    """The shape of a cavity, as far as the crust in it needs it."""

    @property
    def width_mm(self) -> float:
        """Least extent across [mm]."""

    @property
    def height_mm(self) -> float:
        """Rim to floor [mm]."""

    def inset_volume_mm3(self, thickness_mm: float) -> float:
        """Return the volume that lies deeper than a thickness [mm^3]."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class VolumeUncertainty:
    """What one cause alone makes of the volume."""

    name: str
    """The cause."""
    volume_mm3: float
    """Standard uncertainty of the volume by this cause alone."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Bore:
    """A press mould's bore, in which the pressed height follows the volume."""

    area_mm2: float
    offset_mm3: float
    """Volume beyond area times height: relief less shoulder."""
    outline: Outline | None
    """None where its shape is not known."""

    def volume_mm3(self, height_mm: float) -> float:
        """Return what it holds with the stamp's flat face at a height, exact [mm^3]."""
        return self.area_mm2 * height_mm + self.offset_mm3

    def height_mm(self, volume_mm3: float) -> float:
        """Return the height to the flat top at which it holds a volume, exact [mm]."""
        return (volume_mm3 - self.offset_mm3) / self.area_mm2


def bore_of(outline: Outline, volume_mm3: float, *, height_mm: float) -> Bore:
    """Return the bore of an outline that holds a volume [mm^3] at a height [mm]."""
    area_mm2 = outline.area_mm2
    return Bore(area_mm2=area_mm2, offset_mm3=volume_mm3 - area_mm2 * height_mm, outline=outline)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class MeasuredCavity:
    """A cavity as it was measured."""

    volume_mm3: float
    uncertainties: tuple[VolumeUncertainty, ...]
    """How well the volume is known, by cause."""
    shape: CavityShape | None
    """None where it is not known."""
    relief_depth_mm: float = 0.0
    """0 where there is no relief or its depth is not known."""
    bore: Bore | None = None
    """Of a press mould."""
    remarks: tuple[Message, ...] = ()
    """How it was measured."""
    weighings: Estimate | None = None
    """Mass of the water that fills it [g]."""

    @property
    def volume_sd_mm3(self) -> float:
        """Standard uncertainty of the volume, causes taken as independent [mm^3]."""
        return hypot(*(each.volume_mm3 for each in self.uncertainties))


def uniform_crust_mm(shape: CavityShape, filled_mm3: float) -> float | None:
    """Return the thickness of a crust that is the same under wall, floor and mouth.

    None where the filling alone needs all of the room.
    """
    # The room inside falls as the thickness rises, and is nothing at half the height, where the
    # crusts of floor and mouth meet: so there is one thickness, between 0 and that.
    if filled_mm3 >= shape.inset_volume_mm3(0.0):
        return None

    def excess_mm3(thickness_mm: float) -> float:
        return shape.inset_volume_mm3(thickness_mm) - filled_mm3

    return float(brentq(excess_mm3, 0.0, shape.height_mm / 2.0, xtol=1e-6))


GAUSS_LEGENDRE: Final = np.polynomial.legendre.leggauss(16)
"""Abscissas and weights of the Gauss-Legendre quadrature between -1 and 1."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class SizedShape:
    """A cavity as its sizes describe it, the mouth down on the table z = 0, the floor up.

    Raises
    ------
    SpecError
        The side or the shoulder leaves no flat top, or the relief is deeper than the cavity.
    """

    outline: Outline
    """Of the mouth; with draft, its widest section."""
    height_mm: float
    """Mouth to the flat floor, which makes the pastry's flat top."""
    draft_deg: float = 0.0
    """How far the side leans in from the pull direction, 0 for an upright one."""
    shoulder_radius_mm: float = 0.0
    """Of the floor's rounded edge, an arc from the flat down to 45 deg at the side; 0 is sharp."""
    relief_depth_mm: float = 0.0
    """How far the relief stands out of the pastry's top; negative where it is sunk."""
    relief_cover: float = 0.0
    """Share of the flat top that the relief covers, counted at full depth."""

    def __post_init__(self) -> None:
        if shoulder_drop_mm(self.shoulder_radius_mm) >= self.height_mm:
            raise SpecError(
                "shoulder_radius_mm",
                self.shoulder_radius_mm,
                say("fit.shoulder-too-deep", height_mm=self.height_mm),
            )
        if self.top_mm2 <= 0.0:
            field = "draft_deg" if self.draft_deg > 0.0 else "shoulder_radius_mm"
            raise SpecError(field, getattr(self, field), say("fit.no-flat-top"))
        if -self.relief_depth_mm >= self.height_mm:
            raise SpecError(
                "relief_depth_mm",
                -self.relief_depth_mm,
                say("fit.relief-too-deep", height_mm=self.height_mm),
            )

    @property
    def volume_mm3(self) -> float:
        """Volume with its relief [mm^3]."""
        return self.inset_volume_mm3(0.0) + self.relief_mm3

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

    def inset_volume_mm3(self, thickness_mm: float) -> float:
        """Return the volume that lies deeper than a thickness under side, floor and mouth.

        Returns
        -------
        float
            Integral of the sections' areas, each an inset of the outline [mm^3]. For a convex
            outline it is exact but for round-off and the chords of the outline's arcs.
        """
        # What is deeper than t under mouth and floor lies between these heights. Each section of it
        # is the outline moved in by z tan(draft) + t / cos(draft), the side and its crust, or by
        # what the shoulder needs where that is more:
        #      ______          floor, height
        #     /      \        shoulder: an arc down to 45 deg
        #    |        |
        #   /          \      side, leaning by the draft
        #  '------------'      mouth, z = 0
        # Between the heights at which one rule takes over from another the area is smooth, so each
        # span is integrated by itself.
        low, high = thickness_mm, self.height_mm - thickness_mm
        if high <= low:
            return 0.0
        breaks = [z for z in self._break_heights_mm(thickness_mm) if low < z < high]
        ends = np.array([low, *sorted(breaks), high])
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

    def _break_heights_mm(self, thickness_mm: float) -> tuple[float, float]:
        """Return the heights at which the side meets the shoulder, and its plane the arc."""
        # The side is at z L + w, L = tan(draft) and w = t / cos(draft), the arc's 45 deg plane at
        # i - (sqrt(2) r - (z - c)), i the inset of the flat top and c the height of the arc's
        # centre: equal where z (1 - L) = w - i + sqrt(2) r + c. Plane and arc touch where
        # z = c + r / sqrt(2).
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
    """Return points and weights that integrate over spans, even of a root that ends upright."""
    # The arc of a shoulder meets the flat top like sqrt(high - z), whose slope is infinite there: a
    # quadrature converges slowly. With z = high - (high - low) (1 - s)^2 that root is (1 - s), and
    # dz = 2 (high - low) (1 - s) ds.
    s, weights = (GAUSS_LEGENDRE[0] + 1.0) / 2.0, GAUSS_LEGENDRE[1] / 2.0
    span = (high - low)[:, None]
    z = high[:, None] - span * (1.0 - s) ** 2
    return z.reshape(-1), (span * 2.0 * (1.0 - s) * weights).reshape(-1)


COVER_SD: Final = 0.05
"""Standard uncertainty of the share that a relief covers, by eye; from memory, measure your own."""
DRAFT_SD_DEG: Final = 0.3
"""Standard uncertainty of a draft: half a degree either way, evenly spread; our choice [deg]."""
LEAST_WIDTH_MM: Final = 1.0
"""Narrowest mouth; our choice [mm]."""
SLOPE_STEP_RATIO: Final = 1e-3
"""Step of a size for its slope, as a share of it."""
SIZE_NAMES: Final = {
    "width_mm": "width",
    "height_mm": "height",
    "highest_mm": "highest place",
    "corner_radius_mm": "corner radius",
    "lobe_depth_mm": "lobe depth",
    "shoulder_radius_mm": "shoulder",
    "relief_depth_mm": "relief depth",
    "relief_cover": "relief cover",
    "draft_deg": "side draft",
}
"""What each size is called."""
LENGTH_SIZES: Final = tuple(key for key in SIZE_NAMES if key.endswith("_mm"))
"""Sizes that are read off a ruler or caliper."""


def cavity_from_sizes(mould: OwnedMould) -> MeasuredCavity:
    """Return a cavity from its inner sizes; a press without a height is taken at its greatest.

    Raises
    ------
    SpecError
        The sizes do not go together.
    FileError
        A drawn outline cannot be read.
    """
    sizes = dict(mould)
    height_mm = sizes["height_mm"] = _height_mm(mould)
    assumed = () if mould.height_mm else (say("fit.taken-at-greatest", height_mm=height_mm),)
    shape = sized_shape(sizes)
    bore = bore_of(shape.outline, shape.volume_mm3, height_mm=shape.height_mm)
    return MeasuredCavity(
        volume_mm3=shape.volume_mm3,
        uncertainties=_size_uncertainties(sizes, shape.volume_mm3, mould.tool.sd_mm),
        shape=shape,
        relief_depth_mm=mould.rise_mm,
        bore=bore if mould.is_press else None,
        remarks=(*assumed, *_relief_remarks(mould)),
    )


def cavity_from_volume(mould: OwnedMould) -> MeasuredCavity:
    """Return a cavity from what it is said to hold; its shape is not known."""
    volume_mm3 = mm3_from_ml(mould.volume_ml or 0.0)
    sd_mm3 = mm3_from_ml(mould.volume_sd_ml)
    bore = None
    if mould.area_mm2 is not None and mould.height_mm is not None:
        offset_mm3 = volume_mm3 - mould.area_mm2 * mould.height_mm
        bore = Bore(area_mm2=mould.area_mm2, offset_mm3=offset_mm3, outline=None)
    return MeasuredCavity(
        volume_mm3=volume_mm3,
        uncertainties=(VolumeUncertainty(name="volume as given", volume_mm3=sd_mm3),)
        if sd_mm3
        else (),
        shape=None,
        relief_depth_mm=mould.rise_mm,
        bore=bore,
        remarks=(say("fit.crust-needs-shape"),),
    )


def _signed_depth_mm(mould: OwnedMould) -> float:
    """Return the relief's depth, negative where it is sunk [mm]."""
    return mould.rise_mm * (1.0 if mould.sense is Sense.RAISED else -1.0)


def sized_shape(sizes: Mapping[str, Any]) -> SizedShape:
    """Return the cavity of an `OwnedMould`'s values, its width and height among them.

    Raises
    ------
    SpecError
        The sizes do not go together.
    FileError
        A drawn outline cannot be read.
    """
    table = OwnedMould.model_construct(**sizes)
    return SizedShape(
        outline=_mouth(table, sizes["width_mm"]),
        height_mm=sizes["height_mm"],
        draft_deg=table.draft_deg,
        shoulder_radius_mm=table.shoulder_radius_mm,
        relief_depth_mm=_signed_depth_mm(table),
        relief_cover=table.relief_cover,
    )


def _mouth(table: OwnedMould, width_mm: float) -> Outline:
    """Return the outline of the mouth; an error names the mould's own field."""
    if width_mm < LEAST_WIDTH_MM:
        raise SpecError("width_mm", width_mm, say("fit.mouth-too-narrow", least_mm=LEAST_WIDTH_MM))
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
    raise SpecError("height_mm", "not given", say("fit.height-not-given"))


def _size_uncertainties(
    sizes: Mapping[str, Any], volume_mm3: float, sd_mm: float
) -> tuple[VolumeUncertainty, ...]:
    """Return the uncertainty of the volume by that of each size, to first order."""
    sds = dict.fromkeys(LENGTH_SIZES, sd_mm) | {"relief_cover": COVER_SD, "draft_deg": DRAFT_SD_DEG}
    slopes = {key: _slope(sizes, key, volume_mm3) for key in sds if sizes[key]}
    return tuple(
        VolumeUncertainty(name=SIZE_NAMES[key], volume_mm3=abs(slope) * sds[key])
        for key, slope in slopes.items()
        if slope != 0.0
    )


def _slope(sizes: Mapping[str, Any], key: str, volume_mm3: float) -> float:
    """Return the slope of the volume with a size, by a step down: what fitted then still fits."""
    step = SLOPE_STEP_RATIO * sizes[key]
    return float((volume_mm3 - sized_shape({**sizes, key: sizes[key] - step}).volume_mm3) / step)


def _relief_remarks(mould: OwnedMould) -> tuple[Message, ...]:
    if mould.highest_mm is not None:
        rise_mm = mould.rise_mm
        return (say("fit.top-by-cover", cover=mould.relief_cover, rise_mm=rise_mm),)
    if mould.relief_depth_mm == 0.0:
        return ()
    return (say("fit.relief-by-cover", cover=mould.relief_cover),)


MOST_WATER_G: Final = 100_000.0
"""Most water of a mould, a hundred litres; our choice [g]."""
DISAGREEMENT_RATIO: Final = 0.1
"""Volumes by sizes and by water that differ by more are pointed at; our choice."""


def cavity_from_water(mould: OwnedMould, design: Design) -> MeasuredCavity:
    """Return a cavity from the water that fills it.

    The width gives a press mould's bore, and the crust's shape: of an upright-sided piece of the
    same volume where no height is given.

    Returns
    -------
    MeasuredCavity
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
    shape, remarks = _shape_of_water(mould, outline, volume_mm3)
    return MeasuredCavity(
        volume_mm3=volume_mm3,
        uncertainties=(
            VolumeUncertainty(name="water: scale and repeats", volume_mm3=mean.uncertainty * per_g),
            VolumeUncertainty(name="water: level at the rim", volume_mm3=LEVEL_SPREAD * volume_mm3),
        ),
        shape=shape,
        relief_depth_mm=mould.rise_mm,
        bore=_bore_of_water(mould, outline, volume_mm3) if mould.is_press else None,
        remarks=(*_mean_remarks(mean, len(mould.water_g)), *_water_remarks(outline), *remarks),
        weighings=mean,
    )


def _weighed(mould: OwnedMould, step_g: float) -> Estimate:
    masses = [require_positive("water_g", mass, "g") - mould.empty_g for mass in mould.water_g]
    if max(mould.water_g) > MOST_WATER_G:
        need = say("fit.too-much-water", most_g=MOST_WATER_G)
        raise SpecError("water_g", max(mould.water_g), need)
    if min(masses) <= 0.0:
        need = say("fit.water-below-empty", empty_g=mould.empty_g)
        raise SpecError("water_g", min(mould.water_g), need)
    readings = 1 if mould.empty_g == 0.0 else 2
    return estimate(masses, [step_g / sqrt(12.0) * sqrt(readings)] * len(masses), 0.0)


ABOUT_CRUST: Final = frozenset({"fit.crust-needs-shape", "fit.crust-of-upright-piece"})
"""Ids of remarks that say nothing of a piece without a crust."""


def _shape_of_water(
    mould: OwnedMould, outline: Outline | None, volume_mm3: float
) -> tuple[CavityShape | None, tuple[Message, ...]]:
    """Return the shape whose crust is given, and remarks about it."""
    if outline is None:
        return None, (say("fit.crust-needs-shape"),)
    if mould.height_mm is None:
        level_mm = volume_mm3 / outline.area_mm2
        return SizedShape(outline=outline, height_mm=level_mm), (
            say("fit.crust-of-upright-piece", level_mm=level_mm),
        )
    shape = sized_shape(dict(mould))
    share = volume_mm3 / shape.volume_mm3
    if abs(share - 1.0) <= DISAGREEMENT_RATIO:
        return shape, ()
    sizes_ml, water_ml = ml_from_mm3(shape.volume_mm3), ml_from_mm3(volume_mm3)
    return shape, (say("fit.sizes-and-water-differ", sizes_ml=sizes_ml, water_ml=water_ml),)


def _bore_of_water(mould: OwnedMould, outline: Outline | None, volume_mm3: float) -> Bore:
    if outline is None or mould.height_mm is None:
        raise SpecError(
            "width_mm" if outline is None else "height_mm",
            "not given",
            say("fit.press-water-needs-size"),
        )
    return bore_of(outline, volume_mm3, height_mm=mould.height_mm)


def _water_remarks(outline: Outline | None) -> tuple[Message, ...]:
    bulge = (
        say("fit.water-bulges")
        if outline is None
        else say("fit.water-bulges-by", ml=ml_from_mm3(outline.area_mm2))
    )
    return bulge, say("fit.water-leaks")


def _mean_remarks(mean: Estimate, count: int) -> tuple[Message, ...]:
    if mean.seen_sd is None:
        return ()
    remark = say("fit.water-mean", mean_g=mean.value, count=count, sd_g=mean.seen_sd)
    if not mean.outliers:
        return (remark,)
    return remark, say("fit.water-outliers", numbers=mean.outliers)
