"""Grams and time of parts against a slicer's, and against closed forms."""

import os

import pytest
from kept_designs import built

from moulddesign.building.composition import shaped
from moulddesign.design import MADE_KINDS, OUTLINES, Design, PrinterTable
from moulddesign.export.formats import stl_bytes
from moulddesign.export.slicing import sliced, slicer_code, slicer_settings, slicer_words
from moulddesign.geometry import box
from moulddesign.mould import coupons, make_mould
from moulddesign.mould.print_estimate import LEAN, SOLID, Infill, infill_of, print_estimate

PRINTER = PrinterTable()
SUPPORTS = {"support_material_threshold": 40, "fill_density": "15%", "fill_pattern": "gyroid"}
SPARSE = Infill(density=0.25, perimeters=3, top_layers=5, bottom_layers=4)
SLICER = os.environ.get("MOULDDESIGN_SLICER")
"""Program of a slicer; its own usual speeds are the profile."""


def test_a_box_has_the_time_of_its_perimeters_skin_and_infill():
    """40 x 30 x 20 mm: 100 layers with 3 x 140 mm of perimeter, five and four layers of skin.

    Perimeters 42 m hold 42 x 0.084 = 3.528 mL of 24; the skin is 9 x 0.2 of 20 mm of the rest.
    """
    perimeters_m, skin = 42.0, (24.0 - 3.528) * 9 * 0.2 / 20.0
    bulk = 24.0 - 3.528 - skin
    solid, sparse = (
        print_estimate(box((0, 0, 0), (40, 30, 20)), PRINTER, i) for i in (SOLID, SPARSE)
    )
    assert solid.volume_mm3 == pytest.approx(24_000.0)
    assert solid.minutes == pytest.approx(0.474 * perimeters_m + 7.3 * skin + 4.3 * bulk)
    assert sparse.volume_mm3 == pytest.approx(24_000.0 - 750.0 * bulk)
    assert sparse.minutes == pytest.approx(0.474 * perimeters_m + 7.3 * skin + 9.0 * bulk / 4.0)


def test_a_pin_is_all_small_loops_and_perimeters_never_hold_more_than_the_part():
    pin = print_estimate(box((0, 0, 0), (2, 2, 20)), PRINTER, SPARSE)
    # 0.08 mL / 0.084 mm^2 of line.
    assert pin.volume_mm3 == pytest.approx(80.0)
    assert pin.minutes == pytest.approx(1.68 * 0.08 / 0.084)


def test_what_dough_touches_is_solid_and_the_rest_a_tight_shell():
    assert all(infill_of(name) is SOLID for name in ("sleeve", "stamp", "stamp-bee", "block-2"))
    assert all(infill_of(name) is LEAN for name in ("plunger", "stop", "shim-0.4", "master"))
    assert LEAN.perimeters >= 4
    assert min(LEAN.top_layers, LEAN.bottom_layers) >= 6


def slicers_code(mesh, folder, infill=SPARSE, **more):
    """Return what a slicer writes for a part; its own usual speeds count."""
    model = folder / "part.stl"
    model.write_bytes(stl_bytes(mesh))
    settings = dict(slicer_settings(PRINTER, infill)) | {
        key.replace("_", "-"): value for key, value in more.items()
    }
    return slicer_code(slicer_words(SLICER), model, settings)


