"""Names in scripts that our face lacks: never a box, and a font that the design names is used."""

import io
from dataclasses import replace
from functools import cache

import pytest
from export.builds import FLAT, built, unchecked
from export.test_card import PICTURES, figures, pages
from fontTools.fontBuilder import FontBuilder
from fontTools.pens.ttGlyphPen import TTGlyphPen
from fontTools.ttLib import TTFont
from pypdf import PdfReader
from pypdf.generic import ContentStream

from moulddesign.artwork.font_files import regular_font
from moulddesign.core import Verdict
from moulddesign.design import Design, Paper, parse_formats
from moulddesign.export import ExportOptions, publish_failing
from moulddesign.export.card import Card
from moulddesign.export.drawing import svg_bytes
from moulddesign.export.entities import DrawingLayer, Text
from moulddesign.export.fonts import (
    Fonts,
    bundled_fonts,
    fonts_of,
    unprintable_findings,
    with_word_breaks,
)

EVERY = Fonts(files=(), characters=frozenset(range(0x110000)))
NAMES = [
    "\u6817\u5b50",  # two Han letters
    "\U0001f3ee\U0001f330",  # two pictures of emoji
    "\u0915\u0947\u0915",  # Devanagari, a vowel mark between
    "\u0643\u0639\u0643 \U0001f3ee",  # Arabic, which our face has, and a picture
    "\u2764\ufe0f",  # a heart that our face has, and a variation selector
    "\U0001f468\u200d\U0001f373",  # joined pictures
]


@cache
def named(name):
    plain = name.replace("\u200d", "")  # a folder's name holds no joiner
    values = {
        "name": plain,
        "portion.centres": [{"name": name, "mass_g": 5.0}],
        "relief.layers": [],
        "mould.lettering": False,
    }
    return unchecked(Design.read(FLAT).with_values(values))


def card_of(made, lettered):
    section = Text(text=made.design.name, at=(0.0, 0.0), capital_mm=3.0, layer=DrawingLayer.LABEL)
    shown = {"section.svg": svg_bytes((60.0, 10.0), [section], "section", fonts=lettered)}
    return Card(
        figures=figures(made), pictures=PICTURES | shown, paper=Paper.A4, fonts=lettered
    ).pdf()


def boxes(raw):
    """Count glyphs numbered 0, which every font draws as its box for what it lacks."""
    reader = PdfReader(io.BytesIO(raw))
    return sum(_boxes(page.get_contents(), page["/Resources"], reader) for page in reader.pages)


def _boxes(stream, resources, reader):
    count = 0
    for operands, operator in ContentStream(stream, reader).operations:
        if operator in {b"Tj", b"TJ"}:
            shown = operands[0] if operator == b"TJ" else operands
            codes = b"".join(t.original_bytes for t in shown if hasattr(t, "original_bytes"))
            count += sum(codes[at : at + 2] == b"\0\0" for at in range(0, len(codes), 2))
        if operator == b"Do":
            inner = resources["/XObject"][operands[0]].get_object()
            if inner["/Subtype"] == "/Form":
                count += _boxes(inner, inner.get("/Resources", resources), reader)
    return count


def test_a_box_would_be_found():
    assert boxes(card_of(named(NAMES[0]), EVERY)) >= 2
    assert boxes(card_of(built("chestnut-75"), bundled_fonts())) == 0


@pytest.mark.parametrize("name", NAMES)
def test_no_name_is_printed_as_boxes(name):
    made = named(name)
    assert boxes(card_of(made, bundled_fonts())) == 0


def test_code_points_stand_in_the_place_of_what_cannot_be_printed():
    first = pages(card_of(named("\u6817 lantern \U0001f3ee"), bundled_fonts()))[0]
    assert "\u20396817\u203a lantern \u20391F3EE\u203a" in first


@pytest.mark.parametrize("name", NAMES)
def test_a_warning_names_the_characters(name):
    known = set(TTFont(regular_font()).getBestCmap())
    lacking = [one for one in name if ord(one) not in known and one not in "\u200d\ufe0f"]
    found = unprintable_findings(named(name))
    named_ones = [" ".join(dict.fromkeys(lacking))] if lacking else []
    assert [str(f.measured) for f in found] == named_ones
    assert all(f.verdict is Verdict.WARN for f in found)


