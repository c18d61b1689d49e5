"""One open tab: its last valid design, the work that is done for it, and its files."""

import asyncio
import gc
import secrets
from collections.abc import Callable, Coroutine
from contextlib import suppress
from dataclasses import dataclass
from functools import partial
from typing import Any, Final, Protocol

from moulddesign.core import Finding, Message, MouldError
from moulddesign.design import DESIGN_FILE, Design, Workshop, ZippedFiles, read_workshop, zip_bytes
from moulddesign.export.press_steps import PressStep
from moulddesign.page.address import encode_design
from moulddesign.page.jobs import (
    CHECKS,
    COARSE_PREVIEW,
    CUT,
    FILES,
    FILES_FAILING,
    PICTURE,
    PREPARING,
    PREVIEW,
    STEP_MAKERS,
    STEPS,
    PieceFigures,
    StepFiles,
    resized_piece,
)
from moulddesign.page.owned_jobs import CARD
from moulddesign.page.uploads import UploadStore
from moulddesign.portion import cautions_of
from moulddesign.workers import Job, Worker, trim_heap

Files = dict[str, bytes]
"""Content by name."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MadeSet:
    """The files of a design that were made."""

    files: ZippedFiles
    """Kept as one zip, a third as large."""
    steps: tuple[PressStep, ...]
    """How the press is used."""


MOST_SETS_BYTES: Final = 20_000_000
"""Most that is kept of sets besides the last: four of about 5 MB, or one of a carved face."""


class DownloadStore:
    """The files of all open tabs, each tab's under a name that cannot be guessed; the last sets."""

    def __init__(self) -> None:
        self._tabs: dict[str, Files] = {}
        self._offered: dict[str, ZippedFiles] = {}
        self._sets: dict[str, MadeSet] = {}
        self._ahead: tuple[Design, MadeSet] | None = None

    def keep(self, design: Design, made: MadeSet) -> None:
        """Keep a set, so that its design finds it again in any tab; the oldest is given up."""
        self._sets[encode_design(design)] = made
        self._forget_sets(MOST_SETS_BYTES)

    def keep_ahead(self, design: Design, made: MadeSet) -> None:
        """Keep the last set that was made before anybody asked for it."""
        self._ahead = (design, made)

    def made_ahead(self, design: Design) -> MadeSet | None:
        """Return the set of a design that was made ahead; None where it was not."""
        return self._ahead[1] if self._ahead is not None and self._ahead[0] == design else None

    def made(self, design: Design) -> MadeSet | None:
        """Return the set of a design; None where none is kept."""
        return self._sets.get(encode_design(design))

    def open_tab(self) -> tuple[str, Files]:
        """Return a new tab's name and its files, of which there are none yet."""
        token = secrets.token_urlsafe(18)
        self._tabs[token] = {}
        return token, self._tabs[token]

    def close_tab(self, token: str) -> None:
        """Forget a tab and its files; with the last tab all sets but the last one asked for."""
        self._tabs.pop(token, None)
        self._offered.pop(token, None)
        if not self.is_open:
            self._forget_sets(0)
            self._ahead = None

    def _forget_sets(self, most_bytes: int) -> None:
        """Forget the oldest sets but the last, until those that are left take no more than that."""
        taken = sum(len(made.files.content) for made in self._sets.values())
        for oldest in list(self._sets)[:-1]:
            if taken > most_bytes:
                taken -= len(self._sets.pop(oldest).files.content)

    @property
    def is_open(self) -> bool:
        """Whether any tab is open."""
        return bool(self._tabs)

    def offer(self, token: str, files: ZippedFiles) -> None:
        """Let a tab have the files of a set beside its own, in place of another set's."""
        self._offered[token] = files

    def file(self, token: str, name: str) -> bytes | None:
        """Return a file; None where there is none of that name."""
        own, offered = self._tabs.get(token, {}).get(name), self._offered.get(token)
        return own if own is not None or offered is None else offered.get(name)


PIECE_LIMIT_S: Final = 30.0
BUILD_LIMIT_S: Final = 120.0
MOST_BUILD_MB: Final = 220.0
"""A process that builds and holds more is replaced before the next design, and each is once it made
files; files that were given up leave 100 behind. With it, the CAD kernel's 330, server and picture
stay under 900 [MB]."""
MOST_IDLE_MB: Final = 180.0
"""A process that holds more is replaced when the last tab is closed; a new one takes 120 [MB]."""
CHECKS_DELAY_S: Final = 0.25
"""Without a new request for so long, the checks begin [s]."""

ARCHIVE: Final = "set.zip"
VIEW_FILES: Final = (
    "pastry-", "coarse-", "light-", "mould-", "cut-", "window", "batch-", "recipe.toml", "for-set-",
)  # fmt: skip
"""How the names begin of what is drawn on the page or made by its tasks; the rest of a tab's files
are the set's."""


