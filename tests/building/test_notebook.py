"""What a notebook shows of a build, and the example script for a range of sizes."""

import io
import runpy
import sys
from dataclasses import replace
from html.parser import HTMLParser

import pytest
from export.builds import built
from PIL import Image

import moulddesign
from moulddesign.cli.example_command import Example
from moulddesign.core import Finding, Verdict, say

HOSTILE = "<script>alert(1)</script>&\"'"
FAILED = Finding(
    what=say("verify.least-gap"), measured=0.05, limit=say("core.at-least", limit=0.2), unit="mm",
    source="", verdict=Verdict.FAIL, remedy=say("cli.mended-file"), part=HOSTILE,
)  # fmt: skip


class Reader(HTMLParser):
    def __init__(self):
        super().__init__()
        self.tags, self.texts = [], []

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data):
        self.texts.append(data)


def test_it_shows_picture_weights_and_findings_and_escapes_all():
    made = built("little")
    made = replace(made, findings=(FAILED, replace(FAILED, verdict=Verdict.GOOD, part="")))
    html = made._repr_html_()
    reader = Reader()
    reader.feed(html)
    assert "<script" not in html
    assert {tag for tag, _ in reader.tags} <= {"div", "h3", "img", "table", "tr", "th", "td", "p"}
    assert any(HOSTILE in text for text in reader.texts)
    said = " ".join(reader.texts)
    assert "little-lantern" in said
    assert "1 findings are good" in said
    assert f"{made.portion.split.raw_g:g}" in reader.texts
    picture = Image.open(io.BytesIO(made._repr_png_()))
    assert (picture.format, picture.size) == ("PNG", (480, 384))
    assert picture.getextrema()[3] == (0, 255)  # a piece, and nothing behind it


def test_the_example_script_makes_each_weight(monkeypatch, tmp_path, capsys):
    script = tmp_path / "sizes.py"
    script.write_text(Example.SIZES.text, encoding="utf-8")
    asked, published = [], []

    def quick(design):
        asked.append((design.name, design.portion.finished_weight_g))
        return built("little")

    monkeypatch.setattr(moulddesign, "build", quick, raising=False)
    monkeypatch.setattr(
        moulddesign, "publish", lambda _, folder: published.append(folder), raising=False
    )
    monkeypatch.setattr(sys, "argv", ["sizes.py", "30", "150"])
    runpy.run_path(str(script))
    assert asked == [("lantern-30g", 30.0), ("lantern-150g", 150.0)]
    assert published == ["exports/lantern-30g", "exports/lantern-150g"]
    assert capsys.readouterr().out.count("\n") == 3


@pytest.mark.slow
def test_the_example_script_runs_as_it_is(monkeypatch, tmp_path):
    script = tmp_path / "sizes.py"
    script.write_text(Example.SIZES.text, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "argv", ["sizes.py", "75"])
    runpy.run_path(str(script))
    assert (tmp_path / "exports" / "lantern-75g" / "set.3mf").is_file()
