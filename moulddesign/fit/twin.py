"""The twin of an old mould: its face as height maps, and the design of the piece that it pressed.

What a scan or photos show is parted into side, shoulder and face. Outline, side and shoulder are
keys of the design; the face is a height map over its plane, and a second one for what is sunk.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import atan, cos, degrees, hypot, pi, sqrt
from pathlib import Path
from typing import Any, Final

import numpy as np
import shapely
from scipy import ndimage

from moulddesign.artwork.outline import Outline, outline_of_width
from moulddesign.core import Message, SpecError, ml_from_mm3, say
from moulddesign.design import Design, PastryTable, Tool
from moulddesign.fit.cavities import MeasuredCavity
from moulddesign.fit.lit_photos import LitRelief, Marks, lit_relief
from moulddesign.fit.scanned_mould import TO_SD, HeightRaster, PixelMask, Scan, scanned_mould
from moulddesign.geometry import Mesh
from moulddesign.geometry.sampling import Grid, grid_over_shape, region_mask
from moulddesign.portion import finished_filling_g
from moulddesign.relief.height_map import height_png
from moulddesign.render.scenes import height_picture, png_bytes

WALL_SLOPE: Final = 1.0
"""A side is steeper, rise over run: at 45 deg a shoulder ends by its definition."""
LEAST_SIDE_MM: Final = 3.0
"""Lowest side of a piece that is made; our choice [mm]."""
LEAST_LEAN_DEG: Final = 0.5
"""A side that leans less is upright: a pixel on its height [deg]."""
RING_MM: Final = (0.3, 1.8)
"""Distances from the side between which the plane of the face is read [mm]."""
EDGE_MM: Final = 0.4
"""What is left out beside side or shoulder, where a scan is rounded [mm]."""
FADE_MM: Final = 0.6
"""Over so much the face begins [mm]."""
LEAST_RELIEF_MM: Final = 0.15
"""Relief below it is none: it does not print [mm]."""
LEAST_UNDERCUT_MM2: Final = 5.0
"""Less is a vent or a facet that is known by its middle alone [mm^2]."""
MOST_RELIEF_MM: Final = 8.0
"""Highest relief that a face takes [mm]."""
SHOULDER_DROP: Final = 1.0 - cos(pi / 4.0)
"""What a shoulder falls from the flat top to 45 deg, in radii."""
PHOTO_PIXELS: Final = 480
"""Pixels along the larger side of what is worked on."""
PHOTO_EDGE_RATIO: Final = 0.03
"""Rim of a photo's face that is left out, where the wall throws its shadow, as a share of its
width; our choice."""
TOP_SHARE: Final = 0.998
"""The measured depth is that of the pixel that so many are below."""
OUTLINE_VALUES: Final = frozenset(
    {"outline", "width_mm", "corner_radius_mm", "lobes", "lobe_depth_mm"}
)
"""Keys of `[pastry]` that shape the mouth in photos."""
MOST_SCALED: Final = 3.0
"""The photos' own depth is the measured one within this factor, or something is wrong: in
renderings it is 0.75 to 1.25 of it."""
PHOTO_SD_RATIO: Final = 0.1
"""Standard uncertainty of the mean height of a relief from photos, as a share of its depth: 0.02 in
renderings of matt surfaces, 0.07 of glossy ones."""
FINER: Final = 2
"""Samples along each side of the picture's pixels, as `height_picture` takes them."""
PICTURE_MM: Final = 3.0
"""Board around the piece in the picture [mm]."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Twin:
    """A design and the files that lie beside it."""

    design: Design
    files: Mapping[str, bytes]
    """Height maps, drawn outline and picture, by the names that the design has."""
    volume_mm3: float
    """Of the piece, as the sources show it, or as the water does."""
    volume_sd_mm3: float
    height_mm: float
    """Table to the plane of the face."""
    lean_deg: float
    raised_mm: float
    sunk_mm: float
    source: Scan | LitRelief
    says: tuple[Message, ...]

    def report(self) -> dict[str, Any]:
        """Return it as plain values."""
        source = self.source
        if isinstance(source, Scan):
            residuals = {
                "scale": source.scale,
                "tilt_deg": source.tilt_deg,
                "rim_rms_mm": source.rim_rms_mm,
                "missing_ratio": source.missing,
                "largest_hole_mm": source.largest_hole_mm,
                "smoothed_rms_mm": source.smoothed_rms_mm,
                "smoothed_most_mm": source.smoothed_most_mm,
                "undercut_mm2": source.undercut_mm2,
            }
        else:
            residuals = {
                "unexplained_ratio": source.unexplained,
                "shaded_ratio": source.shaded,
                "clipped_ratio": source.clipped,
            }
        pastry = self.design.pastry
        return {
            "outline": pastry.outline,
            "width_mm": pastry.width_mm,
            "height_mm": self.height_mm,
            "side_draft_deg": self.lean_deg,
            "raised_mm": self.raised_mm,
            "sunk_mm": self.sunk_mm,
            "volume_ml": ml_from_mm3(self.volume_mm3),
            "volume_ml_sd": ml_from_mm3(self.volume_sd_mm3),
            "finished_g": self.design.portion.finished_weight_g,
            "residuals": residuals,
            "says": list(self.says),
        }


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _Face:
    """The face of the piece over its plane, and what lies around it."""

    heights: HeightRaster
    grid: Grid
    height_mm: float
    lean_deg: float = 0.0
    shoulder_mm: float = 0.0


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class KnownOfMould:
    """What is known of an old mould besides its mesh or photos."""

    name: str
    """Of the design; its files begin with it."""
    design: Design
    """Doughs, ratio and printer."""
    width_mm: float
    """Least width of the mouth, or of a stamp at its face."""
    height_mm: float | None
    """Table to the flat top of the piece; None where the mesh has walls, or water tells it."""
    water: MeasuredCavity | None
    """What it holds by weighed water, which counts instead of what its sizes say."""
    tool: Tool
    """What the lengths were read off."""


def twin_of_scan(mesh: Mesh, known: KnownOfMould) -> Twin:
    """Return the twin of a mould whose mesh was scanned.

    Parameters
    ----------
    mesh : Mesh
        The mouth up, within 45 deg; of any unit.
    known : KnownOfMould
        With a height where it is the mesh of a stamp, which has no walls.

    Raises
    ------
    SpecError
        There is no rim, no hollow, no side or no relief in the mesh.
    """
    is_stamp = known.height_mm is not None
    scan = scanned_mould(mesh, width_mm=known.width_mm, is_stamp=is_stamp)
    values = dict(scan.mouth.values(scan.scale))
    if known.height_mm is None:
        face = _cavity_face(scan)
        parts = (
            3.0 * _width_sd_mm(scan, known.tool) / known.width_mm * scan.volume_mm3,
            float(scan.inside.sum()) * scan.grid.pixel_mm**2 * scan.rim_rms_mm,
        )
        volume = scan.volume_mm3, hypot(*parts)
    else:
        face = _stamp_face(scan, known.height_mm)
        values["width_mm"] = round(values["width_mm"] + 2.0 * known.design.stamp_inset_mm, 2)
        volume = _prism(_outline(values, scan), face, known, scan.rim_rms_mm)
    says = _scan_says(scan, face, is_stamp=is_stamp)
    return _twin(known, values, face, volume=volume, source=scan, says=says)


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class LampPhotos:
    """Photos from one place, the lamp on another side each time; see `lit_relief`."""

    paths: Sequence[Path]
    azimuths_deg: Sequence[float]
    lamp_deg: float
    marks: Marks | None
    depth_mm: float
    """From the flat of the face to the deepest place of the engraving."""
    is_impression: bool
    """Whether the relief in them stands out, as on dough or clay pressed into the mould."""


def twin_of_photos(photos: LampPhotos, pastry: PastryTable, known: KnownOfMould) -> Twin:
    """Return the twin of a mould, or of what was pressed in it, of which photos were taken.

    Parameters
    ----------
    photos : LampPhotos
        The photos.
    pastry : PastryTable
        Outline of the mouth, at the known width.
    known : KnownOfMould
        With a height or with water.

    Raises
    ------
    SpecError
        Neither height nor water is given, or the photos do not tell slopes, or others than the
        measured depth.
    FileError
        A photo cannot be read, or does not go with the others.
    """
    outline = outline_of_width(pastry, known.width_mm)
    larger_mm = max(outline.width_mm, outline.depth_mm)
    grid = grid_over_shape(outline.shape, larger_mm / PHOTO_PIXELS)
    lit = lit_relief(
        photos.paths,
        photos.azimuths_deg,
        lamp_deg=photos.lamp_deg,
        width_mm=known.width_mm,
        marks=photos.marks,
        grid=grid,
    )
    seen = lit.heights if photos.is_impression else -lit.heights[:, ::-1]
    heights, read_mm = _photo_heights(seen, outline, grid, photos.depth_mm)
    relief_mm3 = float(heights.sum()) * grid.pixel_mm**2
    height_mm, water = known.height_mm, known.water
    if height_mm is None:
        if water is None:
            raise SpecError("height", "not given", say("fit.height-or-water"))
        height_mm = (water.volume_mm3 - relief_mm3) / outline.area_mm2
        if height_mm < LEAST_SIDE_MM:
            raise SpecError("water", "too little", say("fit.no-wall", least_mm=LEAST_SIDE_MM))
    face = _Face(heights=heights, grid=grid, height_mm=height_mm)
    says = (
        say("fit.twin-light", unexplained=lit.unexplained, shaded=lit.shaded, clipped=lit.clipped),
        say("fit.twin-depth", read_mm=read_mm, depth_mm=photos.depth_mm),
        say("fit.twin-photo-limits"),
    )
    values = {key: value for key, value in pastry.plain().items() if key in OUTLINE_VALUES}
    volume = _prism(outline, face, known, PHOTO_SD_RATIO * photos.depth_mm)
    return _twin(known, values, face, volume=volume, source=lit, says=says)


def _width_sd_mm(scan: Scan, tool: Tool) -> float:
    """Return how well the width is known: as it was read, and on both sides in the scan."""
    return hypot(tool.sd_mm, 2.0 * scan.spacing_mm / sqrt(12.0))


def _outline(values: Mapping[str, Any], scan: Scan) -> Outline | shapely.Polygon:
    if values["outline"] == "drawn":
        return _mirrored(scan)
    return outline_of_width(PastryTable.of(values), values["width_mm"])


def _mirrored(scan: Scan) -> shapely.Polygon:
    """Return the piece's drawn outline [mm]."""
    made: shapely.Polygon = shapely.transform(scan.mouth.shape, lambda p: p * (-1, 1) * scan.scale)
    return made