class SessionListener(Protocol):
    """What a session tells its page."""

    def show_figures(self, piece: PieceFigures) -> None:
        """Show weights and sizes."""

    def show_resized(self, piece: PieceFigures) -> None:
        """Show what is drawn in another size, and what to weigh for it."""

    def show_bodies(self, address: str, serial: int, stage: str) -> None:
        """Draw what lies at an address."""

    def show_checking(self, *, active: bool) -> None:
        """Say that findings are being looked for, or wait."""

    def show_findings(
        self, findings: tuple[Finding, ...], cautions: tuple[Message | str, ...]
    ) -> None:
        """Show findings and cautions."""

    def show_error(self, error: MouldError | None) -> None:
        """Show what cannot be made, or that all is well."""

    def show_notice(self, error: MouldError) -> None:
        """Show what was wrong with the address or a file."""

    def show_note(self, note: Message) -> None:
        """Show a note about a file that was opened."""

    def show_writing(self, *, active: bool) -> None:
        """Say that files are being made, or that this has come to an end."""

    def show_files(self, token: str, design: Design, made: MadeSet) -> None:
        """Show what can be downloaded, and how the press is used."""

    def reveal_files(self) -> None:
        """Bring what was just made into view."""

    def show_no_files(self) -> None:
        """Show that there is nothing to download."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Workers:
    """The processes that work for all tabs."""

    preview: Worker
    """Draws the piece while it changes."""
    build: Worker
    """Builds, checks and writes."""
    exact: Worker
    """Makes STEP files and ends with them: the CAD kernel in it takes 330 MB."""
    tasks: Worker
    """Does the other tasks; it starts when the first of them is asked for."""

    async def replace(self, worker: Worker, above_mb: float) -> None:
        """Replace a process that holds more memory than that by a new one [MB]."""
        await worker.retire(above_mb)
        worker.start()

    async def forget_files(self) -> None:
        """Give back what files took that were made, here and in the process that made them."""
        await self.replace(self.build, 0.0)
        trim_heap()

    async def rest(self) -> None:
        """Give back what they hold for tabs that are closed."""
        await self.tasks.retire(0.0)
        for worker in (self.preview, self.build):
            await self.replace(worker, MOST_IDLE_MB)
        gc.collect()
        trim_heap()

    def end(self) -> None:
        """End them all."""
        for worker in (self.preview, self.build, self.exact, self.tasks):
            worker.end()


class Session:
    """The work for one tab: pictures first, checks after them, and only the latest request."""

    def __init__(
        self,
        design: Design,
        *,
        workers: Workers,
        uploads: UploadStore,
        store: DownloadStore,
        workshop: Callable[[], Workshop] = read_workshop,
    ) -> None:
        self.design = design
        self.workshop = workshop
        """Returns what flows into every new design."""
        self.workers = workers
        self.uploads = uploads
        self.store = store
        self.token, self.downloads = store.open_tab()
        self.serial = 0
        self.listener: SessionListener | None = None
        self._requested: Design | None = None
        self._is_stopped = False
        self._is_paused = True  # until somebody looks: a program may fetch the page and go
        self._cut: tuple[float, bool] | None = None
        self._cutting: asyncio.Task[None] | None = None
        self._cuts = 0
        self._drawn: tuple[PieceFigures, Design] | None = None
        self._is_drawn_truly = False
        self._is_resized = False
        self._face: asyncio.Event | None = None
        self._checks: asyncio.Event | None = None
        self._preparing: asyncio.Event | None = None
        self._making = asyncio.Lock()
        self._writing: asyncio.Event | None = None
        self._tasks: set[asyncio.Task[None]] = set()
        self._processing: asyncio.Task[None] | None = None

    def close(self) -> None:
        """Stop all work and remove the files: the tab is closed."""
        self._requested = None
        self._cancel_checks()
        self.store.close_tab(self.token)
        if not self.store.is_open:
            self._start(self.workers.rest())

    def pause(self) -> None:
        """Stop the checks: nobody looks, be it for a moment or for good."""
        self._stop_preparing()
        if self._checks is not None and not self._checks.is_set():
            self._checks.set()
            self._is_paused = True

    def resume(self) -> None:
        """Begin, or check again what was left when nobody looked."""
        if self._is_paused:
            self._is_paused = False
            self.request(self.design)

    def request(self, design: Design) -> None:
        """Ask for another design; the work for the old one is cancelled."""
        self.design = design
        self._requested = design
        self._is_stopped = False
        self._cancel_checks()
        if self._face is not None:
            self._face.set()
        self._show_resized()
        self.downloads[DESIGN_FILE] = design.toml().encode()
        if self._processing is None or self._processing.done():
            self._processing = self._start(self._process_requests())

    def _show_resized(self) -> None:
        """Show what was drawn last in the size of the design, where only that has changed."""
        made = None if self._drawn is None else resized_piece(*self._drawn, self.design)
        self._is_resized = made is not None
        if made is not None:
            self.page.show_resized(made)

    def cancel(self) -> None:
        """End the checks or files in the making at once."""
        self._is_stopped = True
        self._stop_preparing()
        for work in (self._writing, self._checks):
            if work is not None:
                self.workers.exact.stop(work)
                self.workers.build.cancel(work)
        self.page.show_checking(active=False)

    def cancel_writing(self) -> None:
        """End the files in the making at once; checks go on."""
        self._stop_preparing()
        if self._writing is not None:
            self.workers.exact.stop(self._writing)
            self.workers.build.cancel(self._writing)

    def write(self) -> None:
        """Make all files of the design, if no finding fails; of one whose mould exists the card."""
        job = FILES if self.design.own_mould is None else CARD
        self._start(self._write_files(self.design, job))

    def write_failing(self) -> None:
        """Make all files of the design in spite of findings that fail."""
        self._start(self._write_files(self.design, FILES_FAILING))

    def picture(self) -> None:
        """Make a picture for a browser that draws nothing in 3D."""
        self._start(self._draw_picture(self.design))

    def cut_at(self, at_mm: float, *, with_parts: bool) -> None:
        """Cut what is shown elsewhere; of several places only the last is cut."""
        self._cut = (at_mm, with_parts)
        if self._cutting is None or self._cutting.done():
            self._cutting = self._start(self._process_cuts())

    @property
    def page(self) -> SessionListener:
        """The page that is told."""
        assert self.listener is not None  # noqa: S101 (set when the page is laid out)
        return self.listener

    def _stop_preparing(self) -> None:
        if self._preparing is not None:
            self.workers.exact.stop(self._preparing)

    def _cancel_checks(self) -> None:
        self._stop_preparing()
        for work in (self._checks, self._writing):
            if work is not None:
                self.workers.exact.stop(work)

    def _start(self, work: Coroutine[Any, Any, None]) -> asyncio.Task[None]:
        task = asyncio.get_running_loop().create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)
        return task

    async def _process_requests(self) -> None:
        while self._requested is not None:
            design, self._requested = self._requested, None
            await self._preview(design)
            if self._requested is None:
                await asyncio.sleep(CHECKS_DELAY_S)
            if self._requested is None and not self._is_stopped:
                self._start(self._check(design))

    async def _preview(self, design: Design) -> None:
        self.serial += 1
        self.page.show_checking(active=True)
        if design.face is not None and not (self._is_drawn_truly and self._is_resized):
            with suppress(MouldError):  # the true face says what is wrong
                await self._draw(COARSE_PREVIEW, design, asyncio.Event())
            if self._requested is not None:
                return
        drawing = asyncio.Event()
        # What takes tenths of a second comes to its end, or nothing would be seen of many changes.
        self._face = None if design.face is None else drawing
        try:
            await self._draw(PREVIEW, design, drawing)
            self.page.show_error(None)
        except MouldError as error:
            self.page.show_error(error)

    async def _draw(self, job: Job, design: Design, cancelled: asyncio.Event) -> None:
        """Show what a preview yields."""
        async for name, value in self.workers.preview.stream(
            job, design.plain(), limit_s=PIECE_LIMIT_S, cancelled=cancelled
        ):
            if name == "figures":
                piece = value
                self.page.show_figures(piece)
                self._offer_kept(design)
            else:
                self._publish_bodies(name, self.serial, value)
                self._drawn, self._is_drawn_truly = (piece, design), job is PREVIEW
            if self._requested is not None:  # what comes is old already
                self._show_resized()

    async def _check(self, design: Design) -> None:
        self._checks = cancelled = asyncio.Event()
        serial, is_checked = self.serial, False
        if design.own_mould is not None:  # nothing is made that could be wrong
            self.page.show_findings((), cautions_of(design.portion))
        await self.workers.replace(self.workers.build, MOST_BUILD_MB)
        try:
            async for name, value in self.workers.build.stream(
                CHECKS, design.plain(), limit_s=BUILD_LIMIT_S, cancelled=cancelled
            ):
                if name == "findings":
                    self._checks, is_checked = None, True  # done: nothing to stop
                    self.page.show_findings(*value)
                else:
                    self._publish_bodies(name, serial, value)
        except MouldError as error:
            if not cancelled.is_set():
                self.page.show_error(error)
        is_wanted = design == self.design and not cancelled.is_set()
        if is_checked and is_wanted and self._writing is None:
            await self._prepare(design)

    async def _prepare(self, design: Design) -> None:
        """Make ahead what the files need, until somebody wants something else."""
        if self.store.made(design) is not None:
            return
        self._preparing = cancelled = asyncio.Event()
        with suppress(MouldError):  # whoever asks for the files is told
            async with self._making:
                made = await self._made(PREPARING, design, cancelled)
            if made is not None:
                self.store.keep_ahead(design, made)
                await self.workers.forget_files()

    async def _made(self, job: Job, design: Design, cancelled: asyncio.Event) -> MadeSet | None:
        """Return the files that a job makes of a design; None where it made none."""
        worker, exact = self.workers.tasks, list[StepFiles]()  # the build's may be checking
        if job is not CARD:
            worker, exact = self.workers.build, [await self._steps(design, cancelled)]
        made = None
        async for files, steps in worker.stream(
            job, design.plain(), *exact, limit_s=BUILD_LIMIT_S, cancelled=cancelled
        ):
            archive = await asyncio.to_thread(zip_bytes, files, design.name)
            made = MadeSet(files=ZippedFiles(archive), steps=steps)
        return made

    async def _steps(self, design: Design, cancelled: asyncio.Event) -> StepFiles:
        """Return the STEP files that the process of the build has not got yet."""
        build, exact, made = self.workers.build, self.workers.exact, {}
        stream = partial(Worker.stream, limit_s=BUILD_LIMIT_S, cancelled=cancelled)
        async for makers in stream(build, STEP_MAKERS, design.plain()):
            if makers:  # in the build's turn, for nothing is built beside the CAD kernel
                try:
                    async for made in stream(exact, STEPS, makers):  # noqa: B007 (returned)
                        pass
                finally:
                    await exact.retire(0.0)
        return made

    async def _process_cuts(self) -> None:
        while self._cut is not None:
            place, self._cut = self._cut, None
            plain, serial = self.design.plain(), self.serial
            try:
                async for stage, content in self.workers.preview.stream(
                    CUT, plain, *place, limit_s=PIECE_LIMIT_S, cancelled=asyncio.Event()
                ):
                    self._cuts += 1
                    address = self._publish(f"{stage}-", f"{serial}-{self._cuts}", content)
                    self.page.show_bodies(address, serial, stage)
            except MouldError as error:
                self.page.show_error(error)

    def _publish_bodies(self, stage: str, serial: int, content: bytes) -> None:
        self.page.show_bodies(self._publish(f"{stage}-", str(serial), content), serial, stage)

    def _publish(self, start: str, end: str, content: bytes) -> str:
        """Keep what is drawn in place of the last of its kind, and return its address."""
        for old in [name for name in self.downloads if name.startswith(start)]:
            del self.downloads[old]
        self.downloads[start + end] = content
        return f"/files/{self.token}/{start}{end}"

    async def _write_files(self, design: Design, job: Job) -> None:
        self._writing = cancelled = asyncio.Event()
        try:
            async with self._making:  # what is being made ahead is what is asked for
                made = self.store.made_ahead(design) or await self._made(job, design, cancelled)
            if made is not None:
                self.store.keep(design, made)
                if not cancelled.is_set():
                    self._offer(design, made)
                    self.page.reveal_files()
        except MouldError as error:
            if not cancelled.is_set():
                self.page.show_error(error)
                self.page.show_no_files()
        finally:
            if self._writing is cancelled:
                self._writing = None
            self.page.show_writing(active=False)
        await self.workers.forget_files()

    def store_files(self, design: Design, files: dict[str, bytes]) -> None:
        """Show files that were made of a design in place of earlier ones."""
        archive = zip_bytes(files, design.name)
        self._offer(design, MadeSet(files=ZippedFiles(archive), steps=()))

    def _offer_kept(self, design: Design) -> None:
        """Offer the files of a design where they were made before, in this tab or another."""
        made = self.store.made(design)
        if made is not None:
            self._offer(design, made)

    def _offer(self, design: Design, made: MadeSet) -> None:
        for name in [n for n in self.downloads if not n.startswith(VIEW_FILES)]:
            del self.downloads[name]
        self.store.offer(self.token, made.files)
        self.downloads[ARCHIVE] = made.files.content
        self.downloads.update({f"press-step-{n}.svg": s.picture for n, s in enumerate(made.steps)})
        self.page.show_files(self.token, design, made)

    async def _draw_picture(self, design: Design) -> None:
        try:
            async for _, png in self.workers.preview.stream(
                PICTURE, design.plain(), limit_s=PIECE_LIMIT_S, cancelled=asyncio.Event()
            ):
                self.downloads[f"pastry-{self.serial}"] = png
                address = f"/files/{self.token}/pastry-{self.serial}"
                self.page.show_bodies(address, self.serial, "picture")
        except MouldError as error:
            self.page.show_error(error)
