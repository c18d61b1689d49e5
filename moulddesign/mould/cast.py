"""The casting master: pastries standing in a walled tray, to pour silicone over."""

from dataclasses import dataclass, replace
from itertools import chain
from math import pi, radians, tan
from typing import Final

import shapely
from shapely.affinity import translate

from moulddesign.artwork.outline import Outline
from moulddesign.core import SpecError, ml_from_mm3, say
from moulddesign.design import CastTable, PrinterTable
from moulddesign.geometry import Mesh, box, difference, union
from moulddesign.mould import faceted, mould_set
from moulddesign.mould.block import PastrySolid
from moulddesign.mould.plans import RISE, ArcPolyline

CHAMFER_MM: Final = 0.6
"""Chamfer of the tray's outer edges; our choice [mm]."""

CORNER_MM: Final = 6.0
"""Corner of the tray inside, on its floor: nothing sharp where silicone sits; our choice [mm]."""

FREEBOARD_MM: Final = 3.0
"""Wall above the level to which silicone is poured; our choice [mm]."""

NOTCH_MM: Final = 8.0
"""Width of the notch in the wall whose floor is that level; our choice [mm]."""

VENT_MM: Final = 2.0
"""Diameter of the vent through the floor, taped while silicone is poured; our choice [mm]."""

POCKET_MM: Final = 10.0
"""Radius of a finger pocket at the level of the silicone, about that of a finger [mm]."""

LEAST_POCKET_MM: Final = 4.0
"""Its least radius; our choice [mm]."""

POCKET_FLOOR_MM: Final = 5.0
"""Its least height above the tray's floor; our choice [mm]."""

MOST_POCKET_LEAN_DEG: Final = 20.0
"""Lean of a tray's wall from which on it has no pockets: they would print hanging over [deg]."""

POCKET_DRAFT_DEG: Final = 10.0
"""Least lean of its wall; our choice [deg]."""

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
    vent_mm: mould_set.Size
    """Where the vent is [mm]."""
    lettering_mm3: float = 0.0
    """Letters sunk into the tray's floor, which fill with silicone; 0 without any."""
    lettering_depth_mm: float = 0.0
    """Depth of the deepest."""

    @property
    def vents_mm(self) -> tuple[mould_set.Size, ...]:
        """Where the vents are [mm]."""
        return (self.vent_mm,)

    @property
    def fill_mm(self) -> float:
        """Floor to the notch: the silicone's thickness over all [mm]."""
        return self.peak_mm + self.mould.cover_mm

    @property
    def brim_mm(self) -> float:
        """Floor to brim [mm]."""
        return self.fill_mm + FREEBOARD_MM

    @property
    def slope(self) -> float:
        """How much wider the tray becomes on each side for each millimetre of height."""
        return tan(radians(self.mould.tray_draft_deg))

    @property
    def pocket(self) -> "Pocket | None":
        """The finger pockets; none in a tray that leans so far that a finger gets in anywhere."""
        if self.mould.tray_draft_deg > MOST_POCKET_LEAN_DEG:
            return None
        (x0, y0), (x1, y1) = self.inside_mm
        # A pocket has to lean more than the wall, or its lower end would come out of it.
        lean = tan(radians(max(POCKET_DRAFT_DEG, self.mould.tray_draft_deg + 1.0)))
        room = min(POCKET_MM, max(x1 - x0, y1 - y0) / 2.0 - CORNER_MM)
        deepest = self.fill_mm - max(room - LEAST_POCKET_MM, 0.0) / lean
        low = min(max(POCKET_FLOOR_MM, deepest), self.fill_mm)
        return Pocket(low_mm=low, radius_mm=room, lean=lean, fill_mm=self.fill_mm)

    @property
    def floor_plan(self) -> ArcPolyline:
        """The tray inside, on its floor."""
        return ArcPolyline(arcs=mould_set.rounded_rectangle(self.inside_mm, CORNER_MM))

    @property
    def inside_mm(self) -> mould_set.Box:
        """Least and greatest x and y of the tray inside, on its floor [mm]."""
        return self.grid.around_mm(self.place_mm, self.mould.land_mm)

    @property
    def silicone_mm3(self) -> float:
        """Volume of silicone that fills the tray to its notch, by closed forms [mm^3].

        What runs into the vent, down to the tape, is not in it.
        """
        (x0, y0), (x1, y1) = self.inside_mm
        sides = (x1 - x0, y1 - y0)
        # A cut through the tray is a rounded rectangle, wider with the height; area at 0, 1/2 and
        # 1.
        run = self.slope * self.fill_mm
        levels = [_area_mm2(sides, share * run) for share in (0.0, 0.5, 1.0)]
        # The area is a square function of the height, for which Simpson's rule is exact.
        tray = self.fill_mm * (levels[0] + 4.0 * levels[1] + levels[2]) / 6.0
        # The pocket's axis follows the wall: half of each level's circle lies outside of it.
        pockets = 0.0 if self.pocket is None else self.pocket.volume_mm3
        return tray + pockets + self.lettering_mm3 - self.grid.count * self.pastry_mm3

    def silicone_report(self, scale: float) -> dict[str, float]:
        """Return what to mix for a tray that is printed larger by a factor, as plain values."""
        volume_ml = ml_from_mm3(scale**3 * self.silicone_mm3)
        mass_g = volume_ml * self.mould.silicone_density_g_per_ml
        return {"silicone_ml": volume_ml, "silicone_g": mass_g}


