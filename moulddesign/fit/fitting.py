"""A mould that exists: its measures become weights that fit it, and several moulds are ranked."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

from moulddesign.core import ml_from_mm3, mm3_from_ml
from moulddesign.design import Design, OwnedMould
from moulddesign.fit.cavities import Cup, Measured, from_sizes, from_water
from moulddesign.fit.hollows import Found, from_mesh, from_press_meshes
from moulddesign.fit.rows import RATIOS, Row, Window, kinds, row, rows, windows
from moulddesign.portion import Portion, figures

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


NEAR_RATIO: Final = 0.02
"""A piece fills a mould when their volumes differ by no more; our choice, as small as weighing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ranked:
    """A mould beside the portion asked for.

    Parameters
    ----------
    name : str
        The mould, and which of its cavities where they differ.
    volume_ml : float
        What it holds [mL].
    over_ratio : float
        By how much the portion is larger than what the mould takes, as a share; negative where it
        is smaller, 0 inside a press mould's window.
    height_mm : float or None
        Pressed height in a press mould [mm].
    crust_thickness_mm : float or None
        Where the shape is known [mm].
    fills_raw_g : float or None
        Raw weight of the piece that fills it; in a window, the portion's own [g].
    takes : bool
        Whether it takes the portion.
    says : tuple of str
        Sentences.
    """

    name: str
    volume_ml: float
    over_ratio: float
    height_mm: float | None
    crust_thickness_mm: float | None
    fills_raw_g: float | None
    takes: bool
    says: tuple[str, ...]

    def report(self) -> dict[str, Any]:
        """Return it as plain values."""
        return {name: getattr(self, name) for name in self.__slots__} | {"says": list(self.says)}


def ranked(
    design: Design,
    moulds: Sequence[OwnedMould],
    stage: Callable[[str], None] = lambda _: None,
) -> tuple[Ranked, ...]:
    """Return moulds beside the portion asked for, the best first.

    Parameters
    ----------
    design : Design
        The portion: weight, ratio, centres.
    moulds : sequence of OwnedMould
        The shelf.
    stage : callable
        Called with the name of each mould before it is measured.

    Returns
    -------
    tuple of Ranked
        Those that take the portion first, among them those without a remark; then by how far the
        portion is from filling each.

    Raises
    ------
    MouldError
        A mould cannot be measured, or the portion cannot be made.
    """
    piece = figures(design).piece
    found = [each for mould in moulds for each in _beside(design, piece, mould, stage=stage)]
    return tuple(sorted(found, key=_order))


def _order(each: Ranked) -> tuple[bool, bool, float]:
    # Rounded, so that what fits equally well stays in the shelf's order.
    return (not each.takes, bool(each.says), round(abs(each.over_ratio), 3))


def _beside(
    design: Design, piece: Portion, mould: OwnedMould, *, stage: Callable[[str], None]
) -> tuple[Ranked, ...]:
    stage(mould.name)
    made = fit(design, mould)
    window = made.window(design)
    if window is not None:
        return (_pressed(piece, made, window),)
    return tuple(
        _poured(design, piece, made.cavities[numbers[0]][0], name=_named(made, numbers))
        for numbers in made.alike
    )


def _named(made: Fit, numbers: Sequence[int]) -> str:
    if len(numbers) == len(made.cavities):
        return made.mould.name
    first, last = numbers[0] + 1, numbers[-1] + 1
    return f"{made.mould.name}, {first}" if first == last else f"{made.mould.name}, {first}-{last}"


def _poured(design: Design, piece: Portion, cavity: Measured, *, name: str) -> Ranked:
    """Return a mould that takes one weight."""
    filling = row(design, cavity)
    volume_ml = ml_from_mm3(cavity.volume_mm3)
    over = piece.volume_ml / volume_ml - 1.0
    return Ranked(
        name=name,
        volume_ml=volume_ml,
        over_ratio=over,
        height_mm=None,
        crust_thickness_mm=filling.crust_thickness_mm,
        fills_raw_g=None if filling.piece is None else filling.piece.raw_g,
        takes=abs(over) <= NEAR_RATIO,
        says=(*_too(over, "the mould"), *filling.remarks),
    )


def _pressed(piece: Portion, made: Fit, window: Window) -> Ranked:
    """Return a press mould, which takes what lies in its window."""
    height_mm = window.height_of_mm(piece)
    nearest_mm = min(max(height_mm, window.least_mm), window.most_mm)
    volume_mm3 = window.bore.volume_mm3(nearest_mm)
    filling = row(window.design, _at_height(made, window, nearest_mm))
    over = 0.0 if window.holds(height_mm) else mm3_from_ml(piece.volume_ml) / volume_mm3 - 1.0
    takes = abs(over) <= NEAR_RATIO
    return Ranked(
        name=made.mould.name,
        volume_ml=ml_from_mm3(volume_mm3),
        over_ratio=over,
        height_mm=height_mm,
        crust_thickness_mm=filling.crust_thickness_mm,
        fills_raw_g=None if filling.piece is None else filling.piece.raw_g,
        takes=takes,
        says=(*_too(over, "the window"), *filling.remarks),
    )


def _at_height(made: Fit, window: Window, height_mm: float) -> Measured:
    return Measured(
        volume_mm3=window.bore.volume_mm3(height_mm),
        doubts=(),
        body=Cup(outline=window.bore.outline, height_mm=height_mm),
        relief_depth_mm=made.mould.relief_depth_mm,
    )


def _too(over_ratio: float, what: str) -> tuple[str, ...]:
    if abs(over_ratio) <= NEAR_RATIO:
        return ()
    kind = "large" if over_ratio > 0.0 else "small"
    return (f"The portion is {abs(over_ratio):.0%} too {kind} for {what}.",)
