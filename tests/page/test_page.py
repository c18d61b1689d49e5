"""The page by clicking and typing: what is drawn, weighed, checked, taken back and shared."""

import re
import zipfile
from math import radians, tan

import pytest
import trimesh
from page.person import (
    drawn,
    ended,
    figures,
    picked,
    redrawn,
    settings,
    shot,
    started,
    typed,
    violations,
)


def raw_g(finished_g):
    """Return the raw mass of the demo at another weight, by hand.

    Dry matter stays: a crust of 14.7 % water that bakes to 7 % keeps 0.853 / 0.93 of its mass, a
    paste of 32 % that ends at 31 % keeps 0.68 / 0.69, the centre of 5 g all.
    """
    return (finished_g - 5.0 * (1.0 - 0.68 / 0.69)) / (0.3 * 0.853 / 0.93 + 0.7 * 0.68 / 0.69)


def test_a_weight_with_a_point_or_a_comma_changes_model_and_scale_figures(visit):
    page = visit()
    figures(page)
    for typed_g, weight_g in (("90", 90.0), ("80,5", 80.5)):
        before = drawn(page)
        typed(page, "portion.finished_weight_g", typed_g)
        redrawn(page, before)
        page.wait_for_selector(f".weights >> text={raw_g(weight_g):.1f}")
        assert page.locator(".weights tr", has_text="crust").inner_text().split()[2] == (
            f"{0.3 * raw_g(weight_g):.1f}"
        )
    # What cannot be built is told, and mended.
    before = drawn(page)
    typed(page, "pastry.height_to_width", "")
    typed(page, "pastry.width_mm", "300")
    page.locator(".notice p").first.wait_for()
    typed(page, "pastry.width_mm", "55")
    redrawn(page, before)
    page.wait_for_selector(".notice", state="attached")
    page.wait_for_function("document.querySelector('.notice').textContent === ''")


WRONG = (
    ("portion.finished_weight_g", "-3", "above 0 g"),
    ("portion.finished_weight_g", "many", "number"),
    ("portion.finished_weight_g", "5 mm", "Must be in g, kg, mg, oz, lb"),
    ("portion.ratio", "3-7", "such as 3:7"),
    ("mould.clearance_mm", "9", "at most 2 mm"),
    ("printer.bed_mm", "220 x wide x 250", "number"),
)


def test_a_wrong_value_is_told_at_its_field_and_can_be_taken_back(visit):
    page = visit()
    before = drawn(page)
    figures(page)
    assert page.locator("#undo").is_disabled()
    settings(page)
    for group in ("Mould", "Printer and plastic"):
        page.click(f"text=Advanced: {group}")
    for field, value, says in WRONG:
        place = page.locator(f"[data-path='{field}']")
        first = place.locator("input").first.input_value()
        typed(page, field, value)
        place.locator(".error").wait_for()
        assert says in place.locator(".error").inner_text()
        assert place.locator("input").first.get_attribute("aria-invalid") == "true"
        assert drawn(page) == before  # the last model stays
        page.click("#undo:enabled")
        place.locator(".error").wait_for(state="hidden")
        redrawn(page, before)
        before = drawn(page)
        assert place.locator("input").first.input_value() == first
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


def test_layers_come_and_go_and_a_pattern_is_picked_by_its_picture(visit):
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


