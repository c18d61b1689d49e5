"""From a design and a pastry to the sizes of a knock-out block, or the reason why not."""

from dataclasses import dataclass
from math import radians, tan
from typing import Final

from moulddesign.design import Design
from moulddesign.design.mould import MouldTable
from moulddesign.errors import SpecError
from moulddesign.mould.grid import Box, Grid, Size, extent_mm, grid_on_bed
from moulddesign.mould.layout import Pressed
from moulddesign.pastry.outline import Outline

FILLET_MM: Final = 8.0
"""Radius between block and handle; our choice [mm]."""

CORNER_MM: Final = 6.0
"""Corner of the block round an outline without one; our choice [mm]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BlockLayout:
    """The sizes of a knock-out block, mouth down on the table z = 0, as it is knocked out.

    Parameters
    ----------
    outline : Outline
        Of a cavity at its mouth.
    mould : MouldTable
        What was asked for.
    height_mm : float
        Mouth to the flat of the cavity's floor [mm].
    depth_above_mm : float
        Deepest engraving beyond that [mm].
    grid : Grid
        The cavities; the first one's axis is the z axis.
    """

    outline: Outline
    mould: MouldTable
    height_mm: float
    depth_above_mm: float
    grid: Grid

    @property
    def thickness_mm(self) -> float:
        """Mouth to back of the block [mm]."""
        return self.height_mm + self.depth_above_mm + self.mould.floor_mm

    @property
    def handle_thickness_mm(self) -> float:
        """Thickness of the handle: what was asked for, at most the block's [mm]."""
        return min(self.mould.handle_thickness_mm, self.thickness_mm)

    @property
    def run_mm(self) -> float:
        """How much narrower the cavity is at its floor, each side [mm]."""
        return self.height_mm * tan(radians(self.mould.side_lean_deg))

    @property
    def slab_mm(self) -> Box:
        """Least and greatest x and y of the block without its handle [mm]."""
        return self.grid.around_mm(extent_mm(self.outline), self.mould.land_mm)

    @property
    def corner_mm(self) -> float:
        """Radius of the block's corners, concentric with the outline's where there is room [mm]."""
        (x0, y0), (x1, y1) = self.slab_mm
        own = self.outline.corner_radius_mm or CORNER_MM
        if self.outline.name == "round":
            own = self.outline.width_mm / 2.0
        flat = self.mould.handle_width_mm + 2.0 * FILLET_MM if self.mould.handle_length_mm else 0.0
        room = min((x1 - x0) / 2.0, (y1 - y0 - flat) / 2.0)
        return max(min(own + self.mould.land_mm, 0.999 * room), 0.0)


def block_layout(design: Design, pastry: Pressed) -> BlockLayout:
    """Return the sizes of the block for a pastry.

    Parameters
    ----------
    design : Design
        What is asked for.
    pastry : Pressed
        The pastry: outline at the mouth, height, relief above the flat top.

    Raises
    ------
    SpecError
        It does not fit the bed, or two sizes contradict each other.
    """
    mould, outline = design.mould, pastry.outline
    layout = BlockLayout(
        outline=outline,
        mould=mould,
        height_mm=pastry.height_mm,
        depth_above_mm=pastry.depth_above_mm,
        grid=_grid(design, outline),
    )
    _refuse_a_wide_handle(layout)
    _refuse_a_wide_hole(mould, 2.0 * design.printer.line_width_mm)
    return layout


def _grid(design: Design, outline: Outline) -> Grid:
    mould, place = design.mould, extent_mm(outline)

    def size(grid: Grid) -> Size:
        (x0, y0), (x1, y1) = grid.around_mm(place, mould.land_mm)
        return x1 - x0 + mould.handle_length_mm, max(y1 - y0, _handle_span(mould))

    return grid_on_bed(design, place, size_mm=size, what="block")


def _handle_span(mould: MouldTable) -> float:
    return mould.handle_width_mm if mould.handle_length_mm else 0.0


def _refuse_a_wide_handle(layout: BlockLayout) -> None:
    mould, ((_, y0), (_, y1)) = layout.mould, layout.slab_mm
    if not mould.handle_length_mm:
        return
    most = y1 - y0 - 2.0 * FILLET_MM
    if mould.handle_width_mm > most:
        need = f"is too wide for a block of {y1 - y0:.4g} mm; at most {most:.3g} mm"
        raise SpecError("mould.handle_width_mm", mould.handle_width_mm, need)
    least = FILLET_MM + mould.handle_width_mm / 2.0
    if mould.handle_length_mm < least:
        need = f"must be 0 or at least {least:.3g} mm, for its end and its fillet"
        raise SpecError("mould.handle_length_mm", mould.handle_length_mm, need)


def _refuse_a_wide_hole(mould: MouldTable, two_lines_mm: float) -> None:
    most = mould.handle_width_mm - 2.0 * max(two_lines_mm, 3.0)
    if mould.handle_length_mm and mould.hole_mm > most:
        need = f"leaves too thin a handle around it; at most {most:.3g} mm, or 0 for none"
        raise SpecError("mould.hole_mm", mould.hole_mm, need)
