"""The approval sheet: one page, its picture and its bar as long as they say, in three languages."""

import io
from dataclasses import replace

import pytest
from export.builds import built
from PIL import Image
from pypdf import PdfReader

from moulddesign.design import Paper
from moulddesign.export.approval import ROOM_MM, TOP_PNG, approval_sheet, top_scene
from moulddesign.export.fonts import fonts_of
from moulddesign.geometry import box
from moulddesign.pastry.pastry import pastry
from moulddesign.render import picture_png

MM_PER_PT = 25.4 / 72.0  # ISO 32000-1, 8.3.2.3: a unit of user space is 1/72 inch
STRIPE = io.BytesIO()
Image.new("RGB", (32, 25), (90, 60, 30)).save(STRIPE, "PNG")
PICTURES = dict.fromkeys((TOP_PNG, "relief.png", "pastry.png"), STRIPE.getvalue())


def sheet(made, paper=Paper.A4):
    return approval_sheet(made, PICTURES, paper=paper, fonts=fonts_of(made.design))


def in_language(made, language):
    return replace(made, design=made.design.with_values({"language": language}))


@pytest.mark.parametrize("paper", Paper)
@pytest.mark.parametrize("case", ["little", "long names and many centres"])
def test_it_is_one_page_on_either_paper(case, paper):
    assert len(PdfReader(io.BytesIO(sheet(built(case), paper).pdf())).pages) == 1


def test_the_bar_is_100_mm_and_the_picture_as_wide_as_the_piece():
    made = built("little")
    page = PdfReader(io.BytesIO(sheet(made).pdf())).pages[0]
    words = page.get_contents().get_data().split()
    lines = {
        round(abs(float(words[at - 2])) * MM_PER_PT, 2)
        for at, word in enumerate(words)
        if word == b"l"
    }
    assert 100.0 in lines
    # The picture is square: its side is what the scene shows from edge to edge.
    shown_mm = 2.0 * top_scene(made.meshes["pastry"]).frame[1]
    assert sheet(made).figures["picture_mm"] == pytest.approx(shown_mm)
    wide_px = Image.open(io.BytesIO(picture_png(top_scene(box((0, 0, 0), (40, 40, 9)))))).width
    assert 40.0 < 2.0 * top_scene(box((0, 0, 0), (40, 40, 9))).frame[1] < 40.0 * 1.2
    assert wide_px == 320  # 8 a millimetre


def test_the_relief_keeps_its_upper_edge():
    page = PdfReader(io.BytesIO(sheet(built("little")).pdf())).pages[0]
    clip, tops = [0.0], []

    def looked_at(operator, operands, matrix, _):
        if operator == b"m":
            clip.append(float(operands[1]))
        elif operator == b"Do":
            tops.append((matrix[3] + matrix[5], clip[-1]))

    page.extract_text(visitor_operand_before=looked_at)
    top, edge = tops[-1]
    assert top == pytest.approx(edge, abs=0.01)  # both of the same length in points


def test_a_piece_larger_than_the_sheet_says_so():
    made = built("little")
    large = replace(made, meshes={"pastry": box((0, 0, 0), (200, 150, 30))})
    figures = sheet(large).figures
    assert figures["picture_mm"] == pytest.approx(ROOM_MM)
    assert "% of its size: it is larger than this sheet" in str(figures["scale"])


@pytest.mark.parametrize(("language", "head"), [
    ("en", "For approval"), ("de", "Zur Freigabe"),
])  # fmt: skip
def test_it_says_weight_and_sizes_and_that_nothing_was_changed(language, head):
    made = in_language(built("little"), language)
    said = PdfReader(io.BytesIO(sheet(made).pdf())).pages[0].extract_text()
    assert head in said
    assert "30 g" in said
    unchanged = {"en": "Nothing was changed", "de": "Nichts wurde ge\u00e4ndert"}
    assert unchanged[language] in said


def test_what_was_thickened_is_told_by_the_name_of_the_drawing():
    made = built("little")
    layers = [{"pattern": "lantern", "least_stroke_mm": 2.0}]
    design = made.design.with_values({"relief.layers": layers})
    thick = replace(made, design=design, pastry=pastry(design, made.portion.piece.volume_ml))
    (said,) = sheet(thick).figures["changes"]
    assert str(said) == (
        "lantern: strokes thinner than 2 mm were thickened to 2 mm, so that they can be pressed."
    )
