"""3MF, read by the 3MF Consortium's own library in its strict mode, and by trimesh."""

import io
import re
import zipfile

import lib3mf
import numpy as np
import pytest
import trimesh
from export.builds import CASES, built
from kept_designs import PRESS_PARTS
from PIL import Image

from moulddesign.export.formats import arranged_on_bed, threemf_bytes
from moulddesign.export.pictures import printed_parts
from moulddesign.geometry import box

STEP_MM = float(np.spacing(np.float32(64.0)))
"""One step of float32 from 64 to 128 mm: what the library's own writing is true to [mm]."""


@pytest.fixture(scope="module")
def thumbnail():
    file = io.BytesIO()
    Image.new("RGB", (8, 8), "white").save(file, format="PNG")
    return file.getvalue()


@pytest.fixture(scope="module")
def raw(thumbnail):
    return written(printed_parts(built("chestnut-75")), thumbnail)


def written(meshes, thumbnail=None, bed_mm=(220.0, 220.0, 250.0), title="lantern night ✨"):
    return threemf_bytes(
        meshes, bed_mm=bed_mm, title=title, description="for trial", thumbnail=thumbnail
    )


def model_of(raw):
    model = lib3mf.get_wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)  # noqa: FBT003 (the library's own)
    reader.ReadFromBuffer(raw)
    assert reader.GetWarningCount() == 0
    return model


def objects_of(model):
    found = {}
    items = model.GetBuildItems()
    while items.MoveNext():
        item = items.GetCurrent()
        part = model.GetMeshObjectByID(item.GetObjectResourceID())
        corners = np.array([list(v.Coordinates) for v in part.GetVertices()])
        rows = np.array([list(t.Indices) for t in part.GetTriangleIndices()])
        shift = np.array([list(row) for row in item.GetObjectTransform().Fields])[3]
        found[part.GetName()] = (corners, rows, shift)
    return found


def test_the_consortium_reads_it_strictly_with_names_unit_and_words(raw):
    model = model_of(raw)
    assert model.GetUnit() == lib3mf.ModelUnit.MilliMeter
    assert tuple(objects_of(model)) == PRESS_PARTS
    words = model.GetMetaDataGroup()
    assert words.GetMetaDataByKey("", "Title").GetValue() == "lantern night ✨"
    assert words.GetMetaDataByKey("", "Description").GetValue() == "for trial"
    assert model.HasPackageThumbnailAttachment()


def test_every_object_holds_the_corners_of_its_mesh(raw):
    for name, (corners, rows, _) in objects_of(model_of(raw)).items():
        mesh = built("chestnut-75").meshes[name]
        middle = np.round(mesh.bounds.mean(axis=0)) * (1.0, 1.0, 0.0)
        assert np.abs(corners + middle - mesh.vertices).max() <= STEP_MM
        assert (rows == mesh.triangles).all()


@pytest.mark.parametrize("case", CASES)
def test_trimesh_reads_closed_bodies_of_the_same_volume(case):
    raw = written(printed_parts(built(case)))
    scene = trimesh.load(io.BytesIO(raw), file_type="3mf")
    for name, body in scene.geometry.items():
        mesh = built(case).meshes[name]
        assert body.is_watertight
        # Corners move by a step at most, so the volume by less than area times a step.
        assert body.volume == pytest.approx(mesh.volume_mm3, abs=mesh.area_mm2 * STEP_MM)


def test_parts_lie_on_the_bed_without_overlap(raw):
    boxes = []
    for corners, _, shift in objects_of(model_of(raw)).values():
        placed = corners + shift
        assert abs(placed[:, 2].min()) <= STEP_MM
        assert (placed[:, :2].min(axis=0) >= 0.0).all()
        assert (placed[:, :2].max(axis=0) <= 220.0).all()
        boxes.append((placed[:, :2].min(axis=0), placed[:, :2].max(axis=0)))
    assert_apart(boxes)


def test_what_the_bed_has_no_room_for_lies_beside_it():
    meshes = {f"part {n}": box((0.0, 0.0, 0.0), (90.0, 60.0, 5.0)) for n in range(7)}
    boxes = []
    for name, shift in arranged_on_bed(meshes, (200.0, 200.0, 200.0)):
        low, high = meshes[name].moved(shift).bounds
        boxes.append((low[:2], high[:2]))
    assert_apart(boxes)
    on_first = [high[0] <= 200.0 for _, high in boxes]
    assert on_first == [True] * 4 + [False] * 3 or on_first == [True] * 6 + [False]


def assert_apart(boxes):
    for number, (low, high) in enumerate(boxes):
        for other_low, other_high in boxes[number + 1 :]:
            gap = np.maximum(other_low - high, low - other_high)
            assert gap.max() > 1.0


def test_nothing_in_it_tells_the_time_or_is_drawn_at_random(raw, thumbnail):
    assert written(printed_parts(built("chestnut-75")), thumbnail) == raw
    model = zipfile.ZipFile(io.BytesIO(raw)).read("3D/3dmodel.model").decode()
    # RFC 4122, 4.1.3: the version stands first in the third group; 5 is by name, 4 at random.
    versions = re.findall(r'UUID="[0-9a-fA-F]{8}-[0-9a-fA-F]{4}-(\d)', model)
    assert versions
    assert set(versions) == {"5"}
    assert not re.search(r"20\d\d-\d\d-\d\d", model)
