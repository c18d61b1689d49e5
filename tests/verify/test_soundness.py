import numpy as np
import pytest
from verify.shapes import cylinder, mesh_of, primitive

from moulddesign.core import DESIGN, Verdict, say
from moulddesign.geometry import Mesh, box, joined
from moulddesign.verify.soundness import MOST_TRIANGLES, soundness, volume_finding, volume_mm3

VOLUME = say("building.volume")


def verdicts(mesh):
    return {f.name.removeprefix("part: "): f.verdict.value for f in soundness(mesh, part="part")}


def measured(mesh, name):
    (found,) = [f.measured for f in soundness(mesh, part="part") if f.name == f"part: {name}"]
    return found


@pytest.mark.parametrize(
    "mesh",
    [
        pytest.param(primitive("icosphere", subdivisions=3, radius=20), id="trimesh, icosphere"),
        pytest.param(primitive("annulus", r_min=5, r_max=9, height=4), id="trimesh, annulus"),
        pytest.param(primitive("torus", major_radius=9, minor_radius=2), id="trimesh, torus"),
    ],
)
def test_a_sound_solid_is_good_in_everything(mesh):
    assert set(verdicts(mesh).values()) == {"good"}


def test_each_hole_shows_its_three_edges():
    cube = box((0, 0, 0), (10, 10, 10))
    assert measured(Mesh(cube.vertices, cube.triangles[1:]), "open edges") == 3


def test_a_flipped_facet_clashes_with_its_three_neighbours():
    cube = box((0, 0, 0), (10, 10, 10))
    flipped = np.vstack([cube.triangles[:1, ::-1], cube.triangles[1:]])
    assert measured(Mesh(cube.vertices, flipped), "edges wound against each other") == 3


def test_an_inside_out_solid_fails_by_its_volume_alone():
    found = verdicts(box((0, 0, 0), (10, 10, 10)).inside_out())
    assert [name for name, verdict in found.items() if verdict != "good"] == ["volume is positive"]


def test_two_bodies_are_counted():
    apart = joined([box((0, 0, 0), (1, 1, 1)), box((5, 0, 0), (6, 1, 1))])
    assert measured(apart, "bodies") == 2


def test_two_cubes_on_one_edge_crowd_it():
    touching = joined([box((0, 0, 0), (1, 1, 1)), box((1, 1, 0), (2, 2, 1))])
    assert measured(touching, "edges of more than two triangles") == 1


def test_a_sliver_below_the_step_of_float32_collapses():
    # One float32 step at 100 mm is 7.6e-6 mm (IEEE 754: 24 bits), so 1e-6 mm is lost.
    prism = mesh_of(cylinder(5, 0, 2, sides=4)).moved((100.0, 0.0, 0.0))
    points = np.vstack([prism.vertices, prism.vertices[:1] + np.array((1e-6, 0, 0))])
    sliver = np.vstack([prism.triangles, [[0, len(points) - 1, 1]]])
    assert measured(Mesh(points, sliver), "triangles that collapse in the file") == 1


def test_a_needle_without_area_fails():
    cube = box((0, 0, 0), (10, 10, 10))
    points = np.vstack([cube.vertices, (cube.vertices[:1] + cube.vertices[1:2]) / 2])
    needle = Mesh(points, np.vstack([cube.triangles, [[0, 8, 1]]]))
    assert verdicts(needle)["triangles without area"] == "fail"


def test_a_body_that_passes_through_itself_fails():
    cube = box((0, 0, 0), (10, 10, 10))
    pair = joined([cube, cube.moved((5.0, 5.0, 5.0))])
    assert verdicts(pair)["facets that pass through each other"] == "fail"
    assert verdicts(cube)["facets that pass through each other"] == "good"


def test_so_large_a_mesh_is_not_searched():
    cube = box((0, 0, 0), (10, 10, 10))
    many = joined([cube] * (MOST_TRIANGLES // 12 + 1))
    assert verdicts(many)["facets that pass through each other"] == "warn"


@pytest.mark.parametrize(
    ("share", "verdict"),
    [(0.0009, Verdict.GOOD), (-0.0009, Verdict.GOOD), (0.0011, Verdict.FAIL)],
)
def test_volume_is_judged_at_a_thousandth(share, verdict):
    found = volume_finding(
        VOLUME, measured_mm3=60_000 * (1 + share), target_mm3=60_000, source=DESIGN
    )
    assert (found.verdict, str(found.limit)) == (verdict, "60.0000 within 0.10 %")


def test_a_volume_that_is_not_a_number_fails():
    found = volume_finding(VOLUME, measured_mm3=float("nan"), target_mm3=1.0, source=DESIGN)
    assert found.verdict is Verdict.FAIL


def test_volume_of_a_corner_cut_from_a_box_is_a_sixth_of_it():
    # Tetrahedron with legs a, b, c along the axes: a b c / 6 (MathWorld, "Trirectangular
    # Tetrahedron"); nothing about it is symmetric.
    corner = np.array([[1, 2, 3], [4, 2, 3], [1, 6, 3], [1, 2, 8]])
    mesh = Mesh(corner, np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]))
    assert volume_mm3(mesh) == pytest.approx(10.0, rel=1e-12)
    assert volume_mm3(mesh.inside_out()) == pytest.approx(-10.0, rel=1e-12)
