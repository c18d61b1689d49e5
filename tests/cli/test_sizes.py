"""`make --sizes` as a person runs it."""

import json
import shutil

import pytest
from command_line import ran, refused, run_here

from moulddesign.core import SpecError, say
from moulddesign.design import Design, Paper
from moulddesign.export.sizes_card import MadeSize, sizes_card
from moulddesign.series import orders


def test_sizes_get_a_folder_each_and_one_card_and_one_that_fails_stops_no_other(tmp_path):
    design = tmp_path / "lantern.toml"
    design.write_text(
        'name = "lantern"\n[portion]\nratio = "5:5"\n[relief]\nlayers = []\n'
        '[mould]\nkind = "block"\nlettering = false\n'
    )
    code, said, told = ran(
        "make", design, "--sizes", "30,9e9", "--formats", "pictures", "--json", "--out", "made",
        "--keep-failing", folder=tmp_path,
    )  # fmt: skip
    pieces = json.loads(said)["pieces"]
    assert [one["state"] for one in pieces][1] == "not made"
    assert [one["written"] for one in pieces] == [True, False]
    assert code == 1
    assert "9e+09g, lantern: portion.finished_weight_g = 9000000000" in told
    assert (tmp_path / "made" / "sizes.pdf").read_bytes().startswith(b"%PDF")
    report = json.loads((tmp_path / "made" / "30g" / "report.json").read_text())
    assert report["portion"]["finished_g"] == 30.0
    # What holds one mould is no place for several.
    code, _, told = ran(
        "make", design, "--sizes", "30", "--out", "made/30g", folder=tmp_path
    )  # fmt: skip
    assert code == 2
    assert "another folder" in told


@pytest.mark.parametrize("language", ["en", "de"])
def test_what_was_stopped_goes_on_to_the_same_card(monkeypatch, tmp_path, language):
    monkeypatch.setattr(orders, "run_in_pool", run_here)
    design = tmp_path / "lantern.toml"
    design.write_text(
        f'name = "lantern"\nlanguage = "{language}"\n[portion]\nratio = "5:5"\n[relief]\n'
        'layers = []\n[mould]\nkind = "block"\nlettering = false\n'
    )
    asked = ("make", design, "--sizes", "30,40", "--formats", "stl", "--out", "made")

    def card():
        return (tmp_path / "made" / "sizes.pdf").read_bytes()

    code, _, _ = ran(*asked, folder=tmp_path)
    first = card()
    shutil.rmtree(tmp_path / "made" / "40g")
    again = ran(*asked, folder=tmp_path)
    assert (code, again[0], card() == first) == (0, 0, True)
    # A report has its remarks in English alone.
    warned = "warn" in (tmp_path / "made" / "30g" / "report.json").read_text(encoding="utf-8")
    assert ("1 of 2 were finished before" in again[2]) == (language == "en" or not warned)


def test_the_card_says_in_its_own_language_why_a_size_is_missing():
    refusal = SpecError("portion.finished_weight_g", 0.0, say("core.above-0-in", unit="g"))
    missing = MadeSize(weight_g=0.0, folder=None, remarks=(refusal.message,))
    card = sizes_card(Design.of({"language": "de"}), (missing,), Paper.A4)
    ((weight, said),) = card.in_words("de")["remarks"]
    assert weight == "0 g"
    assert said.endswith(" = 0,0: muss eine endliche Zahl über 0 g sein")


@pytest.mark.parametrize(
    ("sizes", "why"),
    [
        ("", "1 to 24 weights"),
        ("30,30.0", "twice"),
        ("30,wide", "number"),
        ("30,75 mm", "mm"),
        ("nan", "number"),
        ("30,0", "above 0 g"),
        ("-5", "above 0 g"),
        (",".join(map(str, range(1, 40))), "1 to 24 weights"),
    ],
)
def test_what_is_no_list_of_weights_is_refused(monkeypatch, capsys, sizes, why):
    sentence = refused(monkeypatch, capsys, "make", "--sizes", sizes)
    assert "--sizes" in sentence
    assert why in sentence


def test_sizes_beside_a_stop_are_refused(monkeypatch, capsys):
    assert "--sizes" in refused(monkeypatch, capsys, "make", "--sizes", "30", "--stop-for", "70")
