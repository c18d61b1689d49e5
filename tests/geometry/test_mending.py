import numpy as np
import pytest
import trimesh
from verify.shapes import mesh_of, primitive

from moulddesign.core import SpecError
from moulddesign.geometry import Mesh, box, joined, sides_and_heights_mm
from moulddesign.geometry.mending import in_float32, mended
from moulddesign.geometry.topology import topology, welded
from moulddesign.verify.soundness import facts

CUBE = box((0, 0, 0), (10, 10, 10))
BALL = welded(primitive("icosphere", subdivisions=3, radius=20))
PRINTER = {"bed_mm": (220.0, 220.0, 250.0), "line_mm": 0.42, "layer_mm": 0.2}


def without(mesh, *rows):
    return Mesh(mesh.vertices, np.delete(mesh.triangles, rows, axis=0))


def flipped(mesh, *rows):
    triangles = mesh.triangles.copy()
    triangles[list(rows)] = triangles[list(rows), ::-1]
    return Mesh(mesh.vertices, triangles)


def said(done):
    return tuple(map(str, done))


def test_what_needs_nothing_is_left_alone():
    mesh, done = mended(BALL)
    assert said(done) == ()
    assert np.array_equal(mesh.triangles, BALL.triangles)


@pytest.mark.parametrize("rows", [(0,), (0, 1), (0, 40), tuple(range(0, 60, 7))])
def test_holes_of_a_box_are_closed_to_the_same_volume(rows):
    fine = welded(mesh_of(trimesh.creation.box((10, 10, 10)).subdivide()))
    mesh, done = mended(without(fine, *(row % len(fine.triangles) for row in rows)))
    assert topology(mesh).solid
    # A flat hole inside a face gets its face back; one around an edge loses a corner of it.
    assert mesh.volume_mm3 == pytest.approx(1000.0, rel=0.05)
    assert said(done)[-1].endswith("closed")


def test_a_missing_lid_is_put_back_exactly():
    mesh, done = mended(Mesh(CUBE.vertices, CUBE.triangles[CUBE.corners[:, :, 2].min(axis=1) < 10]))
    assert mesh.volume_mm3 == pytest.approx(1000.0, rel=1e-12)
    assert said(done) == ("1 hole was closed",)


def test_flipped_facets_are_turned_back():
    mesh, done = mended(flipped(BALL, 3, 4, 5, 100))
    assert mesh.volume_mm3 == pytest.approx(BALL.volume_mm3, rel=1e-12)
    assert "4 facets were turned over" in said(done)


def test_an_inside_out_body_is_turned():
    mesh, done = mended(CUBE.inside_out())
    assert (mesh.volume_mm3, said(done)) == (1000.0, ("the whole was turned inside out",))


def test_double_facets_are_dropped():
    mesh, done = mended(Mesh(CUBE.vertices, np.vstack([CUBE.triangles, CUBE.triangles[:2]])))
    assert (mesh.volume_mm3, said(done)) == (1000.0, ("2 collapsed or double facets were dropped",))


def test_a_seam_is_joined():
    soup = CUBE.corners.copy()
    soup[:2] += 1e-4
    mesh, done = mended(Mesh(soup.reshape(-1, 3), np.arange(36).reshape(-1, 3)))
    assert topology(mesh).solid
    assert mesh.volume_mm3 == pytest.approx(1000.0, abs=0.1)  # 1e-4 mm on 600 mm2
    assert "corners were joined" in said(done)[0]


def test_a_facet_without_area_is_taken_out():
    middle = (CUBE.vertices[CUBE.triangles[0, 0]] + CUBE.vertices[CUBE.triangles[0, 1]]) / 2.0
    (a, b, c), rest, new = CUBE.triangles[0], CUBE.triangles[1:], len(CUBE.vertices)
    # The facet's first side has a corner in its middle, which its neighbour there lacks: a facet
    # without area lies between.
    split = np.vstack([rest, [[a, new, c], [new, b, c], [a, b, new]]])
    mesh, done = mended(Mesh(np.vstack([CUBE.vertices, middle]), split))
    assert said(done) == ("1 facets without area were taken out",)
    assert topology(mesh).solid
    assert sides_and_heights_mm(mesh.corners)[1].min() > 1.0
    assert mesh.volume_mm3 == pytest.approx(1000.0, rel=1e-12)


