"""The plot of a press mould: height over weight, with the window marked."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import ceil, floor, log10
from typing import Final
from xml.sax.saxutils import escape

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from moulddesign.artwork.font_files import regular_font
from moulddesign.fit.pieces import Window
from moulddesign.geometry import Points
from moulddesign.portion import Portion, finished_from_raw_g
from moulddesign.render import png_bytes

WINDOW_COLOUR: Final = "#d9e4c8"
LINE_COLOUR: Final = "#3d5a2a"
BAND_COLOUR: Final = "#ccd4c6"
MARK_COLOUR: Final = "#a4471c"
GRID_COLOUR: Final = "#cccccc"
INK: Final = "#222222"
PAPER: Final = "#ffffff"
MARGIN_RATIO: Final = 0.25
"""How far the line goes on beyond the window, as a share of it."""
SIZE: Final = (720, 460)
"""Width and height of the plot, in units of which its lines and letters are multiples."""
ROOM: Final = (62.0, 84.0, 700.0, 408.0)
"""Left, top, right and lower end of its axes."""
PNG_SCALE: Final = 1.5
"""Pixels of a unit in a PNG."""
OVERSAMPLED: Final = 3
"""Drawn so many times larger, and averaged."""
LETTERS: Final = 12.0
MOST_TICKS: Final = 9


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


class Anchor(StrEnum):
    """Which part of a text lies at its place; as SVG writes it."""

    START = "start"
    MIDDLE = "middle"
    END = "end"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Line:
    """A line, or a filled shape where it has a fill."""

    points: tuple[tuple[float, float], ...]
    colour: str = "none"
    width: float = 1.0
    fill: str = "none"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Label:
    """A line of text, its middle at a height; with a halo it reads over lines."""

    text: str
    at: tuple[float, float]
    anchor: Anchor = Anchor.MIDDLE
    colour: str = INK
    size: float = LETTERS
    halo: str = "none"
    upwards: bool = False


_Item = _Line | _Label


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
    width, height = SIZE
    items = _items(name, window, wording, sd_g=sd_g, pieces=pieces)
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}" '
        f'viewBox="0 0 {width} {height}" font-family="DejaVu Sans, sans-serif">'
    )
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        head,
        f'<rect width="{width}" height="{height}" fill="{PAPER}"/>',
        *(_svg_line(item) if isinstance(item, _Line) else _svg_text(item) for item in items),
        "</svg>\n",
    ]
    return "\n".join(lines).encode()


def _svg_line(line: _Line) -> str:
    points = " ".join(f"{x:.2f},{y:.2f}" for x, y in line.points)
    tag = "polyline" if line.fill == "none" else "polygon"
    return (
        f'<{tag} points="{points}" fill="{line.fill}" stroke="{line.colour}" '
        f'stroke-width="{line.width:g}"/>'
    )


def _svg_text(label: _Label) -> str:
    x, y = label.at
    turned = f' transform="rotate(-90 {x:.2f} {y:.2f})"' if label.upwards else ""
    halo = (
        "" if label.halo == "none"
        else f' stroke="{label.halo}" stroke-width="4" paint-order="stroke"'
    )  # fmt: skip
    # A capital is 0.73 of the letters' size high in the face that is asked for.
    return (
        f'<text x="{x:.2f}" y="{y + 0.36 * label.size:.2f}" text-anchor="{label.anchor}" '
        f'font-size="{label.size:g}" fill="{label.colour}"{halo}{turned}>'
        f"{escape(label.text)}</text>"
    )


def window_png(name: str, window: Window, *, sd_g: float, pieces: Sequence[Portion]) -> bytes:
    """Return the plot of `window_svg` as a PNG file, 1080 pixels wide."""
    scale = PNG_SCALE * OVERSAMPLED
    image = Image.new("RGB", (round(SIZE[0] * scale), round(SIZE[1] * scale)), PAPER)
    for item in _items(name, window, ENGLISH, sd_g=sd_g, pieces=pieces):
        if isinstance(item, _Line):
            _paint_line(ImageDraw.Draw(image), item, scale)
        else:
            _paint_text(image, item, scale)
    return png_bytes(np.asarray(image.reduce(OVERSAMPLED)))


def _paint_line(pen: ImageDraw.ImageDraw, line: _Line, scale: float) -> None:
    points = [(scale * x, scale * y) for x, y in line.points]
    if line.fill != "none":
        pen.polygon(points, fill=line.fill)
    if line.colour != "none":
        pen.line(points, fill=line.colour, width=round(scale * line.width), joint="curve")


def _paint_text(image: Image.Image, label: _Label, scale: float) -> None:
    font = ImageFont.truetype(str(regular_font()), scale * label.size)
    halo = {} if label.halo == "none" else {"stroke_width": 2 * scale, "stroke_fill": label.halo}
    anchor = {Anchor.START: "lm", Anchor.MIDDLE: "mm", Anchor.END: "rm"}[label.anchor]
    x, y = (scale * place for place in label.at)
    if not label.upwards:
        ImageDraw.Draw(image).text(
            (x, y), label.text, label.colour, font, anchor, **halo  # type: ignore[arg-type]
        )  # fmt: skip
        return
    long = ceil(font.getlength(label.text))
    mask = Image.new("L", (long, ceil(2 * font.size)))
    ImageDraw.Draw(mask).text((long / 2, font.size), label.text, 255, font, "mm")
    turned = mask.transpose(Image.Transpose.ROTATE_90)
    image.paste(label.colour, (round(x - turned.width / 2), round(y - turned.height / 2)), turned)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Axes:
    """Where weights and heights lie on the plot."""

    weights_g: tuple[float, float]
    heights_mm: tuple[float, float]

    def at(self, weight_g: float, height_mm: float) -> tuple[float, float]:
        """Return the place of a weight and a height."""
        left, top, right, low = ROOM
        (w0, w1), (h0, h1) = self.weights_g, self.heights_mm
        return (
            left + (right - left) * (weight_g - w0) / (w1 - w0),
            low - (low - top) * (height_mm - h0) / (h1 - h0),
        )

    def row(self, points: Points) -> tuple[tuple[float, float], ...]:
        """Return the places of weights and heights, shape (n, 2)."""
        return tuple(self.at(weight, height) for weight, height in points.tolist())


def _items(
    name: str, window: Window, wording: Wording, *, sd_g: float, pieces: Sequence[Portion]
) -> Iterator[_Item]:
    """Yield what the plot consists of, the lowest first."""
    curve = _curve(window, pieces)
    axes = _Axes(
        weights_g=(float(curve[0, 0]), float(curve[-1, 0])),
        heights_mm=(float(curve[0, 1]), float(curve[-1, 1])),
    )
    yield from _ground(axes, window)
    yield from _scales(axes, window, wording)
    if sd_g > 0.0:
        beside = np.array([2.0 * sd_g, 0.0])
        both = np.concatenate([curve - beside, (curve + beside)[::-1]])
        both[:, 0] = both[:, 0].clip(*axes.weights_g)
        yield _Line(points=axes.row(both), fill=BAND_COLOUR)
        text = f"±{2.0 * sd_g:.1f} g, {wording.uncertainty}"
        yield _Line(
            points=((652, 392), (688, 392), (688, 400), (652, 400)), fill=BAND_COLOUR
        )  # fmt: skip
        yield _Label(text=text, at=(646, 396), anchor=Anchor.END, halo=PAPER)
    yield _Line(points=axes.row(curve), colour=LINE_COLOUR, width=2.0)
    ends = ((window.least, window.least_mm), (window.most, window.most_mm))
    marks = [
        mark
        for (piece, height_mm), word in zip(ends, (wording.least, wording.most), strict=True)
        if piece is not None
        for mark in _end(axes, piece, height_mm, word)
    ]
    # Text over all lines.
    yield from sorted(marks, key=lambda mark: isinstance(mark, _Label))
    for piece in pieces:
        yield from _mark(axes, piece, window.height_of_mm(piece))
    title = wording.title.format(name=name, ratio=window.design.portion.ratio)
    title += wording.with_centre if window.design.portion.centres else ""
    yield _Label(text=title, at=(ROOM[0], 20.0), anchor=Anchor.START, size=15.0)


def _curve(window: Window, pieces: Sequence[Portion]) -> Points:
    """Return raw weights and heights from below all that is marked to above it, shape (n, 2)."""
    marked = [window.least_mm, window.most_mm, *map(window.height_of_mm, pieces)]
    room_mm = MARGIN_RATIO * (max(marked) - min(marked))
    low, high = min(marked) - room_mm, max(marked) + room_mm
    heights_mm: list[float] = np.linspace(max(low, 0.0), high, 50).tolist()
    found = [(window.piece_at(h), h) for h in heights_mm if window.bore.volume_mm3(h) > 0.0]
    return np.array([(piece.raw_g, h) for piece, h in found if piece is not None])


def _ground(axes: _Axes, window: Window) -> Iterator[_Item]:
    low, high = (
        float(np.clip(height_mm, *axes.heights_mm))
        for height_mm in (window.least_mm, window.most_mm)
    )
    first, last = axes.weights_g
    corners = ((first, low), (last, low), (last, high), (first, high))
    yield _Line(points=axes.row(np.array(corners)), fill=WINDOW_COLOUR)


def _scales(axes: _Axes, window: Window, wording: Wording) -> Iterator[_Item]:
    """Yield the grid, the frame and what stands at it."""
    left, top, right, low = ROOM
    for weight_g in _ticks(*axes.weights_g):
        x, _ = axes.at(weight_g, axes.heights_mm[0])
        yield _Line(points=((x, top), (x, low)), colour=GRID_COLOUR, width=0.6)
        yield _Label(text=f"{weight_g:g}", at=(x, low + 13.0))
    for height_mm in _ticks(*axes.heights_mm):
        _, y = axes.at(axes.weights_g[0], height_mm)
        yield _Line(points=((left, y), (right, y)), colour=GRID_COLOUR, width=0.6)
        yield _Label(text=f"{height_mm:g}", at=(left - 7.0, y), anchor=Anchor.END)
    # The finished mass is a straight line over the raw one.
    portion = window.design.portion
    fixed_g = finished_from_raw_g(portion, 0.0)
    factor = finished_from_raw_g(portion, 1.0) - fixed_g
    for finished_g in _ticks(*(fixed_g + factor * raw_g for raw_g in axes.weights_g)):
        x, _ = axes.at((finished_g - fixed_g) / factor, axes.heights_mm[0])
        yield _Line(points=((x, top), (x, top - 4.0)), colour=INK)
        yield _Label(text=f"{finished_g:g}", at=(x, top - 13.0))
    frame = ((left, top), (right, top), (right, low), (left, low), (left, top))
    yield _Line(points=frame, colour=INK)
    middle = (left + right) / 2.0
    yield _Label(text=wording.raw, at=(middle, low + 34.0))
    yield _Label(text=wording.finished, at=(middle, top - 34.0))
    yield _Label(text=wording.height, at=(18.0, (top + low) / 2.0), upwards=True)


def _ticks(low: float, high: float) -> list[float]:
    """Return round values from one to another, at most nine.

    Examples
    --------
    >>> _ticks(37.0, 82.0)
    [40.0, 45.0, 50.0, 55.0, 60.0, 65.0, 70.0, 75.0, 80.0]
    """
    least = (high - low) / MOST_TICKS
    power = 10.0 ** floor(log10(least))
    step = next(power * factor for factor in (1.0, 2.0, 5.0, 10.0) if power * factor >= least)
    return [
        round(number * step, 9) for number in range(ceil(low / step), floor(high / step) + 1)
    ]  # fmt: skip


def _end(axes: _Axes, piece: Portion, height_mm: float, word: str) -> Iterator[_Item]:
    """Yield the mark of one end of the window: it stands in the window, off the curve."""
    x, y = axes.at(piece.raw_g, height_mm)
    yield _Line(points=((x, y), (x, ROOM[3])), colour=LINE_COLOUR, width=0.8)
    text = f"{word}: {height_mm:.1f} mm, {piece.raw_g:.0f} g"
    at_right = x < (ROOM[0] + ROOM[2]) / 2.0
    place, anchor = (
        ((ROOM[2] - 8.0, y - 10.0), Anchor.END)
        if at_right
        else ((ROOM[0] + 8.0, y + 10.0), Anchor.START)
    )
    yield _Label(text=text, at=place, anchor=anchor, colour=LINE_COLOUR, halo=WINDOW_COLOUR)


def _mark(axes: _Axes, piece: Portion, height_mm: float) -> Iterator[_Item]:
    x, y = axes.at(piece.raw_g, height_mm)
    turns = np.linspace(0.0, 2.0 * np.pi, 24, endpoint=False)
    disc = np.stack([x + 4.5 * np.cos(turns), y + 4.5 * np.sin(turns)], axis=1)
    yield _Line(points=tuple(map(tuple, disc.tolist())), fill=MARK_COLOUR)
    text = f"{piece.raw_g:.1f} g: {height_mm:.1f} mm"
    is_left = x < (ROOM[0] + ROOM[2]) / 2.0
    yield _Label(
        text=text,
        at=(x + 10.0, y + 14.0) if is_left else (x - 10.0, y - 14.0),
        anchor=Anchor.START if is_left else Anchor.END,
        colour=MARK_COLOUR,
        halo=PAPER,
    )
