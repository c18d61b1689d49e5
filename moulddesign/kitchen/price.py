"""The price of a piece: what it costs to make, and what it has to sell for.

Cost is what one made piece takes: ingredients and box, work, energy, and its share of the mould.
Every sold piece also carries those that stay unsold, the seller's fee, the margin and the tax.
"""

from dataclasses import dataclass

from moulddesign.core import SpecError, require_not_negative, require_positive, say
from moulddesign.design import PriceTable


@dataclass(frozen=True, slots=True, kw_only=True)
class Price:
    """Price of one piece when a number of them is made at once, and what it is made up of."""

    pieces: float
    ingredients: float
    """Dough, paste, centres and the piece's share of its box, as the next for one piece made."""
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


def price(
    table: PriceTable, *, pieces: float, ingredients: float, work_min: float, oven_loads: float
) -> Price:
    """Return what one piece costs and has to sell for when a number of them is made at once.

    Parameters
    ----------
    table : PriceTable
        Wage, energy, mould and shares.
    pieces : float
        Pieces of the batch.
    ingredients : float
        What dough, paste, centres and boxes of the batch cost.
    work_min : float
        Work of all people together for the batch [min].
    oven_loads : float
        Loads of the oven that the batch takes.

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
    each = require_not_negative("ingredients", ingredients, "") / count
    work = (table.wage_per_hour or 0.0) * work_min / 60.0 / count
    energy = table.energy_per_oven_load * oven_loads / count
    mould = table.mould_price / table.mould_pieces
    cost = each + work + energy + mould
    cost_sold = cost / (1.0 - table.unsold_share)
    kept_share = (1.0 - table.margin_share) / (1.0 + table.tax_share) - table.fee_share
    if kept_share <= 0.0:
        need = say("kitchen.price-leaves-nothing")
        raise SpecError("price.margin_share", table.margin_share, need)
    shelf_price = cost_sold / kept_share
    net = shelf_price / (1.0 + table.tax_share)
    return Price(
        pieces=pieces,
        ingredients=each,
        work=work,
        energy=energy,
        mould=mould,
        cost=cost,
        cost_sold=cost_sold,
        fee=table.fee_share * shelf_price,
        margin=table.margin_share * net,
        tax=shelf_price - net,
        shelf_price=shelf_price,
    )
