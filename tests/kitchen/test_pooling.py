"""Trials of one dough pooled: a textbook's batches, coverage by simulation, and the dough book."""

from datetime import date
from statistics import fmean, stdev

import numpy as np
import pytest

from moulddesign.core import SpecError
from moulddesign.design import Design, DoughBook, Measured, PieceComposition
from moulddesign.kitchen.pooling import dough_values, measured_in, pooled, remember
from moulddesign.kitchen.trial import trial, typed_weighings
from moulddesign.portion import TrialMould, portion

DAY = date(2026, 11, 27)


def row(mean, sd, pieces, figure="loss"):
    plain = {"figure": figure, "mean": mean, "sd": sd, "pieces": pieces, "date": "2026-11-27"}
    return Measured.of(plain)


# Davies, Statistical Methods in Research and Production (1947): yield of dyestuff, g, five samples
# of six batches each; as printed in D. M. Bates, lme4: Mixed-effects modeling with R, chapter 1.
DYESTUFF = (
    (1545, 1440, 1440, 1520, 1580),
    (1540, 1555, 1490, 1560, 1495),
    (1595, 1550, 1605, 1510, 1560),
    (1445, 1440, 1595, 1465, 1545),
    (1595, 1630, 1515, 1635, 1625),
    (1520, 1455, 1450, 1480, 1445),
)


def test_dyestuff_of_the_textbook():
    found = pooled([row(fmean(batch), stdev(batch), len(batch)) for batch in DYESTUFF])
    assert found.value == pytest.approx(1527.5, abs=0.005)
    assert found.uncertainty == pytest.approx(19.38, abs=0.005)
    assert found.within_sd**2 == pytest.approx(2451.25, abs=0.005)
    assert found.between_sd**2 == pytest.approx(1764.05, abs=0.005)


def test_one_bake_has_the_interval_of_its_pieces():
    found = pooled([row(0.03, 0.01, 3)])
    # t(2) = 4.303, printed tables of Student's distribution
    assert found.high - found.value == pytest.approx(4.303 * 0.01 / 3**0.5, rel=1e-4)
    assert found.between_sd == 0.0


def test_bakes_that_differ_make_the_next_one_less_sure_than_the_mean():
    found = pooled([row(0.03, 0.001, 5), row(0.05, 0.001, 5), row(0.04, 0.001, 5)])
    assert found.next_bake_sd > found.between_sd > 5 * found.within_sd
    assert found.next_bake_sd > found.uncertainty


def coverage(rng, *, bakes, between, rounds):
    held = 0
    for _ in range(rounds):
        rows = []
        for _ in range(bakes):
            pieces = int(rng.integers(3, 13))
            values = between * rng.standard_normal() + rng.standard_normal(pieces)
            rows.append(row(values.mean(), values.std(ddof=1), pieces))
        found = pooled(rows)
        held += found.low <= 0.0 <= found.high
    return held / rounds


@pytest.mark.parametrize("bakes", [2, 6])
@pytest.mark.parametrize("between", [0.0, 1.0])
def test_pooled_intervals_hold_the_truth(bakes, between):
    rounds = 250
    share = coverage(np.random.default_rng(bakes), bakes=bakes, between=between, rounds=rounds)
    # 95 % within 3 points, and three standard deviations of 250 rounds: 4.1 points
    assert share == pytest.approx(0.95, abs=0.03 + 0.041)


@pytest.mark.slow
@pytest.mark.parametrize("bakes", [1, 2, 3, 5, 10])
@pytest.mark.parametrize("between", [0.0, 0.5, 1.0, 3.0])
def test_pooled_intervals_hold_the_truth_within_three_points(bakes, between):
    if bakes == 1:
        between = 0.0  # one bake cannot show how bakes differ
    rng = np.random.default_rng(100 * bakes + int(10 * between))
    assert coverage(rng, bakes=bakes, between=between, rounds=3000) == pytest.approx(0.95, abs=0.03)


DESIGN = Design.of({"portion": {"crust_dough": "syrup", "loss": 0.02}})
MOULD = TrialMould(
    volume_ml=portion(DESIGN.portion).volume_ml, height_mm=24.0, area_mm2=2400.0, width_mm=50.0,
    relief_mm=1.6,
)  # fmt: skip
PIECES = typed_weighings(
    [76.5, 76.6, 76.4], [74.0, 74.2, 74.0], [24.0, 24.1, 23.9],
    baked_width_mm=[52.0, 53.0, 51.0], baked_height_mm=[25.2, 25.2, 25.2],
    relief_left_mm=[0.8, 1.2, 0.4],
)  # fmt: skip


