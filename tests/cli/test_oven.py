"""Core time on the command line."""

import json

import pytest
from command_line import refused, run


def test_json_has_the_minutes_and_what_they_follow_from(monkeypatch, capsys):
    code, said, _ = run(monkeypatch, capsys, "oven", "--weight", "52", "--ratio", "2:8", "--json")
    found = json.loads(said)
    least, most = found["minutes"]
    # 52 g of seed paste, 47.5 x 23.5 mm: 9.4 to 13.9 min, worked out elsewhere, within 35 %
    assert code == 0
    assert 9.4 * 0.65 < least < most < 13.9 * 1.35
    assert found["film_w_per_m2k"] == [48.0, 20.0]


def test_the_sentence_asks_for_a_probe(monkeypatch, capsys):
    _, said, _ = run(monkeypatch, capsys, "oven", "--oven", "180", "--set-minutes", "6")
    assert "In an oven of 180 °C the middle has 90 °C after" in said
    assert "Probe one piece." in " ".join(said.split())


@pytest.mark.parametrize(
    ("asked", "sentence"),
    [
        (("--from", "-18"), "--from = -18.0: must be from 0 to 80 °C"),
        (("--oven", "nan"), "--oven = 'nan': must be a number"),
        (("--finish", "unbaked"), "portion.finish = 'unbaked': is not baked"),
    ],
)
def test_what_no_oven_heats_is_refused(monkeypatch, capsys, asked, sentence):
    assert sentence in refused(monkeypatch, capsys, "oven", *asked)
