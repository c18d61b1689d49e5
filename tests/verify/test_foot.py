import pytest
from verify.presses import sleeve
from verify.shapes import as_written, cone, cylinder, mesh_of

from moulddesign.verify.printing import bore_foot_finding, outer_foot_finding


def plate(eased):
    """Return a disc of 20 mm radius whose lower edge is eased by so much at 45 deg."""
    return as_written(mesh_of(cone(20 - eased, 20, 0, eased) + cylinder(20, eased, 8)))


@pytest.mark.parametrize(("eased", "verdict"), [(0.4, "good"), (0.25, "fail")])
def test_an_eased_edge_stands_back(eased, verdict):
    found = outer_foot_finding(plate(eased), part="stamp", layer_mm=0.2)
    # Cut at half a layer, 0.1 mm up a slope of 45 deg.
    assert found.measured == pytest.approx(eased - 0.1, abs=1e-3)
    assert found.verdict.value == verdict


def test_a_sharp_edge_does_not():
    found = outer_foot_finding(mesh_of(cylinder(20, 0, 8)), part="stamp", layer_mm=0.2)
    assert (found.measured, found.verdict.value) == (pytest.approx(0, abs=1e-6), "fail")


def test_a_lead_in_on_the_bed_takes_the_flare():
    down = sleeve().turned_over()
    found = bore_foot_finding(down, part="sleeve", layer_mm=0.2)
    # The lead-in is 1.5 mm wide over 1.5 mm and ends 0.5 mm past the rim: 1.0 - 0.1 there.
    assert found.measured == pytest.approx(0.9, abs=1e-3)
    assert found.verdict.value == "good"


def test_a_bore_that_is_sharp_on_the_bed_does_not():
    found = bore_foot_finding(sleeve(), part="sleeve", layer_mm=0.2)
    assert (found.measured, found.verdict.value) == (pytest.approx(0, abs=1e-6), "fail")
