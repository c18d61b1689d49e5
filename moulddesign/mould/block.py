"""The knock-out block: cavities with leaning sides, a rim around them, a handle to strike with."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import pairwise
from math import pi, radians, tan
from typing import Final, Protocol

import shapely

from moulddesign.artwork.outline import Arc, Outline
from moulddesign.core import SpecError, say
from moulddesign.design import BlockTable, PrinterTable
from moulddesign.geometry import Mesh, Points, difference
from moulddesign.mould import cad_kernel, faceted, mould_set
from moulddesign.mould.cad_kernel import BodyT, Kernel, Solid
from moulddesign.mould.plans import RISE, ArcPolyline, CircleCurve, Curve, parallel_curve
from moulddesign.mould.press_layout import PastryShape

VENT_FLAT_MM: Final = 0.8
"""Length over which a vent keeps its width, from the cavity's floor; our choice [mm]."""

VENT_DROPS_MM: Final = (0.2, 0.4, 0.8)
"""How far the face may fall below its highest point where a vent opens, less before more: the
piece gets a knob so high there; less than `OVER_MM` [mm]."""
VENT_BACK_MM: Final = 4.0
"""Diameter of a vent at the block's back, where a brush enters it; our choice [mm]."""

VENT_LEAN_DEG: Final = 38.0
"""Largest lean of its cone, which prints back down; our choice [deg]."""

KNUCKLES_MM: Final = 22.0
"""Room under the handle for the knuckles of the hand that holds it; our choice [mm]."""

HANDLE_MM: Final = (12.0, 18.0)
"""Least and greatest thickness of a handle that was not given; our choice [mm]."""

FILLET_MM: Final = 8.0
"""Radius between block and handle; our choice [mm]."""

CORNER_MM: Final = 6.0
"""Corner of the block round an outline without one; our choice [mm]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BlockLayout:
    """The sizes of a knock-out block, mouth down on the table z = 0, as it is knocked out."""

    outline: Outline
    """Of a cavity at its mouth."""
    mould: BlockTable
    height_mm: float
    """Mouth to the flat of the cavity's floor [mm]."""
    side: tuple[mould_set.Size, ...]
    """Corners of a cavity's side from the mouth to its floor: how much narrower, and how deep [mm].
    """
    depth_above_mm: float
    """Deepest engraving beyond that [mm]."""
    grid: mould_set.CavityGrid
    """The cavities; the first one's axis is the z axis."""
    others: tuple[mould_set.CavityGrid, ...]
    """Those of further blocks, where one bed does not take all."""
    vent_mm: mould_set.Size | None
    """Where a cavity's vent is, from its axis; none where there is none [mm]."""
    vent_level_mm: float
    """Mouth to where the vent opens [mm]."""

    @property
    def plates(self) -> "tuple[BlockLayout, ...]":
        """The layout of each block, this one first."""
        others = (replace(self, grid=grid, others=()) for grid in self.others)
        return (replace(self, others=()), *others)

    @property
    def thickness_mm(self) -> float:
        """Mouth to back of the block [mm]."""
        return self.height_mm + self.depth_above_mm + self.mould.floor_mm

    @property
    def handle_thickness_mm(self) -> float:
        """Thickness of the handle: what was asked for, at most the block's [mm]."""
        least, most = HANDLE_MM
        asked = self.mould.handle_thickness_mm
        if asked is None:
            asked = min(max(self.thickness_mm - KNUCKLES_MM, least), most)
        return min(asked, self.thickness_mm)

    @property
    def run_mm(self) -> float:
        """How much narrower the cavity is at its floor, each side [mm]."""
        return self.side[-1][0]

    @property
    def board_mm(self) -> mould_set.Box:
        """Least and greatest x and y of the block without its handle [mm]."""
        return self.grid.around_mm(mould_set.bounding_box_mm(self.outline), self.mould.land_mm)

    @property
    def vents_mm(self) -> tuple[mould_set.Size, ...]:
        """Where the vents are; empty where there are none [mm]."""
        if self.vent_mm is None:
            return ()
        dx, dy = self.vent_mm
        return tuple((x + dx, y + dy) for x, y in self.grid.centres_mm)

    @property
    def corner_mm(self) -> float:
        """Radius of the block's corners, concentric with the outline's where there is room [mm]."""
        (x0, y0), (x1, y1) = self.board_mm
        own = self.outline.corner_radius_mm or CORNER_MM
        if self.outline.plain.name == "round":
            own = self.outline.width_mm / 2.0
        flat = self.mould.handle_width_mm + 2.0 * FILLET_MM if self.mould.handle_length_mm else 0.0
        room = min((x1 - x0) / 2.0, (y1 - y0 - flat) / 2.0)
        return max(min(own + self.mould.land_mm, 0.999 * room), 0.0)


