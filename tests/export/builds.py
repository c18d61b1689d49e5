"""Builds that the tests write: made once a run, without the checks, which have their own tests."""

from functools import cache
from pathlib import Path
from types import MappingProxyType

from moulddesign.building import PASTRY, Build
from moulddesign.design import Design, Kind
from moulddesign.geometry.mending import in_float32
from moulddesign.mould.block import block
from moulddesign.mould.press import press
from moulddesign.pastry.interior import interior
from moulddesign.pastry.pastry import pastry
from moulddesign.portion import figures

FLAT = Path(__file__).parents[1] / "designs" / "chestnut-75.toml"

CASES = {
    "chestnut-75": {},
    "square with two centres": {
        "name": "harvest-square",
        "portion.finished_weight_g": 250.0,
        "pastry.outline": "square",
        "portion.centres": [{"name": "whole salted yolk", "mass_g": 14.0, "count": 2}],
        "relief.layers": [{"pattern": "lantern"}],
    },
    "little": {
        "name": "little-lantern",
        "portion.finished_weight_g": 30.0,
        "portion.centres": [],
        "relief.layers": [{"pattern": "lantern"}],
        "relief.depth_mm": 1.0,
    },
    "hexagon": {
        "name": "honeycomb",
        "portion.finished_weight_g": 60.0,
        "pastry.outline": "hexagon",
        "relief.layers": [{"pattern": "chestnut"}],
    },
    "long names and many centres": {
        "name": "a-name-without-a-space-for-the-lantern-night-of-the-orchard-above-the-old-weir-n",
        "portion.finished_weight_g": 250.0,
        "portion.centres": [
            {"name": f"quarter of a candied quince, kind no. {n:02}", "mass_g": 4.0 + n}
            for n in range(12)
        ],
        "relief.layers": [{"pattern": "date-leaf"}],
    },
}

INSIDES = {
    "drafted block": {
        "name": "board",
        "portion.finished_weight_g": 70.0,
        "portion.centres": [{"name": "piece of date", "mass_g": 3.0, "count": 2}],
        "mould.kind": "block",
        "mould.side_draft_deg": 20.0,
    },
    "three centres": {
        "name": "three-chestnuts",
        "portion.finished_weight_g": 120.0,
        "portion.centres": [{"name": "chestnut", "mass_g": 5.0, "count": 3}],
    },
}
"""What lies inside a leaning side, and centres in a ring."""


@cache
def built(case: str) -> Build:
    return unchecked(Design.read(FLAT).with_values((CASES | INSIDES)[case]))


def unchecked(design: Design) -> Build:
    weights = figures(design)
    piece = weights.piece
    made = pastry(design, piece.volume_ml)
    make = block if design.mould.kind is Kind.BLOCK else press
    mould = make(design.mould, design.printer, made)
    return Build(
        design=design,
        portion=weights,
        pastry=made,
        interior=interior(design, made, piece),
        mould=mould,
        meshes=MappingProxyType(
            {part.name: in_float32(part.printed) for part in mould.parts} | {PASTRY: made.mesh}
        ),
        findings=(),
        seconds=MappingProxyType({}),
    )
