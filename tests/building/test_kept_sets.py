"""Parts made later for a set that is there: they fit it, and nothing else of it changes."""

from functools import cache
from pathlib import Path

import pytest
import shapely
from kept_designs import built

from moulddesign.building import build, set_file, shaped
from moulddesign.building.composition import mould_of
from moulddesign.building.sleeve_weights import sleeve_weights
from moulddesign.core import SpecError
from moulddesign.design import Design, SetFile, read_set_file
from moulddesign.export.formats import stl_bytes
from moulddesign.geometry.booleans import section_region
from moulddesign.mould.press_layout import press_layout

SETS = Path(__file__).parents[1] / "design" / "sets"


def for_set(found, values, design=None):
    """Return the design of parts for a set, with other values."""
    return (Design() if design is None else design).for_set(found).with_values(values)


@cache
def first():
    return set_file(built("chestnut-75"))


@cache
def later(weight_g, *layers):
    values = {"portion.finished_weight_g": weight_g, "relief.layers": [dict(one) for one in layers]}
    return for_set(first(), values, built("chestnut-75").design)


LANTERN, SUN = (("pattern", "lantern"),), (("pattern", "sun"),)


def same_parts(made, old):
    """Return which parts are the same bytes."""
    files = {part.name: stl_bytes(part.printed) for part in old.parts}
    return {part.name for part in made.parts if stl_bytes(part.printed) == files[part.name]}


SHIMS = {"shim-0.4", "shim-0.8", "shim-1.6"}


def test_another_pattern_changes_the_stamp_and_nothing_else():
    design, old = later(75.0, LANTERN), built("chestnut-75").mould
    mould = mould_of(design, shaped(design))
    assert same_parts(mould, old) == {"sleeve", "plunger", "stop", *SHIMS}
    assert mould.layout.changed_parts == ("stamp",)
    again = for_set(first(), {}, built("chestnut-75").design)  # the stamp broke
    assert same_parts(mould_of(again, shaped(again)), old) == {part.name for part in old.parts}


@pytest.mark.slow
def test_ten_stamps_leave_sleeve_and_plunger_as_they_are():
    old = built("chestnut-75").mould
    weights = (62, 66, 70, 75, 80, 84, 87)
    for weight_g, count in [*((each, 3) for each in weights), *((75, each) for each in (2, 4, 5))]:
        design = later(float(weight_g), (("motif", "rings"), ("count", count)))
        mould = mould_of(design, shaped(design))
        kept = same_parts(mould, old)
        assert kept >= {"sleeve", "plunger"}
        assert (kept >= SHIMS) == ("shim" not in mould.layout.changed_parts)


def test_a_stamp_for_another_weight_passes_every_check_against_the_old_sleeve():
    made = build(later(66.0, SUN))
    assert made.failed == ()
    # The proof at printing error was made of this stamp in this sleeve.
    proven = {found.id for found in made.findings}
    assert {"verify.least-gap", "verify.stamp-past-rim", "verify.closed-cavity"} <= proven
    assert same_parts(made.mould, built("chestnut-75").mould) == {"sleeve", "plunger", *SHIMS}
    assert "made for this piece: stamp, stop" in str(made.stop_sentences[0])
    assert set_file(made).kept == first().kept


def test_a_set_of_an_earlier_form_gets_a_stamp_that_its_foot_slides_into():
    """The foot of form 1, 75 g: neck 6 mm wide, lugs 10 mm wide from 4.7 to 5.1 mm deep."""
    design = for_set(
        read_set_file(SETS / "form-1-round-75.toml"), {"relief.layers": [dict(LANTERN)]}
    )
    mould = mould_of(design, shaped(design))
    back_mm = mould.layout.back_mm
    assert back_mm == pytest.approx(43.3201, abs=1e-4)  # as that set's plunger has it
    stamp = mould.part("stamp").mesh
    for depth_mm, foot_mm in ((1.5, 6.0), (4.9, 10.0), (8.0, 4.9)):
        plan = section_region(stamp, back_mm - depth_mm, "the slot")
        across = shapely.LineString([(5.0, -20.0), (5.0, 20.0)])
        free = across.difference(plan)
        width_mm = max(
            one.length for one in shapely.get_parts(free) if one.distance(shapely.Point(5, 0)) < 0.1
        )
        assert width_mm >= foot_mm + 2 * 0.6 - 0.01  # and 0.6 mm of air on each side


@pytest.mark.parametrize(
    ("values", "says"),
    [
        ({"pastry.width_mm": 60.0}, "must be 52"),
        ({"mould.kind": "block"}, "only a press"),
        ({"portion.finished_weight_g": 99.0}, "more than the kept sleeve guides"),
    ],
)
def test_what_the_set_cannot_take_is_refused(values, says):
    with pytest.raises(SpecError, match=says):
        mould_of(design := for_set(first(), values, built("chestnut-75").design), shaped(design))


def test_a_measured_sleeve_gets_a_plunger_that_it_guides():
    sleeve = SetFile.of({"sleeve_height_mm": 96.0, "bore": {"outline": "round", "width_mm": 52.1}})
    design = for_set(sleeve, {})
    made = shaped(design).pastry
    layout = press_layout(design.mould, design.printer, made, kept=design.kept)
    assert layout.sleeve_height_mm == 96.0
    assert layout.vane_top_mm + 8.0 == pytest.approx(96.0)  # room above the vanes
    assert made.outline.width_mm == 52.1
    low = for_set(SetFile.of(sleeve.plain() | {"sleeve_height_mm": 50.0}), {})
    with pytest.raises(SpecError, match="too low to guide"):
        press_layout(low.mould, low.printer, made, kept=low.kept)


def test_a_hexagonal_bore_takes_its_own_piece_again():
    bore = {"outline": "hexagon", "width_mm": 53.533105, "corner_radius_mm": 6.0}
    bore |= {"lobes": 12, "lobe_depth_mm": 2.0}
    design = for_set(SetFile.of({"sleeve_height_mm": 112.4, "bore": bore}), {})
    made = shaped(design)
    assert made.pastry.outline.width_mm != 53.533105  # measured on corners, off by a rounding error
    weights = sleeve_weights(design, made.pastry, (), made.portion)
    assert weights.least_g <= design.portion.finished_weight_g <= weights.most_g


def test_a_bore_says_all_that_shapes_it():
    with pytest.raises(SpecError, match="corner_radius_mm"):
        SetFile.of({"sleeve_height_mm": 96.0, "bore": {"outline": "square", "width_mm": 52.1}})
