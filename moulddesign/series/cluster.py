"""Orders carried out on other machines, those of a Dask scheduler."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import replace
from pathlib import Path
from re import fullmatch
from tempfile import TemporaryDirectory
from threading import Lock
from typing import TYPE_CHECKING, Final

from moulddesign.core import KernelError, MouldError, SpecError, say
from moulddesign.design import Design, collect_drawings, resolve_files
from moulddesign.series.orders import (
    Order,
    Outcome,
    carried_out,
    kept,
    not_made,
    put_in_place,
    refuse_taken,
    scratch_in,
)

if TYPE_CHECKING:
    from distributed import Client

ADDRESS: Final = r"(tcp|tls|ws|wss)://[^\s/]+:\d{1,5}"
"""What the address of a scheduler looks like."""

PATIENCE: Final = "20s"
"""How long a scheduler may take to answer."""

ONE: Final = Lock()
"""Held while a piece is built: the geometry libraries do not like a second thread beside."""


def run_on(scheduler: str, orders: Sequence[Order], folder: Path) -> Iterator[tuple[int, Outcome]]:
    """Carry out orders on the workers of a Dask scheduler; yield as `run_all` does.

    The address is such as "tcp://10.0.0.5:8786"; its workers have this package, of this version.
    The targets of the orders lie in one folder on this machine.

    Raises
    ------
    SpecError
        The scheduler cannot be reached, or Dask is not installed.
    WriteError
        The folder cannot be written, or a target is something other than a build.
    """
    refuse_taken(orders)
    settled = kept(orders)
    yield from settled.items()
    with _client(scheduler) as client, scratch_in(folder) as scratch:
        from distributed import as_completed  # noqa: PLC0415 (an optional library)

        given: dict[object, int] = {}
        for number, order in enumerate(orders):
            if number in settled:
                continue
            try:
                sent, drawings = _sent(order)
            except OSError as error:
                reason = say("series.drawing-unreadable", error=str(error))
                yield number, not_made(order, KernelError(order.step, reason))
            else:
                given[client.submit(packed, sent, drawings, pure=False)] = number
        for future in as_completed(list(given), loop=client.loop):
            number = given.pop(future)
            yield number, _fetched(future, orders[number], scratch / str(number))
            future.release()


def packed(order: Order, drawings: Mapping[str, bytes]) -> tuple[Outcome, dict[str, bytes]]:
    """Carry out an order on whichever machine this is; return what became of it, and its files.

    The order's design names its drawings without a folder.
    """
    with ONE, TemporaryDirectory(prefix="moulddesign-") as folder:
        for name, content in drawings.items():
            (Path(folder) / name).write_bytes(content)
        design = Design.of(resolve_files(order.design.plain(), Design, Path(folder)))
        piece = Path(folder) / "piece"
        made = carried_out(replace(order, design=design), piece)
        files = sorted(piece.iterdir()) if made.written else []
        return made, {path.name: path.read_bytes() for path in files}


def _sent(order: Order) -> tuple[Order, dict[str, bytes]]:
    """Return an order as it is sent: its drawings go along, for other machines have other disks."""
    design, drawings = collect_drawings(order.design)
    read = {name: path.read_bytes() for name, path in drawings.items()}
    return replace(order, design=design), read


def _fetched(future: "object", order: Order, piece: Path) -> Outcome:
    """Return what became of an order, its files put in place here."""
    try:
        made, files = future.result()  # type: ignore[attr-defined]
    except MouldError as error:
        return not_made(order, error)
    except Exception as error:  # noqa: BLE001 (whatever became of a far machine is said)
        kind, first = type(error).__name__, str(error).splitlines()[0]
        reason = say("series.broken-on-the-cluster", kind=kind, error=first)
        return not_made(order, KernelError(order.step, reason))
    if made.written:
        piece.mkdir()
        for name, content in files.items():
            (piece / name).write_bytes(content)
    return put_in_place(made, piece, order)


@contextmanager
def _client(scheduler: str) -> Iterator["Client"]:
    if not fullmatch(ADDRESS, scheduler):
        raise SpecError("--scheduler", scheduler, say("series.no-address"))
    try:
        from distributed import Client  # noqa: PLC0415 (an optional library)
    except ImportError as error:
        need = say("series.dask-missing")
        raise SpecError("--scheduler", scheduler, need) from error
    try:
        client = Client(scheduler, timeout=PATIENCE, set_as_default=False)
    except OSError as error:
        need = say("series.scheduler-silent")
        raise SpecError("--scheduler", scheduler, need) from error
    try:
        yield client
    finally:
        with suppress(OSError):  # it did not answer any more, and nothing is left to say
            client.close(timeout=1)
