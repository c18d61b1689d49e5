from math import cos, pi, radians, sin, sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from manifold3d import CrossSection, Manifold
from verify.presses import BORE_MM, HEIGHT_MM, sleeve, stamp
from verify.shapes import as_written, cone, cylinder, mesh_of

from moulddesign.core import SpecError
from moulddesign.fit import press_volume_mm3
from moulddesign.geometry import Mesh, box
from moulddesign.geometry.fill_volume import Up, find_cavities, upright
from moulddesign.geometry.topology import welded

SIDES = 512


def block(*tools, size=(80, 80, 40), top=0.0):
    body = Manifold.cube(list(size)).translate([-size[0] / 2, -size[1] / 2, top - size[2]])
    for tool in tools:
        body -= tool
    return body


def part(body):
    """Return a body as a file holds it: float32 steps roughen the rim by up to 4e-6 mm."""
    return welded(as_written(mesh_of(body)))


def volumes(body, up=Up.PLUS_Z):
    mesh = body if isinstance(body, Mesh) else part(body)
    return [c.volume_mm3 for c in find_cavities(mesh, up)]


def ellipsoid(a, b, c, sides=SIDES):
    return Manifold.sphere(1.0, sides).scale([a, b, c])


def torus(ring, tube):
    circle = CrossSection.circle(tube, 256).translate([ring, 0])
    return Manifold.revolve(circle, SIDES)


def frustum(mouth, floor, depth):
    """Return a square frustum, mouth up at z = 0."""
    profile = CrossSection.square([1, 1], center=True)
    taper = floor / mouth
    return Manifold.extrude(profile, depth, scale_top=[taper, taper]).scale([mouth, mouth, -1])


def deficit(sides):
    """Share by which a regular polygon's area falls short of its circle's."""
    return 1 - sin(2 * pi / sides) * sides / 2 / pi


CUPS = [
    pytest.param(
        lambda: frustum(40, 20, 60), 56 * 1000, id="Moscow papyrus, problem 14, tenfold"
    ),
    pytest.param(
        lambda: cone(10, 25, -20, 0, SIDES), pi * 20 * (625 + 250 + 100) / 3,
        id="cone frustum pi h (R2 + R r + r2) / 3",
    ),
    pytest.param(
        lambda: ellipsoid(30, 30, 30).translate([0, 0, 10]), pi * 20**2 * (90 - 20) / 3,
        id="spherical cap pi h2 (3 R - h) / 3",
    ),
    pytest.param(lambda: torus(25, 8), pi**2 * 25 * 64, id="half a torus, pi2 R r2"),
    pytest.param(
        lambda: ellipsoid(30, 20, 12), 2 / 3 * pi * 30 * 20 * 12, id="half an ellipsoid"
    ),
]  # fmt: skip


@pytest.mark.parametrize(("tool", "published"), CUPS)
def test_a_cup_holds_its_closed_form(tool, published):
    (found,) = volumes(block(tool(), size=(80, 80, 70)))
    # Facets of 512 and 256 sides fall short by less than 3 (2 pi / 256)^2 / 6 = 0.03 %.
    assert found == pytest.approx(published, rel=0.001)
    assert found <= published * (1 + 1e-6)


@pytest.mark.parametrize("up", list(Up))
def test_a_cup_turned_any_way_holds_the_same_and_no_other_way(up):
    mould = part(block(ellipsoid(30, 20, 12, 128)))
    poses = {
        Up.PLUS_Z: [0, 0, 0], Up.MINUS_Z: [180, 0, 0], Up.PLUS_Y: [-90, 0, 0],
        Up.MINUS_Y: [90, 0, 0], Up.PLUS_X: [0, 90, 0], Up.MINUS_X: [0, -90, 0],
    }  # fmt: skip
    turned = part(block(ellipsoid(30, 20, 12, 128)).rotate(poses[up]))
    assert volumes(turned, up) == pytest.approx(volumes(mould), rel=1e-6)
    assert all(volumes(turned, other) == [] for other in Up if other is not up)


@pytest.mark.parametrize("up", list(Up))
def test_turning_upright_never_mirrors(up):
    turned = upright(box((0, 0, 0), (1, 2, 3)), up)
    assert turned.volume_mm3 == pytest.approx(6.0)
    sign, axis = float(up[0] + "1"), "xyz".index(up[1])
    high = turned.bounds[1, 2] if sign > 0 else -turned.bounds[0, 2]
    assert high == (1, 2, 3)[axis]


def test_several_cups_in_one_block_are_told_apart_largest_first():
    cups = [cylinder(8, -d, 1).translate([x, 0, 0]) for x, d in ((-25, 5), (0, 10), (25, 20))]
    area = pi * 64 * (1 - deficit(256))
    assert volumes(block(*cups)) == pytest.approx([20 * area, 10 * area, 5 * area], rel=1e-5)


