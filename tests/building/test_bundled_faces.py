"""Every bundled face along four outlines in three weights: its mesh, and what its build finds."""

import numpy as np
import pytest
import shapely
import trimesh
from relief.carved_faces import Face
from relief.surfaces import errors_mm, steep_share

from moulddesign.building import shaped
from moulddesign.building.piece_findings import PieceInput, face_figures_of, piece_findings
from moulddesign.core import Verdict
from moulddesign.design import Design
from moulddesign.design.face_tables import face_names
from moulddesign.verify.soundness import soundness

NAMES = ("round", "square", "scalloped", "hexagon")


@pytest.mark.slow
@pytest.mark.parametrize("bundled", face_names())
@pytest.mark.parametrize("outline", NAMES)
@pytest.mark.parametrize("weight_g", [30.0, 75.0, 250.0])
def test_a_bundled_face_is_within_its_bounds_and_nothing_fails(bundled, outline, weight_g):
    design = Design().with_values(
        {
            "face": {"name": bundled},
            "relief.layers": [],
            "pastry.outline": outline,
            "portion.finished_weight_g": weight_g,
        }
    )
    shape = shaped(design)
    carved, solid = shape.pastry.carved, shape.pastry.mesh
    edge = carved.surface.vertices[carved.surface.rim, :2]
    off = errors_mm(carved.surface, Face(shapely.Polygon(edge), carved.field, carved.regions))
    written = trimesh.Trimesh(*(np.float32(solid.vertices), solid.triangles), process=False)
    figures = face_figures_of(shape.pastry, solid)
    findings = (
        *piece_findings(
            PieceInput(
                design=design,
                figures=shape.portion,
                pastry=shape.pastry,
                interior=shape.interior,
                solid=solid,
            )
        ),
        *soundness(solid, part="pastry"),
    )

    assert np.quantile(off, 0.999) <= 0.02
    assert off.max() <= 0.03
    assert steep_share(carved.surface, design.relief.draft_deg) < 1e-5
    assert written.is_watertight
    assert figures.least_draft_deg >= design.relief.draft_deg - 0.1
    assert figures.covered_ratio >= 0.7
    assert figures.levels >= 3
    assert [found for found in findings if found.verdict is Verdict.FAIL] == []
