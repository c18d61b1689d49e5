"""A measured press: a prism is the outside check; what to do follows from the sizes."""

import re

import pytest

from moulddesign.core import FileMistakesError, SpecError
from moulddesign.design import SetFile, read_set_file, save_readings
from moulddesign.portion import printed_set

# A prism without relief, 1000 mm2 and 30 mm high: 30 mL of 1.25 g/mL finished.
PRISM = {
    "sleeve_height_mm": 90.0,
    "bore": {"outline": "round", "width_mm": 40.0},
    "piece": {
        "finished_g": 37.5, "volume_ml": 30.0, "height_mm": 30.0, "area_mm2": 1000.0,
        "stopped_mm": 29.0, "guide_mm": 50.0, "clearance_mm": 0.4, "least_g": 30.0, "most_g": 42.0,
    },
    "sizes": [
        {"key": "bore_mm", "part": "sleeve", "mm": 40.0, "within_mm": 0.3},
        {"key": "sleeve_mm", "part": "sleeve", "mm": 90.0, "within_mm": 0.2},
        {"key": "stamp_mm", "part": "stamp", "mm": 39.2, "within_mm": 0.3},
        {"key": "thickness_mm", "part": "stamp", "mm": 15.0, "within_mm": 0.2},
        {"key": "stop_mm", "part": "stop", "mm": 28.0, "within_mm": 0.2},
    ],
}  # fmt: skip


def judged(**readings):
    return printed_set(SetFile.of(PRISM | {"readings": readings}), "exports/mine")


def test_prints_as_designed_hold_what_was_designed():
    made = judged(bore_mm=40.0, stamp_mm=39.2)
    assert made.is_good
    assert made.at_stop_g == pytest.approx(29.0 * 1.25)  # 1000 mm2 times 29 mm
    assert (made.gap_mm, made.stopped_mm, made.height_mm) == pytest.approx((0.4, 29.0, 30.0))
    assert made.drop_mm == pytest.approx(2 * 0.4 * 40.0 / 50.0)  # 2 gap width / guide
    # Three lengths of sd 0.05 / sqrt(3) mm are 0.05 mm: 0.0625 g; the width adds 0.052 g.
    assert made.at_stop_sd_g == pytest.approx((0.0625**2 + 0.0523**2) ** 0.5, rel=0.01)


def test_a_wider_bore_holds_more_and_a_stop_that_is_higher_ends_earlier():
    made = judged(bore_mm=40.4, stop_mm=28.4, thickness_mm=15.1)
    assert made.stopped_mm == pytest.approx(29.3)
    assert made.at_stop_g == pytest.approx(1.01**2 * 29.3 * 1.25)
    assert made.height_mm == pytest.approx(30.0 / 1.01**2)
    # It should end at 29 / 1.01^2 = 28.43 mm: 0.87 mm lower, so four layers of 0.2 mm.
    assert "0.8 mm lower: make --for exports/mine --only stop --lower-stop 0.8" in str(made.to_do)


@pytest.mark.parametrize(
    ("readings", "says"),
    [
        pytest.param(
            # A gap of 0.05 instead of 0.4 mm: as wide again, it needs 0.4 + 0.35.
            {"bore_mm": 39.7, "stamp_mm": 39.6}, "0.70 mm narrower.*--clearance 0.75", id="sticks"
        ),
        pytest.param({"stamp_mm": 38.4}, "leans by 1.28 mm.*--clearance 0.05", id="leans"),
        pytest.param({"stop_mm": 27.5}, "shims of 0.4 mm", id="too late"),
        pytest.param({"stop_mm": 28.05}, "Nothing is to be done", id="within a layer"),
    ],
)  # fmt: skip
def test_the_one_thing_to_do(readings, says):
    made = judged(**readings)
    assert made.is_good == says.startswith("Nothing")
    assert re.search(says, str(made.to_do))


def test_readings_are_kept_beside_what_was_read_before(tmp_path):
    file = tmp_path / "set.toml"
    file.write_text(SetFile.of(PRISM).toml("0.2.0"))
    with pytest.raises(SpecError, match="needs caliper readings"):
        printed_set(read_set_file(file), "x")
    save_readings(tmp_path, {"bore_mm": 40.1, "stop_mm": None})
    found = save_readings(tmp_path, {"stop_mm": 28.2})
    assert found.readings.plain() == {"bore_mm": 40.1, "stop_mm": 28.2}
    for value, says in ((4.0, "is far from the 40.00 mm"), (-1.0, "must be above 0")):
        with pytest.raises((SpecError, FileMistakesError), match=says):
            save_readings(tmp_path, {"bore_mm": value})
    assert read_set_file(tmp_path) == found
