"""The icon that opens the page, on three systems, in a home folder of its own."""

import configparser
import io
import json
import os
import shlex
import subprocess
import sys
from pathlib import Path

import pytest
from command_line import ran
from PIL import Image

from moulddesign.cli.shortcut import has_desktop, icon_ico, make_shortcut
from moulddesign.core import WriteError


@pytest.fixture
def home(tmp_path, monkeypatch):
    for name in ("HOME", "USERPROFILE"):
        monkeypatch.setenv(name, str(tmp_path))
    for name in ("XDG_DATA_HOME", "APPDATA"):
        monkeypatch.delenv(name, raising=False)
    return tmp_path


def written(folder):
    return {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}


def test_a_menu_entry_starts_this_python_whatever_its_path_holds(home, monkeypatch):
    monkeypatch.setattr(sys, "executable", '/opt/my "$own" 100 %/python')
    first = make_shortcut("linux")
    assert make_shortcut("linux") == first
    assert written(home) == {
        ".local/share/applications/moulddesign.desktop",
        ".local/share/icons/hicolor/scalable/apps/moulddesign.svg",
    }
    entry = configparser.RawConfigParser()
    entry.optionxform = str
    entry.read(first.path, encoding="utf-8")
    said = entry["Desktop Entry"]
    # Desktop Entry Specification 1.5, "The Exec key": unescape the string, then the quotes.
    command = said["Exec"].replace("\\\\", "\\").replace("%%", "%")
    # A shell's double quotes escape a dollar alike; shlex leaves the backslash before it.
    assert shlex.split(command.replace("\\$", "$")) == [sys.executable, "-m", "moulddesign", "page"]
    assert (said["Type"], said["Terminal"], said["Icon"]) == (
        "Application", "true", str(first.icon),
    )  # fmt: skip
    assert b"<svg" in first.icon.read_bytes()


@pytest.mark.skipif(sys.platform == "win32", reason="no shell")
def test_the_file_on_the_macos_desktop_is_a_program(home, monkeypatch):
    fake = home / "a b'c" / "python"
    fake.parent.mkdir()
    fake.write_text('#!/bin/sh\necho "$@"\n')
    fake.chmod(0o755)
    monkeypatch.setattr(sys, "executable", str(fake))
    made = make_shortcut("darwin")
    assert made.path == home / "Desktop" / "moulddesign.command"
    assert os.access(made.path, os.X_OK)
    done = subprocess.run([made.path], capture_output=True, text=True, check=True)  # noqa: S603
    assert done.stdout == "-m moulddesign page\n"


def test_windows_gets_a_link_or_where_that_fails_a_command_file(home, monkeypatch):
    menu = home / "AppData" / "Roaming" / "Microsoft" / "Windows" / "Start Menu" / "Programs"
    monkeypatch.setattr(subprocess, "run", lambda *_, **__: (_ for _ in ()).throw(OSError))
    assert make_shortcut("win32").path == menu / "moulddesign.cmd"
    said = (menu / "moulddesign.cmd").read_bytes().decode().splitlines()
    assert said[-1] == f'@"{sys.executable}" -m moulddesign page'

    def linked(_words, *, env, **_rest):
        Path(env["MOULDDESIGN_LINK"]).write_bytes(b"link")
        assert env["MOULDDESIGN_PYTHON"] == sys.executable
        assert Path(env["MOULDDESIGN_ICON"]).is_file()
        return subprocess.CompletedProcess((), 0)

    monkeypatch.setattr(subprocess, "run", linked)
    assert make_shortcut("win32").path == menu / "moulddesign.lnk"
    assert [path.name for path in menu.iterdir()] == ["moulddesign.lnk"]


def test_the_icon_is_round_and_has_four_sizes():
    icon = Image.open(io.BytesIO(icon_ico()))
    assert icon.info["sizes"] == {(16, 16), (32, 32), (48, 48), (256, 256)}
    assert icon.getpixel((0, 0))[3] == 0
    assert icon.getpixel((128, 128)) == (0xD9, 0x9A, 0x1C, 255)  # the svg's middle


def test_a_home_that_cannot_be_written_is_one_sentence(home):
    (home / "Desktop").write_text("a file")
    with pytest.raises(WriteError, match="cannot be written"):
        make_shortcut("darwin")


def test_the_verb_says_where_it_is_and_how_to_remove_it(home):
    code, out, err = ran("page", "--shortcut", folder=home)
    assert (code, out) == (0, "")
    assert "delete" in err
    code, out, _ = ran("page", "--shortcut", "--json", folder=home)
    assert all(Path(path).is_file() for path in json.loads(out)["files"])
    assert (
        "does nothing beside --shortcut" in ran("page", "--shortcut", "--port", "1", folder=home)[2]
    )


def test_no_arguments_on_a_desktop_tell_of_the_icon(home, monkeypatch):
    monkeypatch.delenv("SSH_CONNECTION", raising=False)
    monkeypatch.delenv("WAYLAND_DISPLAY", raising=False)
    monkeypatch.setenv("DISPLAY", ":0")
    assert "page --shortcut" in ran(folder=home)[1]
    monkeypatch.delenv("DISPLAY")
    assert not has_desktop("linux")
    assert has_desktop("win32")
