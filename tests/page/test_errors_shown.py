"""What is wrong is told on the page in the second language, too, and in words of a form."""

from dataclasses import asdict

import pytest

from moulddesign.core import FileError, KernelError, SpecError, say
from moulddesign.design import Design
from moulddesign.fit import Wording
from moulddesign.page.texts import page_texts

ENGLISH, GERMAN = page_texts("en"), page_texts("de")


@pytest.mark.parametrize(
    ("plain", "said"),
    [
        ({"portion": {"finished_weight_g": -3}}, "Muss über 0 g liegen."),
        ({"portion": {"finished_weight_g": "viel"}}, "Muss eine Zahl sein, etwa 12,5 g."),
        ({"portion": {"ratio": "3 to 7"}}, "Muss Teig zu Füllung sein, etwa 3:7 oder 3/7"),
        ({"mould": {"clearance_mm": 9}}, "Darf höchstens 2 mm sein."),
        ({"mould": {"clearance_mm": 9, "wall_mm": -1}}, "Darf höchstens 2 mm sein (danach noch 1"),
        (
            {"pastry": {"outline": "star"}},
            "Muss eines von rund, Quadrat, Sechseck, Achteck, gelappt",
        ),
        ({"mould": {"kind": "cup"}}, "Muss eines von diesen sein: "),
    ],
)
def test_a_wrong_value_is_told_in_german(plain, said):
    with pytest.raises(SpecError, match="must be") as caught:
        Design.of(plain)
    assert GERMAN.need(caught.value).startswith(said)


@pytest.mark.parametrize(
    ("plain", "said"),
    [
        ({"portion": {"finished_weight_g": True}}, "Must be a number, such as 2.5."),
        (
            {"portion": {"finished_weight_g": True}, "mould": {"wall_mm": -1}},
            "Must be a number, such as 2.5 (1 more",
        ),
    ],
)
def test_a_field_is_not_told_of_a_files_quotes(plain, said):
    with pytest.raises(SpecError, match="without quotes") as caught:
        Design.of(plain)
    assert ENGLISH.need(caught.value).startswith(said)


def test_a_sentence_names_the_field_by_its_label():
    error = SpecError("pastry.width_mm", 300.0, say("page.address-too-long"))
    assert (
        GERMAN.error(error)
        == "Breite (300.0): ist zu lang; stattdessen die Datei des Entwurfs laden."
    )
    assert ENGLISH.error(error).startswith("Width (300.0): is too long")
    listed = SpecError("weighings.0.raw_g", "not given", say("page.moulds-not-given"))
    assert GERMAN.error(listed).startswith("Stück 1: Roh (nicht angegeben): muss angegeben werden")
    weighed = SpecError("water_g.0", -1.0, say("page.moulds-not-given"))
    assert ENGLISH.error(weighed).startswith("Water that fills it 1 (-1.0): must be given")
    assert GERMAN.error(FileError("a.stl", say("design.bundle-damaged"))) == (
        "a.stl: lässt sich nicht entpacken; noch einmal kopieren oder herunterladen."
    )
    assert GERMAN.error(KernelError(say("page.the-checks"), say("workers.too-long"))) == (
        "Die Prüfung ist nicht gelungen: es hat zu lange gedauert; die Zeichnung vereinfachen."
    )


def test_the_plot_has_words_of_its_own_in_each_language():
    assert ENGLISH.tables["plot"] == asdict(Wording())
    said = GERMAN.tables["plot"]
    assert [key for key, word in ENGLISH.tables["plot"].items() if word == said[key]] == []


@pytest.mark.parametrize(("text", "german"), [
    ("1.5 mm, 2.95:7.05 und -0.30", "1,5 mm, 2,95:7,05 und -0,30"),
    ("höchstens 2.5.", "höchstens 2,5."),
    *((name, name) for name in ("shim-0.4", "leaf 2.5.svg", "1.3.6", "2026-05-03", "x1.5")),
    ('<img width="1.5"> 1.5', '<img width="1.5"> 1,5'),
])  # fmt: skip
def test_german_numbers_have_a_comma_and_names_are_left_alone(text, german):
    assert GERMAN.numbers(text) == german
    assert ENGLISH.numbers(text) == text