def block_layout(mould: BlockTable, printer: PrinterTable, pastry: "PastrySolid") -> BlockLayout:
    """Return the sizes of the block for a pastry, or of several where one bed is too small."""
    outline = pastry.outline
    grid, *others = grids(mould, printer, outline)
    vent = _vent_place(pastry, mould.vent_mm)
    return BlockLayout(
        outline=outline,
        mould=mould,
        height_mm=pastry.height_mm,
        side=tuple((run, z) for run, z in pastry.side_section.tolist()),
        depth_above_mm=pastry.depth_above_mm,
        grid=grid,
        others=tuple(others),
        vent_mm=None if vent is None else vent[:2],
        vent_level_mm=pastry.height_mm if vent is None else vent[2],
    )


def _vent_place(pastry: "PastrySolid", vent_mm: float) -> tuple[float, float, float] | None:
    """Return where a cavity's vent opens, or None where it takes none.

    It is the middle of the largest free circle of a flat top. On a carved face it is at the bottom
    of the cavity, where air is caught last, as level as there is.
    """
    if not vent_mm:
        return None
    if not pastry.free_top.is_empty:
        radius = shapely.maximum_inscribed_circle(pastry.free_top, tolerance=0.05)
        x, y = radius.coords[0]
        has_room = radius.length >= vent_mm / 2.0 + VENT_FLAT_MM / 2.0
        return (x, y, pastry.height_mm) if has_room else None
    for drop_mm in VENT_DROPS_MM:
        x, y, radius_mm = pastry.broadest_peak(drop_mm)
        if radius_mm >= vent_mm / 2.0:
            return x, y, pastry.height_mm + pastry.depth_above_mm
    return None


def grids(
    mould: BlockTable, printer: PrinterTable, outline: Outline
) -> tuple[mould_set.CavityGrid, ...]:
    """Return where cavities are in each of the blocks that take them, the fullest first.

    Raises
    ------
    SpecError
        The bed does not take one of them, or it is too small for its handle.
    """
    place = mould_set.bounding_box_mm(outline)
    handle_mm = mould.handle_width_mm if mould.handle_length_mm else 0.0

    def size(grid: mould_set.CavityGrid) -> mould_set.Size:
        (x0, y0), (x1, y1) = grid.around_mm(place, mould.land_mm)
        return x1 - x0 + mould.handle_length_mm, max(y1 - y0, handle_mm)

    made = mould_set.plates_on_bed(mould, printer, place, size_mm=size, what="block")
    for grid in made:
        _refuse_a_wide_handle(mould, grid.around_mm(place, mould.land_mm))
    _refuse_a_wide_hole(mould, 2.0 * printer.line_width_mm)
    return made


def _refuse_a_wide_handle(mould: BlockTable, board_mm: mould_set.Box) -> None:
    (_, y0), (_, y1) = board_mm
    if not mould.handle_length_mm:
        return
    most = y1 - y0 - 2.0 * FILLET_MM
    if mould.handle_width_mm > most:
        need = say("mould.wide-handle", block_mm=y1 - y0, most_mm=most)
        raise SpecError("mould.handle_width_mm", mould.handle_width_mm, need)
    least = FILLET_MM + mould.handle_width_mm / 2.0
    if mould.handle_length_mm < least:
        need = say("mould.short-handle", least_mm=least)
        raise SpecError("mould.handle_length_mm", mould.handle_length_mm, need)


def _refuse_a_wide_hole(mould: BlockTable, two_lines_mm: float) -> None:
    most = mould.handle_width_mm - 2.0 * max(two_lines_mm, 3.0)
    if mould.handle_length_mm and mould.hole_mm > most:
        need = say("mould.wide-hole", most_mm=most)
        raise SpecError("mould.hole_mm", mould.hole_mm, need)


CHAMFER_MM: Final = 0.8
"""Chamfer of outer edges; on the bed it keeps the first layer's flare inside; our choice [mm]."""

