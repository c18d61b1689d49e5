"""The order sheet for a printing service: one page of what is ordered, and how it is judged."""

import io
import re

import pytest
from export.builds import built, unchecked
from kept_designs import kept
from pypdf import PdfReader

from moulddesign.building import set_file
from moulddesign.design import Format, Paper
from moulddesign.export import ExportOptions
from moulddesign.export.build_files import file_names
from moulddesign.export.order_sheet import measured_sizes, order_sheet
from moulddesign.export.pictures import row_scene
from moulddesign.geometry import box
from moulddesign.render import picture_png


def ordered(process, language="en"):
    design = built("chestnut-75").design
    printer = {"printer.machine": "service", "printer.process": process, "language": language}
    return unchecked(design.with_values(printer))


def sheet_of(build, paper=Paper.A4):
    picture = picture_png(row_scene({"cube": box((0.0, 0.0, 0.0), (1.0, 1.0, 1.0))}))
    pages = PdfReader(io.BytesIO(order_sheet(build, picture, paper).pdf())).pages
    assert len(pages) == 1
    return re.sub(r"\s+", " ", pages[0].extract_text().replace("\u200b", ""))


def test_a_sheet_says_what_a_workshop_drawing_has_to():
    build = ordered("powder")
    text = sheet_of(build)
    for part in build.mould.parts:
        assert f"{part.name}.stl" in text
    for words in ("millimetres", "do not scale", "PA12", "porous", "±0.3 mm", "Local food law"):
        assert words in text
    # What is measured on arrival is what `measured` asks for, within the same.
    for size in set_file(build).sizes:
        assert f"{size.mm:.2f} {size.within_mm:g}" in text
    # A sheet of 0.4 mm is below what the process makes: 0 pieces of it.
    assert "shim-0.4.stl 0 " in text
    assert "shim-0.8.stl 1 " in text


@pytest.mark.parametrize(
    ("process", "language", "words"),
    [("resin", "de", "nicht skalieren"), ("fff", "en", "in layers of 0.2 mm or finer")],
)
def test_a_sheet_fits_on_one_page_in_each_process(process, language, words):
    assert words in sheet_of(ordered(process, language), Paper.LETTER)


def test_a_block_is_measured_by_its_cavity():
    service = {"printer.machine": "service", "printer.process": "resin"}
    block = unchecked(kept("octagon-block-60").with_values(service))
    sizes = {str(what): (mm, within_mm) for _, what, mm, within_mm in measured_sizes(block)}
    depth_mm, within_mm = sizes["cavity: depth under the rim, at the deepest"]
    # The block rests on its back: rim over the deepest engraving is the pastry's whole height.
    assert depth_mm == pytest.approx(block.pastry.height_mm + block.pastry.depth_above_mm, abs=1e-3)
    assert within_mm == 0.2
    assert "cavities and rim" in sheet_of(block)


def test_only_a_service_gets_an_order_sheet():
    options = ExportOptions(formats=(Format.CARD,))
    assert "order.pdf" in file_names(ordered("powder"), options)
    assert "order.pdf" not in file_names(built("chestnut-75"), options)
