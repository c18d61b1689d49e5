import io
import os
import re
import struct
import zipfile
import zlib

import numpy as np
import pytest
import trimesh
from verify.shapes import primitive

from moulddesign.core import FileError, LengthUnit
from moulddesign.geometry.mesh_files import read_mesh
from moulddesign.geometry.topology import bounds_a_solid

CONTENT = (
    '<?xml version="1.0"?><model unit="{unit}" xmlns="{ns}">'
    "<resources>{body}</resources><build>{items}</build></model>"
)
NS = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
TETRA = (
    "<mesh><vertices>"
    '<vertex x="0" y="0" z="0"/><vertex x="1" y="0" z="0"/>'
    '<vertex x="0" y="1" z="0"/><vertex x="0" y="0" z="1"/>'
    "</vertices><triangles>"
    '<triangle v1="0" v2="2" v3="1"/><triangle v1="0" v2="1" v3="3"/>'
    '<triangle v1="0" v2="3" v3="2"/><triangle v1="1" v2="2" v3="3"/>'
    "</triangles></mesh>"
)
TETRA_MM3 = 1 / 6
ITEM = '<item objectid="1"/>'


def archive(path, model, name="3D/3dmodel.model"):
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as file:
        file.writestr(name, model)
    return path


def model(body=f'<object id="1">{TETRA}</object>', items=ITEM, unit="millimeter"):
    return CONTENT.format(unit=unit, ns=NS, body=body, items=items)


def stl_bytes(corners):
    """Binary STL byte by byte: 80 + 4 + 50 n bytes, little-endian, no unit."""
    body = b"".join(struct.pack("<12fH", 0, 0, 0, *np.ravel(triangle), 0) for triangle in corners)
    return b"\0" * 80 + struct.pack("<I", len(corners)) + body


CUBE = trimesh.creation.box((10, 20, 30))


@pytest.mark.parametrize("ending", ["stl", "stl_ascii", "obj", "ply", "3mf"])
def test_a_body_written_by_trimesh_reads_back_the_same(tmp_path, ending):
    path = tmp_path / f"cup.{ending.split('_')[0]}"
    data = CUBE.export(file_type=ending)
    path.write_bytes(data.encode() if isinstance(data, str) else data)
    mesh = read_mesh(path)
    assert mesh.size_mm.tolist() == [10, 20, 30]
    assert (len(mesh.vertices), len(mesh.triangles)) == (8, 12)
    assert mesh.volume_mm3 == pytest.approx(6000, rel=1e-12)


def test_a_binary_stl_is_read_byte_by_byte(tmp_path):
    path = tmp_path / "t.stl"
    path.write_bytes(stl_bytes(CUBE.triangles))
    assert path.stat().st_size == 80 + 4 + 50 * 12
    assert read_mesh(path).volume_mm3 == pytest.approx(6000, rel=1e-12)


def test_a_binary_stl_that_begins_with_solid_is_binary(tmp_path):
    path = tmp_path / "t.stl"
    path.write_bytes(b"solid facet".ljust(80) + stl_bytes(CUBE.triangles)[80:])
    assert len(read_mesh(path).triangles) == 12


@pytest.mark.parametrize(
    ("unit", "mm"),
    [  # inch: exactly 25.4 mm (ISO 80000-3)
        (LengthUnit.MM, 1.0), (LengthUnit.INCH, 25.4),
        (LengthUnit.CM, 10.0), (LengthUnit.M, 1000.0),
    ],
)  # fmt: skip
def test_a_unit_scales_the_file(tmp_path, unit, mm):
    path = tmp_path / "t.stl"
    path.write_bytes(stl_bytes(CUBE.triangles / 30))
    assert read_mesh(path, unit).size_mm[2] == pytest.approx(mm, rel=1e-7)  # float32


@pytest.mark.parametrize(
    ("unit", "mm"),
    [
        ("micron", 1e-3), ("millimeter", 1), ("centimeter", 10),
        ("inch", 25.4), ("foot", 304.8), ("meter", 1e3),
    ],
)  # fmt: skip
def test_a_3mf_names_its_own_unit(tmp_path, unit, mm):
    found = read_mesh(archive(tmp_path / "t.3mf", model(unit=unit)))
    assert found.volume_mm3 == pytest.approx(TETRA_MM3 * mm**3, rel=1e-12)


def test_components_and_transforms_of_a_3mf_place_the_body(tmp_path):
    # Row vectors times a 4 x 3 matrix (3MF core specification 1.4.0, 3.3): scale 2, then move.
    pair = (
        f'<object id="1">{TETRA}</object><object id="2"><components>'
        '<component objectid="1"/><component objectid="1" transform="2 0 0 0 2 0 0 0 2 5 0 0"/>'
        "</components></object>"
    )
    item = '<item objectid="2" transform="1 0 0 0 1 0 0 0 1 0 0 100"/>'
    found = read_mesh(archive(tmp_path / "t.3mf", model(pair, item)))
    assert found.volume_mm3 == pytest.approx(TETRA_MM3 * (1 + 8), rel=1e-12)
    assert found.bounds.tolist() == [[0, 0, 100], [7, 2, 102]]


