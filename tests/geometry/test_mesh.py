"""Mesh volumes against published closed forms; booleans, moves and welding against counting."""

from math import cos, pi, sin, tau

import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st

from moulddesign.core import KernelError
from moulddesign.geometry import (
    Mesh,
    bodies,
    box,
    difference,
    intersection,
    joined,
    section,
    triangulated,
    unfolded,
    union,
    upright_section,
)
from moulddesign.geometry.booleans import shadow
from moulddesign.geometry.mending import in_float32

ROUND_OFF = 1e-12


def turned(profile, sides):
    """Return the solid of revolution of (radius, z) points, from the axis up to the axis."""
    turn = tau * np.arange(sides) / sides
    ring = np.column_stack([np.cos(turn), np.sin(turn)])
    inner = [(r, z) for r, z in profile if r > 0.0]
    rings = [np.column_stack([r * ring, np.full(sides, z)]) for r, z in inner]
    low, high = (0.0, 0.0, profile[0][1]), (0.0, 0.0, profile[-1][1])
    i, j = np.arange(sides), np.roll(np.arange(sides), -1)
    count = sides * len(rings)
    walls = [np.column_stack([np.full(sides, count), j, i])]
    for level in range(len(rings) - 1):
        a, b = level * sides, (level + 1) * sides
        walls += [np.column_stack([a + i, a + j, b + j]), np.column_stack([a + i, b + j, b + i])]
    last = count - sides
    walls.append(np.column_stack([np.full(sides, count + 1), last + i, last + j]))
    return Mesh(np.concatenate([*rings, [low, high]]), np.concatenate(walls))


def deficit(sides):
    """Area of a regular polygon over that of its circle: n sin(2 pi / n) / (2 pi)."""
    return sides * sin(tau / sides) / tau


def square_frustum(low_side, high_side, height):
    # A square is a "circle" of 4 sides whose radius is half its diagonal.
    return turned(
        [(0.0, 0.0), (low_side / 2**0.5, 0.0), (high_side / 2**0.5, height), (0.0, height)], 4
    )


@pytest.mark.parametrize(
    ("low", "high", "height", "published"),
    [
        pytest.param(4, 2, 6, 56, id="Moscow Mathematical Papyrus, problem 14 (Struve 1930)"),
        pytest.param(3, 3, 5, 45, id="a prism: base times height, Euclid XI"),
        pytest.param(6, 1e-9, 7, 84, id="a pyramid: a third of the prism, Euclid XII.7"),
    ],
)
def test_square_frustum_has_the_published_volume(low, high, height, published):
    assert square_frustum(low, high, height).volume_mm3 == pytest.approx(published, rel=1e-9)


@pytest.mark.parametrize("sides", [12, 96, 720])
@pytest.mark.parametrize(
    ("low", "high", "height"),
    [pytest.param(30, 20, 12, id="pi h (R^2 + R r + r^2) / 3 (Weisstein, Conical Frustum)")],
)
def test_cone_frustum_has_the_closed_form_volume(low, high, height, sides):
    # Each level is a similar n-gon, so the solid is the closed form times the n-gon's deficit.
    closed_form = pi * height * (low**2 + low * high + high**2) / 3.0
    made = turned([(0.0, 0.0), (low, 0.0), (high, height), (0.0, height)], sides)
    assert made.volume_mm3 == pytest.approx(closed_form * deficit(sides), rel=ROUND_OFF)