OVER_MM: Final = 1.0
"""How far a tool reaches beyond the body that it cuts [mm]."""


class PastrySolid(PastryShape, Protocol):
    """A pastry that can be cut from a block or joined to a tray."""

    @property
    def volume_mm3(self) -> float:
        """Volume of the solid [mm^3]."""

    @property
    def side_section(self) -> Points:
        """Corners of the side from the table up: distance from the outline, and height [mm]."""

    @property
    def free_top(self) -> shapely.Geometry:
        """The flat top where no relief is."""

    def broadest_peak(self, drop_mm: float) -> tuple[float, float, float]:
        """Return the middle of the largest circle of a carved face near its top, and its radius."""

    def extended_below(self, below_mm: float) -> Mesh:
        """Return the solid with its outline extended below the table by a length [mm]."""


def block(
    mould: BlockTable, printer: PrinterTable, pastry: PastrySolid
) -> mould_set.MouldSet[BlockLayout]:
    """Return the knock-out block of a pastry, or of several side by side.

    It stands in the coordinates of the assembly: mouth down on the table z = 0, over the pastry.
    The blank is the body without engraving or shoulder, where it has exact surfaces. Cavities that
    one bed does not take are shared among several blocks; the layout is the first one's.
    """
    layout = block_layout(mould, printer, pastry)
    tool = pastry.extended_below(OVER_MM)
    parts = tuple(
        _plate(plate, printer, tool, number=number) for number, plate in enumerate(layout.plates, 1)
    )
    return mould_set.MouldSet(parts=parts, layout=layout)


def _plate(
    layout: BlockLayout, printer: PrinterTable, tool: Mesh, *, number: int
) -> mould_set.Part:
    cavities = [tool.moved((x, y, 0.0)) for x, y in layout.grid.centres_mm]
    mesh = difference(_body(layout, faceted), cavities, say("mould.block-cavities"))
    return mould_set.Part(
        name="block" if number == 1 else f"block-{number}",
        mesh=mesh,
        pose=mould_set.pose_on_bed(mesh, printer, half_turns=1, name="block"),
        blank=_blank(layout),
        is_further=number > 1,
    )


def _blank(layout: BlockLayout) -> Callable[[], Solid] | None:
    """Return what draws the block with flat cavities; None where sides have no exact surfaces."""
    mouth = parallel_curve(layout.outline, 0.0)
    sections = [_alike(mouth, run) for run, _ in layout.side]
    levels = [
        (z, section)
        for (_, z), section in zip(layout.side, sections, strict=True)
        if section is not None
    ]
    if len(levels) < len(sections):
        return None
    return partial(_exact_blank, layout, [(-OVER_MM, mouth), *levels])


def _exact_blank(layout: BlockLayout, levels: Sequence[tuple[float, Curve]]) -> Solid:
    step = say("mould.flat-cavity")
    # A level ledge ends one body and begins the next.
    ledges = [place for place in range(1, len(levels)) if levels[place][0] == levels[place - 1][0]]
    parts = [
        cad_kernel.loft(levels[start:end], step)
        for start, end in pairwise([0, *ledges, len(levels)])
    ]
    cavity = cad_kernel.fuse(parts, step) if ledges else parts[0]
    body = _body(replace(layout, vent_level_mm=layout.height_mm), cad_kernel)
    for x, y in layout.grid.centres_mm:
        body = cad_kernel.subtract(
            body, cad_kernel.translate(cavity, (x, y, 0.0)), say("mould.block-blank")
        )
    return body


def _alike(mouth: object, run_mm: float) -> CircleCurve | ArcPolyline | None:
    """Return the mouth's parallel where it has the same edges, corner for corner."""
    if isinstance(mouth, CircleCurve):
        return mouth.inset(run_mm)
    if not isinstance(mouth, ArcPolyline):
        return None
    # A corner rounder than the run stays an arc on the floor; a sharper one would become a corner
    # there, and the two sections would have unlike edges.
    convex = [arc.radius_mm for arc in mouth.arcs if arc.turn_rad > 0.0]
    sharp = max(convex) == 0.0
    return mouth.inset(run_mm) if sharp or min(convex) > run_mm else None


