"""The page by clicking and typing: what is drawn, weighed, checked, taken back and shared."""

import re
import zipfile
from math import radians, tan

import pytest
import trimesh
from axe_playwright_python.sync_playwright import Axe
from page.person import drawn, ended, figures, picked, redrawn, settings, shot, started, typed


def raw_g(finished_g):
    """Return the raw mass of the demo at another weight, by hand.

    Dry matter stays: a crust of 14.7 % water that bakes to 7 % keeps 0.853 / 0.93 of its mass, a
    paste of 32 % that ends at 31 % keeps 0.68 / 0.69, the centre of 5 g all.
    """
    return (finished_g - 5.0 * (1.0 - 0.68 / 0.69)) / (0.3 * 0.853 / 0.93 + 0.7 * 0.68 / 0.69)


def test_a_weight_changes_model_and_scale_figures(visit):
    page = visit()
    before = drawn(page)
    figures(page)
    typed(page, "portion.finished_weight_g", "90")
    redrawn(page, before)
    page.wait_for_selector(f".weights >> text={raw_g(90.0):.1f}")
    assert page.locator(".weights tr", has_text="crust").inner_text().split()[2] == (
        f"{0.3 * raw_g(90.0):.1f}"
    )


def test_a_comma_is_a_decimal_point(visit):
    page = visit()
    before = drawn(page)
    figures(page)
    typed(page, "portion.finished_weight_g", "80,5")
    redrawn(page, before)
    page.wait_for_selector(f".weights >> text={raw_g(80.5):.1f}")


@pytest.mark.parametrize(
    ("field", "value", "says"),
    [
        pytest.param("portion.finished_weight_g", "-3", "above 0 g", marks=pytest.mark.slow),
        pytest.param("portion.finished_weight_g", "many", "number", marks=pytest.mark.slow),
        ("portion.finished_weight_g", "5 mm", "Must be in g, kg, mg, oz, lb"),
        pytest.param("portion.ratio", "3-7", "such as 3:7", marks=pytest.mark.slow),
        pytest.param("mould.clearance_mm", "9", "at most 2 mm", marks=pytest.mark.slow),
    ],
)
def test_a_wrong_value_is_told_at_its_field_and_the_last_model_stays(visit, field, value, says):
    page = visit()
    before = drawn(page)
    figures(page)
    settings(page)
    typed(page, field, value)
    place = page.locator(f"[data-path='{field}']")
    place.locator(".error").wait_for()
    assert says in place.locator(".error").inner_text()
    assert place.locator("input").get_attribute("aria-invalid") == "true"
    assert int(page.get_attribute(".view", "data-drawn")) == before
    assert page.locator(".weights").is_visible()


@pytest.mark.slow
def test_a_mistake_stays_told_when_the_picture_before_it_comes(visit):
    page = visit()
    before = drawn(page)
    settings(page)
    typed(page, "portion.finished_weight_g", "90")
    typed(page, "portion.loss", "-")
    page.wait_for_selector("[data-path='portion.loss'] .error")
    redrawn(page, before)
    page.wait_for_selector(".verdict-line")
    assert page.locator("[data-path='portion.loss'] .error").is_visible()


def test_a_wrong_entry_among_several_numbers_is_told_at_their_field(visit):
    page = visit()
    drawn(page)
    settings(page)
    page.click("text=Advanced: Printer and plastic")
    typed(page, "printer.bed_mm", "220 x wide x 250")
    page.wait_for_selector("[data-path='printer.bed_mm'] .error >> text=number")


def test_a_mistake_can_be_taken_back_after_something_else_was(visit):
    page = visit()
    drawn(page)
    assert page.locator("#undo").is_disabled()
    typed(page, "portion.ratio", "4:6")
    page.click("#undo:enabled")
    page.wait_for_selector("#undo:disabled")
    typed(page, "portion.loss", "-")
    page.click("#undo:enabled")
    page.wait_for_function("document.querySelector('#design-portion-loss').value === ''")


def test_what_cannot_be_built_is_told_and_mended(visit):
    page = visit()
    before = drawn(page)
    typed(page, "pastry.height_to_width", "")
    typed(page, "pastry.width_mm", "300")
    page.locator(".notice p").first.wait_for()
    typed(page, "pastry.width_mm", "55")
    redrawn(page, before)
    page.wait_for_selector(".notice", state="attached")
    page.wait_for_function("document.querySelector('.notice').textContent === ''")


