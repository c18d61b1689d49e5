"""`moulddesign series` on the machines of a Dask scheduler: two workers that are really there."""

import json
import subprocess
import sys
from pathlib import Path

import pytest
from cli.command import environment
from command_line import ran, refused

CLUSTER = Path(__file__).with_name("cluster.py")
KEYS = "name,portion.finished_weight_g,relief.layers.1.pattern,relief.layers.1.size_mm\n"
LEAF = (
    '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 10 10">'
    '<path d="M5 1 C9 4 9 7 5 9 C1 7 1 4 5 1 Z"/></svg>'
)


@pytest.fixture(scope="module")
def scheduler(tmp_path_factory):
    """Return the address of a scheduler whose workers work in another folder."""
    process = subprocess.Popen(  # noqa: S603 (our own program)
        [sys.executable, CLUSTER],
        cwd=tmp_path_factory.mktemp("elsewhere"),
        env=environment(),
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    yield process.stdout.readline().strip()
    process.communicate(timeout=60)


def names(folder):
    return sorted(path.name for path in folder.iterdir())


@pytest.mark.slow
def test_a_cluster_makes_the_bytes_that_processes_here_make(scheduler, tmp_path):
    (tmp_path / "leaf.svg").write_text(LEAF)
    (tmp_path / "cakes.csv").write_text(f"{KEYS}leaf,40,leaf.svg,\nhuge,60,sun,300\n")
    reports = {}
    for folder, more in (("far", ("--scheduler", scheduler)), ("near", ("--jobs", "1"))):
        arguments = ("cakes.csv", "--formats", "stl", "--out", folder, "--json", *more)
        code, said, remarks = ran("series", *arguments, folder=tmp_path)
        assert code == 1, remarks
        reports[folder] = json.loads(said)["pieces"]
        assert [piece["state"] for piece in reports[folder]] == ["made", "not made"]
        assert "does not fit on the top" in reports[folder][1]["said"]
        assert names(tmp_path / folder) == ["leaf"]
    assert names(tmp_path / "far" / "leaf") == names(tmp_path / "near" / "leaf")
    assert "artwork-leaf.svg" in names(tmp_path / "far" / "leaf")
    for path in (tmp_path / "near" / "leaf").iterdir():
        if path.name != "report.json":  # it holds the time that each stage took
            assert (tmp_path / "far" / "leaf" / path.name).read_bytes() == path.read_bytes()
    plain = [piece | {"seconds": 0.0} for piece in reports["near"]]
    assert [piece | {"seconds": 0.0} for piece in reports["far"]] == plain


@pytest.mark.parametrize(
    ("more", "sentence"),
    [
        (
            ("--scheduler", "tcp://127.0.0.1:1"),
            "--scheduler = 'tcp://127.0.0.1:1': does not answer",
        ),
        (("--scheduler", "nonsense://x:1"), "--scheduler = 'nonsense://x:1': must be an address"),
        (("--scheduler", ""), "--scheduler = '': must be an address such as tcp://10.0.0.5:8786"),
        (("--scheduler", "tcp://x:1", "--jobs", "2"), "--jobs does nothing beside --scheduler"),
    ],
)
def test_a_scheduler_that_is_not_there_is_said(monkeypatch, capsys, tmp_path, more, sentence):
    (tmp_path / "cakes.csv").write_text(f"{KEYS}a,40,sun,\n")
    monkeypatch.setattr("moulddesign.series.cluster.PATIENCE", "1s")
    monkeypatch.chdir(tmp_path)
    assert refused(monkeypatch, capsys, "series", "cakes.csv", *more).startswith(sentence)
    assert names(tmp_path) == ["cakes.csv"]