def test_files_are_read_or_told_at_their_field(visit, tmp_path):
    notes, half, large, box = (
        tmp_path / name for name in ("notes.svg", "half.svg", "large.stl", "box.stl")
    )
    notes.write_text("buy chestnuts")
    half.write_text('<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 10 10"><rect x="2"')
    with large.open("wb") as file:
        file.truncate(65 * 1024 * 1024)
    # An open box: a block of 60 x 60 x 30 less a pocket of 50 x 50 x 25, volume by hand 62.5 mL.
    block = trimesh.creation.box((60.0, 60.0, 30.0))
    pocket = trimesh.creation.box((50.0, 50.0, 25.0)).apply_translation((0.0, 0.0, 2.5))
    trimesh.boolean.difference([block, pocket], engine="manifold").export(box)
    page = visit()
    drawn(page)
    settings(page)
    drawing = "[data-path='relief.layers.0.pattern']"
    for file, says in ((notes, "must be a file of the kind svg, png or jpg"), (half, "Is not XML")):
        page.set_input_files(f"{drawing} input[type=file]", file)
        page.wait_for_selector(f"{drawing} .error >> text={says}")
    library, strange = "[data-path='printer.library']", tmp_path / "strange.toml"
    strange.write_text("colour = 'red'\n")
    page.set_input_files(f"{library} input[type=file]", strange)
    page.wait_for_selector(f"{library} .error >> text=Holds colour; only printers and materials")
    page.click("nav >> text=My moulds")
    page.click("text=By its 3D file")
    page.set_input_files("[data-path='mesh'] input[type=file]", large)
    page.wait_for_selector("[data-path='mesh'] .error >> text=did not arrive: it is too large")
    page.set_input_files("[data-path='mesh'] input[type=file]", box)
    page.wait_for_function("document.querySelector('#owned-mesh').value.startsWith('own-')")
    page.locator(".task:not([hidden])").get_by_text("Calculate").first.click()
    page.wait_for_selector(".answer h3")
    assert page.inner_text(".answer h3") == "Cavity 1: 62.5 mL"


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


def test_designs_that_are_damaged_or_lack_a_drawing_bring_what_they_can_and_say_so(visit, tmp_path):
    path, archive = tmp_path / "design.toml", tmp_path / "set.zip"
    text = '[portion]\nfinished_weight_g = {}\n[relief]\nlayers = [{{ pattern = "{}" }}]\n'
    page = visit("?design=nonsense")
    drawn(page)
    page.wait_for_selector(".notice >> text=holds no whole design")
    path.write_text(text.format(82, "/etc/motd.svg"))  # no file of this disk either
    page.set_input_files(".actions input[type=file]", path)
    page.wait_for_selector(".notice >> text=motd.svg was not uploaded here")
    page.wait_for_function("document.querySelector('#choice-weight').value === '82'")
    with zipfile.ZipFile(archive, "w") as whole:
        whole.writestr("moon/design.toml", text.format(84, "moon.svg"))
    page.set_input_files(".actions input[type=file]", archive)
    page.wait_for_selector(".notice >> text=moon.svg was not uploaded here")
    page.wait_for_function("document.querySelector('#choice-weight').value === '84'")
    with zipfile.ZipFile(archive, "w") as whole:
        whole.writestr("readme.txt", "x")
    page.set_input_files(".actions input[type=file]", archive)
    page.wait_for_selector(".notice >> text=holds no design.toml")
    path.write_text("[portion]\nloss = 9\n\n[pastry]\nwidht_mm = 40\n")
    page.set_input_files(".actions input[type=file]", path)
    page.wait_for_selector(".notice >> text=line 2: portion.loss")
    assert "line 5: pastry.widht_mm" in page.inner_text(".notice")
    page.set_viewport_size({"width": 390, "height": 844})
    settings(page)  # far above the notice
    page.set_input_files(".actions input[type=file]", path)
    page.wait_for_function(
        "(box => box.top >= 0 && box.bottom <= innerHeight)"
        "(document.querySelector('.notice:not(:empty)').getBoundingClientRect())"
    )
    page.set_viewport_size({"width": 1200, "height": 640})


def test_checks_can_be_stopped_and_asked_for_again_and_come_with_words_and_limits(visit):
    page = visit()
    before = drawn(page)
    typed(page, "portion.finished_weight_g", "80")
    redrawn(page, before)
    page.click(".check-status >> text=Stop")
    page.wait_for_selector(".check-status >> text=Not checked")
    page.click(".check-status >> text=Check now")
    page.wait_for_selector(".verdict-line")
    page.click("text=Passed checks")
    found = page.locator(".finding.good")
    assert found.count() > 10
    assert re.search(r"good:.*\(limit: ", found.first.inner_text(), re.DOTALL)


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


