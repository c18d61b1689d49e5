"""What there is on hand, and how many pieces it makes."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import floor

from moulddesign.design import Design
from moulddesign.design.batch import MOST_PIECES
from moulddesign.errors import SpecError
from moulddesign.portion.limits import positive
from moulddesign.portion.rounding import Split


@dataclass(frozen=True, slots=True, kw_only=True)
class OnHand:
    """What there is already, mixed and cooked; None is not limited.

    Parameters
    ----------
    crust_g, filling_g : float or None
        Crust dough and paste [g].
    centres : int or None
        Centres; where a piece has several kinds, of each kind.

    Raises
    ------
    SpecError
        A mass is not above 0 or the number of centres is negative.
    """

    crust_g: float | None = None
    filling_g: float | None = None
    centres: int | None = None

    def __post_init__(self) -> None:
        for field in ("crust_g", "filling_g"):
            value = getattr(self, field)
            if value is not None:
                positive(f"{field.removesuffix('_g')}_on_hand_g", value, "g")
        if self.centres is not None and self.centres < 0:
            raise SpecError("centres", self.centres, "must be at least 0")

    @property
    def is_given(self) -> bool:
        """Whether anything is limited."""
        return any(value is not None for value in (self.crust_g, self.filling_g, self.centres))


@dataclass(frozen=True, slots=True, kw_only=True)
class Count:
    """How many pieces there will be.

    Parameters
    ----------
    pieces : int
        How many.
    runs_short : str or None
        What is used up first; None where the number was given.
    left_over : mapping of str to float
        What remains of all that was counted: crust and filling in grams, centres in number.
    """

    pieces: int
    runs_short: str | None
    left_over: Mapping[str, float]


def kept_of_crust(design: Design) -> float:
    """Return the share of ready crust dough that ends in pieces, after trimming and hands."""
    return (1.0 - design.batch.trimming_loss) * (1.0 - design.batch.hand_loss)


def kept_of_filling(design: Design) -> float:
    """Return the share of ready paste that ends in pieces, after hands."""
    return 1.0 - design.batch.hand_loss


def pieces_from(design: Design, split: Split, on_hand: OnHand) -> Count:
    """Return how many pieces there is stuff for, and what runs short.

    Parameters
    ----------
    design : Design
        Losses by trimming and hands, and the number of centres of each kind in a piece.
    split : Split
        Masses of one piece.
    on_hand : OnHand
        What there is.

    Raises
    ------
    SpecError
        There is not enough for one piece, or far too much, or centres are counted for a piece
        without any.
    """
    stock = _stock(design, split, on_hand)
    short = min(stock, key=lambda name: stock[name][0] / stock[name][1])
    have, need = stock[short]
    if have / need > MOST_PIECES:
        raise SpecError(
            f"{short} on hand",
            have,
            f"must be for at most {MOST_PIECES} pieces, of which each takes {need:.4g}; give grams",
        )
    pieces = floor(have / need + 1e-9)
    if pieces < 1:
        raise SpecError(
            f"{short} on hand",
            have,
            f"must be enough for one piece, which takes {need:.4g}; make more of it",
        )
    left = {name: have - pieces * need for name, (have, need) in stock.items()}
    return Count(pieces=pieces, runs_short=short, left_over=left)


def _stock(design: Design, split: Split, on_hand: OnHand) -> dict[str, tuple[float, float]]:
    """Return what is limited: how much there is, and how much one piece takes."""
    stock: dict[str, tuple[float, float]] = {}
    if on_hand.crust_g is not None:
        stock["crust"] = (on_hand.crust_g, split.crust_g / kept_of_crust(design))
    if on_hand.filling_g is not None:
        stock["filling"] = (on_hand.filling_g, split.paste_g / kept_of_filling(design))
    if on_hand.centres is not None:
        most = max((c.count for c in design.portion.centres), default=0)
        if most == 0:
            raise SpecError(
                "centres", on_hand.centres, "must be left out, for this piece has no centre in it"
            )
        stock["centres"] = (on_hand.centres, most)
    return stock
