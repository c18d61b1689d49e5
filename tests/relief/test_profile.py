"""Sections of a stroke against the words that describe them."""

from math import asin, cos, degrees, pi, radians, sqrt, tan

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from moulddesign.design import Profile
from moulddesign.relief.profile import HEIGHT_ERROR_MM, height_profile, shoulder_profile

DEPTHS = st.floats(0.1, 10.0)
DRAFTS = st.floats(1.0, 60.0)
HALVES = st.floats(0.05, 20.0)


def made(profile, depth_mm, draft_deg, widest_mm):
    return height_profile(profile, depth_mm=depth_mm, draft_deg=draft_deg, widest_mm=widest_mm)


def slopes_deg(wall):
    """Angle of each piece against the pull direction, along the wall."""
    return np.degrees(np.arctan2(np.diff(wall.distances), np.diff(wall.heights)))


@given(profile=st.sampled_from(Profile), depth=DEPTHS, draft=DRAFTS, widest=HALVES)
def test_every_section_rises_from_the_edge_and_keeps_the_draft(profile, depth, draft, widest):
    wall = made(profile, depth, draft, widest)
    assert wall.distances[0] == wall.heights[0] == 0.0
    assert (np.diff(wall.distances) > 0.0).all()
    assert (np.diff(wall.heights) >= 0.0).all()
    # An arc's height is the difference of two numbers as large as its radius.
    radius = (widest**2 + depth**2) / (2.0 * depth)
    assert wall.heights[-1] <= depth + 4e-16 * radius
    # The facet in the middle of a fan is the steepest: its slope is the section's over
    # cos(fan / 2).
    along = np.degrees(np.arctan(np.tan(np.radians(slopes_deg(wall))) * cos(wall.fan_rad / 2.0)))
    assert along.min() >= draft - 1e-9


@given(depth=DEPTHS, draft=DRAFTS, widest=HALVES)
def test_a_fan_costs_no_more_height_than_its_share(depth, draft, widest):
    # At the plateau's edge a chord across the fan lies short by 1 - cos(fan / 2) of the height.
    wall = made(Profile.FLAT, depth, draft, widest)
    assert depth * (1.0 - cos(wall.fan_rad / 2.0)) <= HEIGHT_ERROR_MM * (1.0 + 1e-9)


@given(depth=DEPTHS, draft=DRAFTS)
def test_flat_reaches_its_depth_and_stays_there(depth, draft):
    wall = made(Profile.FLAT, depth, draft, 1.0)
    run = wall.distances[-1]
    assert wall.height(np.array([run, 2.0 * run, 1e6])) == pytest.approx([depth] * 3)
    assert wall.height(np.array([run / 2.0])) == pytest.approx([depth / 2.0])
    # No flatter than the fan's allowance asks for, and never steeper than the draft.
    ideal = depth * tan(radians(draft))
    assert ideal * (1.0 - 1e-12) <= run <= ideal / cos(wall.fan_rad / 2.0) * (1.0 + 1e-9)


@given(depth=DEPTHS, widest=HALVES)
def test_bevel_ends_on_the_ridge_of_the_widest_stroke(depth, widest):
    wall = made(Profile.BEVEL, depth, 1.0, widest)
    assert wall.distances[-1] == pytest.approx(widest, rel=1e-8)
    # At 1 deg only a stroke 57 times deeper than half its width is kept lower by the draft.
    expected = min(depth, widest / tan(radians(1.0)) * cos(wall.fan_rad / 2.0))
    assert wall.heights[-1] == pytest.approx(expected, rel=1e-8)


@given(depth=st.floats(0.1, 5.0), widest=HALVES)
def test_pillow_is_a_circles_arc_level_at_the_ridge(depth, widest):
    wall = made(Profile.PILLOW, depth, 1.0, widest)
    end, top = wall.distances[-1], wall.heights[-1]
    # Sagitta theorem (Euclid III.35): r = (chord^2 / 4 + h^2) / (2 h), every corner on it.
    radius = (end**2 + top**2) / (2.0 * top)
    away = np.hypot(end - wall.distances, wall.heights - (top - radius))
    assert away == pytest.approx(np.full(len(away), radius), rel=1e-9)
    # A chord c of a circle lies c^2 / (8 r) below it.
    chords = np.hypot(np.diff(wall.distances), np.diff(wall.heights))
    assert (radius - np.sqrt(radius**2 - chords**2 / 4.0)).max() <= HEIGHT_ERROR_MM * (1 + 1e-6)


def test_pillow_is_as_deep_as_asked_where_the_draft_allows_it():
    assert made(Profile.PILLOW, 1.0, 15.0, 3.0).heights[-1] == pytest.approx(1.0)
    # A stroke of 1 mm cannot be 3 mm deep and leave at 15 deg.
    assert made(Profile.PILLOW, 3.0, 15.0, 0.5).heights[-1] < 0.5 / tan(radians(15.0))


@pytest.mark.parametrize("profile", Profile)
def test_sunk_is_raised_upside_down(profile):
    wall = made(profile, 1.5, 15.0, 2.0)
    at = np.linspace(0.0, 3.0, 50)
    assert wall.times(-1.0).height(at) == pytest.approx(-wall.height(at))


@given(radius=st.floats(0.2, 30.0))
def test_a_shoulder_is_an_eighth_of_a_circle(radius):
    wall = shoulder_profile(radius, 0.0)
    assert wall.distances[-1] == pytest.approx(radius * sqrt(0.5))
    assert wall.heights[-1] == pytest.approx(radius * (1.0 - sqrt(0.5)))
    first = wall.heights[-1] - radius
    away = np.hypot(wall.distances[-1] - wall.distances, wall.heights - first)
    assert away == pytest.approx(np.full(len(away), radius), rel=1e-9)
    assert slopes_deg(wall)[0] >= 45.0


@given(radius=st.floats(1.0, 30.0), share=st.floats(0.01, 0.99))
def test_a_stamps_shoulder_is_the_pastrys_from_its_clearance_on(radius, share):
    inset = share * radius * sqrt(0.5)
    whole, rest = shoulder_profile(radius, 0.0), shoulder_profile(radius, inset)
    at = np.linspace(0.0, radius, 40)
    expected = whole.height(inset + at) - whole.height(np.array([inset]))
    assert rest.height(at) == pytest.approx(expected, abs=1e-12)


def test_the_fan_of_a_shoulder_keeps_within_its_name():
    assert degrees(shoulder_profile(4.0, 0.0).fan_rad) == pytest.approx(degrees(asin(0.25)))
    assert shoulder_profile(4.0, 0.0).fan_rad < pi / 4.0
