"""Further stamps with carved faces: one portion, one sleeve, one stop, and a height for each."""

import pytest
import trimesh

from moulddesign.building import PASTRY, build
from moulddesign.core import SpecError
from moulddesign.design import Design

DOME = {"ground": {"form": "domed", "rise_mm": 2.0}, "bands": [{"width_mm": 2.0}]}
DISH = {"ground": {"form": "dished", "rise_mm": 1.5}}


@pytest.fixture(scope="module")
def made():
    return build(
        Design.of(
            {
                "portion": {"finished_weight_g": 50.0, "ratio": "4:6"},
                "face": DOME,
                "further_stamps": [
                    {"name": "dish", "face": DISH},
                    {"name": "plain", "layers": []},
                ],
            }
        )
    )


def test_each_pastry_holds_the_portion_and_differs_by_its_face(made):
    volume_mm3 = 1000.0 * made.portion.piece.volume_ml
    area_mm2 = made.pastry.outline.area_mm2
    dish, plain = made.further
    for name in (PASTRY, dish.pastry_name, plain.pastry_name):
        solid = trimesh.Trimesh(made.meshes[name].vertices, made.meshes[name].triangles)
        assert solid.is_watertight
        # As much as is allowed to flat further stamps: float32 on the extents of a piece.
        assert solid.volume == pytest.approx(volume_mm3, rel=1e-6)
    # A stamp without a face is flat, whatever the first one has: height = V / A.
    assert plain.pastry.carved is None
    assert plain.pastry.height_mm == pytest.approx(volume_mm3 / area_mm2, rel=1e-9)
    # A dome is over its plane and a dish under it: the piece is lower, or higher, for it.
    assert made.pastry.height_mm < plain.pastry.height_mm < dish.pastry.height_mm


def test_one_stop_serves_all_stamps(made):
    # A stamp's back is where the others' backs are: its thickness takes up the height.
    tops = {
        name: made.mould.part(name).mesh.vertices[:, 2].max()
        for name in ("stamp", "stamp-dish", "stamp-plain")
    }
    assert max(tops.values()) == pytest.approx(min(tops.values()), abs=1e-4)
    assert made.failed == ()


def test_findings_and_report_name_the_faces(made):
    names = {found.name for found in made.findings}
    assert "least draft, pastry from stamp" in names
    assert "stamp-dish: largest height error of the carved face" in names
    assert not any("stamp-plain" in name and "carved" in name for name in names)
    dish, plain = made.report()["further_pastries"]
    assert dish["face"]["least_draft_deg"] > 15.0  # a dish of 1.5 mm leans far more
    assert plain["face"] is None


def test_an_error_of_a_further_face_names_its_stamp():
    wide = {"bands": [{"width_mm": 60.0, "fill": "rope"}]}
    design = Design.of({"further_stamps": [{"name": "wide", "face": wide}]})
    with pytest.raises(SpecError, match=r"^further_stamps.1.face.bands"):
        build(design)
    with pytest.raises(SpecError, match="neither layers nor a face"):
        Design.of({"further_stamps": [{"name": "bare"}]})
