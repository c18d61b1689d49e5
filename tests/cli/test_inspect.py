import json

import pytest
import trimesh
from command_line import run


@pytest.fixture
def tube(tmp_path):
    path = tmp_path / "tube.stl"
    trimesh.creation.annulus(r_min=20, r_max=22.8, height=30, sections=128).export(path)
    return path


def test_a_tube_in_json(monkeypatch, capsys, tube):
    code, out, err = run(monkeypatch, capsys, "inspect", tube, "--json")
    report = json.loads(out)
    assert (code, err) == (0, "")
    assert report["size_mm"] == pytest.approx([45.6, 45.6, 30], abs=1e-4)
    # Ring between two regular 128-gons, n / 2 sin(2 pi / n) (R^2 - r^2) h.
    assert report["volume_ml"] == pytest.approx(64 * 0.0490676743 * 119.84 * 30 / 1000, rel=1e-5)
    assert (report["watertight"], report["bodies"], report["triangles"]) == (True, 1, 1024)
    (wall,) = [f for f in report["findings"] if f["name"] == "mesh: thinnest wall"]
    assert wall["measured"] == pytest.approx(2.8, abs=0.01)
    assert {f["verdict"] for f in report["findings"]} == {"good"}


def test_the_table_names_each_fact(monkeypatch, capsys, tube):
    code, out, _ = run(monkeypatch, capsys, "inspect", tube)
    assert code == 0
    for word in ("size, mm", "watertight", "thinnest wall", "45.60 x 45.60 x 30.00"):
        assert word in out
    assert max(map(len, out.splitlines())) <= 80


def test_a_unit_scales_what_is_told(monkeypatch, capsys, tube):
    _, out, _ = run(monkeypatch, capsys, "inspect", tube, "--unit", "inch", "--json")
    assert json.loads(out)["size_mm"][2] == pytest.approx(762.0, rel=1e-6)


def test_a_broken_mesh_fails_and_is_mended_only_when_asked(monkeypatch, capsys, tmp_path):
    path = tmp_path / "open.ply"
    body = trimesh.creation.box((20, 20, 20))
    trimesh.Trimesh(body.vertices, body.faces[1:], process=False).export(path)
    code, out, _ = run(monkeypatch, capsys, "inspect", path, "--json")
    assert (code, json.loads(out)["volume_ml"], json.loads(out)["mended"]) == (1, None, [])
    code, out, err = run(monkeypatch, capsys, "inspect", path, "--mend", "--json")
    report = json.loads(out)
    assert (code, report["mended"]) == (0, ["1 hole was closed"])
    assert report["volume_ml"] == pytest.approx(8.0, rel=1e-9)
    assert "Mended: 1 hole was closed." in err


@pytest.mark.parametrize(
    ("name", "data", "sentence"),
    [("a.stl", b"", "is empty"), ("a.txt", b"x", "must end in"), ("a.3mf", b"x", "something else")],
)
def test_a_bad_file_is_one_sentence_and_exit_2(monkeypatch, capsys, tmp_path, name, data, sentence):
    (tmp_path / name).write_bytes(data)
    code, out, err = run(monkeypatch, capsys, "inspect", tmp_path / name)
    assert (code, out) == (2, "")
    assert sentence in err
    assert err.count("\n") == 1
