"""`moulddesign series` as a person runs it, stops it, and loses a worker."""

import json
import os
import re
import shutil
import signal
import subprocess
import sys
import threading
import time
from functools import partial
from multiprocessing.process import BaseProcess
from pathlib import Path

import kept_designs
import pytest
from cli.command import COMMAND, environment
from command_line import ran, refused, run_here

from moulddesign.design import Design, read_set_file, save_readings
from moulddesign.export import ExportOptions
from moulddesign.series import orders
from moulddesign.series.orders import Order, run_all

FILES = {f"{name}.stl" for name in (*kept_designs.PRESS_PARTS, "pastry")} | {
    "report.json",
    "design.toml",
}
KEYS = (
    "name;portion.finished_weight_g;portion.ratio;relief.sense;relief.depth_mm;"
    "relief.layers.1.pattern;relief.layers.1.size_mm;portion.centres.1.mass_g;mould.lettering\n"
)
GOOD = "figs;40;5:5;;;bee;;3;no\n"
# Relief sunk by 3 mm cuts through the crust that 1:9 leaves.
FAILING = "cut;75;1:9;sunk;3;sun;;3;no\n"
# No pastry of 60 g is 300 mm wide.
REFUSED = "huge;60;3:7;;;sun;300;3;no\n"
TABLE = KEYS + FAILING + REFUSED + GOOD
BOARD = "name;portion.finished_weight_g;portion.ratio;mould.kind;mould.lettering\n"
STL = ("cakes.csv", "--formats", "stl", "--out", "out")
BOARD_FILES = {"block.stl", "pastry.stl", "report.json", "design.toml"}
"""A plain piece in a block is the one that is soonest made."""


def content(folder):
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def names(folder):
    return sorted(path.name for path in folder.iterdir())


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """Return exit code, report, remarks and folder of a series of three."""
    folder = tmp_path_factory.mktemp("series")
    (folder / "cakes.csv").write_text("\ufeff" + TABLE, encoding="utf-8")
    arguments = ("cakes.csv", "--formats", "stl", "--out", "out", "--jobs", "1", "--json")
    code, said, remarks = ran("series", *arguments, folder=folder)
    return code, json.loads(said), remarks, folder


def test_what_fails_does_not_stop_the_others(made):
    code, report, remarks, folder = made
    assert code == 1
    assert report["jobs"] == 1
    cut, huge, figs = report["pieces"]
    assert [piece["name"] for piece in report["pieces"]] == ["cut", "huge", "figs"]
    assert (cut["state"], cut["written"]) == ("failing", False)
    assert cut["failed"]
    assert all(name in cut["said"] for name in cut["failed"])
    assert (huge["state"], huge["place"], huge["width_mm"]) == ("not made", "row 3", None)
    assert "does not fit on the top; it takes" in huge["said"]
    assert (figs["state"], figs["written"], figs["said"]) == ("made", True, "")
    assert figs["finished_g"] == 40.0
    assert figs["loss_unmeasured"]  # no row names a dough or gives a loss
    assert "row 2, cut: Nothing is written" in remarks
    assert "row 3, huge: relief.layers.size_mm = 300.0: does not fit" in remarks
    assert "1 of 3 written to out" in remarks
    assert names(folder) == ["cakes.csv", "out"]
    assert names(folder / "out") == ["figs"]
    # Without a base a row starts from a plain piece, not from the demo and its date.
    (centre,) = Design.read(folder / "out" / "figs" / "design.toml").portion.centres
    assert (centre.name, centre.mass_g) == ("centre", 3.0)


def test_a_piece_has_the_bytes_that_make_gives_it(made, tmp_path):
    *_, folder = made
    design = folder / "out" / "figs" / "design.toml"
    arguments = (design, "--formats", "stl", "--out", tmp_path / "made", "--json")
    code, said, _ = ran("make", *arguments, folder=tmp_path)
    assert code == 0
    first, second = content(folder / "out" / "figs"), content(tmp_path / "made")
    assert set(first) >= FILES
    # The report holds the time that each stage took; everything else is the same.
    reports = [json.loads(files.pop("report.json")) for files in (first, second)]
    assert first == second
    assert [report.pop("seconds").keys() for report in reports]
    assert [report["digests"].pop("report") for report in reports]
    assert reports[0] == reports[1]
    height_mm = made[1]["pieces"][2]["height_mm"]
    assert json.loads(said)["pastry"]["height_mm"] == height_mm


