"""Meshes that are none, in every format and through both verbs that read them."""

import subprocess
import sys
import zipfile
from struct import pack

import numpy as np
import pytest
import trimesh
from cli.command import COMMAND, environment
from command_line import run

VERBS = {"inspect": ("inspect",), "fit": ("fit", "--mesh")}
FORMATS = ("stl", "3mf", "obj", "ply")
WORDS = b"a pound of flour and a stick of butter\n" * 10
CUBE = trimesh.creation.box((50.0, 40.0, 30.0))
MODEL = (
    '<?xml version="1.0"?><model unit="millimeter" '
    'xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02"><resources>'
    '<object id="1"><mesh><vertices>{vertices}</vertices><triangles>{triangles}</triangles></mesh>'
    '</object></resources><build><item objectid="1"/></build></model>'
)


def model_bytes(corners, faces):
    vertices = "".join(f'<vertex x="{x}" y="{y}" z="{z}"/>' for x, y, z in corners)
    triangles = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in faces)
    return MODEL.format(vertices=vertices, triangles=triangles).encode()


def obj_bytes(corners, faces):
    rows = [f"v {x} {y} {z}" for x, y, z in corners]
    return "\n".join([*rows, *(f"f {a + 1} {b + 1} {c + 1}" for a, b, c in faces), ""]).encode()


def ply_bytes(corners, faces):
    head = (
        f"ply\nformat ascii 1.0\nelement vertex {len(corners)}\nproperty float x\n"
        f"property float y\nproperty float z\nelement face {len(faces)}\n"
        "property list uchar int vertex_indices\nend_header\n"
    )
    rows = [f"{x} {y} {z}" for x, y, z in corners]
    return (head + "\n".join([*rows, *(f"3 {a} {b} {c}" for a, b, c in faces), ""])).encode()


def stl_bytes(corners, faces):
    records = [pack("<12fH", 0, 0, 0, *np.ravel(corners[list(face)]), 0) for face in faces]
    return bytes(80) + pack("<I", len(faces)) + b"".join(records)


def archived(path, content):
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        archive.writestr("3D/3dmodel.model", content)


WRITERS = {"stl": stl_bytes, "obj": obj_bytes, "ply": ply_bytes}
CHANGES = {
    "NaN": lambda c: np.where(c == c.max(), np.nan, c),
    "infinite": lambda c: np.where(c == c.max(), np.inf, c),
    "zero size": lambda c: c * 0.0 + 3.0,
    "flat sheet": lambda c: c * (1.0, 1.0, 0.0),
    "line": lambda c: c * (1.0, 0.0, 0.0),
}


def saved(folder, ending, corners, faces):
    path = folder / f"bad.{ending}"
    if ending == "3mf":
        archived(path, model_bytes(corners, faces))
    else:
        path.write_bytes(WRITERS[ending](corners, faces))
    return path


def one_sentence(monkeypatch, capsys, verb, path):
    code, out, err = run(monkeypatch, capsys, *VERBS[verb], path)
    assert (code, out) == (2, ""), err
    assert str(path) in err
    assert err.count("\n") == 1
    assert err.endswith(".\n")
    return err


@pytest.mark.parametrize("verb", VERBS)
@pytest.mark.parametrize("ending", FORMATS)
@pytest.mark.parametrize("change", CHANGES)
def test_coordinates_that_bound_nothing(monkeypatch, capsys, tmp_path, verb, ending, change):
    path = saved(tmp_path, ending, CHANGES[change](np.array(CUBE.vertices)), CUBE.faces)
    one_sentence(monkeypatch, capsys, verb, path)


