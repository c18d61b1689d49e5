import json
import os
import subprocess

import numpy as np
import pytest
import trimesh
from cli.command import COMMAND, environment
from command_line import run
from manifold3d import Manifold

from moulddesign.export.formats import made_larger_text, stl_bytes, threemf_bytes
from moulddesign.geometry import box
from moulddesign.geometry.mending import in_float32


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


@pytest.mark.parametrize("ending", ["stl", "3mf"])
def test_a_file_made_larger_for_shrinkage_has_the_volume_of_its_print(
    monkeypatch, capsys, tmp_path, ending
):
    scale = 1.0 / 0.98  # a box of 20 mm that prints 2 % smaller than its file
    mesh = box((0, 0, 0), (20, 20, 20)).scaled(scale)
    data = stl_bytes(in_float32(mesh), scale)
    if ending == "3mf":
        data = threemf_bytes(
            {"box": mesh}, bed_mm=(220, 220, 250), title="box", thumbnail=None,
            description="A box" + made_larger_text(scale),
        )  # fmt: skip
    path = tmp_path / f"box.{ending}"
    path.write_bytes(data)
    code, out, err = run(monkeypatch, capsys, "inspect", path, "--json")
    report = json.loads(out)
    assert code == 0
    assert report["volume_ml"] == pytest.approx(8.0, rel=1e-5)
    assert report["made_larger"] == pytest.approx(scale, abs=1e-6)
    assert "2.04%" in err
    if ending == "stl":  # what is mended is as large as it was, and still says so
        whole = tmp_path / "whole.stl"
        run(monkeypatch, capsys, "inspect", path, "--mend", "--out", whole)
        assert trimesh.load(whole).extents == pytest.approx([20 * scale] * 3, rel=1e-5)
        _, out, _ = run(monkeypatch, capsys, "inspect", whole, "--json")
        assert json.loads(out)["volume_ml"] == pytest.approx(8.0, rel=1e-5)


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


def open_box(folder):
    body = trimesh.creation.box((20, 20, 20))
    path = folder / "open.ply"
    trimesh.Trimesh(body.vertices, body.faces[1:], process=False).export(path)
    return path


def test_a_mended_mesh_can_be_saved_and_is_whole(monkeypatch, capsys, tmp_path):
    path, target = open_box(tmp_path), tmp_path / "whole.stl"
    code, _, err = run(monkeypatch, capsys, "inspect", path, "--mend", "--out", target)
    assert code == 0
    assert f"Written to {target}" in err
    saved = trimesh.load(target)
    assert (saved.is_watertight, saved.is_winding_consistent) == (True, True)
    assert saved.volume == pytest.approx(8000.0, rel=1e-6)  # float32
    assert sorted(p.name for p in tmp_path.iterdir()) == ["open.ply", "whole.stl"]


def test_a_curved_mesh_with_holes_is_saved_whole(monkeypatch, capsys, tmp_path):
    ball = trimesh.creation.icosphere(subdivisions=4, radius=20)
    path, target = tmp_path / "ball.ply", tmp_path / "whole.stl"
    kept = [n for n in range(len(ball.faces)) if n % 50]
    trimesh.Trimesh(ball.vertices / 3, ball.faces[kept], process=False).export(path)
    run(monkeypatch, capsys, "inspect", path, "--mend", "--out", target)
    assert trimesh.load(target).is_watertight


def test_a_mesh_that_collapses_in_its_file_is_not_saved(monkeypatch, capsys, tmp_path):
    path, target = tmp_path / "dust.ply", tmp_path / "whole.stl"
    trimesh.creation.box((1e-30, 1e-30, 1e-30)).export(path)
    code, _, err = run(monkeypatch, capsys, "inspect", path, "--mend", "--out", target)
    assert code == 1
    assert "float32 cannot hold its finest facets" in err
    assert not target.exists()


