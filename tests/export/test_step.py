"""STEP, read back by the CAD kernel."""

import re

import numpy as np
import pytest
from export.builds import CASES, built

from moulddesign.design import parse_formats
from moulddesign.export import ExportOptions, sendable_makers
from moulddesign.export.formats import NO_RELIEF, step_file, step_string
from moulddesign.workers import second_process


def body_of(path):
    from cadquery import importers  # noqa: PLC0415 (takes seconds to load)

    return importers.importStep(str(path)).val()


@pytest.mark.parametrize("case", ["chestnut-75", "square with two centres"])
@pytest.mark.parametrize("name", ["sleeve", "plunger"])
def test_the_kernel_reads_the_same_body(case, name, tmp_path):
    part = built(case).mould.part(name)
    path = tmp_path / f"{name}.step"
    made = step_file(part.solid, name=name, description="a trial")
    path.write_bytes(made.content)
    body = body_of(path)
    assert body.isValid()
    assert body.Volume() == pytest.approx(made.volume_mm3, rel=1e-4)
    # The mesh lies within 0.005 mm of the surfaces, and so does its box.
    box = body.BoundingBox(1e-4)
    low, high = part.mesh.bounds
    assert np.allclose([box.xmin, box.ymin, box.zmin], low, atol=0.01)
    assert np.allclose([box.xmax, box.ymax, box.zmax], high, atol=0.01)


def test_a_blank_says_in_header_and_product_that_its_relief_is_missing(tmp_path):
    part = built("chestnut-75").mould.part("stamp")
    made = step_file(part.blank, name="stamp-blank", description=NO_RELIEF)
    header, _, data = made.content.decode("ascii").partition("ENDSEC;")
    assert "NOT in this file" in header
    assert "FILE_NAME('stamp-blank.step'" in header
    assert re.search(r"PRODUCT\('stamp-blank','[^']*NOT in this file", data)
    path = tmp_path / "stamp-blank.step"
    path.write_bytes(made.content)
    body = body_of(path)
    assert body.Volume() == pytest.approx(made.volume_mm3, rel=1e-4)


def test_files_are_the_same_whichever_process_makes_them():
    options = ExportOptions(formats=parse_formats("step,pictures,3mf"))
    makers = sendable_makers(built("chestnut-75"), options)
    assert set(makers) >= {"sleeve.step", "stamp-blank.step", "parts.png", "print.png"}
    with second_process() as submit:
        there = submit(tuple(makers.values()))
        assert [one() for one in there] == [make() for make in makers.values()]


def test_the_hundredth_file_of_a_process_is_the_first():
    solid = built("chestnut-75").mould.part("sleeve").solid()
    first, *others = (
        step_file(lambda: solid, name="sleeve", description="a trial") for _ in range(12)
    )
    assert all(other == first for other in others)
    assert not re.search(rb"20\d\d-\d\d-\d\d", first.content)


@pytest.mark.parametrize(
    ("text", "coded"),
    [  # from memory of ISO 10303-21: quotes and backslashes twice, \X2\ four, \X4\ eight digits
        pytest.param("it's", "it''s", id="ISO 10303-21, apostrophe, from memory"),
        pytest.param("a\\b", "a\\\\b", id="ISO 10303-21, reverse solidus, from memory"),
        pytest.param("\u00e9", "\\X2\\00E9\\X0\\", id="ISO 10303-21, X2, from memory"),
        pytest.param("\U0001f330", "\\X4\\0001F330\\X0\\", id="ISO 10303-21, X4, from memory"),
    ],
)
def test_text_is_coded_as_the_standard_says(text, coded):
    assert step_string(text) == coded


def test_the_kernel_reads_a_file_whose_words_are_in_every_script(tmp_path):
    draw = built("little").mould.part("sleeve").solid
    path = tmp_path / "sleeve.step"
    words = "栗's \\ 🌰 " + CASES["little"]["name"]
    made = step_file(draw, name="sleeve", description=words)
    path.write_bytes(made.content)
    assert body_of(path).Volume() == pytest.approx(made.volume_mm3, rel=1e-4)
