"""The bench card for a screen, held against the one on paper and read by a strict parser."""

import re
from dataclasses import replace
from xml.etree import ElementTree as ET

import pytest
from export.builds import built
from export.test_card import DESIGN, PICTURES, RECIPE, card_of, figures, pages
from export.test_owned_card import EVEN

from moulddesign.core import CAUTIONS
from moulddesign.design import BlockTable, CastTable, OwnedMould, Paper
from moulddesign.export.card_html import card_html
from moulddesign.export.drawing import build_sections
from moulddesign.export.owned_card import owned_card
from moulddesign.export.press_steps import press_steps
from moulddesign.fit import fit, fitted_design
from moulddesign.kitchen.batch import batch
from moulddesign.mould.block import block
from moulddesign.mould.cast import cast


def parsed(card):
    """Root of the file, read as XML: every tag closed, every name and attribute quoted."""
    raw = card_html(card)
    assert card_html(card) == raw
    assert not re.search(rb"(?:https?:|src=\"(?!data:)|@import|url\()", raw)
    return ET.fromstring(raw)  # noqa: S314 (our own)


def text_of(element):
    return re.sub(r"\s+", " ", "".join(element.itertext()))


def squeezed(text):
    return re.sub(r"[\s\u200b-]", "", text)


def section(root, name):
    return next(one for one in root.iter("section") if one.get("id") == name)


@pytest.mark.parametrize("case", ["chestnut-75", "long names and many centres"])
def test_it_says_what_the_card_on_paper_says(case):
    made = card_of(figures(built(case), RECIPE))
    root = parsed(made)
    paper = [squeezed(text) for text in pages(made.pdf())]
    for name in ("weights", "shape"):
        for row in section(root, name).iter("tr"):
            assert squeezed(text_of(row.find("td"))) in paper[0]
            assert squeezed("".join(row.find("th").itertext())) in paper[0]
    for name in ("cautions", "allergens", "water"):
        said = [*section(root, name).iter("li"), *section(root, name).iter("p")]
        assert all(squeezed(text_of(one)) in paper[2] for one in said)
    assert len(list(section(root, "cautions").iter("li"))) > len(CAUTIONS)


def test_a_press_has_its_steps_with_pictures_and_a_box_each():
    build = built("chestnut-75")
    sections = build_sections(build)
    steps = press_steps(build, sections.parts, sections.pastry)
    made = card_of(figures(build) | {"steps": [[str(s.name), str(s.says)] for s in steps]})
    pictures = PICTURES | {f"step-{number}.svg": s.picture for number, s in enumerate(steps)}
    work = section(parsed(replace(made, pictures=pictures)), "work")
    assert len(list(work.iter("input"))) == len(list(work.iter("img"))) == len(steps)
    assert all(str(step.says) in text_of(work) for step in steps)


@pytest.mark.parametrize(
    ("table", "make", "moves"), [(BlockTable(), block, 3), (CastTable(), cast, 6)]
)
def test_another_kind_has_its_moves_with_a_box_each(table, make, moves):
    design = DESIGN.with_values({"mould.kind": table.kind})
    made = replace(built("chestnut-75"), design=design, mould=make(
        table, DESIGN.printer, built("chestnut-75").pastry
    ))  # fmt: skip
    work = section(parsed(card_of(figures(made))), "work")
    assert len(list(work.iter("input"))) == moves
    assert ("Silicone to mix" in text_of(work)) == (make is cast)
    use = card_of(figures(made)).in_words("en")["use"]
    assert use == " ".join(text_of(one) for one in work.iter("li"))


def test_a_mould_that_exists_has_a_card_without_pictures():
    design = EVEN.with_values({"batch.pieces": 30})
    mould = OwnedMould.of({"name": "tin", "outline": "square", "width_mm": 40, "height_mm": 40})
    made = fit(design, mould)
    design = fitted_design(design, made, None)
    root = parsed(owned_card(design, made, None, Paper.A4))
    assert list(root.iter("img")) == []
    assert [text_of(one) for one in section(root, "weights").iter("td")] == [
        "24 g", "56 g", "80 g"
    ]  # fmt: skip
    # 24 g and 56 g of 30 pieces; a hundredth stays on hands and one in bowls: over 0.99 twice.
    totals = [text_of(one) for one in section(root, "batch").iter("b")]
    assert totals == ["720 g", "734.6 g", "1680 g", "1714.1 g"]
    made = batch(design)
    assert [f"{one.mixed_g:.1f} g" for one in (made.crust, made.filling)] == totals[1::2]
    assert text_of(root.find(".//h1")) == "tin"


def test_names_are_shown_as_they_are():
    named = figures(built("chestnut-75"))
    named |= {"title": '<b>&"moon</b>', "others": [], "failed": ["<i>"]}
    root = parsed(card_of(named))
    assert root.find(".//h1").text == root.find(".//title").text == '<b>&"moon</b>'
    assert root.find(".//i") is None


def leaves(values):
    match values:
        case dict():
            values = list(values.values())
        case str():
            return [values]
    return [leaf for value in values for leaf in leaves(value)] if isinstance(values, list) else []


def test_it_is_wholly_in_the_designs_language_with_its_numbers():
    made = replace(built("chestnut-75"), design=built("chestnut-75").design.with_values(
        {"language": "de"}
    ))  # fmt: skip
    card = card_of(figures(made))
    page = parsed(card)
    assert page.get("lang") == "de"
    assert not re.search(r"\d\.\d", text_of(section(page, "shape")))
    pairs = zip(leaves(card.in_words("de")), leaves(card.in_words("en")), strict=True)
    alike = {said for said, english in pairs if said == english and ".stl" not in said}
    words = {word for said in alike for word in re.findall(r"[^\W\d]{4,}", said)}
    # The design's name, and words that both languages have.
    assert words <= {"lantern", "night", "PETG", "Material", "Infill", "moulddesign"}
