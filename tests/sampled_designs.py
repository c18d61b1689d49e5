"""Designs by number that nobody picked by hand: every kind, face, outline and side in usual sizes.

Hypothesis is made to break small functions: it favours ends of ranges, repeats parts of one example
in the next, and takes numbers from whatever source is loaded. These are independent, and the same
wherever they are made.
"""

from math import pi
from pathlib import Path
from random import Random

from moulddesign.artwork.bundled_patterns import pattern_names
from moulddesign.design import MADE_KINDS, OUTLINES, Design, Kind, Motif
from moulddesign.design.face_tables import BandSection, face_names
from moulddesign.design.piece_tables import ROUNDED, SideForm

FOLDER = Path(__file__).parent / "designs"
DRAWN = tuple(str(FOLDER / name) for name in ("gourd.svg", "leaf.svg"))
"""Outlines that are drawn."""


def sampled_design(number):
    """Return the design of a number."""
    chance = Random(number)  # noqa: S311 (a sample)
    kind = MADE_KINDS[number % len(MADE_KINDS)]
    face = chance.choice([None, *face_names(), *face_names()])
    weight_g = chance.uniform(30.0, 200.0)
    outline = chance.choice([*OUTLINES, *DRAWN])
    mould = _mould(chance, kind)
    pastry = _size(chance, weight_g) | _outline(chance, outline)
    if "side_draft_deg" in mould and chance.random() < 1 / 3:
        mould["side_draft_deg"] = chance.choice([1.0, 4.0, 12.0])
        pastry["side_bands"] = [_side_band(chance) for _ in range(chance.randint(1, 2))]
    tree = {
        "name": f"number-{number}",
        "portion": _portion(chance, weight_g),
        "pastry": pastry,
        "relief": _relief(chance) if face is None else _relief_of_face(chance),
        "mould": {"kind": kind, **mould},
    }
    return Design.of(tree if face is None else tree | {"face": {"name": face}})


def _portion(chance, weight_g):
    crust = round(chance.uniform(2.5, 5.0), 2)
    rigid = {"name": "centre", "mass_g": round(0.15 * weight_g, 1), "density_g_per_ml": 1.1}
    return {
        "finished_weight_g": weight_g,
        "ratio": f"{crust:.2f}:{10.0 - crust:.2f}",
        "loss": chance.uniform(0.0, 0.2),
        "crust_density_g_per_ml": chance.uniform(1.0, 1.4),
        "filling_density_g_per_ml": chance.uniform(1.0, 1.4),
        "centres": [rigid] if chance.random() < 1 / 4 else [],
    }


def _size(chance, weight_g):
    """Return none or one of the three sizes, around those of a ball of the weight."""
    ball_mm = (6000.0 * weight_g / 1.25 / pi) ** (1 / 3)
    sizes = {
        "width_mm": ball_mm * chance.uniform(1.0, 1.5),
        "height_mm": ball_mm * chance.uniform(0.4, 0.8),
        "height_to_width": chance.uniform(0.3, 0.8),
    }
    asked = chance.choice([None, *sizes])
    return {} if asked is None else {asked: sizes[asked]}


def _outline(chance, outline):
    side = chance.choice(list(SideForm)) if outline in {"round", *ROUNDED} else SideForm.PLAIN
    return {
        "outline": outline,
        "lobes": chance.randint(6, 16),
        "lobe_depth_mm": chance.uniform(0.5, 3.0),
        "corner_radius_mm": chance.choice([0.0, 2.5, 6.0, 12.0]),
        "shoulder_radius_mm": chance.choice([0.0, 0.0, 1.0, 4.0]),
        "side": side,
        "side_count": 24,
        "side_depth_mm": chance.uniform(0.3, 0.9),
    }


def _side_band(chance):
    return {
        "section": chance.choice(list(BandSection)),
        "height_mm": chance.uniform(1.0, 4.0),
        "depth_mm": chance.uniform(0.5, 1.5),
        "gap_mm": chance.uniform(0.0, 2.0),
    }


def _relief(chance):
    """Return the relief of a flat top: up to two layers of patterns, motifs and lettering."""
    texts = ({"text": "CAKE"}, {"text": "LANTERN NIGHT", "along": "rim"})
    patterns, motifs = ({"pattern": p} for p in pattern_names()), ({"motif": m} for m in Motif)
    layers = chance.sample([*patterns, *motifs, *texts], chance.randint(0, 2))
    return {
        "depth_mm": 0.2 * chance.randint(2, 12),
        "sense": chance.choice(["raised", "sunk"]),
        "profile": chance.choice(["flat", "bevel", "pillow"]),
        "draft_deg": chance.uniform(3.0, 40.0),
        "layers": layers,
    }


def _relief_of_face(chance):
    """Return the relief under a face, which takes a draft alone; some is too much for it."""
    return {"draft_deg": chance.triangular(3.0, 45.0, 12.0)}


def _mould(chance, kind):
    shared = {
        "cavities": chance.choice([1, 1, 2, 3, 4]),
        "side_draft_deg": chance.choice([3.0, 8.0]),
    }
    match kind:
        case Kind.PRESS:
            return {"lobe_mm": chance.choice([0.0, 28.0]), "wall_mm": chance.uniform(1.6, 5.0)}
        case Kind.BLOCK:
            return shared | {
                "land_mm": chance.uniform(4.0, 15.0),
                "handle_length_mm": chance.choice([0.0, 60.0, 110.0]),
            }
        case _:
            return shared | {
                "cover_mm": chance.uniform(5.0, 20.0),
                "tray_draft_deg": chance.uniform(1.0, 15.0),
                "silicone_shrink": chance.choice([0.0, 0.001, 0.02]),
            }
