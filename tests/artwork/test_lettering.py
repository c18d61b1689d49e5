"""Lettering against the font's own outlines and kerning, read by fontTools."""

from functools import partial
from math import cos, sin

import numpy as np
import pytest
import shapely
from fontTools.fontBuilder import FontBuilder
from fontTools.pens.areaPen import AreaPen
from fontTools.pens.boundsPen import BoundsPen
from fontTools.pens.ttGlyphPen import TTGlyphPen
from fontTools.ttLib import TTFont

from moulddesign.artwork.lettering import (
    default_font,
    lettering,
    lower_rim_lettering,
    open_font,
    rim_lettering,
    shaped_line,
)
from moulddesign.core import FileError, SpecError

FONT = TTFont(default_font())
GLYPHS, CMAP = FONT.getGlyphSet(), FONT.getBestCmap()


def outline(text):
    """Return the summed area of a text's glyphs [font units squared]."""
    area = 0.0
    for char in text:
        pen = AreaPen(GLYPHS)
        GLYPHS[CMAP[ord(char)]].draw(pen)
        area += abs(pen.value)
    return area


def test_one_letter_has_the_area_and_shape_of_its_outline():
    # "B" of the default font: contours do not overlap, so its area is the pen's
    (region,) = lettering("B")
    pen = BoundsPen(GLYPHS)
    GLYPHS[CMAP[ord("B")]].draw(pen)
    left, low, right, high = pen.bounds
    scale = max(right - left, high - low)
    # chords lie within 5e-5 of the em's curves
    tolerance = region.shape.length * 6e-5 * 2048 / scale
    assert region.shape.area == pytest.approx(outline("B") / scale**2, abs=tolerance)
    assert np.ptp(region.shape.bounds[1::2]) == pytest.approx((high - low) / scale, abs=1e-4)
    assert len(region.shape.geoms[0].interiors) == 2


def test_a_word_has_the_area_of_its_letters():
    # fontTools' AreaPen; turned rigidly on a rim, so that no scale enters but the em's
    text, height = "LANTERN", 8.0
    (region,) = rim_lettering(text, None, radius_mm=25.0, height_mm=height)
    scale = height / FONT["head"].unitsPerEm
    tolerance = region.shape.length * 5e-5 * 60
    assert region.shape.area == pytest.approx(outline(text) * scale**2, abs=tolerance)


def pair_tables():
    """Yield the tables of pairs in the font's GPOS."""
    for lookup in FONT["GPOS"].table.LookupList.Lookup:
        for table in lookup.SubTable:
            inner = getattr(table, "ExtSubTable", table)
            if inner.LookupType == 2:
                yield inner


def pair_kerning(first, second, table):
    """Return what a table moves the second of two glyphs by, 0 where it says nothing."""
    if first not in table.Coverage.glyphs:
        return 0
    if table.Format == 1:
        pairs = table.PairSet[table.Coverage.glyphs.index(first)].PairValueRecord
        return sum(pair.Value1.XAdvance for pair in pairs if pair.SecondGlyph == second)
    row = table.Class1Record[table.ClassDef1.classDefs.get(first, 0)]
    value = row.Class2Record[table.ClassDef2.classDefs.get(second, 0)].Value1
    return getattr(value, "XAdvance", 0) if value else 0


def test_kerning_is_the_fonts_own():
    # DejaVu Sans Bold kerns A and V by its GPOS table, read here by hand
    first, second = CMAP[ord("A")], CMAP[ord("V")]
    expected = next(filter(None, map(partial(pair_kerning, first, second), pair_tables())))
    assert expected < 0
    widths = FONT["hmtx"]
    line = shaped_line("AV", open_font(default_font()))
    assert line.advance == widths[first][0] + widths[second][0] + expected


def test_lines_lie_one_pitch_apart_and_centred():
    (region,) = lettering("H\nHHH")
    heights = sorted({round(part.bounds[1], 6) for part in region.shape.geoms})
    assert len(heights) == 2
    left, _, right, _ = region.shape.bounds
    upper = [part for part in region.shape.geoms if part.bounds[1] > 0]
    assert (upper[0].bounds[0] + upper[0].bounds[2]) / 2 == pytest.approx(
        (left + right) / 2, abs=1e-6
    )


@pytest.mark.parametrize(
    ("text", "seen"),
    [  # Unicode Standard Annex 9: what is read from right to left lies from left to right reversed
        pytest.param("שלום", "םולש", id="UAX 9, Hebrew"),
        pytest.param("אב 12", "12 בא", id="UAX 9, W1-W7: numbers keep their order"),
        pytest.param("ab אב", "ab בא", id="UAX 9, L2: left-to-right base"),
    ],
)
def test_right_to_left_text_is_laid_from_the_right(text, seen):
    face = open_font(default_font())
    line = shaped_line(text, face)
    order = [glyph.x for glyph in line.glyphs]
    assert order == sorted(order)
    assert [glyph.commands for glyph in line.glyphs] == [
        shaped_line(char, face).glyphs[0].commands for char in seen
    ]