@pytest.mark.slow
def test_failing_pieces_are_published_where_one_insists(tmp_path):
    (tmp_path / "cakes.csv").write_text(KEYS + FAILING)
    arguments = ("cakes.csv", "--formats", "stl", "--out", ".", "--keep-failing")
    code, said, remarks = ran("series", *arguments, folder=tmp_path)
    assert code == 1
    for word in ("cut", "75.00", "failing", "Series"):
        assert word in said
    assert "1 of 1 written to ." in remarks
    assert names(tmp_path) == ["cakes.csv", "cut"]
    report = json.loads((tmp_path / "cut" / "report.json").read_text(encoding="utf-8"))
    assert "fail" in {found["verdict"] for found in report["findings"]}


@pytest.mark.parametrize(
    ("text", "more", "sentence"),
    [
        (
            TABLE + "x;-1;3:7;;;bee;;3;no\n",
            (),
            "row 5, column portion.finished_weight_g = -1.0: must",
        ),
        (
            TABLE + "figs;60;3:7;;;bee;;3;no\n",
            (),
            "row 5, column name = 'figs': is the name of row 4",
        ),
        # 30 g of filling hold no centre of 50 g: arithmetic alone tells, before anything is built.
        (TABLE + "x;43;3:7;;;bee;;50;no\n", (), "row 5, portion.centres"),
        # Drawings are looked for before anything is built, too.
        (TABLE + "x;43;3:7;;;no.svg;;3;no\n", (), "row 5, pattern = "),
        (
            TABLE + "x;43;3:7;;;waln;;3;no\n",
            (),
            "row 5, pattern = 'waln': must be a bundled pattern",
        ),
        (TABLE, ("--jobs", "0"), "--jobs = 0: must be between 1 and 256."),
        (TABLE, ("--formats", "stp"), "formats = 'stp': must name some of"),
        (TABLE, ("--base", "none.toml"), "none.toml: cannot be read (No such file"),
    ],
)
def test_bad_input_is_refused_before_anything_is_built(
    monkeypatch, capsys, tmp_path, text, more, sentence
):
    (tmp_path / "cakes.csv").write_text(text)
    monkeypatch.chdir(tmp_path)
    said = refused(monkeypatch, capsys, "series", "cakes.csv", "--out", "out", *more)
    assert said.startswith(sentence)
    assert names(tmp_path) == ["cakes.csv"]


def test_a_folder_with_other_things_in_it_stops_the_series_before_it_begins(tmp_path):
    (tmp_path / "cakes.csv").write_text(TABLE)
    (tmp_path / "out" / "figs").mkdir(parents=True)
    (tmp_path / "out" / "figs" / "letter.txt").write_text("mine")
    code, said, remarks = ran("series", "cakes.csv", "--out", "out", folder=tmp_path)
    assert (code, said) == (1, "")
    assert "holds other things (no report.json)" in remarks
    assert names(tmp_path / "out") == ["figs"]


def started(folder, *arguments):
    return subprocess.Popen(  # noqa: S603 (our own command)
        [*COMMAND, "series", *STL, *arguments],
        cwd=folder,
        env=environment(),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,  # as a terminal does: Ctrl-C reaches all of its processes
    )


def written_at(folder):
    """Return when each file was written."""
    return {
        path.name: path.stat().st_mtime_ns for path in folder.iterdir() if ".gcode" not in path.name
    }


@pytest.fixture
def in_one_process(monkeypatch):
    """Build the pieces here, one after another: nothing is loaded again for them."""
    monkeypatch.setattr(orders, "run_in_pool", run_here)


def test_what_takes_longest_begins_first(monkeypatch, tmp_path):
    fig = {"name": "fig", "layers": [{"pattern": "sun"}]}
    designs = [
        Design(), Design.of({"face": {"name": "wheat"}}), Design(),
        Design.of({"face": {"name": "wheat"}, "further_stamps": [fig]}),
    ]  # fmt: skip
    begun = []
    monkeypatch.setattr(
        orders,
        "run_in_pool",
        lambda calls, *_: begun.extend(given[0].place for _, given in calls) or (),
    )
    asked = [
        Order(
            place=f"row {number}", design=design, target=tmp_path / "out" / str(number),
            options=ExportOptions(), keep_failing=False,
        )
        for number, design in enumerate(designs, start=2)
    ]  # fmt: skip
    assert list(run_all(asked, tmp_path / "out", 2)) == []
    assert begun == ["row 5", "row 3", "row 2", "row 4"]


def waited_for(condition, process):
    """Wait until something holds, the process being alive; return what it is."""
    end = time.monotonic() + 120.0
    while time.monotonic() < end and process.poll() is None:
        found = condition()
        if found:
            return found
        time.sleep(0.05)
    raise AssertionError(process.communicate())


def files_in(folder):
    return [path for path in folder.rglob("*") if path.is_file()] if folder.exists() else []


