"""What of a carved face can be tapped, and how a design changes when its numbers do."""

import base64
from math import pi

import numpy as np
import pytest

from moulddesign.building import shaped
from moulddesign.design import Design
from moulddesign.page.face_entries import face_to_tap, with_face_entry


def faced(**face):
    return Design().with_values({"face": face, "relief.layers": []})


def test_a_band_lies_on_the_map_where_its_sizes_say():
    bands = [{"width_mm": 4.0}, {"width_mm": 2.0, "fill": "beads"}]
    design = faced(land_mm=2.0, bands=bands).with_values({"pastry.width_mm": 50.0})
    sent = face_to_tap(design, shaped(design))
    found = np.frombuffer(base64.b64decode(sent["map"]), dtype=np.uint8)
    # by hand: a ring from 2 mm to 6 mm inside of 25 mm
    assert (found == 0).sum() * sent["pixel"] ** 2 == pytest.approx(pi * (23**2 - 19**2), rel=0.05)
    plain, filled = sent["entries"]
    assert (plain["numbers"], plain["fill"]) == (["width_mm"], "")  # nothing of it is counted
    assert (filled["numbers"], filled["width_mm"]) == (["width_mm", "count"], 2.0)
    # by hand: beads as long as the band is wide, on a circle 7.5 mm inside
    assert filled["count"] == pytest.approx(2.0 * pi * 17.5 / 2.0, rel=0.35)


@pytest.mark.parametrize(
    ("name", "change", "made"),
    [
        (
            "chestnut",
            {"list": "bands", "place": 1, "key": "width_mm", "value": 3.0},
            lambda face: [band.width_mm for band in face.bands] == [1.5, 3.0],
        ),
        (
            "chestnut",
            {"list": "bands", "place": 1, "key": "fill", "value": ""},
            lambda face: face.bands[1].fill is None and len(face.crowns) == 3,
        ),
        (
            "seal",
            {"list": "medallion", "place": 0, "key": "radius_ratio", "value": 0.5},
            lambda face: face.medallion.radius_ratio == 0.5 and face.medallion.ring_width_mm > 0.0,
        ),
        (
            "seal",
            {"list": "medallion", "place": 0, "key": "text", "value": "L"},
            lambda face: (face.medallion.holds.text, face.medallion.holds.pattern) == ("L", None),
        ),
    ],
)
def test_an_entry_of_a_bundled_face_is_changed_and_the_rest_stays(name, change, made):
    design = faced(name=name)
    changed = Design.of(with_face_entry(design.plain(), design.face, change))
    whole = changed.face.whole()
    assert made(whole)
    assert (changed.face.name, whole.parts) == (name, design.face.whole().parts)
