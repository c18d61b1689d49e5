"""The tasks beside the piece: what the command line takes, the page takes too."""

import re
import tomllib

import pytest
import trimesh
from page.person import drawn, redrawn, settings, shot, violations


def turned(page, task):
    page.click(f"nav >> text={task}")
    page.wait_for_selector(".task:not([hidden])")


def worked_out(page, place=0):
    actions = page.locator(".task:not([hidden]) p.actions", has_text="Calculate").nth(place)
    actions.get_by_text("Calculate").click()
    answer = actions.locator("xpath=following-sibling::*[contains(@class, 'answer')][1]")
    answer.locator("table").first.wait_for()
    return answer.inner_text()


KEPT_JS = """(one) => {
  const toast = one.closest('.q-notification'), kept = toast.cloneNode(true);
  kept.classList.add('kept-toast'); toast.parentElement.append(kept); }"""
"""A toast leaves by itself, on a busy machine before it is looked at in both schemes."""


def test_weighings_are_taken_from_a_table(visit, tmp_path):
    path = tmp_path / "scales.csv"
    path.write_text("raw_g;finished_g\n80,0;76,0\n80,5;76,5\n79,5;75,5\n")
    page = visit()
    drawn(page)
    turned(page, "Trial bake")
    page.set_input_files(".task:not([hidden]) input[accept*=csv]", path)
    page.wait_for_function("document.querySelector('#trial-weighings-2-raw_g')?.value === '79.5'")
    # 4 g of 80, 80.5 and 79.5 g: the mean of three shares, by hand
    assert f"{(4 / 80 + 4 / 80.5 + 4 / 79.5) / 3:.4f}" in worked_out(page)
    page.fill("#trial-remember_as", "lantern")
    page.keyboard.press("Tab")
    page.click("text=Remember this trial")
    page.wait_for_selector(".notice >> text=The dough book has it now, under lantern.")
    page.get_by_role("button", name="Use: lantern").wait_for()
    page.click("text=Use the weights for the same mould")
    said = page.locator(".q-notification >> text=Undo brings the old one back")
    said.evaluate(KEPT_JS)
    said = page.locator(".kept-toast >> text=Undo brings the old one back")
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        ground, ink, around, size = said.evaluate(COLOURS_JS)
        assert contrast(ground, ink) >= 7.0  # WCAG 2.2, 1.4.6, for those who see little
        assert contrast(ground, around) >= 3.0  # 1.4.11: told from the page
        assert float(size.removesuffix("px")) >= 16.0
    page.emulate_media(color_scheme="light")


COLOURS_JS = """(message) => {
  const box = getComputedStyle(message.closest(".q-notification"));
  const body = getComputedStyle(document.body);
  return [box.backgroundColor, getComputedStyle(message).color, body.backgroundColor, box.fontSize];
}"""


def contrast(one, other):
    """Contrast of two opaque colours, by WCAG 2.2's definitions of contrast and luminance."""

    def luminance(colour):
        shares = [int(part) / 255.0 for part in re.findall(r"\d+", colour)[:3]]
        linear = [s / 12.92 if s <= 0.04045 else ((s + 0.055) / 1.055) ** 2.4 for s in shares]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def test_in_german_findings_what_a_weight_is_pressed_to_and_a_wrong_table(visit, tmp_path):
    page = visit("?in=de")
    page.wait_for_selector(".verdict-line")
    page.click("text=Bestandene Prüfungen")
    page.locator("summary", has_text="Vorsicht").click()
    said = page.inner_text(".findings")
    assert "auf Englisch" not in said
    # the commonest words of English that German has not
    plain = re.sub(r"[^;(]*\d{4}[^;)]*", "", said)  # published sources keep their names
    assert re.findall(r"\b(?:the|of|and|with|must|is)\b", plain) == []
    shot(page, "wide-german")

    turned(page, "Meine Formen")
    page.click("text=Mit Lineal")
    page.check("#owned-press")
    page.fill("#owned-width_mm", "50")
    page.fill("#owned-most_height_mm", "35")
    page.click("details:has(#owned-ratios) > summary")
    page.fill("#owned-ratios", "1:9")
    page.fill("#owned-pressed_mm", "30; 25; 20")
    page.keyboard.press("Tab")
    page.wait_for_timeout(600)
    page.locator(".task:not([hidden])").get_by_text("Berechnen").first.click()
    page.wait_for_selector(".answer >> text=auf Höhe")
    assert "in ihrer größten Höhe gerechnet, 35,0 mm" in page.inner_text(".answer")
    rows = page.locator(".answer table").last.locator("tbody tr").all_inner_texts()
    assert [row.split()[0] for row in rows] == ["30,00", "25,00", "20,00"]
    masses = [float(row.split()[1].replace(",", ".")) for row in rows]
    # Straight sides: equal steps of height take equal steps of weight, each rounded to 0.1 g.
    assert masses[0] - masses[1] == pytest.approx(masses[1] - masses[2], abs=0.2)
    assert page.locator(".answer tbody tr", has_text="1:9").count() == 4
    page.wait_for_function("document.querySelector('.answer .plot').naturalWidth > 300")
    shot(page, "wide-owned")

    path = tmp_path / "scales.csv"
    path.write_text("flour;sugar\n1;2\n")
    turned(page, "Probebacken")
    page.set_input_files(".task:not([hidden]) input[accept*=csv]", path)
    page.wait_for_selector(".task:not([hidden]) .answer >> text=braucht eine erste Zeile mit")


