"""The bench card, its text extracted by a PDF library and held against the report."""

import io
import re
from dataclasses import replace
from functools import cache
from types import MappingProxyType

import numpy as np
import pytest
from export.builds import CASES, FLAT, built, unchecked
from PIL import Image
from pypdf import PdfReader

from moulddesign.core import CAUTIONS
from moulddesign.design import CastTable, Design, Paper
from moulddesign.export.card import PAGE_PPI, Card, card_figures
from moulddesign.export.fonts import bundled_fonts
from moulddesign.geometry import box
from moulddesign.kitchen import Recipe
from moulddesign.mould.block import block
from moulddesign.mould.cast import cast
from moulddesign.pastry.pastry import pastry
from moulddesign.render import Body, Scene, picture_png

DESIGN = Design.read(FLAT)
SECTION = b'<svg xmlns="http://www.w3.org/2000/svg" width="10mm" height="10mm"/>'
RECIPE = Recipe.of(
    {
        "crust": {"ingredients": [{"food": "wheat flour", "mass_g": 100}]},
        "filling": {"ingredients": [{"food": "sesame paste", "mass_g": 100}]},
    }
)


def picture():
    body = Body(mesh=box((0.0, 0.0, 0.0), (1.0, 1.0, 1.0)), rgb=(0.5, 0.5, 0.5))
    scene = Scene(bodies=(body,), azimuth_deg=0.0, elevation_deg=30.0, size_px=(60, 50))
    return picture_png(scene)


PICTURES = dict.fromkeys(("pastry.png", "parts.png", "print.png", "relief.png"), picture()) | {
    "section.svg": SECTION
}
RELIEF = {"relief": ("Raised: stroke at least 0.6 mm.",), "caption": 0.1}


def figures(made, recipe=None):
    return card_figures(made, recipe) | RELIEF


def card_of(shown, paper=Paper.A4):
    return Card(figures=shown, pictures=PICTURES, paper=paper, fonts=bundled_fonts())


@cache
def card(case, paper=Paper.A4, recipe=None):
    return card_of(figures(built(case), recipe), paper).pdf()


@cache
def pages(raw):
    """Text of each page, in one line, without the marks at which long words may break."""
    texts = [page.extract_text() for page in PdfReader(io.BytesIO(raw)).pages]
    return [re.sub(r"\s+", " ", text.replace("\u200b", "").replace("\u00ad", "")) for text in texts]


@pytest.mark.parametrize("case", CASES)
def test_the_first_page_has_the_figures_of_the_report(case):
    text = pages(card(case))[0]
    made = built(case)
    report = made.report()["portion"]
    step = made.design.scale.resolution_g
    crust_g = figure(r"Crust dough .*? ([\d.]+) g (?:Filling|Paste)", text)
    together = made.portion.together
    inside = r"Paste with .*? of it ([\d.]+) g" if together else r"paste [\d.]+ g[^\d]*? ([\d.]+) g"
    inside_g = figure(inside, text)
    raw_g = figure(r"Raw piece[^\d]*? ([\d.]+) g", text)
    # Each within a step of exact, and their sum within half a step.
    assert abs(crust_g - report["crust_g"]) < step
    exact_g = report["paste_g"] + (report["centre_g"] if together else 0.0)
    assert abs(inside_g - exact_g) < step
    assert abs(raw_g - report["raw_g"]) <= step / 2.0 + 0.05
    assert f"{report['finished_g']:g} g finished" in text
    assert f"{made.pastry.height_mm:.1f} mm" in text
    for centre in made.design.portion.centres:
        assert f"{centre.count * centre.mass_g:g} g" in text


def figure(pattern, text):
    return float(re.search(pattern, text)[1])


@pytest.mark.parametrize("case", CASES)
def test_batches_are_multiples_of_a_piece(case):
    text = pages(card(case))[0]
    crust_g = figure(r"Crust dough .*? ([\d.]+) g (?:Filling|Paste)", text)
    heads = [int(word) for word in re.search(r"Pieces ((?:\d+ )+)Crust", text)[1].split()]
    totals = re.search(r"Crust dough, g ((?:[\d.]+ )+)", text)[1].split()
    assert [float(total) for total in totals] == [crust_g * count for count in heads]


