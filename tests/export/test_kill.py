"""Killed, out of room, not allowed: what was there stays, and nothing half-made takes its place."""

import json
import os
import re
import subprocess
import sys
from pathlib import Path
from shutil import which

import pytest

from moulddesign.core import WriteError
from moulddesign.export import REPORT, atomic_folder
from moulddesign.export import folder as export_folder

ROOT = Path(__file__).parents[2]
KILLED = Path(__file__).with_name("killed.py")
KILLED_BUILD = Path(__file__).with_name("killed_build.py")
FULL_DISK = Path(__file__).with_name("full_disk.py")
TWO_WRITERS = Path(__file__).with_name("two_writers.py")
ROUNDS = 3
MANY_ROUNDS = int(os.environ.get("MOULDDESIGN_KILLS", "30"))
DISK_SIZES = os.environ.get("MOULDDESIGN_DISK_SIZES", "5")
TURNS = os.environ.get("MOULDDESIGN_WRITERS", "10")
OLD = '{"moulddesign": "old"}'


FOLDER_ALONE = f"""
import sys, types
room = sys.modules["moulddesign.export"] = types.ModuleType("moulddesign.export")
room.__path__ = [{str(ROOT / "moulddesign" / "export")!r}]
"""
"""Lets a program load the one module that it needs, not the libraries of its room."""


def run(program, *arguments, before=()):
    return subprocess.run(  # noqa: S603 (our own programs)
        [*before, sys.executable,
         *([program] if isinstance(program, Path) else ["-c", FOLDER_ALONE + program]), *arguments],
        capture_output=True, text=True, check=False, timeout=3600,
        env=os.environ | {"PYTHONPATH": str(ROOT)},
    )  # fmt: skip


SAMPLES = [ROUNDS, pytest.param(MANY_ROUNDS, marks=pytest.mark.slow)]


@pytest.mark.parametrize("rounds", SAMPLES)
@pytest.mark.parametrize("way", ["exchange", "renames"])
def test_killed_at_random_moments_the_folder_is_whole_and_never_older(way, rounds, tmp_path):
    target = tmp_path / "lantern night"
    program = f"import runpy; runpy.run_path({str(KILLED)!r}, run_name='__main__')"
    done = run(program, str(target), str(rounds), way)
    assert done.returncode == 0, done.stderr
    lines = done.stdout.splitlines()
    assert sum("whole" in line for line in lines) == rounds
    assert lines[-1] == "left: []"
    versions = [int(line.rsplit(" ", 1)[1]) for line in lines[:-1]]
    assert versions[-1] > rounds / 10  # it was killed in the middle of work, not before it


@pytest.mark.skipif(sys.platform == "win32", reason="no fork there")
@pytest.mark.parametrize("rounds", SAMPLES)
def test_a_build_killed_at_random_moments_is_the_old_or_the_new_one_whole(rounds, tmp_path):
    target = tmp_path / "lantern night"
    done = run(KILLED_BUILD, str(target), str(rounds))
    assert done.returncode == 0, done.stderr
    lines = done.stdout.splitlines()
    assert sum("whole" in line for line in lines) == len(lines) - 1 >= rounds
    assert lines[-1] == "left: []"
    # It was killed before, between and after two builds: both were found.
    assert {"whole ['little']", "whole ['hexagon']"} <= {line.partition(": ")[2] for line in lines}


def old_build(folder):
    folder.mkdir()
    (folder / REPORT).write_text(OLD)
    return folder


def test_a_folder_that_waits_for_its_successor_is_brought_back(tmp_path):
    target = tmp_path / "cakes"
    aside = export_folder.staging_folder(target)
    (aside / REPORT).write_text(OLD)
    aside.rename(f"{aside}{export_folder.OLD_SUFFIX}")
    export_folder.recover(target)
    assert (target / REPORT).read_text() == OLD
    assert [path.name for path in tmp_path.iterdir()] == ["cakes"]


def test_what_a_killed_run_left_is_tidied_once_it_is_old(tmp_path):
    target = old_build(tmp_path / "cakes")
    left = export_folder.staging_folder(target)
    (left / "sleeve.stl").write_text("half")
    export_folder.recover(target)
    assert left.exists()  # it may belong to a run that has only just begun
    os.utime(left, (1.0, 1.0))
    export_folder.recover(target)
    assert not left.exists()
    assert (target / REPORT).read_text() == OLD


def test_a_run_at_work_keeps_its_folder_however_old(tmp_path):
    target = tmp_path / "cakes"
    with atomic_folder(target) as inside:
        (inside / REPORT).write_text("new")
        os.utime(inside, (1.0, 1.0))
        program = (
            "import sys; from pathlib import Path; from moulddesign.export import folder; "
            "folder.recover(Path(sys.argv[1]))"
        )
        assert run(program, str(target)).returncode == 0
        assert inside.exists()
    assert (target / REPORT).read_text() == "new"


