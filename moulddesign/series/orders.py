"""Orders for many designs, carried out side by side on this machine."""

import shutil
import tempfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass, replace
from enum import StrEnum
from functools import partial
from math import fsum
from pathlib import Path
from time import perf_counter
from types import MappingProxyType
from typing import Any, Final

from moulddesign.building import build
from moulddesign.core import (
    LANGUAGES,
    FileError,
    FindingError,
    Message,
    MouldError,
    Verdict,
    WriteError,
    read_json,
    say,
    word,
)
from moulddesign.design import Design, Format
from moulddesign.export import (
    REPORT,
    ExportOptions,
    asked_digest,
    check_replaceable,
    design_as_written,
    design_without_digests,
    has_same_mould,
    is_made_from,
    keep_readings,
    locked,
    publish,
    publish_failing,
    recover,
    refuse_to_lose,
    replace_folder,
    staging_folder,
    whole_report,
)
from moulddesign.portion import LossSource
from moulddesign.workers import Checkpoint, Job, run_in_pool


class State(StrEnum):
    """What became of a piece."""

    MADE = "made"
    FAILING = "failing"
    NOT_MADE = "not made"
    KEPT = "kept"
    """Not made: another mould lies in its folder, and stays."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """One piece to build and to write."""

    place: str
    """How its table calls it: "row 2"."""
    design: Design
    target: Path
    """Folder that it gets."""
    options: ExportOptions
    """Formats, paper, and whether another mould in its folder may be lost."""
    keep_failing: bool
    """Whether it is published in spite of findings that failed."""
    on_sheet: bool = False
    """Whether a sheet tells its remarks, in the design's language: its report has English alone."""

    @property
    def step(self) -> Message:
        """What is made, for the sentence that says why it could not be made."""
        return say("series.piece", name=self.design.name)

    @property
    def asked(self) -> str | None:
        """Digest of all that it asks for; None where what it names cannot be read."""
        try:
            return asked_digest(*design_as_written(self.design), self.options)
        except (MouldError, OSError):
            return None

    @property
    def is_damaged(self) -> bool:
        """Whether its folder holds what may be replaced, with a report that does not say what."""
        held = design_without_digests(self.target)
        try:
            return held is not None and (
                self.options.overwrite or has_same_mould(held, self.design)
            )
        except MouldError:
            return False


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What became of an order."""

    place: str
    name: str
    state: State
    written: bool = False
    """Whether its folder was put in place."""
    finished_g: float | None = None
    """Weight of the piece when it is eaten, where it came so far [g]."""
    loss_unmeasured: bool = False
    """Whether weight and sizes rest on a loss that nobody measured."""
    width_mm: float | None = None
    height_mm: float | None = None
    crust_mm: float | None = None
    failed: tuple[str, ...] = ()
    """Names of findings, as those that warned."""
    warned: tuple[str, ...] = ()
    seconds: float = 0.0
    """That its stages and files took, without what its process loaded first."""
    said: str = ""
    """Why there is no folder, as a sentence; empty where there is one."""
    remarks: tuple[Message, ...] = ()
    """The same, or the findings that are not good, for a sheet in any language."""

    def report(self) -> dict[str, Any]:
        """Return it as plain values."""
        values = asdict(self) | {"state": self.state.value}
        del values["remarks"]
        return values


def not_made(order: Order, error: MouldError, seconds: float = 0.0) -> Outcome:
    """Return what became of an order that could not be carried out."""
    return Outcome(
        place=order.place,
        name=order.design.name,
        state=State.NOT_MADE,
        seconds=seconds,
        said=str(error),
        remarks=(error.message,),
    )


def finished(orders: Sequence[Order]) -> dict[int, Outcome]:
    """Return what became of the orders whose folder holds just what they ask for, by their place.

    An earlier run of this version made it of the same design and drawings in the same formats, and
    every file is still as it was written. Where a sheet tells what was found, it can.
    """
    found = {}
    for number, order in _with_folders(orders):
        asked = order.asked
        report = None if asked is None else whole_report(order.target, asked)
        made = None if report is None else _outcome(order, report)
        if made is None or not (made.state is State.MADE or order.keep_failing):
            continue
        if not (order.on_sheet and made.remarks and order.design.language != LANGUAGES[0]):
            found[number] = made
    return found


def kept(orders: Sequence[Order]) -> dict[int, Outcome]:
    """Return what became of the orders whose folder holds another mould, by their place."""
    found = {}
    for number, order in _with_folders(orders):
        try:
            # The design of a damaged folder may be what is damaged: its report tells it, too.
            if not (order.options.overwrite or is_made_from(order.target, order.asked)):
                refuse_to_lose(order.design, order.target)
        except FileError as error:
            found[number] = replace(not_made(order, error), state=State.KEPT)
    return found


def _with_folders(orders: Sequence[Order]) -> Iterator[tuple[int, Order]]:
    """Yield the orders that have a folder already: what others ask for takes time to tell."""
    return ((number, order) for number, order in enumerate(orders) if order.target.exists())


SCRATCH: Final = "series"
"""Stands for the whole series where a folder beside its folders is named."""


def refuse_taken(orders: Iterable[Order]) -> None:
    """Raise `WriteError` where a folder that an order shall have holds other things."""
    for order in orders:
        if not order.is_damaged:
            check_replaceable(order.target)


def put_in_place(made: Outcome, piece: Path, order: Order) -> Outcome:
    """Put a finished folder in its place, if one was written; return what became of the order."""
    if not made.written:
        return made
    try:
        written = {path.name for path in piece.iterdir()} if order.is_damaged else ()
        check_replaceable(order.target, written)
        if lost := kept([order]):  # it came while the piece was built
            return replace(lost[0], seconds=made.seconds)
        keep_readings(order.target, piece)
        replace_folder(piece, order.target)
    except WriteError as error:
        return not_made(order, error, made.seconds)
    except OSError as error:
        reason = say("series.not-writable", error=error.strerror)
        return not_made(order, WriteError(str(order.target), reason), made.seconds)
    return made


@contextmanager
def scratch_in(folder: Path) -> Iterator[Path]:
    """Give a hidden folder inside a folder, in the same file system; it goes in any case.

    The folder is made where it is not there, and goes too where nothing was put into it.

    Raises
    ------
    WriteError
        The folder cannot be written.
    """
    is_new = not folder.exists()
    try:
        folder.mkdir(parents=True, exist_ok=True)
        recover(folder / SCRATCH)
        made = staging_folder(folder / SCRATCH)
    except (OSError, ValueError) as error:
        said = error.strerror if isinstance(error, OSError) else str(error)
        raise WriteError(str(folder), say("series.not-writable", error=said)) from error
    try:
        with locked(made):
            yield made
    finally:
        shutil.rmtree(made, ignore_errors=True)
        if is_new:
            with suppress(OSError):  # something was put there: it stays
                folder.rmdir()


def carried_out(order: Order, folder: Path) -> Outcome:
    """Build and write one piece in a folder; whatever goes wrong is said of this piece alone."""
    start = perf_counter()
    try:
        return _written(order, folder)
    except WriteError as error:
        made = not_made(order, WriteError(str(order.target), error.reason))
    except MouldError as error:
        made = not_made(order, error)
    return replace(made, seconds=perf_counter() - start)


def _written(order: Order, folder: Path) -> Outcome:
    made = build(order.design)
    write = publish_failing if order.keep_failing else publish
    said = ""
    try:
        made = write(made, folder, order.options)
    except FindingError as error:
        said = str(error)
    remarks = tuple(f.remark for f in made.findings if f.verdict is not Verdict.GOOD)
    # What was written is read back, for counting triangles again takes as long as a check.
    report = made.report() if said else read_json(folder / REPORT, otherwise=order.step)
    return replace(_outcome(order, report, said), remarks=remarks)


def _remark(finding: Mapping[str, Any]) -> Message:
    """Return the remark of a finding as a report tells it, in English."""
    what, remedy = word(finding["name"]), finding.get("remedy")
    return what if remedy is None else say("core.with-remedy", what=what, remedy=remedy)


def _outcome(order: Order, report: Mapping[str, Any], said: str = "") -> Outcome:
    """Return what became of an order whose piece was built, as its report tells it.

    Parameters
    ----------
    said : str
        Why nothing was written; empty where its folder was.
    """
    portion, pastry = report["portion"], report["pastry"]
    verdicts = {
        verdict: tuple(one["name"] for one in report["findings"] if one["verdict"] == verdict)
        for verdict in Verdict
    }
    return Outcome(
        place=order.place,
        name=order.design.name,
        state=State.FAILING if verdicts[Verdict.FAIL] or said else State.MADE,
        written=not said,
        finished_g=portion["finished_g"],
        loss_unmeasured=portion["loss_source"] == LossSource.UNMEASURED,
        width_mm=pastry["width_mm"],
        height_mm=pastry["height_mm"],
        crust_mm=pastry["crust_thickness_mm"],
        failed=verdicts[Verdict.FAIL],
        warned=verdicts[Verdict.WARN],
        seconds=fsum(report["seconds"].values()),
        said=said,
        remarks=tuple(_remark(one) for one in report["findings"] if one["verdict"] != Verdict.GOOD),
    )


def run_all(orders: Sequence[Order], folder: Path, jobs: int) -> Iterator[tuple[int, Outcome]]:
    """Carry out orders side by side; yield what became of each, with its place, when it is known.

    The targets of the orders lie in one folder. What is half-made lies in a hidden one inside it,
    which goes in any case.

    Raises
    ------
    WriteError
        The folder cannot be written, or a target is something other than a build. Nothing is
        begun then.
    """
    refuse_taken(orders)
    settled = kept(orders)
    yield from settled.items()
    waiting = [number for number in range(len(orders)) if number not in settled]
    # What takes longest begins first: begun last, one process would work on it alone.
    numbers = sorted(waiting, key=lambda number: _surfaces(orders[number].design), reverse=True)
    with scratch_in(folder) as scratch:
        temporary = scratch / "temporary"
        temporary.mkdir()
        pieces = [scratch / str(number) for number in range(len(orders))]
        calls = [
            (Job(orders[number].step, _carry_out), (orders[number], pieces[number]))
            for number in numbers
        ]
        begin = partial(_use_temporary, str(temporary))
        for call, made in run_in_pool(calls, jobs, begin, _libraries(orders)):
            number = numbers[call]
            order = orders[number]
            if isinstance(made, MouldError):
                yield number, not_made(order, made)
            else:
                yield number, put_in_place(made, pieces[number], order)


def _surfaces(design: Design) -> int:
    """Return how many tops are made; a carved face takes about as long as two flat ones."""
    faces = [design.face, *(stamp.face for stamp in design.further_stamps)]
    return sum(1 if face is None else 2 for face in faces)


LIBRARIES: Final = MappingProxyType(
    {
        Format.STL: "trimesh",
        Format.STEP: "moulddesign.mould.kernel_shapes",
        Format.DRAWING: "ezdxf.filemanagement",
    }
)
"""Modules that are loaded when the first file of a format is made, as they take longest."""


def _libraries(orders: Sequence[Order]) -> tuple[str, ...]:
    formats = {one for order in orders for one in order.options.formats}
    return (__name__, *(name for one, name in LIBRARIES.items() if one in formats))


def _use_temporary(folder: str) -> None:
    """Keep whatever is half-made in a folder that goes with the series."""
    tempfile.tempdir = folder


def _carry_out(_checkpoint: Checkpoint, order: Order, piece: Path) -> Iterator[Outcome]:
    yield carried_out(order, piece)
