"""The engraving for a router: heights of the mould, as a cutter leaves them, and what that costs.

A cutter rounds what it does not get into. That takes volume from the piece: at the same height it
weighs less, and pressed or cut deeper by that volume over its area it has its weight again.
"""

import io
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from PIL import Image

from moulddesign.artwork.patterns import WHITE_16_BIT
from moulddesign.building import Build
from moulddesign.core import Message, ml_from_mm3, say
from moulddesign.design import PressTable
from moulddesign.export.height_maps import LEAST_RANGE_MM, TopHeights, png_16_bit, refuse_cast
from moulddesign.geometry import Points
from moulddesign.relief.cutter import Cutter, as_cut

ACROSS_CUTTER: Final = 14.0
"""Pixels over the reach of a cutter, about: finer ones take long and change little."""
SHOWN_LEFT_MM: Final = 1.0
"""What is left by so much is fully red in the picture [mm]."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Engraving:
    """A mould's face, mirrored as it lies before its maker; x to the right there."""

    surface_mm: Points
    """Heights over the mould's face, as the cutter leaves them, shape (rows, columns) [mm]."""
    left_mm: Points
    """How far that lies over what the design has, the same shape [mm]."""
    inside: Points
    """Which pixels the piece covers."""
    pixel_mm: float
    cutter: Cutter | None
    """None where the design is cut as it is."""

    @property
    def left_mm3(self) -> float:
        """What stays in the engraving of one piece [mm^3]."""
        return float(self.left_mm[self.inside].sum()) * self.pixel_mm**2

    @property
    def deeper_mm(self) -> float:
        """How much higher the piece has to be for its weight [mm]."""
        return self.left_mm3 / (np.count_nonzero(self.inside) * self.pixel_mm**2)

    def said(self, build: Build) -> Message:
        """Return what the cutter costs, and the smallest change that mends it."""
        portion = build.portion.piece
        left_ml = ml_from_mm3(self.left_mm3)
        row, column = np.unravel_index(int(self.left_mm.argmax()), self.left_mm.shape)
        rows, columns = self.left_mm.shape
        is_press = isinstance(build.design.mould, PressTable)
        deeper_mm, height_mm = self.deeper_mm, build.pastry.height_mm + self.deeper_mm
        return say(
            "export.cutter-leaves",
            cutter=str(self.cutter),
            left_ml=left_ml,
            most_mm=float(self.left_mm.max()),
            x_mm=(float(column) - (columns - 1) / 2.0) * self.pixel_mm,
            y_mm=(float(row) - (rows - 1) / 2.0) * self.pixel_mm,
            lighter_g=portion.finished_g * (1.0 - left_ml / portion.volume_ml),
            weight_g=portion.finished_g,
            mended=say("export.press-higher", deeper_mm=deeper_mm, height_mm=height_mm)
            if is_press
            else say("export.cut-deeper", deeper_mm=deeper_mm, height_mm=height_mm),
        )

    def report(self, build: Build) -> dict[str, Any]:
        """Return what its picture means, and what the cutter leaves, as plain values."""
        black, white = float(self.surface_mm.min()), float(self.surface_mm.max())
        figures = {
            "mm_per_pixel": self.pixel_mm,
            "mm_per_step": max(white - black, LEAST_RANGE_MM) / WHITE_16_BIT,
            "black_mm": black,
            "white_mm": white,
        }
        if self.cutter is None:
            return figures
        return figures | {
            "cutter": str(self.cutter),
            "left_ml": ml_from_mm3(self.left_mm3),
            "left_most_mm": float(self.left_mm.max()),
            "higher_for_the_weight_mm": self.deeper_mm,
            "height_mm": build.pastry.height_mm + self.deeper_mm,
            "says": str(self.said(build)),
        }


def least_pixel_mm(cutter: Cutter | None, range_mm: float) -> float:
    """Return the pixel on which an engraving is cut, 0 for the finest there is [mm]."""
    return 0.0 if cutter is None else cutter.reach_mm(range_mm) / ACROSS_CUTTER


def engraving(build: Build, made: TopHeights, cutter: Cutter | None) -> Engraving:
    """Return the engraving of a pastry's mould, as a cutter leaves it.

    Raises
    ------
    SpecError
        Silicone is cast, and no cutter gets there.
    """
    refuse_cast(build, "engraving")
    wanted = -(made.heights_mm - made.beyond_mm)[:, ::-1]
    inside = made.inside[:, ::-1]
    if isinstance(build.design.mould, PressTable):
        # A stamp ends at its edge, where the cutter runs out of it.
        wanted = np.where(inside, wanted, wanted.min())
    surface = wanted if cutter is None else as_cut(wanted, cutter, made.grid.pixel_mm)
    return Engraving(
        surface_mm=surface,
        left_mm=np.where(inside, surface - wanted, 0.0),
        inside=inside,
        pixel_mm=made.grid.pixel_mm,
        cutter=cutter,
    )


def engraving_png(made: Engraving, build: Build) -> bytes:
    """Return the engraving as a 16-bit grey PNG file, white high, that says what it means."""
    figures = made.report(build)
    steps = np.rint((made.surface_mm - figures["black_mm"]) / figures["mm_per_step"])
    about = (
        "heights over the mould's face, mirrored as the mould lies before you: black "
        f"{figures['black_mm']:.4f} mm, white {figures['white_mm']:.4f} mm, "
        f"{figures['mm_per_step']:.9f} mm a step, {made.pixel_mm:g} mm a pixel"
    )
    texts = figures | {"Comment": about, "Title": build.design.name}
    return png_16_bit(steps, made.pixel_mm, texts)


def left_png(made: Engraving) -> bytes:
    """Return a picture of the engraving, red where the cutter leaves something."""
    low, high = float(made.surface_mm.min()), float(made.surface_mm.max())
    grey = 90.0 + 150.0 * (made.surface_mm - low) / max(high - low, 1e-9)
    red = (made.left_mm / SHOWN_LEFT_MM).clip(0.0, 1.0)[..., None] ** 0.5
    rgb = grey[..., None] * (1.0 - red) + np.array([200.0, 20.0, 20.0]) * red
    target = io.BytesIO()
    Image.fromarray(np.rint(rgb[::-1]).astype(np.uint8)).save(target, format="PNG")
    return target.getvalue()
