"""What a worker is asked for, and what became of it."""

from dataclasses import asdict, dataclass
from enum import StrEnum
from pathlib import Path
from typing import Any

from moulddesign.design import Design
from moulddesign.errors import MouldError
from moulddesign.export import Wanted


class State(StrEnum):
    """What became of a piece."""

    MADE = "made"
    FAILING = "failing"
    NOT_MADE = "not made"


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """One piece to build and to write.

    Parameters
    ----------
    place : str
        How its table calls it: "row 2".
    design : Design
        What is asked for.
    target : Path
        Folder that it shall have.
    wanted : Wanted
        Formats and paper.
    keep_failing : bool
        Whether it is published in spite of findings that failed.
    """

    place: str
    design: Design
    target: Path
    wanted: Wanted
    keep_failing: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """What became of an order.

    Parameters
    ----------
    place, name : str
        Which piece.
    state : State
        `made`, `failing` where a finding failed, or `not made`.
    written : bool
        Whether its folder was put in place.
    finished_g : float or None
        Weight of the piece when it is eaten, where it came so far [g].
    width_mm, height_mm, crust_mm : float or None
        Of the piece, where it came so far [mm].
    failed, warned : tuple of str
        Names of findings.
    seconds : float
        How long it took [s].
    said : str
        Why there is no folder, as a sentence; empty where there is one.
    """

    place: str
    name: str
    state: State
    written: bool = False
    finished_g: float | None = None
    width_mm: float | None = None
    height_mm: float | None = None
    crust_mm: float | None = None
    failed: tuple[str, ...] = ()
    warned: tuple[str, ...] = ()
    seconds: float = 0.0
    said: str = ""

    def report(self) -> dict[str, Any]:
        """Return it as plain values."""
        return asdict(self) | {"state": self.state.value}


def not_made(order: Order, error: MouldError, seconds: float = 0.0) -> Outcome:
    """Return what became of an order that could not be carried out.

    Parameters
    ----------
    order : Order
        What was asked for.
    error : MouldError
        Why not.
    seconds : float
        How long it took [s].
    """
    return Outcome(
        place=order.place,
        name=order.design.name,
        state=State.NOT_MADE,
        seconds=seconds,
        said=str(error),
    )
