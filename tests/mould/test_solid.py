import subprocess
import sys
from math import cos, pi, sin

import numpy as np
import pytest
from mould.judge import body, bounds_mm, read_back
from shapely import Polygon as Shape

from moulddesign.artwork.outline import polygon_outline, scalloped_outline
from moulddesign.core import KernelError, SpecError
from moulddesign.mould import cad_kernel, faceted
from moulddesign.mould.cad_kernel import (
    fuse,
    intersect,
    loft,
    revolve,
    rotate_quarter,
    subtract,
    translate,
    upright_prism,
)
from moulddesign.mould.plans import (
    ArcPolyline,
    CircleCurve,
    StraightPolyline,
    parallel_curve,
    surrounding_curve,
)

# The kernel integrates planes, cylinders and cones in closed form: round-off only.
EXACT = 1e-12


def square(side_mm, radius_mm):
    return ArcPolyline(arcs=polygon_outline("square", side_mm, radius_mm).arcs)


@pytest.mark.parametrize(
    ("low", "high", "height", "published"),
    [
        pytest.param(
            square(4.0, 0.0), square(2.0, 0.0), 6.0, 56.0,
            id="Moscow Mathematical Papyrus, problem 14",
        ),
        pytest.param(
            CircleCurve(radius_mm=5.0), CircleCurve(radius_mm=5.0), 7.0, pi * 25.0 * 7.0,
            id="cylinder, pi r^2 h",
        ),
        pytest.param(
            CircleCurve(radius_mm=5.0), CircleCurve(radius_mm=2.0), 7.0,
            pi * 7.0 * (25.0 + 10.0 + 4.0) / 3.0,
            id="cone frustum, pi h (R^2 + R r + r^2) / 3",
        ),
        pytest.param(
            square(60.0, 6.0), square(60.0, 6.0), 20.0, (3600.0 - (4.0 - pi) * 36.0) * 20.0,
            id="rounded square, a^2 - (4 - pi) r^2",
        ),
        pytest.param(
            square(60.0, 30.0), square(60.0, 30.0), 20.0, pi * 900.0 * 20.0,
            id="rounded square whose corners meet is a circle",
        ),
    ],
)  # fmt: skip
def test_volume_between_sections_is_the_published_one(low, high, height, published):
    made = loft([(3.0, low), (3.0 + height, high)], "a body")
    assert made.volume_mm3 == pytest.approx(published, rel=EXACT)


def test_turned_profile_has_the_volume_of_pappus():
    # Pappus: area times the way of its centroid; a square of side 2, centred 5 from the axis.
    made = revolve([(4.0, 0.0), (6.0, 0.0), (6.0, 2.0), (4.0, 2.0)], "a ring")
    assert made.volume_mm3 == pytest.approx(4.0 * 2.0 * pi * 5.0, rel=EXACT)


def test_crossing_plates_share_the_square_column_in_the_middle():
    profile = [(-5.0, 0.0), (5.0, 0.0), (5.0, 4.0), (-5.0, 4.0)]
    flat = upright_prism(profile, 2.0, "a plate")
    crossing = rotate_quarter(flat)
    whole, middle = fuse([flat, crossing], "a cross"), intersect(flat, crossing, "a column")
    assert middle.volume_mm3 == pytest.approx(2.0 * 2.0 * 4.0, rel=EXACT)
    assert whole.volume_mm3 + middle.volume_mm3 == pytest.approx(2.0 * 80.0, rel=EXACT)
    rest = subtract(flat, translate(crossing, (4.0, 0.0, 0.0)), "a shortened plate")
    assert rest.volume_mm3 == pytest.approx(80.0 - 2.0 * 2.0 * 4.0, rel=EXACT)