@pytest.mark.parametrize("levels", [16, 64, 256])
@pytest.mark.parametrize(
    ("radius", "height"),
    [pytest.param(25.0, 9.0, id="pi h^2 (3 R - h) / 3 (Archimedes; Weisstein, Spherical Cap)")],
)
def test_spherical_cap_has_the_closed_form_volume(radius, height, levels):
    sides = 360
    angles = np.linspace(np.arccos(1.0 - height / radius), 0.0, levels + 1)
    profile = [(0.0, 0.0)] + [
        (radius * sin(a), radius * cos(a) - (radius - height)) for a in angles[:-1]
    ]
    made = turned([*profile, (0.0, height)], sides)
    closed_form = pi * height**2 * (3.0 * radius - height) / 3.0
    # Chords lie within the sagitta R (1 - cos(step / 2)) of the arc, so the loss is below the
    # sagitta times the cap's curved area, 2 pi R h.
    sagitta = radius * (1.0 - cos((angles[0] - angles[1]) / 2.0))
    loss = closed_form - made.volume_mm3 / deficit(sides)
    assert 0.0 < loss <= sagitta * tau * radius * height


@pytest.mark.parametrize(("sides", "around"), [(24, 12), (180, 60)])
@pytest.mark.parametrize(
    ("major", "minor"), [pytest.param(20.0, 6.0, id="2 pi^2 R r^2 (Pappus; Weisstein, Torus)")]
)
def test_torus_has_the_closed_form_volume(major, minor, sides, around):
    # Revolving an inscribed n-gon of centroid R (Pappus) in m steps: both deficits multiply.
    made = trimesh.creation.torus(major, minor, major_sections=sides, minor_sections=around)
    closed_form = 2.0 * pi**2 * major * minor**2
    ours = Mesh(np.array(made.vertices), np.array(made.faces)).volume_mm3
    assert ours == pytest.approx(closed_form * deficit(sides) * deficit(around), rel=1e-9)


def test_volume_does_not_depend_on_where_the_body_stands():
    far = square_frustum(4, 2, 6).moved((1e5, -1e5, 1e5))
    # Corners at 1e5 carry 1.5e-11 of round-off each; over an area of some 100 mm2, 1e-8 in all.
    assert far.volume_mm3 == pytest.approx(56.0, abs=1e-8)


def test_moves_and_turns_keep_volume_and_sense():
    made = square_frustum(4, 2, 6)
    over = made.turned_over()
    assert over.volume_mm3 == pytest.approx(56.0, rel=ROUND_OFF)
    assert over.bounds[:, 2].tolist() == [-6.0, 0.0]
    assert made.inside_out().volume_mm3 == pytest.approx(-56.0, rel=ROUND_OFF)
    low = made.bounds[0] + (1.0, 2.0, 3.0)
    assert made.moved((1, 2, 3)).bounds[0] == pytest.approx(low)


def test_a_box_has_its_size_area_and_volume():
    made = box((-1, 2, 3), (1, 5, 7))
    assert made.size_mm.tolist() == [2.0, 3.0, 4.0]
    assert made.area_mm2 == pytest.approx(52.0, rel=ROUND_OFF)
    assert made.volume_mm3 == pytest.approx(24.0, rel=ROUND_OFF)


def test_arrays_cannot_be_changed():
    with pytest.raises(ValueError, match="read-only"):
        box((0, 0, 0), (1, 1, 1)).vertices[0, 0] = 9.0


CORNER = st.tuples(*[st.integers(0, 6)] * 3)


@given(a=CORNER, move=CORNER, size=st.tuples(*[st.integers(1, 6)] * 3))
def test_booleans_of_boxes_hold_what_the_corners_say(a, move, size):
    first = box(a, np.add(a, size))
    second = box(move, np.add(move, (4, 4, 4)))
    overlap = np.minimum(first.bounds[1], second.bounds[1]) - np.maximum(
        first.bounds[0], second.bounds[0]
    )
    shared = float(np.prod(np.maximum(overlap, 0.0)))
    total = float(np.prod(size)) + 64.0
    assert intersection([first, second], "x").volume_mm3 == pytest.approx(shared, abs=1e-9)
    assert union([first, second], "x").volume_mm3 == pytest.approx(total - shared, rel=1e-9)


def test_difference_leaves_the_rest():
    left = difference(box((0, 0, 0), (4, 4, 4)), [box((1, 1, 1), (3, 3, 9))], "a pocket")
    assert left.volume_mm3 == pytest.approx(64.0 - 12.0, rel=ROUND_OFF)


