"""Sizes of presses in a slicer's machine code: bore, gap, relief and cavity as they are laid."""

import os
import re
from functools import cache, reduce
from itertools import cycle

import numpy as np
import pytest
import shapely
import trimesh

from moulddesign.building import mould_of, shaped
from moulddesign.building.remedies import rim_figures
from moulddesign.design import OUTLINES, Design
from moulddesign.export.formats import stl_bytes
from moulddesign.export.slicing import slicer_code, slicer_settings, slicer_words
from moulddesign.mould.print_estimate import SOLID
from moulddesign.relief.stamp_rim import stamp_rim

SLICER = os.environ.get("MOULDDESIGN_SLICER")
pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(SLICER is None, reason="MOULDDESIGN_SLICER names none"),
]
WEIGHTS = dict(zip(OUTLINES, cycle((75.0, 125.0, 60.0, 90.0, 100.0)), strict=False))
LINE_MM = 0.42
PROFILE = {
    "fill-density": "0%", "top-solid-layers": 0, "bottom-solid-layers": 0, "perimeters": 1,
    "perimeter-generator": "classic", "external-perimeter-extrusion-width": LINE_MM,
    "first-layer-extrusion-width": LINE_MM, "elefant-foot-compensation": 0,
    "xy-size-compensation": 0, "resolution": 0, "gcode-resolution": 0.002,
}  # fmt: skip
"""Outlines alone, and nothing that is added to or taken from them."""
MOVE = re.compile(r"G1 X([\d.]+) Y([\d.]+)( E)?")


def laid(code):
    """Return what a slicer lays in each layer, by its height: the outermost lines, half a line on.

    A ring inside an odd number of others is the edge of a hole.
    """
    found = {}
    for height, rings in _rings(code).items():
        region = shapely.Polygon()
        for ring in sorted(rings, key=lambda one: -one.area):
            start = shapely.Point(ring.exterior.coords[0])
            around = [other for other in rings if other is not ring and other.contains(start)]
            edge = ring.buffer((-LINE_MM if len(around) % 2 else LINE_MM) / 2, join_style="mitre")
            region = region.difference(edge) if len(around) % 2 else region.union(edge)
        found[height] = region
    return found


def _rings(code):
    """Return the closed ways on which plastic is laid in the outermost lines, by height."""
    found, way, at = {}, [], None
    height = kind = None
    for line in code.split("\n"):
        move = MOVE.match(line)
        if move and move[3] and kind == "External perimeter":
            way = way or [at]
            way.append((float(move[1]), float(move[2])))
        elif len(way) > 3:
            found.setdefault(height, []).append(shapely.Polygon(way))
            way = []
        if move:
            at = (float(move[1]), float(move[2]))
        elif line.startswith(";TYPE:"):
            kind = line.removeprefix(";TYPE:")
        elif line.startswith(";Z:"):
            height = round(float(line.removeprefix(";Z:")), 3)
    return found


@cache
def pressed(outline):
    design = Design().with_values(
        {
            "portion.finished_weight_g": WEIGHTS[outline],
            "pastry.outline": outline,
            "relief.layers": [{"motif": "rings", "count": 2, "stroke_mm": 2.4}],
            "mould.lettering": False,
        }
    )
    shape = shaped(design)
    return design, shape, mould_of(design, shape)