WIDE, PHONE = (1400, 900), (390, 844)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "size", "scheme"),
    [
        pytest.param(name, size, scheme, id=f"{name}-{scheme}")
        for name, size in (("wide", WIDE), ("phone", PHONE))
        for scheme in ("light", "dark")
    ],
)
def test_axe_finds_nothing_in_any_task(visit, scheme, name, size):
    page = visit(viewport={"width": size[0], "height": size[1]}, color_scheme=scheme)
    drawn(page, "mould")
    page.click(".views >> text=Cut")
    page.wait_for_selector(".view-overlay .size")
    shot(page, f"{name}-{scheme}")
    places = [".page-head nav button >> nth=" + str(place) for place in range(1, 4)]
    for place in (".views button >> nth=0", *places, ".workshop-line button"):
        page.locator(place).evaluate("one => one.click()")  # a line of the first screen, hidden
        page.wait_for_timeout(300)
        assert violations(page) == []
        # nothing is wider than the screen: a phone is not scrolled sideways
        assert page.evaluate("document.documentElement.scrollWidth") <= size[0]


def test_the_other_languages_are_shown_and_said_and_no_task_has_a_violation(visit):
    page = visit("?in=de")
    drawn(page)
    settings(page)
    assert page.get_attribute("html", "lang") == "de"
    assert page.locator("label", has_text="Fertiges Gewicht").count() == 1
    for task in ("Meine Formen", "Probebacken", "Einen Schub backen", "Werkstatt"):
        page.click(f"nav >> text={task}")
        page.wait_for_selector(".task:not([hidden])")
        assert violations(page) == []
    page.select_option("#language", "zh")
    page.wait_for_selector("html[lang=zh]")
    drawn(page)
    settings(page)
    labels = page.locator("label, legend, button, summary, h1, h2, h3, option").all_text_contents()
    # Printers have names with hyphens.
    said = [label for label in labels if not re.fullmatch(r"\s*[a-z0-9]+(-[a-z0-9]+)+\s*", label)]
    english = {word for label in said for word in re.findall(r"[A-Za-z]{3,}", label)}
    assert english <= {"English", "Deutsch", "PLA", "PETG", "ABS"}
    assert violations(page) == []
    centre = page.locator("[data-path='portion.centres.0.name'] input")
    assert centre.input_value() == "椰枣块"
    typed(page, "portion.centres.0.name", "核桃")  # what the first screen knows is a food
    page.wait_for_function("document.querySelector('#choice-centre').value === 'walnut'")
    assert centre.input_value() == "核桃"


def test_without_webgl_a_picture_is_shown(visit):
    page = visit(without_webgl=True)
    page.wait_for_selector(".viewport img")
    page.wait_for_function("document.querySelector('.viewport img').naturalWidth > 100")


def test_a_trial_asks_for_weighings_and_says_what_was_lost(visit):
    page = visit()
    drawn(page)
    page.click("nav >> text=Trial bake")
    assert page.locator("text=Use the weights for the same mould").is_disabled()
    page.locator(".task:not([hidden])").get_by_text("Calculate").click()
    page.wait_for_selector("[data-path='weighings.0.raw_g'] .error >> text=Is missing")
    assert page.inner_text(".task:not([hidden]) .answer") == (
        "Piece 1: Raw weight: is missing and has no default (1 more to mend after this one)."
    )
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


def test_a_batch_totals_its_pieces_and_a_centre_brings_its_allergen_by_its_name(visit):
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
    page.click("nav >> text=Design a piece")
    offered = page.locator("[data-path='portion.centres.0.name'] datalist option")
    names = {option.get_attribute("value") for option in offered.all()}
    assert {"salted egg yolk", "walnut", "date"} <= names
    assert "wheat flour" not in names
    typed(page, "portion.centres.0.name", "salted egg yolk")
    page.wait_for_selector("text=point to: egg")