def counted_pieces_are_those_of_the_batch(page, settings_folder):
    page.check("#bake-in-A")
    page.fill("#hand-crust_g", "400")
    page.keyboard.press("Tab")
    page.click(".task:not([hidden]) >> text=Calculate")
    pieces = page.locator(".task:not([hidden]) .answer h3").first.inner_text()
    assert violations(page) == []
    page.click("text=Count these pieces in my moulds")
    page.wait_for_selector(".q-notification >> text=The pieces are counted")
    counted = tomllib.loads((settings_folder / "moulds.toml").read_text())["mould"][0]["pressed"]
    assert pieces == f"{counted} pieces"


def test_a_mould_is_known_by_ruler_and_its_recommended_piece_is_the_design(visit, settings_folder):
    page = visit()
    drawn(page)
    turned(page, "My moulds")
    assert page.locator("input[id^=owned-]:visible, select[id^=owned-]:visible").count() == 0
    calculate = page.locator(".task:not([hidden])").get_by_text("Calculate").first
    calculate.click()
    page.wait_for_selector(".answer >> text=How do you know its size? (not given): must be chosen")
    page.click("text=By ruler or caliper")
    page.wait_for_selector("#owned-height_mm")
    assert page.locator("#owned-water_g, #owned-mesh, #owned-most_height_mm").count() == 0
    calculate.click()
    page.wait_for_selector("[data-path=width_mm] .error >> text=Must be given")
    page.fill("#owned-name", "tin")
    page.fill("#owned-width_mm", "50")
    page.fill("#owned-height_mm", "25")
    page.keyboard.press("Tab")
    page.wait_for_timeout(400)
    said = worked_out(page)
    assert "Cavity 1: 49.1 mL" in said  # pi / 4 times 50 x 50 x 25 mm, by hand
    best = page.locator(".answer tr", has_text="Recommended")
    assert best.count() == 1
    finished_g = best.locator("td").nth(5).inner_text()
    best.locator("button").click()
    with page.expect_download() as card:
        page.click(".taken >> text=Download the bench card")
    assert card.value.suggested_filename == "card.pdf"
    page.click("text=Keep in my moulds")
    page.wait_for_selector(".own-mould >> text='A: tin'")
    assert tomllib.loads((settings_folder / "moulds.toml").read_text())["mould"] == [
        {"name": "tin", "id": "A", "width_mm": 50.0, "height_mm": 25.0, "kind": "own"}
    ]
    page.click("text=Open it under")
    assert float(page.input_value("#choice-weight")) == pytest.approx(float(finished_g), abs=0.05)
    page.wait_for_selector(".findings >> text=tin, which exists")
    assert page.locator(".design-name").inner_text() == "tin"
    page.fill("#choice-weight", "90")
    page.wait_for_selector(".strip >> text=90")
    page.wait_for_selector(".findings >> text=tin, which exists")
    page.click("#make")
    page.wait_for_selector(".notice >> text=what tin takes of this piece")
    turned(page, "Bake a batch")
    page.click(".task:not([hidden]) [aria-label='Use: tin']")
    page.wait_for_selector(".task:not([hidden]) .taken >> text=that tin takes")
    counted_pieces_are_those_of_the_batch(page, settings_folder)
    turned(page, "My moulds")
    page.click("[aria-label='Remove: tin']")
    page.wait_for_selector("text=None kept yet")
    assert not (settings_folder / "moulds.toml").exists()


