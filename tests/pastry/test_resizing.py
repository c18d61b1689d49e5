"""The size of a piece of another weight, without making it, against the piece that is made."""

import pytest

from moulddesign.core import mm3_from_ml
from moulddesign.design import Design
from moulddesign.pastry.pastry import pastry
from moulddesign.pastry.resizing import PastrySize, resized
from moulddesign.portion import figures
from moulddesign.relief.carved_surface import coarse_surface

SHARE, LEAST_MM = 0.01, 0.2
"""How far a size may be off: a hundredth of it, or the step of a printed layer [mm]."""

DESIGNS = {
    "as usual, in whole layers": {},
    "a leaning block": {"mould": {"kind": "block"}, "pastry": {"shoulder_radius_mm": 2.0}},
    "width given, sunk": {"pastry": {"width_mm": 50.0}, "relief": {"sense": "sunk"}},
    "height given": {"pastry": {"height_mm": 24.0, "outline": "square"}},
    "a carved face": {"face": {"name": "blossom"}},
}


def made(design):
    volume_ml = figures(design).piece.volume_ml
    piece = pastry(design, volume_ml, surface_of=coarse_surface)
    return volume_ml, PastrySize(
        width_mm=piece.outline.width_mm,
        height_mm=piece.height_mm,
        area_mm2=piece.outline.area_mm2,
        volume_mm3=mm3_from_ml(volume_ml),
        relief_mm3=piece.relief_mm3,
    )


@pytest.mark.parametrize("values", DESIGNS.values(), ids=DESIGNS)
def test_a_piece_of_another_weight_is_as_large_as_was_said(values):
    design = Design.of(values)
    size = made(design)[1]
    for weight_g in (76.0, 120.0):
        other = design.with_values({"portion.finished_weight_g": weight_g})
        volume_ml, true = made(other)
        said = resized(size, other, volume_ml)
        for name in ("width_mm", "height_mm"):
            near = pytest.approx(getattr(true, name), rel=SHARE, abs=LEAST_MM)
            assert getattr(said, name) == near
        assert said.volume_mm3 == mm3_from_ml(volume_ml)
