"""The price of a piece: what it costs to make, and what it has to sell for.

Cost is what one made piece takes: ingredients and box, work, energy, and its share of the mould.
Every sold piece also carries those that stay unsold, the seller's fee, the margin and the tax.
"""

from dataclasses import dataclass, fields
from math import ceil

from moulddesign.core import SpecError, require_not_negative, require_positive, require_ratio, say


@dataclass(frozen=True, slots=True, kw_only=True)
class PriceBasis:
    """What the price of a piece is worked out from, all money in one currency.

    Raises
    ------
    SpecError
        A figure is negative or not a number, a share is not below 1, or a count is below 1.
    """

    ingredients_per_piece: float
    """Dough, paste, centres and the piece's share of its box."""
    minutes_per_batch: float = 0.0
    """Work that a batch takes whatever its size: weighing out, cooking, washing up [min]."""
    minutes_per_piece: float = 0.0
    """Work that each piece takes: wrapping, pressing, packing [min]."""
    wage_per_hour: float = 0.0
    energy_per_oven_load: float = 0.0
    """Price of the energy of one oven load."""
    pieces_per_oven_load: int = 24
    mould_price: float = 0.0
    """What the mould cost: plastic, printing, silicone."""
    mould_pieces: int = 1000
    """Pieces that the owner expects to press with it."""
    unsold_share: float = 0.0
    """Share of the pieces made that is given away, broken or left over."""
    fee_share: float = 0.0
    """Share of the shelf price that a market, shop or payment service keeps."""
    margin_share: float = 0.0
    """Share of the price before tax that is to be left when all else is paid."""
    tax_share: float = 0.0
    """Tax on the price before tax."""

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if field.name in {"pieces_per_oven_load", "mould_pieces"}:
                require_positive(field.name, value, "")
            elif field.name in {"unsold_share", "fee_share", "margin_share"}:
                require_ratio(field.name, value)
            else:
                require_not_negative(field.name, value, "")


@dataclass(frozen=True, slots=True, kw_only=True)
class Price:
    """Price of one piece when a number of them is made at once, and what it is made up of."""

    pieces: int
    ingredients: float
    work: float
    energy: float
    mould: float
    cost: float
    """Of one piece made: the four above."""
    cost_sold: float
    """Of one piece sold: it carries those that are not."""
    fee: float
    margin: float
    tax: float
    shelf_price: float
    """What the buyer pays: cost_sold, fee, margin and tax."""


def price(basis: PriceBasis, pieces: int) -> Price:
    """Return what one piece costs and has to sell for when a number of them is made at once.

    Parameters
    ----------
    basis : PriceBasis
        Money, minutes and shares.
    pieces : int
        Pieces of the batch, at least 1.

    Returns
    -------
    Price
        With net = shelf / (1 + tax), the fee is a share of the shelf price and the margin a share
        of net, so shelf ((1 - margin) / (1 + tax) - fee) = cost of a piece sold.

    Raises
    ------
    SpecError
        There are no pieces, or fee, margin and tax leave nothing for the cost.
    """
    count = require_positive("pieces", pieces, "")
    work = basis.wage_per_hour / 60.0 * (basis.minutes_per_batch / count + basis.minutes_per_piece)
    energy = basis.energy_per_oven_load * ceil(pieces / basis.pieces_per_oven_load) / count
    mould = basis.mould_price / basis.mould_pieces
    cost = basis.ingredients_per_piece + work + energy + mould
    cost_sold = cost / (1.0 - basis.unsold_share)
    kept_share = (1.0 - basis.margin_share) / (1.0 + basis.tax_share) - basis.fee_share
    if kept_share <= 0.0:
        raise SpecError("margin_share", basis.margin_share, say("kitchen.price-leaves-nothing"))
    shelf_price = cost_sold / kept_share
    net = shelf_price / (1.0 + basis.tax_share)
    return Price(
        pieces=pieces,
        ingredients=basis.ingredients_per_piece,
        work=work,
        energy=energy,
        mould=mould,
        cost=cost,
        cost_sold=cost_sold,
        fee=basis.fee_share * shelf_price,
        margin=basis.margin_share * net,
        tax=shelf_price - net,
        shelf_price=shelf_price,
    )
