"""What the view is sent: bodies that are light enough, laid out clear of each other, and cut."""

import json
import struct
from itertools import combinations

import kept_designs
import numpy as np
import pytest
import shapely
import trimesh

from moulddesign.building import mould_of, shaped
from moulddesign.geometry import Mesh, box
from moulddesign.page.view_bodies import (
    MOST_TRIANGLES,
    ViewBody,
    cut_at,
    cut_sizes,
    encode_bodies,
    light_enough,
    movable_layers,
    part_bodies,
)


def unpacked(content):
    """Return the head and, for each body, its arrays as bytes, as the view reads them."""
    (length,) = struct.unpack_from("<I", content)
    head, at, found = json.loads(content[4 : 4 + length]), 4 + length, []
    for body in head["bodies"]:
        arrays = {}
        for name, size in body["arrays"].items():
            arrays[name], at = content[at : at + size], at + size + -size % 4
        found.append(arrays)
    assert at == len(content)
    return head, found


def test_a_ball_cut_beside_its_middle_shows_a_smaller_circle():
    ball = trimesh.creation.icosphere(subdivisions=5, radius=10.0)
    body = ViewBody(
        name="ball", role="part", mesh=Mesh(ball.vertices, ball.faces), cut=shapely.Polygon()
    )
    head, (faces,) = unpacked(cut_at([body], -6.0))
    corners = np.frombuffer(faces["cut"], dtype="<f4").reshape(-1, 3, 2)
    # Pythagoras: 10^2 - 6^2 = 8^2; the facets lie less than 0.02 mm inside the ball
    assert head["at"] == -6.0
    assert shapely.area(shapely.polygons(corners)).sum() == pytest.approx(64.0 * np.pi, rel=0.01)


def test_a_heavy_mesh_is_drawn_with_fewer_triangles_and_keeps_its_shape():
    ball = trimesh.creation.icosphere(subdivisions=6, radius=10.0)
    assert len(ball.faces) > MOST_TRIANGLES
    light = light_enough(Mesh(ball.vertices, ball.faces))
    assert len(light.triangles) <= MOST_TRIANGLES
    ball_mm3 = 4.0 / 3.0 * np.pi * 10.0**3
    assert light.volume_mm3 == pytest.approx(ball_mm3, rel=0.002)


def test_a_cube_is_sent_with_a_normal_for_each_face_and_its_square_cut():
    cube = box((-5, -5, 0), (5, 5, 10))
    body = ViewBody(name="cube", role="part", mesh=cube, cut=shapely.box(-5, 0, 5, 10), map_px=96)
    head, (arrays,) = unpacked(encode_bodies("mould", [body]))
    vertices = np.frombuffer(arrays["vertices"], "<f4").reshape(-1, 3)
    normals = np.frombuffer(arrays["normals"], "i1").reshape(-1, 4)[:, :3] / 127.0
    triangles = np.frombuffer(arrays["triangles"], "<u4").reshape(-1, 3)
    assert len(vertices) == 24  # four corners of six faces
    drawn = Mesh(vertices, triangles)
    assert drawn.volume_mm3 == pytest.approx(1000.0)
    facets = trimesh.Trimesh(vertices, triangles, process=False).face_normals
    assert np.abs(normals[triangles] - facets[:, None]).max() < 1e-6
    cut = np.frombuffer(arrays["cut"], "<f4").reshape(-1, 3, 2)
    assert shapely.area(shapely.polygons(cut)).sum() == pytest.approx(100.0)
    assert arrays["top"][8:12] == arrays["board"][8:12] == b"WEBP"
    assert head["bodies"][0]["high"] == [5.0, 5.0, 10.0]


@pytest.mark.parametrize(
    "name",
    [
        "little-30", pytest.param("octagon-block-60", marks=pytest.mark.slow),
        pytest.param("hexagon-cast-30", marks=pytest.mark.slow),
    ],
)  # fmt: skip
def test_parts_lie_on_the_board_clear_of_each_other(name):
    design = kept_designs.kept(name)
    shape = shaped(design)
    laid = [one.laid.moved(one.laid_mm) for one in part_bodies(mould_of(design, shape), shape)]
    assert [mesh.bounds[0, 2] for mesh in laid] == pytest.approx([0.0] * len(laid))
    boxes = [shapely.box(*mesh.bounds[:, :2].ravel()) for mesh in (shape.pastry.mesh, *laid)]
    assert not any(one.intersects(other) for one, other in combinations(boxes, 2))


def test_little_paste_over_a_centre_is_known_at_the_cut():
    design = kept_designs.kept("chestnut-75")
    sizes = cut_sizes(shaped(design))
    # a date of 5 g: a ball in a filling that is higher than it by twice the paste over it
    across = sizes["centres"][0]["across"]
    assert sizes["paste"] == pytest.approx((sizes["filling"] - across) / 2.0, abs=0.1)
    assert sizes["paste"] > sizes["thin_paste"]
    large = design.with_values({"portion.centres": [{"name": "chestnut", "mass_g": 12.0}]})
    assert cut_sizes(shaped(large))["paste"] < sizes["thin_paste"]


def test_a_layer_says_where_its_artwork_lies_and_what_follows_a_rim_is_left_out():
    layers = [
        {"pattern": "moon-hill", "size_mm": 20.0, "x_mm": 4.0, "turn_deg": 90.0},
        {"text": "NIGHT", "along": "upper-rim"},
    ]
    design = kept_designs.kept("chestnut-75").with_values({"relief.layers": layers})
    shape = shaped(design)
    (layer,) = movable_layers(design, shape)["layers"]
    drawn = [p.shape for region in shape.pastry.relief for p in region.parts if p.place == 0]
    mine = [shapely.Polygon(ring) for ring in layer["rings"]]
    assert [layer[key] for key in ("place", "x", "turn", "size")] == [0, 4.0, 90.0, 20.0]
    box = shapely.union_all(drawn).bounds
    assert shapely.union_all(mine).bounds == pytest.approx(box, abs=0.3)


def test_a_layer_that_is_as_large_as_it_may_be_is_within_the_rim():
    design = kept_designs.kept("chestnut-75")
    shape = shaped(design)
    sent = movable_layers(design, shape)
    rim = np.array(sent["top"]["rim"])
    assert shapely.Polygon(rim).contains(shapely.multipoints(sent["layers"][0]["rings"][0]))
    free_mm = shape.pastry.outline.width_mm / 2.0 - shape.pastry.shoulder_radius_mm
    free_mm -= design.relief.margin_mm
    assert 0.0 < np.hypot(*rim.T).max() - free_mm < 0.5  # what both outlines may be off