def doubling(levels):
    steps = [f'<object id="0">{TETRA}</object>']
    for i in range(1, levels):
        inner = f'<component objectid="{i - 1}"/>' * 10
        steps.append(f'<object id="{i}"><components>{inner}</components></object>')
    return model("".join(steps), f'<item objectid="{levels - 1}"/>')


LOOP = '<object id="1"><components><component objectid="1"/></components></object>'


MISSPELT = re.sub("vertex [-0-9]+", "vertex five", CUBE.export(file_type="stl_ascii"), count=1)
MISSPELT = MISSPELT.encode()
TOO_MANY = b"\0" * 80 + struct.pack("<I", 2_000_001) + b"\0" * (50 * 2_000_001)


@pytest.mark.parametrize(
    ("name", "data", "sentence"),
    [
        ("a.stl", b"", "is empty"),
        ("a.stl", b"a shopping list\n" * 20, "is not a mesh"),
        ("a.stl", b"short", "is not a mesh"),
        ("a.obj", b"a shopping list\n" * 20, "can be read|holds no triangles"),
        ("a.stl", stl_bytes(CUBE.triangles)[:-70], "is truncated: its head promises 12"),
        ("a.stl", stl_bytes(CUBE.triangles) + b"xx", "is not an STL"),
        ("a.stl", CUBE.export(file_type="stl_ascii").encode()[:-300], "is truncated"),
        ("a.stl", MISSPELT, "not three numbers"),
        ("a.stl", stl_bytes(CUBE.triangles * np.nan), "not finite"),
        ("a.stl", stl_bytes(CUBE.triangles * np.inf), "not finite"),
        ("a.stl", stl_bytes(CUBE.triangles * 0), "has no size"),
        ("a.stl", stl_bytes(CUBE.triangles * (1, 1, 0)), "is a flat sheet"),
        ("a.stl", stl_bytes(CUBE.triangles * 1e6), "reaches farther than"),
        ("a.txt", b"x", "must end in .stl, .3mf, .obj, .ply"),
        ("a.3mf", CUBE.export(file_type="stl"), "holds something else"),
        ("a.stl", CUBE.export(file_type="ply"), "holds a .ply file; rename it"),
        ("a.ply", CUBE.export(file_type="ply")[:-40], "can be read"),
        ("a.ply", b"ply\nformat ascii 1.0\nelement vertex 9999999\nend_header\n", "promises more"),
        ("a.obj", b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 9\n", "can be read|does not hold"),
        ("a.stl", TOO_MANY, "the limit is 2000000"),
    ],
)  # fmt: skip
def test_a_bad_file_is_refused_with_one_sentence(tmp_path, name, data, sentence):
    path = tmp_path / name
    path.write_bytes(data)
    with pytest.raises(FileError, match=sentence) as caught:
        read_mesh(path)
    assert str(caught.value).count("\n") == 0


def test_turned_sheets_are_seen(tmp_path):
    turn = trimesh.transformations.rotation_matrix(1.0, (1, 2, 3))[:3, :3]
    path = tmp_path / "a.stl"
    path.write_bytes(stl_bytes((CUBE.triangles * (1, 1, 0)) @ turn))
    with pytest.raises(FileError, match="is a flat sheet"):
        read_mesh(path)


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (model(body=""), "builds nothing"),
        (model(items=""), "builds nothing"),
        (model(items='<item objectid="7"/>'), "builds nothing"),
        (model(body=LOOP), "nests components deeper than 16"),
        (doubling(9), "has more than 2000000 triangles"),
        (model() + "<oops", "not XML"),
        (model().replace('v1="0"', "", 1), "without a needed value"),
        (model(unit="ell"), "without a needed value: 'ell'"),
        ('<!DOCTYPE m [<!ENTITY a "b">]>' + model().split("?>")[1], "document type"),
    ],
)
def test_a_bad_3mf_is_refused_with_one_sentence(tmp_path, text, sentence):
    with pytest.raises(FileError, match=sentence):
        read_mesh(archive(tmp_path / "a.3mf", text))


def test_an_archive_bomb_is_refused_before_it_is_unpacked(tmp_path):
    path = archive(tmp_path / "a.3mf", b" " * 700_000_000)
    assert path.stat().st_size < 4_000_000
    with pytest.raises(FileError, match="unpacks to 700000000 bytes; the limit is 600000000"):
        read_mesh(path)


def test_an_archive_without_a_model_and_a_broken_one(tmp_path):
    with pytest.raises(FileError, match="holds no model"):
        read_mesh(archive(tmp_path / "a.3mf", "x", name="readme.txt"))
    whole = io.BytesIO()
    archive(whole, model())
    (tmp_path / "b.3mf").write_bytes(whole.getvalue()[:200])
    with pytest.raises(FileError, match="cannot be unpacked"):
        read_mesh(tmp_path / "b.3mf")


