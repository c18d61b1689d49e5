"""How a build that nobody picked by hand is judged: by trimesh, and by what its findings say."""

import pytest
import trimesh

from moulddesign.building import build
from moulddesign.core import MouldError, Verdict

DIVISION = ("bodies", "collapse", "edges", "volume", "exact surfaces", "cavity")
"""Words of the findings that judge the geometry, not what was asked for."""


def read(mesh):
    """Return one of our meshes as trimesh's, corners welded by trimesh."""
    return trimesh.Trimesh(mesh.vertices, mesh.triangles, process=True)


def assert_sound(made):
    for name, mesh in made.meshes.items():
        body = read(mesh)
        assert body.is_watertight, name
        assert body.is_winding_consistent, name
        assert body.body_count == 1, name
        assert body.volume > 0.0, name
    # float32 holds 64 mm within 2e-6 mm; on the three extents of a piece 10 mm high, 6e-7.
    piece = made.portion.piece
    assert read(made.meshes["pastry"]).volume == pytest.approx(1000 * piece.volume_ml, rel=1e-6)
    wrong = [f for f in made.findings if any(word in f.name for word in DIVISION)]
    assert wrong
    assert [f for f in wrong if f.verdict is Verdict.FAIL] == []


def outcome(design):
    """Build it; return what became of it in a word, having checked that it is sound."""
    try:
        made = build(design)
    except MouldError as error:
        sentence = str(error)
        assert sentence.endswith(".")
        assert "\n" not in sentence
        assert "nan" not in sentence.lower()
        return f"refused: {sentence.partition(' = ')[0]}"
    assert_sound(made)
    return "built, failing: " + "; ".join(made.failed) if made.failed else "built"