def test_each_cup_is_filled_to_its_own_rim():
    step = block(size=(40, 40, 40)).translate([-20, 0, 0]) + block(
        size=(40, 40, 30), top=-10.0
    ).translate([20, 0, 0])
    mould = step - cylinder(10, -25, 1).translate([-20, 0, 0])
    mould -= cylinder(10, -30, 1).translate([20, 0, 0])
    area = pi * 100 * (1 - deficit(256))
    found = find_cavities(part(mould))
    assert [c.volume_mm3 for c in found] == pytest.approx([25 * area, 20 * area], rel=1e-5)
    assert [c.rim_mm for c in found] == pytest.approx([0.0, -10.0], abs=1e-5)
    assert [c.depth_mm for c in found] == pytest.approx([25.0, 20.0], abs=1e-5)
    assert [c.mouth_mm2 for c in found] == pytest.approx([area, area], rel=1e-5)


def test_a_spout_sets_the_level():
    notch = Manifold.cube([40, 6, 5]).translate([0, -3, -4])
    cup = block(cylinder(20, -20, 1), notch)
    (found,) = find_cavities(part(cup))
    assert found.rim_mm == pytest.approx(-4.0, abs=1e-5)
    assert found.volume_mm3 == pytest.approx(pi * 400 * 16 * (1 - deficit(256)), rel=1e-4)


@pytest.mark.parametrize("lean", [2.0, 5.0, 10.0])
def test_a_tilted_bowl_spills_at_the_lowest_point_of_its_rim(lean):
    """A level cuts a ball in a cap whatever the lean: pi h^2 (3 R - h) / 3."""
    ball, rim = 30.0, 20.0  # the bowl's sphere, and the radius of its rim on the block's top
    rise = sqrt(ball**2 - rim**2)
    bowl = block(ellipsoid(ball, ball, ball).translate([0, 0, rise])).rotate([lean, 0, 0])
    # The sphere's middle stands `rise` over the rim's plane; its lowest rim point leans down.
    level = -rim * sin(radians(lean))
    cap = ball - (rise * cos(radians(lean)) - level)
    (found,) = find_cavities(part(bowl))
    # The polygon's corner next to the lowest point is up to 20 (1 - cos(pi / 512)) off: 0.4 um.
    assert found.rim_mm == pytest.approx(level, abs=0.003)
    assert found.volume_mm3 == pytest.approx(pi * cap**2 * (3 * ball - cap) / 3, rel=0.001)


def test_a_low_wall_inside_is_under_water():
    wall = Manifold.cube([2, 40, 10]).translate([-1, -20, -20])
    cup = block(cylinder(18, -20, 1)) + (wall ^ cylinder(18, -20, 0))
    (found,) = volumes(cup)
    without = pi * 324 * 20 * (1 - deficit(256))
    chord = 36 - 2 / 3 * (18 - sqrt(18**2 - 1))  # mean length of a strip of 2 mm across the disc
    assert found == pytest.approx(without - 2 * 10 * chord, rel=1e-4)


def test_a_cup_wider_inside_than_its_mouth_is_filled_to_its_walls():
    (found,) = volumes(block(cylinder(10, -5, 1), cylinder(20, -15, -5)))
    assert found == pytest.approx(pi * (100 * 5 + 400 * 10) * (1 - deficit(256)), rel=1e-5)


@pytest.mark.parametrize(
    "body",
    [
        pytest.param(block, id="a plain block"),
        pytest.param(lambda: block(cylinder(20, -41, 1)), id="a hole right through"),
        pytest.param(
            lambda: block(cylinder(20, -20, 1), cylinder(2, -41, 1)), id="a hole in the floor"
        ),
        pytest.param(
            lambda: block(Manifold.cube([100, 20, 20]).translate([-50, -10, -20])),
            id="an open channel",
        ),
        pytest.param(
            lambda: block(Manifold.sphere(10, 64).translate([0, 0, -20])), id="a sealed hollow"
        ),
        pytest.param(
            lambda: block(cylinder(10, 0, 50, 64).rotate([0, 90, 0]).translate([0, 0, -20])),
            id="a mouth to the side",
        ),
        pytest.param(lambda: block(cylinder(20, -0.15, 1)), id="a dent"),
        pytest.param(lambda: Manifold.sphere(20, 64), id="a ball"),
    ],
)
def test_what_holds_nothing(body):
    assert volumes(body()) == []


def test_lettering_beside_a_cup_is_left_out():
    letter = Manifold.cube([10, 1, 0.6]).translate([25, 25, -0.6])
    assert len(volumes(block(cylinder(20, -20, 1), letter))) == 1


def test_a_thing_that_hangs_into_the_cup_takes_room_and_opens_no_leak():
    bar = Manifold.cube([80, 4, 4]).translate([-40, -2, 0])
    drop = cylinder(2, -8, 1)
    (found,) = volumes(block(cylinder(20, -20, 1)) + bar + drop)
    expected = pi * (400 * 20 - 4 * 8) * (1 - deficit(256))
    assert found == pytest.approx(expected, rel=1e-4)


LENGTH = st.floats(6.0, 30.0)