def _prism(
    outline: Outline | shapely.Polygon, face: _Face, known: KnownOfMould, rough_mm: float
) -> tuple[float, float]:
    """Return volume and standard uncertainty of an upright piece with a face [mm^3]."""
    area = float(outline.area_mm2 if isinstance(outline, Outline) else outline.area)
    volume = area * face.height_mm + float(face.heights.sum()) * face.grid.pixel_mm**2
    reading_mm = known.tool.sd_mm
    parts = (2.0 * reading_mm / known.width_mm * volume, reading_mm * area, rough_mm * area)
    return volume, hypot(*parts)


def _cavity_face(scan: Scan) -> _Face:
    """Return side, shoulder and face of a mould that has walls."""
    pixel_mm = scan.grid.pixel_mm
    from_edge = ndimage.distance_transform_edt(scan.inside) * pixel_mm
    rings = np.where(scan.inside, (from_edge / pixel_mm).astype(int), 0)
    count = int(rings.max() * 0.6)
    level = ndimage.median(scan.depths_mm, rings, np.arange(1, count + 1))
    at = ndimage.mean(from_edge, rings, np.arange(1, count + 1))
    slope = ndimage.uniform_filter1d(np.gradient(level, pixel_mm), 3, mode="nearest")
    gentle = np.flatnonzero(ndimage.minimum_filter1d((slope < WALL_SLOPE).astype(int), 3))
    end = int(gentle[0]) if len(gentle) else count - 1
    depth = float(level[end])
    if depth < LEAST_SIDE_MM:
        raise SpecError("scan", f"{depth:.1f} mm", say("fit.no-wall", least_mm=LEAST_SIDE_MM))
    # Read where neither the worn rim nor the shoulder counts.
    low, high = (float(np.interp(s * depth, level[: end + 1], at[: end + 1])) for s in (0.2, 0.8))
    lean = degrees(atan((high - low) / (0.6 * depth)))
    inner = float(at[end])
    ring = (from_edge > inner + RING_MM[0]) & (from_edge < inner + RING_MM[1])
    plane = float(np.median(scan.depths_mm[ring]))
    drop = plane - depth
    shoulder = drop / SHOULDER_DROP if drop > max(LEAST_RELIEF_MM, 3.0 * scan.rim_rms_mm) else 0.0
    start = inner + shoulder * cos(pi / 4.0) + EDGE_MM
    heights = _begun(scan.depths_mm - plane, from_edge - start, scan.rim_rms_mm)
    return _Face(
        heights=heights,
        grid=scan.grid,
        height_mm=plane,
        lean_deg=lean if lean >= LEAST_LEAN_DEG else 0.0,
        shoulder_mm=shoulder,
    )


