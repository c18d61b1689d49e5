"""Designs and regions that nobody picked by hand, for hypothesis."""

from math import pi

import numpy as np
import shapely
from hypothesis import strategies as st

from moulddesign.design import OUTLINES, Design

PATTERNS = ("chestnut", "date-leaf", "lantern")


def shares(low, high):
    return st.floats(low, high, allow_nan=False, allow_infinity=False)


@st.composite
def centres(draw, filling_g):
    """Return one or two centres that together weigh less than the filling."""
    count = draw(st.integers(0, 2))
    return [
        {
            "name": f"centre {number + 1}",
            "mass_g": filling_g * draw(shares(0.02, 0.4)),
            "density_g_per_ml": draw(shares(0.8, 1.4)),
        }
        for number in range(count)
    ]


@st.composite
def portions(draw):
    weight_g = draw(shares(20.0, 400.0))
    crust = draw(shares(1.0, 6.0))
    filling_g = weight_g * (1.0 - round(crust, 2) / 10.0)
    return {
        "finished_weight_g": weight_g,
        "ratio": f"{crust:.2f}:{10.0 - round(crust, 2):.2f}",
        "loss": draw(shares(0.0, 0.3)),
        "crust_density_g_per_ml": draw(shares(0.9, 1.5)),
        "filling_density_g_per_ml": draw(shares(0.9, 1.5)),
        "trapped_air": draw(st.sampled_from([0.0, 0.05])),
        "centres": draw(centres(filling_g)),
    }


@st.composite
def sizes(draw, weight_g):
    """Return none or one of the three sizes, within what a piece of the weight may have."""
    ball_mm = (6000.0 * weight_g / 1.25 / pi) ** (1 / 3)
    asked = draw(st.sampled_from([None, "width_mm", "height_mm", "height_to_width"]))
    value = {
        None: None,
        "width_mm": ball_mm * draw(shares(0.9, 1.6)),
        "height_mm": ball_mm * draw(shares(0.35, 0.9)),
        "height_to_width": draw(shares(0.25, 0.9)),
    }[asked]
    return {} if asked is None else {asked: value}


@st.composite
def reliefs(draw):
    layers = draw(st.sampled_from([*PATTERNS, None]))
    return {
        "depth_mm": draw(shares(0.3, 3.0)),
        "sense": draw(st.sampled_from(["raised", "sunk"])),
        "profile": draw(st.sampled_from(["flat", "bevel", "pillow"])),
        "draft_deg": draw(shares(3.0, 45.0)),
        "layers": [] if layers is None else [{"pattern": layers}],
    }


def presses():
    return st.fixed_dictionaries(
        {
            "lobe_mm": st.sampled_from([0.0, 28.0]),
            "wall_mm": shares(1.6, 5.0),
        }
    )


def blocks():
    return st.fixed_dictionaries(
        {
            "kind": st.just("block"),
            "cavities": st.integers(1, 4),
            "side_draft_deg": st.sampled_from([None, 4.0, 12.0]),
            "land_mm": shares(4.0, 15.0),
            "handle_length_mm": st.sampled_from([0.0, 60.0, 110.0]),
        }
    )


def masters():
    return st.fixed_dictionaries(
        {
            "kind": st.just("cast"),
            "cavities": st.integers(1, 4),
            "cover_mm": shares(5.0, 20.0),
            "tray_draft_deg": shares(1.0, 15.0),
            "silicone_shrink": st.sampled_from([0.0, 0.001, 0.02]),
        }
    )


@st.composite
def designs(draw, moulds=presses):
    """Return a design whose fields are all valid; whether it can be made is for `build` to say."""
    portion = draw(portions())
    pastry = draw(sizes(portion["finished_weight_g"])) | {
        "outline": draw(st.sampled_from(OUTLINES)),
        "lobes": draw(st.integers(5, 20)),
        "lobe_depth_mm": draw(shares(0.5, 3.0)),
        "corner_radius_mm": draw(st.sampled_from([0.0, 2.5, 6.0, 12.0])),
        "shoulder_radius_mm": draw(st.sampled_from([0.0, 1.0, 4.0])),
    }
    return Design.of(
        {
            "name": "anything",
            "portion": portion,
            "pastry": pastry,
            "relief": draw(reliefs()),
            "mould": {key: value for key, value in draw(moulds()).items() if value is not None},
        }
    )


def any_kind():
    """Return a design of a press, a block or a casting master."""
    return st.sampled_from([presses, blocks, masters]).flatmap(designs)


COORDINATES = st.integers(-2000, 2000).map(lambda n: n / 100.0)


@st.composite
def strokes(draw):
    """Return a union of a few round-ended strokes [mm]."""
    lines = draw(st.lists(st.tuples(*[COORDINATES] * 4), min_size=1, max_size=8))
    radii = st.sampled_from([0.2, 0.35, 0.5, 0.8, 1.3])
    made = [shapely.LineString([line[:2], line[2:]]).buffer(draw(radii)) for line in lines]
    return shapely.union_all(made)


@st.composite
def polygons(draw):
    """Return whatever area a closed line through a few points encloses, crossings and all [mm]."""
    points = draw(st.lists(st.tuples(COORDINATES, COORDINATES), min_size=3, max_size=12))
    return shapely.make_valid(shapely.Polygon(points))


def star(points, outer, inner):
    """Return a star, its first point on the x axis [mm]."""
    turn = np.arange(2 * points) * np.pi / points
    radius = np.where(np.arange(2 * points) % 2, inner, outer)
    return shapely.Polygon(np.column_stack([radius * np.cos(turn), radius * np.sin(turn)]))


def regular(sides, radius=1.0):
    """Return a regular polygon with its corners on a circle [mm]."""
    turn = 2.0 * np.pi * np.arange(sides) / sides
    return shapely.Polygon(radius * np.column_stack([np.cos(turn), np.sin(turn)]))
