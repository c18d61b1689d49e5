"""A stop for another weight in the same press, as a person asks for it."""

import json
import re

import pytest
import trimesh
from command_line import refused, run

PIECE = ("--weight", "60", "--ratio", "4:6", "--pattern", "blossom")


def test_a_lighter_piece_gets_a_lower_stop_and_nothing_else(monkeypatch, capsys, tmp_path):
    def made(weight):
        asked = ("make", *PIECE, "--stop-for", weight, "--out", tmp_path, "--json")
        code, said, _ = run(monkeypatch, capsys, *asked)
        assert code == 0
        return json.loads(said)

    light, same = made("55g"), made("60")
    assert {path.name for path in tmp_path.iterdir()} == {"stop-55g.stl", "stop-60g.stl"}
    for one in (light, same):
        stop = trimesh.load(one["file"])
        assert stop.is_watertight
        assert stop.extents[2] == pytest.approx(one["stop_mm"], abs=1e-4)
    # 5 g finished are 5.1 g raw and some 4 mL: two millimetres over the area of 17 to 20 cm2.
    lower = same["stopped_height_mm"] - light["stopped_height_mm"]
    assert lower == pytest.approx(same["stop_mm"] - light["stop_mm"])
    assert 1.6 <= lower <= 2.8


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        (("--stop-for", "20"), r"--stop-for = 20.*this press takes .* to .* mm"),
        (("--stop-for", "60", "--kind", "block"), "has no stop; only a press has one"),
        (("--stop-for", "60", "--formats", "step"), "--formats"),
    ],
)
def test_what_no_stop_can_do_is_refused_with_a_sentence(monkeypatch, capsys, tmp_path, asked, says):
    sentence = refused(monkeypatch, capsys, "make", *PIECE, *asked, "--out", tmp_path)
    assert re.search(says, sentence)
    assert not list(tmp_path.iterdir())


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        (("--only", "lid"), "--only = 'lid': must be one of stamp"),
        (("--only", "stamp", "--formats", "step"), "writes meshes"),
        (("--only", "stamp", "--kind", "block"), "only a press has parts"),
        (("--lower-stop", "0.4"), "name it with --for FOLDER"),
        (("--for", "."), "holds no set.toml"),
    ],
)
def test_what_no_part_can_be_made_for_is_refused(monkeypatch, capsys, tmp_path, asked, says):
    sentence = refused(monkeypatch, capsys, "make", *PIECE, *asked, "--out", tmp_path)
    assert says in sentence
