"""What is wrong with a file is found, by a reader that did not write it."""

import pytest
import trimesh

from moulddesign.core import Verdict
from moulddesign.geometry import Mesh, box, joined
from moulddesign.verify.soundness import written_findings


def findings(tmp_path, written, meant):
    path = tmp_path / "part.stl"
    trimesh.Trimesh(written.vertices, written.triangles, process=False).export(path)
    return written_findings(path, meant)


def verdicts(tmp_path, written, meant):
    return [finding.verdict for finding in findings(tmp_path, written, meant)]


CUBE = box((0, 0, 0), (10, 10, 10))


def test_a_sound_file_is_good(tmp_path):
    assert verdicts(tmp_path, CUBE, CUBE) == [Verdict.GOOD, Verdict.GOOD]


@pytest.mark.parametrize(
    "written",
    [
        pytest.param(Mesh(CUBE.vertices, CUBE.triangles[1:]), id="a triangle is missing"),
        pytest.param(joined([CUBE, CUBE.moved((20, 0, 0))]), id="two bodies"),
        pytest.param(
            joined([CUBE, CUBE.moved((4, 0, 0)).inside_out(), CUBE.moved((30, 0, 0))]),
            id="a body inside out among others",
        ),
    ],
)
def test_a_file_that_is_no_solid_fails(tmp_path, written):
    assert verdicts(tmp_path, written, CUBE)[0] is Verdict.FAIL


@pytest.mark.parametrize(("ratio", "verdict"), [(1e-7, Verdict.GOOD), (1e-5, Verdict.FAIL)])
def test_a_volume_that_differs_fails(tmp_path, ratio, verdict):
    meant = Mesh(CUBE.vertices * (1.0, 1.0, 1.0 + ratio), CUBE.triangles)
    assert verdicts(tmp_path, CUBE, meant)[1] is verdict


def test_soundness_is_told_in_a_word_that_agrees_with_the_verdict(tmp_path):
    open_cube = Mesh(CUBE.vertices, CUBE.triangles[1:])
    told = [str(findings(tmp_path, mesh, CUBE)[0].measured) for mesh in (CUBE, open_cube)]
    assert told == ["yes", "no"]