def _stamp_face(scan: Scan, height_mm: float) -> _Face:
    from_edge = ndimage.distance_transform_edt(scan.inside) * scan.grid.pixel_mm
    heights = _begun(scan.depths_mm, from_edge - EDGE_MM, scan.rim_rms_mm)
    return _Face(heights=heights, grid=scan.grid, height_mm=height_mm)


def _begun(heights: HeightRaster, from_start: HeightRaster, rough_mm: float) -> HeightRaster:
    """Return heights that begin softly at an edge, roughness about the plane left out."""
    begun = heights * (from_start / FADE_MM).clip(0.0, 1.0)
    if rough_mm == 0.0:
        return np.asarray(begun, dtype=np.float64)
    kept = ((np.abs(begun) - rough_mm) / (2.0 * rough_mm)).clip(0.0, 1.0)
    return np.asarray(begun * kept, dtype=np.float64)


def _photo_heights(
    seen: HeightRaster, outline: Outline, grid: Grid, depth_mm: float
) -> tuple[HeightRaster, float]:
    """Return the face that photos show, as high as was measured, and how high the photos say."""
    inside = region_mask(outline.shape, grid)
    from_edge = ndimage.distance_transform_edt(inside) * grid.pixel_mm
    start = PHOTO_EDGE_RATIO * outline.width_mm
    known = from_edge > start
    level = seen - _slow_curve(seen, known, grid)
    high = float(np.quantile(level[known], TOP_SHARE))
    if not 1.0 / MOST_SCALED <= high / depth_mm <= MOST_SCALED:
        need = say("fit.depth-unlike", read_mm=max(high, 0.0))
        raise SpecError("depth", depth_mm, need)
    heights = _begun(level * depth_mm / high, from_edge - start, 0.0)
    return heights.clip(-depth_mm, depth_mm), high


