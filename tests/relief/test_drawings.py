# ruff: noqa: E501 (a drawing stands on one line)
"""Drawings that nobody here made, and awkward ones: each becomes a sound relief or is refused.

`MOULDDESIGN_DRAWINGS` names a folder of SVG files, such as an openly licensed icon set unpacked
outside the checkout; every file in it is tried.
"""

import os
from collections import Counter
from pathlib import Path

import numpy as np
import pytest
import shapely
from relief.surfaces import closed, directed_edges, plan_areas, roofed

from moulddesign.artwork.svg import svg_regions
from moulddesign.core import MouldError
from moulddesign.design import Profile

FOLDER = os.environ.get("MOULDDESIGN_DRAWINGS")
DRAFT_DEG = 15.0
SIZE_MM = 50.0
SIMPLIFIED_MM = 0.002

AWKWARD = {
    "squares that touch in a point": '<path d="M1 1H5V5H1zM5 5H9V9H5z"/>',
    "squares that share an edge": '<path d="M1 1H5V5H1zM5 1H9V5H5z"/>',
    "squares that share half an edge": '<rect x="1" y="1" width="4" height="4"/><rect x="5" y="3" width="4" height="4"/>',
    "hole that touches the edge in a point": '<path fill-rule="evenodd" d="M1 1H9V9H1zM5 1L7 4L5 6L3 4z"/>',
    "the same shape three times": '<circle cx="5" cy="5" r="3"/>' * 3,
    "the same shape wound both ways": '<path d="M1 1H9V9H1zM1 1V9H9V1z"/><circle cx="5" cy="5" r="2"/>',
    "bow tie": '<path d="M1 1L9 9V1L1 9z"/>',
    "pentagram, even-odd": '<path fill-rule="evenodd" d="M5 .5L7.6 8.6L.7 3.6H9.3L2.4 8.6z"/>',
    "sliver": '<path d="M1 5L9 5.0005L9 5z"/><circle cx="5" cy="2" r="1"/>',
    "fan of slivers": '<path d="M5 1L1 9H1.02L5 1L3 9H3.02L5 1L5 9H5.02L5 1L7 9H7.02L5 1L9 9H9.02z"/>',
    "hairline strokes": '<path d="M1 1L9 9M9 1L1 9M5 1V9" stroke="black" stroke-width=".01"/>',
    "stroke that runs back upon itself": '<path d="M1 5H9H1" stroke="black" stroke-width="1"/>',
    "nested rings": "".join(f'<circle cx="5" cy="5" r="{r / 10}" fill="none" stroke="black" stroke-width=".1"/>' for r in range(4, 45, 3)),
    "island in a hole in an island": '<path fill-rule="evenodd" d="M1 1H9V9H1zM2 2H8V8H2zM3 3H7V7H3zM4 4H6V6H4z"/>',
    "depths that touch": '<rect x="1" y="1" width="4" height="8"/><rect x="5" y="1" width="4" height="8" fill="#777"/>',
    "spike of a mitre": '<path d="M1 5L8 4.9L1 4.8" fill="none" stroke="black" stroke-width=".4" stroke-miterlimit="40"/>',
    "three thousand corners": '<path d="M' + " ".join(f"{5 + (4 + k % 2 * .02) * np.cos(k * np.pi / 1500):.4f} {5 + (4 + k % 2 * .02) * np.sin(k * np.pi / 1500):.4f}" for k in range(3000)) + 'z"/>',
}  # fmt: skip
REFUSED = {
    "nothing drawn": "",
    "only points": '<path d="M1 1zM5 5z"/>',
    "white only": '<rect width="9" height="9" fill="white"/>',
    "text": '<text x="1" y="5">leaf</text>',
    "gradient": '<defs><linearGradient id="g"/></defs><rect width="9" height="9" fill="url(#g)"/>',
    "picture": '<image width="9" height="9" href="leaf.png"/>',
}


def assert_sound(shape, profile):
    """Assert that a region's roof is closed, wound one way, as wide as the region and drafted."""
    region, _, made = roofed(shape, profile, draft_deg=DRAFT_DEG)
    solid = closed(made)
    there, back = directed_edges(solid.triangles)
    assert len(np.unique(there)) == len(there)
    assert np.isin(there, back).all()
    areas = plan_areas(made.surface)
    # corners lie on a grid of 1e-6 mm or so: a facet folds by no more than grid times edge
    assert areas.min() > -1e-9
    assert areas.sum() == pytest.approx(region.area, rel=1e-6)
    corners = made.surface.corners
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    doubled = np.linalg.norm(normals, axis=1)
    # the angle of a facet of under a square micrometre is round-off
    rise = normals[:, 2][doubled > 1e-6] / doubled[doubled > 1e-6]
    assert np.degrees(np.arcsin(np.clip(rise, -1.0, 1.0))).min() > DRAFT_DEG - 1e-3


def tried(path):
    """Return whether a drawing was built or refused; anything else fails."""
    try:
        regions = svg_regions(path)
        for region in regions:
            shape = shapely.transform(region.shape, lambda points: points * SIZE_MM)
            for profile in Profile:
                assert_sound(shapely.simplify(shape, SIMPLIFIED_MM), profile)
    except MouldError as error:
        assert str(error).endswith(".")  # noqa: PT017 (either outcome is right)
        assert "\n" not in str(error)  # noqa: PT017
        return "refused"
    return "built"


def written(folder, body):
    path = folder / "drawing.svg"
    path.write_text(f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 10 10">{body}</svg>')
    return path


@pytest.mark.parametrize("body", AWKWARD.values(), ids=AWKWARD)
def test_awkward_drawing_becomes_a_sound_relief(body, tmp_path):
    assert tried(written(tmp_path, body)) == "built"


@pytest.mark.parametrize("body", REFUSED.values(), ids=REFUSED)
def test_drawing_without_relief_is_refused_in_a_sentence(body, tmp_path):
    assert tried(written(tmp_path, body)) == "refused"


@pytest.mark.slow
@pytest.mark.skipif(FOLDER is None, reason="MOULDDESIGN_DRAWINGS names no folder of SVG files")
def test_drawings_of_others_become_sound_reliefs_or_are_refused(capsys):
    paths = sorted(Path(FOLDER).rglob("*.svg"))
    assert paths, "no SVG files in the folder"
    outcomes, broken = Counter(), []
    for path in paths:
        try:
            outcomes[tried(path)] += 1
        except Exception as error:  # noqa: BLE001 (whatever it is, the drawing is named)
            broken.append(f"{path}: {error!r:.200}")
    with capsys.disabled():
        print(f"\n{len(paths)} drawings: {dict(outcomes)}, {len(broken)} broken")  # noqa: T201
    assert not broken, "\n".join(broken)