@pytest.mark.parametrize(
    ("work", "sentence"),
    [
        (lambda a: difference(a, [box((-1, -1, -1), (9, 9, 9))], "the rest"), "nothing is left"),
        (lambda a: union([Mesh(a.vertices, a.triangles[1:]), a], "a lid"), "NotManifold"),
        (lambda a: intersection([Mesh(a.vertices, a.triangles[:4]), a], "a lid"), "NotManifold"),
        (lambda a: union([Mesh(a.vertices * np.nan, a.triangles), a], "a lid"), "NonFinite"),
    ],
)
def test_a_failed_step_is_named_with_its_reason(work, sentence):
    with pytest.raises(KernelError, match=sentence) as caught:
        work(box((0, 0, 0), (1, 1, 1)))
    assert caught.value.step in str(caught.value)


def test_bodies_come_apart_in_order():
    both = joined([box((5, 0, 0), (6, 1, 1)), box((0, 0, 0), (2, 2, 2))])
    assert [round(part.volume_mm3, 9) for part in bodies(both, "two boxes")] == [8.0, 1.0]


@pytest.mark.parametrize(("sides", "around"), [(24, 12), (180, 60)])
def test_an_upright_section_has_the_area_of_an_annulus_corners_in_its_plane_or_not(sides, around):
    major, minor = 20.0, 6.0
    made = trimesh.creation.torus(major, minor, major_sections=sides, minor_sections=around)
    x, y, z = np.array(made.vertices).T
    lying = Mesh(np.column_stack([x, -z, y]), np.array(made.faces))  # corners in y = 0
    off = lying.moved((0.0, 0.5, 0.0))
    # Where the plane is 0.5 off, a chord of the n-gon around runs between its corners.
    corners = minor * np.exp(2j * pi * np.arange(around // 4 + 1) / around)
    reach = np.interp(0.5, corners.imag, corners.real)
    for mesh, width in ((lying, minor), (off, reach)):
        shape = upright_section(mesh)
        annulus = pi * ((major + width) ** 2 - (major - width) ** 2) * deficit(sides)
        assert shape.area == pytest.approx(annulus, rel=1e-9)
        assert len(shape.interiors) == 1
    assert upright_section(lying.moved((0.0, 7.0, 0.0))).is_empty


def test_a_section_and_a_shadow_turn_the_right_way():
    ring = difference(box((0, 0, 0), (4, 4, 4)), [box((1, 1, -1), (3, 3, 9))], "a ring")

    def areas(loops):
        doubled = [
            float(np.sum(p[:, 0] * np.roll(p[:, 1], -1) - p[:, 1] * np.roll(p[:, 0], -1)))
            for p in loops
        ]
        return sorted(area / 2.0 for area in doubled)

    assert areas(section(ring, 2.0, "a ring")) == [-4.0, 16.0]
    assert shadow(ring, "a ring").area == 12.0  # 4 x 4 with a hole of 2 x 2
    assert section(ring, 9.0, "a ring") == ()


def test_settling_welds_what_float32_makes_one():
    made = square_frustum(40, 20, 6).moved((64, 64, 64))
    # Split one corner in two, a tenth of a float32 step apart, with a needle between.
    vertices = np.concatenate([made.vertices, made.vertices[:1] + 1e-7])
    triangles = made.triangles.copy()
    needle = triangles[(triangles == 0).any(axis=1)][0]
    triangles[np.flatnonzero((triangles == 0).any(axis=1))[0]] = np.where(
        needle == 0, len(made.vertices), needle
    )
    rest = in_float32(Mesh(vertices, triangles))
    assert len(rest.vertices) == len(made.vertices)
    read = trimesh.Trimesh(rest.vertices, rest.triangles, process=False)
    assert read.is_watertight
    assert read.is_winding_consistent
    np.testing.assert_array_equal(rest.vertices, rest.vertices.astype(np.float32))
    zeros = in_float32(Mesh(-made.vertices * 0.0, made.triangles)).vertices
    assert not np.signbit(zeros).any()


def test_sheets_that_float32_makes_one_part_by_no_more_than_it_takes():
    # Edges of two cubes stand 1e-7 mm apart at x = y = 110, where float32's steps are 8e-6.
    near = box((100, 100, 0), (110, 110, 10))
    beyond = near.moved((10.0 + 1e-7, 10.0 + 1e-7, 0.0))
    both = np.concatenate([near.vertices, beyond.vertices])
    triangles = np.concatenate([near.triangles, beyond.triangles + len(near.vertices)])
    rest = in_float32(Mesh(both, triangles))
    read = trimesh.Trimesh(rest.vertices, rest.triangles, process=False)
    assert (read.is_watertight, read.body_count) == (True, 2)
    moved_mm = np.linalg.norm(rest.vertices[:, None] - both, axis=2).min(axis=1)
    assert moved_mm.max() <= 1.2e-4  # a step of 1e-4, rounded


@pytest.mark.parametrize("along", [0.5, 1e-6], ids=["a cap", "a needle"])
def test_settling_leaves_no_triangle_without_direction(along):
    """A corner on an edge, with a triangle of no height between it and the edge."""
    made = box((0, 0, 0), (20, 20, 20))
    corners, triangles = made.vertices, made.triangles
    (start, end, far), between = triangles[0], len(corners)
    vertices = np.concatenate([corners, [corners[start] + along * (corners[end] - corners[start])]])
    cut = [[start, between, far], [between, end, far], [start, end, between]]
    rest = in_float32(Mesh(vertices, np.concatenate([triangles[1:], cut])))
    read = trimesh.Trimesh(rest.vertices, rest.triangles, process=False)
    assert read.is_watertight
    assert read.is_winding_consistent
    # A cube of 20 mm has 8,000 mm^3; a corner moves by 2e-5 mm at most, on faces of 400 mm^2.
    assert read.volume == pytest.approx(8000.0, abs=0.01)
    assert (trimesh.triangles.area(read.triangles) > 1e-3).all()


def test_nothing_has_no_volume_and_no_area():
    nothing = intersection([box((0, 0, 0), (1, 1, 1)), box((2, 2, 2), (3, 3, 3))], "two boxes")
    assert (nothing.volume_mm3, nothing.area_mm2) == (0.0, 0.0)


def test_folded_pairs_go_and_the_rest_stays_in_order():
    triangles = np.array([[0, 1, 2], [0, 2, 1], [3, 3, 4], [5, 6, 7], [6, 7, 5], [7, 5, 8]])
    # 5 6 7 twice, wound alike, is no fold: a caller must see it, not a repaired mesh.
    assert unfolded(triangles).tolist() == [[5, 6, 7], [6, 7, 5], [7, 5, 8]]
    assert unfolded(np.empty((0, 3), dtype=np.int64)).shape == (0, 3)


@given(sides=st.integers(3, 40), hole=st.integers(3, 40))
def test_flat_loops_are_filled_with_every_point(sides, hole):
    def ring(n, r):
        turn = tau * np.arange(n) / n
        return r * np.column_stack([np.cos(turn), np.sin(turn)])

    outer, inner = ring(sides, 10.0), ring(hole, 2.0)[::-1]
    made = triangulated([outer, inner])
    # Euler: a polygon of n corners with one hole takes n triangles.
    assert len(made) == sides + hole
    points = np.concatenate([outer, inner])
    a, b, c = np.moveaxis(points[made], 1, 0)
    area = ((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]) / 2.0
    assert (area > 0.0).all()
    expected = pi * (100.0 * deficit(sides) - 4.0 * deficit(hole))
    assert area.sum() == pytest.approx(expected, rel=ROUND_OFF)
    assert set(made.ravel()) == set(range(sides + hole))
