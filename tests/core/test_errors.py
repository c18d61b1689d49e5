"""Every error is one sentence, keeps its parts, and survives the way between processes."""

import copy
import pickle

import pytest

from moulddesign.core import (
    FileError,
    FindingError,
    KernelError,
    MouldError,
    SpecError,
    WriteError,
    say,
)

SAMPLES = [
    (
        SpecError("pastry.width_mm", -3.0, "must be above 0 mm"),
        "pastry.width_mm = -3.0: must be above 0 mm.",
    ),
    (FileError("a.stl", say("geometry.file-empty")), "a.stl: is empty; export it again."),
    (
        WriteError("out", say("core.cannot-be-written", reason="disk full")),
        "out: cannot be written (disk full).",
    ),
    (KernelError("the stamp", "NotManifold"), "Making the stamp failed: NotManifold."),
    (
        FindingError(("pastry: volume", "crust")),
        (
            "Nothing is written, for 2 of the findings failed (pastry: volume; crust): change the "
            "design, or publish all the same with --keep-failing."
        ),
    ),
]


@pytest.mark.parametrize(("error", "sentence"), SAMPLES)
def test_the_text_is_one_sentence(error, sentence):
    assert str(error) == sentence
    assert isinstance(error, MouldError)


@pytest.mark.parametrize("way", [copy.copy, lambda error: pickle.loads(pickle.dumps(error))])
@pytest.mark.parametrize("error", [error for error, _ in SAMPLES])
def test_an_error_survives_copy_and_pickle(error, way):
    again = way(error)
    assert type(again) is type(error)
    assert str(again) == str(error)
    assert again.__dict__ == error.__dict__


def test_a_file_that_cannot_be_written_is_no_bad_input():
    # The command line tells them apart by type: exit 1, not 2.
    assert issubclass(WriteError, FileError)
    assert not issubclass(SpecError, FileError)
