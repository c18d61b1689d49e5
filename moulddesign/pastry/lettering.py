"""Lettering: lines of text, straight or along a circle."""

from collections.abc import Iterator
from math import pi
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray
from picosvg.svg_transform import Affine2D

from moulddesign.errors import SpecError
from moulddesign.pastry.area import Area, joined, nonzero
from moulddesign.pastry.curve import FLATNESS, polylines
from moulddesign.pastry.font import Font, Glyph, default_font, opened, shaped
from moulddesign.pastry.region import Region, regions

MOST_CHARACTERS: Final = 400
Points = NDArray[np.float64]


def lettering(text: str, font: Path | None = None) -> tuple[Region, ...]:
    """Return lines of text, centred one below the other.

    Parameters
    ----------
    text : str
        Lines are parted by line breaks. Any script that the font has glyphs for.
    font : Path, optional
        A TrueType or OpenType file; a bold sans serif where it is left out.

    Returns
    -------
    tuple of Region
        One region of full depth around the origin; the larger side of its box is 1.

    Raises
    ------
    SpecError
        The text is empty or too long, or the font has no glyph for a character.
    FileError
        The font cannot be read.
    """
    face = opened(font or default_font())
    areas = [nonzero(lines) for lines in _set_lines(_checked(text), face)]
    return _fitted(joined(areas), text)


def rim_lettering(
    text: str, font: Path | None, *, radius_mm: float, height_mm: float
) -> tuple[Region, ...]:
    """Return text along the top of a circle, its feet towards the centre.

    Parameters
    ----------
    text : str
        One line.
    font : Path, optional
        A TrueType or OpenType file.
    radius_mm : float
        Radius of the base line [mm].
    height_mm : float
        Size of the letters: the font's em [mm].

    Returns
    -------
    tuple of Region
        One region of full depth around the circle's centre [mm]. Letters are turned, not bent,
        but in scripts that join them.

    Raises
    ------
    SpecError
        The text is empty, too long for the circle, or a character has no glyph.
    FileError
        The font cannot be read.
    """
    return _around(text, font, radius_mm=radius_mm, height_mm=height_mm)


def lower_rim_lettering(
    text: str, font: Path | None, *, radius_mm: float, height_mm: float
) -> tuple[Region, ...]:
    """Return text along the bottom of a circle, its heads towards the centre.

    The parameters are those of `rim_lettering`; the radius is again that of the base line.
    """
    return _around(text, font, radius_mm=-radius_mm, height_mm=height_mm)


def _around(
    text: str, font: Path | None, *, radius_mm: float, height_mm: float
) -> tuple[Region, ...]:
    """Return text on a circle about the origin; a negative radius is its lower side."""
    face = opened(font or default_font())
    scale = height_mm / face.em
    (line,) = [shaped(part, face) for part in _checked(text, most_lines=1)]
    full = 2.0 * pi * abs(radius_mm)
    if not 0.0 < line.advance * scale <= full:
        need = (
            f"runs {line.advance * scale:.1f} mm, and the rim is {full:.1f} mm long: "
            "shorten it, or make the letters smaller"
        )
        raise SpecError("text", text, need)
    middle = line.advance / 2.0
    areas = [
        nonzero(_bent(glyph, middle, radius_mm=radius_mm, scale=scale))
        for glyph in line.glyphs
        if glyph.commands
    ]
    return _drawn(joined(areas), text)


def _bent(glyph: Glyph, middle: float, *, radius_mm: float, scale: float) -> list[Points]:
    """Return a glyph turned into its place on the circle; bent where its script joins letters."""
    flatness = FLATNESS * abs(radius_mm) * 2.0 / scale
    place = Affine2D(1.0, 0.0, 0.0, 1.0, glyph.x, glyph.y)
    lines = polylines(glyph.commands, place, flatness)
    result: list[Points] = []
    for line in lines:
        fine = _finer(line, abs(radius_mm) / scale / 90.0) if glyph.joined else line
        x, y = (fine * scale).T
        centre = x if glyph.joined else np.full_like(x, glyph.centre * scale)
        angle = (centre - middle * scale) / radius_mm
        across, up = x - centre, y + radius_mm
        result.append(
            np.stack(
                [
                    across * np.cos(angle) + up * np.sin(angle),
                    up * np.cos(angle) - across * np.sin(angle),
                ],
                axis=1,
            )
        )
    return result


def _finer(line: Points, longest: float) -> Points:
    """Return a closed line with points added, so that bending it bends its straight parts."""
    ends = np.roll(line, -1, axis=0)
    counts = np.maximum(np.ceil(np.hypot(*(ends - line).T) / longest).astype(int), 1)
    pieces = [
        start + (end - start) * np.arange(count)[:, None] / count
        for start, end, count in zip(line, ends, counts, strict=True)
    ]
    return np.concatenate(pieces)


def _set_lines(lines: list[str], face: Font) -> Iterator[list[Points]]:
    """Yield each glyph's outline, lines centred at x = 0 and the first at y = 0 [font units]."""
    flatness = FLATNESS * face.em
    for row, text in enumerate(lines):
        line = shaped(text, face)
        for glyph in line.glyphs:
            x, y = glyph.x - line.advance / 2.0, glyph.y - row * face.pitch
            yield polylines(glyph.commands, Affine2D(1.0, 0.0, 0.0, 1.0, x, y), flatness)


def _checked(text: str, most_lines: int = 40) -> list[str]:
    lines = [line.strip() for line in text.strip().splitlines()]
    if not any(lines):
        raise SpecError("text", text, "must hold something to read")
    if len(text) > MOST_CHARACTERS:
        need = f"must have at most {MOST_CHARACTERS} characters; a pastry reads a few words"
        raise SpecError("text", text[:40], need)
    if len(lines) > most_lines:
        raise SpecError("text", text, f"must have at most {most_lines} line here")
    return lines


def _fitted(area: Area, text: str) -> tuple[Region, ...]:
    """Return an area centred and scaled so that the larger side of its box is 1."""
    if area.is_empty():
        return _drawn(area, text)
    left, low, right, high = area.bounds()
    scale = 1.0 / max(right - left, high - low)
    moved = area.translate((-(left + right) / 2.0, -(low + high) / 2.0))
    return _drawn(moved.scale((scale, scale)), text)


def _drawn(area: Area, text: str) -> tuple[Region, ...]:
    found = regions([(area, 1.0)], "the lettering")
    if not found:
        raise SpecError("text", text, "draws nothing; it holds only spaces or marks")
    return found