@dataclass(frozen=True, slots=True, kw_only=True)
class Pocket:
    """A finger pocket: half a cone outside the tray's wall, with its axis in the wall."""

    low_mm: float
    """Floor of the tray to its own [mm]."""
    radius_mm: float
    """At the level of the silicone [mm]."""
    lean: float
    """How much wider it becomes for each millimetre of height."""
    fill_mm: float

    @property
    def volume_mm3(self) -> float:
        """Volume of two of them up to the level of the silicone: a frustum [mm^3]."""
        low = self.radius_at(self.low_mm)
        squares = self.radius_mm**2 + self.radius_mm * low + low**2
        return pi * (self.fill_mm - self.low_mm) * squares / 3.0

    def radius_at(self, height_mm: float) -> float:
        """Return its radius at a height over the tray's floor [mm]."""
        return self.radius_mm - (self.fill_mm - height_mm) * self.lean


def cast(
    mould: CastTable, printer: PrinterTable, pastry: PastrySolid
) -> mould_set.MouldSet[CastLayout]:
    """Return the casting master of a pastry, or of several side by side.

    In the coordinates of the assembly the pastries stand on z = 0, relief up, larger than the
    pastry by what the silicone shrinks.
    """
    layout = layout_on_bed(
        mould,
        printer,
        pastry.outline,
        peak_mm=pastry.height_mm + pastry.depth_above_mm,
        volume_mm3=pastry.volume_mm3,
    )
    grown = 1.0 / (1.0 - mould.silicone_shrink)
    layout = replace(layout, vent_mm=_vent_place(layout, pastry.outline, grown))
    deeper = pastry.extended_below(OVER_MM)
    master = Mesh(deeper.vertices * grown, deeper.triangles)
    standing = [master.moved((x, y, 0.0)) for x, y in layout.grid.centres_mm]
    mesh = union([_tray(layout), *standing], say("mould.casting-master"))
    pose = mould_set.pose_on_bed(mesh, printer, half_turns=0, name="master")
    return mould_set.MouldSet(
        parts=(mould_set.Part(name="master", mesh=mesh, pose=pose),), layout=layout
    )


def layout_on_bed(
    mould: CastTable,
    printer: PrinterTable,
    outline: Outline,
    *,
    peak_mm: float,
    volume_mm3: float,
) -> CastLayout:
    """Return the sizes of a casting master, but for its vent.

    Parameters
    ----------
    peak_mm : float
        Table to the highest place of the pastry [mm].
    volume_mm3 : float
        Of the pastry [mm^3].

    Raises
    ------
    SpecError
        The bed does not take all of the pastries, or the floor is too thin.
    """
    grown = 1.0 / (1.0 - mould.silicone_shrink)
    place = mould_set.bounding_box_mm(outline, grown)
    least = OVER_MM * grown + 2.0 * CHAMFER_MM
    if mould.floor_mm < least:
        raise SpecError("mould.floor_mm", mould.floor_mm, say("mould.thin-floor", least_mm=least))
    layout = CastLayout(
        place_mm=place,
        mould=mould,
        peak_mm=grown * peak_mm,
        pastry_mm3=grown**3 * volume_mm3,
        grid=mould_set.CavityGrid(count=1, columns=1, pitch_mm=(0.0, 0.0)),
        vent_mm=(0.0, 0.0),
    )

    def size(grid: mould_set.CavityGrid) -> mould_set.Size:
        return _size_mm(replace(layout, grid=grid))

    grid = mould_set.grid_on_bed(mould, printer, place, size_mm=size, what="tray")
    return replace(layout, grid=grid)


def _size_mm(layout: CastLayout) -> mould_set.Size:
    """Return the extents of a tray, its finger pockets on the longer sides."""
    (x0, y0), (x1, y1) = layout.inside_mm
    beyond = layout.mould.wall_mm + layout.slope * layout.brim_mm
    pocket = 0.0 if layout.pocket is None else layout.pocket.radius_at(layout.brim_mm)
    x, y = x1 - x0 + 2.0 * beyond, y1 - y0 + 2.0 * beyond
    return (x + 2.0 * pocket, y) if x < y else (x, y + 2.0 * pocket)


