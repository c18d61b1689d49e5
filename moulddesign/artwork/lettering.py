"""Lettering: text shaped and outlined, in lines, in columns, or as a seal of two by two.

Text becomes glyphs in three steps: the bidirectional algorithm divides a line into runs of one
direction and orders them as they are seen, HarfBuzz chooses and places the glyphs of each run, and
fontTools draws their outlines.
"""

import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import groupby
from operator import attrgetter
from pathlib import Path
from typing import Any, Final

import numpy as np
import uharfbuzz
from bidi import algorithm
from fontTools import unicodedata as scripts
from fontTools.pens.basePen import BasePen
from picosvg.svg_transform import Affine2D

from moulddesign.artwork import polygons
from moulddesign.artwork.font_files import Font, default_font, open_font, refused_if_damaged
from moulddesign.core import SpecError, limits, say
from moulddesign.geometry import Points


@dataclass(frozen=True, slots=True)
class Glyph:
    """One glyph where shaping puts it, in font units."""

    commands: tuple[polygons.PathCommand, ...]
    """Its outline about its own origin, y up."""
    x: float
    """Its origin on the line."""
    y: float
    left: float
    right: float
    """From where to where the advance of the characters goes that it belongs to."""
    joined: bool
    """Whether its script joins letters."""

    @property
    def centre(self) -> float:
        """Middle of the advance of the characters that it belongs to."""
        return (self.left + self.right) / 2.0


@dataclass(frozen=True, slots=True)
class ShapedLine:
    """One shaped line: its glyphs from left to right, and its advance [font units]."""

    glyphs: tuple[Glyph, ...]
    advance: float


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
    spans = _spans(infos, places, pen)
    joined = any(unicodedata.bidirectional(char) == "AL" for char in run)
    glyphs: list[Glyph] = []
    for info, place in zip(infos, places, strict=True):
        _require_glyph(info, run, font)
        glyphs.append(
            Glyph(
                _glyph_outline(font, info.codepoint), pen + place.x_offset, float(place.y_offset),
                *spans[info.cluster], joined,
            )
        )  # fmt: skip
        pen += place.x_advance
    return glyphs, pen


def _spans(
    infos: Sequence[Any], places: Sequence[Any], pen: float
) -> dict[int, tuple[float, float]]:
    """Return each cluster's advance from left to right, so that marks rotate with their letter."""
    spans: dict[int, tuple[float, float]] = {}
    for info, place in zip(infos, places, strict=True):
        start, _ = spans.get(info.cluster, (pen, pen))
        pen += place.x_advance
        spans[info.cluster] = (start, pen)
    return spans


def _require_glyph(info: Any, run: str, font: Font) -> None:  # noqa: ANN401 (uharfbuzz's own type)
    if info.codepoint == 0:
        char = run[info.cluster]
        name = unicodedata.name(char, "no name")
        code_point = f"U+{ord(char):04X}"
        need = say("artwork.no-glyph", code_point=code_point, name=name, font=font.path.name)
        raise SpecError("text", char, need)


@lru_cache(maxsize=256)
def _glyph_outline(font: Font, number: int) -> tuple[polygons.PathCommand, ...]:
    with refused_if_damaged(font.path):
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
    return _usual_lettering(text) if font is None else _lettering(text, open_font(font))


@lru_cache(maxsize=64)
def _usual_lettering(text: str) -> tuple[polygons.Region, ...]:
    """Return text in the program's own font, which no file of a user changes."""
    return _lettering(text, open_font(default_font()))


def _lettering(text: str, face: Font) -> tuple[polygons.Region, ...]:
    areas = [polygons.fill_nonzero(lines) for lines in _glyph_outlines(checked_lines(text), face)]
    return _fitted_to_unit(polygons.polygon_union(areas), text)


COLUMN_PITCH: Final = 1.15
"""From one column to the next, in em squares; our choice."""
SEAL_PITCH: Final = 1.14
"""From one character of a seal to the next, in sides of the largest; our choice."""
SEAL: Final = 4
"""Characters of a seal."""
UPRIGHT: Final = frozenset({"Hani", "Hira", "Kana", "Hang", "Bopo", "Tang", "Kits", "Nshu", "Yiii"})
"""Scripts whose characters stand upright in columns, by their codes in ISO 15924. Source: Unicode
Standard Annex 50, Vertical_Orientation U."""


def column_lettering(text: str, font: Path | None = None) -> tuple[polygons.Region, ...]:
    """Return text from top to bottom, each line a column, the first one at the right.

    The font's own upright forms and vertical metrics are used where it has them. What is returned
    and raised is as for `lettering`.
    """
    face = open_font(font or default_font())
    areas = []
    for number, line in enumerate(checked_lines(text)):
        matrix = Affine2D(1.0, 0.0, 0.0, 1.0, -number * COLUMN_PITCH * face.em, 0.0)
        areas += [polygons.fill_nonzero(lines) for lines in _column(line, face, matrix)]
    return _fitted_to_unit(polygons.polygon_union(areas), text)


