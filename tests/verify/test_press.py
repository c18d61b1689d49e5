from math import pi, sin, tan

import pytest
from manifold3d import Manifold
from verify.presses import BORE_MM, HEIGHT_MM, RIM_MM, plunger, press, sleeve, stamp, stop
from verify.shapes import as_written, cone, cylinder, manifold_of, mesh_of

from moulddesign.core import KernelError
from moulddesign.geometry import Mesh
from moulddesign.verify.press_checks import (
    closed_cavity_mm3,
    press_findings,
    stop_finding,
    stop_layers_finding,
)

GON = 256 * sin(2 * pi / 256) / 2 / pi
"""Area of the regular 256-gon by that of its circle."""


def disc_mm3(radius, height):
    return pi * radius**2 * height * GON


TARGET = disc_mm3(BORE_MM, HEIGHT_MM)


def verdicts(made, **asked):
    wish = {"target_mm3": TARGET, "clearance_mm": 0.3, "past_rim_mm": 1.0, "width_mm": 60.0}
    return {f.name: f.verdict.value for f in press_findings(made, **(wish | asked))}


def failing(made, **asked):
    return [name for name, verdict in verdicts(made, **asked).items() if verdict != "good"]


def test_a_press_of_known_sizes_is_good_in_everything():
    assert failing(press()) == []


@pytest.mark.parametrize(
    ("tool", "volume"),
    [
        pytest.param(None, 0.0, id="plain stamp"),
        pytest.param(
            cone(10, 8, HEIGHT_MM, HEIGHT_MM + 2),
            pi * 2 * (100 + 80 + 64) / 3 * GON,
            id="cone frustum pi h (R2 + R r + r2) / 3, MathWorld",
        ),
    ],
)
def test_closed_cavity_is_the_bore_and_the_engraving(tool, volume):
    engraved = stamp(engraved=[] if tool is None else [tool])
    # float32 steps of 4e-6 mm on 6,000 mm2 of walls: 0.03 mm3.
    assert closed_cavity_mm3(sleeve(), engraved) == pytest.approx(TARGET + volume, abs=0.03)


def test_the_gap_beside_a_chamfered_back_is_no_part_of_the_cavity():
    # A chamfer of 0.6 mm around the back is 34 mm3 of air, 0.06 % here and 0.2 % of 8 g of dough.
    back, wall = HEIGHT_MM + 10.0, BORE_MM - 0.3
    chamfer = cylinder(BORE_MM, back - 0.6, back + 1) - cone(wall, wall - 0.6, back - 0.6, back)
    chamfered = stamp(engraved=[chamfer - cylinder(wall - 0.6, back - 0.7, back + 2)])
    assert chamfered.volume_mm3 < stamp().volume_mm3 - 30.0
    assert closed_cavity_mm3(sleeve(), chamfered) == pytest.approx(TARGET, abs=0.03)


def test_an_engraving_higher_than_the_straight_wall_is_part_of_the_cavity():
    back, wall, straight = HEIGHT_MM + 10.0, BORE_MM - 0.3, HEIGHT_MM + 3.0
    lean = back - straight
    chamfer = cylinder(BORE_MM, straight, back + 1) - cone(wall, wall - lean, straight, back)
    tools = [chamfer - cylinder(wall - lean, straight - 0.1, back + 2)]
    deep = stamp(engraved=[*tools, cone(6, 3, HEIGHT_MM, HEIGHT_MM + 6).translate([15, 0, 0])])
    frustum_mm3 = pi * 6 * (36 + 18 + 9) / 3 * GON  # pi h (R2 + R r + r2) / 3, MathWorld
    assert closed_cavity_mm3(sleeve(), deep) == pytest.approx(TARGET + frustum_mm3, abs=0.03)


def test_a_sleeve_off_the_table_closes_no_cavity():
    assert closed_cavity_mm3(sleeve().moved((0, 0, 0.1)), stamp().moved((0, 0, 0.1))) == 0.0


def test_a_portion_three_thousandths_off_fails():
    assert failing(press(), target_mm3=TARGET * 1.003) == ["closed cavity of the assembled press"]


def test_a_gap_wider_than_asked_fails():
    assert failing(
        press(stamp=stamp(clearance_mm=0.4), plunger=plunger(clearance_mm=0.4, vane_mm=69))
    ) == ["least gap over the whole stroke"]


