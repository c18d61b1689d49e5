"""Binary STL against the format's own layout, and read back by trimesh."""

import io
import struct

import numpy as np
import pytest
import trimesh

from moulddesign.export.formats import stl_bytes
from moulddesign.geometry import box, difference
from moulddesign.geometry.mending import in_float32


def body():
    return in_float32(difference(box((0, 0, 0), (9.1, 8.2, 7.3)), [box((1, 1, 1), (3, 3, 9))], "x"))


def test_the_layout_is_that_of_the_format():
    # 80 bytes of header, uint32 count, 50 bytes a triangle, little-endian; "solid" means ASCII
    # (M. Burns, Automated Fabrication, section 6.5).
    mesh = body()
    written = stl_bytes(mesh)
    assert len(written) == 80 + 4 + 50 * len(mesh.triangles)
    assert struct.unpack("<I", written[80:84]) == (len(mesh.triangles),)
    assert not written.lstrip().lower().startswith(b"solid")
    first = struct.unpack("<12fH", written[84:134])
    assert first[3:12] == tuple(mesh.corners[0].ravel())
    assert first[12] == 0


def test_normals_are_unit_and_point_outwards():
    mesh = body()
    raw = np.frombuffer(stl_bytes(mesh)[84:], dtype=np.uint8).reshape(-1, 50)[:, :48]
    normals = raw.copy().view("<f4").reshape(-1, 4, 3)[:, 0]
    # float32 holds a unit vector within 1.2e-7 a part.
    assert np.linalg.norm(normals, axis=1) == pytest.approx(np.ones(len(normals)), abs=3e-7)
    read = trimesh.Trimesh(mesh.vertices, mesh.triangles, process=False)
    assert normals == pytest.approx(read.face_normals, abs=3e-7)


def test_trimesh_reads_back_exactly_what_was_made():
    mesh = body()
    read = trimesh.load_mesh(io.BytesIO(stl_bytes(mesh)), file_type="stl")
    assert read.is_watertight
    assert read.volume == pytest.approx(mesh.volume_mm3, rel=1e-12)
    np.testing.assert_array_equal(np.unique(read.vertices, axis=0), mesh.vertices)


def test_the_same_mesh_is_the_same_bytes():
    assert stl_bytes(body()) == stl_bytes(body())