def test_the_warning_is_in_the_report_of_what_is_lettered_alone(tmp_path):
    made = named("\u6817")
    plain = publish_failing(made, tmp_path / "plain", ExportOptions(formats=parse_formats("3mf")))
    lettered = publish_failing(
        made, tmp_path / "lettered", ExportOptions(formats=parse_formats("drawing"))
    )
    said = [f.name for f in lettered.findings if f not in plain.findings]
    assert said == ["characters of names that card and drawing cannot print"]
    assert "\u20396817\u203a" in (tmp_path / "lettered" / "drawing.svg").read_text("utf-8")


def test_chinese_takes_a_font_that_has_its_letters_or_is_english_and_says_so(monkeypatch):
    design = Design.read(FLAT).with_values({"language": "zh"})
    made = replace(built("chestnut-75"), design=design)
    monkeypatch.setattr("moulddesign.export.fonts.font_with", lambda _: None)
    lettered = fonts_of(design)
    assert lettered.language == "en"
    assert [f.what.id for f in unprintable_findings(made)] == ["export.language-of-sheets"]
    paper = Card(figures=figures(made), pictures={}, paper=Paper.A4, fonts=lettered)
    assert "no installed font" in paper.in_words(lettered.language)["program"]
    assert paper.in_words("zh")["words"]["cautions"] == "\u6ce8\u610f\u4e8b\u9879"
    monkeypatch.setattr("moulddesign.export.fonts.font_with", lambda _: regular_font())
    monkeypatch.setattr("moulddesign.export.fonts._characters", lambda _: EVERY.characters)
    assert fonts_of(design).language == "zh"
    assert unprintable_findings(made) == ()


@pytest.fixture
def font(tmp_path):
    """Return a font of one letter, U+6817, drawn as a bar."""
    pen = TTGlyphPen(None)
    for x, y in ((100, 0), (100, 800), (900, 800), (900, 0)):
        (pen.lineTo if pen.points else pen.moveTo)((x, y))
    pen.closePath()
    builder = FontBuilder(1000, isTTF=True)
    builder.setupGlyphOrder([".notdef", "bar"])
    builder.setupCharacterMap({0x6817: "bar"})
    builder.setupGlyf({".notdef": TTGlyphPen(None).glyph(), "bar": pen.glyph()})
    builder.setupHorizontalMetrics({".notdef": (1000, 0), "bar": (1000, 100)})
    builder.setupHorizontalHeader(ascent=800, descent=-200)
    builder.setupNameTable({"familyName": "One Bar", "styleName": "Regular", "psName": "OneBar"})
    builder.setupOS2()
    builder.setupPost()
    path = tmp_path / "one-bar.ttf"
    builder.save(path)
    return path


def test_a_font_that_the_design_names_prints_what_our_face_lacks(font):
    layers = [{"text": "\u6817", "font": str(font)}]
    made = unchecked(named("\u6817 \U0001f3ee").design.with_values({"relief.layers": layers}))
    lettered = fonts_of(made.design)
    raw = card_of(made, lettered)
    assert boxes(raw) == 0
    assert "\u6817 \u20391F3EE\u203a" in pages(raw)[0]
    assert [str(f.measured) for f in unprintable_findings(made)] == ["\U0001f3ee"]
    assert card_of(made, lettered) == raw
    assert b"'One Bar'" in svg_bytes((9.0, 9.0), [], "empty", fonts=lettered)


@pytest.mark.parametrize(
    "word",
    [
        pytest.param("\u0643\u0639\u0643\u0627\u0644\u0643" * 3, id="letters that join"),
        pytest.param("e\u0301" * 3, id="marks on letters"),
    ],
)
def test_a_word_is_not_broken_where_letters_join(word):
    assert with_word_breaks(word) == word


def test_a_long_word_breaks_at_its_hyphens_before_its_letters():
    assert with_word_breaks("lantern-night-cakes") == "lantern-night-cakes"
    assert with_word_breaks("a-" + "n" * 13) == "a-" + "\u200b".join("n" * 13)
