"""The price of a piece, by an example worked by hand and by the laws of a price."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from moulddesign.core import SpecError
from moulddesign.design import PriceTable
from moulddesign.kitchen.price import price

ORCHARD = PriceTable(
    wage_per_hour=18, energy_per_oven_load=0.60, mould_price=30, mould_pieces=600,
    unsold_share=0.05, fee_share=0.02, margin_share=0.20, tax_share=0.07,
)  # fmt: skip


def orchard(pieces, loads):
    return price(
        ORCHARD, pieces=pieces, ingredients=0.40 * pieces, work_min=60 + 1.5 * pieces,
        oven_loads=loads,
    )  # fmt: skip


def test_an_example_worked_by_hand():
    """Sixty pieces of the orchard's cake, invented figures.

    work    18/60 x (60/60 + 1.5) = 0.30 x 2.5      = 0.75
    energy  three loads of 0.60 over 60 pieces      = 0.03
    mould   30 / 600                                = 0.05
    cost    0.40 + 0.75 + 0.03 + 0.05               = 1.23
    sold    1.23 / 0.95                             = 1.294737
    shelf   1.294737 / (0.80 / 1.07 - 0.02)         = 1.294737 / 0.7276636 = 1.779307
    net     1.779307 / 1.07                         = 1.662904
    """
    made = orchard(60, 3)
    assert made.work == pytest.approx(0.75)
    assert made.energy == pytest.approx(0.03)
    assert made.mould == pytest.approx(0.05)
    assert made.cost == pytest.approx(1.23)
    assert made.cost_sold == pytest.approx(1.294737, abs=5e-7)
    assert made.shelf_price == pytest.approx(1.779307, abs=2e-6)
    assert made.margin == pytest.approx(0.2 * 1.662904, abs=1e-6)


SHARES = st.floats(0.0, 0.3)


@given(unsold=SHARES, fee=SHARES, margin=SHARES, tax=SHARES, pieces=st.integers(1, 5000))
def test_what_the_buyer_pays_is_shared_out_wholly(unsold, fee, margin, tax, pieces):
    table = PriceTable(
        wage_per_hour=20, unsold_share=unsold, fee_share=fee, margin_share=margin, tax_share=tax
    )
    made = price(table, pieces=pieces, ingredients=0.7 * pieces, work_min=30, oven_loads=1)
    assert made.shelf_price == pytest.approx(made.cost_sold + made.fee + made.margin + made.tax)


@given(few=st.integers(1, 200), more=st.integers(1, 200))
def test_a_larger_batch_of_full_oven_loads_is_never_dearer(few, more):
    one, other = (orchard(24 * n, n).shelf_price for n in (few, few + more))
    assert other <= one


def test_shares_that_leave_nothing_are_refused():
    table = PriceTable(fee_share=0.5, margin_share=0.6)
    with pytest.raises(SpecError, match=r"margin_share = 0\.6"):
        price(table, pieces=10, ingredients=1.0, work_min=0, oven_loads=0)


@pytest.mark.parametrize(
    ("field", "value"),
    [("wage_per_hour", -1.0), ("unsold_share", 1.0), ("mould_pieces", 0), ("tax_share", "nan")],
)
def test_a_figure_that_cannot_be_is_refused(field, value):
    with pytest.raises(SpecError, match=field):
        PriceTable.of({field: float(value)})