def test_other_hidden_folders_are_left_alone(tmp_path):
    target = old_build(tmp_path / "cakes")
    for name in (".cakes-notes", ".moulddesign-notes", "cakes.old"):
        (tmp_path / name).mkdir()
        os.utime(tmp_path / name, (1.0, 1.0))
    export_folder.recover(target)
    assert len(list(tmp_path.iterdir())) == 4


def test_names_change_places_in_one_step(tmp_path):
    one, two = tmp_path / "one", tmp_path / "two"
    for folder in (one, two):
        folder.mkdir()
        (folder / "name").write_text(folder.name)
    if export_folder.exchange(one, two):
        assert (one / "name").read_text() == "two"
        assert (two / "name").read_text() == "one"
    else:
        assert not sys.platform.startswith("linux")


FULL = """
import resource, sys
from pathlib import Path
from moulddesign.core import WriteError
from moulddesign.export.folder import atomic_folder
import signal
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (4096, 4096))
try:
    with atomic_folder(Path(sys.argv[1])) as inside:
        (inside / "report.json").write_bytes(b"x" * 100_000)
except WriteError as error:
    print(error)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="no limit on file sizes there")
def test_no_room_is_one_sentence_and_the_old_build_stays(tmp_path):
    target = old_build(tmp_path / "cakes")
    done = run(FULL, str(target))
    assert re.fullmatch(r".*cakes: cannot be written \(File too large\)\.\n", done.stdout)
    assert (target / REPORT).read_text() == OLD
    assert [path.name for path in tmp_path.iterdir()] == ["cakes"]


DISK = """
import subprocess, sys
from pathlib import Path
from moulddesign.core import WriteError
from moulddesign.export.folder import atomic_folder
disk = Path(sys.argv[1])
subprocess.run(["mount", "-t", "tmpfs", "-o", "size=64k", "none", str(disk)], check=True)
target = disk / "cakes"
target.mkdir()
(target / "report.json").write_text('{"moulddesign": "old"}')
try:
    with atomic_folder(target) as inside:
        for number in range(9):
            (inside / f"part {number}.stl").write_bytes(b"x" * 10_000)
        (inside / "report.json").write_text("new")
except WriteError as error:
    print(error)
print((target / "report.json").read_text(), [path.name for path in disk.iterdir()])
"""


def may_mount():
    """Return whether a disk of one's own can be mounted, out of sight of other programs."""
    asked = ["unshare", "--map-root-user", "--mount", "true"]
    return which("unshare") is not None and subprocess.run(asked, check=False).returncode == 0  # noqa: S603


@pytest.mark.skipif(not may_mount(), reason="unshare is absent, or not allowed")
def test_a_full_disk_is_one_sentence_and_the_old_build_stays(tmp_path):
    done = run(DISK, str(tmp_path), before=("unshare", "--map-root-user", "--mount"))
    said, left = done.stdout.splitlines()
    assert re.fullmatch(r".*cakes: cannot be written \(No space left on device\)\.", said)
    assert left == f"{OLD} ['cakes']"


@pytest.mark.slow
@pytest.mark.skipif(not may_mount(), reason="unshare is absent, or not allowed")
def test_a_disk_of_any_size_holds_the_old_build_or_the_new_one_whole(tmp_path):
    before = ("unshare", "--map-root-user", "--mount")
    done = run(FULL_DISK, str(tmp_path), DISK_SIZES, before=before)
    assert done.returncode == 0, done.stdout + done.stderr
    found = [line.partition(": ")[2] for line in done.stdout.splitlines()]
    assert len(found) == int(DISK_SIZES)
    assert found[-1] == "new"  # the largest has room for both
    assert "old" in found


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="no fork there")
def test_of_two_writers_in_one_folder_either_one_is_whole(tmp_path):
    done = run(TWO_WRITERS, str(tmp_path / "lantern night"), TURNS)
    assert done.returncode == 0, done.stdout + done.stderr
    lines = done.stdout.splitlines()
    assert sum("whole" in line for line in lines) == int(TURNS)
    assert lines[-1] == "left: []"


