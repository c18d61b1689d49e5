"""The one composition for a mould that exists: its measures become weights that fit it."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

from moulddesign.design import Design
from moulddesign.design.shelf import OwnedMould
from moulddesign.fit.measured import Measured
from moulddesign.fit.meshes import Found, from_mesh, from_press_meshes
from moulddesign.fit.rows import RATIOS, Row, kinds, rows
from moulddesign.fit.sizes import from_sizes
from moulddesign.fit.water import from_water
from moulddesign.fit.window import Window, windows
from moulddesign.units import ml_from_mm3

SAME_RATIO: Final = 0.002
"""Cavities hold the same where they differ by no more: less than any scale tells."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Fit:
    """What fits a mould that exists.

    Parameters
    ----------
    mould : OwnedMould
        As it was measured; with meshes, with the bore's length and guide found in them.
    cavities : tuple of (Measured, tuple of Row)
        Each cavity, the largest first, and the pieces that fill it.
    windows : tuple of Window
        Of a press mould, one for each row; empty for any other.
    notes : tuple of str
        What was mended, doubts about the size, centres too large for a press; sentences. How a
        cavity was measured is told with the cavity.
    """

    mould: OwnedMould
    cavities: tuple[tuple[Measured, tuple[Row, ...]], ...]
    windows: tuple[Window, ...]
    notes: tuple[str, ...]

    @property
    def alike(self) -> tuple[tuple[int, ...], ...]:
        """Cavities that follow one another and hold the same, as numbers from 0."""
        groups: list[tuple[int, ...]] = []
        for number, (cavity, _) in enumerate(self.cavities):
            held = self.cavities[groups[-1][0]][0].volume_mm3 if groups else 0.0
            if abs(cavity.volume_mm3 - held) <= SAME_RATIO * held:
                groups[-1] += (number,)
            else:
                groups.append((number,))
        return tuple(groups)

    def window(self, design: Design) -> Window | None:
        """Return the window of the design's own ratio, with its centres; None without one."""
        own = [w for w in self.windows if w.design.portion.ratio == design.portion.ratio]
        return own[-1] if own else None

    def row(self, design: Design) -> Row:
        """Return the largest cavity's row of the design's own ratio, with its centres."""
        own = [r for r in self.cavities[0][1] if r.ratio == design.portion.ratio]
        return own[-1]

    def report(self, design: Design) -> dict[str, Any]:
        """Return everything as plain values."""
        main = self.window(design)
        return {
            "name": self.mould.name,
            "cavities": [_cavity_report(cavity, each) for cavity, each in self.cavities],
            "window": None
            if main is None
            else main.report() | {"rows": [w.report() for w in self.windows]},
            "notes": list(self.notes),
        }


def fit(
    design: Design,
    mould: OwnedMould,
    *,
    ratios: Sequence[str] = (),
    stage: Callable[[str], None] = lambda _: None,
) -> Fit:
    """Return the weights that fit a mould.

    Parameters
    ----------
    design : Design
        Loss, densities, centres, scale; its own ratio is among the rows.
    mould : OwnedMould
        The mould, known by sizes, water or mesh.
    ratios : sequence of str
        Ratios beside 2:8, 3:7, 4:6, 5:5 and the design's own.
    stage : callable
        Called with the name of each stage before it starts: reading, mending, checking, basins,
        cavities, crust, weights.

    Raises
    ------
    SpecError
        The sizes do not go together, a ratio is none, or the mesh holds nothing that way up.
    FileError
        A file cannot be read, or its mesh bounds no solid.
    KernelError
        A geometry library could not do a step.
    """
    asked = tuple(dict.fromkeys((*RATIOS, design.portion.ratio, *ratios)))
    every = kinds(design, asked)
    found = _measured(design, mould, stage)
    known = _with_lengths(mould, found)
    stage("weights")
    bore = found.cavities[0].bore
    limits, closed = ((), ()) if bore is None else windows(every, known, bore)
    return Fit(
        mould=known,
        cavities=tuple((cavity, rows(design, cavity, asked)) for cavity in found.cavities),
        windows=limits,
        notes=(*found.notes, *closed),
    )


def _measured(design: Design, mould: OwnedMould, stage: Callable[[str], None]) -> Found:
    if mould.stamp is not None:
        return from_press_meshes(mould, stage)
    if mould.mesh is not None:
        return from_mesh(mould, stage)
    cavity = from_water(mould, design) if mould.water_g else from_sizes(mould)
    return Found(cavities=(cavity,), notes=())


def _with_lengths(mould: OwnedMould, found: Found) -> OwnedMould:
    lengths = {"bore_length_mm": found.bore_length_mm, "guide_mm": found.guide_mm}
    missing = {k: v for k, v in lengths.items() if v is not None and getattr(mould, k) is None}
    return mould.model_copy(update=missing)


def _cavity_report(cavity: Measured, each: tuple[Row, ...]) -> dict[str, Any]:
    mean = cavity.weighings
    return {
        "volume_ml": ml_from_mm3(cavity.volume_mm3),
        "volume_ml_sd": ml_from_mm3(cavity.volume_sd_mm3) if cavity.doubts else None,
        "doubts_ml": {doubt.name: ml_from_mm3(doubt.volume_mm3) for doubt in cavity.doubts},
        "depth_mm": None if cavity.body is None else cavity.body.height_mm,
        "water_g": None if mean is None else {"mean": mean.value, "sd": mean.sd},
        "rows": [row.report() for row in each],
        "remarks": list(cavity.remarks),
    }