@pytest.mark.skipif(sys.platform == "win32", reason="no process groups there")
class TestInterrupted:
    def test_ctrl_c_leaves_130_and_whole_folders_only(self, made, tmp_path):
        rows = [f"figs {n};{60 + n};5:5;block;no\n" for n in range(6)]
        (tmp_path / "cakes.csv").write_text(BOARD + "".join(rows))
        old = tmp_path / "out" / "figs 5"
        shutil.copytree(made[3] / "out" / "figs", old)
        before = content(old)
        process = started(tmp_path, "--jobs", "2", "--overwrite")
        # In the middle of the files of a piece, where the most is half-made.
        hidden = lambda: [p for p in files_in(tmp_path / "out") if ".moulddesign" in str(p)]  # noqa: E731
        waited_for(hidden, process)
        os.killpg(process.pid, signal.SIGINT)
        said, remarks = process.communicate(timeout=60)
        assert process.returncode == 130
        assert (said, "Traceback" in remarks) == ("", False)
        assert content(old) == before
        for folder in (tmp_path / "out").iterdir():
            assert set(names(folder)) >= (FILES if folder == old else BOARD_FILES), folder

    def test_ctrl_c_that_another_thread_receives_waits_for_a_start(self, monkeypatch, tmp_path):
        def pressed():  # as a bar's thread receives it, which blocks nothing
            signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGINT})
            signal.raise_signal(signal.SIGINT)

        def start(process):
            threading.Thread(target=pressed).start()
            time.sleep(0.2)
            whole(process)
            pids.append(process.pid)

        whole, pids = BaseProcess.start, []
        monkeypatch.setattr(BaseProcess, "start", start)
        order = Order(
            place="row 2",
            design=Design(),
            target=tmp_path / "out" / "figs",
            options=ExportOptions(),
            keep_failing=False,
        )
        with pytest.raises(KeyboardInterrupt):
            list(run_all([order], tmp_path / "out", 1))
        assert len(pids) == 1
        assert names(tmp_path) == []

    def test_ctrl_c_at_the_start_leaves_nothing(self, tmp_path):
        (tmp_path / "cakes.csv").write_text(TABLE)
        process = started(tmp_path, "--jobs", "1")
        waited_for(lambda: list((tmp_path / "out").glob(".moulddesign*/*")), process)
        os.killpg(process.pid, signal.SIGINT)
        _, remarks = process.communicate(timeout=60)
        assert process.returncode == 130
        assert "Traceback" not in remarks
        assert names(tmp_path) == ["cakes.csv"]

    @pytest.mark.usefixtures("in_one_process")
    def test_the_same_command_goes_on_where_it_was_stopped(self, tmp_path):
        rows = [f"figs {n};{60 + n};5:5;block;no\n" for n in range(3)]
        (tmp_path / "cakes.csv").write_text(BOARD + "".join(rows))
        out = tmp_path / "out"
        done = lambda n: (out / f"figs {n}" / "report.json").exists()  # noqa: E731
        before = {}
        for n, stop in enumerate((signal.SIGKILL, signal.SIGINT)):
            process = started(tmp_path, "--jobs", "1")
            waited_for(partial(done, n), process)
            os.killpg(process.pid, stop)
            _, remarks = process.communicate(timeout=60)
            assert process.returncode == {signal.SIGKILL: -9, signal.SIGINT: 130}[stop]
            assert (f"{n} of 3 were finished before and stay as they are" in remarks) == (n > 0)
            before[n] = written_at(out / f"figs {n}")
        code, said, remarks = ran("series", *STL, "--jobs", "1", folder=tmp_path)
        assert code == 0
        assert remarks.splitlines() == [
            "2 of 3 were finished before and stay as they are; 1 to make.",
            "3 of 3 written to out",
        ]
        assert {n: written_at(out / f"figs {n}") for n in before} == before
        # A series that is not stopped says and writes the same, but for times.
        fresh = ("cakes.csv", "--formats", "stl", "--out", "fresh", "--jobs", "1")
        code, other, _ = ran("series", *fresh, folder=tmp_path)
        seconds = r"\d+\.\d+(?= │ +made)"
        assert re.sub(seconds, "", other) == re.sub(seconds, "", said)
        for n in range(3):
            first, second = content(out / f"figs {n}"), content(tmp_path / "fresh" / f"figs {n}")
            reports = [json.loads(files.pop("report.json")) for files in (first, second)]
            assert first == second
            assert [report.pop("seconds").keys() for report in reports]
            assert [report["digests"].pop("report") for report in reports]
            assert reports[0] == reports[1]


