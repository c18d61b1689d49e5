"""The casting master: pastries standing in a walled tray, to pour silicone over."""

from dataclasses import dataclass
from math import pi, radians, tan
from typing import Final

from moulddesign.core import SpecError, ml_from_mm3, say
from moulddesign.design import CastTable, PrinterTable
from moulddesign.geometry import Mesh, difference, union
from moulddesign.mould import faceted, mould_set
from moulddesign.mould.block import PastrySolid
from moulddesign.mould.plans import RISE, ArcPolyline

CHAMFER_MM: Final = 0.6
"""Chamfer of the tray's outer edges; our choice [mm]."""

CORNER_MM: Final = 6.0
"""Corner of the tray inside, on its floor: nothing sharp where silicone sits; our choice [mm]."""

OVER_MM: Final = 1.0
"""How far a tool reaches beyond a body, or one body into another [mm]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CastLayout:
    """The sizes of a casting master; the pastries stand on the plane z = 0."""

    place_mm: mould_set.Box
    """Around a master pastry, larger than the pastry by what the silicone shrinks [mm]."""
    mould: CastTable
    peak_mm: float
    """Floor to the highest relief of a master pastry [mm]."""
    pastry_mm3: float
    grid: mould_set.CavityGrid
    """The pastries; the first one's axis is the z axis."""

    @property
    def brim_mm(self) -> float:
        """Floor to brim: the silicone's thickness over all [mm]."""
        return self.peak_mm + self.mould.cover_mm

    @property
    def run_mm(self) -> float:
        """How much wider the tray is at its brim, each side [mm]."""
        return self.brim_mm * tan(radians(self.mould.tray_draft_deg))

    @property
    def floor_plan(self) -> ArcPolyline:
        """The tray inside, on its floor."""
        box = self.grid.around_mm(self.place_mm, self.mould.land_mm)
        return ArcPolyline(arcs=mould_set.rounded_rectangle(box, CORNER_MM))

    @property
    def silicone_mm3(self) -> float:
        """Volume of silicone that fills the tray to its brim, by closed forms [mm^3]."""
        (x0, y0), (x1, y1) = self.grid.around_mm(self.place_mm, self.mould.land_mm)
        sides = (x1 - x0, y1 - y0)
        # A cut through the tray is a rounded rectangle, wider with the height; area at 0, 1/2 and
        # 1.
        levels = [_area_mm2(sides, share * self.run_mm) for share in (0.0, 0.5, 1.0)]
        # The area is a square function of the height, for which Simpson's rule is exact.
        tray = self.brim_mm * (levels[0] + 4.0 * levels[1] + levels[2]) / 6.0
        return tray - self.grid.count * self.pastry_mm3

    def silicone_report(self, scale: float) -> dict[str, float]:
        """Return what to mix for a tray that is printed larger by a factor, as plain values."""
        volume_ml = ml_from_mm3(scale**3 * self.silicone_mm3)
        mass_g = volume_ml * self.mould.silicone_density_g_per_ml
        return {"silicone_ml": volume_ml, "silicone_g": mass_g}


def cast(
    mould: CastTable, printer: PrinterTable, pastry: PastrySolid
) -> mould_set.MouldSet[CastLayout]:
    """Return the casting master of a pastry, or of several side by side.

    In the coordinates of the assembly the pastries stand on z = 0, relief up, larger than the
    pastry by what the silicone shrinks.
    """
    grown = 1.0 / (1.0 - mould.silicone_shrink)
    deeper = pastry.extended_below(OVER_MM)
    master = Mesh(deeper.vertices * grown, deeper.triangles)
    layout = _layout(mould, printer, pastry, grown=grown)
    standing = [master.moved((x, y, 0.0)) for x, y in layout.grid.centres_mm]
    mesh = union([_tray(layout), *standing], say("mould.casting-master"))
    pose = mould_set.pose_on_bed(mesh, printer, half_turns=0, name="master")
    return mould_set.MouldSet(
        parts=(mould_set.Part(name="master", mesh=mesh, pose=pose),), layout=layout
    )


def _layout(
    mould: CastTable, printer: PrinterTable, pastry: PastrySolid, *, grown: float
) -> CastLayout:
    place = mould_set.bounding_box_mm(pastry.outline, grown)
    peak_mm = grown * (pastry.height_mm + pastry.depth_above_mm)
    brim_mm = peak_mm + mould.cover_mm
    beyond = mould.wall_mm + brim_mm * tan(radians(mould.tray_draft_deg))
    least = OVER_MM * grown + 2.0 * CHAMFER_MM
    if mould.floor_mm < least:
        raise SpecError("mould.floor_mm", mould.floor_mm, say("mould.thin-floor", least_mm=least))
    return CastLayout(
        place_mm=place,
        mould=mould,
        peak_mm=peak_mm,
        pastry_mm3=grown**3 * pastry.volume_mm3,
        grid=_grid(mould, printer, place, beyond_mm=beyond),
    )


def _grid(
    mould: CastTable, printer: PrinterTable, place: mould_set.Box, *, beyond_mm: float
) -> mould_set.CavityGrid:
    def size(grid: mould_set.CavityGrid) -> mould_set.Size:
        (x0, y0), (x1, y1) = grid.around_mm(place, mould.land_mm)
        return x1 - x0 + 2.0 * beyond_mm, y1 - y0 + 2.0 * beyond_mm

    return mould_set.grid_on_bed(mould, printer, place, size_mm=size, what="tray")


def _tray(layout: CastLayout) -> Mesh:
    """Return the tray: its inside leans outwards, its outside is upright and chamfered."""
    mould, brim = layout.mould, layout.brim_mm
    inside = layout.floor_plan
    outside = inside.inset(-(layout.run_mm + mould.wall_mm))
    chamfer = min(CHAMFER_MM, mould.wall_mm / 4.0)
    rise = RISE * chamfer
    low = -mould.floor_mm
    levels = [
        (low, outside.inset(chamfer)), (low + rise, outside),
        (brim - rise, outside), (brim, outside.inset(chamfer)),
    ]  # fmt: skip
    # Its facets lie inside the arcs of the corners, where they hold less silicone, by 0.02 %.
    slope = layout.run_mm / brim
    mouth = inside.inset(-(layout.run_mm + slope * OVER_MM))
    room = faceted.loft([(0.0, inside), (brim + OVER_MM, mouth)], say("mould.tray-inside"))
    return difference(faceted.loft(levels, say("mould.tray")), [room], say("mould.tray"))


def _area_mm2(sides_mm: mould_set.Size, out_mm: float) -> float:
    """Return the area of the tray inside where it is wider than on its floor [mm^2]."""
    x, y = sides_mm
    radius = CORNER_MM + out_mm
    return (x + 2.0 * out_mm) * (y + 2.0 * out_mm) - (4.0 - pi) * radius**2
