"""Syrup: boiling points against two published families, weights against a balance of dry matter."""

import pytest
from iapws.iapws97 import _PSat_T

from moulddesign.core import SpecError
from moulddesign.kitchen.syrup import (
    SEA_LEVEL_PA,
    SyrupPot,
    air_pressure_pa,
    brown_boils_c,
    pot_solids,
    saturation_pa,
    syrup,
    syrup_boils_c,
    syrup_sentences,
)

POT = {"sugar_g": 500.0, "solids": 0.78}


@pytest.mark.parametrize("at_c", [25.0, 80.0, 100.0, 130.0])
def test_vapour_pressure_is_that_of_the_iapws_package(at_c):
    # IF97 agrees with the equation to 0.01 % there; the package has it in MPa.
    assert saturation_pa(at_c) == pytest.approx(1e6 * _PSat_T(at_c + 273.15), rel=3e-4)


@pytest.mark.parametrize(
    ("solids", "brown_c", "below_k"),
    [  # Brown 1912, and how far the formula of Starzak and Peacock lies below it
        (0.60, 103.0, 0.1), (0.66, 104.8, 0.8), (0.70, 106.5, 1.5), (0.74, 108.4, 2.1),
        (0.76, 109.4, 2.2), (0.78, 110.6, 2.4), (0.80, 112.0, 2.6), (0.84, 116.3, 3.4),
        (0.90, 127.8, 5.4),
    ],
)  # fmt: skip
def test_both_published_families_of_boiling_points(solids, brown_c, below_k):
    assert brown_boils_c(solids, 0.0, SEA_LEVEL_PA) == pytest.approx(brown_c, abs=1e-4)
    formula_c = syrup_boils_c(solids, 0.0, SEA_LEVEL_PA)
    assert brown_c - formula_c == pytest.approx(below_k, abs=0.06)


def test_the_rule_of_maple_syrup_makers_agrees_with_the_formula():
    # 66.0 Brix boils 7.1 deg F above water, published; a tenth of a degree of reading either way.
    above_k = syrup_boils_c(0.66, 0.0, SEA_LEVEL_PA) - syrup_boils_c(1e-9, 0.0, SEA_LEVEL_PA)
    assert 1.8 * above_k == pytest.approx(7.1, abs=0.15)


@pytest.mark.parametrize(
    ("altitude_m", "expected"),
    [(0.0, (108.5, 110.4, 111.3, 112.2)), (1000.0, (105.0, 106.9, 107.8, 108.6))],
)
def test_inverted_syrups_boil_as_by_norrish_alone(altitude_m, expected):
    # 78 % solids, computed with Norrish's equation for all three sugars, K over T; that gives
    # sucrose 0.3 K more than Starzak and Peacock do. No measured check is known.
    for inverted, boils_c in zip((0.0, 0.5, 0.75, 1.0), expected, strict=True):
        found = syrup_boils_c(0.78, inverted, air_pressure_pa(altitude_m))
        assert found == pytest.approx(boils_c, abs=0.35)


@pytest.mark.parametrize(
    ("inverted", "net_g"), [(0.0, 641.0), (0.5, 658.0), (0.75, 666.0), (1.0, 675.0)]
)
def test_net_weight_worked_by_hand(inverted, net_g):
    # 500 g of sugar to 78 %: 500 (1 + 0.0526 i) / 0.78, to the gram; 1.5 points either way.
    found = syrup(SyrupPot(**POT, inverted=inverted))
    assert found.net_g == pytest.approx(net_g, abs=0.5)
    dry_g = 0.78 * found.net_g
    assert found.net_g_range == pytest.approx((dry_g / 0.795, dry_g / 0.765))
    solids, low, high = pot_solids(found.pot, found.net_g)
    assert (solids, low, high) == pytest.approx((0.78, 0.765, 0.795))


def test_acid_leaves_inversion_open_and_adds_its_own_dry_matter():
    found = syrup(SyrupPot(**POT, acid_g=5.0))
    assert found.net_g_range == pytest.approx((505.0 / 0.795, 531.3 / 0.765))
    assert "not predicted" in " ".join(map(str, syrup_sentences(found)))


def test_the_reading_holds_both_families_and_falls_with_the_air():
    low, high = syrup(SyrupPot(**POT)), syrup(SyrupPot(**POT, altitude_m=1000.0))
    for found in (low, high):
        least, most = found.reading_c_range
        assert least < found.formula_c < found.reading_c < found.brown_c < most
    assert high.water_boils_c == pytest.approx(96.7, abs=0.1)  # ISO 2533: 898.7 hPa at 1000 m
    same = syrup(SyrupPot(**POT, boiling_c=high.water_boils_c))
    assert same.reading_c == pytest.approx(high.reading_c, abs=1e-4)


def test_sugar_that_is_not_inverted_crystallises():
    # 2.04 g of sucrose lie in a gram of water: of 100 g at 78 % without inversion 44.9 g of 78.
    # At i = 0.412 the pot of 100 g sugar has 28.8 g of water, which hold 58.8 g: 1 - i of it.
    found = syrup(SyrupPot(**POT))
    assert found.least_inverted == pytest.approx(0.412, abs=0.001)
    assert any("crystallises" in str(said) for said in syrup_sentences(found))
    kept = syrup(SyrupPot(**POT, inverted=0.5))
    assert not any("crystallises" in str(said) for said in syrup_sentences(kept))


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("sugar_g", 0.0), ("sugar_g", float("nan")), ("solids", 78.0), ("solids", 0.5),
        ("inverted", 1.2), ("acid_g", -1.0), ("altitude_m", 9000.0), ("boiling_c", 212.0),
    ],
)  # fmt: skip
def test_what_no_pot_has_is_refused(key, value):
    with pytest.raises(SpecError, match=key):
        SyrupPot(**(POT | {key: value}))


def test_a_pot_lighter_than_its_sugar_is_refused():
    with pytest.raises(SpecError, match="pot_g"):
        pot_solids(SyrupPot(**POT), 500.0)
