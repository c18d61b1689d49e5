"""The drawing: ezdxf audits and measures the DXF, ElementTree reads the SVG."""

import io
import itertools
import re
from math import hypot
from xml.etree import ElementTree as ET

import ezdxf
import numpy as np
import pytest
import shapely
import trimesh
from export.builds import CASES, INSIDES, built, unchecked
from ezdxf import bbox
from ezdxf.fonts.fonts import font_manager
from ezdxf.math import Vec2
from kept_designs import kept

from moulddesign.artwork.font_files import regular_font
from moulddesign.design import Paper
from moulddesign.export.drawing import Drawing, Sheet, build_sections, drawing, dxf_bytes, svg_bytes
from moulddesign.export.entities import Text, fit_text, text_width_mm
from moulddesign.export.fonts import bundled_fonts

SHEETS = [(case, paper) for case in CASES for paper in Paper]
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module", autouse=True)
def _measured_with_the_bundled_font():
    """Fonts differ between machines, and a bare one has none: ezdxf would measure by guess."""
    font_manager.build([str(regular_font().parent)], support_dirs=False)


@pytest.fixture(scope="module", params=SHEETS, ids=lambda sheet: f"{sheet[0]}, {sheet[1]}")
def drawn(request):
    case, paper = request.param
    made = built(case)
    whole = drawing(made, build_sections(made), paper)
    sheet = whole.sheet
    document = ezdxf.read(io.StringIO(dxf_bytes(whole, bundled_fonts()).decode()))
    size = (sheet.width_mm, sheet.height_mm)
    svg = svg_bytes(size, whole.entities, made.design.name, fonts=bundled_fonts())
    return made, sheet, document, ET.fromstring(svg)  # noqa: S314 (our own)


def texts(document):
    """Every text that is seen: those of dimensions stand in their blocks."""
    inside = [part for one in dimensions(document) for part in one.virtual_entities()]
    return [one for one in (*document.modelspace(), *inside) if one.dxftype() == "TEXT"]


def dimensions(document):
    return list(document.modelspace().query("DIMENSION"))


def words_of(text):
    return text.plain_text().replace("\N{LATIN CAPITAL LETTER O WITH STROKE}", "\N{DIAMETER SIGN}")


def bounds_of(entity):
    box = bbox.extents([entity])
    return np.array([[box.extmin.x, box.extmin.y], [box.extmax.x, box.extmax.y]])


def test_the_auditor_finds_nothing(drawn):
    audit = drawn[2].audit()
    assert audit.errors == []
    assert audit.fixes == []


def test_no_text_overlaps_another(drawn):
    boxes = [(text.dxf.text, bounds_of(text)) for text in texts(drawn[2])]
    for (one, a), (other, b) in itertools.combinations(boxes, 2):
        gap = np.maximum(b[0] - a[1], a[0] - b[1])
        assert gap.max() > 0.0, f"{one!r} overlaps {other!r}"


def test_everything_lies_inside_the_frame(drawn):
    _, sheet, document, _ = drawn
    box = bbox.extents(document.modelspace())
    assert box.extmin.x >= 10.0 - 1e-6
    assert box.extmin.y >= 10.0 - 1e-6
    assert box.extmax.x <= sheet.width_mm - 10.0 + 1e-6
    assert box.extmax.y <= sheet.height_mm - 10.0 + 1e-6


def test_views_stay_clear_of_the_title_block(drawn):
    document = drawn[2]
    found = [text for text in texts(document) if text.dxf.layer == "dimension"]
    assert len(found) == len(dimensions(document)) > 0
    assert all(bounds_of(text)[0][1] > 44.0 for text in found)  # margin of 10, title block of 34 mm