def test_the_workshop_is_told_once_and_flows_into_the_design(visit, settings_folder):
    path = settings_folder / "workshop.toml"
    page = visit()
    drawn(page)
    page.click("text=Set it up")
    page.fill("#workshop-scale_step_g", "0,1")
    page.select_option("#workshop-printer", "small-bed")
    page.click("#help-gauge summary")
    page.fill("#gauge-ring", "2")
    page.fill("#gauge-slot", "3")
    page.click("text=Take this error")
    page.wait_for_function("document.querySelector('#workshop-print_error_mm').value === '0.15'")
    kept = {"scale_step_g": 0.1, "printer": "small-bed", "print_error_mm": 0.15}
    assert tomllib.loads(path.read_text()) == kept
    page.fill("#workshop-shrink", "7")
    page.wait_for_selector("[data-path=shrink] .error >> text=Must be at most")
    assert tomllib.loads(path.read_text()) == kept
    page.click("nav >> text=Design a piece")
    page.wait_for_selector(".workshop-line >> text=small-bed, PETG, scale in steps of 0.1 g")
    page.click("#reset")  # the workshop's values stay
    page.wait_for_selector(".workshop-line >> text=small-bed, PETG, scale in steps of 0.1 g")
    path.unlink()


def test_what_a_kitchen_measures_is_taken_where_it_is_used(visit):
    page = visit()
    drawn(page)
    settings(page)
    page.click("#help-cup summary")
    for field, value in (("empty", "80"), ("water", "316"), ("filled", "385")):
        page.fill(f"#cup-cup_{field}_g", value)
    page.click("text=Take it for the paste")
    # 305 g where 236 g of water go in, of 0.9982 g/mL at 20 deg C (Kell 1975), by hand: 1.290
    filled = "document.querySelector('#design-portion-filling_density_g_per_ml').value === '1.29'"
    page.wait_for_function(filled)
    turned(page, "Bake a batch")
    page.click("#help-syrup summary")
    page.fill("#syrup-sugar_g", "500")
    page.wait_for_selector("#help-syrup .found >> text=625 g")  # 500 / 0.8, without inversion
    page.click("#recipe-form summary")
    # One scrolls the task: what is only heard of it must not make the page itself taller.
    assert page.evaluate("document.documentElement.scrollHeight <= innerHeight")
    lines = (("flour of ours", "100", "1.25"), ("water of ours", "100", "1.0"))
    for number, line in enumerate(lines):
        for field, value in zip(("food", "mass_g", "density_g_per_ml"), line, strict=True):
            page.fill(f"#recipe-crust_lines-{number}-{field}", value)
    page.keyboard.press("Tab")
    # 200 g in 80 mL and 100 mL, by hand: 1.111 g/mL
    page.wait_for_selector("#recipe-form .found >> text=1.111")
    page.click("text=Take densities and loss")
    page.click("text=Use it for the batch")
    page.wait_for_function("document.querySelector('#batch-batch-recipe').value.startsWith('own-')")
    page.fill("#recipe-filling_lines-0-food", "dates")
    page.fill("#recipe-filling_lines-0-mass_g", "50")
    page.keyboard.press("Tab")
    page.wait_for_selector("#recipe-form .found >> text=paste")
    page.click("#recipe-form >> text=Label (US)")
    page.wait_for_selector("#recipe-form .label-text >> text=Ingredients:")
    page.wait_for_selector("#recipe-form a[href$='labels.pdf']")
    page.fill("#recipe-crust_lines-0-food", "wheet flour")
    page.fill("#recipe-crust_lines-0-density_g_per_ml", "")
    page.wait_for_selector("#recipe-form .found .error >> text=wheat flour")
    assert page.input_value("#design-portion-crust_density_g_per_ml") == "1.111"


