"""Numbers as people type them, with the factors of NIST Special Publication 811."""

import pytest

from moulddesign.core import SpecError
from moulddesign.core.quantities import read_cell, read_number, read_numbers, read_ratio


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("68g", "g", 68.0),
        (" 68,5 g ", "g", 68.5),
        ("0,125", "g", 0.125),  # a leading zero parts no thousands
        ("1.250", "g", 1.25),
        ("1e2", "g", 100.0),
        (".5", "mm", 0.5),
        pytest.param("2.4 oz", "g", 2.4 * 28.349523125, id="NIST SP 811 B.8, ounce"),
        pytest.param("1 lb", "g", 453.59237, id="NIST SP 811 B.8, pound"),
        pytest.param('2 "', "mm", 50.8, id="NIST SP 811 B.8, inch"),
        pytest.param("1 fl oz", "mL", 29.5735295625, id="NIST SP 811 B.8, US fluid ounce"),
        ("5 cm", "mm", 50.0),
        ("2 %", "", 0.02),
        ("0.02", "", 0.02),
        ("1250 kg/m3", "g/mL", 1.25),
        ("-3", "deg", -3.0),
    ],
)
def test_a_number_is_read_in_the_field_s_unit(text, unit, value):
    assert read_number("--x", text, unit) == pytest.approx(value, rel=1e-15)


@pytest.mark.parametrize(
    ("text", "unit", "sentence"),
    [
        ("1,250", "g", "could be 1250 or 1.250; write it without the comma"),
        ("12,500 g", "g", "could be 12500 or 12.500"),
        ("2 in", "g", "must be in g, kg, mg, oz, lb, or without a unit"),
        ("heavy", "g", "must be a number such as 12.5 g"),
        ("", "g", "must be a number such as 12.5 g"),
        ("1.2.3", "mm", "must be"),
        ("1 250", "g", "must be in"),
        ("nan", "g", "must be a number"),
        ("1e999", "g", "must be a number"),
    ],
)
def test_what_is_no_number_of_that_unit_is_refused(text, unit, sentence):
    with pytest.raises(SpecError, match="--x") as refused:
        read_number("--x", text, unit)
    assert sentence in str(refused.value)


def test_a_comma_between_commas_could_mean_either():
    # RFC 4180 quotes a cell that holds the separator; what a person meant by it cannot be told.
    with pytest.raises(SpecError, match="has a comma, which separates the cells"):
        read_cell("row 2", "77,5", "g", ",")
    assert read_cell("row 2", "77,5", "g", ";") == 77.5
    assert read_cell("row 2", "77.5 g", "g", ",") == 77.5


@pytest.mark.parametrize(
    ("text", "numbers"),
    [
        ("220x220x250", [220, 220, 250]),
        ("8.7 in x 9 in x 25 cm", [220.98, 228.6, 250]),
        ("1;2", [1, 2]),
        ("1 2,5 3", [1, 2.5, 3]),
    ],
)
def test_several_numbers_are_read_one_by_one(text, numbers):
    assert read_numbers("--bed", text, "mm") == pytest.approx(numbers)


@pytest.mark.parametrize(
    ("text", "ratio"),
    [
        ("3:7", "3:7"),
        ("3 / 7", "3:7"),
        ("30%", "30:70"),
        ("33,3 %", "33.3:66.7"),
        ("100 %", "100:0"),
    ],
)
def test_a_ratio_is_read(text, ratio):
    assert read_ratio("--ratio", text) == ratio


@pytest.mark.parametrize("text", ["3", "130 %", "3:7:1", "a:b", ""])
def test_what_is_no_ratio_is_refused(text):
    with pytest.raises(SpecError, match="--ratio"):
        read_ratio("--ratio", text)
