"""One design in several weights, and the weights that one sleeve takes."""

import pytest

from moulddesign.building import shaped, stop_for_weight
from moulddesign.building.sizes import in_weight
from moulddesign.building.sleeve_weights import sleeve_weights
from moulddesign.core import SpecError
from moulddesign.design import Design

GIVEN = {
    "portion": {"finished_weight_g": 75.0},
    "pastry": {"outline": "square", "width_mm": 50.0, "corner_radius_mm": 6.0},
    "relief": {
        "depth_mm": 1.4,
        "layers": [{"motif": "beads", "count": 36}, {"pattern": "leaf", "size_mm": 20.0}],
    },
}


def test_lengths_of_a_piece_of_eight_times_the_weight_are_doubled():
    # Similar solids are to one another as the cubes of their sides: Euclid, Elements XI.33.
    made = in_weight(Design.of(GIVEN), 600.0)
    assert made.pastry.width_mm == pytest.approx(100.0)
    assert made.pastry.corner_radius_mm == pytest.approx(12.0)
    assert made.layers[1].size_mm == pytest.approx(40.0)


def test_what_printing_needs_stays():
    design = Design.of(GIVEN)
    made = in_weight(design, 30.0)
    assert made.relief.depth_mm == design.relief.depth_mm
    assert made.relief.draft_deg == design.relief.draft_deg
    assert made.mould == design.mould


def test_a_border_drops_whole_repeats():
    # A square is the same four times around.
    count = in_weight(Design.of(GIVEN), 30.0).layers[0].count
    assert count < 36
    assert count % 4 == 0


def test_another_weight_has_another_folder_and_no_label_of_the_first():
    named = GIVEN | {"name": "lantern", "label": {"weight_g": 74.0}}
    made = in_weight(Design.of(named), 30.0)
    assert made.name == "lantern-30g"
    assert made.label.weight_g is None


@pytest.mark.parametrize("weight_g", [0.0, -30.0, float("nan"), float("inf"), 1e6])
def test_no_size_of_an_impossible_weight(weight_g):
    with pytest.raises(SpecError, match="finished_weight_g"):
        in_weight(Design.of(GIVEN), weight_g)


def test_a_stop_is_made_for_the_ends_of_a_sleeves_range_and_not_beyond():
    design = Design.of({"portion": {"finished_weight_g": 150.0}})
    shape = shaped(design)
    made = sleeve_weights(design, shape.pastry, shape.further, shape.portion)
    assert made.least_g < 150.0 < made.most_g
    assert made.crust_mm is None
    for weight_g in (made.least_g, made.most_g):
        _, layout = stop_for_weight(design, weight_g)
        assert layout.stop_height_mm > 0.0
    for weight_g in (made.least_g - 1.0, made.most_g + 1.0):
        with pytest.raises(SpecError, match="--stop-for"):
            stop_for_weight(design, weight_g)


def test_a_crust_that_gets_too_thin_ends_the_range():
    design = Design.of({"portion": {"finished_weight_g": 75.0}, "relief": {"layers": []}})
    shape = shaped(design)
    made = sleeve_weights(design, shape.pastry, shape.further, shape.portion)
    assert made.crust_mm == 2.0
    width = {"pastry.width_mm": shape.pastry.outline.width_mm}
    crusts = [
        shaped(design.with_values(width | {"portion.finished_weight_g": grams})).interior.crust_mm
        for grams in (made.least_g, made.least_g - 1.0)
    ]
    assert crusts[0] >= 2.0 > crusts[1]


def test_only_a_press_has_a_sleeve():
    design = Design.of({"mould": {"kind": "block"}})
    shape = shaped(design)
    assert sleeve_weights(design, shape.pastry, shape.further, shape.portion) is None