@pytest.mark.parametrize("outline", OUTLINES)
def test_bore_gap_relief_and_cavity_are_laid_as_designed(outline, tmp_path):
    """Two parts a press, ten in all: within 0.05 mm, and the cavity within 1 %."""
    design, shape, mould = pressed(outline)
    layers = {}
    for name in ("sleeve", "stamp"):
        model = tmp_path / f"{name}.stl"
        model.write_bytes(stl_bytes(mould.part(name).printed))
        settings = dict(slicer_settings(design.printer, SOLID)) | PROFILE
        layers[name] = laid(slicer_code(slicer_words(SLICER), model, settings))
    layer_mm, layout = design.printer.layer_height_mm, mould.layout

    heights = sorted(layers["sleeve"])
    wall = layers["sleeve"][heights[len(heights) // 3]]
    bore = shapely.Polygon(max(wall.interiors, key=lambda ring: shapely.Polygon(ring).area))
    assert size_mm(bore) == pytest.approx(size_mm(shape.pastry.outline.shape), abs=0.05)

    stamp, top = layers["stamp"], max(layers["stamp"])
    depth = shape.pastry.depth_above_mm
    land = shapely.Polygon(stamp[round(top - depth - layer_mm, 3)].exterior)
    gap = (size_mm(bore) - size_mm(land)) / 2.0
    assert gap == pytest.approx([layout.clearance_mm] * 2, abs=0.05)

    whole = [height for height in stamp if stamp[height].area > 0.999 * land.area]
    assert top - max(whole) == pytest.approx(depth, abs=0.05)

    engraved = sum(land.area - stamp[height].area for height in stamp if height > max(whole))
    cavity = bore.area * shape.pastry.height_mm + engraved * layer_mm
    assert cavity == pytest.approx(1000.0 * shape.portion.piece.volume_ml, rel=0.01)


def size_mm(shape):
    x0, y0, x1, y1 = shape.bounds
    return np.array([x1 - x0, y1 - y0])


STAMPS = [
    ("bee", "round"), ("blossom", "square"), ("chestnut", "scalloped"), ("date", "hexagon"),
    ("fruit", "octagon"), ("harvest", "round"), ("leaf", "round"), ("moon", "square"),
    ("seal", "scalloped"), ("sun", "round"),
]  # fmt: skip


LINE = re.compile(r"G1 X([\d.]+) Y([\d.]+)( E)?|;(TYPE|WIDTH|Z):(.+)")


def lines_laid(code):
    """Return every line of plastic by its height: kind, from, to and width."""
    found, said, at = {}, {}, None
    for left, right, plastic, what, value in LINE.findall(code):
        if what:
            said[what] = value
            continue
        start, at = at, (float(left), float(right))
        if plastic:
            line = (said["TYPE"], start, at, float(said["WIDTH"]))
            found.setdefault(float(said["Z"]), []).append(line)
    return found


def covered(lines):
    """Return the region under lines with round ends."""
    _, starts, ends, widths = zip(*lines, strict=True)
    ways = shapely.linestrings(np.stack([starts, ends], axis=1))
    return shapely.union_all(shapely.buffer(ways, np.array(widths) / 2.0, quad_segs=4))


def section(solid, height_mm):
    """Return the section of a mesh across its height; a loop within another one is a hole."""
    cut = solid.section(plane_origin=[0.0, 0.0, height_mm], plane_normal=[0.0, 0.0, 1.0])
    loops = [shapely.Polygon(loop[:, :2]).buffer(0.0) for loop in cut.discrete if len(loop) > 3]
    return reduce(shapely.symmetric_difference, loops)


def lost_at_edge(wanted, laid):
    """Return what of a section has no plastic, but for voids between its lines.

    Those are closed in, and filled: a line flows wider than it is counted here.
    """
    gaps = shapely.get_parts(wanted.difference(laid).buffer(-0.002))
    return shapely.union_all([gap for gap in gaps if gap.distance(wanted.boundary) < 0.01])


@pytest.mark.parametrize(("face", "outline"), STAMPS)
def test_a_carved_stamp_is_laid_whole_without_support(face, outline, tmp_path):
    """Ten stamps, support under what leans more than 50 deg from upright.

    At the mouth of the slot its edge meets the back's chamfer: at that corner the lowest layer or
    two get a few lines, which is all. Not among the ten: where a layer ends just under the ridge of
    the slot's roof, the end of that ridge at the rim gets a thin tower too.

    Each layer of the face is compared with the mesh's section through its middle. No rim of the ten
    is warned of. What is thinner than a line is drawn back, 0.1 to 0.35 % of the area: the tips of
    leaves and the ridges between two hollows. Where a line fits it is laid, but for 0.002 to
    0.032 %: dots no longer than a line is wide, at the end of a tip behind which it is thinner.
    """
    design = Design().with_values(
        {"face": {"name": face}, "relief.layers": [], "pastry.outline": outline}
    )
    shape = shaped(design)
    stamp = mould_of(design, shape).part("stamp").printed
    model = tmp_path / "stamp.stl"
    model.write_bytes(stl_bytes(stamp))
    asked = {"support-material": None, "support-material-threshold": 40}
    settings = dict(slicer_settings(design.printer, SOLID)) | asked
    layers = lines_laid(slicer_code(slicer_words(SLICER), model, settings))
    layer_mm, top = design.printer.layer_height_mm, max(layers)
    # A layer is laid or not, and a peak that is narrower than a line is not.
    assert top == pytest.approx(stamp.size_mm[2], abs=1.5 * layer_mm)
    supported = {
        height
        for height, lines in layers.items()
        if any(kind.startswith("Support") for kind, *_ in lines)
    }
    assert max(supported, default=0.0) <= 2.0 * layer_mm + 1e-6

    solid = trimesh.load_mesh(model)
    wanted_mm2 = lost_mm2 = lost_where_a_line_fits_mm2 = 0.0
    for height in layers:
        if height > top - shape.pastry.carved.highest_mm:
            wanted = section(solid, height - layer_mm / 2.0)
            lost = lost_at_edge(wanted, covered(layers[height]))
            fits = wanted.buffer(-LINE_MM / 2.0).buffer(LINE_MM / 2.0)
            wanted_mm2 += wanted.area
            lost_mm2 += lost.area
            # An opening is off by its chords.
            lost_where_a_line_fits_mm2 += lost.intersection(fits).buffer(-0.02).buffer(0.02).area
    rim = stamp_rim(shape.pastry.carved.stamp, shape.pastry.carved.field)
    assert rim_figures(rim).is_good
    assert lost_mm2 < 0.005 * wanted_mm2
    assert lost_where_a_line_fits_mm2 < 0.0005 * wanted_mm2
