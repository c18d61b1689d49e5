"""The register on the command line, from the first mould to the batch that is counted."""

import json
import tomllib

import pytest
from command_line import refused, run
from PIL import Image

from moulddesign.design import Design, RegisteredMould, merged, read_register


@pytest.fixture(autouse=True)
def settings(monkeypatch, tmp_path):
    monkeypatch.setenv("MOULDDESIGN_WORKSHOP", str(tmp_path / "settings" / "workshop.toml"))
    monkeypatch.chdir(tmp_path)
    return tmp_path / "settings"


def test_moulds_are_added_changed_baked_with_and_counted(monkeypatch, capsys, settings):
    Image.new("RGB", (40, 30), "tan").save("tin.png")
    add = ("moulds", "add", "name=tin", "width_mm=60", "height_mm=25", "marks=gluten-free only")
    assert run(monkeypatch, capsys, *add, "picture=tin.png", "cavities=2")[0] == 0
    assert run(monkeypatch, capsys, "moulds", "add", "name=cup", "water_g=61.5; 62")[0] == 0
    code, said, _ = run(
        monkeypatch, capsys, "moulds", "change", "a", "washed_on=2026-11-20", "pressed=40", "--json"
    )
    told = json.loads(said)
    assert (code, told["file"]) == (0, str(settings / "moulds.toml"))
    assert [(m["id"], m.get("pressed")) for m in told["moulds"]] == [("A", 40), ("B", None)]
    assert tomllib.loads((settings / "moulds.toml").read_text())["mould"][0] == {
        "name": "tin", "id": "A", "marks": "gluten-free only", "picture": "moulds-A-tin.png",
        "cavities": 2, "width_mm": 60.0, "height_mm": 25.0, "kind": "own", "pressed": 40,
        "washed_on": "2026-11-20",
    }  # fmt: skip
    both = ("batch", "--mould", "A", "--mould", "cup", "--ratio", "3:7")
    have = ("--crust-on-hand", 600, "--filling-on-hand", 1400)
    code, said, warned = run(monkeypatch, capsys, *both, *have, "--pressed", "--json")
    made = json.loads(said)
    tin, cup = made["designs"]
    assert (code, tin["rounds"]) == (0, -(-tin["pieces"] // 2))
    assert "tin is kept for: gluten-free only" in warned
    assert [mould.pressed for mould in read_register()] == [40 + tin["pieces"], cup["pieces"]]
    # 1.2 kg and 2.8 kg halved: what is weighed out and what is left over are what there was.
    for part, there_g in (("crust", 600), ("filling", 1400)):
        ready_g = sum(each[part]["ready_g"] for each in made["designs"])
        assert ready_g + made["left_over"][part] == pytest.approx(there_g, abs=1e-6)


@pytest.mark.parametrize(
    ("asked", "sentence"),
    [
        (("add", "name=tin"), "must be known by one of width_mm and height_mm"),
        (("add", "name=tin", "width_mm=0", "height_mm=2"), "width_mm = 0.0: must be"),
        (("add", "name=x", "volume_ml=nan"), "volume_ml = 'nan': must be a number"),
        (("add", "name=x", "volume_ml=60", "id=no way"), "id = 'no way': must be letters and fig"),
        (("add", "name=x", "volume_ml=60", "most_height_mm=9"), "with its bore's area_mm2"),
        (("add", "missing.toml"), "missing.toml: cannot be read"),
        (("change", "Q", "state=broken"), "is no mould of the register, which is empty"),
        (("export", "moulds.csv"), "must end in .toml"),
        (("export", "moulds.toml"), "names no mould"),
        (("merge", "missing.toml"), "missing.toml: cannot be read"),
    ],
)
def test_what_cannot_be_registered_is_one_sentence(monkeypatch, capsys, asked, sentence):
    assert sentence in refused(monkeypatch, capsys, "moulds", *asked)


def test_two_registers_are_merged_by_id_and_name(monkeypatch, capsys):
    def mould(mould_id, name, **more):
        plain = {"id": mould_id, "name": name, "volume_ml": 60.0}
        return RegisteredMould.of(plain | more)

    mine = (mould("A", "tin", pressed=90, washed_on="2026-11-20"), mould("B", "cup"))
    theirs = (
        mould("A", "tin", pressed=70, washed_on="2026-11-25", material="tin plate"),
        mould("B", "leaf"),
    )
    made, notes = merged(mine, theirs)
    assert [(m.id, m.name) for m in made] == [("A", "tin"), ("B", "cup"), ("C", "leaf")]
    assert (made[0].pressed, str(made[0].washed_on)) == (90, "2026-11-25")
    assert made[0].material == "tin plate"
    assert "for B is another mould here" in str(notes[1])
    run(monkeypatch, capsys, "moulds", "add", "name=tin", "volume_ml=60", "id=A")
    assert run(monkeypatch, capsys, "moulds", "export", "out.toml")[0] == 0
    assert run(monkeypatch, capsys, "moulds", "remove", "A")[0] == 0
    assert read_register() == ()
    assert run(monkeypatch, capsys, "moulds", "merge", "out.toml")[0] == 0
    assert [mould.name for mould in read_register()] == ["tin"]


def test_an_own_mould_has_a_card_with_its_owner_s_photo_and_no_parts(monkeypatch, capsys, tmp_path):
    Image.new("RGB", (40, 30), "tan").save("tin.png")
    values = {"kind": "own", "name": "tin", "picture": "tin.png", "volume_ml": 64.0}
    design = Design().with_values({"mould": values, "portion.finished_weight_g": 70.0})
    (tmp_path / "tin.toml").write_text(design.toml())
    assert "must be what tin takes of this piece" in refused(
        monkeypatch, capsys, "make", "tin.toml"
    )
    unmeasured = design.with_values({"mould": {k: values[k] for k in ("kind", "name", "picture")}})
    (tmp_path / "tin.toml").write_text(unmeasured.toml())
    assert run(monkeypatch, capsys, "make", "tin.toml", "--out", "made")[0] == 0
    names = {path.name for path in (tmp_path / "made").iterdir()}
    assert names == {
        "card.pdf", "card.html", "card-1.png", "card-2.png", "design.toml", "artwork-tin.png",
    }  # fmt: skip
    again = Design.read(tmp_path / "made" / "design.toml")
    assert again.own_mould.picture == str(tmp_path / "made" / "artwork-tin.png")
    assert "The mould, by its owner" in (tmp_path / "made" / "card.html").read_text()


def test_a_file_that_named_its_mould_has_it_as_its_kind():
    old = {"made_with": "0.2.0", "existing_mould": "tin", "pastry": {"width_mm": 60},
           "mould": {"kind": "press"}}  # fmt: skip
    design, (note,) = Design.of_file(old)
    assert design.mould.plain() == {"kind": "own", "name": "tin", "width_mm": 60.0}
    assert "is the own mould tin now" in str(note)
