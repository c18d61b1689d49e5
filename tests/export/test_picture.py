"""Pictures: two ways of drawing the same scene, held against each other and against geometry."""

import io

import numpy as np
import pytest
from export.builds import built
from PIL import Image

from moulddesign.building import PASTRY
from moulddesign.export import pictures
from moulddesign.export.pictures import Body, Scene, SceneRenderer, pastry_scene, plain_png
from moulddesign.geometry import box


def pixels(png):
    return np.asarray(Image.open(io.BytesIO(png)).convert("RGB")).astype(int)


def covered(png):
    return (pixels(png) < 250).any(axis=2)


def cube_scene():
    body = Body(mesh=box((0.0, 0.0, 0.0), (30.0, 10.0, 20.0)), rgb=(0.8, 0.6, 0.4))
    return Scene(bodies=(body,), azimuth_deg=0.0, elevation_deg=0.0, size_px=(300, 220))


@pytest.fixture(scope="module")
def drawn():
    scenes = {"pastry": pastry_scene(built("demo").meshes[PASTRY]), "block": cube_scene()}
    with SceneRenderer(scenes) as renderer:
        return scenes, {name: renderer.png(name) for name in scenes}


def test_both_ways_of_drawing_cover_the_same_pixels(drawn):
    scenes, pngs = drawn
    for name, scene in scenes.items():
        one, other = covered(pngs[name]), covered(plain_png(scene))
        # They differ along the edge, by a pixel or so on each side.
        edge = (one != np.roll(one, 1, axis=0)) | (one != np.roll(one, 1, axis=1))
        assert (one != other).sum() <= 2 * edge.sum()
        assert one.mean() > 0.3


def test_a_block_from_the_front_has_the_proportion_of_its_front(drawn):
    rows, columns = np.nonzero(covered(drawn[1]["block"]))
    # 30 mm wide and 20 mm high, each end within a pixel.
    wide, high = np.ptp(columns) + 1, np.ptp(rows) + 1
    assert wide / high == pytest.approx(30 / 20, abs=(1 + 1.5) * 2 / high)
    assert 0 < rows.min() < rows.max() < 219
    assert 0 < columns.min() < columns.max() < 299


def test_a_picture_is_of_its_size_and_tells_no_time(drawn):
    scenes, pngs = drawn
    for name, scene in scenes.items():
        image = Image.open(io.BytesIO(pngs[name]))
        assert image.size == scene.size_px
        # PNG specification, 11.2: only what draws.
        chunks = chunk_names(pngs[name])
        assert set(chunks) == {b"IHDR", b"IDAT", b"IEND"}


def chunk_names(png):
    at, names = 8, []
    while at < len(png):
        length = int.from_bytes(png[at : at + 4], "big")
        names.append(png[at + 4 : at + 8])
        at += 12 + length
    return names


def test_the_relief_is_lit_from_the_left():
    # The raking light comes from (-80, -60, 42), so a wall that faces left is brighter.
    ridge = box((-2.0, -20.0, 5.0), (2.0, 20.0, 15.0))
    scene = Scene(
        bodies=(Body(mesh=ridge, rgb=(0.8, 0.8, 0.8)),),
        azimuth_deg=-45.0, elevation_deg=30.0, size_px=(200, 200),
    )  # fmt: skip
    other = Scene(bodies=scene.bodies, azimuth_deg=45.0, elevation_deg=30.0, size_px=(200, 200))
    with SceneRenderer({"left": scene, "right": other}) as renderer:
        left, right = pixels(renderer.png("left")), pixels(renderer.png("right"))
    assert left[left.min(axis=2) < 250].mean() > right[right.min(axis=2) < 250].mean() + 20


@pytest.mark.parametrize(
    "program", ["import os; os.abort()", "raise SystemExit(3)", "import time; time.sleep(60)"]
)
def test_a_picture_comes_out_where_the_graphics_library_ends_the_process(
    program, tmp_path, monkeypatch
):
    script = tmp_path / "crash.py"
    script.write_text(program)
    monkeypatch.setattr(pictures, "PROGRAM", script)
    monkeypatch.setattr(pictures, "PATIENCE_S", 2.0)
    with SceneRenderer({"block": cube_scene()}) as renderer:
        assert renderer.png("block") == plain_png(cube_scene())


def test_no_process_is_started_for_no_picture():
    with SceneRenderer({}) as renderer:
        assert renderer.process is None
