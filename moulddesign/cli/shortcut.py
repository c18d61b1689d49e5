"""`page --shortcut`: an icon that opens the page, for whoever opens no terminal.

Each system has its own way, and none needs a further package: an entry of the freedesktop menu, a
file on the macOS desktop that Terminal opens, an entry of the Windows start menu. The page runs in
a window of its own, and closing that window ends it.
"""

import io
import os
import re
import shlex
import subprocess
import sys
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Final

from moulddesign.core import WriteError, replace_file, say

NAME: Final = "moulddesign"
CIRCLE: Final = re.compile(r'<circle cx="([\d.]+)" cy="([\d.]+)" r="([\d.]+)" fill="([^"]+)"/>')
"""What the icon is drawn of, on a square of `ICON_UNITS`."""
ICON_UNITS: Final = 32
ICON_PX: Final = 256
FINER: Final = 4
"""Samples along each side of a pixel."""
POWERSHELL_S: Final = 30.0
"""Longest time that writing the link may take [s]."""

LINK: Final = (
    "$link = (New-Object -ComObject WScript.Shell).CreateShortcut($env:MOULDDESIGN_LINK);"
    "$link.TargetPath = $env:MOULDDESIGN_PYTHON; $link.Arguments = '-m moulddesign page';"
    "$link.IconLocation = $env:MOULDDESIGN_ICON; $link.Save()"
)
"""Writes a link by what Windows brings along; paths come by the environment, so nothing in them is
read as a command."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shortcut:
    """A shortcut that was made."""

    path: Path
    """What is clicked."""
    icon: Path | None
    """Its picture; none where the system shows its own."""
    where: str
    """Where a person finds it."""


def has_desktop(platform: str = sys.platform) -> bool:
    """Return whether someone sits before a screen with icons."""
    if platform in {"win32", "darwin"}:
        return "SSH_CONNECTION" not in os.environ
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def make_shortcut(platform: str = sys.platform) -> Shortcut:
    """Make the shortcut of a system, in the place of one that was made before.

    Raises
    ------
    WriteError
        Its folder cannot be written.
    """
    if platform == "darwin":
        path = Path.home() / "Desktop" / f"{NAME}.command"
        python = shlex.quote(sys.executable)
        _save(path, f"#!/bin/sh\nexec {python} -m moulddesign page\n".encode())
        path.chmod(0o755)
        return Shortcut(path=path, icon=None, where="on the desktop")
    return _in_start_menu() if platform == "win32" else _in_menu()


def _in_menu() -> Shortcut:
    """Make an entry of the applications menu (Desktop Entry Specification 1.5)."""
    data = Path(os.environ.get("XDG_DATA_HOME") or Path.home() / ".local" / "share")
    icon = data / "icons" / "hicolor" / "scalable" / "apps" / f"{NAME}.svg"
    _save(icon, _icon_svg().encode())
    # In double quotes a few marks are escaped, a per cent sign is doubled, and then the whole value
    # takes two backslashes for one.
    quoted = re.sub(r'(["`$\\])', r"\\\1", sys.executable).replace("%", "%%")
    command = f'"{quoted}" -m moulddesign page'.replace("\\", "\\\\")
    entry = (
        "[Desktop Entry]\nType=Application\nVersion=1.5\nName=Mould design\n"
        "Comment=Weights and moulds for filled, pressed pastries\n"
        "Comment[de]=Gewichte und Formen für gefülltes, gepresstes Gebäck\n"
        "Comment[zh]=带馅压花点心的重量和模具\n"
        f"Exec={command}\nIcon={icon}\nTerminal=true\nCategories=Graphics;\n"
    )
    path = data / "applications" / f"{NAME}.desktop"
    _save(path, entry.encode())
    return Shortcut(path=path, icon=icon, where="in the applications menu, as Mould design")


def _in_start_menu() -> Shortcut:
    """Make an entry of the Windows start menu: a link, or a command file where none can be made."""
    roaming = Path(os.environ.get("APPDATA") or Path.home() / "AppData" / "Roaming")
    menu = roaming / "Microsoft" / "Windows" / "Start Menu" / "Programs"
    icon = roaming / NAME / f"{NAME}.ico"
    _save(icon, icon_ico())
    link, command = menu / f"{NAME}.lnk", menu / f"{NAME}.cmd"
    _make_folder(menu)
    where = "in the start menu, as moulddesign"
    if _wrote_link(link, icon):
        command.unlink(missing_ok=True)
        return Shortcut(path=link, icon=icon, where=where)
    python = sys.executable.replace("%", "%%")
    _save(command, f'@chcp 65001 >nul\r\n@"{python}" -m moulddesign page\r\n'.encode())
    return Shortcut(path=command, icon=None, where=where)


def _wrote_link(link: Path, icon: Path) -> bool:
    told = {
        "MOULDDESIGN_LINK": str(link),
        "MOULDDESIGN_PYTHON": sys.executable,
        "MOULDDESIGN_ICON": str(icon),
    }
    try:
        done = subprocess.run(  # noqa: S603 (its words are our own)
            ["powershell", "-NoProfile", "-NonInteractive", "-Command", LINK],  # noqa: S607
            env=os.environ | told,
            capture_output=True,
            timeout=POWERSHELL_S,
            check=False,
        )
    except (OSError, subprocess.TimeoutExpired):
        return False
    return done.returncode == 0 and link.is_file()


def _icon_svg() -> str:
    """Return the icon of the page."""
    return files("moulddesign").joinpath("page", "icon.svg").read_text("utf-8")


def icon_ico() -> bytes:
    """Return the icon of the page as Windows takes it, in four sizes."""
    from PIL import Image, ImageDraw  # noqa: PLC0415 (no other light verb draws)

    side = FINER * ICON_PX
    picture = Image.new("RGBA", (side, side))
    pen = ImageDraw.Draw(picture)
    for x, y, radius, colour in CIRCLE.findall(_icon_svg()):
        unit = side / ICON_UNITS
        box = [unit * (float(at) + sign * float(radius)) for sign in (-1, 1) for at in (x, y)]
        pen.ellipse(box, fill=colour)
    file = io.BytesIO()
    small = picture.resize((ICON_PX, ICON_PX), Image.Resampling.BOX)
    small.save(file, format="ICO", sizes=[(size, size) for size in (16, 32, 48, ICON_PX)])
    return file.getvalue()


def _save(path: Path, content: bytes) -> None:
    _make_folder(path.parent)
    replace_file(path, content)


def _make_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        reason = say("core.cannot-be-written", reason=error.strerror)
        raise WriteError(str(folder), reason) from error
