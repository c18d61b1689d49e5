"""The relief as a 16-bit picture of heights: for routers and engravers, and for `--carving`."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any, Final

import numpy as np
from PIL.PngImagePlugin import PngInfo

from moulddesign import __version__
from moulddesign.artwork.patterns import WHITE_16_BIT
from moulddesign.building import PASTRY, Build
from moulddesign.core import SpecError, say
from moulddesign.design import CastTable, PressTable
from moulddesign.geometry import Mesh, Points
from moulddesign.geometry.sampling import Grid, grid_over, top_heights_mm
from moulddesign.pastry.pastry import Pastry
from moulddesign.relief.height_map import MOST_ACROSS, grey_png

PIXELS_MM: Final = (0.05, 0.0625, 0.08, 0.1, 0.125, 0.16, 0.2, 0.25, 0.4, 0.5)
"""Pixels of which a metre has a whole number, as the file's resolution wants it [mm]."""
LEAST_RANGE_MM: Final = 0.01
"""A map of less is level: a step of a fine engraving machine; our choice [mm]."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TopHeights:
    """A pastry's top from above, x to the right as the eater reads it."""

    grid: Grid
    heights_mm: Points
    """Over the flat top, or over a face's ground, shape `grid.shape`; beyond the piece `beyond_mm`
    [mm]."""
    inside: Points
    """Which pixels the piece covers, shape `grid.shape`."""
    beyond_mm: float
    """Level beside the piece: the flat top's in a press, the mould's rim in others [mm]."""

    @property
    def range_mm(self) -> tuple[float, float]:
        """Its lowest and highest place [mm]."""
        return float(self.heights_mm.min()), float(self.heights_mm.max())

    def report(self) -> dict[str, Any]:
        """Return what its picture means, as plain values."""
        black, white = self.range_mm
        rows, columns = self.grid.shape
        return {
            "mm_per_pixel": self.grid.pixel_mm,
            "mm_per_step": (white - black) / WHITE_16_BIT,
            "black_mm": black,
            "white_mm": white,
            "carving_depth_mm": white - black,
            "size_mm": [columns * self.grid.pixel_mm, rows * self.grid.pixel_mm],
        }


def top_heights(
    build: Build, pastry: Pastry, mesh: Mesh, least_pixel_mm: float = 0.0
) -> TopHeights:
    """Return the heights of a pastry's top, on pixels as fine as `--carving` works on.

    Parameters
    ----------
    least_pixel_mm : float
        Finer pixels are not wanted [mm].

    Raises
    ------
    SpecError
        The top is level.
    """
    low, high = mesh.bounds
    across_mm = float((high - low)[:2].max())
    # One pixel more on each side.
    most = min(MOST_ACROSS, across_mm / least_pixel_mm + 3.0) if least_pixel_mm else MOST_ACROSS
    fits = [each for each in PIXELS_MM if np.ceil(across_mm / each) + 2 <= most]
    grid = grid_over(low[:2], high[:2], fits[0] if fits else PIXELS_MM[-1])
    # A press has no rim beside the piece: a picture goes on as its flat top does.
    is_press = isinstance(build.design.mould, PressTable)
    beyond_mm = 0.0 if is_press else float(low[2]) - pastry.height_mm
    found = top_heights_mm(mesh, grid)
    inside = np.isfinite(found)
    made = TopHeights(
        grid=grid,
        heights_mm=np.where(inside, found - pastry.height_mm, beyond_mm),
        inside=inside,
        beyond_mm=beyond_mm,
    )
    if np.ptp(made.range_mm) < LEAST_RANGE_MM:
        raise SpecError("formats", "heightmap", say("export.level-top"))
    return made


def refuse_cast(build: Build, asked: str) -> None:
    """Raise `SpecError` where nothing cuts the mould: silicone is cast."""
    if isinstance(build.design.mould, CastTable):
        raise SpecError("formats", asked, say("export.no-templates-of-cast"))


def mapped_pastries(build: Build) -> Mapping[str, tuple[Pastry, Mesh]]:
    """Return the pastries by the ends of their files' names: nothing, or a further stamp's."""
    further = {
        one.pastry_name.removeprefix(PASTRY): (one.pastry, build.meshes[one.pastry_name])
        for one in build.further
    }
    return MappingProxyType({"": (build.pastry, build.meshes[PASTRY])} | further)


def has_relief(build: Build) -> bool:
    """Return whether no pastry's top is plain."""
    pastries = [pastry for pastry, _ in mapped_pastries(build).values()]
    return all(each.relief or each.carved is not None for each in pastries)


def heightmap_png(made: TopHeights, title: str) -> bytes:
    """Return heights as a 16-bit grey PNG file, white high, that says its steps and pixels.

    Text chunks hold the figures as `TopHeights.report` has them; the resolution is in pHYs, whole
    pixels a metre.
    """
    figures = made.report()
    black_mm, step_mm = figures["black_mm"], figures["mm_per_step"]
    steps = np.rint((made.heights_mm - black_mm) / step_mm)
    about = (
        f"heights of the pastry's top over its flat top: black {black_mm:.4f} mm, "
        f"white {figures['white_mm']:.4f} mm, {step_mm:.9f} mm a step, "
        f"{made.grid.pixel_mm:g} mm a pixel, x to the right as the eater reads it; "
        "mirror it for the mould"
    )
    return png_16_bit(steps, made.grid.pixel_mm, figures | {"Comment": about, "Title": title})


def png_16_bit(steps: Points, pixel_mm: float, texts: Mapping[str, Any]) -> bytes:
    """Return steps from 0 to 65535, row 0 at the least y, as a grey PNG file with texts."""
    text = PngInfo()
    text.add_text("Software", f"moulddesign {__version__}")
    for key, value in texts.items():
        text.add_itxt(key.replace("_", "-"), f"{value}")
    return grey_png(steps[::-1].astype(np.uint16), pixel_mm, text)
