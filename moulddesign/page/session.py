"""One open tab.

Its last good design, the work that goes on for it, and the files that it may fetch.
"""

import asyncio
import io
import secrets
import zipfile
from collections.abc import Coroutine, Mapping
from dataclasses import dataclass
from typing import Any, Final, Protocol

from moulddesign.core import Finding, Message, MouldError
from moulddesign.design import Design
from moulddesign.page.jobs import CHECKS, FILES, FILES_FAILING, PICTURE, PREVIEW, Piece
from moulddesign.page.uploads import Shelf
from moulddesign.workers import Job, Worker

ZIP_DATE: Final = (1980, 1, 1, 0, 0, 0)
"""The earliest that a zip can hold: the same files give the same bytes."""

Drawer = dict[str, bytes]


class Desk:
    """The drawers of all open tabs."""

    def __init__(self) -> None:
        self._drawers: dict[str, Drawer] = {}

    def opened(self) -> tuple[str, Drawer]:
        """Return a new drawer and its name."""
        token = secrets.token_urlsafe(18)
        self._drawers[token] = {}
        return token, self._drawers[token]

    def close(self, token: str) -> None:
        """Throw a drawer and what is in it away."""
        self._drawers.pop(token, None)

    def file(self, token: str, name: str) -> bytes | None:
        """Return a file; None where there is none of that name."""
        return self._drawers.get(token, {}).get(name)


def zipped(files: Mapping[str, bytes], folder: str) -> bytes:
    """Return files in one zip, inside a folder.

    Parameters
    ----------
    files : mapping of str to bytes
        Content by name.
    folder : str
        Name of the folder.
    """
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in files.items():
            entry = zipfile.ZipInfo(f"{folder}/{name}", ZIP_DATE)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.external_attr = 0o644 << 16
            archive.writestr(entry, content)
    return target.getvalue()


PIECE_LIMIT_S: Final = 30.0
BUILD_LIMIT_S: Final = 120.0
PAUSE_S: Final = 0.25
"""Without a new wish for so long, the checks begin [s]."""

WHOLE: Final = "set.zip"
DRAWN: Final = ("pastry-", "mould-", "window")
"""How the names begin of what is drawn on the page; the rest of a drawer are the set's files."""


