"""The workshop: copied into designs where nothing else says so, and never seen by tests."""

import json
import tomllib

import pytest
from cli.test_options import design_of
from command_line import refused, run

from moulddesign.design import (
    IN_DESIGN,
    Design,
    RegisteredMould,
    Workshop,
    read_register,
    read_workshop,
    save_register,
)


@pytest.fixture
def shop(monkeypatch, tmp_path):
    path = tmp_path / "settings" / "workshop.toml"
    monkeypatch.setenv("MOULDDESIGN_WORKSHOP", str(path))
    monkeypatch.chdir(tmp_path)
    return path


def test_the_tests_see_no_workshop():
    assert read_workshop() == Workshop()


def test_its_folder_is_the_platform_s(monkeypatch, tmp_path):
    from moulddesign.design import workshop_path  # noqa: PLC0415 (beside what it is about)

    # XDG Base Directory Specification 0.8: $XDG_CONFIG_HOME holds what a user sets.
    monkeypatch.delenv("MOULDDESIGN_WORKSHOP")
    monkeypatch.setattr("sys.platform", "linux")
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    assert workshop_path() == tmp_path / "moulddesign" / "workshop.toml"


def test_values_are_set_shown_and_forgotten(shop, monkeypatch, capsys):
    typed = ("scale_step_g=0,1 g", "printer=small-bed", "shrink=0.3 %")
    code, said, _ = run(monkeypatch, capsys, "workshop", "set", *typed, "--json")
    values = {"scale_step_g": 0.1, "printer": "small-bed", "shrink": 0.003}
    assert (code, json.loads(said)["workshop"]) == (0, values)
    assert tomllib.loads(shop.read_text()) == values
    _, said, _ = run(monkeypatch, capsys, "workshop", "reset", "printer", "--json")
    assert json.loads(said)["workshop"] == {"scale_step_g": 0.1, "shrink": 0.003}
    _, shown, _ = run(monkeypatch, capsys, "workshop")
    assert "shrink" in shown
    _, said, _ = run(monkeypatch, capsys, "workshop", "reset", "--json")
    assert json.loads(said)["workshop"] == {}


def test_what_the_gauge_shows_becomes_the_printer_s_error(shop, monkeypatch, capsys):
    run(monkeypatch, capsys, "workshop", "set", "printer=small-bed")
    # The tightest that slides: a ring of 0.3 mm on each side, which two walls may eat.
    code, said, remarks = run(
        monkeypatch, capsys, "workshop", "gauge", "--ring", "2", "--slot", "3", "--json"
    )
    values = {"printer": "small-bed", "print_error_mm": 0.15}
    assert (code, json.loads(said)["workshop"]) == (0, values)
    assert "print_error_mm = 0.15" in remarks
    assert tomllib.loads(shop.read_text()) == values
    assert design_of().printer.print_error_mm == 0.15


@pytest.mark.parametrize(
    ("ring", "slot", "sentence"),
    [
        ("0", "3", "ring = 0: is too tight"),
        ("2", "5", "slot = 5: must be a number of bars, 1 to 4"),
        ("2", "-1", "slot = -1: must be a number of bars"),
        ("two", "3", "--ring = 'two': must be a whole number"),
    ],
)
def test_a_reading_that_is_none_leaves_the_workshop_alone(
    shop, monkeypatch, capsys, ring, slot, sentence
):
    typed = ("workshop", "gauge", "--ring", ring, "--slot", slot)
    assert sentence in refused(monkeypatch, capsys, *typed)
    assert not shop.exists()


@pytest.mark.parametrize(
    ("typed", "sentence"),
    [
        ("printer=gold", "printer.machine = 'gold': must be one of"),
        ("scale_step_g=-1", "must be above 0 g"),
        ("scale_step_g=1 mm", "must be in g, kg"),
        ("scales=1", "the nearest is scale_step_g"),
        ("scale_step_g", "must be KEY=VALUE"),
    ],
)
def test_what_no_design_takes_is_not_set(shop, monkeypatch, capsys, typed, sentence):
    assert sentence in refused(monkeypatch, capsys, "workshop", "set", typed)
    assert not shop.exists()


def report(monkeypatch, capsys, *arguments):
    code, said, remarks = run(monkeypatch, capsys, "portion", *arguments, "--json")
    assert code == 0
    return json.loads(said)["design"], remarks