def test_a_vane_wider_than_the_bore_stops_the_plunger_short():
    found = failing(press(plunger=plunger(clearance_mm=-0.1)))
    assert "stamp past the rim when the pastry is pushed out" in found


def test_a_wide_vane_inside_the_bore_overlaps():
    found = failing(press(plunger=plunger(clearance_mm=-0.1, vane_mm=45)))
    assert "overlap of sleeve and plunger at 9 positions of the stroke" in found


def test_a_bump_between_the_positions_is_found_by_the_sweep():
    # 0.2 mm deep and thinner than a step of the stroke: the shadow of the sleeve still holds it.
    ring = cylinder(BORE_MM + 1, 10.0, 10.2) - cylinder(BORE_MM - 0.2, 9, 11)
    bumped = mesh_of(cylinder(BORE_MM + 3, 0, RIM_MM) - cylinder(BORE_MM, -1, RIM_MM + 1) + ring)
    assert "least gap over the whole stroke" in failing(press(sleeve=as_written(bumped)))


@pytest.mark.parametrize(("past_mm", "fails"), [(0.5, True), (0.99, False), (1.5, False)])
def test_a_disc_that_stops_too_early_fails(past_mm, fails):
    failed = failing(press(plunger=plunger(past_rim_mm=past_mm)))
    assert failed == (["stamp past the rim when the pastry is pushed out"] if fails else [])


def test_travel_and_guide_are_those_of_the_model():
    assert press().travel_mm == pytest.approx(HEIGHT_MM + 1.0, abs=1e-5)
    assert press().guide_mm == pytest.approx(65.0 - HEIGHT_MM, abs=1e-5)


def test_a_stamp_alone_lets_the_cake_lean():
    # 60 mm wide, 10 mm guided, 0.3 mm each side: 60 * 0.6 / 10 = 3.6 mm.
    short = press(plunger=plunger(clearance_mm=1.0))
    (drop,) = [f for f in press_findings(
        short, target_mm3=TARGET, clearance_mm=0.3, past_rim_mm=1.0, width_mm=60.0
    ) if f.name.startswith("drop")]  # fmt: skip
    assert drop.measured == pytest.approx(3.6, abs=0.001)
    assert drop.verdict.value == "fail"


def test_an_open_mesh_is_refused_with_a_sentence():
    whole = sleeve()
    with pytest.raises(KernelError, match="Making the bore failed"):
        closed_cavity_mm3(Mesh(whole.vertices, whole.triangles[1:]), stamp())


@pytest.mark.parametrize("side", [-1.0, 1.0])
@pytest.mark.parametrize(("share", "failed"), [(0.95, 0), (1.05, 3)])
def test_the_assembly_is_judged_at_its_limits_and_nowhere_else(side, share, failed):
    # 0.2 % of the portion in the closed cavity; 0.02 mm of the gap and of the way past the rim.
    off = side * share
    asked = {
        "target_mm3": TARGET / (1.0 + 0.002 * off),
        "clearance_mm": 0.3 - 0.02 * off,
        "past_rim_mm": 1.0 + 0.02 * share,  # more is no fault
    }
    assert len(failing(press(), **asked)) == failed


@pytest.mark.parametrize(("drop_mm", "verdict"), [(0.99, "good"), (1.01, "fail")])
def test_a_drop_of_one_millimetre_is_the_most(drop_mm, verdict):
    # Guided from the cake's top up, 0.3 mm each side: drop = width * 0.6 / guide.
    found = verdicts(press(), width_mm=drop_mm * (65.0 - HEIGHT_MM) / 0.6)
    assert found["drop across the pastry when the stamp leans"] == verdict


