import pytest

from moulddesign.core import word
from moulddesign.verify.walls import (
    Load,
    clamped_rectangle,
    force_finding,
    pressing_pressure_mpa,
    thin_cylinder,
    wall_strength_findings,
)


@pytest.mark.parametrize(
    ("pressure", "radius", "wall", "stress"),
    [
        pytest.param(2.0, 500.0, 10.0, 100.0, id="textbook: 2 MPa, r 0.5 m, t 10 mm -> 100 MPa"),
        pytest.param(500.0, 0.265, 0.03, 4417, id="textbook: 500 psi, r 0.265 in, t 0.03 in"),
    ],
)  # fmt: skip
def test_hoop_stress_of_a_thin_cylinder(pressure, radius, wall, stress):
    found = thin_cylinder(pressure_mpa=pressure, radius_mm=radius, wall_mm=wall, modulus_mpa=1e5)
    assert found.stress_mpa == pytest.approx(stress, abs=0.5)  # printed to the unit


@pytest.mark.parametrize("shape", ["square", "strip"])
def test_plates_against_the_theory_of_thin_plates(shape):
    """Timoshenko, Theory of Plates and Shells, nu = 0.3, D = E t^3 / (12 (1 - nu^2)).

    The coefficients are from memory, not confirmed in a copy. Square: bow 0.00126 p a^4 / D, edge
    moment 0.0513 p a^2. Strip: bow p a^4 / (384 D), edge moment p a^2 / 12.
    """
    p, a, t, modulus = 0.1, 60.0, 3.0, 3000.0
    stiffness = modulus * t**3 / (12 * (1 - 0.3**2))
    kind = {"pressure_mpa": p, "wall_mm": t, "modulus_mpa": modulus}
    found, bow, stress = {
        "square": (
            clamped_rectangle(sides_mm=(a, a), **kind), 0.00126 * p * a**4 / stiffness,
            6 * 0.0513 * p * (a / t) ** 2,
        ),
        "strip": (
            clamped_rectangle(sides_mm=(100 * a, a), **kind), p * a**4 / 384 / stiffness,
            p * (a / t) ** 2 / 2,
        ),
    }[shape]  # fmt: skip
    # The handbook's fit in a / b gives three digits.
    assert found.bow_mm == pytest.approx(bow, rel=0.01)
    assert found.stress_mpa == pytest.approx(stress, rel=0.01)


@pytest.mark.parametrize(("force", "verdict"), [(94.0, "good"), (94.1, "warn")])
def test_a_hand_presses_so_much(force, verdict):
    # 94 N: preferred push, Human Factors 2008, 50:227
    tested = force_finding(word("press"), force_n=force, range_n=(1.0, 2.0), tested=True)
    untested = force_finding(word("press"), force_n=force, range_n=(30.0, 83.0), tested=False)
    assert tested.verdict.value == untested.verdict.value == verdict
    assert "30 to 83 for this dough" in str(untested.limit)
    if verdict == "warn":
        assert "moulddesign firmness" in str(untested.remedy)
        assert "softer dough" in str(tested.remedy)


@pytest.mark.parametrize(("stress", "bow", "verdicts"), [
    (17.0, 0.14, ["good", "good"]), (18.0, 0.14, ["fail", "good"]), (17.0, 0.15, ["good", "fail"]),
])  # fmt: skip
def test_wall_limits(stress, bow, verdicts):
    def plate(wall_mm):  # of 2 mm with these loads, which fall as in the handbook
        return Load(stress_mpa=stress * (2.0 / wall_mm) ** 2, bow_mm=bow * (2.0 / wall_mm) ** 3)

    limits = {"strength_mpa": 35.0, "clearance_mm": 0.3}
    found = wall_strength_findings(plate, wall_mm=2.0, **limits)
    assert [f.verdict.value for f in found] == verdicts
    # 2 sqrt(18 / 17.5) is 2.03, and a bow of 0.15 is just too much.
    assert [None if f.remedy is None else dict(f.remedy.values) for f in found] == [
        None if verdict == "good" else {"wall_mm": 2.1} for verdict in verdicts
    ]


@pytest.mark.parametrize(("force", "pressure"), [(20.0, 113 / 2000), (200.0, 0.1)])
def test_a_wall_bears_a_whole_push_and_whatever_the_dough_takes(force, pressure):
    assert pressing_pressure_mpa(2000.0, force) == pytest.approx(pressure, rel=1e-12)
