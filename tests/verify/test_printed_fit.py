from dataclasses import replace
from math import pi

import numpy as np
import pytest
import shapely
import trimesh
from verify.shapes import as_written, cone, cylinder, mesh_of
from verify.slide_presses import (
    BLIND_MM,
    LAYER_MM,
    Sizes,
    plunger,
    printed,
    stamp,
    taper_press,
)

from moulddesign.verify.printed_fit import stamp_fit_findings, stop_fit_findings
from moulddesign.verify.printed_layers import FAR_MM, eroded, printed_layers, swept


def found(press):
    """Return the findings by their id, and by their part where two have the same one."""
    every = (*stamp_fit_findings(press), *stop_fit_findings(press))
    named = {f"{f.id.partition('.')[2]} {f.part}".strip(): f for f in every}
    assert len(named) == 14
    return named


def failing(press):
    return {name for name, finding in found(press).items() if finding.verdict.value != "good"}


@pytest.fixture(scope="module")
def blind():
    return found(printed())


def test_a_press_made_for_a_printer_that_nobody_measured_works_at_any_error(blind):
    assert {f.verdict.value for f in blind.values()} == {"good"}
    assert {str(f.source) for f in blind.values()} == {
        "layers drawn from the meshes, 0.25 mm larger or smaller: nothing was measured"
    }


def test_gaps_made_for_a_measured_error_work_at_that_error_only():
    tight = Sizes(land_gap=0.3, vane_gap=0.3, gap=0.4)
    assert failing(printed(tight, error_mm=0.1, is_measured=True)) == set()
    assert failing(printed(tight)) >= {
        "gap-left-in-bore stamp", "gap-left-in-bore plunger", "foot-slides-in"
    }  # fmt: skip


@pytest.mark.parametrize(
    ("question", "left"),
    [
        # What is left of a gap between two walls that both grow by 0.25.
        ("foot-slides-in", 0.6 - 2 * BLIND_MM),
        ("gap-left-in-bore stamp", 0.6 - 2 * BLIND_MM),
        ("gap-left-in-bore plunger", 0.6 - 2 * BLIND_MM),
        ("stop-in-lip stop", 0.8 - 2 * BLIND_MM),
        # The lip is as high wherever the foot hangs, for all walls move together.
        ("lip-before-foot", 1.0),
        # Two lugs 2 wide, the slot 0.6 wider, both smaller by 0.25, over 16 less both ends.
        ("lugs-hold", 2 * (2.0 - 0.6 - 2 * BLIND_MM) * (16.0 - 2 * BLIND_MM)),
        # The highest layer, 0.1 up, passes the cone, lifted by lip and 0.4.
        ("stop-comes-off stop", 15.0 - (10.0 + 6.0 - 1.6 - 0.4 - 0.1) - 2 * BLIND_MM),
        # The disc goes down by the stop's height less its lip.
        ("face-past-rim", 31.6 - 1.6 - 28.4),
        ("room-over-stop stop", 0.0),
    ],
)
def test_what_is_left_is_what_a_drawing_says(blind, question, left):
    # Chords of 64 lie up to 0.12 % inside the circle; eroded regions are 0.002 mm too small.
    assert blind[question].measured == pytest.approx(left, rel=0.01, abs=0.02)


