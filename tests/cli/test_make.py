"""`moulddesign make` as a person runs it, kills it, and fills the disk under it."""

import hashlib
import json
import os
import shutil
import signal
import subprocess
import sys
import time
from functools import cache
from pathlib import Path

import kept_designs
import pytest
import trimesh
from cli.command import environment, moulddesign
from command_line import ran, refused, run

FILES = {f"{name}.stl" for name in (*kept_designs.PRESS_PARTS, "pastry")} | {
    "report.json",
    "design.toml",
}
REAL = {
    "the demo, 75 g carved 3:7 one centre": [],
    "125 g square 4:6": [
        *("--weight", "125", "--ratio", "4:6", "--outline", "square", "--centre-mass", "0"),
        *("--pattern", "lantern"),
    ],
    "30 g round without centre": ["--weight", "30", "--centre-mass", "0"],
    "250 g square, two centres": [kept_designs.FILES["two-centres-250"]],
}
PLAIN = (
    '[portion]\nratio = "5:5"\n[relief]\nlayers = []\n[mould]\nkind = "block"\nlettering = false\n'
)
"""A design that is soon made."""
LITTLE = "30 g round without centre"
QUICK = ("--weight", "60", "--pattern", "lantern", "--formats", "stl")


@pytest.fixture(scope="module")
def kitchen(tmp_path_factory):
    return tmp_path_factory.mktemp("kitchen")


@pytest.fixture(scope="module")
def made(kitchen):
    """Return what gives exit code, report and folder of a real input, made once."""

    @cache
    def make(name):
        out = kitchen / name.replace(" ", "-")
        asked = ("make", *REAL[name], "--formats", "stl", "--json", "--out", out)
        code, said, _ = ran(*asked, folder=kitchen)
        return code, json.loads(said), out

    return make


def content(folder):
    """Return a digest of each file in a folder."""
    return {
        path.name: hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.iterdir())
        if path.is_file()
    }


ASKED = [pytest.param(n, marks=() if n == LITTLE else pytest.mark.slow) for n in REAL]
"""Of the others one is written as the README writes it, and most are built in tests/building."""


@pytest.mark.parametrize("name", ASKED)
def test_the_real_inputs_publish_with_no_failed_finding(made, name):
    code, report, out = made(name)
    assert code == 0
    assert {path.name for path in out.iterdir()} >= FILES
    assert {f["verdict"] for f in report["findings"]} <= {"good", "warn"}
    assert json.loads((out / "report.json").read_text(encoding="utf-8")) == report
    assert report["cautions"]


@pytest.mark.parametrize("name", ASKED)
def test_another_library_reads_the_files_back(made, name):
    _, report, out = made(name)
    for part in report["parts"]:
        body = trimesh.load_mesh(out / f"{part['name']}.stl")
        assert body.is_watertight
        assert body.is_winding_consistent
        assert body.body_count == 1
        assert body.volume / 1000.0 == pytest.approx(part["volume_ml"], rel=1e-6)
        assert body.extents == pytest.approx(part["size_mm"])
        assert body.bounds[0, 2] == 0.0
    pastry = trimesh.load_mesh(out / "pastry.stl")
    assert pastry.volume / 1000.0 == pytest.approx(report["portion"]["volume_ml"], rel=1e-3)


@pytest.mark.slow  # the usual run compares processes in tests/export, the page and a series
def test_the_published_design_makes_the_same_bytes_in_another_process(made, kitchen):
    _, first, out = made("250 g square, two centres")
    again = kitchen / "again"
    code, said, _ = moulddesign(
        *("make", out / "design.toml", "--formats", "stl", "--json", "--out", again),
        folder=kitchen,
        PYTHONHASHSEED="4242",
    )
    second = json.loads(said)
    assert code == 0
    assert first.pop("seconds").keys() == second.pop("seconds").keys()
    assert [report["digests"].pop("report") for report in (first, second)]
    assert first == second
    before, after = content(out), content(again)
    # The report holds the time that each stage took; everything else is the same.
    assert before.pop("report.json") != after.pop("report.json")
    assert before == after


