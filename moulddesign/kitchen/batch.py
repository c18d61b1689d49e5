"""A batch: how much to mix, or how many pieces what is on hand makes; cost, price, day and boxes.

From the pieces back to the bowl: what trimming and hands take is divided out first, then what is
ready is taken off, then what stays in bowl and pan is added, and the water that cooks off.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from math import ceil, floor, fsum
from typing import Final

from moulddesign.core import SpecError, require_positive, say, word
from moulddesign.design import MOST_PIECES, USUAL_BOX, Design, Finish
from moulddesign.kitchen.ingredient_list import recipe_allergens
from moulddesign.kitchen.price import Price, price
from moulddesign.kitchen.recipe import Recipe, RecipeLine, RecipePart, cooked_off, scaled
from moulddesign.kitchen.schedule import (
    Day,
    DayPlan,
    calendar,
    day_plan,
    filled_trays,
    oven_loads,
    without_mixing,
    work_minutes,
)
from moulddesign.portion import (
    AllergenList,
    Figures,
    LabelTarget,
    Split,
    figures,
)

ROUND_OFF: Final = 1e-9
"""Share of a mass that is nothing but round-off."""


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


def is_baked(design: Design) -> bool:
    """Return whether pieces go through the oven."""
    return design.portion.finish is Finish.BAKED


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
    if on_hand.filling_g is not None and not design.portion.is_filled:
        need = say("design.no-filling", composition=word(design.portion.composition))
        raise SpecError("filling on hand", on_hand.filling_g, need)
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
    """To mix: less what is on hand, with what bowl, pan and cooking take."""
    lines: tuple[RecipeLine, ...]
    """Ingredients, where there is a recipe."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cost:
    """What a batch costs, as far as prices are given; what is on hand is paid already."""

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
class Packs:
    """Packs that carry a label, and what the packers' rules ask of their weights."""

    pieces: int
    """In a pack."""
    count: int
    """Whole packs of the batch."""
    over: int
    """Pieces that make no whole pack, and are not sold under its label."""
    label_g: float
    """What the label of a pack declares."""
    mean_g: float
    """Mean finished weight of a pack as it is weighed out."""
    few_below_g: float
    """Label less the tolerable deficiency: few packs may lie below."""
    none_below_g: float
    """Label less twice that."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Batch:
    """A batch of pieces."""

    pieces: int
    runs_short: str | None
    """What is used up first; None where the number was given."""
    left_over: Mapping[str, float]
    """What remains of all that is on hand: crust and filling in grams, centres in number."""
    split: Split
    """What to set on the scale for one piece."""
    crust: BatchPart
    filling: BatchPart
    centres: tuple[tuple[str, int], ...]
    """Name and number of each kind of centre."""
    trays: Packed
    boxes: Packed
    packs: Packs | None
    """None where no label weight is given."""
    cost: Cost | None
    """None where no price is given."""
    prices: tuple[Price, ...]
    """Price of a piece at this number and at others; none without a wage."""
    allergens: AllergenList
    days: tuple[Day, ...]
    """Empty without a serving date."""
    plan: DayPlan | None
    """The bake day; None where it takes more oven loads than a day has room for."""


def batch(
    design: Design,
    recipe: Recipe | None = None,
    on_hand: OnHand | None = None,
    pieces: int | None = None,
) -> Batch:
    """Return the totals for a number of pieces, or for what is on hand.

    Parameters
    ----------
    design : Design
        The piece, the scale, and what the batch needs.
    recipe : Recipe or None
        What to scale; without it only totals are given.
    on_hand : OnHand or None
        What is ready: it is neither mixed nor paid again.
    pieces : int or None
        How many to make. Where it is left out, what is on hand decides, and else the design.

    Raises
    ------
    SpecError
        Neither a number of pieces nor anything on hand is given; there is not enough for one
        piece; or the piece cannot be made.
    """
    made = figures(design)
    split = made.split
    have = OnHand() if on_hand is None else on_hand
    count = _count(design, split, have, pieces)
    crust, filling = parts(design, recipe, split, pieces=count.pieces, have=have)
    serving = design.batch.serving_date
    days = (
        ()
        if serving is None
        else calendar(
            recipe,
            serving,
            pieces=count.pieces,
            paste_g=filling.mixed_g,
            dough_g=crust.mixed_g,
            baked=is_baked(design),
        )
    )
    trays = filled_trays(count.pieces, design.batch.pieces_per_tray)
    boxes = _packed(count.pieces, _box(design), split.raw_g * (1.0 - made.piece.loss))
    return Batch(
        pieces=count.pieces,
        runs_short=count.runs_short,
        left_over=count.left_over,
        split=split,
        crust=crust,
        filling=filling,
        centres=tuple((c.name, c.count * count.pieces) for c in design.portion.centres),
        trays=_packed(count.pieces, design.batch.pieces_per_tray, split.raw_g),
        boxes=boxes,
        packs=None if made.label is None else _packs(made, made.label, count.pieces),
        cost=cost_of(design, (*crust.lines, *filling.lines), count.pieces, have.centres or 0),
        prices=_prices(design, recipe, split, count.pieces),
        allergens=allergens_of(design, recipe),
        days=days,
        plan=day_plan(
            without_mixing(design.bake_day, recipe, crust.mixed_g), trays, baked=is_baked(design)
        ),
    )


def _count(design: Design, split: Split, have: OnHand, pieces: int | None) -> Count:
    if pieces is None and have.is_given:
        return pieces_from(design, split, have)
    number = design.batch.pieces if pieces is None else pieces
    if number is None:
        raise SpecError("batch.pieces", "not given", say("kitchen.pieces-not-given"))
    left = {
        name: max(0.0, there - number * need)
        for name, (there, need) in _stock(design, split, have).items()
    }
    return Count(pieces=number, runs_short=None, left_over=left)


def parts(
    design: Design, recipe: Recipe | None, split: Split, *, pieces: int, have: OnHand
) -> tuple[BatchPart, BatchPart]:
    """Return crust and filling of a number of pieces."""
    if recipe is not None and recipe.filling is None and design.portion.is_filled:
        raise SpecError("filling", "not given", say("kitchen.filling-missing"))
    crust = _part(
        design, None if recipe is None else recipe.crust, pieces * split.crust_g,
        kept=kept_of_crust(design), have_g=have.crust_g, cooking_loss=0.0,
    )  # fmt: skip
    filling = _part(
        design, None if recipe is None else recipe.filling, pieces * split.paste_g,
        kept=kept_of_filling(design), have_g=have.filling_g,
        cooking_loss=design.batch.cooking_loss,
    )  # fmt: skip
    return crust, filling


def _part(
    design: Design,
    part: RecipePart | None,
    pieces_g: float,
    *,
    kept: float,
    have_g: float | None,
    cooking_loss: float,
) -> BatchPart:
    ready_g = pieces_g / kept
    missing_g = max(0.0, ready_g - (have_g or 0.0))
    if missing_g <= ROUND_OFF * ready_g:
        return BatchPart(pieces_g=pieces_g, ready_g=ready_g, mixed_g=0.0, lines=())
    cooked = cooking_loss if part is None else cooked_off(part, cooking_loss)
    mixed_g = missing_g / (1.0 - design.batch.mixing_loss) / (1.0 - cooked)
    lines = () if part is None else scaled(part, mixed_g, design.scale.resolution_g)
    return BatchPart(pieces_g=pieces_g, ready_g=ready_g, mixed_g=mixed_g, lines=lines)


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


def _packs(made: Figures, label: LabelTarget, pieces: int) -> Packs:
    each = label.pieces_per_pack
    return Packs(
        pieces=each,
        count=pieces // each,
        over=pieces % each,
        label_g=label.pack_g,
        mean_g=each * made.split.raw_g * (1.0 - made.piece.loss),
        few_below_g=label.pack_g - label.deficiency_g,
        none_below_g=label.pack_g - 2.0 * label.deficiency_g,
    )


def cost_of(
    design: Design, lines: Iterable[RecipeLine], pieces: int, centres_there: int = 0
) -> Cost | None:
    """Return what a batch costs: what has a price is summed, what has none is named.

    Parameters
    ----------
    design : Design
        Prices of centres and boxes.
    lines : iterable of RecipeLine
        What is mixed.
    pieces : int
        Pieces of the batch.
    centres_there : int
        Centres that are there, of each kind.
    """
    table = design.batch
    prices: list[tuple[str, float | None]] = [(line.food, line.price) for line in lines]
    for centre in design.portion.centres:
        missing = max(0, centre.count * pieces - centres_there)
        if missing:
            each = table.centre_price if centre.price is None else centre.price
            prices.append((centre.name, None if each is None else each * missing))
    if table.box_price is not None:
        prices.append(("boxes", table.box_price * ceil(pieces / _box(design))))
    if all(price is None for _, price in prices):
        return None
    total = fsum(price for _, price in prices if price is not None)
    unpriced = tuple(dict.fromkeys(name for name, price in prices if price is None))
    return Cost(total=total, each=total / pieces, unpriced=unpriced)


def _prices(design: Design, recipe: Recipe | None, split: Split, pieces: int) -> tuple[Price, ...]:
    """Return the price of a piece for a full oven, for the batch, and for twice as many.

    Dough that is ready was paid once, so it counts here.
    """
    if design.price.wage_per_hour is None:
        return ()
    day, per_tray = design.bake_day, design.batch.pieces_per_tray
    a_load = min(pieces, per_tray * day.oven_trays)
    prices = []
    for number in sorted({a_load, pieces, 2 * pieces}):
        crust, filling = parts(design, recipe, split, pieces=number, have=OnHand())
        cost = cost_of(design, (*crust.lines, *filling.lines), number)
        made = price(
            design.price,
            pieces=number,
            ingredients=0.0 if cost is None else cost.total,
            work_min=work_minutes(day, number),
            oven_loads=oven_loads(day, ceil(number / per_tray)) if is_baked(design) else 0,
        )
        prices.append(made)
    return tuple(prices)


def allergens_of(design: Design, recipe: Recipe | None) -> AllergenList:
    """Return the allergens of a recipe and of a design's centres."""
    named = recipe_allergens(recipe, (centre.name for centre in design.portion.centres))
    if recipe is not None:
        return named
    parts_of = ("crust", "filling") if design.portion.is_filled else ("dough",)
    return AllergenList(found=named.found, unknown=(*parts_of, *named.unknown))