@pytest.mark.slow
def test_a_sleeve_wants_its_stamp(visit, tmp_path):
    ring = trimesh.creation.annulus(r_min=25.0, r_max=30.0, height=60.0, sections=24)
    ring.export(tmp_path / "sleeve.stl")
    page = visit()
    drawn(page)
    turned(page, "My moulds")
    page.click("text=By its 3D file")
    page.set_input_files("[data-path='mesh'] input[type=file]", tmp_path / "sleeve.stl")
    page.wait_for_function("document.querySelector('#owned-mesh').value.startsWith('own-')")
    calculate = page.locator(".task:not([hidden])").get_by_text("Calculate").first
    calculate.click()
    page.wait_for_selector("[data-path=mesh] .error >> text=if it is the sleeve of a press")
    page.check("#owned-press")
    page.wait_for_selector("#owned-stamp")
    calculate.click()
    page.wait_for_selector("[data-path=stamp] .error >> text=a sleeve is open at both ends")


def test_a_shelf_is_ranked_for_the_piece_and_may_not_name_files_of_this_disk(visit, tmp_path):
    path = tmp_path / "moulds.toml"
    path.write_text(
        '[[mould]]\nname = "small"\noutline = "square"\nwidth_mm = 30\nheight_mm = 20\n'
        '[[mould]]\nname = "fitting"\nwater_g = [60.8]\n'
    )
    page = visit()
    drawn(page)
    turned(page, "My moulds")
    page.set_input_files("[data-path='moulds'] input[type=file]", path)
    page.wait_for_function("document.querySelector('#shelf-moulds').value.startsWith('own-')")
    said = worked_out(page, place=1)
    assert said.index("fitting") < said.index("small")
    assert "too large for the mould" in said
    path.write_text('[[mould]]\nname = "x"\nmesh = "/etc/passwd"\n')  # no file of this disk
    before = page.input_value("#shelf-moulds")
    page.set_input_files("[data-path='moulds'] input[type=file]", path)
    page.wait_for_function(f"document.querySelector('#shelf-moulds').value !== '{before}'")
    page.locator(".task:not([hidden])").get_by_text("Calculate").nth(1).click()
    page.wait_for_selector(".answer >> text=was not uploaded here")


@pytest.mark.slow
def test_a_further_stamp_is_drawn_among_the_parts(visit):
    page = visit()
    before = drawn(page, "mould")
    settings(page)
    page.click("text=Add a stamp")
    page.locator("[aria-label='Stamp 1']").wait_for()
    page.fill("#design-further_stamps-0-name", "plain")
    page.keyboard.press("Tab")
    redrawn(page, before)
    page.wait_for_selector(".view[data-bodies~=stamp-plain]")
    layers = page.locator("[aria-label='Stamp 1'] [aria-label='Layer 1']")
    layers.locator("button", has_text="Motif").click()
    page.wait_for_selector("#design-further_stamps-0-layers-0-motif")
    page.click(".views button >> text=/^Mould$/")
    page.wait_for_timeout(500)
    shot(page, "wide-stamps")


SMALL = """() => [...document.querySelectorAll(
  'button, a, select, textarea, input:not([type=file], [type=radio], [type=checkbox]), summary, '
  + '.upload span, .checkbox')]
  .filter((one) => one.checkVisibility() && !one.classList.contains('skip-link'))
  .map((one) => [one.textContent.trim(), one.getBoundingClientRect()])
  .filter(([, box]) => box.height < 43.5 || box.width < 43.5)
  .map(([text, box]) => `${text} ${box.width} x ${box.height}`)"""


# German words are the longer ones.
@pytest.mark.parametrize("language", [pytest.param("en", marks=pytest.mark.slow), "de"])
def test_a_narrow_phone_needs_no_scrolling_sideways_and_has_room_for_fingers(visit, language):
    # 44 by 44 CSS pixels: WCAG 2.2, success criterion 2.5.5
    page = visit(
        f"?in={language}",
        viewport={"width": 360, "height": 740}, has_touch=True, color_scheme="dark",
    )  # fmt: skip
    drawn(page, "mould")
    page.wait_for_selector(".verdict-line")
    for number in range(4):
        page.locator("header nav button").nth(number).click()
        page.wait_for_timeout(300)
        wide = page.evaluate(
            "[...document.querySelectorAll('body, .page-head, .page-head nav, .page-tools')]"
            ".map((one) => one.scrollWidth - one.clientWidth)"
        )
        assert max(wide) <= 0
        assert page.evaluate("document.documentElement.scrollWidth") <= 360
        assert page.evaluate(SMALL) == []
        assert violations(page) == []
        shot(page, f"phone-{language}-{number}")