@pytest.mark.parametrize("radius_mm", [4.0, 30.0])
def test_cylinder_is_the_prism_of_a_regular_polygon_within_the_tolerance(radius_mm):
    circle = CircleCurve(radius_mm=radius_mm)
    mesh = faceted.loft([(0.0, circle), (10.0, circle)], "a cylinder")
    assert np.hypot(*mesh.vertices[:, :2].T) == pytest.approx(radius_mm, rel=EXACT)
    corners = len(mesh.vertices) / 2
    # A chord over the angle 2 pi / n leaves a sagitta of r (1 - cos(pi / n)).
    assert radius_mm * (1.0 - cos(pi / corners)) <= 0.005
    polygon_mm2 = corners / 2.0 * radius_mm**2 * sin(2.0 * pi / corners)
    assert body(mesh).volume == pytest.approx(polygon_mm2 * 10.0, rel=1e-9)


def test_facets_are_closed_wound_alike_and_the_same_again():
    rounded, round_ = square(60.0, 6.0), CircleCurve(radius_mm=9.0)

    def made():
        block = faceted.loft([(0.0, rounded.inset(0.6)), (0.6, rounded), (20.0, rounded)], "a")
        return faceted.subtract(block, faceted.loft([(1.0, round_), (30.0, round_)], "b"), "c")

    first, again = made(), made()
    assert body(first).euler_number == 2  # a blind hole adds no handle
    assert np.array_equal(first.vertices, again.vertices)
    assert np.array_equal(first.triangles, again.triangles)


@pytest.mark.parametrize("draw", [cad_kernel, faceted], ids=["exact", "faceted"])
def test_a_move_carries_the_body(draw):
    cone = [(0.0, CircleCurve(radius_mm=5.0)), (8.0, CircleCurve(radius_mm=3.0))]
    made = draw.loft(cone, "a cone")
    posed = draw.translate(made, (1.0, 2.0, 30.0))
    assert bounds_mm(posed) == pytest.approx(np.array([[-4, -3, 30], [6, 7, 38]]), abs=1e-4)
    assert posed.volume_mm3 == pytest.approx(made.volume_mm3, rel=EXACT)


@pytest.mark.parametrize("draw", [cad_kernel, faceted], ids=["exact", "faceted"])
def test_sharp_hexagon_eases_to_a_smaller_one(draw):
    flats = 20.0
    hexagon = ArcPolyline(arcs=polygon_outline("hexagon", flats, 0.0).arcs)
    body_ = draw.loft([(0.0, hexagon), (5.0, hexagon), (6.0, hexagon.inset(1.0))], "a hexagon")
    # A regular hexagon w across the flats has the area sqrt(3) / 2 w^2.
    area = 3.0**0.5 / 2.0 * np.array([flats**2, (flats - 2.0) ** 2])
    frustum = (area.sum() + np.sqrt(area.prod())) / 3.0
    assert body_.volume_mm3 == pytest.approx(area[0] * 5.0 + frustum, rel=EXACT)


def test_facets_and_exact_surfaces_are_the_same_body():
    profile = [(0.0, 0.0), (6.0, 0.0), (4.0, 5.0), (0.0, 5.0)]
    flat = [(-9.0, 1.0), (9.0, 1.0), (7.0, 4.0), (-9.0, 4.0)]
    rounded = square(20.0, 3.0)
    sections = [(-1.0, rounded), (0.0, rounded), (1.0, rounded.inset(1.0)), (3.0, rounded)]

    def drawn(draw):
        bar = draw.rotate_quarter(draw.upright_prism(flat, 3.0, "a bar"))
        cone = draw.translate(draw.revolve(profile, "a cone"), (1.0, 0.0, 0.0))
        whole = draw.fuse([draw.loft(sections, "a block"), bar, cone], "a body")
        hole = draw.loft(
            [(2.0, CircleCurve(radius_mm=1.5)), (9.0, CircleCurve(radius_mm=2.0))], "a hole"
        )
        cut = draw.subtract(whole, hole, "a body")
        return draw.intersect(cut, draw.translate(whole, (0.5, 0.5, 0.0)), "a rest")

    exact, facets = drawn(cad_kernel), drawn(faceted)
    assert body(facets).volume == pytest.approx(exact.volume_mm3, abs=0.005 * exact.area_mm2)
    assert facets.bounds == pytest.approx(bounds_mm(exact), abs=0.005)


