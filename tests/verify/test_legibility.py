import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from manifold3d import CrossSection, Manifold
from shapely.affinity import rotate, scale, translate
from verify.shapes import as_written, cylinder, mesh_of

from moulddesign.geometry import Mesh, box
from moulddesign.geometry.sampling import grid_over, region_mask, top_heights_mm
from moulddesign.verify.piece_checks import overlap_ratio, reading_finding

HOOK = shapely.Polygon([(-8, -8), (4, -8), (4, -5), (-5, -5), (-5, 9), (-8, 9)])
"""An outline that no turn in the plane maps on its mirror image."""


def pastry(area=HOOK, depth=1.5):
    tool = CrossSection([np.array(area.exterior.coords)[:-1]])
    low = min(20.0, 20.0 + depth)
    relief = Manifold.extrude(tool, abs(depth) + (1 if depth < 0 else 0)).translate([0, 0, low])
    cake = cylinder(20, 0, 20)
    return as_written(mesh_of(cake + relief if depth > 0 else cake - relief))


@pytest.mark.parametrize("depth", [1.5, -1.5])
def test_the_artwork_itself_is_matched(depth):
    found = reading_finding(pastry(depth=depth), artwork=HOOK, flat_mm=20.0, depth_mm=depth)
    assert found.measured > 0.999
    assert found.verdict.value == "good"


@pytest.mark.parametrize("depth", [1.5, -1.5])
@pytest.mark.parametrize(("x", "y"), [(-1, 1), (1, -1), (-1, -1)])
def test_a_mirrored_or_turned_artwork_fails(depth, x, y):
    found = reading_finding(
        pastry(depth=depth),
        artwork=scale(HOOK, x, y, origin=(0, 0)),
        flat_mm=20.0,
        depth_mm=depth,
    )
    assert found.verdict.value == "fail"


def test_the_wrong_sense_fails():
    found = reading_finding(pastry(depth=-1.5), artwork=HOOK, flat_mm=20.0, depth_mm=1.5)
    assert (found.measured, found.verdict.value) == (0.0, "fail")


@pytest.mark.parametrize("shift", [1.0, 2.0, 3.0])
def test_a_shifted_square_shares_what_arithmetic_says(shift):
    square = shapely.box(-5, -5, 5, 5)
    share = overlap_ratio(
        pastry(square), artwork=translate(square, shift), flat_mm=20.0, depth_mm=1.5
    )
    # (10 - s) 10 shared of (10 + s) 10; one pixel row of 0.1 mm on either edge.
    assert share == pytest.approx((10 - shift) / (10 + shift), abs=0.02)


def fin(x, length):
    """Return a drafted fin 0.5 mm wide as its artwork and as a body on the plane z = 20 mm."""
    # Turned, so that its edges do not run along the pixels.
    foot = rotate(shapely.box(x, -length, x + 0.5, length), 10.0, origin=(0, 0))
    top = foot.buffer(-0.2, join_style="mitre")  # 0.7 mm high: walls of 16 deg from the upright
    corners = [
        (*point, z) for flat, z in ((foot, 20.0), (top, 20.7)) for point in flat.exterior.coords[:4]
    ]
    return foot, Manifold.hull_points(np.array(corners))


@pytest.mark.parametrize(
    ("x", "verdict"), [(1, "good"), (-1, "fail")], ids=["as it is", "mirrored"]
)
def test_fine_artwork_on_a_carved_ground_is_judged_beside_its_edges(x, verdict):
    """270 mm of edge around 66 square millimetres: the foot of the walls alone would be 2 %."""
    fins = [fin(-8.0 + number, 2.0 + 0.4 * number) for number in range(14)]
    cake = mesh_of(sum((body for _, body in fins), cylinder(20, 0, 20)))
    found = reading_finding(
        as_written(cake),
        artwork=scale(shapely.union_all([foot for foot, _ in fins]), x, 1, origin=(0, 0)),
        flat_mm=20.0,
        depth_mm=0.7,
        ground=lambda points: np.zeros(len(points)),
    )
    assert found.verdict.value == verdict


def test_gables_of_a_gentle_slope_are_judged_from_where_they_are_as_high_as_the_foot():
    """4 mm wide and 0.5 mm high: 0.02 mm are reached 0.08 mm inside the edge, 4 % of the width."""
    feet = [rotate(shapely.box(x, -7, x + 4, 7), 10.0, origin=(0, 0)) for x in (-8, -2, 4)]
    gables = []
    for foot in feet:
        corners = np.array(foot.exterior.coords[:4])
        sides = np.stack([corners, np.roll(corners, -1, axis=0)])
        short = np.linalg.norm(sides[1] - sides[0], axis=1) < 5.0
        ridge = sides.mean(axis=0)[short]
        points = [*((*at, 20.0) for at in corners), *((*at, 20.5) for at in ridge)]
        gables.append(Manifold.hull_points(np.array(points)))
    cake = as_written(mesh_of(sum(gables, cylinder(20, 0, 20))))
    asked = {"artwork": shapely.union_all(feet), "flat_mm": 20.0, "depth_mm": 0.5}
    level = {"ground": lambda points: np.zeros(len(points))}
    assert reading_finding(cake, **asked, **level).verdict.value == "fail"
    assert reading_finding(cake, **asked, **level, foot_run_mm=0.08).verdict.value == "good"


def test_a_plain_top_matches_no_artwork():
    plain = mesh_of(cylinder(20, 0, 20))
    assert overlap_ratio(plain, artwork=shapely.Polygon(), flat_mm=20.0, depth_mm=1.5) == 1.0


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=25)
def test_heights_are_those_of_the_topmost_plane(seed):
    """Each pixel of random triangles against the plane through three points, solved by numpy."""
    chance = np.random.default_rng(seed)
    corners = chance.uniform(0.0, 10.0, (6, 3, 3))
    mesh = Mesh(corners.reshape(-1, 3), np.arange(18).reshape(-1, 3))
    grid = grid_over(np.zeros(2), np.full(2, 10.0), 0.5)
    heights = top_heights_mm(mesh, grid)
    x, y = np.meshgrid(*grid.centres_mm)
    best = np.full(grid.shape, -np.inf)
    for triangle in corners:
        inside = shapely.contains_xy(shapely.Polygon(triangle[:, :2]), x, y)
        plane = np.linalg.solve(np.c_[triangle[:, :2], np.ones(3)], triangle[:, 2])
        best = np.where(inside, np.maximum(best, plane[0] * x + plane[1] * y + plane[2]), best)
    assert np.array_equal(np.isfinite(heights), np.isfinite(best))
    both = np.isfinite(best)
    assert heights[both] == pytest.approx(best[both], abs=1e-6)  # slivers: planes are steep


def test_upright_walls_leave_no_hole_between_pixels():
    grid = grid_over(np.zeros(2), np.full(2, 2.0), 0.25)
    heights = top_heights_mm(box((0.125, 0.125, 0), (1.875, 1.875, 3)), grid)
    assert heights[4, 4] == 3.0
    assert set(np.unique(heights)) <= {3.0, -np.inf}


def test_rows_run_up_and_columns_to_the_right():
    grid = grid_over(np.zeros(2), np.array([4.0, 2.0]), 1.0)
    mask = region_mask(shapely.box(3, 0, 4, 1), grid)
    assert grid.shape == (4, 6)
    assert np.argwhere(mask).tolist() == [[1, 4]]