MUTANTS = {
    "gaps 0.4 narrower": ("foot-slides-in", {"gap": 0.2}),
    "mouth without chamfer": ("foot-slides-in", {"mouth": 0.0}),
    "ledge thicker": ("foot-slides-in", {"ledge": 3.1}),
    "roof lower": ("room-over-foot", {"roof_gap": 0.4}),
    "foot longer": ("room-over-foot", {"longer": 1.0}),
    "stem thin over the shoulder": ("shoulder-on-stamp", {"low_stem": 3.2, "vane": 0.5}),
    "no lip": ("lip-before-foot", {"lip": 0.0}),
    "lip of one layer": ("lip-before-foot", {"lip": 0.2}),
    "slot open at both ends": ("lip-before-foot", {"end": 40.0}),
    "lug halved": ("lugs-hold", {"lug": 1.0}),
    "foot short": ("lugs-hold", {"half_length": 2.4}),
    "foot at the mouth": ("foot-moves-in-sleeve", {"land_gap": 6.0, "vane_gap": 6.0}),
    "no key": ("foot-goes-in-turned", {"key": 0.0}),
    "land tight": ("gap-left-in-bore stamp", {"land_gap": 0.35}),
    "vane wide": ("gap-left-in-bore plunger", {"vane_gap": 0.4}),
    "lip of the disc tight": ("stop-in-lip stop", {"lip_gap": 0.4}),
    "stop short": ("room-over-stop stop", {"stop_height": 31.2}),
    "stop tall": ("room-over-stop stop", {"stop_height": 32.0}),
    "stop thin": ("stop-bears stop", {"stop_inside": 29.5}),
    "half a stop": ("stop-bears stop", {"stop_opening": 30.2}),
    "opening of the stop narrow": ("stop-comes-off stop", {"stop_opening": 10.3}),
    "lip of the disc high": ("face-past-rim", {"lip_high": 4.6}),
}


@pytest.mark.parametrize("mutant", MUTANTS)
def test_each_slip_is_found_by_the_question_that_it_breaks(mutant):
    question, sizes = MUTANTS[mutant]
    assert question in failing(printed(replace(Sizes(), **sizes)))


def test_a_wide_first_layer_narrows_the_mouth_of_the_slot():
    assert "foot-slides-in" in failing(printed(flare_mm=0.75))


def test_a_foot_pulled_through_a_slot_without_ledges_is_not_held():
    # The highest lift at which it is free is in the open: what counts is that none is blocked.
    s = Sizes()
    shaft = cylinder(9.0, s.back - 12, s.back + 1)
    loose = failing(printed(s, stamp=stamp(s) - shaft))
    assert loose >= {"lugs-hold", "lip-before-foot"}


def test_the_taper_of_before_jams_and_does_not_hold():
    assert failing(taper_press()) >= {"foot-slides-in", "room-over-foot", "lugs-hold"}


def test_a_plunger_without_a_foot_holds_nothing():
    s = Sizes()
    above = cylinder(40, s.back, 200)
    (lugs, gap) = stamp_fit_findings(printed(s, plunger=plunger(s) ^ above))
    assert (lugs.id, lugs.verdict.value, gap.verdict.value) == ("verify.lugs-hold", "fail", "good")


def test_a_plunger_without_a_disc_lies_on_no_stop():
    s = Sizes()
    bare = found(printed(s, plunger=plunger(s) ^ cylinder(25.4, 0, 200)))
    # The stop's top has nothing over it, and nothing keeps the plunger from going through.
    assert bare["room-over-stop stop"].verdict.value == "fail"
    assert bare["stop-bears stop"].measured == 0.0


def test_a_gap_too_narrow_says_by_how_much_and_a_hold_asks_for_the_gauge():
    tight = found(printed(Sizes(land_gap=0.35, lip=0.0)))
    assert str(tight["gap-left-in-bore stamp"].remedy).startswith(
        "0.15 mm more clearance; or a printer that is true to 0.17 mm"
    )
    assert "gauge" in str(tight["lip-before-foot"].remedy)
    measured = found(printed(Sizes(lip=0.0), is_measured=True))
    assert "calibrate it" in str(measured["lip-before-foot"].remedy)


# A part in layers.


def layers_of(mesh, **ways):
    asked = {"layer_mm": LAYER_MM, "upside_down": False, "low_mm": -np.inf, "high_mm": np.inf}
    return printed_layers(mesh, **(asked | ways))


@pytest.mark.parametrize("upside_down", [False, True])
def test_layers_are_the_sections_that_trimesh_cuts_half_way_up(upside_down):
    made = as_written(mesh_of(stamp()))
    layers = layers_of(made, upside_down=upside_down)
    outside = trimesh.Trimesh(made.vertices, made.triangles, process=True)
    assert len(layers) == 74
    assert len(layers.shapes) < 74
    for row in range(0, 74, 3):
        middle = layers.bottoms_mm[row] + LAYER_MM / 2.0
        loops = outside.section(plane_origin=[0, 0, middle], plane_normal=[0, 0, 1])
        area = loops.to_2D()[0].area
        # Corners up to 0.0005 mm off the line between their neighbours are left out.
        assert layers.layer(row).area == pytest.approx(area, abs=0.2)


