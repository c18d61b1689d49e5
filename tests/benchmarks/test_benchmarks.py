"""How long it takes, each beside what the same costs as bare library calls; nothing is asserted."""

import subprocess
from itertools import pairwise

import numpy as np
import pytest
import shapely
from cli.command import COMMAND, environment

from moulddesign.artwork.layers import SIMPLIFIED_MM
from moulddesign.building import build
from moulddesign.design import Design, Profile
from moulddesign.relief.medial_axis import medial_axis
from moulddesign.relief.profile import height_profile
from moulddesign.relief.roof import roof, roof_from_axis
from moulddesign.relief.voronoi import snapped_to_grid

GRID_MM = 0.1
"""Step of the height grid that a relief is compared with [mm]."""

CORNERS = [1_000, 2_200, 10_000, 31_600, 100_000]
DEPTH_MM = 1.5
DRAFT_DEG = 15.0
HEIGHT_ERROR_MM = 0.02
"""What a relief may be off by [mm]."""


def wavy_ring(corners):
    """Return a wavy ring, a leaf wreath's outline: half its corners outside, half inside [mm].

    It has sixty corners a wave: the more it has, the narrower its waves, until at 10,000 no place
    is wide enough for the full depth.
    """
    turn = 2.0 * np.pi * np.arange(corners // 2) / (corners // 2)
    waves = max(corners // 60, 6)

    def ring(radius):
        wavy = radius + 1.2 * np.sin(waves * turn)
        return wavy[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])

    return shapely.Polygon(ring(26.0), [ring(18.0)])


def leaves(corners):
    """Return strokes of an even width and as many as it takes: only their number grows [mm]."""
    turn = 2.0 * np.pi * np.arange(100) / 100
    leaf = np.column_stack([3.0 * np.cos(turn), 1.2 * np.sin(turn)])
    many = corners // 100
    wide = int(np.ceil(np.sqrt(many)))
    return shapely.MultiPolygon(
        [
            shapely.Polygon(leaf + np.array([7.0 * (k % wide), 3.0 * (k // wide)]))
            for k in range(many)
        ]
    )


DRAWINGS = {"wavy ring": wavy_ring, "leaves": leaves}


def simplified(shape):
    """Return a drawing as the layers lay it on a pastry; every side of a comparison takes this."""
    return shapely.simplify(shape, SIMPLIFIED_MM)


def relief_surface(shape, profile=Profile.FLAT):
    region = snapped_to_grid(simplified(shape))
    if profile is Profile.FLAT:
        return roof(region, stroke_profile(profile, np.inf)).surface
    axis = medial_axis(region)
    return roof_from_axis(axis, stroke_profile(profile, float(axis.distances.max()))).surface


def stroke_profile(profile, widest_mm):
    return height_profile(profile, depth_mm=DEPTH_MM, draft_deg=DRAFT_DEG, widest_mm=widest_mm)


def triangle_count(areas):
    """Return how many triangles shapely fills areas with."""
    return sum(len(shapely.get_parts(shapely.constrained_delaunay_triangles(a))) for a in areas)


def one_inset(shape, run_mm=0.41):
    """Return the triangles of one round inset and the ring outside it, by shapely's own calls.

    Less than a relief: no heights, and where a stroke is narrower than two walls no ridge either,
    so that facets are level there where the relief rises; at 10,000 corners of the wavy ring, all
    of them.
    """
    whole = simplified(shape)
    inner = whole.buffer(-run_mm, quad_segs=8)
    return triangle_count([inner, whole.difference(inner)])


def contours_of_same_accuracy(shape, run_mm=0.41):
    """Return the triangles of contours as near as the same accuracy takes, by the same calls.

    A ridge runs anywhere between two contours, so a surface through contours alone is off by up
    to the height between them; at half that height in every innermost one, by half of it. With
    0.02 mm allowed, contours lie 0.04 mm of height apart: 38 for a depth of 1.5 mm, whatever the
    profile (`pillow` has them nearer at the edge and wider at the ridge).
    """
    whole = simplified(shape)
    count = int(np.ceil(DEPTH_MM / (2.0 * HEIGHT_ERROR_MM)))
    insets = [whole.buffer(-run_mm * k / count, quad_segs=8) for k in range(1, count + 1)]
    rings = [outer.difference(inner) for outer, inner in pairwise([whole, *insets])]
    return triangle_count([*rings, insets[-1]])


@pytest.mark.parametrize("drawing", DRAWINGS)
@pytest.mark.parametrize("corners", CORNERS)
def test_relief_alone(benchmark, corners, drawing):
    shape = DRAWINGS[drawing](corners)
    made = benchmark.pedantic(relief_surface, args=(shape,), rounds=3, warmup_rounds=1)
    low_x, low_y, high_x, high_y = shape.bounds
    grid = 2 * int((high_x - low_x) / GRID_MM) * int((high_y - low_y) / GRID_MM)
    benchmark.extra_info["triangles"] = len(made.triangles)
    benchmark.extra_info["triangles of a 0.1 mm height grid"] = grid


@pytest.mark.parametrize("profile", [Profile.BEVEL, Profile.PILLOW])
@pytest.mark.parametrize("corners", CORNERS[:2])
def test_relief_alone_to_the_ridge(benchmark, corners, profile):
    made = benchmark.pedantic(
        relief_surface, args=(wavy_ring(corners), profile), rounds=3, warmup_rounds=1
    )
    benchmark.extra_info["triangles"] = len(made.triangles)


@pytest.mark.parametrize("drawing", DRAWINGS)
@pytest.mark.parametrize("corners", CORNERS)
def test_bare_offset_and_triangulation(benchmark, corners, drawing):
    shape = DRAWINGS[drawing](corners)
    count = benchmark.pedantic(one_inset, args=(shape,), rounds=3, warmup_rounds=1)
    benchmark.extra_info["triangles"] = count


@pytest.mark.parametrize("corners", CORNERS[:3])
def test_bare_offsets_and_triangulations_of_the_same_accuracy(benchmark, corners):
    count = benchmark.pedantic(contours_of_same_accuracy, args=(wavy_ring(corners),), rounds=1)
    benchmark.extra_info["triangles"] = count


def cad_face(shape):
    from cadquery import func  # noqa: PLC0415 (it takes seconds to load)

    rings = [shape.exterior, *shape.interiors]
    outer, *inner = (func.polyline(*((x, y, 0.0) for x, y in ring.coords)) for ring in rings)
    return func.face(outer, *inner)


def cad_cut(shape):
    """Return the drawing extruded without draft and cut from a plate, in the CAD kernel."""
    from cadquery import func  # noqa: PLC0415 (it takes seconds to load)

    plate = func.extrude(func.plane(80.0, 80.0), (0.0, 0.0, 2.0 * DEPTH_MM))
    return func.cut(plate, func.extrude(cad_face(shape), (0.0, 0.0, DEPTH_MM)))


def cad_taper(shape):
    """Return the drawing extruded with the relief's draft in the CAD kernel, or what it said."""
    from cadquery import Solid, Vector  # noqa: PLC0415 (it takes seconds to load)
    from OCP.Standard import Standard_Failure  # noqa: PLC0415 (it takes seconds to load)

    face = cad_face(shape)
    try:
        return Solid.extrudeLinear(face, Vector(0.0, 0.0, DEPTH_MM), DRAFT_DEG)
    except Standard_Failure as error:
        return str(error)


@pytest.mark.parametrize("way", [cad_cut, cad_taper])
@pytest.mark.parametrize("corners", CORNERS[:2])
def test_the_same_drawing_in_the_cad_kernel(benchmark, corners, way):
    shape = simplified(wavy_ring(corners))
    way(shapely.box(0.0, 0.0, 1.0, 1.0))  # loads the kernel
    made = benchmark.pedantic(way, args=(shape,), rounds=1)
    worked = not isinstance(made, str) and made.isValid()
    benchmark.extra_info["worked"] = worked
    benchmark.extra_info["said"] = made if isinstance(made, str) else ""


def test_warm_build(benchmark):
    benchmark.pedantic(build, args=(Design(),), rounds=3, warmup_rounds=1)


def run_command(*arguments, folder):
    subprocess.run(  # noqa: S603 (our own command)
        [*COMMAND, *arguments], cwd=folder, env=environment(), capture_output=True, check=True
    )


@pytest.mark.parametrize("arguments", [("portion",), ("make", "--formats", "stl"), ("make",)])
def test_cold_command(benchmark, tmp_path, arguments):
    benchmark.pedantic(run_command, args=arguments, kwargs={"folder": tmp_path}, rounds=3)


def test_cold_imports_alone(benchmark, tmp_path):
    def imports():
        code = "import cadquery, trimesh, shapely, manifold3d, scipy.optimize"
        subprocess.run([COMMAND[0], "-c", code], cwd=tmp_path, check=True)  # noqa: S603

    benchmark.pedantic(imports, rounds=3)