class Shown(Protocol):
    """What a session tells its page."""

    def figures(self, piece: Piece) -> None:
        """Show weights and sizes."""

    def bodies(self, address: str, serial: int, stage: str) -> None:
        """Draw what lies at an address."""

    def checking(self, *, going_on: bool) -> None:
        """Say that findings are being looked for, or wait."""

    def judged(self, findings: tuple[Finding, ...], cautions: tuple[Message | str, ...]) -> None:
        """Show findings and cautions."""

    def wrong(self, error: MouldError | None) -> None:
        """Show what cannot be made, or that all is well."""

    def say(self, error: MouldError) -> None:
        """Show what was wrong with the address or a file."""

    def note(self, note: Message) -> None:
        """Show what is worth knowing of a file that was taken."""

    def making(self, *, going_on: bool) -> None:
        """Say that files are being made, or that this has come to an end."""

    def files(self, token: str, sizes: dict[str, int]) -> None:
        """Show what can be downloaded."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Workers:
    """The processes that work for all tabs.

    Parameters
    ----------
    preview : Worker
        Draws the piece while it changes.
    build : Worker
        Builds, checks and writes.
    tasks : Worker
        Works out the other tasks; it starts when the first of them is asked for.
    """

    preview: Worker
    build: Worker
    tasks: Worker

    def end(self) -> None:
        """End them all."""
        for worker in (self.preview, self.build, self.tasks):
            worker.end()


class Session:
    """The work for one tab: pictures first, checks after them, the latest wish alone.

    Parameters
    ----------
    design : Design
        What is shown first.
    workers : Workers
        Shared by all tabs.
    shelf : Shelf
        Uploads.
    desk : Desk
        Where pictures and files lie for the browser.
    """

    def __init__(self, design: Design, *, workers: Workers, shelf: Shelf, desk: Desk) -> None:
        self.design = design
        self.workers = workers
        self.shelf = shelf
        self.desk = desk
        self.token, self.drawer = desk.opened()
        self.serial = 0
        self.shown: Shown | None = None
        self._wish: Design | None = None
        self._stopped = False
        self._resting = False
        self._checks: asyncio.Event | None = None
        self._tasks: set[asyncio.Task[None]] = set()
        self._pump: asyncio.Task[None] | None = None

    def close(self) -> None:
        """Stop all work and throw the files away: the tab is gone."""
        self._wish = None
        self._cancel_checks()
        self.desk.close(self.token)

    def rest(self) -> None:
        """Stop the checks: nobody looks, be it for a moment or for good."""
        if self._checks is not None and not self._checks.is_set():
            self._checks.set()
            self._resting = True

    def go_on(self) -> None:
        """Check again what was left when nobody looked."""
        if self._resting:
            self._resting = False
            self.wish(self.design)

    def wish(self, design: Design) -> None:
        """Ask for another design; what is under way for the old one ends soon."""
        self.design = design
        self._wish = design
        self._stopped = False
        self._cancel_checks()
        self.drawer["design.toml"] = design.toml().encode()
        if self._pump is None or self._pump.done():
            self._pump = self._start(self._pumping())

    def cancel(self) -> None:
        """End the checks or files in the making at once."""
        self._stopped = True
        if self._checks is not None:
            self.workers.build.cancel(self._checks)
        self.page.checking(going_on=False)

    def write(self) -> None:
        """Make all files of the design, if no finding fails."""
        self._start(self._writing(self.design, FILES))

    def write_failing(self) -> None:
        """Make all files of the design in spite of findings that fail."""
        self._start(self._writing(self.design, FILES_FAILING))

    def picture(self) -> None:
        """Make a picture for a browser that draws nothing in 3D."""
        self._start(self._picturing(self.design))

    @property
    def page(self) -> Shown:
        """The page that is told."""
        assert self.shown is not None  # noqa: S101 (set when the page is laid out)
        return self.shown

    def _cancel_checks(self) -> None:
        if self._checks is not None:
            self._checks.set()

    def _start(self, work: Coroutine[Any, Any, None]) -> asyncio.Task[None]:
        task = asyncio.get_running_loop().create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)
        return task

    async def _pumping(self) -> None:
        while self._wish is not None:
            design, self._wish = self._wish, None
            await self._sketch(design)
            if self._wish is None:
                await asyncio.sleep(PAUSE_S)
            if self._wish is None and not self._stopped:
                self._start(self._prove(design))

    async def _sketch(self, design: Design) -> None:
        self.serial += 1
        self.page.checking(going_on=True)
        try:
            async for name, value in self.workers.preview.stream(
                PREVIEW, design.plain(), limit_s=PIECE_LIMIT_S, cancelled=asyncio.Event()
            ):
                if name == "figures":
                    self.page.figures(value)
                else:
                    self._draw("pastry", self.serial, value)
            self.page.wrong(None)
        except MouldError as error:
            self.page.wrong(error)

    async def _prove(self, design: Design) -> None:
        self._checks = cancelled = asyncio.Event()
        serial = self.serial
        try:
            async for name, value in self.workers.build.stream(
                CHECKS, design.plain(), limit_s=BUILD_LIMIT_S, cancelled=cancelled
            ):
                if name == "findings":
                    self._checks = None  # done: nothing to stop
                    self.page.judged(*value)
                else:
                    self._draw("mould", serial, value)
        except MouldError as error:
            if not cancelled.is_set():
                self.page.wrong(error)

    def _draw(self, stage: str, serial: int, content: bytes) -> None:
        for old in [name for name in self.drawer if name.startswith(f"{stage}-")]:
            del self.drawer[old]
        self.drawer[f"{stage}-{serial}"] = content
        self.page.bodies(f"/files/{self.token}/{stage}-{serial}", serial, stage)

    async def _writing(self, design: Design, job: Job) -> None:
        self._checks = cancelled = asyncio.Event()
        try:
            async for _, files in self.workers.build.stream(
                job, design.plain(), limit_s=BUILD_LIMIT_S, cancelled=cancelled
            ):
                self._keep(design, files)
        except MouldError as error:
            self.page.wrong(error)
            self.page.files("", {})
        finally:
            if self._checks is cancelled:
                self._checks = None
            self.page.making(going_on=False)

    def _keep(self, design: Design, files: dict[str, bytes]) -> None:
        for name in [n for n in self.drawer if not n.startswith(DRAWN)]:
            del self.drawer[name]
        self.drawer.update(files)
        self.drawer[WHOLE] = zipped(files, design.name)
        self.page.files(self.token, {name: len(content) for name, content in files.items()})

    async def _picturing(self, design: Design) -> None:
        try:
            async for _, png in self.workers.preview.stream(
                PICTURE, design.plain(), limit_s=PIECE_LIMIT_S, cancelled=asyncio.Event()
            ):
                self.drawer[f"pastry-{self.serial}"] = png
                address = f"/files/{self.token}/pastry-{self.serial}"
                self.page.bodies(address, self.serial, "picture")
        except MouldError as error:
            self.page.wrong(error)
