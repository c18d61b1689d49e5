"""How long it takes, each beside what the same costs as bare library calls; nothing is asserted."""

import subprocess

import numpy as np
import pytest
import shapely
from cli.command import COMMAND, environment

from moulddesign.building import build
from moulddesign.design import Design, Profile
from moulddesign.pastry.medial import medial, on_grid
from moulddesign.pastry.profile import section
from moulddesign.pastry.roof import roof_over

GRID_MM = 0.1
"""Step of the height grid that a relief is compared with [mm]."""


def motif(corners):
    """Return a wavy ring, a leaf wreath's outline: half its corners outside, half inside [mm]."""
    turn = 2.0 * np.pi * np.arange(corners // 2) / (corners // 2)
    waves = max(corners // 60, 6)

    def ring(radius):
        wavy = radius + 1.2 * np.sin(waves * turn)
        return wavy[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])

    return shapely.Polygon(ring(26.0), [ring(18.0)])


def relief(shape, profile=Profile.FLAT):
    axis = medial(on_grid(shape))
    widest_mm = float(axis.distances.max())
    wall = section(profile, depth_mm=1.5, draft_deg=15.0, widest_mm=widest_mm)
    return roof_over(axis, wall).surface


def bare(shape, run_mm=0.41):
    """Return the triangles of one round inset and the ring outside it, by shapely's own calls."""
    inner = shape.buffer(-run_mm, quad_segs=8)
    parts = [shapely.constrained_delaunay_triangles(s) for s in (inner, shape.difference(inner))]
    return sum(len(shapely.get_parts(part)) for part in parts)


@pytest.mark.parametrize("corners", [1_000, 2_200, 10_000, 31_600, 100_000])
def test_relief_alone(benchmark, corners):
    shape = motif(corners)
    made = benchmark.pedantic(relief, args=(shape,), rounds=3, warmup_rounds=1)
    low_x, low_y, high_x, high_y = shape.bounds
    grid = 2 * int((high_x - low_x) / GRID_MM) * int((high_y - low_y) / GRID_MM)
    benchmark.extra_info["triangles"] = len(made.triangles)
    benchmark.extra_info["triangles of a 0.1 mm height grid"] = grid


@pytest.mark.parametrize("corners", [1_000, 2_200, 10_000, 31_600, 100_000])
def test_bare_offset_and_triangulation(benchmark, corners):
    shape = motif(corners)
    count = benchmark.pedantic(bare, args=(shape,), rounds=3, warmup_rounds=1)
    benchmark.extra_info["triangles"] = count


def test_warm_build(benchmark):
    benchmark.pedantic(build, args=(Design(),), rounds=3, warmup_rounds=1)


def run(*arguments, folder):
    subprocess.run(  # noqa: S603 (our own command)
        [*COMMAND, *arguments], cwd=folder, env=environment(), capture_output=True, check=True
    )


@pytest.mark.parametrize("arguments", [("portion",), ("make", "--formats", "stl"), ("make",)])
def test_cold_command(benchmark, tmp_path, arguments):
    benchmark.pedantic(run, args=arguments, kwargs={"folder": tmp_path}, rounds=3)


def test_cold_imports_alone(benchmark, tmp_path):
    def imports():
        code = "import cadquery, trimesh, shapely, manifold3d, scipy.optimize"
        subprocess.run([COMMAND[0], "-c", code], cwd=tmp_path, check=True)  # noqa: S603

    benchmark.pedantic(imports, rounds=3)