@pytest.mark.parametrize("examples", [12, pytest.param(100, marks=pytest.mark.slow)])
def test_random_cups_in_random_poses(examples):
    @given(
        a=LENGTH, b=LENGTH, c=LENGTH, turn=st.floats(0.0, 360.0), x=st.floats(-500, 500),
        z=st.floats(-500, 500), shape=st.sampled_from(["ellipsoid", "cone", "box"]),
    )  # fmt: skip
    @settings(max_examples=examples)
    def holds_its_closed_form(a, b, c, turn, x, z, shape):
        sides = 256
        tool, volume = {
            "ellipsoid": (ellipsoid(a, b, c, sides), 2 / 3 * pi * a * b * c),
            "cone": (cone(a / 2, a, -c, 0, sides), pi * c * a * a * (1 + 0.5 + 0.25) / 3),
            "box": (Manifold.cube([a, b, 2 * c], center=True), a * b * c),
        }[shape]  # fmt: skip
        mould = block(tool).rotate([0, 0, turn]).translate([x, -x, z])
        (found,) = volumes(mould)
        # Sphere facets fall short by up to 3 / 6 (2 pi / 256)^2 = 0.03 %; float32 at 500 mm: 3e-5.
        assert found == pytest.approx(volume, rel=0.001)

    holds_its_closed_form()


def test_a_mesh_that_bounds_no_solid_is_refused():
    cup = part(block(cylinder(20, -20, 1)))
    with pytest.raises(SpecError, match=r"3 open, 0 crowded and 0 clashing edges; ask .* mended"):
        find_cavities(Mesh(cup.vertices, cup.triangles[1:]))
    with pytest.raises(SpecError, match="inside out"):
        find_cavities(cup.inside_out())


@pytest.mark.parametrize("height", [8.0, 20.0, 30.0])
@pytest.mark.parametrize("turned", [False, True])
def test_a_press_holds_bore_times_height_and_the_engraving(height, turned):
    engraving = cone(10, 8, HEIGHT_MM, HEIGHT_MM + 2)
    made = stamp(engraved=[engraving]).turned_over().moved((7.0, -3.0, 99.0))
    stand = sleeve().turned_over() if turned else sleeve()
    disc = pi * (1 - deficit(256))
    expected = disc * (BORE_MM**2 * height + 2 * (100 + 80 + 64) / 3)
    assert press_volume_mm3(stand, made, height_mm=height) == pytest.approx(expected, abs=0.05)


@pytest.mark.parametrize("height", [0.0, -1.0, 50.0, float("nan")])
def test_a_press_height_outside_the_sleeve_is_refused(height):
    with pytest.raises(SpecError, match=r"height_mm = .* inside the sleeve"):
        press_volume_mm3(sleeve(), stamp().turned_over(), height_mm=height)


def test_a_stamp_that_does_not_enter_is_refused():
    with pytest.raises(SpecError, match="must be narrower than the sleeve's bore"):
        press_volume_mm3(sleeve(), stamp(clearance_mm=-0.2).turned_over(), height_mm=20.0)
    with pytest.raises(SpecError, match="must have a bore"):
        press_volume_mm3(box((0, 0, 0), (9, 9, 9)), stamp(), height_mm=5.0)


@pytest.mark.slow
def test_two_million_triangles_in_20_seconds_and_2_gb(tmp_path):
    """In a process of its own, for the peak of memory is the process's."""
    import resource  # noqa: PLC0415
    import subprocess  # noqa: PLC0415
    import sys  # noqa: PLC0415

    import trimesh  # noqa: PLC0415

    body = mesh_of(block(Manifold.sphere(30.0, 2812)))
    assert 1_900_000 < len(body.triangles) <= 2_000_000
    trimesh.Trimesh(body.vertices, body.triangles, process=False).export(tmp_path / "cup.stl")
    code = (
        "import sys\nfrom moulddesign.geometry.mesh_files import read_mesh\n"
        "from moulddesign.geometry.fill_volume import find_cavities\n"
        "(cup,) = find_cavities(read_mesh(sys.argv[1]))\nprint(cup.volume_mm3)"
    )
    ran = subprocess.run(  # noqa: S603
        [sys.executable, "-c", code, str(tmp_path / "cup.stl")],
        check=True, capture_output=True, text=True,
    )  # fmt: skip
    spent = resource.getrusage(resource.RUSAGE_CHILDREN)
    # Seconds of the processor: those on the clock depend on what else the machine does.
    assert spent.ru_utime + spent.ru_stime < 20.0
    assert spent.ru_maxrss < 2_000_000  # kB
    assert float(ran.stdout) == pytest.approx(2 / 3 * pi * 30**3, rel=0.001)


def test_float_noise_of_a_flat_rim_opens_no_leak():
    cup = part(block(cylinder(20, -20, 1, SIDES)))
    noise = np.random.default_rng(5).normal(0.0, 1e-5, cup.vertices.shape)
    (found,) = volumes(Mesh(cup.vertices + noise, cup.triangles))
    assert found == pytest.approx(pi * 400 * 20 * (1 - deficit(SIDES)), rel=1e-4)