def test_arabic_letters_join():
    # four letters of which the last is joined to its neighbour: fewer pieces than letters
    (region,) = lettering("سلس")
    assert len(region.shape.geoms) == 1


def test_rim_letters_stand_on_the_circle_and_read_outwards():
    (region,) = rim_lettering("IIIIIIII", None, radius_mm=20.0, height_mm=5.0)
    distance = [min(np.hypot(*shapely.get_coordinates(part).T)) for part in region.shape.geoms]
    assert len(distance) == 8
    # a foot's middle touches the base line, its corners lie a little further out
    assert all(20.0 - 1e-6 <= value < 20.1 for value in distance)
    angles = [np.arctan2(part.centroid.x, part.centroid.y) for part in region.shape.geoms]
    # the letter stands in the middle of its advance within a font unit
    assert sum(angles) == pytest.approx(0, abs=8 * 5 / 2048 / 20)
    (lower,) = lower_rim_lettering("IIIIIIII", None, radius_mm=20.0, height_mm=5.0)
    assert max(part.bounds[1] for part in lower.shape.geoms) < 0
    assert max(np.hypot(*shapely.get_coordinates(lower.shape).T)) < 20.1


def test_rim_text_reads_clockwise_from_the_left():
    (region,) = rim_lettering("I.", None, radius_mm=20.0, height_mm=5.0)
    tall, dot = sorted(region.shape.geoms, key=lambda part: -part.area)
    assert tall.centroid.x < dot.centroid.x


@pytest.fixture
def cjk_font(tmp_path):
    """Return a font made here that draws U+6817, chestnut, as a square of 600 units."""
    pen = TTGlyphPen(None)
    pen.moveTo((100, 0))
    pen.lineTo((100, 600))
    pen.lineTo((700, 600))
    pen.lineTo((700, 0))
    pen.closePath()
    square, empty = pen.glyph(), TTGlyphPen(None).glyph()
    builder = FontBuilder(1000, isTTF=True)
    builder.setupGlyphOrder([".notdef", "uni6817"])
    builder.setupCharacterMap({0x6817: "uni6817"})
    builder.setupGlyf({".notdef": empty, "uni6817": square})
    builder.setupHorizontalMetrics({".notdef": (500, 0), "uni6817": (800, 100)})
    builder.setupHorizontalHeader(ascent=800, descent=-200)
    builder.setupNameTable({"familyName": "Square", "styleName": "Regular"})
    builder.setupOS2()
    builder.setupPost()
    path = tmp_path / "square.ttf"
    builder.save(path)
    return path


def test_any_script_works_where_the_font_has_it(cjk_font):
    (region,) = lettering("栗", cjk_font)
    assert region.shape.area == pytest.approx(1.0, abs=1e-7)  # Clipper's grid
    (rim,) = rim_lettering("栗", cjk_font, radius_mm=10.0, height_mm=5.0)
    assert rim.shape.area == pytest.approx(9.0, abs=1e-6)
    assert rim.shape.bounds == pytest.approx((-1.5, 10.0, 1.5, 13.0), abs=1e-6)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("栗", r"U\+6817 CJK UNIFIED IDEOGRAPH-6817, for which DejaVuSans-Bold\.ttf has no glyph"),
        ("  \n ", "something to read"),
        ("\u200b", "draws nothing|no glyph"),
        ("a" * 401, "at most 400 characters"),
    ],
)
def test_what_cannot_be_lettered_is_said(text, says):
    with pytest.raises(SpecError, match=says):
        lettering(text)


def test_text_longer_than_the_rim_is_refused():
    with pytest.raises(SpecError, match=r"the rim is 62\.8 mm long"):
        rim_lettering("LANTERN NIGHT " * 3, None, radius_mm=10.0, height_mm=5.0)


def test_what_is_no_font_is_refused(tmp_path):
    path = tmp_path / "font.ttf"
    with pytest.raises(FileError, match="cannot be read"):
        lettering("a", path)
    path.write_bytes(b"not a font at all")
    with pytest.raises(FileError, match="is not a TrueType or OpenType font"):
        lettering("a", path)


def test_a_turned_letter_is_the_letter(cjk_font):
    # two squares on a rim: each is a square of 3 mm turned by half of their pitch, 4 mm over 10 mm
    (region,) = rim_lettering("栗栗", cjk_font, radius_mm=10.0, height_mm=5.0)
    left, right = sorted(region.shape.geoms, key=lambda part: part.centroid.x)
    turn = 2.0 / 10.0
    assert right.centroid.coords[0] == pytest.approx((11.5 * sin(turn), 11.5 * cos(turn)), abs=1e-6)
    assert left.centroid.coords[0] == pytest.approx((-11.5 * sin(turn), 11.5 * cos(turn)), abs=1e-6)