@pytest.mark.slow
@pytest.mark.skipif(SLICER is None, reason="MOULDDESIGN_SLICER names none")
@pytest.mark.parametrize("density", [1.0, 0.25])
@pytest.mark.parametrize(
    ("name", "part"),
    [
        ("chestnut-75", "sleeve"), ("chestnut-75", "stamp"), ("chestnut-75", "plunger"),
        ("chestnut-75", "stop"),
        ("octagon-block-60", "block"), ("hexagon-cast-30", "master"),
    ],
)  # fmt: skip
def test_grams_and_time_are_those_of_a_slicer(name, part, density, tmp_path):
    """Within 40 % of its time and 15 % of its grams, for parts that nothing was fitted to."""
    infill, mesh = SOLID if density == 1.0 else SPARSE, built(name).meshes[part]
    model = tmp_path / "part.stl"
    model.write_bytes(stl_bytes(mesh))
    theirs = sliced(slicer_words(SLICER), model, slicer_settings(PRINTER, infill))
    found = print_estimate(mesh, PRINTER, infill)
    assert found.volume_mm3 == pytest.approx(theirs.volume_mm3, rel=0.15)
    assert found.minutes == pytest.approx(theirs.minutes, rel=0.4)


@pytest.mark.slow
@pytest.mark.skipif(SLICER is None, reason="MOULDDESIGN_SLICER names none")
@pytest.mark.parametrize("outline", OUTLINES)
@pytest.mark.parametrize("kind", MADE_KINDS)
def test_a_slicer_supports_no_part_at_40_deg(kind, outline, tmp_path):
    """Slicers count the angle from level: what leans less than 50 deg from upright stands.

    Where two chamfers at the bed meet in a corner, as at the mouths of slot and stop, the diagonal
    leans 55 deg: a slicer puts spots under it in the first layer. A layer reaches 0.28 mm out
    there, less than a line is wide, so nothing needs them.
    """
    design = Design().with_values(
        {"mould.kind": kind.value, "pastry.outline": outline, "relief.layers": [{"pattern": "bee"}]}
    )
    for part in make_mould(design, shaped(design).pastry).parts:
        code = slicers_code(part.printed, tmp_path, support_material=None, **SUPPORTS)
        above = code.partition(";Z:0.4\n")[2]
        assert ";TYPE:Internal infill" in code or ";TYPE:Solid infill" in code
        assert ";TYPE:Support" not in above, part.name


@pytest.mark.slow
@pytest.mark.skipif(SLICER is None, reason="MOULDDESIGN_SLICER names none")
@pytest.mark.parametrize("kind", ["block", "cast"])
def test_a_slicer_supports_no_band_of_a_side(kind, tmp_path):
    bands = [{"section": name, "height_mm": 4.0, "depth_mm": 1.5} for name in ("round", "step")]
    design = Design().with_values(
        {"mould.kind": kind, "mould.side_draft_deg": 5.0, "pastry.side_bands": bands}
    )
    (part,) = make_mould(design, shaped(design).pastry).parts
    code = slicers_code(part.printed, tmp_path, support_material=None, **SUPPORTS)
    assert ";TYPE:External perimeter" in code
    assert ";TYPE:Support" not in code.partition(";Z:0.4\n")[2]


@pytest.mark.slow
@pytest.mark.skipif(SLICER is None, reason="MOULDDESIGN_SLICER names none")
def test_a_slicer_supports_nothing_where_slot_and_land_meet(tmp_path):
    """Under a low face the ridge of the slot's roof ends at the step under the stamp's land."""
    values = {"pastry.outline": "hexagon", "face": {"name": "lantern"}, "relief.layers": []}
    design = Design().with_values(values)
    stamp = make_mould(design, shaped(design).pastry).part("stamp").printed
    code = slicers_code(stamp, tmp_path, support_material=None, **SUPPORTS)
    assert ";TYPE:External perimeter" in code
    assert ";TYPE:Support" not in code.partition(";Z:0.4\n")[2]


@pytest.mark.slow
@pytest.mark.skipif(SLICER is None, reason="MOULDDESIGN_SLICER names none")
def test_a_slicer_supports_no_coupon_at_40_deg(tmp_path):
    for part in coupons(Design()).parts:
        code = slicers_code(part.printed, tmp_path, support_material=None, **SUPPORTS)
        assert ";TYPE:External perimeter" in code
        assert ";TYPE:Support" not in code.partition(";Z:0.4\n")[2], part.name