def test_drawn_outline_eases_to_its_parallel():
    ell = np.array([(0, 0), (20, 0), (20, 10), (10, 10), (10, 20), (0, 20)], dtype=float)
    # Two bars of 18 x 8 and 8 x 10, and what the arc of 1 round the reflex corner leaves of 1 x 1.
    inner = StraightPolyline(points=ell).inset(1.0)
    by_hand = 144.0 + 80.0 + 1.0 - pi / 4.0
    assert Shape(inner.points).area == pytest.approx(by_hand, abs=1e-3)  # chords of 5e-4 mm
    with pytest.raises(SpecError, match=r"too finely notched"):
        StraightPolyline(points=ell).inset(6.0)


def test_lobes_too_narrow_for_the_way_out_are_refused():
    lobed = scalloped_outline(60.0, 12, 2.0)
    with pytest.raises(SpecError, match=r"valleys too narrow"):
        parallel_curve(lobed, 10.0)
    assert surrounding_curve(lobed, 10.0) == CircleCurve(radius_mm=pytest.approx(40.0))


def test_bodies_that_do_not_meet_are_refused():
    a, b = (
        loft([(z, CircleCurve(radius_mm=1.0)), (z + 1, CircleCurve(radius_mm=1.0))], "a disc")
        for z in (0, 5)
    )
    with pytest.raises(KernelError, match=r"Making a pair failed: 2 bodies came out"):
        fuse([a, b], "a pair")


def test_nothing_left_is_refused():
    small = loft([(0.0, CircleCurve(radius_mm=1.0)), (1.0, CircleCurve(radius_mm=1.0))], "a disc")
    large = loft([(-1.0, CircleCurve(radius_mm=2.0)), (2.0, CircleCurve(radius_mm=2.0))], "a disc")
    with pytest.raises(KernelError, match=r"Making a hole failed: 0 bodies came out"):
        subtract(small, large, "a hole")


def test_kernels_own_failure_is_one_sentence():
    with pytest.raises(KernelError, match=r"Making a flat thing failed: "):
        revolve([(0.0, 0.0), (1.0, 0.0), (2.0, 0.0)], "a flat thing")


def test_step_file_holds_the_same_body(tmp_path):
    made = loft([(0.0, CircleCurve(radius_mm=5.0)), (8.0, CircleCurve(radius_mm=3.0))], "a cone")
    assert read_back(made, tmp_path).Volume() == pytest.approx(made.volume_mm3)


WITHOUT_KERNEL = """
import sys
from moulddesign.core import KernelError
from moulddesign.mould.plans import CircleCurve
from moulddesign.mould.cad_kernel import loft
print("cadquery" in sys.modules, "OCP" in sys.modules)
class Missing:
    def find_spec(self, name, path=None, target=None):
        if name.split(".")[0] in ("cadquery", "OCP"):
            raise ImportError(self.said)
sys.meta_path.insert(0, Missing())
for Missing.said in sys.argv[1:]:
    try:
        loft([(0.0, CircleCurve(radius_mm=1.0)), (1.0, CircleCurve(radius_mm=1.0))], "a disc")
    except KernelError as error:
        print(error)
"""
MISSING = {
    # A bare Debian.
    "libGL.so.1: cannot open shared object file: No such file or directory": (
        "the system library libGL.so.1 is missing; install it, on Debian or Ubuntu with "
        "apt-get install libgl1."
    ),
    "No module named 'OCP'": (
        "the CAD kernel cannot be imported (No module named 'OCP'); install this program again."
    ),
}
"""What an import says, and the sentence that a person reads."""


def test_kernel_is_loaded_by_the_first_body_and_where_it_is_missing_the_cure_is_said():
    ran = subprocess.run(  # noqa: S603 (our own text)
        [sys.executable, "-c", WITHOUT_KERNEL, *MISSING],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    loaded, *said = ran.stdout.splitlines()
    assert loaded == "False False"
    assert said == [f"Making a body in the CAD kernel failed: {one}" for one in MISSING.values()]