def test_a_program_measures_what_each_dimension_says(drawn):
    document = drawn[2]
    scale = stated_scale(document)
    for one in dimensions(document):
        style = document.dimstyles.get(one.dxf.dimstyle)
        true_mm = one.get_measurement() * style.dxf.dimlfac
        assert style.dxf.dimlfac == pytest.approx(1.0 / scale)
        (said,) = (text for text in one.virtual_entities() if text.dxftype() == "TEXT")
        sign, figure = re.fullmatch(r"([^\d]*)([\d.]+)", said.dxf.text).groups()
        assert one.dxf.text == f"{sign}<>"
        assert float(figure) == pytest.approx(true_mm, abs=0.0051)  # two decimals
        # The program puts the figure where it is drawn.
        low, high = bounds_of(said)
        assert np.all((low <= one.dxf.text_midpoint.vec2) & (one.dxf.text_midpoint.vec2 <= high))


def test_dimensions_look_as_iso_129_1_asks(drawn):
    style = drawn[2].dimstyles.get("dimension").dxf
    # From memory of ISO 129-1 and ISO 3098: figures above and along an unbroken line, capitals of
    # 2.5 mm at the least, filled arrows as long, a gap before the extension line or none.
    assert (style.dimtad, style.dimtih, style.dimtoh) == (1, 0, 0)
    assert style.dimtxt == style.dimasz == 2.5
    assert 0.0 <= style.dimexo <= 2.0
    assert style.dimexe > 0.0


def test_a_round_is_dimensioned_by_its_diameter_and_a_corner_by_its_radius(drawn):
    made, _, document, _ = drawn
    scale, outline = stated_scale(document), made.pastry.outline
    kinds = {one.dimtype: one for one in dimensions(document)}  # 3 diameter, 4 radius in DXF
    if outline.name == "round":
        assert 4 not in kinds
        assert kinds[3].get_measurement() == pytest.approx(scale * outline.width_mm, abs=1e-6)
        circles = document.modelspace().query('CIRCLE[layer=="outline"]')
        ends = [Vec2(kinds[3].dxf.defpoint), Vec2(kinds[3].dxf.defpoint4)]
        assert any(
            all(end.distance(Vec2(c.dxf.center)) == pytest.approx(c.dxf.radius) for end in ends)
            for c in circles
        )
    else:
        assert 3 not in kinds
        radius = scale * made.design.pastry.corner_radius_mm
        assert kinds[4].get_measurement() == pytest.approx(radius, abs=1e-6)


def stated_scale(document):
    words = " | ".join(text.dxf.text for text in texts(document))
    return 1.0 / float(re.search(r"1:(\d+) on", words)[1])


def test_the_whole_size_of_each_part_stands_on_it(drawn):
    made, _, document, _ = drawn
    figures = {re.sub("[⌀□]", "", words_of(text)) for text in texts(document)}
    for part in made.mould.assembled:
        body = trimesh.Trimesh(part.mesh.vertices, part.mesh.triangles, process=False)
        wide, _, high = body.extents
        for length in (wide, high):
            assert any(is_rounded(figure, length) for figure in figures), (part.name, length)


def is_rounded(figure, length):
    # Two decimals: half a hundredth.
    return re.fullmatch(r"\d+(\.\d+)?", figure) and abs(float(figure) - length) <= 0.0051


def test_the_title_block_says_name_weight_ratio_material_scale(drawn):
    made, sheet, document, _ = drawn
    words = " | ".join(text.dxf.text for text in texts(document))
    piece = made.portion.piece
    assert made.design.name[:20] in words
    assert f"{piece.finished_g:g} g finished" in words
    assert f"crust : filling {made.design.portion.ratio}" in words
    assert made.design.printer.material in words
    assert re.search(rf"1:\d+ on {sheet.name}", words)
    assert ("third angle" if sheet.third_angle else "first angle") in words
    assert "Date" in words
    assert not re.search(r"20\d\d", words)


def test_the_scale_that_is_stated_is_the_scale_that_is_drawn(drawn):
    made, _, document, _ = drawn
    scale = stated_scale(document)
    outline = made.pastry.outline
    wide = outline.width_mm * scale
    if outline.name == "round":
        circles = document.modelspace().query('CIRCLE[layer=="outline"]')
        assert any(c.dxf.radius == pytest.approx(wide / 2.0, abs=1e-6) for c in circles)
    else:
        lines = document.modelspace().query('LWPOLYLINE[layer=="outline"]')
        sizes = [np.ptp(np.array(line.get_points("xy")), axis=0) for line in lines]
        assert any(np.allclose(size, [wide, outline.depth_mm * scale], atol=0.01) for size in sizes)


