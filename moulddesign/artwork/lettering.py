"""Lettering: a font file shaped and outlined, and lines of text, straight or along a circle.

Text becomes glyphs in three steps: the bidirectional algorithm divides a line into runs of one
direction and orders them as they are seen, HarfBuzz chooses and places the glyphs of each run, and
fontTools draws their outlines.
"""

import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.util import find_spec
from io import BytesIO
from math import pi
from pathlib import Path
from typing import Any, Final

import numpy as np
import uharfbuzz
from bidi import algorithm
from fontTools.pens.basePen import BasePen
from fontTools.ttLib import TTFont, TTLibError
from picosvg.svg_transform import Affine2D

from moulddesign.artwork import polygons
from moulddesign.core import FileError, SpecError, read_bytes, say
from moulddesign.geometry import Points

MOST_FONT_BYTES: Final = 60_000_000
DEFAULT_FONT: Final = "DejaVuSans-Bold.ttf"
"""Bold, for thin strokes do not press; matplotlib ships it."""
OUTLINE_TABLES: Final = ("glyf", "CFF ", "CFF2")


@dataclass(frozen=True, slots=True)
class Glyph:
    """One glyph where shaping puts it, in font units."""

    commands: tuple[polygons.PathCommand, ...]
    """Its outline about its own origin, y up."""
    x: float
    """Its origin on the line."""
    y: float
    centre: float
    """Middle of the advance of the characters that it belongs to."""
    joined: bool
    """Whether its script joins letters."""


@dataclass(frozen=True, slots=True)
class ShapedLine:
    """One shaped line: its glyphs from left to right, and its advance [font units]."""

    glyphs: tuple[Glyph, ...]
    advance: float


@dataclass(frozen=True, slots=True, eq=False)
class Font:
    """An opened font."""

    path: Path
    outlines: Any
    """fontTools' view of it, a TTFont."""
    shaper: Any
    """HarfBuzz's view of it."""

    @property
    def em(self) -> float:
        """Units in the em square."""
        return float(self.outlines["head"].unitsPerEm)

    @property
    def pitch(self) -> float:
        """From one line to the next [font units]."""
        head = self.outlines["hhea"]
        return float(head.ascent - head.descent + head.lineGap)


def default_font() -> Path:
    """Return the font that is used where none is given."""
    spec = find_spec("matplotlib")
    roots = spec.submodule_search_locations if spec else None
    path = Path(roots[0] if roots else ".") / "mpl-data" / "fonts" / "ttf" / DEFAULT_FONT
    if not path.is_file():
        raise FileError(str(path), say("artwork.font-missing"))
    return path


@cache
def open_font(path: Path) -> Font:
    """Return an opened TrueType or OpenType font; the first of a collection.

    Raises
    ------
    FileError
        It cannot be read, is too large, or holds no outlines.
    """
    advice = say("artwork.font-for-one-script")
    raw = read_bytes(path, most_bytes=MOST_FONT_BYTES, advice=advice)
    try:
        outlines = TTFont(BytesIO(raw), fontNumber=0, lazy=True)
        shaper = uharfbuzz.Font(uharfbuzz.Face(uharfbuzz.Blob(raw)))
    except (TTLibError, uharfbuzz.HarfBuzzError) as error:
        raise FileError(str(path), say("artwork.no-font")) from error
    if not any(table in outlines for table in OUTLINE_TABLES):
        raise FileError(str(path), say("artwork.font-without-outlines"))
    return Font(path, outlines, shaper)


def shaped_line(text: str, font: Font) -> ShapedLine:
    """Return one line of text, kerned and in the order in which it is seen.

    Directions follow the Unicode Bidirectional Algorithm; the font's features for kerning,
    ligatures and joining are applied.
    """
    glyphs: list[Glyph] = []
    pen = 0.0
    for run, backward in _runs(text):
        found, pen = _shaped_run(run, font, pen, backward=backward)
        glyphs += found
    return ShapedLine(tuple(glyphs), pen)


def _runs(text: str) -> list[tuple[str, bool]]:
    """Return the runs of one direction from left to right, each with whether it reads leftwards."""
    # python-bidi's own steps: its one function for users returns the text reordered, without the
    # levels, and a run must reach HarfBuzz in the order in which it is read.
    store: Any = algorithm.get_empty_storage()
    store["base_level"] = algorithm.get_base_level(text)
    store["base_dir"] = ("L", "R")[store["base_level"]]
    algorithm.get_embedding_levels(text, store)
    algorithm.explicit_embed_and_overrides(store)
    algorithm.resolve_weak_types(store)
    algorithm.resolve_neutral_types(store, debug=False)
    algorithm.resolve_implicit_levels(store, debug=False)
    runs: list[tuple[str, int]] = []
    for char in store["chars"]:
        if runs and runs[-1][1] == char["level"]:
            runs[-1] = (runs[-1][0] + char["ch"], char["level"])
        else:
            runs.append((char["ch"], char["level"]))
    return [(run, level % 2 == 1) for run, level in _in_visual_order(runs)]


