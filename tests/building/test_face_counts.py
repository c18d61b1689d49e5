"""Bands and crowns that did not get the repeats that were asked for, without a mesh."""

from types import SimpleNamespace

import pytest

from moulddesign.artwork.outline import polygon_outline, round_outline
from moulddesign.building.piece_findings import _face_counts
from moulddesign.design.face_tables import FaceTable
from moulddesign.face.carved_face import carved_face

SQUARE = polygon_outline("square", 50.0, 6.0)


def counted(values, outline):
    face = FaceTable.of(values)
    carved = carved_face(face, outline, draft_deg=15.0)
    made = SimpleNamespace(
        design=SimpleNamespace(face=face),
        pastry=SimpleNamespace(carved=carved, outline=outline),
    )
    return [(found.part, found.measured, str(found.remedy or "")) for found in _face_counts(made)]


@pytest.mark.parametrize(
    ("values", "outline", "found"),
    [  # 7 is no part or multiple of 12. A square has eight like halves of sides, mirrored: 30
        # beads become 32, which is what is measured.
        ({"fold": 12, "crowns": [{"count": 7}]}, round_outline(50.0), [("crown-1", 7.0)]),
        ({"fold": 12, "crowns": [{"count": 24}, {"count": 6}]}, round_outline(50.0), []),
        (
            {"bands": [{"fill": "beads", "width_mm": 2.4, "count": 30}]}, SQUARE, [("band-1", 32.0)]
        ),
        ({"bands": [{"fill": "beads", "width_mm": 2.4, "count": 40}]}, SQUARE, []),
        ({"name": "sun"}, SQUARE, []),
    ],
    ids=["seven in twelve", "two rings in twelve", "30 on a square", "40 on it", "bundled"],
)  # fmt: skip
def test_counts_that_break_the_fold_or_the_sides_are_said(values, outline, found):
    assert [(part, measured) for part, measured, _ in counted(values, outline)] == found


def test_repeats_that_are_too_fine_to_print_are_said():
    band = {"fill": "beads", "width_mm": 2.4, "pitch_mm": 0.5}
    ((part, measured, _),) = counted({"bands": [band]}, SQUARE)
    assert (part, measured) == ("band-1", pytest.approx(0.5))