def test_layers_come_go_and_change_their_source(visit):
    page = visit()
    before = drawn(page)
    settings(page)
    page.click("text=Add a layer")
    layer = page.locator("[aria-label='Layer 2']")
    layer.wait_for()
    layer.locator("button", has_text="Motif").click()
    page.select_option("#design-relief-layers-1-motif", "beads")
    redrawn(page, before)
    layer.locator("button", has_text="Remove").click()
    layer.wait_for(state="detached")


def test_a_pattern_is_picked_by_its_picture(visit):
    page = visit()
    before = drawn(page)
    picked(page, "top", "pattern-lantern")
    redrawn(page, before)
    assert "design=" in page.url


@pytest.mark.slow
def test_a_drawing_of_ones_own_is_pressed(visit, tmp_path):
    path = tmp_path / "mine.svg"
    path.write_text(
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 10 10"><rect x="2" y="2" width="6" '
        'height="6"/></svg>'
    )
    page = visit()
    before = drawn(page)
    settings(page)
    figures(page)
    page.set_input_files("[data-path='relief.layers.0.pattern'] input[type=file]", path)
    redrawn(page, before)
    page.wait_for_selector(".choice:has(:checked) >> text=own file")
    typed(page, "relief.layers.0.size_mm", "20")
    # six tenths of 20 mm square, 1.6 mm or eight layers high, each wall leaning 15 deg: a frustum
    low, high = 12.0, 12.0 - 2.0 * 1.6 * tan(radians(15.0))
    frustum_ml = 1.6 * (low**2 + high**2 + low * high) / 3.0 / 1000.0
    page.wait_for_selector(f".sizes tr:has-text('relief') >> text={frustum_ml:.2f} mL")


def test_a_file_that_is_no_drawing_is_told_at_its_field(visit, tmp_path):
    path = tmp_path / "notes.svg"
    path.write_text("buy chestnuts")
    page = visit()
    drawn(page)
    settings(page)
    page.set_input_files("[data-path='relief.layers.0.pattern'] input[type=file]", path)
    told = page.locator("[data-path='relief.layers.0.pattern'] .error")
    told.wait_for()
    assert "must be a file of the kind svg, png or jpg" in told.inner_text()


def test_a_drawing_that_cannot_be_used_is_told_at_its_field(visit, tmp_path):
    path = tmp_path / "half.svg"
    path.write_text('<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 10 10"><rect x="2"')
    page = visit()
    drawn(page)
    settings(page)
    page.set_input_files("[data-path='relief.layers.0.pattern'] input[type=file]", path)
    page.wait_for_selector("[data-path='relief.layers.0.pattern'] .error >> text=Is not XML")


def test_a_file_that_is_not_even_read_is_told_at_its_field(visit, tmp_path):
    path = tmp_path / "large.stl"
    with path.open("wb") as file:
        file.truncate(65 * 1024 * 1024)
    page = visit()
    drawn(page)
    settings(page)
    page.click("nav >> text=My moulds")
    page.click("text=By its 3D file")
    page.set_input_files("[data-path='mesh'] input[type=file]", path)
    page.wait_for_selector("[data-path='mesh'] .error >> text=did not arrive: it is too large")


@pytest.mark.slow
def test_a_page_whose_program_has_ended_says_so(browser):
    own = started("--port", "0")
    context = browser.new_context(locale="de")
    page = context.new_page()
    page.goto(own.address)
    drawn(page)
    ended(own)
    page.wait_for_selector("#popup[role=alert][aria-hidden=false] >> text=antwortet nicht")
    context.close()


def test_a_set_or_design_without_its_drawings_brings_all_the_rest(visit, tmp_path):
    path, archive = tmp_path / "design.toml", tmp_path / "set.zip"
    text = '[portion]\nfinished_weight_g = {}\n[relief]\nlayers = [{{ pattern = "{}" }}]\n'
    page = visit()
    drawn(page)
    path.write_text(text.format(82, "/etc/motd.svg"))  # no file of this disk either
    page.set_input_files(".actions input[type=file]", path)
    page.wait_for_selector(".notice >> text=motd.svg was not uploaded here")
    assert page.input_value("#choice-weight") == "82"
    with zipfile.ZipFile(archive, "w") as whole:
        whole.writestr("moon/design.toml", text.format(84, "moon.svg"))
    page.set_input_files(".actions input[type=file]", archive)
    page.wait_for_selector(".notice >> text=moon.svg was not uploaded here")
    assert page.input_value("#choice-weight") == "84"