def _in_visual_order(runs: list[tuple[str, int]]) -> list[tuple[str, int]]:
    """Return runs as they are seen: rule L2 of Unicode Standard Annex 9, on whole runs."""
    for level in range(max((level for _, level in runs), default=0), 0, -1):
        start = 0
        while start < len(runs):
            end = start
            while end < len(runs) and runs[end][1] >= level:
                end += 1
            runs[start:end] = runs[start:end][::-1]
            start = end + 1
    return runs


def _shaped_run(run: str, font: Font, pen: float, *, backward: bool) -> tuple[list[Glyph], float]:
    buffer = uharfbuzz.Buffer()
    buffer.add_str(run)
    buffer.guess_segment_properties()
    buffer.direction = "rtl" if backward else "ltr"
    uharfbuzz.shape(font.shaper, buffer)
    infos, places = buffer.glyph_infos, buffer.glyph_positions
    centres = _centres(infos, places, pen)
    joined = any(unicodedata.bidirectional(char) == "AL" for char in run)
    glyphs: list[Glyph] = []
    for info, place in zip(infos, places, strict=True):
        _require_glyph(info, run, font)
        glyphs.append(
            Glyph(
                _glyph_outline(font, info.codepoint), pen + place.x_offset, float(place.y_offset),
                centres[info.cluster], joined,
            )
        )  # fmt: skip
        pen += place.x_advance
    return glyphs, pen


def _centres(infos: Sequence[Any], places: Sequence[Any], pen: float) -> dict[int, float]:
    """Return the middle of each cluster's advance, so that marks rotate with their letter."""
    spans: dict[int, tuple[float, float]] = {}
    for info, place in zip(infos, places, strict=True):
        start, _ = spans.get(info.cluster, (pen, pen))
        pen += place.x_advance
        spans[info.cluster] = (start, pen)
    return {cluster: (start + end) / 2.0 for cluster, (start, end) in spans.items()}


def _require_glyph(info: Any, run: str, font: Font) -> None:  # noqa: ANN401 (uharfbuzz's own type)
    if info.codepoint == 0:
        char = run[info.cluster]
        name = unicodedata.name(char, "no name")
        code_point = f"U+{ord(char):04X}"
        need = say("artwork.no-glyph", code_point=code_point, name=name, font=font.path.name)
        raise SpecError("text", char, need)


def _glyph_outline(font: Font, number: int) -> tuple[polygons.PathCommand, ...]:
    glyphs = font.outlines.getGlyphSet()
    pen = _CommandPen(glyphs)
    glyphs[font.outlines.getGlyphName(number)].draw(pen)
    return tuple(pen.commands)


class _CommandPen(BasePen):  # type: ignore[misc]  # fontTools has no types
    """A pen that writes path commands; the base class takes components and quadratics apart."""

    def __init__(self, glyphs: Any) -> None:  # noqa: ANN401
        super().__init__(glyphs)
        self.commands: list[polygons.PathCommand] = []

    def _add(self, letter: str, *points: tuple[float, float]) -> None:
        self.commands.append((letter, tuple(float(value) for point in points for value in point)))

    def _moveTo(self, point: Any) -> None:  # noqa: ANN401, N802
        self._add("M", point)

    def _lineTo(self, point: Any) -> None:  # noqa: ANN401, N802
        self._add("L", point)

    def _curveToOne(self, *points: Any) -> None:  # noqa: ANN401, N802
        self._add("C", *points)

    def _qCurveToOne(self, *points: Any) -> None:  # noqa: ANN401, N802
        self._add("Q", *points)

    def _closePath(self) -> None:  # noqa: N802
        self._add("Z")


MOST_LETTERS: Final = 400


