"""The README's walks: each command runs as written, and each figure is one that they print."""

import io
import re
import shlex
from pathlib import Path

import numpy as np
import pytest
from command_line import ran
from PIL import Image
from readme_pictures import FOLDER, PICTURES, picture

README = (Path(__file__).parents[2] / "README.md").read_text("utf-8")
PART = README.partition("## Three walks\n")[2].partition("\n## ")[0]
WALKS = dict(re.findall(r"### (.*?)\n(.*?)(?=\n### |\Z)", PART, re.DOTALL))
CODE = re.compile(r"```sh\n(.*?)```", re.DOTALL)
NUMBER = re.compile(r"(?<![\w.:=-])\d+(?:\.\d+)?(?![\w:]|\.\d)")
MOST_BYTES = 300_000


def walked(walk, folder, *, formats=()):
    """Run a walk's commands in a folder; return all that they print."""
    said = []
    for line in CODE.search(walk)[1].replace("\\\n", "").splitlines():
        command, _, file = line.partition(" > ")
        program, *words = shlex.split(command)
        assert program == "moulddesign"
        if formats and words[0] == "coupon":
            continue  # it has tests of its own, and prints no figure of the walk
        more = formats if words[0] == "make" else ()
        code, out, err = ran(*words, *more, folder=folder)
        assert code == 0, err
        if file:
            (folder / file).write_text(out, encoding="utf-8")
        said += [out, err]
    return " ".join(said)


def figures_of(walk):
    """Return the numbers of a walk's text, as they are written."""
    return NUMBER.findall(CODE.sub("", walk))


def is_printed(figure, printed):
    """Whether a figure is a printed number, rounded, or such a share in percent."""
    decimals = len(figure.partition(".")[2])
    return any(
        abs(value * scale - float(figure)) <= 0.5000001 * 10.0**-decimals
        for value in printed
        for scale in (1.0, 100.0)
    )


def assert_figures_are_printed(walk, said):
    printed = {float(one) for one in re.findall(r"\d+(?:\.\d+)?", said)}
    assert len(figures_of(walk)) > 5
    assert [one for one in figures_of(walk) if not is_printed(one, printed)] == []


def test_there_is_a_walk_for_each_kind_of_user():
    assert list(WALKS) == [
        "A baker with a size in mind", "A maker who prints", "The owner of an old mould",
    ]  # fmt: skip
    assert len(README.splitlines()) < 300


@pytest.mark.parametrize("name", WALKS)
def test_a_walk_prints_the_figures_that_are_told(monkeypatch, tmp_path, name):
    """What is made is written as STL alone; the longer test below writes all of it."""
    monkeypatch.setenv("MOULDDESIGN_WORKSHOP", str(tmp_path / "workshop.toml"))
    said = walked(WALKS[name], tmp_path, formats=("--formats", "stl"))
    assert_figures_are_printed(WALKS[name], said)


@pytest.mark.slow
def test_the_makers_walk_as_written_makes_the_pictures(monkeypatch, tmp_path):
    monkeypatch.setenv("MOULDDESIGN_WORKSHOP", str(tmp_path / "workshop.toml"))
    walk = WALKS["A maker who prints"]
    assert_figures_are_printed(walk, walked(walk, tmp_path))
    for name, source in PICTURES.items():
        made = picture(tmp_path / "exports" / "orchard-square" / source)
        shown = [np.asarray(Image.open(io.BytesIO(one)).convert("RGB"), dtype=float)
                 for one in (made, (FOLDER / name).read_bytes())]  # fmt: skip
        # Made anew by `python tests/readme_pictures.py exports/orchard-square` where this fails.
        assert np.abs(shown[0] - shown[1]).mean() < 1.0, name


@pytest.mark.parametrize("name", PICTURES)
def test_the_readme_shows_small_pictures(name):
    assert f"exports/pictures/{name}" in README
    assert len((FOLDER / name).read_bytes()) <= MOST_BYTES
