"""Files that a person names, where they cannot go, and what lies there already."""

import os

import pytest
from command_line import ran

from moulddesign.cli import console
from moulddesign.core import FileError


def names(folder):
    return [path.name for path in folder.iterdir()]


@pytest.mark.parametrize("name", [".", "/", "..", "folder", os.devnull])
def test_what_is_no_file_is_never_replaced(tmp_path, monkeypatch, name):
    (tmp_path / "folder").mkdir()
    monkeypatch.chdir(tmp_path)
    with pytest.raises(FileError, match="is a folder or a device; name a file"):
        console.save_text(console.Path(name), "x", overwrite=True)
    assert names(tmp_path) == ["folder"]


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("x" * 300, "File name too long"),
        ("there/x.csv", "Not a directory"),
        ("nowhere/x.csv", "No such file or directory"),
    ],
)
def test_where_no_file_can_be_is_one_sentence(tmp_path, name, said):
    (tmp_path / "there").write_text("mine")
    code, out, err = ran("batch", "--pieces", 3, "--csv", name, folder=tmp_path)
    assert (code, out, err.count("\n")) == (1, "", 1)
    assert f"cannot be written ({said})" in err
    assert (tmp_path / "there").read_text() == "mine"
    assert names(tmp_path) == ["there"]


def test_a_name_as_long_as_the_system_takes_is_written(tmp_path):
    name = "x" * 251 + ".csv"  # 255 bytes: NAME_MAX of Linux, limits.h
    console.save_text(tmp_path / name, "x", overwrite=False)
    assert names(tmp_path) == [name]


def test_a_link_stays_a_link_to_the_new_text(tmp_path):
    (tmp_path / "real.csv").write_text("old")
    (tmp_path / "link.csv").symlink_to("real.csv")
    console.save_text(tmp_path / "link.csv", "new", overwrite=True)
    assert (tmp_path / "link.csv").is_symlink()
    assert (tmp_path / "real.csv").read_text() == "new"


def test_ctrl_c_leaves_nothing_beside(tmp_path, monkeypatch):
    def interrupted(*_):
        raise KeyboardInterrupt

    (tmp_path / "table.csv").write_text("old")
    monkeypatch.setattr(console.Path, "replace", interrupted)
    with pytest.raises(KeyboardInterrupt, match=r"^$"):
        console.save_text(tmp_path / "table.csv", "new", overwrite=True)
    assert names(tmp_path) == ["table.csv"]
    assert (tmp_path / "table.csv").read_text() == "old"