def test_a_design_file_with_mistakes_is_told_line_by_line(visit, tmp_path):
    path = tmp_path / "wrong.toml"
    path.write_text("[portion]\nloss = 9\n\n[pastry]\nwidht_mm = 40\n")
    page = visit()
    drawn(page)
    page.set_input_files(".actions input[type=file]", path)
    page.wait_for_selector(".notice >> text=line 2: portion.loss")
    assert "line 5: pastry.widht_mm" in page.inner_text(".notice")


def test_an_address_that_is_damaged_is_told_and_the_usual_design_shown(visit):
    page = visit("?design=nonsense")
    drawn(page)
    page.wait_for_selector(".notice >> text=holds no whole design")


def test_checks_can_be_stopped_and_asked_for_again(visit):
    page = visit()
    before = drawn(page)
    typed(page, "portion.finished_weight_g", "80")
    redrawn(page, before)
    page.click(".check-status >> text=Stop")
    page.wait_for_selector(".check-status >> text=Not checked")
    page.click(".check-status >> text=Check now")
    page.wait_for_selector(".verdict-line")


@pytest.mark.slow
def test_files_given_up_for_another_design_are_said_to_be_old(visit):
    page = visit()
    page.wait_for_selector(".verdict-line")
    page.click("#make")
    typed(page, "portion.finished_weight_g", "81")
    page.wait_for_selector("#make:enabled")
    page.wait_for_selector(".files-status >> text=of the earlier design")


def test_keys_alone_change_and_take_back(visit):
    page = visit()
    before = drawn(page)
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className").split()[0] == "skip-link"
    settings(page)
    page.focus("#design-portion-finished_weight_g")
    page.keyboard.press("ArrowUp")
    redrawn(page, before)
    assert page.input_value("#design-portion-finished_weight_g") == "76"
    page.keyboard.press("Tab")  # to a button: in a field, Ctrl-Z is the field's own
    page.keyboard.press("Control+z")
    page.wait_for_function(
        "document.querySelector('#design-portion-finished_weight_g').value === '75'"
    )


def test_undo_redo_and_the_address(visit):
    page = visit()
    before = drawn(page)
    typed(page, "portion.ratio", "4:6")
    redrawn(page, before)
    page.click("text=Undo")
    page.wait_for_function("document.querySelector('#design-portion-ratio').value === '3:7'")
    page.click("text=Redo")
    page.wait_for_function("document.querySelector('#design-portion-ratio').value === '4:6'")
    page.wait_for_timeout(500)
    again = visit(re.sub(r"^http://[^/]*/", "", page.url))
    drawn(again)
    assert again.input_value("#design-portion-ratio") == "4:6"


def test_two_tabs_do_not_mix(visit):
    one, two = visit(), visit()
    first, second = drawn(one), drawn(two)
    figures(one)
    figures(two)
    typed(one, "portion.finished_weight_g", "100")
    typed(two, "portion.finished_weight_g", "50")
    redrawn(one, first)
    redrawn(two, second)
    assert f"{raw_g(100.0):.1f}" in one.inner_text(".weights")
    assert f"{raw_g(50.0):.1f}" in two.inner_text(".weights")


def test_findings_come_with_words_and_limits(visit):
    page = visit()
    page.wait_for_selector(".verdict-line")
    page.click("text=Passed checks")
    found = page.locator(".finding.good")
    assert found.count() > 10
    assert re.search(r"good:.*\(limit: ", found.first.inner_text(), re.DOTALL)


WIDE, PHONE = (1400, 900), (390, 844)


@pytest.mark.parametrize(
    ("name", "size", "scheme"),
    [
        pytest.param("wide", WIDE, "light", id="wide-light"),
        pytest.param("phone", PHONE, "dark", id="phone-dark"),
        pytest.param("wide", WIDE, "dark", id="wide-dark", marks=pytest.mark.slow),
        pytest.param("phone", PHONE, "light", id="phone-light", marks=pytest.mark.slow),
    ],
)
def test_axe_finds_nothing_serious(visit, scheme, name, size):
    page = visit(viewport={"width": size[0], "height": size[1]}, color_scheme=scheme)
    drawn(page, "mould")
    page.click(".views >> text=Cut")
    page.wait_for_selector(".view-overlay .size")
    shot(page, f"{name}-{scheme}")
    assert _serious(page) == []
    # nothing is wider than the screen: a phone is not scrolled sideways
    assert page.evaluate("document.documentElement.scrollWidth") <= size[0]