def _vent_place(layout: CastLayout, outline: Outline, grown: float) -> mould_set.Size:
    """Return the middle of the widest place between pastries, or beside a single one."""
    one = shapely.Polygon(grown * outline.points)
    pastries = shapely.union_all([translate(one, x, y) for x, y in layout.grid.centres_mm])
    if layout.grid.count > 1:
        around = pastries.convex_hull
    else:
        around = shapely.box(*chain.from_iterable(layout.inside_mm)).buffer(-CORNER_MM / 2.0)
    x, y = shapely.maximum_inscribed_circle(around.difference(pastries), tolerance=0.05).coords[0]
    return x, y


def _tray(layout: CastLayout) -> Mesh:
    """Return the tray: its inside leans outwards, its outside is upright and chamfered."""
    mould, brim = layout.mould, layout.brim_mm
    inside = layout.floor_plan
    outside = inside.inset(-(layout.slope * brim + mould.wall_mm))
    chamfer = min(CHAMFER_MM, mould.wall_mm / 4.0)
    rise = RISE * chamfer
    low = -mould.floor_mm
    levels = [
        (low, outside.inset(chamfer)), (low + rise, outside),
        (brim - rise, outside), (brim, outside.inset(chamfer)),
    ]  # fmt: skip
    # Its facets lie inside the arcs of the corners, where they hold less silicone, by 0.02 %.
    over = brim + OVER_MM
    mouth = inside.inset(-layout.slope * over)
    room = faceted.loft([(0.0, inside), (over, mouth)], say("mould.tray-inside"))
    body, tools = [faceted.loft(levels, say("mould.tray"))], [room, _notch(layout), _vent(layout)]
    pocket = layout.pocket
    if pocket is not None:
        body += _pockets(layout, pocket, wall_mm=mould.wall_mm, levels_mm=(low, brim))
        tools += _pockets(layout, pocket, wall_mm=0.0, levels_mm=(pocket.low_mm, over))
    return difference(union(body, say("mould.tray")), tools, say("mould.tray"))


def _pockets(
    layout: CastLayout, pocket: Pocket, *, wall_mm: float, levels_mm: tuple[float, float]
) -> tuple[Mesh, Mesh]:
    """Return the two pockets between levels, or what stands round them: leaning cones."""
    low, high = levels_mm
    inner, outer = (pocket.radius_at(max(z, pocket.low_mm)) + wall_mm for z in (low, high))
    profile = [(0.0, low), (inner, low), (outer, high), (0.0, high)]
    cone = faceted.revolve(profile, say("mould.finger-pocket"))
    (x0, y0), (x1, y1) = layout.inside_mm
    middle = ((x0 + x1) / 2.0, (y0 + y1) / 2.0)
    axis, ends = (1, (y0, y1)) if x1 - x0 >= y1 - y0 else (0, (x0, x1))
    made = []
    for end, sign in zip(ends, (-1.0, 1.0), strict=True):
        vertices = cone.vertices.copy()
        vertices[:, 1 - axis] += middle[1 - axis]
        vertices[:, axis] += end + sign * layout.slope * vertices[:, 2]
        made.append(Mesh(vertices, cone.triangles))
    return made[0], made[1]


def _notch(layout: CastLayout) -> Mesh:
    """Return what is cut from the wall between the pockets, down to the level of the silicone."""
    (x0, y0), (x1, y1) = layout.inside_mm
    out = layout.slope * layout.brim_mm + layout.mould.wall_mm + OVER_MM
    half, low, high = NOTCH_MM / 2.0, layout.fill_mm, layout.brim_mm + OVER_MM
    if x1 - x0 >= y1 - y0:
        y = (y0 + y1) / 2.0
        return box((x1, y - half, low), (x1 + out, y + half, high))
    x = (x0 + x1) / 2.0
    return box((x - half, y0 - out, low), (x + half, y0, high))


def _vent(layout: CastLayout) -> Mesh:
    radius, low = VENT_MM / 2.0, -layout.mould.floor_mm - OVER_MM
    profile = [(0.0, low), (radius, low), (radius, OVER_MM), (0.0, OVER_MM)]
    return faceted.translate(faceted.revolve(profile, say("mould.vent")), (*layout.vent_mm, 0.0))


def _area_mm2(sides_mm: mould_set.Size, out_mm: float) -> float:
    """Return the area of the tray inside where it is wider than on its floor [mm^2]."""
    x, y = sides_mm
    radius = CORNER_MM + out_mm
    return (x + 2.0 * out_mm) * (y + 2.0 * out_mm) - (4.0 - pi) * radius**2