def test_the_crust_is_drawn_as_thick_as_it_is(drawn):
    made, _, document, _ = drawn
    scale = stated_scale(document)
    lines = document.modelspace().query('LWPOLYLINE[layer=="pastry"]')
    boxes = sorted(
        (np.array(line.get_points("xy")) for line in lines), key=lambda b: -np.ptp(b[:, 0])
    )
    outer, inner = boxes[0], boxes[1]
    thick = (np.ptp(outer[:, 0]) - np.ptp(inner[:, 0])) / 2.0 / scale
    assert thick == pytest.approx(made.interior.crust_mm, abs=0.02)  # lines are thinned by 0.005 mm
    assert (inner[:, 1].min() - outer[:, 1].min()) / scale == pytest.approx(
        made.interior.crust_mm, abs=0.02
    )


@pytest.mark.parametrize("case", INSIDES)
def test_filling_and_centres_are_drawn_where_they_are(case):
    made = built(case)
    whole = drawing(made, build_sections(made), Paper.A4)
    document = ezdxf.read(io.StringIO(dxf_bytes(whole, bundled_fonts()).decode()))
    scale, inside = stated_scale(document), made.interior
    lines = document.modelspace().query('LWPOLYLINE[layer=="pastry"]')
    pastry, filling = sorted(
        (np.array(line.get_points("xy")) for line in lines), key=lambda line: -np.ptp(line[:, 0])
    )
    shown = shapely.Polygon(pastry)
    assert shown.contains(shapely.Polygon(filling))
    # In the plane of the axis the crust is as thick everywhere, beside the leaning side too;
    # lines are thinned by 0.005 mm.
    apart = [shown.exterior.distance(shapely.Point(point)) / scale for point in filling]
    assert apart == pytest.approx([inside.crust_mm] * len(apart), abs=0.02)
    # A ball that the plane does not cut is drawn hidden, the others as the circle that is cut.
    middle_x, table_y = np.mean([pastry[:, 0].min(), pastry[:, 0].max()]), pastry[:, 1].min()
    drawn = sorted(
        ((c.dxf.center.x - middle_x) / scale, (c.dxf.center.y - table_y) / scale,
         c.dxf.radius / scale, c.dxf.layer)
        for c in document.modelspace().query("CIRCLE") if c.dxf.layer in {"centre", "hidden"}
    )  # fmt: skip
    expected = sorted(
        (x, z, np.sqrt(ball.radius_mm**2 - y**2), "centre")
        if hypot(y, 0.2) < ball.radius_mm  # a disc of 0.2 mm is not drawn as cut
        else (x, z, ball.radius_mm, "hidden")
        for ball in inside.centres for x, y, z in [ball.at_mm]
    )  # fmt: skip
    assert [layer for *_, layer in drawn] == [layer for *_, layer in expected]
    for one, other in zip(drawn, expected, strict=True):
        assert one[:3] == pytest.approx(other[:3], abs=0.01)


def test_svg_and_dxf_hold_the_same_words_and_layers(drawn):
    _, sheet, document, root = drawn
    in_svg = sorted(text.text for text in root.iter(f"{SVG}text"))
    assert in_svg == sorted(map(words_of, texts(document)))
    assert root.get("width") == f"{sheet.width_mm:g}mm"
    assert root.get("viewBox") == f"0 0 {sheet.width_mm:g} {sheet.height_mm:g}"
    used = {entity.dxf.layer for entity in document.modelspace()}
    assert {group.get("id") for group in root.iter(f"{SVG}g")} == used
    assert used <= {layer.dxf.name for layer in document.layers}


