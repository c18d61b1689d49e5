import json

import pytest
from command_line import run

from moulddesign.design import Design
from moulddesign.pastry.pastry import trial_mould
from moulddesign.portion import portion

PAIR = ("--raw", 100, "--finished", 96, "--raw", 100, "--finished", 94)


def test_loss_by_hand_and_both_sets_of_weights(monkeypatch, capsys):
    code, out, err = run(monkeypatch, capsys, "trial", *PAIR, "--json")
    report = json.loads(out)
    assert (code, err) == (0, "")
    assert report["loss"]["value"] == pytest.approx(0.05, abs=1e-12)
    assert report["density_g_per_ml"] is None
    same, new = (report["weights"][name]["portion"] for name in ("same_mould", "new_mould"))
    before = report["weights"]["before"]["portion"]
    # the old raw weight fills the old mould; a new mould holds what leaves the finished weight
    assert same["raw_g"] == pytest.approx(before["raw_g"], rel=1e-9)
    assert same["finished_g"] == pytest.approx(before["raw_g"] * 0.95, rel=1e-9)
    assert new["finished_g"] == before["finished_g"]
    assert new["raw_g"] == pytest.approx(before["finished_g"] / 0.95, rel=1e-9)


def test_table_fits_80_columns(monkeypatch, capsys):
    code, out, _ = run(monkeypatch, capsys, "trial", *PAIR)
    assert code == 0
    assert max(map(len, out.splitlines())) <= 80
    assert "the same mould" in out
    assert "a new mould" in out


def test_outlier_is_pointed_at(monkeypatch, capsys, tmp_path):
    file = tmp_path / "trial.csv"
    file.write_text(
        "raw_g;finished_g\n100,0;95,0\n100,0;95,1\n100,0;94,9\n100,0;80,0\n", encoding="utf-8-sig"
    )
    code, out, _ = run(monkeypatch, capsys, "trial", "--weighings", file)
    assert code == 0
    assert "Piece 4 stands apart in loss" in out


def test_heights_give_the_density(monkeypatch, capsys):
    asked = ("trial", "--raw", 77, "--finished", 75, "--json")
    low = json.loads(run(monkeypatch, capsys, *asked, "--height", 20)[1])["density_g_per_ml"]
    high = json.loads(run(monkeypatch, capsys, *asked, "--height", 22)[1])["density_g_per_ml"]
    # the same mass; 2 mm of the outline's area more volume
    area_mm2 = 1000.0 * (77 / high["value"] - 77 / low["value"]) / 2.0
    design = Design.of(json.loads(run(monkeypatch, capsys, *asked, "--height", 20)[1])["corrected"])
    assert design.pastry.outline == "round"
    # the bore of the mould that was tried: its circle is drawn within 0.002 mm
    assert area_mm2 == pytest.approx(trial_mould(Design()).area_mm2, rel=1e-4)


@pytest.mark.parametrize("keep", ["weight", "mould"])
def test_corrected_design_is_written_and_read_back(monkeypatch, capsys, tmp_path, keep):
    file = tmp_path / "corrected.toml"
    asked = ("trial", *PAIR, "--keep", keep, "--out", file)
    assert run(monkeypatch, capsys, *asked)[0] == 0
    written = Design.read(file)
    assert written.portion.loss == 0.05
    report = json.loads(run(monkeypatch, capsys, "trial", *PAIR, "--json")[1])
    kept = {"weight": "new_mould", "mould": "same_mould"}[keep]
    volume = report["weights"][kept]["portion"]["volume_ml"]
    assert portion(written.portion).volume_ml == pytest.approx(volume, rel=1e-12)
    code, _, err = run(monkeypatch, capsys, *asked)
    assert code == 2
    assert "is there already; choose another name or add --overwrite" in err
    assert Design.read(file) == written
    assert run(monkeypatch, capsys, *asked, "--overwrite")[0] == 0


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        ((), "must hold at least one piece"),
        (("--raw", 77), "1 raw, 0 finished, 0 heights, 0 released heights"),
        (("--raw", 77, "--finished", 78), "piece 1 finished_g = 78.0: must be at most the raw"),
        (("--raw", 0, "--finished", 0), "piece 1 raw_g = 0.0: must be"),
        (("--raw", "nan", "--finished", 70), "--raw = 'nan': must be"),
        (("--raw", 77, "--finished", 20), "portion.loss = "),
        (("--weighings", "nowhere.csv"), "nowhere.csv: cannot be read"),
        (("--raw", 77, "--finished", 75, "--height", -1), "piece 1 height_mm = -1.0: must be"),
        (
            ("--raw", 77, "--finished", 75, "--out", "a.toml", "--keep", "both"),
            "--keep = 'both': must be one of",
        ),
    ],
)
def test_bad_input_is_one_sentence_and_exit_2(monkeypatch, capsys, arguments, sentence):
    code, out, err = run(monkeypatch, capsys, "trial", *arguments)
    assert (code, out) == (2, "")
    assert sentence in err
    assert len(err.splitlines()) == 1