def test_the_other_tasks_have_nothing_serious_either(visit):
    page = visit("?in=de")
    drawn(page)
    for task in ("Meine Formen", "Probebacken", "Einen Schub backen", "Werkstatt"):
        page.click(f"nav >> text={task}")
        page.wait_for_selector(".task:not([hidden])")
        assert _serious(page) == []


def _serious(page):
    found = Axe().run(page).response["violations"]
    return [
        (one["id"], one["nodes"][0]["html"][:200])
        for one in found
        if one["impact"] in {"serious", "critical"}
    ]


def test_the_other_languages_are_shown_and_said(visit):
    page = visit("?in=de")
    drawn(page)
    settings(page)
    assert page.get_attribute("html", "lang") == "de"
    assert page.locator("label", has_text="Fertiges Gewicht").count() == 1
    page.select_option("#language", "zh")
    page.wait_for_selector("html[lang=zh]")
    drawn(page)
    settings(page)
    labels = page.locator("label, legend, button, summary, h1, h2, h3, option").all_text_contents()
    # Printers have names with hyphens.
    said = [label for label in labels if not re.fullmatch(r"\s*[a-z0-9]+(-[a-z0-9]+)+\s*", label)]
    english = {word for label in said for word in re.findall(r"[A-Za-z]{3,}", label)}
    assert english <= {"English", "Deutsch", "PLA", "PETG", "ABS"}
    assert _serious(page) == []


def test_without_webgl_a_picture_is_shown(visit):
    page = visit(without_webgl=True)
    page.wait_for_selector(".viewport img")
    page.wait_for_function("document.querySelector('.viewport img').naturalWidth > 100")


def test_a_mesh_that_is_owned_holds_what_its_file_holds(visit, tmp_path):
    # An open box: a block of 60 x 60 x 30 less a pocket of 50 x 50 x 25, volume by hand 62.5 mL.
    block = trimesh.creation.box((60.0, 60.0, 30.0))
    pocket = trimesh.creation.box((50.0, 50.0, 25.0)).apply_translation((0.0, 0.0, 2.5))
    path = tmp_path / "box.stl"
    trimesh.boolean.difference([block, pocket], engine="manifold").export(path)
    page = visit()
    drawn(page)
    page.click("nav >> text=My moulds")
    page.click("text=By its 3D file")
    page.set_input_files("[data-path='mesh'] input[type=file]", path)
    page.wait_for_function("document.querySelector('#owned-mesh').value.startsWith('own-')")
    page.locator(".task:not([hidden])").get_by_text("Calculate").first.click()
    page.wait_for_selector(".answer h3")
    assert page.inner_text(".answer h3") == "Cavity 1: 62.5 mL"


def test_a_trial_says_what_was_lost(visit):
    page = visit()
    drawn(page)
    page.click("nav >> text=Trial bake")
    page.fill("#trial-weighings-0-raw_g", "80")
    page.fill("#trial-weighings-0-finished_g", "76")
    page.keyboard.press("Tab")
    page.wait_for_timeout(500)
    page.locator(".task:not([hidden])").get_by_text("Calculate").click()
    page.wait_for_selector(".answer table")
    assert "0.0500" in page.inner_text(".answer")  # 4 g of 80 g
    page.click("text=Use the weights for the same mould")
    page.click("nav >> text=Design a piece")
    page.wait_for_function("document.querySelector('#design-portion-loss').value === '0.05'")


def test_a_batch_totals_its_pieces(visit):
    page = visit()
    drawn(page)
    page.click("nav >> text=Bake a batch")
    page.fill("#batch-batch-pieces", "24")
    page.keyboard.press("Tab")
    page.wait_for_timeout(500)
    page.locator(".task:not([hidden])").get_by_text("Calculate").click()
    page.wait_for_selector(".answer table")
    # one piece on a scale of 1 g: 30 % of 77.6 g is 23 g; by hand
    assert "552" in page.inner_text(".answer")  # 24 x 23 g
    page.wait_for_function("document.querySelector('.sheet img')?.naturalWidth > 100")
    assert page.locator(".sheet .trays li").all_inner_texts() == ["1: 12", "2: 12"]


def test_a_centre_is_offered_foods_by_name_and_brings_its_allergen(visit):
    page = visit()
    drawn(page)
    offered = page.locator("[data-path='portion.centres.0.name'] datalist option")
    names = {option.get_attribute("value") for option in offered.all()}
    assert {"salted egg yolk", "walnut", "date"} <= names
    assert "wheat flour" not in names
    typed(page, "portion.centres.0.name", "salted egg yolk")
    page.wait_for_selector("text=point to: egg")
