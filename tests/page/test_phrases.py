"""What the rooms below say is said in the second language, too: read off their source and builds.

The templates are taken from the program's text (Python's own parser), so that a sentence that is
new or changed asks for its translation here.
"""

import ast
import re
from dataclasses import asdict
from pathlib import Path

import pytest

import moulddesign
from moulddesign.building import build
from moulddesign.core import CAUTIONS, FileError, KernelError, SpecError
from moulddesign.design import Design, library
from moulddesign.fit import Wording
from moulddesign.page.texts import texts

GERMAN = texts("de")
PACKAGE = Path(moulddesign.__file__).parent
JUDGES = ("verify", "building")
ASKED = ("design", "pastry", "mould", "fit", "portion", "page", "building",
         "geometry/fill_volume.py", "geometry/topology.py")  # fmt: skip
RARE = (
    # inner matters of drawings, fonts and tables, whose English sentence is shown as such
    "printers.py", "density.py", "owned_moulds.py", "cad_kernel.py", "design.py", "workers.py",
    "label.py", "shaping.py", "portion.py",
)  # fmt: skip
PUBLISHED = re.compile(r"\b(19|20)\d\d\b|Handbook|specification|DejaVu")
"""Sources that are published keep their name."""


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


def finding_texts(wanted):
    for path in sources(JUDGES):
        for call, name in calls(path):
            if not (name.endswith(("Finding", "_finding", "_findings")) or name.startswith("_")):
                continue
            for keyword in call.keywords:
                text = template(keyword.value) if keyword.arg == wanted else None
                if text is not None:
                    yield text


def unsaid(found):
    return sorted({text for text in found if GERMAN.phrases.said(text) is None})


def as_named(text):
    return re.sub(r"^7(: |$)", "sleeve: ", text)


def test_every_finding_has_its_words():
    names = {as_named(text) for text in finding_texts("name")} - {*GERMAN.tables["words"], "v"}
    assert len(names) > 30
    assert unsaid(names - {"sleeve: ", "mesh"}) == []


def test_every_limit_and_source_of_a_finding_has_its_words():
    assert unsaid(finding_texts("limit")) == []
    assert [text for text in unsaid(finding_texts("source")) if not PUBLISHED.search(text)] == []


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
    assert len(found) > 60
    assert unsaid(found) == []


def test_every_caution_has_its_words():
    cautions = {*CAUTIONS, *(m.caution for m in library(None).materials.values())}
    assert unsaid(cautions) == []


DESIGNS = {
    "press": {},
    "bolt": {"mould": {"joint": "bolt"}, "relief": {"sense": "sunk"}},
    "block": {"mould": {"kind": "block", "cavities": 2}},
    "cast": {"mould": {"kind": "cast"}},
    "stamps": {"further_stamps": [{"name": "sun", "layers": [{"pattern": "sun"}]}]},
    "nothing on top": {"relief": {"layers": []}, "portion": {"centres": []}},
}


@pytest.mark.parametrize("plain", DESIGNS.values(), ids=DESIGNS)
def test_a_report_has_no_english_left(plain):
    found = build(Design.of(plain)).report()["findings"]
    assert unsaid(f["name"] for f in found) == []
    assert unsaid(f["limit"] for f in found) == []
    assert [s for s in unsaid(f["source"] for f in found) if not PUBLISHED.search(s)] == []
    units = {f["unit"] for f in found}
    assert units - GERMAN.tables["words"].keys() <= {"", "mm", "mm2", "mm3", "mL", "N"}


@pytest.mark.parametrize(
    ("plain", "said"),
    [
        ({"portion": {"finished_weight_g": -3}}, "Muss über 0 g liegen."),
        ({"portion": {"finished_weight_g": "viel"}}, "Muss eine Zahl sein."),
        ({"portion": {"ratio": "3/7"}}, "Muss Teig zu Füllung sein, etwa 3:7."),
        ({"mould": {"clearance_mm": 9}}, "Darf höchstens 2 mm sein."),
        ({"mould": {"clearance_mm": 9, "wall_mm": -1}}, "Darf höchstens 2 mm sein (danach noch 1"),
        ({"pastry": {"outline": "star"}}, "Muss rund, Quadrat, Sechseck, Achteck, gelappt"),
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
    assert texts("en").said("a sentence of tomorrow") == "a sentence of tomorrow"


def test_the_plot_has_words_of_its_own_in_each_language():
    assert texts("en").tables["plot"] == asdict(Wording())
    said = GERMAN.tables["plot"]
    assert [key for key, word in texts("en").tables["plot"].items() if word == said[key]] == []