def test_the_first_layer_lies_on_the_bed_and_the_last_may_be_left_out():
    # 10.05 mm are 50 layers: the last is printed only if the part reaches its middle.
    standing = layers_of(as_written(mesh_of(cylinder(5, 0, 10.05))))
    hanging = layers_of(as_written(mesh_of(cylinder(5, 0, 10.05))), upside_down=True)
    assert (len(standing), standing.low_mm) == (50, 0.0)
    assert (len(hanging), hanging.low_mm) == (50, pytest.approx(0.05, abs=1e-5))
    assert standing.on_bed[standing.kinds].tolist() == [True] + [False] * 49
    assert hanging.on_bed[hanging.kinds].tolist() == [False] * 49 + [True]
    assert len(standing.shapes) == 2
    assert standing.layer(50).is_empty


def test_layers_of_a_cone_all_differ_and_a_part_of_them_can_be_asked_for():
    tall = as_written(mesh_of(cone(10, 5, 0, 10)))
    some = layers_of(tall, low_mm=2.0, high_mm=6.0)
    assert some.bottoms_mm[[0, -1]] == pytest.approx([2.0, 5.8])
    assert len(some.shapes) == 20
    radii = [np.sqrt(shape.area / pi) for shape in some.shapes]
    # The section of a cone half-way up each layer, as a 256-gon: 0.02 % less area.
    assert radii == pytest.approx([10 - (z + 0.1) / 2 for z in some.bottoms_mm], rel=2e-4)


@pytest.mark.parametrize(
    ("shape", "area"),
    [
        pytest.param(shapely.box(0, 0, 6, 4), (6 - 0.5) * (4 - 0.5), id="(a - 2e)(b - 2e)"),
        pytest.param(shapely.Point(0, 0).buffer(5, 64), pi * 4.75**2, id="pi (r - e)^2"),
        pytest.param(
            shapely.box(-9, -9, 9, 9) - shapely.box(-2, -2, 2, 2),
            17.5**2 - (16 + 4 * 4 * 0.25 + pi * 0.25**2),
            id="a hole of side a grows to a^2 + 4 a e + pi e^2 (Steiner)",
        ),
    ],
)
def test_a_smaller_region_is_at_most_as_large_as_the_true_one(shape, area):
    (made,) = eroded(np.array([shape]), 0.25)
    assert made.area <= area + 1e-9
    # At most 1 % of e too small along the edge.
    assert made.area == pytest.approx(area, abs=0.0025 * shape.length + 0.02)


@pytest.mark.parametrize("quarter_turns", [0, 1, 2, 3])
def test_what_a_region_passes_over_is_exact(quarter_turns):
    disc = shapely.Point(3, 1).buffer(2.0, 64)
    # A stadium: the disc, and a rectangle as wide as the disc and as long as the way.
    stadium = disc.area + 4.0 * FAR_MM
    assert swept(disc, quarter_turns).area == pytest.approx(stadium, rel=1e-9)


def test_what_a_letter_c_passes_over_fills_its_opening_to_the_front_only():
    ring = shapely.Point(0, 0).buffer(10, 64) - shapely.Point(0, 0).buffer(8, 64)
    letter = ring - shapely.box(-20, -5, 0, 5)  # open towards -x
    steps = [
        shapely.transform(letter, lambda p, x=x: p + np.array([x, 0.0]))
        for x in np.arange(0, 40, 0.1)
    ]
    window = shapely.box(-20, -20, 20, 20)
    exact = swept(letter) & window
    # Steps of 0.1 leave scallops.
    assert shapely.union_all(steps).intersection(window).area == pytest.approx(exact.area, abs=0.5)
    assert not exact.contains(shapely.Point(-9, 0))