def test_the_second_page_is_for_the_printer():
    made = built("chestnut-75")
    text = pages(card("chestnut-75"))[1]
    for part in made.report()["parts"]:
        if part["name"].startswith("shim-"):
            assert f"{part['name']}.stl" in text.replace("\n", "").replace("\u200b", "")
        elif part["name"] != "pastry":
            assert part["name"] in text
            assert f"{part['print_g']:.0f}" in text
    assert made.design.printer.material in text
    assert f"{made.design.printer.layer_height_mm:g} mm" in text
    assert f"{made.mould.layout.clearance_mm:g} mm each side" in text


def test_the_least_bed_takes_the_largest_part():
    text = pages(card("chestnut-75"))[1]
    bed = re.search(r"Least bed (\d+) . (\d+) . (\d+) mm", text).groups()
    sizes = [mesh.size_mm for name, mesh in built("chestnut-75").meshes.items() if name != "pastry"]
    assert np.all(np.array(bed, dtype=float) >= np.max(sizes, axis=0) - 0.001)


@pytest.mark.parametrize("price_per_kg", [None, 24.0])
def test_every_part_has_its_grams_its_likely_time_and_its_price(price_per_kg):
    made = unchecked(DESIGN.with_values({"printer.price_per_kg": price_per_kg}))
    text = pages(card_of(figures(made)).pdf())[1]
    for name, mesh in made.meshes.items():
        if name == "pastry" or name.startswith("shim-"):  # shims share a row
            continue
        pattern = r" (\d+) (\d+) (100|25) % ([\d.]+)-([\d.]+) (?:min|h) ?([\d.]*) "
        row = re.search(rf"{name} .*?{pattern}{name}", text)
        # PETG has 1.27 g/mL.
        assert float(row[1]) == pytest.approx(mesh.volume_mm3 * 1.27e-3, abs=0.5)
        assert float(row[2]) <= float(row[1])
        assert float(row[3]) == (
            25 if name.partition("-")[0] in {"plunger", "stop", "shim"} else 100
        )
        # The likely time is told within a quarter either way.
        assert float(row[5]) / float(row[4]) == pytest.approx(5.0 / 3.0, abs=0.1)
        # PETG has 1.27 g/mL, so a millilitre costs 24 * 0.00127 = 0.03048
        price = None if price_per_kg is None else mesh.volume_mm3 * 3.048e-5
        assert row[6] == ("" if price is None else f"{price:.2f}")


def test_a_casting_master_tells_how_much_silicone_to_mix():
    mould = cast(CastTable(), DESIGN.printer, built("chestnut-75").pastry)
    made = replace(built("chestnut-75"), mould=mould)
    text = pages(card_of(figures(made)).pdf())[1]
    said = made.report()["mould"]
    assert f"{said['silicone_ml']:.0f} mL, {said['silicone_g']:.0f} g" in text
    assert "Silicone to mix" not in pages(card("chestnut-75"))[1]


@pytest.mark.parametrize("paper", Paper)
def test_each_page_is_a_picture_too_of_its_own_size(paper):
    made = built("chestnut-75")
    shown = card_of(figures(made), paper).pngs()
    sheets = PdfReader(io.BytesIO(card("chestnut-75", paper))).pages
    assert len(shown) == len(sheets) == 3
    for raw, sheet in zip(shown, sheets, strict=True):
        with Image.open(io.BytesIO(raw)) as image:
            sides = [float(side) * PAGE_PPI / 72.0 for side in sheet.mediabox[2:]]
            assert image.size == pytest.approx(sides, abs=1.0)  # whole pixels
            ink = np.asarray(image.convert("L")) < 128
        # Nothing is cut off: the outermost ink lies inside the margins of 14 mm and 16 mm.
        rows, columns = np.flatnonzero(ink.any(axis=1)), np.flatnonzero(ink.any(axis=0))
        edge = 10.0 / 25.4 * PAGE_PPI
        assert rows[0] > edge
        assert columns[0] > edge
        assert rows[-1] < image.height - 8.0 / 25.4 * PAGE_PPI  # the footer's line
        assert columns[-1] < image.width - edge
    assert card_of(figures(made), paper).pngs() == shown