@pytest.mark.parametrize(("volume_mm3", "verdict"), [(0.095, "good"), (0.105, "fail")])
def test_parts_may_overlap_by_a_tenth_of_a_cubic_millimetre(volume_mm3, verdict):
    # A pin of 1 mm2 in the bore's wall reaches into the stamp, whose 256-gon has a corner there:
    # over half a millimetre to both sides its facets fall back by 0.5 tan(pi / 256) at most.
    reach_mm = volume_mm3 + 0.25 * tan(pi / 256)
    pin = Manifold.cube([2.0, 1.0, 1.0]).translate([BORE_MM - 0.3 - reach_mm, -0.5, 22.0])
    made = press(sleeve=as_written(mesh_of(manifold_of(sleeve()) + pin)))
    (overlap,) = [
        f
        for f in press_findings(
            made, target_mm3=TARGET, clearance_mm=0.3, past_rim_mm=1.0, width_mm=60.0
        )
        if f.id == "verify.overlap-over-stroke"
    ]
    assert overlap.measured == pytest.approx(volume_mm3, abs=2e-4)  # float32 on 1 mm2 and round it
    assert overlap.verdict.value == verdict


AREA = pi * BORE_MM**2 * GON


@pytest.mark.parametrize("stop_mm", [15.0, 20.0, 21.5])
def test_the_stop_gives_the_height_at_which_the_disc_meets_it(stop_mm):
    # The disc stands 21 mm over the rim at the nominal height of 20 mm.
    made = press(stop=stop(stop_mm))
    assert made.over_stop_mm == pytest.approx(21.0 - stop_mm, abs=0.003)


def test_a_stop_beside_the_disc_stops_nothing():
    away = stop().moved((0.0, 80.0, 0.0))
    assert press(stop=away).over_stop_mm == float("inf")


@pytest.mark.parametrize(
    ("sds", "share"),
    [
        pytest.param(2.0, 97.7250, id="Phi(2), NIST/SEMATECH e-Handbook 1.3.6.7.1"),
        pytest.param(1.0, 84.1345, id="Phi(1), the same table"),
        pytest.param(0.0, 50.0, id="the mean"),
    ],
)
def test_pieces_that_fill_are_those_larger_than_the_closed_press(sds, share):
    # The stop closes the press 1 mm lower than nominal: pieces of the mean volume are larger by an
    # area times 1 mm.
    made, sd_mm3 = press(stop=stop(20.0)), 1000.0
    found = stop_finding(
        made,
        target_mm3=TARGET,
        area_mm2=AREA,
        mean_mm3=TARGET - AREA + sds * sd_mm3,
        sd_mm3=sd_mm3,
    )
    assert found.measured == pytest.approx(share, abs=0.2)  # 0.003 mm of a level, by the area
    assert found.verdict.value == ("good" if share >= 95.0 else "warn")


def test_a_stop_lowered_by_what_the_finding_says_is_good():
    asked = {"target_mm3": TARGET, "area_mm2": AREA, "mean_mm3": TARGET, "sd_mm3": 2000.0}
    short = stop_finding(press(stop=stop(20.8)), **asked)
    assert short.verdict.value == "warn"
    lower_mm = dict(short.remedy.values)["lower_mm"]
    # 1.645 deviations of 2 mL over 28.3 cm2 are 1.163 mm, of which the stop leaves 0.2.
    assert lower_mm == pytest.approx(0.963, abs=0.01)
    found = stop_finding(press(stop=stop(20.8 - lower_mm - 0.005)), **asked)
    assert found.verdict.value == "good"


@pytest.mark.parametrize(("low_mm", "off_g", "verdict"), [
    # A millimetre over the area at 1.25 g/mL; the stop of 20 mm lets the stamp 1 mm lower.
    (1.0, 0.0, "good"), (0.8, 0.2, "good"), (0.0, 1.0, "warn"), (2.0, -1.0, "warn"),
])  # fmt: skip
def test_a_stop_off_its_height_is_told_in_grams(low_mm, off_g, verdict):
    found = stop_layers_finding(
        press(stop=stop(20.0)),
        low_mm=low_mm,
        area_mm2=AREA,
        density_g_per_ml=1.25,
        piece_g=71.0,
    )
    assert found.measured == pytest.approx(off_g * 1.25 * AREA / 1000.0, abs=0.012)
    assert (found.verdict.value, found.unit) == (verdict, "g")


def test_no_stop_has_no_height():
    away = press(stop=stop().moved((0.0, 80.0, 0.0)))
    found = stop_layers_finding(
        away, low_mm=1.0, area_mm2=AREA, density_g_per_ml=1.25, piece_g=71.0
    )
    assert (str(found.measured), found.verdict.value) == ("nothing stops it", "warn")
