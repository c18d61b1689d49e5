"""The verb that publishes coupons, read back by trimesh."""

import json

import trimesh
from command_line import ran, refused


def test_coupons_are_published_with_what_to_do_with_them(tmp_path):
    code, said, _ = ran("coupon", "--printer", "small-bed", "--out", "c", "--json", folder=tmp_path)
    assert code == 0
    report = json.loads(said)
    assert report == json.loads((tmp_path / "c" / "report.json").read_text("utf-8"))
    assert [part["name"] for part in report["parts"]] == ["gauge", "key", "sampler"]
    assert not [f["name"] for f in report["findings"] if f["verdict"] == "fail"]
    assert any("workshop gauge --ring" in sentence for sentence in report["how"])
    assert any("least_stroke_mm" in sentence for sentence in report["how"])
    for part in report["parts"]:
        read = trimesh.load_mesh(tmp_path / "c" / f"{part['name']}.stl")
        assert read.is_watertight
        # small-bed is 120 mm square.
        assert (read.extents[:2] <= 120.0).all()


def test_a_printer_that_is_not_known_is_refused(monkeypatch, capsys, tmp_path):
    sentence = refused(
        monkeypatch, capsys, "coupon", "--printer", "nothing", "--out", tmp_path / "c"
    )
    assert sentence.startswith("printer.machine = 'nothing': must be one of common-220")
    assert not (tmp_path / "c").exists()


def test_a_sampler_of_steep_strokes_warns_of_thin_tips(tmp_path):
    code, said, _ = ran("coupon", "--draft", "2", "--out", "c", "--json", folder=tmp_path)
    assert code == 0
    (wall,) = [f for f in json.loads(said)["findings"] if f["name"] == "sampler: thinnest wall"]
    assert wall["verdict"] == "warn"
    assert "a larger --draft" in wall["remedy"]


def test_coupons_that_fail_name_only_options_that_there_are(tmp_path):
    code, _, said = ran("coupon", "--bed", "40 40 40", "--out", "c", folder=tmp_path)
    assert code != 0
    assert "--keep-failing" not in said