def test_baked_ratios_by_hand():
    found = trial(DESIGN, PIECES, MOULD)
    assert found.width_ratio.value == pytest.approx(52.0 / 50.0, rel=1e-12)
    assert found.width_ratio.seen_sd == pytest.approx(1.0 / 50.0, rel=1e-12)
    assert found.height_ratio.value == pytest.approx(fmean(25.2 / h for h in (24, 24.1, 23.9)))
    assert found.relief_ratio.value == pytest.approx(0.5, rel=1e-12)
    kept = found.corrected.dough
    assert kept.width_ratio == pytest.approx(1.04, abs=1e-6)
    eaten = kept.as_eaten(width_mm=60.0, height_mm=20.0, relief_mm=None)
    assert eaten["width"][0] == pytest.approx(62.4, abs=1e-4)
    assert "relief" not in eaten
    assert Design.of(found.corrected.plain()) == found.corrected


def test_relief_of_a_plain_piece_is_refused():
    plain = TrialMould(volume_ml=60.0, height_mm=24.0, area_mm2=2400.0, width_mm=50.0)
    with pytest.raises(SpecError, match=r"relief_left_mm = 0.8: must be left out"):
        trial(DESIGN, PIECES, plain)


def test_a_dough_of_the_book_sets_what_was_measured_of_it():
    rows = measured_in(trial(DESIGN, PIECES, MOULD), DAY)
    book = remember(DoughBook(), "lantern", rows, DESIGN)
    book = remember(book, "lantern", [row(1.6, None, 1, "least_crust_mm")], DESIGN)
    book = remember(book, "lantern", [row(1.4, None, 1, "least_crust_mm")], DESIGN)
    dough = book.find("lantern")
    made = Design().with_values(dough_values(dough, PieceComposition.WRAPPED))
    assert made.portion.crust_dough == "syrup"
    assert made.portion.loss == pytest.approx(fmean(1 - b / a for a, b in (
        (76.5, 74.0), (76.6, 74.2), (76.4, 74.0))), abs=1e-6)  # fmt: skip
    assert made.dough.least_crust_mm == 1.4
    assert made.dough.pieces == 3
    assert made.portion.loss_uncertainty > 0.0
    solid = dough_values(dough, PieceComposition.SOLID)
    assert "portion.filling_density_g_per_ml" not in solid
    assert DoughBook.of(book.plain()) == book


def test_the_same_trial_counts_once_and_one_piece_not_at_all():
    rows = measured_in(trial(DESIGN, PIECES, MOULD), DAY)
    book = remember(DoughBook(), "lantern", rows, DESIGN)
    with pytest.raises(SpecError, match="has these very figures"):
        remember(book, "lantern", rows, DESIGN)
    single = measured_in(trial(DESIGN, PIECES[:1], MOULD), DAY)
    assert single == ()
    with pytest.raises(SpecError, match="two pieces or more"):
        remember(book, "lantern", single, DESIGN)


@pytest.mark.parametrize(
    ("wrong", "need"),
    [
        ({"figure": "loss", "mean": 0.02, "date": "2026-11-27"}, "sd = None: must be given"),
        ({"figure": "loss", "mean": 0.02, "sd": 0.01, "pieces": 5, "date": "soon"}, "date"),
        ({"figure": "taste", "mean": 1, "date": "2026-11-27"}, "figure = 'taste': must be one of"),
    ],
)
def test_a_book_with_mistakes_is_refused(wrong, need):
    with pytest.raises(SpecError, match=need):
        DoughBook.of({"dough": [{"name": "lantern", "measured": [wrong]}]})


def test_two_doughs_of_one_name_are_refused():
    with pytest.raises(SpecError, match="two doughs of the name lantern"):
        DoughBook.of({"dough": [{"name": "lantern"}, {"name": "lantern"}]})


def test_no_design_takes_what_cannot_be():
    with pytest.raises(SpecError, match=r"dough.most_depth_mm = -1.0: must be above 0 mm"):
        remember(DoughBook(), "lantern", [row(-1.0, None, 1, "most_depth_mm")], DESIGN)