def test_the_third_page_has_every_caution_and_where_figures_come_from():
    text = pages(card("chestnut-75"))[2]
    squeezed = text.replace(" ", "").replace("-", "")
    for caution in CAUTIONS:
        assert str(caution).replace(" ", "").replace("-", "") in squeezed
    assert "from memory, measure your own" in text
    assert "the design" in text
    assert "computed from the figures above" in text


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("paper", Paper)
def test_no_word_of_a_long_name_is_lost_and_all_lies_on_the_paper(case, paper):
    raw = card(case, paper)
    reader = PdfReader(io.BytesIO(raw))
    first = pages(raw)[0].replace(" ", "").replace("-", "")
    assert built(case).design.name.replace(" ", "").replace("-", "") in first
    for centre in built(case).design.portion.centres:
        assert centre.name.replace(" ", "").replace("-", "") in first
    for page in reader.pages:
        wide, high = float(page.mediabox.width), float(page.mediabox.height)
        places = text_places(page)
        assert places
        assert all(0.0 < x < wide and 0.0 < y < high for x, y in places)


@pytest.mark.parametrize("make", [block, cast])
@pytest.mark.parametrize("paper", Paper)
def test_every_kind_of_mould_has_its_pages_under_long_names(make, paper):
    case = "long names and many centres"
    design = DESIGN.with_values(CASES[case] | {"mould.kind": make.__name__})
    mould = make(design.mould, design.printer, pastry(design, built(case).portion.piece.volume_ml))
    meshes = {part.name: part.printed for part in mould.parts}
    meshes = MappingProxyType(meshes | {"pastry": built(case).meshes["pastry"]})
    made = replace(built(case), design=design, mould=mould, meshes=meshes)
    texts = pages(card_of(figures(made), paper).pdf())
    assert "For the printer" in texts[1]
    assert "Cautions, and where the figures come from" in texts[2]
    plain = [text.replace(" ", "").replace("-", "") for text in texts]
    assert all(design.name.replace("-", "") in text for text in plain[:3])
    assert all(c.name.replace(" ", "") in plain[0] for c in design.portion.centres)
    (name,) = (part.name for part in mould.parts)
    assert re.search(rf"{name} [\d.]+ . [\d.]+ . [\d.]+ ", texts[1])


def text_places(page):
    places = []

    def visit(text, cm, tm, *_):
        if text.strip():
            places.append(placed(cm, tm))

    page.extract_text(visitor_text=visit)
    return places


def placed(cm, tm):
    x, y = tm[4], tm[5]
    return cm[0] * x + cm[2] * y + cm[4], cm[1] * x + cm[3] * y + cm[5]


@pytest.mark.parametrize("case", ["chestnut-75", "square with two centres", "little"])
@pytest.mark.parametrize("paper", Paper)
def test_bench_printer_and_cautions_have_a_page_each(case, paper):
    heads = ("Bench card", "For the printer", "Cautions, and where the figures come from")
    texts = pages(card(case, paper))
    assert len(texts) == len(heads)
    assert all(head in text for head, text in zip(heads, texts, strict=True))


@pytest.mark.parametrize(
    ("paper", "size_mm"),
    [
        pytest.param(Paper.A4, (210.0, 297.0), id="ISO 216, A4"),
        pytest.param(Paper.LETTER, (215.9, 279.4), id="ASME Y14.1, 8.5 by 11 inches"),
    ],
)
def test_the_paper_has_its_size(paper, size_mm):
    page = PdfReader(io.BytesIO(card("chestnut-75", paper))).pages[0]
    size = [float(page.mediabox.width) * 25.4 / 72, float(page.mediabox.height) * 25.4 / 72]
    assert size == pytest.approx(size_mm, abs=0.01)


def test_a_card_holds_no_date_and_is_the_same_each_time():
    raw = card("chestnut-75")
    assert card.__wrapped__("chestnut-75") == raw
    about = PdfReader(io.BytesIO(raw)).metadata
    assert about.creation_date is None
    assert about.modification_date is None


def test_nothing_in_a_name_is_read_as_markup():
    made = built("chestnut-75")
    named = figures(made) | {"name": "#panic() *stars* $x$ @label [br] <l>"}
    text = pages(card_of(named).pdf())[0]
    assert "#panic() *stars* $x$ @label [br] <l>" in text


def test_allergens_come_from_the_recipe_and_the_centres():
    text = pages(card("square with two centres", recipe=RECIPE))[2]
    assert "wheat or another cereal with gluten, egg, sesame" in text
    assert "No recipe is known" not in text
    assert "estimated a_w" in text
    assert "It says nothing of pH, hygiene or shelf life." in text


def test_a_centre_of_no_known_food_makes_no_statement_about_allergens():
    text = pages(card("little", recipe=None))[2]
    assert "point to" not in text
    assert "a_w" not in text
    assert "Read every packet all the same" in text
