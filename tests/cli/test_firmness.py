"""The plate test on the command line."""

import json

import pytest
from command_line import refused, run

ASKED = ("firmness", "--dough-ml", "20", "--load", "1000", "--height")


@pytest.mark.parametrize(("height", "kpa"), [("5", 0.38), ("7", 0.75), ("10", 1.44)])
def test_json_has_the_yield_stress_and_its_range(monkeypatch, capsys, height, kpa):
    # 20 mL under 1 kg; theory as in Meeten, Rheologica Acta 43:6, worked by hand
    code, said, _ = run(monkeypatch, capsys, *ASKED, height, "--json")
    found = json.loads(said)
    assert code == 0
    assert found["yield_kpa"] == pytest.approx(kpa, abs=0.005)
    assert found["most_kpa"] == pytest.approx(1.4 * found["yield_kpa"])


def test_the_table_hands_over_to_the_design(monkeypatch, capsys):
    _, said, _ = run(monkeypatch, capsys, *ASKED, "7")
    assert "0.75 kPa, 0.45 to 1.04" in said
    assert "--crust-yield 0.75" in said


@pytest.mark.parametrize("height", ["0", "-1", "nan"])
def test_no_height_is_refused(monkeypatch, capsys, height):
    assert "height" in refused(monkeypatch, capsys, *ASKED, height)