@pytest.mark.parametrize("verb", VERBS)
@pytest.mark.parametrize("ending", FORMATS)
@pytest.mark.parametrize("kind", ["empty", "words", "cut off", "other format", "folder"])
def test_files_that_hold_no_mesh(monkeypatch, capsys, tmp_path, verb, ending, kind):
    whole = saved(tmp_path, ending, np.array(CUBE.vertices), CUBE.faces).read_bytes()
    path = tmp_path / f"{kind.replace(' ', '-')}.{ending}"
    other = stl_bytes(np.array(CUBE.vertices), CUBE.faces)
    other = ply_bytes(CUBE.vertices, CUBE.faces) if ending == "stl" else other
    cut = whole[: -len(whole) // 3]
    if kind == "folder":
        path.mkdir()
    else:
        path.write_bytes(
            {"empty": b"", "words": WORDS, "cut off": cut, "other format": other}[kind]
        )
    one_sentence(monkeypatch, capsys, verb, path)


@pytest.mark.parametrize("verb", VERBS)
@pytest.mark.parametrize("name", ["cup.step", "cup", "cup.stl.gz", "nowhere.stl"])
def test_names_of_no_mesh(monkeypatch, capsys, tmp_path, verb, name):
    path = tmp_path / name
    if name != "nowhere.stl":
        path.write_bytes(stl_bytes(np.array(CUBE.vertices), CUBE.faces))
    one_sentence(monkeypatch, capsys, verb, path)


HEAD = MODEL.partition("{vertices}")[0].encode()
BLANKS = 300_000_000
"""Under the limit for what an archive may unpack to: it is read, in pieces."""
BOMBS = {
    "over the limit": lambda path: archived(path, b" " * 700_000_000),
    "under the limit": lambda path: archived(path, MODEL.encode() + b" " * BLANKS),
    "many objects": lambda path: archived(path, _doubled(12)),
    "many components": lambda path: archived(path, _inside(b'<component objectid="1"/>')),
    "many corners": lambda path: archived(path, _inside(b'<vertex x="0" y="0" z="0"/>')),
    "one long element": lambda path: archived(path, HEAD + b'<vertex x="' + b"1" * BLANKS),
}
MOST_KB = 450_000
"""The libraries take 200 MB; what is unpacked never stands in the memory whole."""


def _inside(element):
    """Return a model that holds an element as often as fits."""
    return HEAD + element * (BLANKS // len(element))


def _doubled(levels):
    """Objects of ten components each: ten to the power of the levels, in some kilobytes."""
    body = model_bytes(np.array(CUBE.vertices), CUBE.faces).decode()
    objects = [
        f'<object id="{n}"><components>{f"<component objectid={chr(34)}{n - 1}{chr(34)}/>" * 10}'
        "</components></object>"
        for n in range(2, levels)
    ]
    body = body.replace("</resources>", "".join(objects) + "</resources>")
    return body.replace('<item objectid="1"/>', f'<item objectid="{levels - 1}"/>').encode()


def asked_in_the_usual_run(verb, bomb):
    """Both verbs read an archive by one function, and its limit is held in tests/geometry."""
    return verb == "inspect" and bomb in {"many objects", "one long element"}


@pytest.mark.parametrize(
    ("verb", "bomb"),
    [
        pytest.param(
            verb, bomb, marks=() if asked_in_the_usual_run(verb, bomb) else pytest.mark.slow
        )
        for verb in VERBS
        for bomb in BOMBS
    ],
)
def test_an_archive_bomb_is_one_sentence_and_takes_little_memory(tmp_path, verb, bomb):
    """Each in a process of its own, whose peak of memory the kernel counts (getrusage(2))."""
    path = tmp_path / "bomb.3mf"
    BOMBS[bomb](path)
    assert path.stat().st_size < 4_000_000
    measured = (
        "import resource, subprocess, sys; done = subprocess.run(sys.argv[1:]); "
        "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss); sys.exit(done.returncode)"
    )
    done = subprocess.run(  # noqa: S603 (our own command)
        [sys.executable, "-c", measured, *COMMAND, *VERBS[verb], path],
        env=environment(), capture_output=True, text=True, timeout=300, check=False,
    )  # fmt: skip
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert str(path) in done.stderr
    assert int(done.stdout) < MOST_KB