def seal_lettering(text: str, font: Path | None = None) -> tuple[polygons.Region, ...]:
    """Return four characters as two by two.

    Scripts of columns are read downwards from the right, others in rows from the left. What is
    returned and raised is as for `lettering`; a text of another number of characters is refused.
    """
    face = open_font(font or default_font())
    (line,) = checked_lines("".join(text.split()) or text, most_lines=1)
    glyphs = sorted(shaped_line(line, face).glyphs, key=attrgetter("left"))
    letters = [list(group) for _, group in groupby(glyphs, key=attrgetter("left"))]
    if len(letters) != SEAL:
        raise SpecError("text", text, say("artwork.seal-of-four", found=len(letters)))
    areas = [_letter_area(letter, face) for letter in letters]
    boxes = [np.reshape(area.bounds(), (2, 2)) for area in areas]
    cell = SEAL_PITCH * max(float(np.ptp(box, axis=0).max()) for box in boxes)
    down_from_right = all(scripts.script(char) in UPRIGHT for char in line)
    places = (
        [(1, 0), (1, -1), (0, 0), (0, -1)]
        if down_from_right
        else [(0, 0), (1, 0), (0, -1), (1, -1)]
    )
    placed = [
        area.translate(tuple(np.multiply(place, cell) - box.mean(axis=0)))
        for area, box, place in zip(areas, boxes, places, strict=True)
    ]
    return _fitted_to_unit(polygons.polygon_union(placed), text)


def _letter_area(letter: Sequence[Glyph], face: Font) -> polygons.PolygonSet:
    """Return what the glyphs of one letter draw [font units]."""
    lines = [
        line
        for glyph in letter
        for line in polygons.polylines(
            glyph.commands,
            Affine2D(1.0, 0.0, 0.0, 1.0, glyph.x, glyph.y),
            polygons.FLATNESS * face.em,
        )
    ]
    return polygons.fill_nonzero(lines)


def _column(text: str, face: Font, matrix: Affine2D) -> Iterator[list[Points]]:
    """Yield each glyph's outline in a column that begins at the origin, mapped [font units]."""
    buffer = uharfbuzz.Buffer()
    buffer.add_str(text)
    buffer.guess_segment_properties()
    buffer.direction = "ttb"
    uharfbuzz.shape(face.shaper, buffer)
    pen = 0.0
    for info, place in zip(buffer.glyph_infos, buffer.glyph_positions, strict=True):
        _require_glyph(info, text, face)
        at = Affine2D(1.0, 0.0, 0.0, 1.0, place.x_offset, pen + place.y_offset)
        commands = _glyph_outline(face, info.codepoint)
        yield polygons.polylines(
            commands, Affine2D.compose_ltr((at, matrix)), polygons.FLATNESS * face.em
        )
        # A font with an empty vmtx table gives no advance; its characters then are an em apart.
        pen += place.y_advance or -face.em


def _glyph_outlines(lines: list[str], face: Font) -> Iterator[list[Points]]:
    """Yield each glyph's outline, lines centred at x = 0 and the first at y = 0 [font units]."""
    flatness = polygons.FLATNESS * face.em
    for row, text in enumerate(lines):
        line = shaped_line(text, face)
        for glyph in line.glyphs:
            x, y = glyph.x - line.advance / 2.0, glyph.y - row * face.pitch
            yield polygons.polylines(glyph.commands, Affine2D(1.0, 0.0, 0.0, 1.0, x, y), flatness)


def checked_lines(text: str, most_lines: int = 40) -> list[str]:
    """Return the lines of a text without spaces around them, refused where they are too many."""
    lines = [line.strip() for line in text.strip().splitlines()]
    if not any(lines):
        raise SpecError("text", text, say("artwork.text-empty"))
    if len(text) > limits.MOST_LETTERS:
        need = say("artwork.text-too-long", most=limits.MOST_LETTERS)
        raise SpecError("text", text[:40], need)
    if len(lines) > most_lines:
        raise SpecError("text", text, say("artwork.text-too-many-lines", most=most_lines))
    return lines


def _fitted_to_unit(area: polygons.PolygonSet, text: str) -> tuple[polygons.Region, ...]:
    """Return an area centred and scaled so that the larger side of its box is 1."""
    if area.is_empty():
        return as_region(area, text)
    left, low, right, high = area.bounds()
    scale = 1.0 / max(right - left, high - low)
    moved = area.translate((-(left + right) / 2.0, -(low + high) / 2.0))
    return as_region(moved.scale((scale, scale)), text)


def as_region(area: polygons.PolygonSet, text: str) -> tuple[polygons.Region, ...]:
    """Return what a text draws as one region of full depth; refused where it draws nothing."""
    found = polygons.visible_regions([(area, 1.0)], say("artwork.lettering"))
    if not found:
        raise SpecError("text", text, say("artwork.text-draws-nothing"))
    return found