READ_ONLY = """
import os, sys
from pathlib import Path
from moulddesign.core import WriteError, say
from moulddesign.export.folder import atomic_folder
str(say("core.yes"))  # reads the texts while they may still be read
if os.geteuid() == 0:
    os.seteuid(65534)
try:
    with atomic_folder(Path(sys.argv[1])) as inside:
        (inside / "report.json").write_text("new")
except WriteError as error:
    print(error)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="no such permissions there")
def test_a_read_only_folder_is_one_sentence_and_the_old_build_stays(tmp_path):
    for parent in (tmp_path, *tmp_path.parents[:3]):
        if parent.owner() and parent != Path("/tmp"):  # noqa: S108 (not written to)
            parent.chmod(0o755)
    target = old_build(tmp_path / "cakes")
    tmp_path.chmod(0o555)
    done = run(READ_ONLY, str(target))
    tmp_path.chmod(0o755)
    assert re.fullmatch(r".*cakes: cannot be made \(Permission denied\)\.\n", done.stdout)
    assert (target / REPORT).read_text() == OLD


@pytest.mark.parametrize(
    "name",
    ["ночь", "栗", "🏮🌰", "a b", "it's", 'say "so"', "-n", "x" * 255, ".hidden", "a;b&c", "a.b.c"],
)
def test_a_name_is_only_a_name(name, tmp_path):
    with atomic_folder(tmp_path / name) as inside:
        (inside / REPORT).write_text("new")
    assert [path.name for path in tmp_path.iterdir()] == [name]
    assert (tmp_path / name / REPORT).read_text() == "new"


@pytest.mark.parametrize(
    ("name", "made"),
    [("a/b", "a/b"), ("./a", "a"), ("a//b/", "a/b"), ("a/./b", "a/b"), ("a/../b", "b")],
)
def test_slashes_and_dots_lead_where_they_always_lead(name, made, tmp_path):
    with atomic_folder(tmp_path / "here" / name) as inside:
        (inside / REPORT).write_text("new")
    assert (tmp_path / "here" / made / REPORT).read_text() == "new"
    found = {str(path.relative_to(tmp_path / "here")) for path in tmp_path.rglob("*/report.json")}
    assert found == {f"{made}/{REPORT}"}


@pytest.mark.parametrize("name", [".", "..", "../..", "a/../.."])
def test_dots_that_lead_to_a_folder_of_other_things_are_refused(name, tmp_path):
    home = tmp_path / "home" / "cakes"
    (home / "notes").mkdir(parents=True)
    (tmp_path / "home" / "letters").mkdir()
    refused = pytest.raises(WriteError, match=r"holds other things \(no report\.json\)")
    with refused, atomic_folder(home / name):
        pass
    assert {path.name for path in tmp_path.rglob("*")} == {"home", "cakes", "notes", "letters"}


@pytest.mark.parametrize(
    ("more", "why"),
    [
        ({"stamp.gcode": "mine"}, r"holds 'stamp\.gcode', which its report\.json does not list"),
        ({"notes": None}, "holds 'notes', which"),
        ({REPORT: '{"sales": 3}'}, r"holds other things \(its report\.json is of no build\)"),
        ({REPORT: "[1]", "a.txt": "mine"}, "is of no build"),
        ({REPORT: '{"moulddesign": 1, "parts": ["mine"]}'}, "is of no build"),
    ],
)
def test_what_no_build_wrote_is_never_lost(more, why, tmp_path):
    target = old_build(tmp_path / "cakes")
    for name, text in more.items():
        (target / name).mkdir() if text is None else (target / name).write_text(text)
    with pytest.raises(WriteError, match=why), atomic_folder(target):
        pass
    assert {path.name for path in target.iterdir()} == {REPORT, *more}
    assert all(text is None or (target / name).read_text() == text for name, text in more.items())
    assert [path.name for path in tmp_path.iterdir()] == ["cakes"]


def test_what_a_report_lists_and_what_systems_leave_behind_is_replaced(tmp_path):
    target = old_build(tmp_path / "cakes")
    report = {"moulddesign": "1", "files": ["sleeve.stl"], "parts": [{"files": ["peg.stl"]}]}
    (target / REPORT).write_text(json.dumps(report))
    for name in ("sleeve.stl", "peg.stl", "set.3mf", "design.toml", ".DS_Store"):
        (target / name).write_text("old")
    with atomic_folder(target) as inside:
        (inside / REPORT).write_text("new")
    assert [path.name for path in target.iterdir()] == [REPORT]


@pytest.mark.parametrize("name", ["x" * 256, "a\0b", "🏮" * 80])
def test_a_name_that_no_disk_takes_is_one_sentence(name, tmp_path):
    with (
        pytest.raises(WriteError, match=r"cannot be (made|written)"),
        atomic_folder(tmp_path / name),
    ):
        pass
    assert list(tmp_path.iterdir()) == []


def test_a_link_to_a_folder_stays_a_link(tmp_path):
    target = old_build(tmp_path / "cakes")
    link = tmp_path / "latest"
    link.symlink_to(target)
    with atomic_folder(link) as inside:
        (inside / REPORT).write_text("new")
    assert link.is_symlink()
    assert (target / REPORT).read_text() == "new"
