"""A slicer that is named: how it is called, what is read of it, and how its failures are told."""

import stat
from itertools import pairwise

import pytest

from moulddesign.core import FileError
from moulddesign.design import PrinterTable
from moulddesign.export import slicing
from moulddesign.export.slicing import sliced, slicer_settings, slicer_words
from moulddesign.mould.print_estimate import LEAN, SOLID

SAYS = """cat > "$code" <<'END'
G1 X0
; filament used [cm3] = 12.50
; estimated printing time (normal mode) = 1d 2h 3m 30s
END"""
"""Comments as slicers write them."""


def program(folder, does=SAYS):
    """Return a program that takes the words of a slicer and keeps them beside itself."""
    path = folder / "my slicer"
    path.write_text(
        f'#!/bin/sh\nprintf "%s\\n" "$@" > "{folder}/words"\n'
        f'while [ "$1" != -o ]; do shift; done; code=$2\n{does}\n'
    )
    path.chmod(path.stat().st_mode | stat.S_IXUSR)
    return str(path)


@pytest.fixture
def model(tmp_path):
    path = tmp_path / "sleeve.stl"
    path.write_bytes(b"")
    return path


def test_grams_and_time_are_read_and_the_settings_are_the_design_s(tmp_path, model):
    slicer = slicer_words(program(tmp_path))
    printer = PrinterTable.of({"layer_height_mm": 0.15, "bed_mm": [180, 190, 200]})
    found = sliced(slicer, model, slicer_settings(printer, LEAN))
    assert found.volume_mm3 == pytest.approx(12_500.0)
    assert found.minutes == pytest.approx(1440 + 120 + 3 + 0.5)
    words = (tmp_path / "words").read_text().split("\n")
    asked = dict(pairwise(words))
    assert asked["--layer-height"] == "0.15"
    assert asked["--fill-density"] == "25%"
    assert asked["--perimeters"] == "4"
    assert asked["--bed-shape"] == "0x0,180x0,180x190,0x190"
    assert words[0] == "-g"
    assert str(model) in words


def test_options_may_follow_the_program(tmp_path):
    path = program(tmp_path)
    assert slicer_words(path) == (path,)  # a space in its name is no end of it
    assert slicer_words(f"'{path}' --load mine.ini") == (path, "--load", "mine.ini")


@pytest.mark.parametrize("command", ["", "no-such-slicer", "'open", "/", "no such slicer"])
def test_what_is_no_program_is_told_before_anything_is_built(command):
    with pytest.raises(FileError, match="there is no such program; name the slicer by its path"):
        slicer_words(command)


@pytest.mark.parametrize(
    ("does", "says"),
    [
        ("echo 'no object on the bed' >&2; exit 1", r"nothing of sleeve \(no object on the bed\)"),
        ("exit 0", r"nothing of sleeve \(-\)"),
        ('echo G1 > "$code"', "neither filament nor time"),
        ("exec sleep 30", "takes longer than 0 s for sleeve"),
    ],
)
def test_each_failure_is_one_sentence(monkeypatch, tmp_path, model, does, says):
    if "sleep" in does:
        monkeypatch.setattr(slicing, "LIMIT_S", 0.3)
    slicer = slicer_words(program(tmp_path, does))
    with pytest.raises(FileError, match=says):
        sliced(slicer, model, slicer_settings(PrinterTable(), SOLID))


def test_a_file_that_is_no_program_is_not_started(tmp_path, model):
    path = tmp_path / "text"
    path.write_bytes(b"\x7fnothing that runs")
    path.chmod(0o755)
    with pytest.raises(FileError, match=r"cannot be started \("):
        sliced((str(path),), model, slicer_settings(PrinterTable(), SOLID))
