"""What the rooms below say is said in the second language, too: read off their source and builds.

The templates are taken from the program's text (Python's own parser), so that a sentence that is
new or changed asks for its translation here.
"""

import ast
from dataclasses import asdict
from pathlib import Path

import pytest

import moulddesign
from moulddesign.core import FileError, KernelError, SpecError
from moulddesign.design import Design, library
from moulddesign.fit import Wording
from moulddesign.page.texts import page_texts

GERMAN = page_texts("de")
PACKAGE = Path(moulddesign.__file__).parent
ASKED = ("design", "pastry", "mould", "fit", "portion", "page", "building",
         "geometry/fill_volume.py", "geometry/topology.py")  # fmt: skip
RARE = (
    # inner matters of drawings, fonts and tables, whose English sentence is shown as such
    "printers.py", "density.py", "owned_moulds.py", "cad_kernel.py", "design.py", "workers.py",
    "label.py", "shaping.py", "portion.py",
)  # fmt: skip


def template(node):
    """Return a literal as it is, a formatted one with 7 in its holes, else None."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.JoinedStr):
        return "".join(p.value if isinstance(p, ast.Constant) else "7" for p in node.values)
    return None


def sources(rooms):
    for room in rooms:
        path = PACKAGE / room
        yield from sorted(path.rglob("*.py")) if path.is_dir() else [path]


def calls(path):
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Call):
            yield node, getattr(node.func, "id", getattr(node.func, "attr", ""))


def unsaid(found):
    return sorted({text for text in found if GERMAN.phrases.said(text) is None})


def needs():
    """Yield the ends of sentences that a field can be refused with."""
    for path in sources(ASKED):
        if path.name.startswith(RARE[0]) or path.name in RARE[1:]:
            continue
        for call, name in calls(path):
            if name in {"SpecError", "EntryError"}:
                yield template(call.args[-1])
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            targets = getattr(node, "targets", ())
            if any(getattr(target, "id", "") in {"need", "message"} for target in targets):
                yield template(node.value)


def test_every_need_of_a_field_has_its_words():
    found = {text for text in needs() if text is not None}
    assert unsaid(found) == []


def test_every_plastics_caution_has_its_words():
    cautions = {material.caution for material in library(None).materials.values()}
    assert unsaid(cautions) == []


@pytest.mark.parametrize(
    ("plain", "said"),
    [
        ({"portion": {"finished_weight_g": -3}}, "Muss über 0 g liegen."),
        ({"portion": {"finished_weight_g": "viel"}}, "Muss eine Zahl sein."),
        ({"portion": {"ratio": "3/7"}}, "Muss Teig zu Füllung sein, etwa 3:7."),
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


def test_a_sentence_names_the_field_by_its_label():
    error = SpecError("pastry.width_mm", 300.0, "must be at most 7 mm")
    assert GERMAN.error(error) == "Breite (300.0): darf höchstens 7 mm sein."
    missing = SpecError("weighings.0.raw_g", "(a table)", "is missing and has no default")
    assert GERMAN.error(missing) == "Roh 1: fehlt."
    assert GERMAN.error(FileError("a.stl", "is empty; export it again")) == (
        "a.stl: ist leer; noch einmal ausgeben."
    )
    assert GERMAN.error(KernelError("the checks", "it took too long; simplify the artwork")) == (
        "Die Prüfung ist nicht gelungen: es hat zu lange gedauert; die Zeichnung vereinfachen."
    )


def test_what_is_not_translated_is_shown_as_english():
    assert GERMAN.said("a sentence of tomorrow") == "(auf Englisch) a sentence of tomorrow"
    assert page_texts("en").said("a sentence of tomorrow") == "a sentence of tomorrow"


def test_the_plot_has_words_of_its_own_in_each_language():
    assert page_texts("en").tables["plot"] == asdict(Wording())
    said = GERMAN.tables["plot"]
    assert [key for key, word in page_texts("en").tables["plot"].items() if word == said[key]] == []
