"""The bench card for a screen, opened from a file and used as in a kitchen."""

import pytest
from page.person import violations

from moulddesign.design import Design, OwnedMould, Paper
from moulddesign.export.card_html import card_html
from moulddesign.export.owned_card import owned_card
from moulddesign.fit import fit, fitted_design
from moulddesign.kitchen.batch import batch

TIN = {"name": "tin", "outline": "square", "width_mm": 40, "height_mm": 40}


@pytest.fixture
def design_and_file(tmp_path):
    asked = Design.of(
        {"portion": {"centres": [{"name": "date", "mass_g": 5.0}]}, "scale": {"resolution_g": 0.25}}
    )
    made = fit(asked, OwnedMould.of(TIN))
    design = fitted_design(asked, made, None)
    file = tmp_path / "card.html"
    file.write_bytes(card_html(owned_card(design, made, None, Paper.A4)))
    return design, file


def test_pieces_are_totalled_and_ticks_survive_a_reload(browser, design_and_file):
    design, file = design_and_file
    context = browser.new_context(viewport={"width": 320, "height": 640})
    page, asked, wrong = context.new_page(), [], []
    page.on("request", lambda request: asked.append(request.url))
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.goto(file.as_uri())
    for _ in range(3):
        page.click("#more")
    page.click("#fewer")
    assert page.input_value("#pieces") == "14"
    for pieces in (14, 1, 37):  # quarters of a gram: the scale's steps lie between two tenths
        page.fill("#pieces", f"{pieces}")
        made = batch(design, pieces=pieces)
        shown = [
            f"{mass_g:.1f}".removesuffix(".0") + "\u00a0g"
            for part in (made.crust, made.filling)
            for mass_g in (part.pieces_g, part.mixed_g)
        ]
        assert page.locator(".totals b").all_inner_texts() == [*shown, f"{pieces}"]
    page.check("#total-1")
    page.check("#step-0")
    page.wait_for_timeout(500)  # the browser stores it in another process
    page.reload()
    assert page.input_value("#pieces") == "37"
    assert page.locator(":checked").evaluate_all("all => all.map((one) => one.id)") == [
        "total-1", "step-0"
    ]  # fmt: skip
    page.fill("#pieces", "2.5")
    assert page.inner_text("[role=alert]") == "A whole number from 1 to 1000000."
    assert set(page.locator(".totals b").all_inner_texts()) == {"\u2013"}
    page.click("#clear")
    assert page.locator(":checked").count() == 0
    assert page.evaluate("document.documentElement.scrollWidth") == 320
    assert violations(page) == []
    context.close()
    assert set(asked) == {file.as_uri()}
    assert wrong == []