def _slow_curve(heights: HeightRaster, known: PixelMask, grid: Grid) -> HeightRaster:
    """Return the paraboloid that fits the flat of a face, relief left out by Tukey's biweight."""
    x, y = np.meshgrid(*grid.centres_mm)
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1)
    some, wanted = terms[known][::7], heights[known][::7]
    weight = np.ones(len(wanted))
    made = np.zeros(6)
    for _ in range(12):
        root = np.sqrt(weight)
        made = np.linalg.lstsq(some * root[:, None], wanted * root, rcond=None)[0]
        off = wanted - some @ made
        spread = TO_SD * float(np.median(np.abs(off))) + 1e-12
        # Narrower than for normal errors: relief is no error, and lies on one side.
        weight = (1.0 - (off / (2.0 * spread)) ** 2).clip(0.0) ** 2
    return np.asarray(terms @ made, dtype=np.float64)


def _twin(
    known: KnownOfMould,
    values: Mapping[str, Any],
    face: _Face,
    *,
    volume: tuple[float, float],
    source: Scan | LitRelief,
    says: tuple[Message, ...],
) -> Twin:
    """Return design and files of a piece of which all is known."""
    design, name, water = known.design, known.name, known.water
    files: dict[str, bytes] = {}
    pastry = dict(values)
    if isinstance(source, Scan) and pastry["outline"] == "drawn":
        pastry["outline"] = f"{name}-outline.svg"
        files[pastry["outline"]] = _drawn(source)
    if face.shoulder_mm:
        pastry["shoulder_radius_mm"] = round(face.shoulder_mm, 2)
    carvings, maps, depths = _carvings(face, name)
    files |= maps
    held, sd = volume
    if water is not None:
        water_ml, over = ml_from_mm3(water.volume_mm3), water.volume_mm3 / held - 1.0
        said = say("fit.twin-water", held_ml=ml_from_mm3(held), over=over, water_ml=water_ml)
        says = (*says, said)
        held, sd = water.volume_mm3, water.volume_sd_mm3
    portion = design.portion
    finished_g = finished_filling_g(portion, ml_from_mm3(held))
    mould: dict[str, Any] = {"kind": "press"}
    if face.lean_deg:
        mould = {"kind": "block", "side_draft_deg": round(face.lean_deg, 1)}
    made = design.with_values(
        {
            "name": name,
            "portion.finished_weight_g": round(finished_g, 2),
            "pastry": pastry,
            "relief.layers": [],
            "face": {"carvings": carvings},
            "further_stamps": [],
            "mould": mould,
        }
    )
    files[f"{name}-view.png"] = _picture(face, source, made)
    return Twin(
        design=made, files=files, volume_mm3=held, volume_sd_mm3=sd, height_mm=face.height_mm,
        lean_deg=face.lean_deg, raised_mm=depths[0], sunk_mm=depths[1], source=source, says=says,
    )  # fmt: skip