@pytest.mark.parametrize(
    "name",
    ["50 % rum", "a^b", "a%%cb", "%%%", "\N{DIAMETER SIGN} 12", "<b> & 'c'", r"\P{x}", "\u6817"],
)
def test_a_name_is_read_as_it_stands_and_never_as_a_code(name):
    label = Text(text=name, at=(30.0, 60.0), capital_mm=3.0)
    sheet = Sheet(name="A4", width_mm=210.0, height_mm=297.0)
    whole = Drawing(sheet=sheet, scale=1.0, entities=(label,))
    document = ezdxf.read(io.StringIO(dxf_bytes(whole, bundled_fonts()).decode()))
    assert document.audit().errors == []
    (text,) = texts(document)
    shown = name.replace("\u6817", "\u20396817\u203a")
    assert words_of(text) == shown
    svg = ET.fromstring(svg_bytes((210.0, 297.0), whole.entities, name, fonts=bundled_fonts()))  # noqa: S314
    assert [one.text for one in svg.iter(f"{SVG}text")] == [shown]


def test_a_small_mould_is_drawn_in_true_size_on_a_sheet_that_every_printer_takes():
    made = unchecked(kept("little-30").with_values({"mould.kind": "block"}))
    whole = drawing(made, build_sections(made), Paper.A4)
    assert whole.sheet.name == "A4"
    assert whole.scale == 1.0
    assert any(getattr(entity, "text", "") == "1:1 on A4" for entity in whole.entities)


def test_bands_around_the_side_stand_in_a_table_with_the_lengths_that_the_mesh_has():
    bands = [
        {"section": "step", "height_mm": 4.5, "depth_mm": 1.5, "gap_mm": 0.25},
        {"section": "step", "height_mm": 3.0, "depth_mm": 1.25, "gap_mm": 0.5},
    ]
    block = {"mould.kind": "block", "pastry.side_bands": bands, "portion.ratio": "5:5"}
    made = unchecked(kept("little-30").with_values(block))
    whole = drawing(made, build_sections(made), Paper.A4)
    document = ezdxf.read(io.StringIO(dxf_bytes(whole, bundled_fonts()).decode()))
    found = texts(document)
    (start,) = (number for number, one in enumerate(found) if words_of(one) == "Plain below")
    cells = [words_of(one) for one in found[start + 1 : start + 9]]
    assert cells == ["step", "3", "1.25", "0.5", "step", "4.5", "1.5", "0.25"]

    body = trimesh.Trimesh(made.meshes["pastry"].vertices, made.meshes["pastry"].triangles)
    lean, end = np.tan(np.radians(made.design.mould.side_lean_deg)), 0.0
    for height, depth, gap in (map(float, row) for row in (cells[5:], cells[1:4])):
        end += gap + height
        below, above = (
            np.ptp(body.section([0.0, 0.0, 1.0], [0.0, 0.0, end + step]).vertices[:, 0])
            for step in (-0.01, 0.01)
        )
        assert (below - above) / 2.0 == pytest.approx(depth + 0.02 * lean, abs=1e-3)


def test_text_is_cut_only_where_it_cannot_be_smaller():
    assert fit_text("short", capital_mm=3.0, least_capital_mm=2.0, room_mm=100.0) == ("short", 3.0)
    text, capital = fit_text("a longer name", capital_mm=3.0, least_capital_mm=1.0, room_mm=25.0)
    assert text == "a longer name"
    assert text_width_mm(text, capital) <= 25.0 * (1 + 1e-9)
    cut, least = fit_text("w" * 80, capital_mm=3.0, least_capital_mm=2.0, room_mm=40.0)
    assert cut.endswith("…")
    assert least == 2.0
    assert text_width_mm(cut, least) <= 40.0 * (1 + 1e-9)


def test_a_tab_on_one_side_has_no_width_about_the_axis():
    made = built("chestnut-75")
    (stop,) = (part for part in build_sections(made).parts if part.name == "stop")
    ring = made.mould.layout.outline.width_mm / 2.0 + made.mould.layout.stop_outside_mm
    assert max(width.half_mm for width in stop.widths) == pytest.approx(ring, abs=0.01)