def lettering(text: str, font: Path | None = None) -> tuple[polygons.Region, ...]:
    """Return lines of text, centred one below the other.

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
    face = open_font(font or default_font())
    areas = [polygons.fill_nonzero(lines) for lines in _glyph_outlines(_checked_lines(text), face)]
    return _fitted_to_unit(polygons.polygon_union(areas), text)


def rim_lettering(
    text: str, font: Path | None, *, radius_mm: float, height_mm: float
) -> tuple[polygons.Region, ...]:
    """Return text along the top of a circle, its feet towards the centre.

    Parameters
    ----------
    radius_mm : float
        Radius of the base line [mm].
    height_mm : float
        Size of the letters: the font's em [mm].

    Returns
    -------
    tuple of Region
        One region of full depth around the circle's centre [mm]. Letters are rotated as they are;
        only in scripts that join them they are bent, so that they still meet.

    Raises
    ------
    SpecError
        The text is empty, too long for the circle, or a character has no glyph.
    FileError
        The font cannot be read.
    """
    return _on_circle(text, font, radius_mm=radius_mm, height_mm=height_mm)


def lower_rim_lettering(
    text: str, font: Path | None, *, radius_mm: float, height_mm: float
) -> tuple[polygons.Region, ...]:
    """Return text along the bottom of a circle, its heads towards the centre.

    As `rim_lettering`; the radius is again that of the base line.
    """
    return _on_circle(text, font, radius_mm=-radius_mm, height_mm=height_mm)


def _on_circle(
    text: str, font: Path | None, *, radius_mm: float, height_mm: float
) -> tuple[polygons.Region, ...]:
    """Return text on a circle about the origin; a negative radius is its lower side."""
    face = open_font(font or default_font())
    scale = height_mm / face.em
    (line,) = [shaped_line(part, face) for part in _checked_lines(text, most_lines=1)]
    rim_mm = 2.0 * pi * abs(radius_mm)
    length_mm = line.advance * scale
    if not 0.0 < length_mm <= rim_mm:
        need = say("artwork.text-too-long-for-rim", length_mm=length_mm, rim_mm=rim_mm)
        raise SpecError("text", text, need)
    middle = line.advance / 2.0
    areas = [
        polygons.fill_nonzero(_glyph_on_circle(glyph, middle, radius_mm=radius_mm, scale=scale))
        for glyph in line.glyphs
        if glyph.commands
    ]
    return _as_region(polygons.polygon_union(areas), text)


def _glyph_on_circle(
    glyph: Glyph, middle: float, *, radius_mm: float, scale: float
) -> list[Points]:
    """Return a glyph in its place on the circle; bent where its script joins letters.

    A place s along the line, counted from its middle, is the angle s / r clockwise from the top.
    A point (u, v) of the letter, u across from the letter's own middle and v above the base line,
    lies at the radius r + v in the letter's frame, which is rotated by that angle a::

        x =  u cos a + (r + v) sin a
        y = -u sin a + (r + v) cos a

    A letter that is rotated takes one angle for all its points; one that is bent takes each
    point's own, with u = 0. With r negative the same two lines give the lower side: the angle
    changes its sign, so the text still runs left to right, and heads point to the centre.
    """
    flatness = polygons.FLATNESS * abs(radius_mm) * 2.0 / scale
    place = Affine2D(1.0, 0.0, 0.0, 1.0, glyph.x, glyph.y)
    lines = polygons.polylines(glyph.commands, place, flatness)
    result: list[Points] = []
    for line in lines:
        fine = _subdivided(line, abs(radius_mm) / scale / 90.0) if glyph.joined else line
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


def _subdivided(line: Points, longest: float) -> Points:
    """Return a closed line with points added, so that bending it bends its straight parts too."""
    ends = np.roll(line, -1, axis=0)
    counts = np.maximum(np.ceil(np.hypot(*(ends - line).T) / longest).astype(int), 1)
    pieces = [
        start + (end - start) * np.arange(count)[:, None] / count
        for start, end, count in zip(line, ends, counts, strict=True)
    ]
    return np.concatenate(pieces)


def _glyph_outlines(lines: list[str], face: Font) -> Iterator[list[Points]]:
    """Yield each glyph's outline, lines centred at x = 0 and the first at y = 0 [font units]."""
    flatness = polygons.FLATNESS * face.em
    for row, text in enumerate(lines):
        line = shaped_line(text, face)
        for glyph in line.glyphs:
            x, y = glyph.x - line.advance / 2.0, glyph.y - row * face.pitch
            yield polygons.polylines(glyph.commands, Affine2D(1.0, 0.0, 0.0, 1.0, x, y), flatness)


def _checked_lines(text: str, most_lines: int = 40) -> list[str]:
    lines = [line.strip() for line in text.strip().splitlines()]
    if not any(lines):
        raise SpecError("text", text, say("artwork.text-empty"))
    if len(text) > MOST_LETTERS:
        need = say("artwork.text-too-long", most=MOST_LETTERS)
        raise SpecError("text", text[:40], need)
    if len(lines) > most_lines:
        raise SpecError("text", text, say("artwork.text-too-many-lines", most=most_lines))
    return lines


def _fitted_to_unit(area: polygons.PolygonSet, text: str) -> tuple[polygons.Region, ...]:
    """Return an area centred and scaled so that the larger side of its box is 1."""
    if area.is_empty():
        return _as_region(area, text)
    left, low, right, high = area.bounds()
    scale = 1.0 / max(right - left, high - low)
    moved = area.translate((-(left + right) / 2.0, -(low + high) / 2.0))
    return _as_region(moved.scale((scale, scale)), text)


def _as_region(area: polygons.PolygonSet, text: str) -> tuple[polygons.Region, ...]:
    found = polygons.visible_regions([(area, 1.0)], say("artwork.lettering"))
    if not found:
        raise SpecError("text", text, say("artwork.text-draws-nothing"))
    return found