@pytest.mark.usefixtures("in_one_process")
def test_a_changed_row_and_a_damaged_folder_are_made_anew(tmp_path):
    def series(weight, *more):
        rows = (f"{name};{w};5:5;block;no\n" for name, w in (("figs", weight), ("dates", 61)))
        (tmp_path / "cakes.csv").write_text(BOARD + "".join(rows))
        code, said, remarks = ran("series", *STL, *more, folder=tmp_path)
        return code, said, remarks.splitlines()

    figs, dates = tmp_path / "out" / "figs", tmp_path / "out" / "dates"
    code, first, _ = series(60)
    assert code == 0
    whole, at = content(dates), written_at(figs)
    # What lies beside, such as a slicer's file, is no reason to make it anew, nor is it lost.
    (figs / "block.gcode").write_text("sliced")
    code, said, remarks = series(60)
    assert (code, said, written_at(figs)) == (0, first, at)
    assert remarks[0] == "2 of 2 were finished before and stay as they are; 0 to make."
    (figs / "block.gcode").unlink()
    for damage in (lambda path: path.write_bytes(path.read_bytes()[:-1] + b"x"), Path.unlink):
        damage(dates / "block.stl")
        damage(dates / "design.toml")
        _, _, remarks = series(60)
        assert remarks[0] == "1 of 2 were finished before and stay as they are; 1 to make."
        assert content(dates)["block.stl"] == whole["block.stl"]
        assert content(dates)["design.toml"] == whole["design.toml"]
    report = (dates / "report.json").read_text(encoding="utf-8")
    without = {key: value for key, value in json.loads(report).items() if key != "digests"}
    for damaged in (report[:-9], json.dumps(without)):
        (dates / "report.json").write_text(damaged, encoding="utf-8")
        code, _, remarks = series(60)
        assert (code, remarks[0][:6], remarks[-1]) == (0, "1 of 2", "2 of 2 written to out")
        assert "row 3, dates: report.json does not say" in remarks[1]
        assert content(dates)["block.stl"] == whole["block.stl"]
        assert "digests" in json.loads((dates / "report.json").read_text(encoding="utf-8"))
    # What another wrote beside a damaged report is not lost, nor is another mould.
    (dates / "report.json").write_text("{")
    (dates / "notes.txt").write_text("rye")
    code, _, remarks = series(60)
    assert (code, (dates / "notes.txt").read_text()) == (1, "rye")
    assert "'notes.txt', which its report.json does not list" in " ".join(remarks)
    (dates / "notes.txt").unlink()
    design = (dates / "design.toml").read_text(encoding="utf-8")
    (dates / "design.toml").write_text(design.replace("= 61.0", "= 62.0"), encoding="utf-8")
    assert "report.json is of no build" in " ".join(series(60)[2])
    (dates / "design.toml").write_text(design, encoding="utf-8")
    # Another weight is another mould: it is given up just where that is asked for.
    code, _, remarks = series(70)
    assert (code, written_at(figs)) == (2, at)
    code, said, remarks = series(70, "--overwrite")
    assert remarks[0] == "1 of 2 were finished before and stay as they are; 1 to make."
    assert (code, "70.00" in said) == (0, True)
    assert Design.read(figs / "design.toml").portion.finished_weight_g == 70.0


@pytest.mark.usefixtures("in_one_process")
def test_readings_of_a_press_stay_where_its_row_is_made_anew(tmp_path):
    table = "name;portion.finished_weight_g;portion.ratio;batch.pieces\nfigs;40;5:5;{pieces}\n"
    (tmp_path / "cakes.csv").write_text(table.format(pieces=12))
    assert ran("series", *STL, folder=tmp_path)[0] == 0
    figs = tmp_path / "out" / "figs"
    stop_mm = read_set_file(figs).size("stop_mm").mm
    readings = save_readings(figs, {"stop_mm": stop_mm + 0.1}).readings
    (tmp_path / "cakes.csv").write_text(table.format(pieces=48))
    code, _, remarks = ran("series", *STL, folder=tmp_path)
    assert (code, remarks) == (0, "1 of 1 written to out\n")
    assert Design.read(figs / "design.toml").batch.pieces == 48
    assert read_set_file(figs).readings == readings


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="/proc is Linux's")
def test_a_worker_that_dies_loses_its_own_piece_only(tmp_path):
    rows = "first;60;5:5;block;no\nfigs;60;5:5;block;no\n"
    (tmp_path / "cakes.csv").write_text(BOARD + rows)
    process = started(tmp_path, "--jobs", "1", "--json")

    def children(pid):
        return Path(f"/proc/{pid}/task/{pid}/children").read_text().split()

    def worker():  # a copy of the process that has loaded the libraries
        return [copy for pid in children(process.pid) for copy in children(pid)]

    (pid,) = waited_for(worker, process)
    os.kill(int(pid), signal.SIGKILL)
    said, remarks = process.communicate(timeout=300)
    assert process.returncode == 1, remarks
    first, second = json.loads(said)["pieces"]
    assert (first["state"], second["state"]) == ("not made", "made")
    assert "its process ended (code -9)" in first["said"]
    assert names(tmp_path / "out") == ["figs"]
