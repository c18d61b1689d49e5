"""The relief as a 16-bit picture, read back as a carving is, and by Pillow alone."""

import io

import numpy as np
import pytest
from export.builds import built, unchecked
from PIL import Image

from moulddesign.core import SpecError
from moulddesign.export.height_maps import heightmap_png, mapped_pastries, top_heights
from moulddesign.relief.height_map import read_height_map


@pytest.fixture(scope="module")
def made():
    build = built("chestnut-75")
    return top_heights(build, *mapped_pastries(build)[""])


def test_a_map_that_is_read_as_a_carving_has_its_heights_within_a_step(made, tmp_path):
    (tmp_path / "heightmap.png").write_bytes(heightmap_png(made, "chestnut"))
    share = read_height_map(tmp_path / "heightmap.png").share
    figures = made.report()
    heights = figures["black_mm"] + share * figures["carving_depth_mm"]
    # Written to half a step; Pillow keeps float32, of which a step of 16 bits has 128.
    assert np.abs(heights - made.heights_mm).max() <= figures["mm_per_step"]


def test_a_picture_says_its_steps_and_pixels(made):
    picture = Image.open(io.BytesIO(heightmap_png(made, "chestnut")))
    assert picture.mode.startswith("I")
    grey = np.asarray(picture, dtype=np.float64)[::-1]
    told = {key: float(picture.text[key]) for key in ("black-mm", "mm-per-step", "mm-per-pixel")}
    # PNG specification, 11.3.4.3: pHYs is in whole pixels a metre, which Pillow tells an inch.
    assert picture.info["dpi"][0] / 25.4 == pytest.approx(1.0 / told["mm-per-pixel"], rel=1e-6)
    heights = told["black-mm"] + grey * told["mm-per-step"]
    build = built("chestnut-75")
    top_mm = build.pastry.depth_above_mm
    assert heights.max() == pytest.approx(top_mm, abs=1e-4)
    # What stands over the flat top is the relief, whose volume the pastry knows by itself.
    relief_mm3 = heights.clip(0.0).sum() * told["mm-per-pixel"] ** 2
    assert relief_mm3 == pytest.approx(build.pastry.relief_mm3, rel=0.01)  # pixels on edges


def test_a_level_top_is_refused_in_one_sentence():
    plain = {"relief.layers": [], "pastry.shoulder_radius_mm": 0.0}
    build = unchecked(built("chestnut-75").design.with_values(plain))
    with pytest.raises(SpecError, match="the pastry's top is level"):
        top_heights(build, *mapped_pastries(build)[""])
