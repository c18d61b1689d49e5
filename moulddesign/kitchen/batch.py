"""A batch: how much to mix, or how many pieces what is on hand makes; its cost; when to begin.

From the pieces back to the bowl: what trimming and hands take is divided out first, then what
stays in bowl and pan, then the water that cooks off.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from math import ceil, floor, fsum

from moulddesign.core import SpecError, require_positive, say
from moulddesign.design import MOST_PIECES, USUAL_BOX, Design
from moulddesign.kitchen.recipe import Recipe, RecipeLine, calendar, cooked_off, scaled
from moulddesign.portion import Split, figures


@dataclass(frozen=True, slots=True, kw_only=True)
class OnHand:
    """What there is already, mixed and cooked; None is not limited.

    Raises
    ------
    SpecError
        A mass is not above 0 or the number of centres is negative.
    """

    crust_g: float | None = None
    """Crust dough."""
    filling_g: float | None = None
    """Paste."""
    centres: int | None = None
    """Number; where a piece has several kinds, of each kind."""

    def __post_init__(self) -> None:
        for field in ("crust_g", "filling_g"):
            value = getattr(self, field)
            if value is not None:
                require_positive(f"{field.removesuffix('_g')}_on_hand_g", value, "g")
        if self.centres is not None and self.centres < 0:
            raise SpecError("centres", self.centres, say("kitchen.centres-below-0"))

    @property
    def is_given(self) -> bool:
        """Whether anything is limited."""
        return any(value is not None for value in (self.crust_g, self.filling_g, self.centres))


@dataclass(frozen=True, slots=True, kw_only=True)
class Count:
    """How many pieces there will be."""

    pieces: int
    runs_short: str | None
    """What is used up first; None where the number was given."""
    left_over: Mapping[str, float]
    """What remains of all that was counted: crust and filling in grams, centres in number."""


def kept_of_crust(design: Design) -> float:
    """Return the share of ready crust dough that ends in pieces, after trimming and hands."""
    return (1.0 - design.batch.trimming_loss) * (1.0 - design.batch.hand_loss)


def kept_of_filling(design: Design) -> float:
    """Return the share of ready paste that ends in pieces, after hands."""
    return 1.0 - design.batch.hand_loss


def pieces_from(design: Design, split: Split, on_hand: OnHand) -> Count:
    """Return how many pieces what is on hand makes, and what runs short.

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
        reason = say("kitchen.too-much-on-hand", most=MOST_PIECES, need=need)
        raise SpecError(f"{short} on hand", have, reason)
    pieces = floor(have / need + 1e-9)
    if pieces < 1:
        reason = say("kitchen.not-enough-on-hand", need=need)
        raise SpecError(f"{short} on hand", have, reason)
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
            raise SpecError("centres", on_hand.centres, say("kitchen.no-centre-in-piece"))
        stock["centres"] = (on_hand.centres, most)
    return stock


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchPart:
    """Crust or filling of a batch."""

    pieces_g: float
    """For all pieces."""
    ready_g: float
    """Dough or paste to have ready, with what trimming and hands take."""
    mixed_g: float
    """To mix, with what bowl, pan and cooking take."""
    lines: tuple[RecipeLine, ...]
    """Ingredients, where there is a recipe."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cost:
    """What a batch costs, as far as prices are given."""

    total: float
    """Of the batch, in the design's currency, as the next."""
    each: float
    """Of one piece."""
    unpriced: tuple[str, ...]
    """What has no price and is not in the total."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Packed:
    """Pieces on trays, or in boxes."""

    each: int
    """Pieces on a full tray or in a full box."""
    count: int
    """How many trays or boxes there are."""
    last: int
    """Pieces on the last."""
    mass_g: float
    """Mass of the pieces on a full one: raw on a tray, finished in a box."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """A batch of pieces."""

    pieces: int
    runs_short: str | None
    """What is used up first; None where the number was given."""
    left_over: Mapping[str, float]
    """What remains of the rest: crust and filling in grams, centres in number."""
    split: Split
    """What to set on the scale for one piece."""
    crust: BatchPart
    filling: BatchPart
    centres: tuple[tuple[str, int], ...]
    """Name and number of each kind of centre."""
    trays: Packed
    boxes: Packed
    cost: Cost | None
    """None where no price is given."""
    days: tuple[tuple[date, str], ...]
    """When each rest begins; empty without a serving date or resting times."""


def batch(design: Design, recipe: Recipe | None = None, on_hand: OnHand | None = None) -> Batch:
    """Return the totals for the design's number of pieces, or for what is on hand.

    Parameters
    ----------
    design : Design
        The piece, the scale, and the table [batch].
    recipe : Recipe or None
        What to scale; without it only totals are given.
    on_hand : OnHand or None
        What there is; it decides the number of pieces where anything of it is given.

    Raises
    ------
    SpecError
        Neither a number of pieces nor anything on hand is given; there is not enough for one
        piece; or the piece cannot be made.
    """
    table = design.batch
    made = figures(design)
    piece, split = made.piece, made.split
    count = _count(design, split, on_hand)
    crust = _crust(design, count.pieces * split.crust_g, recipe)
    filling = _filling(design, count.pieces * split.paste_g, recipe)
    boxes = _packed(count.pieces, _box(design), split.raw_g * (1.0 - piece.loss))
    return Batch(
        pieces=count.pieces,
        runs_short=count.runs_short,
        left_over=count.left_over,
        split=split,
        crust=crust,
        filling=filling,
        centres=tuple((c.name, c.count * count.pieces) for c in design.portion.centres),
        trays=_packed(count.pieces, table.pieces_per_tray, split.raw_g),
        boxes=boxes,
        cost=_cost(design, (*crust.lines, *filling.lines), pieces=count.pieces, boxes=boxes.count),
        days=_days(table.serving_date, recipe),
    )


def _count(design: Design, split: Split, on_hand: OnHand | None) -> Count:
    if on_hand is not None and on_hand.is_given:
        return pieces_from(design, split, on_hand)
    if design.batch.pieces is None:
        raise SpecError("batch.pieces", "not given", say("kitchen.pieces-not-given"))
    return Count(pieces=design.batch.pieces, runs_short=None, left_over={})


def _crust(design: Design, pieces_g: float, recipe: Recipe | None) -> BatchPart:
    ready_g = pieces_g / kept_of_crust(design)
    mixed_g = ready_g / (1.0 - design.batch.mixing_loss)
    if recipe is None:
        return BatchPart(pieces_g=pieces_g, ready_g=ready_g, mixed_g=mixed_g, lines=())
    mixed_g /= 1.0 - cooked_off(recipe.crust)
    return BatchPart(
        pieces_g=pieces_g,
        ready_g=ready_g,
        mixed_g=mixed_g,
        lines=scaled(recipe.crust, mixed_g, design.scale.resolution_g),
    )


def _filling(design: Design, pieces_g: float, recipe: Recipe | None) -> BatchPart:
    ready_g = pieces_g / kept_of_filling(design)
    mixed_g = ready_g / (1.0 - design.batch.mixing_loss)
    lost = design.batch.cooking_loss
    if recipe is None:
        return BatchPart(
            pieces_g=pieces_g, ready_g=ready_g, mixed_g=mixed_g / (1.0 - lost), lines=()
        )
    mixed_g /= 1.0 - cooked_off(recipe.filling, lost)
    return BatchPart(
        pieces_g=pieces_g,
        ready_g=ready_g,
        mixed_g=mixed_g,
        lines=scaled(recipe.filling, mixed_g, design.scale.resolution_g),
    )


def _days(serving: date | None, recipe: Recipe | None) -> tuple[tuple[date, str], ...]:
    if recipe is None or serving is None:
        return ()
    return calendar(recipe.rests, serving)


def _box(design: Design) -> int:
    """Return how many pieces a box holds: as asked, else the label's pack."""
    asked, label = design.batch.pieces_per_box, design.label
    pack = 1 if label.weight_g is None else label.pieces_per_pack
    if asked is None:
        return pack if pack > 1 else USUAL_BOX
    if asked % pack:
        raise SpecError("batch.pieces_per_box", asked, say("kitchen.box-of-whole-packs", pack=pack))
    return asked


def _packed(pieces: int, each: int, piece_g: float) -> Packed:
    count = ceil(pieces / each)
    return Packed(
        each=each, count=count, last=pieces - (count - 1) * each, mass_g=min(each, pieces) * piece_g
    )


def _cost(design: Design, lines: Sequence[RecipeLine], *, pieces: int, boxes: int) -> Cost | None:
    """Sum what has a price, and name what has none."""
    table = design.batch
    prices: list[tuple[str, float | None]] = [(line.food, line.price) for line in lines]
    centres = pieces * sum(c.count for c in design.portion.centres)
    if centres:
        each = table.centre_price
        prices.append(("centres", None if each is None else each * centres))
    if table.box_price is not None:
        prices.append(("boxes", table.box_price * boxes))
    if all(price is None for _, price in prices):
        return None
    total = fsum(price for _, price in prices if price is not None)
    unpriced = tuple(dict.fromkeys(name for name, price in prices if price is None))
    return Cost(total=total, each=total / pieces, unpriced=unpriced)
