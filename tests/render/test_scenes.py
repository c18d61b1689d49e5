"""Pictures, held against geometry, and the normals that they are shaded by."""

import io

import numpy as np
import pytest
import trimesh
from PIL import Image

from moulddesign.geometry import Mesh, box, joined
from moulddesign.render import Body, Scene, height_picture, picture, picture_png, thumbnail
from moulddesign.render.shading import smooth_parts

GREY = (0.8, 0.8, 0.8)


def view(*meshes, azimuth_deg=0.0, elevation_deg=0.0, size_px=(300, 220), rgb=GREY):
    bodies = tuple(Body(mesh=mesh, rgb=rgb) for mesh in meshes)
    return Scene(
        bodies=bodies, azimuth_deg=azimuth_deg, elevation_deg=elevation_deg, size_px=size_px
    )


def covered(image):
    return (image < 250).any(axis=2)


def test_a_block_from_the_front_has_the_proportion_of_its_front():
    rows, columns = np.nonzero(covered(picture(view(box((0, 0, 0), (30, 10, 20))))))
    # 30 mm wide and 20 mm high, each end within a pixel.
    wide, high = np.ptp(columns) + 1, np.ptp(rows) + 1
    assert wide / high == pytest.approx(30 / 20, abs=(1 + 1.5) * 2 / high)
    assert 0 < rows.min() < rows.max() < 219
    assert 0 < columns.min() < columns.max() < 299


def test_a_picture_is_of_its_size_tells_no_time_and_is_the_same_every_time():
    scene = view(box((0, 0, 0), (30, 10, 20)), elevation_deg=40.0, rgb=None)
    png = picture_png(scene)
    assert Image.open(io.BytesIO(png)).size == scene.size_px
    # PNG specification, 11.2: only what draws.
    assert set(chunk_names(png)) == {b"IHDR", b"IDAT", b"IEND"}
    again = view(box((0, 0, 0), (30, 10, 20)), elevation_deg=40.0, rgb=None)
    assert picture_png(again) == png


def chunk_names(png):
    at, names = 8, []
    while at < len(png):
        length = int.from_bytes(png[at : at + 4], "big")
        names.append(png[at + 4 : at + 8])
        at += 12 + length
    return names


def test_it_is_lit_from_the_left():
    ridge = box((-2.0, -20.0, 5.0), (2.0, 20.0, 15.0))
    left, right = (
        picture(view(ridge, azimuth_deg=azimuth_deg, elevation_deg=3.0, size_px=(200, 200)))
        for azimuth_deg in (-90.0, 90.0)
    )
    assert left[100, 100].mean() > right[100, 100].mean() + 20


def test_of_two_bodies_the_nearer_is_seen():
    red, blue = (0.9, 0.1, 0.1), (0.1, 0.1, 0.9)
    near, far = box((0, 0, 0), (10, 10, 10)), box((0, 20, 0), (10, 30, 10))
    bodies = (Body(mesh=near, rgb=red), Body(mesh=far, rgb=blue))
    for azimuth_deg, seen in ((0.0, 0), (180.0, 2)):
        scene = Scene(bodies=bodies, azimuth_deg=azimuth_deg, elevation_deg=0.0, size_px=(90, 90))
        pixel = picture(scene)[45, 45].astype(int)
        assert pixel.argmax() == seen


def test_an_edge_of_half_a_pixel_is_half_covered():
    # 21 pixels over 10.5 mm, cut by an edge in the middle of a pixel: half of its samples see it.
    sheet = box((0.0, 0.0, 0.0), (10.0, 1.0, 10.0))
    image = picture(view(sheet, size_px=(101, 101))).astype(float)
    edge = image[50, covered(image)[50].argmax()]
    inner = image[50, 50]
    assert (inner < edge).all()
    assert (edge < 255).all()


def test_relief_reads_at_a_glance():
    # Rec. 709: luminance of linear red, green and blue. WCAG 2.2, 1.4.11: graphics want 3:1 where
    # they carry a meaning; relief has its shadow besides, so half of that way is asked for.
    plate, bead = box((0, 0, 0), (40, 40, 10)), box((16, 16, 9), (24, 24, 11.5))
    image = picture(view(joined([plate, bead]), elevation_deg=89.0, size_px=(200, 200), rgb=None))
    linear = (image / 255.0) ** 2.2 @ (0.2126, 0.7152, 0.0722)
    raised, ground = linear[90:110, 90:110].mean(), linear[40:60, 40:60].mean()
    assert (ground + 0.05) / (raised + 0.05) > 1.7


def test_a_block_keeps_its_edges_and_a_ball_has_none():
    parts = smooth_parts(box((0, 0, 0), (1, 2, 3)))
    assert parts.part.max() == 5
    normals = np.unique(parts.corner_normals.reshape(-1, 3).round(9), axis=0)
    assert np.abs(normals).sum(axis=1) == pytest.approx(1.0)
    made = trimesh.creation.icosphere(subdivisions=3)
    ball = Mesh(made.vertices, made.faces)
    parts = smooth_parts(ball)
    assert parts.part.max() == 0
    # On a sphere about the origin a normal is its own place.
    along = np.einsum("ijk,ijk->ij", parts.corner_normals, ball.corners)
    assert np.degrees(np.arccos(along.min())) < 1.0


def test_the_board_takes_a_shadow_on_the_side_away_from_the_lamp():
    image = picture(view(box((0, 0, 0), (10, 10, 8)), elevation_deg=60.0, size_px=(300, 300)))
    assert image[0].min() > 250
    left, right = image[150, :75].astype(int), image[150, 225:].astype(int)
    assert right.min() < left.min() - 10


def test_a_thumbnail_shows_nothing_but_the_piece_and_its_shadow():
    small = thumbnail(box((0, 0, 0), (30, 30, 15)), (64, 48))
    assert small.shape == (48, 64, 4)
    assert small[24, 32, 3] == 255
    assert small[0, :, 3].max() < 5


def test_heights_alone_make_a_picture():
    heights = np.zeros((80, 80), dtype=np.float32)
    heights[20:60, 20:60] = 8.0
    image = height_picture(heights, 0.5)
    assert image.shape == (40, 40, 3)
    assert (image[0, 0] > 240).all()
    red, _, blue = image[20, 20].astype(int)
    assert red > blue + 50
