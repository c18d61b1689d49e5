"""The least weight from which a piece holds what a lighter one does not."""

import pytest
import trimesh

from moulddesign.building import coarse_shape, shaped
from moulddesign.building.least_weight import is_good, with_least_weight
from moulddesign.building.piece_findings import relief_findings
from moulddesign.core import Verdict
from moulddesign.design import Design
from moulddesign.design.face_tables import FaceTable
from moulddesign.relief.carved_surface import carved_surface, coarse_surface
from moulddesign.verify.piece_checks import crust_findings


def answered(values):
    """Return the findings of a piece's crust and relief, before and after."""
    design = Design.of(values)
    made = shaped(design)
    found = (
        *crust_findings(
            thickness_mm=made.interior.crust_mm, deepest_sunk_mm=made.pastry.deepest_sunk_mm
        ),
        *relief_findings(design, made.pastry, made.pastry.mesh),
    )
    return found, with_least_weight(design, made.interior, found)


@pytest.mark.parametrize(
    ("face", "outline"),
    [
        ("lantern", "square"),
        *(
            pytest.param(face, outline, marks=pytest.mark.slow)
            for face in ("knot", "lantern")
            for outline in ("round", "scalloped", "hexagon")
        ),
    ],
)
def test_a_bundled_face_that_holds_a_pattern_shows_it_as_drawn(face, outline):
    values = {"face": {"name": face}, "pastry": {"outline": outline}, "relief": {"layers": []}}
    design = Design.of(values)
    made = shaped(design).pastry
    found = relief_findings(design, made, made.mesh)
    assert Verdict.FAIL not in {each.verdict for each in found}


def weight_of(findings):
    (weight_g,) = [
        dict(found.remedy.values)["weight_g"]
        for found in findings
        if found.remedy is not None and "from-weight" in found.remedy.id
    ]
    return weight_g


def test_nothing_is_sought_where_all_is_good():
    values = {"portion": {"finished_weight_g": 100.0}, "relief": {"layers": [{"pattern": "sun"}]}}
    found, after = answered(values)
    assert all(each.verdict is Verdict.GOOD for each in found)
    assert after is found


def test_the_crust_is_thick_enough_from_the_weight_on_and_a_gram_below_it_is_not():
    plain = {"relief": {"layers": []}, "portion": {"finished_weight_g": 30.0}}
    _, after = answered(plain)
    weight_g = weight_of(after)
    crusts = [
        shaped(Design.of(plain | {"portion": {"finished_weight_g": grams}})).interior.crust_mm
        for grams in (weight_g, weight_g - 1.0)
    ]
    # At least 2 mm, common practice, no source.
    assert crusts[0] >= 2.0 > crusts[1]


@pytest.mark.parametrize(
    ("pastry", "flag"), [({}, "--weight"), ({"width_mm": 38.0}, "--sizes")], ids=["free", "given"]
)
def test_what_is_offered_makes_a_larger_piece(pastry, flag):
    _, after = answered(
        {"relief": {"layers": []}, "portion": {"finished_weight_g": 30.0}, "pastry": pastry}
    )
    (said,) = [str(found.remedy) for found in after if found.remedy is not None]
    assert said.endswith(f"{flag} {weight_of(after):g}g")


@pytest.mark.slow
def test_no_weight_is_offered_for_what_no_piece_holds():
    found, after = answered(
        {
            "portion": {"finished_weight_g": 60.0},
            "relief": {"layers": [{"text": "lantern night at the community orchard"}]},
        }
    )
    assert any(each.verdict is not Verdict.GOOD for each in found)
    assert after == found


@pytest.mark.parametrize(("weight_g", "good"), [(30, False), (60, True)])
def test_a_coarse_look_at_a_carved_piece_judges_as_a_fine_one_does(weight_g, good):
    design = Design.of({"face": {"name": "seal"}, "relief": {"layers": []}})
    judged = [is_good(design, weight_g, surface) for surface in (coarse_surface, carved_surface)]
    assert judged == [good, good]


@pytest.mark.slow
@pytest.mark.parametrize("outline", ["round", "square"])
def test_the_finest_look_finds_good_what_is_offered_for_thin_artwork_on_a_face(outline):
    values = {"face": {"name": "knot"}, "pastry": {"outline": outline}, "relief": {"layers": []}}
    design = Design.of(values)
    made = coarse_shape(design)
    found = relief_findings(design, made.pastry, made.pastry.mesh)
    weight_g = weight_of(with_least_weight(design, made.interior, found))
    assert weight_g > design.portion.finished_weight_g
    assert is_good(design, weight_g, carved_surface)


@pytest.mark.parametrize("weight_g", [39.0, 66.0, 120.0])
def test_a_coarse_surface_closes_around_ridges_that_have_no_plateau(weight_g):
    knot = FaceTable(name="knot").whole().medallion.model_dump(mode="json", exclude_none=True)
    made = coarse_shape(
        Design.of(
            {
                "portion": {"finished_weight_g": weight_g},
                "face": {
                    "name": "knot",
                    "medallion": knot | {"holds": knot["holds"] | {"profile": "bevel"}},
                },
                "relief": {"layers": []},
            }
        )
    )
    assert trimesh.Trimesh(made.pastry.mesh.vertices, made.pastry.mesh.triangles).is_watertight
