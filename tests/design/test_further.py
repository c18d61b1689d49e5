"""Further stamps: what is left out is as in the first relief; bad and twin names are refused."""

import tomllib
from pathlib import Path

import pytest

from moulddesign.core import SpecError
from moulddesign.design import Design, Sense, collect_drawings, named_files, resolve_files

BEE = {"name": "bee", "layers": [{"pattern": "bee"}]}


def of(*stamps, **more):
    return Design.of({"further_stamps": list(stamps), **more})


def test_what_is_left_out_is_as_in_the_first_relief():
    design = of(
        BEE | {"depth_mm": 0.9},
        relief={"depth_mm": 1.2, "sense": "sunk", "draft_deg": 20.0, "margin_mm": 3.0},
    )
    (stamp,) = design.further_stamps
    relief = stamp.relief(design.relief)
    assert (relief.depth_mm, relief.sense, relief.draft_deg) == (0.9, Sense.SUNK, 20.0)
    assert relief.margin_mm == 3.0
    assert relief.layers == stamp.layers


def test_a_plain_stamp_has_no_layers_and_a_changed_relief_reaches_it():
    design = of({"name": "plain", "layers": []}).with_values({"relief.depth_mm": 2.0})
    relief = design.further_stamps[0].relief(design.relief)
    assert relief.layers == ()
    assert relief.depth_mm == 2.0


def test_toml_gives_them_back():
    design = of(BEE, {"name": "Blüte 2", "layers": [{"text": "Fig"}, {"motif": "beads"}]})
    assert Design.of(tomllib.loads(design.toml())) == design


@pytest.mark.parametrize(
    ("stamps", "sentence"),
    [
        ([{"layers": []}], r"1\.name \(the first further stamp\): is missing"),
        ([{"name": "bee"}], r"1 \(the first further stamp\): has neither layers nor a face"),
        ([BEE, BEE], r"2\.name \(the second further stamp\) = 'bee': is the name of an earlier"),
        ([BEE, BEE | {"name": "BEE"}], r"2\.name .* = 'BEE': is the name of an earlier"),
        # The same letter composed and as a letter with an accent (Unicode Standard Annex 15).
        ([BEE | {"name": "\u00e9"}, BEE | {"name": "e\u0301"}], r"2\.name .*an earlier stamp too"),
        ([BEE | {"name": "blank"}], r"= 'blank': must not end in blank"),
        ([BEE | {"name": "my-Blank"}], r"= 'my-Blank': must not end in blank"),
        ([BEE | {"name": "a/b"}], r"must not hold '/'"),
        ([BEE | {"name": "a\nb"}], r"must not hold '\\n'"),
        ([BEE | {"name": ".."}], r"must not be empty, nor begin or end with a space"),
        ([BEE | {"name": " bee"}], r"must not be empty, nor begin or end with a space"),
        ([BEE | {"name": 7}], r"= 7: must be text in quotes"),
        ([BEE | {"name": "b" * 41}], r"must have at most 40 characters"),
        ([BEE | {"depth": 1}], r"the nearest is depth_mm"),
        ([BEE | {"depth_mm": float("nan")}], r"depth_mm .* = nan: must be a finite number"),
        ([BEE | {"layers": [{"text": "a", "size_mm": 0}]}], r"size_mm .* must be above 0 mm"),
        ([BEE | {"name": f"n{n}"} for n in range(12)], r"must have at most 11 entries"),
    ],
)
def test_what_cannot_be_is_one_sentence(stamps, sentence):
    with pytest.raises(SpecError, match=sentence) as refused:
        of(*stamps)
    assert str(refused.value).count("\n") == 0
    assert str(refused.value).endswith(".")


@pytest.mark.parametrize("kind", ["block", "cast"])
def test_only_a_press_has_stamps_to_swap(kind):
    with pytest.raises(SpecError, match=f"mould.kind = '{kind}': has no stamps to swap"):
        of(BEE, mould={"kind": kind})
    with pytest.raises(SpecError, match="leave out further_stamps, or take kind press"):
        of(BEE).with_values({"mould.kind": kind})


def test_drawings_are_sought_beside_the_file_and_carried_along(tmp_path):
    tree = {"further_stamps": [BEE | {"layers": [{"pattern": "wasp.svg"}]}]}
    design = Design.of(resolve_files(tree, Design, tmp_path))
    assert design.further_stamps[0].layers[0].pattern == str(tmp_path / "wasp.svg")
    published, copies = collect_drawings(design)
    assert published.further_stamps[0].layers[0].pattern == "artwork-wasp.svg"
    assert copies == {"artwork-wasp.svg": Path(tmp_path / "wasp.svg")}
    assert published.further_stamps[0].name == "bee"


def test_every_field_that_names_a_file_is_found_in_a_design_of_any_values():
    tree = {
        "pastry": {"outline": "leaf.svg"},
        "relief": {"layers": [{"pattern": "sun", "font": "own.ttf"}, 3]},
        "further_stamps": [{"layers": [{"pattern": "wasp.svg"}]}, "no table"],
        "printer": {"library": "own.toml"},
        "batch": {"recipe": "recipe.toml", "pieces": 5},
        "mould": {"kind": "block"},
        "strange": {"outline": "x.svg"},
    }
    assert {path: (kind.value, name) for path, kind, name in named_files(tree, Design)} == {
        "pastry.outline": ("outline", "leaf.svg"),
        "relief.layers.0.pattern": ("artwork", "sun"),
        "relief.layers.0.font": ("font", "own.ttf"),
        "further_stamps.0.layers.0.pattern": ("artwork", "wasp.svg"),
        "printer.library": ("library", "own.toml"),
        "batch.recipe": ("recipe", "recipe.toml"),
    }
    resolved = resolve_files(tree, Design, Path("/orchard"))
    assert resolved["relief"]["layers"][0] == {"pattern": "sun", "font": "/orchard/own.ttf"}
    assert resolved["batch"]["recipe"] == "recipe.toml"
    assert resolved["strange"] == tree["strange"]
    assert tree["pastry"]["outline"] == "leaf.svg"
