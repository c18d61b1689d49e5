"""Height maps on a face: where they lie, how they meet what is there, and that they release."""

import pickle

import numpy as np
import pytest
import trimesh
from PIL import Image

from moulddesign.artwork.outline import round_outline
from moulddesign.core import SpecError
from moulddesign.design.face_tables import FaceTable
from moulddesign.face.carved_face import carved_face

BALL_MM = 9.0


@pytest.fixture(scope="module")
def ball(tmp_path_factory):
    """Half a ball as a mesh."""
    path = tmp_path_factory.mktemp("maps") / "ball.stl"
    trimesh.creation.uv_sphere(radius=10.0, count=[96, 96]).export(path)
    return str(path)


def face(file, **keys):
    size = {"size_mm": 2.0 * BALL_MM, "depth_mm": 3.0}
    table = {
        "ground": {"form": "domed", "rise_mm": 2.0},
        "carvings": [size | {"file": file} | keys],
    }
    return carved_face(FaceTable.of(table), round_outline(60.0), draft_deg=15.0)


def heights(made, *points):
    return made.field(np.array(points, dtype=float)).height


BARE = FaceTable.of({"ground": {"form": "domed", "rise_mm": 2.0}})
GROUND = carved_face(BARE, round_outline(60.0), draft_deg=15.0)


def test_a_carving_stands_on_the_ground_as_high_as_its_file_says(ball):
    """A ball of radius r, pressed to the depth d, is d sqrt(1 - (x / r)^2) high at x."""
    x = np.array([0.0, 3.0, 6.0])
    places = [(value, 0.0) for value in x]

    over = heights(face(ball), *places) - heights(GROUND, *places)

    assert over == pytest.approx(3.0 * np.sqrt(1.0 - (x / BALL_MM) ** 2), abs=0.06)
    assert heights(face(ball), (14.0, 0.0)) == pytest.approx(heights(GROUND, (14.0, 0.0)), abs=1e-9)


def test_into_cuts_what_over_raises(ball):
    ground = heights(GROUND, (0.0, 0.0), (5.0, 0.0))
    over = heights(face(ball), (0.0, 0.0), (5.0, 0.0)) - ground
    into = heights(face(ball, meets="into"), (0.0, 0.0), (5.0, 0.0)) - ground

    assert into == pytest.approx(-over, abs=1e-9)


@pytest.mark.parametrize("meets", ["over", "into", "on", "instead"])
def test_another_process_is_sent_the_same_carving(ball, meets):
    made = face(ball, meets=meets).field
    places = np.random.default_rng(3).uniform(-20.0, 20.0, (500, 2))
    assert np.array_equal(pickle.loads(pickle.dumps(made))(places), made(places))


def test_on_adds_to_a_gentle_ground_and_refuses_a_wall(ball):
    added = heights(face(ball, meets="on"), (2.0, 1.0)) - heights(GROUND, (2.0, 1.0))
    walls = {"medallion": {"radius_ratio": 0.3}, "carvings": [{"file": ball, "meets": "on"}]}

    assert added == pytest.approx(3.0 * np.sqrt(1.0 - 5.0 / BALL_MM**2), abs=0.06)
    with pytest.raises(SpecError, match="too steep"):
        carved_face(FaceTable.of(walls), round_outline(60.0), draft_deg=15.0)


def test_no_carved_place_is_steeper_than_the_draft(tmp_path):
    noise = np.random.default_rng(5).integers(0, 65_535, (60, 60)).astype(np.uint16)
    Image.fromarray(noise).resize((240, 240), Image.Resampling.NEAREST).save(tmp_path / "map.png")
    steps = np.arange(-11.0, 11.0, 0.02)
    x, y = np.meshgrid(steps, steps)
    for meets in ("over", "into", "instead"):
        made = face(str(tmp_path / "map.png"), meets=meets)
        z = made.field(np.column_stack([x.ravel(), y.ravel()])).height.reshape(x.shape)
        assert np.hypot(*np.gradient(z, 0.02)).max() <= 1.0 / np.tan(np.radians(15.0)) * 1.001


def test_where_draft_moved_a_carving_is_known(tmp_path):
    tones = np.zeros((240, 240), dtype=np.uint8)
    tones[80:160, 80:160] = 255
    Image.fromarray(tones).save(tmp_path / "step.png")

    (laid,) = face(str(tmp_path / "step.png")).carvings

    assert laid.carving.moved_mm == pytest.approx(laid.depth_mm / 2.0, abs=0.2)
    assert max(map(abs, laid.carving.moved_at_mm)) == pytest.approx(BALL_MM / 3.0, abs=0.15)