def test_an_archive_with_a_bit_turned_over_is_read_or_refused_in_a_sentence(tmp_path):
    whole = io.BytesIO()
    archive(whole, model())
    data, sentences = whole.getvalue(), []
    for bit in range(0, 8 * len(data), 3):
        damaged = bytearray(data)
        damaged[bit // 8] ^= 1 << bit % 8
        (tmp_path / "a.3mf").write_bytes(damaged)
        try:
            read_mesh(tmp_path / "a.3mf")
        except FileError as error:
            sentences.append(str(error))
    # The body's own bytes carry a check sum (PKWARE's APPNOTE 4.4.7): no flip in them goes unseen.
    assert not [sentence for sentence in sentences if "\n" in sentence]
    assert len(sentences) > 8 * len(zlib.compress(model().encode())) / 3 * 0.9


def test_a_corner_of_a_3mf_that_is_no_number(tmp_path):
    with pytest.raises(FileError, match=r"a value that is no number: .*'five'"):
        read_mesh(archive(tmp_path / "a.3mf", model().replace('y="1"', 'y="five"')))


def test_an_archive_of_very_many_files_and_one_packed_otherwise(tmp_path):
    with zipfile.ZipFile(tmp_path / "a.3mf", "w") as file:
        for number in range(10_001):
            file.writestr(f"{number}.model", "")
    with pytest.raises(FileError, match="holds more than 10000 files"):
        read_mesh(tmp_path / "a.3mf")
    with zipfile.ZipFile(tmp_path / "b.3mf", "w", zipfile.ZIP_LZMA) as file:
        file.writestr("3D/3dmodel.model", model())
    with pytest.raises(FileError, match="packed in a way that 3MF does not allow"):
        read_mesh(tmp_path / "b.3mf")


def test_a_folder_a_pipe_and_nothing_at_all(tmp_path):
    folder = tmp_path / "a.stl"
    folder.mkdir()
    with pytest.raises(FileError, match="is a folder"):
        read_mesh(folder)
    with pytest.raises(FileError, match="cannot be read"):
        read_mesh(tmp_path / "b.stl")
    os.mkfifo(tmp_path / "c.stl")
    with pytest.raises(FileError, match="is a device or a pipe"):
        read_mesh(tmp_path / "c.stl")


def test_a_unit_for_a_3mf_is_refused(tmp_path):
    with pytest.raises(FileError, match="names its own unit"):
        read_mesh(archive(tmp_path / "a.3mf", model()), LengthUnit.CM)


def test_corners_in_one_place_are_welded(tmp_path):
    path = tmp_path / "s.stl"
    sphere = primitive("icosphere", subdivisions=2, radius=20)
    path.write_bytes(stl_bytes(sphere.corners))
    assert len(read_mesh(path).vertices) == len(sphere.vertices)


def prism(corners):
    """Return corners and faces of a prism 7 high over a regular polygon of radius 5."""
    turns = 2.0 * np.pi * np.arange(corners) / corners
    ring = np.column_stack([5.0 * np.cos(turns), 5.0 * np.sin(turns)])
    points = [(x, y, z) for z in (0.0, 7.0) for x, y in ring]
    sides = [(i, (i + 1) % corners, (i + 1) % corners + corners, i + corners)
             for i in range(corners)]  # fmt: skip
    lids = [tuple(range(corners))[::-1], tuple(range(corners, 2 * corners))]
    return points, [*lids, *sides]


@pytest.mark.parametrize("ending", ["obj", "ply"])
@pytest.mark.parametrize("corners", [3, 4, 5])
def test_faces_of_more_corners_are_the_body_that_they_bound(tmp_path, corners, ending):
    points, faces = prism(corners)
    path = tmp_path / f"prism.{ending}"
    first = 1 if ending == "obj" else 0
    rows = [" ".join(f"{value:.9f}" for value in point) for point in points]
    named = [" ".join(str(corner + first) for corner in face) for face in faces]
    if ending == "obj":
        text = [*(f"v {row}" for row in rows), *(f"f {face}" for face in named)]
    else:
        text = [
            "ply", "format ascii 1.0", f"element vertex {len(rows)}", "property double x",
            "property double y", "property double z", f"element face {len(faces)}",
            "property list uchar int vertex_indices", "end_header", *rows,
            *(f"{len(face)} {name}" for face, name in zip(faces, named, strict=True)),
        ]  # fmt: skip
    path.write_text("\n".join(text) + "\n")
    mesh = read_mesh(path)
    assert len(mesh.triangles) == sum(len(face) - 2 for face in faces)
    # half of n r^2 sin(2 pi / n), times the height
    area = corners * 25.0 * np.sin(2.0 * np.pi / corners) / 2.0
    assert mesh.volume_mm3 == pytest.approx(7.0 * area, rel=1e-6)
    assert bounds_a_solid(mesh)


def test_an_obj_may_hold_names_in_any_encoding(tmp_path):
    path = tmp_path / "a.obj"
    path.write_bytes("o Gefäß\n".encode("latin-1") + CUBE.export(file_type="obj").encode())
    assert read_mesh(path).volume_mm3 == pytest.approx(6000, rel=1e-12)
