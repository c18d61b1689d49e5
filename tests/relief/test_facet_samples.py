"""How far facets are off planes, arcs and ridges, whose sagittas and heights are known."""

import numpy as np
import pytest

from moulddesign.relief.facet_samples import (
    LEAST_MM,
    STEEP_SHARE,
    facet_measures,
    field_samples,
)
from moulddesign.relief.field import FieldValues, highest, lowest, piece_of

BOUND_MM = 0.02
STEEPEST = 3.7


def square(side_mm, corner=(0.0, 0.0)):
    """Return places of two facets over a square, its lower left corner given, and their corners."""
    places = np.array(corner) + side_mm * np.array([[0, 0], [1, 0], [1, 1], [0, 1]], dtype=float)
    return places, np.array([[0, 1, 2], [0, 2, 3]])


def measured(field, places, facets, heights=None):
    """Return what a quick and a full measure find."""
    heights = field(places).height if heights is None else heights
    samples = field_samples(places[facets], field)
    measures = facet_measures(samples, field, bound_mm=BOUND_MM, steepest=STEEPEST)
    return [measure(places, heights, facets) for measure in measures]


def plane(at):
    return piece_of(0.4 * at[:, 0] - 0.7 * at[:, 1] + 2.0, 1)


def arc(radius_mm):
    """Return a field bent along x only: round a lying cylinder, as a parabola."""
    return lambda at: piece_of(-(at[:, 0] ** 2) / (2.0 * radius_mm), 1)


@pytest.mark.parametrize("side_mm", [0.02, 0.3, 4.0])
def test_facets_of_a_plane_are_not_off(side_mm):
    for error, _ in measured(plane, *square(side_mm, (-1.3, 0.7))):
        assert error.max() < 1e-12


@pytest.mark.parametrize("chord_mm", [0.5, 2.0, 6.0])
def test_a_chord_of_an_arc_is_off_by_its_sagitta(chord_mm):
    sagitta_mm = 0.1
    places, facets = square(chord_mm, (-chord_mm / 2.0, 0.0))
    found = measured(arc(chord_mm**2 / (8.0 * sagitta_mm)), places, facets)
    for error, worst in found:
        # Both facets have a side along x, seen within a step of the grid from its middle.
        assert error == pytest.approx(sagitta_mm, rel=0.05)
        assert (error <= 1.05 * sagitta_mm).all()
        assert (np.abs(worst[:, 0]) < 0.35 * chord_mm).all()


def test_an_arc_within_the_bound_is_good():
    places, facets = square(2.0, (-1.0, 0.0))
    for error, _ in measured(arc(2.0**2 / (8.0 * 0.9 * BOUND_MM)), places, facets):
        assert error.tolist() == [0.0, 0.0]


@pytest.mark.parametrize("turn_deg", [0, 7, 45, 90])
def test_a_ridge_across_facets_is_found_whatever_way_it_runs(turn_deg):
    turn = np.radians(turn_deg)
    along = np.array([-np.sin(turn), np.cos(turn)])

    def ridge(at):
        aside = (at - 1.0) @ along
        return lowest(piece_of(0.5 * aside, 1), piece_of(-0.5 * aside, 2))

    places, facets = square(2.0)
    _, (error, worst) = measured(ridge, places, facets)
    # Straight lines between corners and the ridge through the middle: the diagonal, which both
    # facets share, is off there by the mean depth of its two ends.
    ends = places[[0, 2]]
    off_mm = -ridge(ends).height.mean()
    if turn_deg == 45:  # along the diagonal: two facets hold it
        assert off_mm < 1e-12
        assert error.max() < 1e-12
    else:
        assert off_mm > 10.0 * BOUND_MM
        assert (error >= 0.9 * off_mm).all()
        assert ((worst >= 0.0) & (worst <= 2.0)).all()


def test_a_cone_narrower_than_two_steps_of_the_grid_is_found():
    # its foot is 0.16 mm across, its tip 0.12 mm high
    def cone(at):
        reach = np.hypot(*(at - 1.03).T)
        return highest(piece_of(np.zeros(len(at)), 1), piece_of(0.12 - 1.5 * reach, 2))

    places, facets = square(2.0, (0.0, 0.0))
    _, (error, worst) = measured(cone, places, facets, np.zeros(4))
    assert error.max() > BOUND_MM
    assert np.hypot(*(worst[error.argmax()] - 1.03)) < 0.5


def test_a_facet_that_is_too_steep_is_off_though_it_lies_on_the_field():
    def steep(at):
        return piece_of(1.01 * STEEPEST * at[:, 0], 1)

    places, facets = square(1.0)
    _, (error, _) = measured(steep, places, facets)
    assert error == pytest.approx(STEEP_SHARE * BOUND_MM)
    thin = places * (1.0, 0.004)
    _, (error, _) = measured(steep, thin, facets)
    assert error.max() < 1e-12


def test_a_needle_is_not_divided():
    def high(at):
        return FieldValues(np.where(at[:, 0] > 0.5, 1.0, 0.0), np.zeros(len(at), dtype=np.int64))

    places = np.array([[0.0, 0.0], [1.0, 0.0], [0.5, 0.4 * LEAST_MM]])
    for error, _ in measured(high, places, np.array([[0, 1, 2]]), np.zeros(3)):
        assert error.tolist() == [0.0]


def test_new_corners_lie_inside_their_facets():
    chance = np.random.default_rng(9)
    places = chance.uniform(0.0, 5.0, (300, 2))
    facets = np.arange(300).reshape(100, 3)
    a, b, c = np.moveaxis(places[facets], 1, 0)
    turn = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
    facets[turn < 0.0] = facets[turn < 0.0][:, ::-1]

    def waves(at):
        return piece_of(np.sin(4.0 * at[:, 0]) * np.cos(3.0 * at[:, 1]), 1)

    for error, worst in measured(waves, places, facets):
        rows = np.flatnonzero(error > 0.0)
        assert len(rows) > 50
        a, b, c = np.moveaxis(places[facets[rows]], 1, 0)
        for one, other in ((a, b), (b, c), (c, a)):
            way, to = other - one, worst[rows] - one
            assert (way[:, 0] * to[:, 1] - way[:, 1] * to[:, 0] > 0.0).all()