def test_a_mended_mesh_never_takes_a_file_s_place(monkeypatch, capsys, tmp_path):
    path, target = open_box(tmp_path), tmp_path / "whole.stl"
    other = path.rename(tmp_path / "open.stl")
    trimesh.load(other, file_type="ply").export(other)
    target.write_text("mine")
    before = other.read_bytes()
    for arguments, sentence in (
        ((other, "--out", target), "--out does nothing without --mend; add it"),
        ((other, "--mend", "--out", tmp_path / "whole.obj"), "must end in .stl"),
        ((other, "--mend", "--out", other), "is the mesh that is read"),
        ((other, "--mend", "--out", other, "--overwrite"), "is the mesh that is read"),
        ((other, "--mend", "--out", target), "is there already"),
    ):
        code, out, err = run(monkeypatch, capsys, "inspect", *arguments)
        assert (code, out) == (2, "")
        assert sentence in err
        assert err.count("\n") == 1
    assert (target.read_text(), other.read_bytes()) == ("mine", before)
    nowhere = tmp_path / "no" / "whole.stl"
    code, _, err = run(monkeypatch, capsys, "inspect", other, "--mend", "--out", nowhere)
    assert (code, "cannot be written" in err) == (1, True)


@pytest.fixture
def terminal():
    """Return both ends of a terminal, where the system has such a device."""
    pty = pytest.importorskip("pty", reason="no terminals of this kind on this system")
    try:
        return pty.openpty()
    except OSError as error:
        pytest.skip(f"no terminal can be opened here ({error.strerror})")


@pytest.mark.parametrize(
    "verb",
    [
        pytest.param(("inspect",), id="inspect"),
        pytest.param(("fit", "--mesh"), id="fit", marks=pytest.mark.slow),
    ],
)
def test_a_terminal_sees_a_bar_over_the_stages(tmp_path, terminal, verb):
    path = tmp_path / "cup.stl"
    fine = [trimesh.creation.icosphere(subdivisions=5, radius=r) for r in (30.0, 20.0)]
    fine[1].invert()
    trimesh.util.concatenate(fine).export(path)
    ours, theirs = terminal
    done = subprocess.Popen(  # noqa: S603 (our own command)
        [*COMMAND, *verb, path], env=environment(TERM="xterm"), stdout=subprocess.DEVNULL,
        stderr=theirs,
    )  # fmt: skip
    os.close(theirs)
    seen = _read_all(ours)
    done.wait(timeout=120)
    assert "reading" in seen
    assert "checking" in seen
    assert "\u2501" in seen  # the bar itself


def _read_all(terminal):
    pieces = []
    while True:
        try:
            pieces.append(os.read(terminal, 65536))
        except OSError:  # Linux says so where the other end is closed
            os.close(terminal)
            return b"".join(pieces).decode()


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


def cup():
    """Return a block with a bowl of fine facets in its top."""
    block = Manifold.cube([80.0, 80.0, 40.0]).translate([-40.0, -40.0, -40.0])
    return block - Manifold.sphere(30.0, 2812), 10.0


def shell():
    """Return a hollow ball, nearly half of which hangs over, with walls that all are thin."""
    return Manifold.sphere(30.0, 1408) - Manifold.sphere(28.5, 1408), 1.5


@pytest.mark.slow
@pytest.mark.parametrize("body", [cup, shell])
def test_two_million_triangles_in_20_seconds_and_2_gb(tmp_path, body):
    solid, wall_mm = body()
    raw, path = solid.to_mesh64(), tmp_path / "large.stl"
    assert 1_900_000 < len(raw.tri_verts) <= 2_000_000
    corners = np.asarray(raw.vert_properties)[:, :3]
    trimesh.Trimesh(corners, np.asarray(raw.tri_verts), process=False).export(path)
    with (tmp_path / "said").open("w+") as said:
        ran = subprocess.Popen(  # noqa: S603 (our own command)
            [*COMMAND, "inspect", str(path), "--json"], env=environment(), stdout=said
        )
        _, code, spent = os.wait4(ran.pid, 0)
        ran.returncode = code
        said.seek(0)
        report = json.load(said)
    # Seconds of the processor: those on the clock depend on what else the machine does.
    assert spent.ru_utime + spent.ru_stime < 20.0
    assert spent.ru_maxrss < 2_000_000  # kB
    assert code == 0
    (wall,) = [f for f in report["findings"] if f["name"] == "mesh: thinnest wall"]
    # Left out is 0.05 % of the cup's 28,000 mm2: discs of 1.5 mm at its pole reach 0.04 mm up.
    assert wall["measured"] == pytest.approx(wall_mm, abs=0.06)
