"""Every input that ever failed, drawn again as small as it goes: sound, or refused in a sentence.

`make_corpus.py` writes the files and says what each did wrong.
"""

import os
import re
import time
import warnings
from pathlib import Path

import pytest
from fontTools.ttLib import TTFont
from load.readers import READERS, outcome
from soundness import read

from moulddesign.artwork.font_files import regular_font
from moulddesign.core import SpecError, Verdict
from moulddesign.design import Design
from moulddesign.page.design_files import read_set
from moulddesign.page.uploads import UploadStore
from moulddesign.pastry.pastry import pastry
from moulddesign.portion import figures
from moulddesign.verify.soundness import soundness

CORPUS = sorted(Path(__file__).with_name("corpus").iterdir())
MOST_S = 2.0
"""Longest time until a file is refused [CPU s]."""


def judged(path):
    start = time.process_time()
    with warnings.catch_warnings():
        warnings.simplefilter("error")  # a library's warning is no sentence
        said = outcome(path)
    assert time.process_time() - start < MOST_S
    return said


@pytest.mark.parametrize(
    "path",
    [
        # Two seconds on a quiet machine are more on a busy one; both take about half of that.
        pytest.param(path, marks=pytest.mark.slow if path.stem.startswith(("clip", "scr")) else ())
        for path in CORPUS
        if path.suffix != ".zip" and not path.name.startswith("piece-")
    ],
    ids=lambda path: path.name,
)
def test_what_once_failed_is_refused_in_a_short_sentence(path):
    assert judged(path) != "read"


@pytest.mark.parametrize("name", [p.name for p in CORPUS if p.name.startswith("piece-")])
def test_what_once_became_a_flawed_piece_becomes_a_sound_one(name):
    path = Path(__file__).with_name("corpus") / name
    design = Design().with_values({"relief.layers": [{"pattern": str(path)}]})
    made = pastry(design, figures(design).piece.volume_ml)
    assert read(made.mesh).is_watertight
    assert [f.name for f in soundness(made.mesh, part="pastry") if f.verdict is Verdict.FAIL] == []


def test_a_damaged_zip_is_no_set(tmp_path):
    (path,) = (path for path in CORPUS if path.suffix == ".zip")
    with pytest.raises(SpecError, match="cannot be unpacked"):
        read_set(path.read_bytes(), UploadStore(tmp_path))


def test_a_font_without_an_em_square_is_refused(tmp_path):
    font = TTFont(regular_font(), recalcTimestamp=False)
    font["head"].unitsPerEm = 0
    font.save(tmp_path / "damaged.ttf")
    assert "damaged font" in judged(tmp_path / "damaged.ttf")


SVG = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 9 9">{}</svg>'
PATH = '<path d="M1 1H9V9z" {}/>'
NESTED = "".join(f"M{n} {n}H{20_000 - n}V{20_000 - n}H{n}z" for n in range(9000))
RULES = "".join(f".a{n}{{fill:red}}" for n in range(9000))
TOO_MUCH = {
    "transforms.svg": SVG.format(PATH.format(f'transform="{"rotate(1)" * 400_000}"')),
    "declarations.svg": SVG.format(PATH.format(f'style="{"fill:red;" * 300_000}"')),
    "rules.svg": SVG.format(f"<style>{RULES}</style><rect/>"),
    "lines-that-go-nowhere.svg": SVG.format(f'<path d="M1 1{"h0" * 2_000_000}"/>'),
    "elements.svg": SVG.format("<b/>" * 1_000_000),
    "specks.svg": SVG.format(f'<path d="{"M1 1h1v1z" * 60_000}"/>'),
    "nested.svg": SVG.format(f'<path fill-rule="evenodd" d="{NESTED}"/>'),
    "keys.toml": "".join(f"k{n} = 1\n" for n in range(85_000)),
    "columns.csv": ",".join(f"k{n}" for n in range(80_000)) + "\n1\n",
    "rows.csv": "name\n" + "a\n" * 10_000,
    "lines.csv": "name\r" + "a\r" * 100_000,
    "corners.obj": "v 0 0 0\nv 1 0 0\nv 0 1 0\nf" + " 1 2 3" * 1_000_000 + "\n",
}
"""Too large to be kept; each took seconds, or did not come to an end."""


@pytest.mark.parametrize("name", TOO_MUCH)
def test_what_is_too_much_to_read_is_refused_before_it_is_read(tmp_path, name):
    path = tmp_path / name
    path.write_text(TOO_MUCH[name], encoding="utf-8")
    assert re.search("at most|more than|between 1 and|limit is|no key", judged(path))


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes on this system")
@pytest.mark.parametrize("ending", READERS)
def test_a_pipe_in_the_place_of_a_file_is_refused(tmp_path, ending):
    path = tmp_path / f"pipe.{ending}"
    os.mkfifo(path)  # opening it would wait for a writer for ever
    assert "is a device or a pipe" in judged(path)
