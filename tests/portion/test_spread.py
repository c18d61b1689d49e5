import numpy as np
import pytest

from moulddesign.core import SpecError
from moulddesign.design import Design
from moulddesign.portion import figures, known_centres, portion, spread

N = 100_000
DESIGNS = {
    "a nut of unknown density": {
        "portion": {
            "crust_density_sd_g_per_ml": 0.0,
            "filling_density_sd_g_per_ml": 0.0,
            "finished_weight_g": 150.0,
            "centres": [{"mass_g": 40.0, "density_g_per_ml": 0.6, "density_sd_g_per_ml": 0.02}],
        }
    },
    "one yolk": {"portion": {"centres": [{"name": "salted egg yolk", "mass_g": 12.0}]}},
    "one yolk, counted": {
        "portion": {
            "centres": [{"name": "salted egg yolk", "mass_g": 12.0}],
            "centres_weighed": "counted",
        }
    },
    "no centre": {"scale": {"resolution_g": 5.0, "hand_error_g": 0.0}},
    "nuts and air": {
        "portion": {
            "finished_weight_g": 150.0,
            "trapped_air": 0.05,
            "loss": 0.08,
            "loss_sd": 0.005,
            "centres": [
                {"name": "walnut", "mass_g": 2.0, "count": 6, "counts_in": "apart"},
                {"name": "salted yolk", "mass_g": 14.0, "mass_spread": 0.2},
            ],
        }
    },
}


def sampled(design, *, pieces, common):
    """Raw mass, volume and finished mass of pieces made by an unsteady hand, one by one.

    `pieces` and `common` switch what differs from piece to piece, and what moves all alike.
    """
    rng = np.random.default_rng(11)
    table, piece = design.portion, portion(design.portion)
    step, hand = pieces * design.scale.resolution_g, pieces * design.scale.hand_error_g

    def weighed(mass):
        return mass + rng.uniform(-step / 2, step / 2, N) + hand * rng.standard_normal(N)

    def about(value, sd):
        return value + sd * rng.standard_normal(N)

    together = table.centres_weighed == "with-the-paste"
    crust = weighed(piece.crust_g)
    inside = weighed(piece.paste_g + (piece.centre_g if together else 0.0))
    raw = crust + inside
    dough, filling = table.crust_density, table.filling_density
    volume = crust / about(dough.g_per_ml, common * dough.sd_g_per_ml)
    paste = inside
    for centre in known_centres(table):
        mass = sum(about(centre.mass_g, pieces * centre.mass_sd_g) for _ in range(centre.count))
        paste, raw = (paste - mass, raw) if together else (paste, raw + mass)
        volume = volume + mass / about(centre.density_g_per_ml, common * centre.density_sd_g_per_ml)
    volume = volume + paste / about(filling.g_per_ml, common * filling.sd_g_per_ml)
    volume = volume / (1 - table.trapped_air)
    mean = figures(design).loss
    loss = about(mean.ratio, pieces * table.loss_sd) + about(0.0, common * mean.uncertainty)
    return raw, volume, raw * (1 - loss)


@pytest.mark.parametrize("name", DESIGNS)
def test_first_order_is_what_100_000_samples_scatter(name):
    # The paste is better known than one without a name, for the first order to be enough.
    design = Design.of(DESIGNS[name])
    if design.portion.filling_density_sd_g_per_ml is None:
        design = design.with_values({"portion.filling_density_sd_g_per_ml": 0.03})
    found = spread(design, portion(design.portion))
    raw, volume, finished = sampled(design, pieces=1, common=0)
    # 3 / sqrt(2 n) = 0.7 % of sampling and (0.03)^2 = 0.1 % of second order
    assert found.raw_g == pytest.approx(np.std(raw), rel=0.01)
    assert found.volume_ml == pytest.approx(np.std(volume), rel=0.01)
    assert found.finished_g == pytest.approx(np.std(finished), rel=0.01)
    area_mm2 = 2500.0
    assert found.height_mm(area_mm2) == pytest.approx(np.std(volume) * 1000 / area_mm2, rel=0.01)
    raw, volume, finished = sampled(design, pieces=0, common=1)
    assert np.std(raw) == pytest.approx(0.0, abs=1e-9)
    assert found.common_volume_ml == pytest.approx(np.std(volume), rel=0.01)
    assert found.common_finished_g == pytest.approx(np.std(finished), rel=0.01)


def test_95_of_100_pieces_have_paste_in_the_range_that_is_told():
    made = figures(Design.of(DESIGNS["one yolk"]))
    rng = np.random.default_rng(5)
    (yolk,) = made.centres
    paste = made.split.filling_g - rng.normal(yolk.mass_g, yolk.mass_sd_g, N)
    low, high = made.split.paste_range_g
    # 3 standard errors of a share of 0.95 among 100,000
    assert np.mean((low < paste) & (paste < high)) == pytest.approx(0.95, abs=0.0021)


def test_nothing_scatters_where_nothing_is_unsure():
    design = Design.of(
        {
            "portion": {
                "loss": 0.02,
                "loss_sd": 0.0,
                "crust_density_sd_g_per_ml": 0.0,
                "filling_density_sd_g_per_ml": 0.0,
            },
            "scale": {"resolution_g": 1e-9, "hand_error_g": 0.0},
        }
    )
    found = spread(design, portion(design.portion))
    assert max(found.raw_g, found.volume_ml, found.finished_g) < 1e-8
    assert max(found.common_volume_ml, found.common_finished_g) == 0.0


@pytest.mark.parametrize("area_mm2", [0.0, -1.0, float("nan")])
def test_an_area_that_cannot_be_is_refused(area_mm2):
    design = Design()
    with pytest.raises(SpecError, match=r"area_mm2 = .*above 0 mm"):
        spread(design, portion(design.portion)).height_mm(area_mm2)