def started(*arguments, folder):
    """Start `make`; return when the command line is loaded and its work begins."""
    code = (
        "import sys; from moulddesign.cli import main\n"
        f"sys.argv = ['moulddesign', 'make', *{list(map(str, arguments))!r}]\n"
        "print('loaded', file=sys.stderr, flush=True)\nmain()\n"
    )
    process = subprocess.Popen(  # noqa: S603 (our own command)
        [sys.executable, "-c", code],
        cwd=folder,
        env=environment(),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stderr.readline() == "loaded\n"
    return process


def hidden(folder):
    return [path for path in folder.iterdir() if path.name.startswith(".")]


class TestInterrupted:
    # Moments from before the geometry libraries to the writing of the files; the machine may be
    # slow or fast, so that some fall after the end: what must hold holds at every moment.
    @pytest.mark.parametrize(
        "seconds", [1.5, *(pytest.param(s, marks=pytest.mark.slow) for s in (0.1, 4.0))]
    )
    def test_a_killed_run_leaves_the_old_folder_whole(self, made, tmp_path, seconds):
        _, _, source = made(LITTLE)
        shutil.copytree(source, tmp_path / "out")
        before = content(tmp_path / "out")
        process = started(*QUICK, "--out", "out", "--overwrite", folder=tmp_path)
        time.sleep(seconds)
        process.kill()
        process.communicate()
        after = content(tmp_path / "out")
        assert after == before or set(after) >= FILES
        if after != before:
            report = json.loads((tmp_path / "out" / "report.json").read_text(encoding="utf-8"))
            assert report["design"]["portion"]["finished_weight_g"] == 60.0

    @pytest.mark.parametrize(
        ("seconds", "formats"),
        [
            (0.2, "stl"),
            *(pytest.param(s, "stl", marks=pytest.mark.slow) for s in (0.7, 2.0)),
            (1.4, "stl"),
            pytest.param(1.4, "step", id="while a second process loads"),
        ],
    )
    def test_ctrl_c_leaves_130_and_nothing_half_written(self, tmp_path, seconds, formats):
        process = started(*QUICK[:-1], formats, "--out", "out", folder=tmp_path)
        time.sleep(seconds)
        process.send_signal(signal.SIGINT)
        said, remarks = process.communicate()
        assert process.returncode == 130
        assert "Traceback" not in remarks
        assert said == ""
        assert list(tmp_path.iterdir()) == []


def limited(*arguments, folder, most_bytes):
    """Run `make` where no file may grow beyond a size, which a full disk looks like."""
    code = (
        "import resource, signal, sys; signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        f"resource.setrlimit(resource.RLIMIT_FSIZE, ({most_bytes}, {most_bytes}))\n"
        f"sys.argv = ['moulddesign', 'make', *{list(map(str, arguments))!r}]\n"
        "from moulddesign.cli import main\nmain()\n"
    )
    return subprocess.run(  # noqa: S603 (our own command)
        [sys.executable, "-c", code],
        cwd=folder,
        env=environment(PYTHONDONTWRITEBYTECODE="1"),
        capture_output=True,
        text=True,
        check=False,
    )


class TestDisk:
    @pytest.mark.skipif(sys.platform == "win32", reason="no limit on file sizes there")
    def test_a_full_disk_is_said_and_leaves_nothing(self, made, tmp_path):
        _, _, source = made(LITTLE)
        shutil.copytree(source, tmp_path / "out")
        before = content(tmp_path / "out")
        plain = tmp_path / "plain.toml"
        plain.write_text(PLAIN)
        asked = (plain, "--formats", "stl", "--out", "out", "--overwrite")
        done = limited(*asked, folder=tmp_path, most_bytes=20_000)
        assert done.returncode == 1
        assert done.stderr == "out: cannot be written (File too large).\n"
        assert content(tmp_path / "out") == before
        assert hidden(tmp_path) == []

    @pytest.mark.parametrize(
        ("out", "sentence"),
        [
            ("file/out", "would lie in 'file', which is a file; name another folder"),
            ("file", "is a file; name another folder with --out"),
            ("full", "holds other things (no report.json); name another folder with --out"),
            (".", "holds other things"),
            ("x" * 300, "cannot be made (File name too long)"),
        ],
    )
    def test_a_place_that_cannot_be_is_said(self, monkeypatch, capsys, tmp_path, out, sentence):
        monkeypatch.chdir(tmp_path)
        (tmp_path / "file").write_text("mine")
        (tmp_path / "full").mkdir()
        (tmp_path / "full" / "letter.txt").write_text("mine")
        code, said, remarks = run(monkeypatch, capsys, "make", *QUICK, "--out", out)
        assert (code, said) == (1, "")
        assert sentence in remarks
        assert remarks.count("\n") == 1
        assert (tmp_path / "file").read_text() == "mine"
        assert (tmp_path / "full" / "letter.txt").read_text() == "mine"
        assert {path.name for path in tmp_path.iterdir()} == {"file", "full"}

    @pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes on this system")
    def test_a_device_is_no_place_for_a_folder(self, monkeypatch, capsys, tmp_path):
        """Whoever may rename in /dev would lose /dev/null."""
        os.mkfifo(tmp_path / "device")
        for out in (tmp_path / "device", tmp_path / "device" / "out"):
            code, said, _ = run(monkeypatch, capsys, "make", *QUICK, "--out", out)
            assert (code, said) == (1, "")
        assert (tmp_path / "device").is_fifo()


@pytest.mark.parametrize("verb", ["make", "coupon"])
def test_another_mould_is_not_lost(made, monkeypatch, capsys, tmp_path, verb):
    *_, source = made(LITTLE)
    shutil.copytree(source, tmp_path / "mine")
    before = content(tmp_path / "mine")
    monkeypatch.chdir(tmp_path)
    quick = QUICK if verb == "make" else ()
    said = refused(monkeypatch, capsys, verb, *quick, "--out", "mine")
    assert said.startswith("mine: holds another mould (38 mm, 30 g, made ")
    assert said.endswith("such as mine-2, or give it up with --overwrite.")
    assert content(tmp_path / "mine") == before


class TestFailed:
    # Relief sunk by 3 mm cuts through the crust that 1:9 leaves.
    CUT = (
        '[portion]\nratio = "1:9"\n[relief]\nlayers = [{ pattern = "sun" }]\nsense = "sunk"\n'
        'depth_mm = 3\n[mould]\nkind = "block"\nlettering = false\n'
    )
    ASKED = ("make", "cut.toml", "--formats", "stl", "--out", "out")

    def test_a_failed_finding_publishes_nothing(self, monkeypatch, capsys, tmp_path):
        monkeypatch.chdir(tmp_path)
        (tmp_path / "cut.toml").write_text(self.CUT)
        code, said, remarks = run(monkeypatch, capsys, *self.ASKED, "--json")
        assert code == 1
        failed = [f["name"] for f in json.loads(said)["findings"] if f["verdict"] == "fail"]
        assert failed
        assert all(name in remarks for name in failed)
        assert "--keep-failing" in remarks
        assert [path.name for path in tmp_path.iterdir()] == ["cut.toml"]

    def test_unless_one_insists_and_then_the_report_says_so(self, monkeypatch, capsys, tmp_path):
        monkeypatch.chdir(tmp_path)
        (tmp_path / "cut.toml").write_text(self.CUT)
        code, _, _ = run(monkeypatch, capsys, *self.ASKED, "--keep-failing")
        assert code == 1
        written = {"block.stl", "pastry.stl", "report.json", "design.toml"}
        assert {path.name for path in (tmp_path / "out").iterdir()} >= written
        report = json.loads((tmp_path / "out" / "report.json").read_text(encoding="utf-8"))
        assert "fail" in {f["verdict"] for f in report["findings"]}


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["--relief-depth", "0"], "relief.depth_mm = 0.0: must be above 0 mm."),
        (["--draft", "0"], "relief.draft_deg = 0.0: must be at least 1 deg."),
        (["--sense", "up"], "relief.sense = 'up': must be one of raised, sunk."),
        (["--clearance", "nan"], "--clearance = 'nan': must be a number such as 12.5 mm."),
        (["--material", "gold"], "printer.material = 'gold': must be one of"),
        (["--pattern", "no-such"], "no-such"),
        (["--width", "390", "--sense", "sunk"], "pastry.width_mm = 390.0: leaves a height of"),
    ],
)
def test_bad_input_is_refused_before_anything_is_written(
    monkeypatch, capsys, tmp_path, arguments, sentence
):
    monkeypatch.chdir(tmp_path)
    assert sentence in refused(monkeypatch, capsys, "make", *arguments)
    assert list(tmp_path.iterdir()) == []


def test_a_missing_system_library_is_one_sentence(tmp_path):
    """A bare Debian lacks libGL: the loader's own words, raised where the kernel is imported."""
    (tmp_path / "OCP").mkdir()
    (tmp_path / "OCP" / "__init__.py").write_text(
        "raise ImportError('libGL.so.1: cannot open shared object file: No such file or directory')"
    )
    paths = os.pathsep.join([str(tmp_path), environment()["PYTHONPATH"]])
    (tmp_path / "plain.toml").write_text(PLAIN)
    asked = ("make", "plain.toml", "--formats", "step")
    code, said, remarks = moulddesign(*asked, folder=tmp_path, PYTHONPATH=paths)
    assert (code, said) == (1, "")
    assert "apt-get install libgl1" in remarks
    assert remarks.count("\n") == 1
    assert list((tmp_path / "exports").iterdir()) == []


def test_people_get_tables_and_the_cautions(kitchen):
    code, said, remarks = ran("make", *QUICK, "--out", "shown", folder=kitchen)
    assert code == 0
    for word in ("crust", "sleeve", "stamp", "plunger", "Findings", "food-safe", "Allergens"):
        assert word in said
    assert "Written to shown" in remarks
    assert Path(kitchen / "shown" / "report.json").is_file()