def _carvings(face: _Face, name: str) -> tuple[list[dict[str, Any]], dict[str, bytes], list[float]]:
    """Return the tables of a face's height maps, their files, and how high and deep they are."""
    carvings: list[dict[str, Any]] = []
    maps: dict[str, bytes] = {}
    depths: list[float] = []
    for sign, part, meets in ((1.0, "raised", "over"), (-1.0, "sunk", "into")):
        heights = (sign * face.heights).clip(0.0)
        high_mm = float(heights.max())
        depths.append(high_mm if high_mm >= LEAST_RELIEF_MM else 0.0)
        if high_mm < LEAST_RELIEF_MM:
            continue
        if high_mm > MOST_RELIEF_MM:
            need = say("fit.twin-too-deep", most_mm=MOST_RELIEF_MM)
            raise SpecError("relief", f"{high_mm:.1f} mm", need)
        file = f"{name}-{part}.png"
        maps[file] = height_png(heights, face.grid.pixel_mm)
        size_mm = round(max(face.grid.shape) * face.grid.pixel_mm, 3)
        carvings.append(
            {"file": file, "depth_mm": round(high_mm, 3), "meets": meets, "size_mm": size_mm}
        )
    if not carvings:
        raise SpecError("relief", "level", say("fit.twin-level", least_mm=LEAST_RELIEF_MM))
    return carvings, maps, depths


def _picture(face: _Face, source: Scan | LitRelief, design: Design) -> bytes:
    """Return the piece from above, baked, as our renderer draws it."""
    if isinstance(source, Scan):
        inside = source.inside
    else:
        width_mm = design.pastry.width_mm
        assert width_mm is not None  # noqa: S101 (it was set)
        inside = region_mask(outline_of_width(design.pastry, width_mm).shape, face.grid)
    margin = round(PICTURE_MM / face.grid.pixel_mm)
    side = max(inside.shape) + 2 * margin
    side += side % FINER
    rows, columns = inside.shape
    shown = np.zeros((side, side), dtype=np.float32)
    top, left = (side - rows) // 2, (side - columns) // 2
    solid = np.where(inside, (face.height_mm + face.heights).clip(0.1), 0.0)
    shown[top : top + rows, left : left + columns] = solid
    return png_bytes(height_picture(shown, FINER * face.grid.pixel_mm))


def _drawn(scan: Scan) -> bytes:
    """Return the piece's outline as a drawing."""
    points = shapely.get_coordinates(_mirrored(scan).exterior)
    reach = float(np.abs(points).max())
    way = "L".join(f"{x:.3f} {-y:.3f}" for x, y in points[:-1])
    box = f"{-reach:.3f} {-reach:.3f} {2 * reach:.3f} {2 * reach:.3f}"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="{box}"><path d="M{way}Z"/></svg>\n'
    ).encode()


def _scan_says(scan: Scan, face: _Face, *, is_stamp: bool) -> tuple[Message, ...]:
    """Return what was done to a scan, in the order in which it was done."""
    said = [
        say("fit.twin-levelled", tilt_deg=scan.tilt_deg, rms_mm=scan.rim_rms_mm),
        say("fit.twin-scaled", scale=scan.scale),
    ]
    if scan.hollows > 1:
        said.append(say("fit.twin-of-many", count=scan.hollows))
    if scan.missing > 0.0:
        said.append(say("fit.twin-filled", missing=scan.missing, largest_mm=scan.largest_hole_mm))
    if scan.smoothed_most_mm > 0.0:
        said.append(
            say("fit.twin-smoothed", rms_mm=scan.smoothed_rms_mm, most_mm=scan.smoothed_most_mm)
        )
    else:
        said.append(say("fit.twin-not-smoothed"))
    if scan.undercut_mm2 >= LEAST_UNDERCUT_MM2:
        said.append(say("fit.twin-undercut", area_mm2=scan.undercut_mm2))
    if is_stamp:
        said.append(say("fit.twin-no-walls", height_mm=face.height_mm))
    else:
        said.append(
            say(
                "fit.twin-side",
                height_mm=face.height_mm,
                lean_deg=face.lean_deg,
                shoulder_mm=face.shoulder_mm,
            )
        )
    said.append(say("fit.twin-scan-limits"))
    return tuple(said)
