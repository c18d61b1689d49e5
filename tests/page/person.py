"""Starting the page, and using it as a person does."""

import os
import re
import shutil
import signal
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from axe_playwright_python.sync_playwright import Axe
from cli.command import environment

CHROMIUM = shutil.which("chromium")
ARGUMENTS = [
    "--no-sandbox", "--use-gl=angle", "--use-angle=swiftshader", "--enable-unsafe-swiftshader",
    "--disable-gpu-compositing",  # there is no card: it would be imitated for each letter
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--no-first-run", "--disable-quic",
]  # fmt: skip
SHOTS = Path(os.environ.get("MOULDDESIGN_SHOTS", "/tmp/moulddesign-shots"))  # noqa: S108


@dataclass(frozen=True)
class Served:
    """A page that is served by a process of its own."""

    address: str
    process: subprocess.Popen

    @property
    def port(self) -> int:
        return int(self.address.rstrip("/").rpartition(":")[2])


NOT_AHEAD = (
    "import asyncio\n"
    "from moulddesign.cli import main\n"
    "from moulddesign.page.session import Session\n"
    "Session._prepare = lambda self, design: asyncio.sleep(0.0)\n"
    "main()\n"
)
"""A page that makes no files before they are asked for: the usual run has other work to do."""


def started(*arguments: str, ahead: bool = True, **more: str) -> Served:
    program = ["-m", "moulddesign"] if ahead else ["-c", NOT_AHEAD]
    command = [sys.executable, *program, "page", "--no-browser", *arguments]
    process = subprocess.Popen(  # noqa: S603 (our own command)
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=environment(**more)
    )
    found = None
    for line in process.stderr:
        found = re.search(r"http://127\.0\.0\.1:\d+/", line)
        if found:
            break
    assert found, "the page has not told its address"
    return Served(found.group(), process)


def ended(page: Served, how: int = signal.SIGINT) -> int:
    page.process.send_signal(how)
    try:
        return page.process.wait(timeout=60)
    finally:
        page.process.kill()
        page.process.stdout.close()
        page.process.stderr.close()


def processes(root: int) -> list[int]:
    """Return a process and all below it, as the kernel lists them (proc(5))."""
    found = [root]
    for process in found:
        for task in Path(f"/proc/{process}/task").iterdir():
            found += map(int, (task / "children").read_text().split())
    return found


def memory_mb(root: int) -> float:
    """Return the memory of a process and all below it, what they share counted once (proc(5))."""
    rolled = [Path(f"/proc/{one}/smaps_rollup").read_text() for one in processes(root)]
    return sum(int(text.partition("\nPss:")[2].split()[0]) for text in rolled) / 1024


def drawn(page, stage: str = "pastry") -> int:
    """Wait until something is drawn, and return its number."""
    where = ".view:not([data-drawn='0'])" + ("" if stage == "pastry" else "[data-stage=mould]")
    page.wait_for_selector(where)
    return int(page.get_attribute(".view", "data-drawn"))


def settings(page) -> None:
    """Open all settings, where they are folded."""
    if not page.locator(".all-settings").evaluate("one => one.open"):
        page.click(".all-settings > summary")


def figures(page) -> None:
    """Open all figures of one piece."""
    page.click(".all-figures > summary")


def picked(page, what: str, value: str) -> None:
    """Choose one of the pictures of the first screen."""
    page.locator(f"[data-choice={what}] input[value='{value}']").check()


def typed(page, field: str, value: str) -> None:
    """Type into a field among all settings as a person does, and leave it."""
    settings(page)
    page.fill(f"#design-{field.replace('.', '-')}", value)
    page.keyboard.press("Tab")


def redrawn(page, before: int) -> None:
    page.wait_for_function(f"+document.querySelector('.view').dataset.drawn > {before}")


def violations(page) -> list[tuple[str, str]]:
    """Return what axe finds, of any level."""
    found = Axe().run(page).response["violations"]
    return [(one["id"], one["nodes"][0]["html"][:200]) for one in found]


def shot(page, name: str) -> None:
    SHOTS.mkdir(parents=True, exist_ok=True)
    page.screenshot(path=SHOTS / f"{name}.png")
