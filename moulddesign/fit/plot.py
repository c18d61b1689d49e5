"""The plot of a press mould: height over weight, with the window marked."""

import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Final

import numpy as np
from matplotlib import rc_context
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import ArrayLike

from moulddesign.fit.pieces import Window
from moulddesign.geometry import Points
from moulddesign.portion import Portion, finished_from_raw_g

WINDOW_COLOUR: Final = "#d9e4c8"
LINE_COLOUR: Final = "#3d5a2a"
MARK_COLOUR: Final = "#a4471c"
PNG_DPI: Final = 150.0
"""Of a PNG [pixels an inch]."""
MARGIN_RATIO: Final = 0.25
"""How far the line goes on beyond the window, as a share of it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wording:
    """What the plot says; braces are filled in."""

    title: str = "{name}: crust to filling {ratio}"
    """Of the whole."""
    with_centre: str = ", with its centre"
    """Behind the title, of a piece with a centre."""
    raw: str = "raw weight, g"
    finished: str = "finished weight, g"
    height: str = "height to the flat top, mm"
    least: str = "least"
    """At the lower end of the window."""
    most: str = "most"
    """At the upper end of the window."""
    uncertainty: str = "twice its uncertainty"
    """Of the band."""


ENGLISH: Final = Wording()


def window_svg(
    name: str,
    window: Window,
    *,
    sd_g: float,
    pieces: Sequence[Portion],
    wording: Wording = ENGLISH,
) -> bytes:
    """Return the plot of height over raw weight as an SVG file.

    Parameters
    ----------
    name : str
        The mould, for the title.
    window : Window
        Of one kind of piece.
    sd_g : float
        Standard uncertainty of the raw weight that fills the mould; a band of twice that is
        drawn, 0 draws none [g].
    pieces : sequence of Portion
        Weights to mark.
    wording : Wording
        What it says.
    """
    # Without the salt the SVG's names are random; without the date it is the same every day.
    with rc_context({"svg.hashsalt": "moulddesign", "font.size": 11}):
        made = _figure(name, window, wording, sd_g=sd_g, pieces=pieces)
        return _saved(made, "svg", {"Date": None})


def window_png(name: str, window: Window, *, sd_g: float, pieces: Sequence[Portion]) -> bytes:
    """Return the plot of `window_svg` as a PNG file, 1080 pixels wide."""
    with rc_context({"font.size": 11, "savefig.dpi": PNG_DPI}):
        made = _figure(name, window, ENGLISH, sd_g=sd_g, pieces=pieces)
        return _saved(made, "png", {"Software": None})


def _figure(
    name: str, window: Window, wording: Wording, *, sd_g: float, pieces: Sequence[Portion]
) -> Figure:
    figure = Figure(figsize=(7.2, 4.6), layout="constrained")
    axes = figure.add_subplot()
    _draw(axes, window, _heights_mm(window, pieces))
    if sd_g > 0.0:
        _band(axes, f"±{2.0 * sd_g:.1f} g, {wording.uncertainty}", sd_g=sd_g)
    _limit(axes, window.least, height_mm=window.least_mm, word=wording.least)
    _limit(axes, window.most, height_mm=window.most_mm, word=wording.most, low=False)
    for piece in pieces:
        _mark(axes, window.height_of_mm(piece), piece)
    _label(axes, name, window, wording=wording)
    return figure


def _saved(figure: Figure, kind: str, metadata: Mapping[str, None]) -> bytes:
    file = io.BytesIO()
    figure.savefig(file, format=kind, metadata=dict(metadata))
    return file.getvalue()


def _heights_mm(window: Window, pieces: Sequence[Portion]) -> list[float]:
    """Return heights from below all that is marked to above it, above 0."""
    marked = [window.least_mm, window.most_mm, *map(window.height_of_mm, pieces)]
    room_mm = MARGIN_RATIO * (max(marked) - min(marked))
    low, high = min(marked) - room_mm, max(marked) + room_mm
    heights: list[float] = np.linspace(max(low, 0.0), high, 50).tolist()
    return heights


def _draw(axes: Axes, window: Window, heights_mm: Sequence[float]) -> None:
    found = [(window.piece_at(h), h) for h in heights_mm if window.bore.volume_mm3(h) > 0.0]
    points = np.array([(piece.raw_g, h) for piece, h in found if piece is not None])
    axes.axhspan(window.least_mm, window.most_mm, color=WINDOW_COLOUR, zorder=0)
    axes.plot(points[:, 0], points[:, 1], color=LINE_COLOUR, linewidth=2.0)
    axes.set_xlim(points[0, 0], points[-1, 0])
    axes.set_ylim(points[0, 1], points[-1, 1])


def _band(axes: Axes, label: str, *, sd_g: float) -> None:
    """Draw what the weight's uncertainty leaves open beside the line."""
    weights_g, heights_mm = np.asarray(axes.lines[0].get_xydata()).T
    left, right = weights_g - 2.0 * sd_g, weights_g + 2.0 * sd_g
    limits = axes.get_xlim()
    axes.fill_betweenx(heights_mm, left, right, color=LINE_COLOUR, alpha=0.2, lw=0.0, label=label)
    axes.set_xlim(limits)
    axes.legend(loc="lower right", framealpha=1.0, edgecolor="none")


def _limit(
    axes: Axes, piece: Portion | None, *, height_mm: float, word: str, low: bool = True
) -> None:
    """Mark one end of the window: the least at the right, the most at the left, off the line."""
    if piece is None:
        return
    axes.vlines(
        piece.raw_g, axes.get_ylim()[0], height_mm, color=LINE_COLOUR, linestyle=":", lw=1.0
    )
    axes.annotate(
        f"{word}: {height_mm:.1f} mm, {piece.raw_g:.0f} g",
        (axes.get_xlim()[1 if low else 0], height_mm),
        xytext=(-6, 6) if low else (6, -6),
        textcoords="offset points",
        ha="right" if low else "left",
        va="bottom" if low else "top",
        color=LINE_COLOUR,
        bbox={"facecolor": WINDOW_COLOUR, "edgecolor": "none", "pad": 1.0},
    )


def _mark(axes: Axes, height_mm: float, piece: Portion) -> None:
    axes.plot([piece.raw_g], [height_mm], "o", color=MARK_COLOUR, zorder=5, clip_on=False)
    axes.annotate(
        f"{piece.raw_g:.1f} g: {height_mm:.1f} mm", (piece.raw_g, height_mm), xytext=(8, -12),
        textcoords="offset points", color=MARK_COLOUR,
    )  # fmt: skip


def _label(axes: Axes, name: str, window: Window, *, wording: Wording) -> None:
    table = window.design.portion
    centre = wording.with_centre if table.centres else ""
    title = wording.title.format(name=name, ratio=table.ratio)
    axes.set_title(title + centre, loc="left")
    axes.set_xlabel(wording.raw)
    axes.set_ylabel(wording.height)
    # The finished mass is a straight line over the raw one.
    fixed_g = finished_from_raw_g(table, 0.0)
    factor = finished_from_raw_g(table, 1.0) - fixed_g
    there, back = partial(_line, fixed_g, factor), partial(_line, -fixed_g / factor, 1.0 / factor)
    finished = axes.secondary_xaxis("top", functions=(there, back))
    finished.set_xlabel(wording.finished)
    axes.grid(visible=True, color="#cccccc", linewidth=0.5)
    axes.set_axisbelow(True)


def _line(fixed_g: float, factor: float, masses_g: ArrayLike) -> Points:
    on_line: Points = fixed_g + factor * np.asarray(masses_g, dtype=np.float64)
    return on_line
