"""Lettering against the font's own outlines and kerning, read by fontTools."""

from functools import partial
from math import cos, pi, sin, tan

import numpy as np
import pytest
import shapely
from fontTools.fontBuilder import FontBuilder
from fontTools.pens.areaPen import AreaPen
from fontTools.pens.boundsPen import BoundsPen
from fontTools.pens.ttGlyphPen import TTGlyphPen
from fontTools.ttLib import TTFont

from moulddesign.artwork.font_files import default_font, open_font
from moulddesign.artwork.lettering import (
    column_lettering,
    lettering,
    seal_lettering,
    shaped_line,
)
from moulddesign.artwork.path_lettering import (
    LEAST_ON_EDGE_MM,
    lower_outline_lettering,
    lower_rim_lettering,
    outline_lettering,
    rim_lettering,
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


CHESTNUT = {0x6817: "uni6817"}


@pytest.fixture
def cjk_font(tmp_path):
    """Return a font made here that draws U+6817, chestnut, as a square of 600 units."""
    return square_font(tmp_path / "square.ttf")


def square_font(path, characters=CHESTNUT, *, weight=700, family="Square"):
    """Return a font of squares of 600 units, the em being 1000."""
    pen = TTGlyphPen(None)
    pen.moveTo((100, 0))
    pen.lineTo((100, 600))
    pen.lineTo((700, 600))
    pen.lineTo((700, 0))
    pen.closePath()
    square, empty = pen.glyph(), TTGlyphPen(None).glyph()
    builder = FontBuilder(1000, isTTF=True)
    names = list(characters.values())
    builder.setupGlyphOrder([".notdef", *names])
    builder.setupCharacterMap(characters)
    builder.setupGlyf({".notdef": empty} | dict.fromkeys(names, square))
    builder.setupHorizontalMetrics({".notdef": (500, 0)} | dict.fromkeys(names, (800, 100)))
    builder.setupHorizontalHeader(ascent=800, descent=-200)
    builder.setupNameTable({"familyName": family, "styleName": "Bold", "fullName": family})
    builder.setupOS2(usWeightClass=weight)
    builder.setupPost()
    path.parent.mkdir(parents=True, exist_ok=True)
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


FOUR = {ord(char): f"uni{ord(char):04X}" for char in "栗月夜祭"}


def test_a_column_is_read_downwards_and_columns_from_the_right(tmp_path):
    # squares of 0.6 em an em apart, by HarfBuzz's advance of fonts without vertical metrics:
    # ascender less descender, here 1 em; columns are 1.15 em apart
    font = square_font(tmp_path / "four.ttf", FOUR)
    (region,) = column_lettering("栗月夜\n祭", font)
    boxes = sorted(part.bounds for part in region.shape.geoms)
    high_mm = 2.6  # three squares: two pitches and a side
    assert len(boxes) == 4
    left = boxes[0]
    right = [box for box in boxes if box[0] > left[2]]
    assert len(right) == 3
    assert left[3] == pytest.approx(max(box[3] for box in right), abs=1e-6)  # tops are level
    assert left[2] - left[0] == pytest.approx(0.6 / high_mm, abs=1e-6)
    assert right[0][0] - left[0] == pytest.approx(1.15 / high_mm, abs=1e-6)


def test_a_seal_of_latin_letters_is_read_in_rows():
    # I and L are told by their widths in the default font, the dot by its height
    parts = seal_lettering("IL.O")[0].shape.geoms
    by_area = sorted(parts, key=lambda part: part.area)
    dot, upright, hook, ring = ((np.sign(p.centroid.x), np.sign(p.centroid.y)) for p in by_area)
    assert [upright, hook, dot, ring] == [(-1, 1), (1, 1), (-1, -1), (1, -1)]


def test_a_seal_of_han_is_read_down_from_the_right(tmp_path):
    # Unicode script Han; the first is drawn half as large as the others
    path = square_font(tmp_path / "seal.ttf", FOUR)
    font = TTFont(path)
    glyph = font["glyf"]["uni6817"]
    glyph.coordinates.scale((0.5, 0.5))
    font.save(path)
    parts = seal_lettering("栗月夜祭", path)[0].shape.geoms
    small = min(parts, key=lambda part: part.area)
    assert small.centroid.x > 0 < small.centroid.y


@pytest.mark.parametrize("text", ["DAT", "DATES", "D"])
def test_a_seal_of_another_number_is_refused(text):
    with pytest.raises(SpecError, match="a seal has four"):
        seal_lettering(text)


SQUARE = shapely.box(-25, -25, 25, 25)


@pytest.mark.parametrize("lay", [outline_lettering, lower_outline_lettering])
@pytest.mark.parametrize("height_mm", [4.0, 6.0])
def test_letters_on_a_square_stand_straight_and_none_across_a_corner(lay, height_mm):
    # each I of the default font is an upright rectangle: on a square's edges it stays one, upright
    # or lying, so its area is that of its box
    (region,) = lay("I" * 24, None, outline=SQUARE, height_mm=height_mm)
    assert len(region.shape.geoms) == 24
    for part in region.shape.geoms:
        assert part.area == pytest.approx(part.envelope.area, rel=1e-4)
    assert SQUARE.covers(region.shape)


def test_heads_touch_the_outline_and_feet_stand_on_its_parallel():
    (region,) = outline_lettering("HI", None, outline=SQUARE, height_mm=6.0)
    pen = BoundsPen(GLYPHS)
    GLYPHS[CMAP[ord("H")]].draw(pen)
    capital = pen.bounds[3] / FONT["head"].unitsPerEm
    _, low, _, high = region.shape.bounds
    assert low == pytest.approx(25.0 - 0.78 * 6.0, abs=1e-3)
    assert high - low == pytest.approx(6.0 * capital, abs=1e-3)
    (lower,) = lower_outline_lettering("HI", None, outline=SQUARE, height_mm=6.0)
    assert lower.shape.bounds[1] == pytest.approx(-25.0 + 0.25 * 6.0, abs=1e-3)


def test_on_a_disc_the_outline_is_the_rim():
    # the baseline is the circle 0.78 em inside: letters as rim_lettering lays them there
    disc = shapely.Point(0, 0).buffer(25, quad_segs=180)
    (rim,) = rim_lettering("LANTERN", None, radius_mm=25 - 0.78 * 6, height_mm=6.0)
    (region,) = outline_lettering("LANTERN", None, outline=disc, height_mm=6.0)
    # a letter has the chord's direction: the same on a circle; the circle has 720 corners
    assert region.shape.symmetric_difference(rim.shape).area < 0.01 * rim.shape.area


def test_words_stay_whole_where_edges_have_room():
    hexagon = shapely.Polygon([(28 * sin(k * pi / 3), 28 * cos(k * pi / 3)) for k in range(6)])
    (region,) = outline_lettering("III IIII", None, outline=hexagon)
    # a corner is at the top: the first word is on its left, the other on its right
    assert sum(part.centroid.x < 0 for part in region.shape.geoms) == 3
    for part in region.shape.geoms:
        (x0, y0), (x1, y1) = part.minimum_rotated_rectangle.exterior.coords[:2]
        turn_deg = np.degrees(np.arctan2(y1 - y0, x1 - x0)) % 30.0
        assert min(turn_deg, 30.0 - turn_deg) < 0.1  # edges of a hexagon


def test_text_longer_than_the_outline_says_which_size_fits():
    with pytest.raises(SpecError, match=r"letters of (\d\.\d) mm fit") as error:
        outline_lettering("lantern night " * 4, None, outline=SQUARE, height_mm=6.0)
    most_mm = dict(error.value.need.values)["most_mm"]
    assert outline_lettering("lantern night " * 4, None, outline=SQUARE, height_mm=most_mm)


def test_a_box_is_no_room_for_letters():
    with pytest.raises(SpecError, match="too narrow"):
        outline_lettering("NUT", None, outline=shapely.box(-2, -2, 2, 2), height_mm=6.0)


def test_letters_that_are_fitted_to_an_edge_have_stems_for_two_walls():
    # the stem of l in the font's own outline; two walls of 1.6 mm at 15 deg run 2 x 1.6 tan 15 deg
    pen = BoundsPen(GLYPHS)
    GLYPHS[CMAP[ord("l")]].draw(pen)
    stem = (pen.bounds[2] - pen.bounds[0]) / FONT["head"].unitsPerEm
    assert stem * LEAST_ON_EDGE_MM >= 2.0 * 1.6 * tan(pi / 12)