def _body(layout: BlockLayout, draw: Kernel[BodyT]) -> BodyT:
    board = ArcPolyline(arcs=mould_set.rounded_rectangle(layout.board_mm, layout.corner_mm))
    slab = draw.loft(_chamfered(board, 0.0, layout.thickness_mm), say("mould.block"))
    body = _with_handle(layout, slab, draw) if layout.mould.handle_length_mm else slab
    for place in layout.vents_mm:
        body = draw.subtract(body, _vent(layout, place, draw), say("mould.vent"))
    return body


def _with_handle(layout: BlockLayout, slab: BodyT, draw: Kernel[BodyT]) -> BodyT:
    low = layout.thickness_mm - layout.handle_thickness_mm
    paddle = draw.loft(
        _chamfered(_board_with_handle(layout), low, layout.thickness_mm), say("mould.block-handle")
    )
    body = draw.fuse([slab, paddle], say("mould.block"))
    if not layout.mould.hole_mm:
        return body
    return draw.subtract(body, _hole(layout, draw), say("mould.handle-hole"))


def _vent(layout: BlockLayout, place_mm: mould_set.Size, draw: Kernel[BodyT]) -> BodyT:
    """Return the air's way from a cavity's floor to the back: narrow, then a cone."""
    low, high, radius = layout.vent_level_mm, layout.thickness_mm, layout.mould.vent_mm / 2.0
    flat = min(VENT_FLAT_MM, (high - low) / 2.0)
    lean = tan(radians(VENT_LEAN_DEG))
    back = max(min(VENT_BACK_MM / 2.0, radius + (high - low - flat) * lean), radius)
    slope = (back - radius) / (high - low - flat)
    profile = [
        (0.0, low - OVER_MM), (radius, low - OVER_MM), (radius, low + flat),
        (back + slope * OVER_MM, high + OVER_MM), (0.0, high + OVER_MM),
    ]  # fmt: skip
    return draw.translate(draw.revolve(profile, say("mould.vent")), (*place_mm, 0.0))


def _chamfered(plan: ArcPolyline, low: float, high: float) -> list[tuple[float, ArcPolyline]]:
    inner, rise = plan.inset(CHAMFER_MM), RISE * CHAMFER_MM
    return [(low, inner), (low + rise, plan), (high - rise, plan), (high, inner)]


def _board_with_handle(layout: BlockLayout) -> ArcPolyline:
    """Return the rounded rectangle with the handle on its left."""
    lower_right, upper_right, upper_left, lower_left = mould_set.rounded_rectangle(
        layout.board_mm, layout.corner_mm
    )
    (x0, _), _ = layout.board_mm
    (x, y), half = _handle_end(layout), layout.mould.handle_width_mm / 2.0
    off = half + FILLET_MM
    upper, lower = (x0 - FILLET_MM, y + off), (x0 - FILLET_MM, y - off)
    into = Arc(centre=upper, radius_mm=FILLET_MM, start_rad=0.0, turn_rad=-pi / 2.0)
    end = Arc(centre=(x, y), radius_mm=half, start_rad=pi / 2.0, turn_rad=pi)
    out = Arc(centre=lower, radius_mm=FILLET_MM, start_rad=pi / 2.0, turn_rad=-pi / 2.0)
    return ArcPolyline(arcs=(lower_right, upper_right, upper_left, into, end, out, lower_left))


def _handle_end(layout: BlockLayout) -> tuple[float, float]:
    """Return the middle of the handle's round end [mm]."""
    (x0, y0), (_, y1) = layout.board_mm
    mould = layout.mould
    return x0 - mould.handle_length_mm + mould.handle_width_mm / 2.0, (y0 + y1) / 2.0


def _hole(layout: BlockLayout, draw: Kernel[BodyT]) -> BodyT:
    radius, high = layout.mould.hole_mm / 2.0, layout.thickness_mm
    low, over = high - layout.handle_thickness_mm, CHAMFER_MM + OVER_MM
    profile = [
        (0.0, low - RISE * OVER_MM), (radius + over, low - RISE * OVER_MM),
        (radius, low + RISE * CHAMFER_MM), (radius, high - RISE * CHAMFER_MM),
        (radius + over, high + RISE * OVER_MM),
        (0.0, high + RISE * OVER_MM),
    ]  # fmt: skip
    x, y = _handle_end(layout)
    return draw.translate(draw.revolve(profile, say("mould.handle-hole")), (x, y, 0.0))