def prism(corners, top):
    """Return a prism 1 mm high with a top of given facets, counter-clockwise from above."""
    count = len(corners)
    low, high = np.arange(count), np.arange(count) + count
    after = np.roll(low, -1)
    sides = [[low, after, after + count], [low, after + count, high]]
    walls = np.array(sides).transpose(0, 2, 1).reshape(-1, 3)
    vertices = [[*corner, z] for z in (0.0, 1.0) for corner in corners]
    return Mesh(vertices, np.vstack([np.flip(top, axis=1), np.add(top, count), walls]))


# Corners on one line, in multiples of 2^-14 mm, are float32 numbers whatever is done with them.
STEP = 2.0**-14
TIP = (-16.0, 2.0**-6)


def test_facets_never_become_thinner():
    # Three corners lie on y = 0, and the tip all but does. The first facet at the tip
    # is 6e-8 mm high; flipped, it would be those three: a facet without any height.
    corners = [TIP, (0.0, 0.0), (STEP, 0.0), (8 * STEP, 0.0), (5.0, 5.0)]
    mesh = prism(corners, [[0, 1, 2], [0, 2, 3], [0, 3, 4]])
    least_mm = sides_and_heights_mm(mesh.corners)[1].min()
    assert least_mm == pytest.approx(STEP * 2.0**-10, rel=1e-2)  # of similar triangles
    assert sides_and_heights_mm(in_float32(mesh).corners)[1].min() == least_mm


def test_a_row_of_corners_on_one_line_leaves_no_facet_without_area():
    # All corners but two lie on y = 0, joined to the first of them: all but two facets are flat.
    corners = [(n * 0.001, 0.0) for n in range(9)] + [(5.0, 5.0), (-5.0, 5.0)]
    mesh = prism(corners, [[0, n, n + 1] for n in range(1, 10)])
    made, done = mended(mesh)
    assert said(done) == ("14 facets without area were taken out",)  # 7 above and 7 below
    assert topology(made).solid
    assert made.volume_mm3 == pytest.approx(mesh.volume_mm3, rel=1e-9)
    # The base of 0.001 mm is the shortest side, and all else lies 5 mm above it.
    assert sides_and_heights_mm(made.corners)[1].min() > 0.0005


def test_overlapping_shells_become_one():
    pair = joined([CUBE, box((5, 5, 5), (15, 15, 15))])
    mesh, done = mended(pair)
    # Two cubes of 10 that share one of 5: 2000 - 125.
    assert mesh.volume_mm3 == pytest.approx(1875.0, rel=1e-9)
    assert topology(mesh).shells == 1
    assert said(done) == ("2 shells were united; 0.125 mL counted twice",)


def test_shells_apart_and_hollows_stay():
    apart = joined([CUBE, CUBE.moved((20, 0, 0))])
    hollow = joined([CUBE, box((2, 2, 2), (8, 8, 8)).inside_out()])
    for mesh in (apart, hollow):
        assert mended(mesh)[1] == ()


def test_what_cannot_be_mended_is_said():
    fan = Mesh(CUBE.vertices, np.vstack([CUBE.triangles, [[0, 7, 3], [0, 7, 5]]]))
    with pytest.raises(SpecError, match=r"cannot be mended: .* mend it in a mesh editor"):
        mended(fan)


def test_facts_of_a_ball_are_those_of_the_polyhedron():
    found = facts(BALL, **PRINTER)
    assert (found.triangles, found.watertight, found.bodies) == (1280, True, 1)
    assert found.size_mm == pytest.approx((40, 40, 40), rel=1e-9)
    # Euler: 4/3 pi r^3; the polyhedron of 1280 facets lies within 1 % inside.
    assert 0.99 * 33.5103 < found.volume_ml < 33.5103
    assert [f.verdict.value for f in found.findings if "overhang" in f.name] == ["warn"]
    assert not [f for f in found.findings if f.verdict.value == "fail"]


def test_facts_of_an_open_mesh_name_no_volume():
    found = facts(without(BALL, 0), **PRINTER)
    assert (found.volume_ml, found.watertight) == (None, False)
    assert [f.name for f in found.findings if f.verdict.value == "fail"] == ["mesh: open edges"]


@pytest.mark.parametrize(("scale", "verdict"), [(1.0, "good"), (0.04, "warn"), (25.4, "warn")])
def test_an_absurd_size_is_doubted(scale, verdict):
    found = facts(Mesh(BALL.vertices * scale, BALL.triangles), **PRINTER)
    assert [f.verdict.value for f in found.findings if "unit" in f.name] == [verdict]
