"""GLB, read by two programs that did not write our part of it."""

import io

import numpy as np
import pytest
import trimesh
from export.builds import built
from pygltflib import GLTF2

from moulddesign.building import PASTRY
from moulddesign.export.formats import glb_bytes
from moulddesign.export.pictures import assembled_parts

NAMES = ["sleeve", "stamp", "plunger", "stop", "pastry"]


@pytest.fixture(scope="module")
def meshes():
    made = built("chestnut-75")
    return assembled_parts(made) | {PASTRY: made.meshes[PASTRY]}


@pytest.fixture(scope="module")
def raw(meshes):
    return glb_bytes(meshes)


def test_pygltflib_finds_a_named_node_a_part(raw):
    file = GLTF2.load_from_bytes(raw)
    named = [node.name for node in file.nodes if node.mesh is not None]
    assert sorted(named) == sorted(NAMES)
    assert file.asset.version == "2.0"
    for node in file.nodes:
        if node.mesh is not None:
            (primitive,) = file.meshes[node.mesh].primitives
            assert primitive.attributes.NORMAL is None  # glTF 2.0, 3.7.2.1: then facets are flat
            assert file.accessors[primitive.attributes.POSITION].type == "VEC3"


def test_bodies_are_in_metres_with_y_up(raw, meshes):
    scene = trimesh.load(io.BytesIO(raw), file_type="glb")
    for name in NAMES:
        body = scene.geometry[name]
        # float32 metres: coordinates within 2^-24 of 0.14 m, so the volume within area times that.
        assert body.volume * 1e9 == pytest.approx(
            meshes[name].volume_mm3, abs=meshes[name].area_mm2 * 140.0 * 2.0**-23
        )
        low, high = meshes[name].bounds
        assert np.allclose(body.bounds[:, 1] * 1e3, [low[2], high[2]], atol=1e-4)
        assert np.allclose(body.bounds[:, 2] * 1e3, [-high[1], -low[1]], atol=1e-4)


def test_the_parts_stand_as_they_are_used(raw):
    scene = trimesh.load(io.BytesIO(raw), file_type="glb")
    bounds = {name: scene.geometry[name].bounds * 1e3 for name in NAMES}
    height = built("chestnut-75").pastry.height_mm
    assert bounds["pastry"][0, 1] == pytest.approx(0.0, abs=1e-4)
    assert bounds["stamp"][0, 1] == pytest.approx(height, abs=1e-3)
    assert bounds["plunger"][1, 1] > bounds["sleeve"][1, 1]


def test_the_same_meshes_are_the_same_bytes(raw, meshes):
    assert glb_bytes(meshes) == raw