def test_a_design_takes_what_it_does_not_say_and_tells_so(shop, monkeypatch, capsys, tmp_path):
    shop.parent.mkdir()
    shop.write_text('scale_step_g = 0.1\nmaterial = "PP"\nclearance_mm = 0.25\n')
    file = tmp_path / "cake.toml"
    file.write_text('[printer]\nmaterial = "ABS"\n')
    made, remarks = report(monkeypatch, capsys, file)
    assert made["from_workshop"] == ["scale.resolution_g", "mould.clearance_mm"]
    assert (made["scale"]["resolution_g"], made["printer"]["material"]) == (0.1, "ABS")
    assert remarks == "From the workshop: scale.resolution_g = 0.1, mould.clearance_mm = 0.25.\n"
    # An option comes first, and --no-workshop last.
    made, _ = report(monkeypatch, capsys, file, "--scale-step", "0.5")
    assert made["from_workshop"] == ["mould.clearance_mm"]
    made, remarks = report(monkeypatch, capsys, file, "--no-workshop")
    assert ("from_workshop" in made, made["scale"]["resolution_g"], remarks) == (False, 1.0, "")


def test_a_design_that_was_written_needs_no_workshop(shop, monkeypatch, capsys, tmp_path):
    shop.parent.mkdir()
    shop.write_text("scale_step_g = 0.1\n")
    made, _ = report(monkeypatch, capsys, "--weight", 50)
    (tmp_path / "written.toml").write_text(Design.of(made).toml())
    shop.write_text('scale_step_g = 5.0\nmaterial = "PP"\n')
    again, remarks = report(monkeypatch, capsys, "written.toml")
    assert (again, remarks) == (made, "")
    assert again["from_workshop"] == ["scale.resolution_g"]
    changed, _ = report(monkeypatch, capsys, "written.toml", "--scale-step", "0.5")
    assert "from_workshop" not in changed


def test_a_block_takes_no_clearance(shop):
    shop.parent.mkdir()
    shop.write_text("clearance_mm = 0.25\n")
    assert design_of("--kind", "block").from_workshop == ()
    assert design_of("--weight", 60).mould.clearance_mm == 0.25


def test_units_are_those_of_the_workshop(shop, monkeypatch, capsys):
    shop.parent.mkdir()
    shop.write_text('units = "us"\n')
    for more, shown in (((), True), (("--units", "metric"), False), (("--no-workshop",), False)):
        _, said, _ = run(monkeypatch, capsys, "portion", "--weight", 60, *more)
        assert (" oz " in said) is shown


@pytest.mark.parametrize(
    ("asked", "language"), [((), "de"), (("--language", "en"), "en"), (("--no-workshop",), "")]
)
def test_the_page_opens_in_the_language_of_the_workshop(shop, monkeypatch, capsys, asked, language):
    shop.parent.mkdir()
    shop.write_text('language = "de"\n')
    told = []
    monkeypatch.setattr(
        "moulddesign.page.serve.serve", lambda *_, **more: told.append(more["language"])
    )
    assert run(monkeypatch, capsys, "page", *asked)[0] == 0
    assert told == [language]


def test_each_key_is_one_of_a_design():
    fields = {
        f"{table}.{key}"
        for table, value in Design()
        for key in getattr(type(value), "model_fields", ())
    }
    assert set(IN_DESIGN.values()) <= fields | set(Design.model_fields)
    assert set(IN_DESIGN) <= set(Workshop.model_fields)


def test_the_list_of_one_s_own_moulds_is_ranked_and_keeps_their_files(
    shop, monkeypatch, capsys, tmp_path
):
    (tmp_path / "box.stl").write_bytes(b"solid box")
    water = RegisteredMould.of({"name": "tin", "water_g": [60.8]})
    save_register([water, RegisteredMould.of({"name": "box", "mesh": "box.stl"})])
    kept = shop.with_name("moulds-B-box.stl")
    assert kept.read_bytes() == b"solid box"
    assert [mould.mesh for mould in read_register()] == [None, str(kept)]
    save_register(read_register())  # a file that lies there already stays as it is
    assert kept.read_bytes() == b"solid box"
    save_register([water])
    _, said, _ = run(monkeypatch, capsys, "fit", "--my-moulds", "--weight", "75", "--json")
    assert [each["name"] for each in json.loads(said)["ranked"]] == ["tin"]
    other = tmp_path / "other.toml"
    other.write_text('[[mould]]\nname = "x"\nwater_g = [50]\n')
    asked = ("fit", "--my-moulds", "--shelf", other, "--weight", "75")
    assert "does nothing beside --shelf" in refused(monkeypatch, capsys, *asked)
    save_register([])
    assert "names no mould" in refused(monkeypatch, capsys, "fit", "--my-moulds", "--weight", "75")
