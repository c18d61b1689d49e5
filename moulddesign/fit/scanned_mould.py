"""A scanned mould: its mesh levelled to the rim, scaled by one width, and read from above.

A scan has no unit, no level and no floor that one may trust: it leans as the mould lay, holes are
where the scanner saw nothing, and its surface is rough by the scanner's noise. The rim is the
highest plane of the mould; all depths are counted from it.
"""

from dataclasses import dataclass
from math import atan2, degrees, pi, sqrt
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage, sparse
from scipy.sparse.linalg import spsolve
from skimage.measure import find_contours
from skimage.restoration import denoise_bilateral

from moulddesign.core import SpecError, say
from moulddesign.fit.mesh_cavities import even_points
from moulddesign.fit.mouth_outline import Mouth, least_width, mouth_of
from moulddesign.geometry import Mesh, Points, normals_and_areas
from moulddesign.geometry.sampling import Grid, grid_over, region_mask, top_heights_mm

HeightRaster = NDArray[np.float64]
"""Values of square pixels, shape (rows, columns), row 0 at the least y."""
PixelMask = NDArray[np.bool_]

FIRST_ACROSS: Final = 400
"""Pixels along the larger side of the first look."""
ACROSS: Final = 560
"""Pixels along the larger side of the mouth: 0.1 mm in a cake of 56 mm."""
PLANE_POINTS: Final = 3000
"""Points among which the rim is looked for."""
PLANE_TRIALS: Final = 3000
"""Planes through three of them that are tried: a rim of a tenth of the view is met three times."""
FIRST_OFF: Final = 0.005
"""A point this near a plane lies on it, as a share of the scan's size; our choice."""
MOST_ABOVE: Final = 0.02
"""Share of the points that may lie above the rim: noise, a knob; our choice."""
LEAST_RIM: Final = 0.04
"""Share of the points that lie on it at the least: a bowl's top ring alone has less; our choice."""
TUKEY: Final = 4.685
"""Residuals beyond so many spreads do not count (Tukey's biweight, 95 % efficient)."""
TO_SD: Final = 1.4826
"""Standard deviation of normal errors over their median absolute deviation."""
CLEAR_NOISE: Final = 5.0
"""A hollow lies so many spreads of the rim below it."""
LEAST_LEVEL: Final = 0.002
"""Level at which the mouth is read, as a share of the greatest depth, where noise asks for less."""
LEAST_HOLLOW: Final = 0.03
"""Area of a hollow as a share of the scan seen from above; our choice."""
QUIET_MM: Final = 0.01
"""Noise below this is not smoothed: no print shows it [mm]."""
MOST_SPREAD_PX: Final = 4.0
"""Widest reach of the smoothing, as its standard deviation [px]."""
GENTLE: Final = 1.0
"""Slope up to which a place is no wall, rise over run."""
MOST_MISSING: Final = 0.25
"""Share of a hollow that may be filled in; our choice."""
MIXED: Final = (0.1, 0.9)
"""Shares of facets that face up, between which they tell nothing."""
HIDDEN_PX: Final = 7
HIDDEN_MM: Final = 0.3
"""A facet so much below all that is seen within so many pixels is hidden by an undercut [mm]."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Scan:
    """What a mould's mesh shows from above, in millimetres, the middle of the mouth at the origin.

    Axes are those of the piece: x to the right as the eater reads it, so the mould is mirrored.
    """

    depths_mm: HeightRaster
    """Depth below the rim's plane, negative above it; smoothed, holes filled."""
    inside: PixelMask
    """Pixels within the mouth."""
    grid: Grid
    mouth: Mouth
    scale: float
    """Millimetres to a unit of the mesh."""
    tilt_deg: float
    """How far the rim leant from level."""
    rim_rms_mm: float
    """Scatter of the rim about its plane: the scan's noise, or a rim that is not flat."""
    spacing_mm: float
    """Between points of a rough mesh, within which its edges are known; 0 of a smooth one."""
    missing: float
    """Share of the mouth that the scan does not show, and was filled in."""
    largest_hole_mm: float
    """Diameter of the largest hole's area."""
    smoothed_rms_mm: float
    smoothed_most_mm: float
    """What the smoothing changed, away from walls."""
    undercut_mm2: float
    """Area of wall that hides what is below it."""
    hollows: int
    """How many there are; this is the largest."""

    @property
    def volume_mm3(self) -> float:
        """What the hollow holds below the rim's plane [mm^3]."""
        around = ndimage.binary_dilation(self.inside, iterations=3)
        return float(self.depths_mm[around].clip(0.0).sum()) * self.grid.pixel_mm**2


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class _RimPlane:
    normal: Points
    offset: float
    noise: float


def scanned_mould(mesh: Mesh, *, width_mm: float, is_stamp: bool) -> Scan:
    """Return what the mesh of a scan shows from above.

    Parameters
    ----------
    mesh : Mesh
        About upright, within 45 deg; of any unit, closed or open.
    width_mm : float
        Least width of the mouth, or of the stamp at its face [mm].
    is_stamp : bool
        Whether it is the scan of a stamp, whose outline is its own; else the largest hollow that a
        rim encloses is taken.

    Raises
    ------
    SpecError
        There is no rim, no hollow in it, or too much of it is missing.

    Notes
    -----
    The rim is found as the plane with most points on it and next to none above, of many through
    three points each (RANSAC [1]_, with an even sequence in the place of chance); least squares
    with Tukey's biweight then fit it. Holes are filled by a membrane, Laplace's equation from the
    hole's edge. Noise is smoothed by a median and a bilateral filter, which keep edges.

    References
    ----------
    .. [1] M. A. Fischler, R. C. Bolles, "Random sample consensus", Communications of the ACM 24
       (1981), 381-395.
    """
    plane = _rim_plane(mesh)
    turned = _levelled(mesh, plane)
    # A second look: the first saw the rim from aslant.
    again = _rim_plane(turned)
    turned = _levelled(turned, again)
    low, high = turned.bounds[:, :2]
    grid = grid_over(low, high, float((high - low).max()) / FIRST_ACROSS)
    depths, missing = _seen(turned, grid)
    if is_stamp:
        shape, hollows = _silhouette(~missing, grid), 1
    else:
        shape, hollows = _hollow(depths, missing, grid, noise=again.noise)
    is_rough = again.noise * width_mm / least_width(shape)[0] >= QUIET_MM
    spacing = _spacing(turned)
    if is_rough:
        # An edge between two points is read at the one on the rim, half a spacing off on average.
        shape = shape.buffer(spacing / 2.0 if is_stamp else -spacing / 2.0)
    mouth = mouth_of(shape, spacing if is_rough else 0.0)
    scale = width_mm / mouth.width
    placed = Mesh(
        (turned.vertices - [*mouth.middle, 0.0]) @ _about_z(mouth.turn_rad).T * scale,
        turned.triangles,
    )
    rms_mm = again.noise * scale
    tilt = degrees(atan2(float(np.hypot(*plane.normal[:2])), float(plane.normal[2])))
    return _scan(placed, mouth, scale=scale, tilt_deg=tilt, rms_mm=rms_mm, hollows=hollows)


def _scan(
    mesh: Mesh, mouth: Mouth, *, scale: float, tilt_deg: float, rms_mm: float, hollows: int
) -> Scan:
    turned = shapely.transform(mouth.shape, lambda p: p @ _about_z(mouth.turn_rad)[:2, :2].T)
    shape = shapely.transform(turned, lambda p: p * scale)
    reach = float(np.abs(shapely.get_coordinates(shape)).max())
    pixel_mm = 2.0 * reach / ACROSS
    half = np.full(2, reach + 6.0 * pixel_mm)
    grid = grid_over(-half, half, pixel_mm)
    depths, is_missing = _seen(mesh, grid)
    inside = region_mask(shape, grid)
    around = ndimage.binary_dilation(inside, iterations=4)
    is_missing &= around
    missing = float((is_missing & inside).sum() / inside.sum())
    if missing > MOST_MISSING:
        raise SpecError("scan", f"{missing:.0%}", say("fit.scan-missing", most=MOST_MISSING))
    labels, count = ndimage.label(is_missing & inside)
    largest_px = int(np.bincount(labels.ravel())[1:].max()) if count else 0
    filled = membrane(np.where(around, depths, 0.0), is_missing)
    spacing_mm = _spacing(mesh)
    smooth = _smoothed(filled, rms_mm, spacing_mm / pixel_mm)
    gentle = np.hypot(*np.gradient(filled, pixel_mm)) < GENTLE
    change = (smooth - filled)[inside & ndimage.binary_erosion(gentle, iterations=3)]
    return Scan(
        depths_mm=smooth[:, ::-1],  # the piece lies face up, the mould lay mouth up
        inside=inside[:, ::-1],
        grid=grid,
        mouth=mouth,
        scale=scale,
        tilt_deg=tilt_deg,
        rim_rms_mm=rms_mm,
        spacing_mm=spacing_mm if rms_mm >= QUIET_MM else 0.0,
        missing=missing,
        largest_hole_mm=2.0 * sqrt(largest_px / pi) * pixel_mm,
        smoothed_rms_mm=float(np.sqrt(np.mean(change**2))) if len(change) else 0.0,
        smoothed_most_mm=float(np.abs(change).max(initial=0.0)),
        undercut_mm2=_undercut_mm2(
            mesh, ndimage.binary_erosion(inside, iterations=HIDDEN_PX), grid, depths=smooth
        ),
        hollows=hollows,
    )


def _spacing(mesh: Mesh) -> float:
    """Return how far points of a mesh are apart, by its median triangle."""
    return sqrt(2.0 * float(np.median(normals_and_areas(mesh.corners)[1])))


def _about_z(angle: float) -> Points:
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])


def _levelled(mesh: Mesh, plane: _RimPlane) -> Mesh:
    """Return a mesh turned the shortest way so that a plane becomes z = 0."""
    x, y, z = plane.normal.tolist()
    # Rodrigues' formula about the axis n x z, for unit vectors: I + K + K^2 / (1 + n . z).
    k = np.array([[0.0, 0.0, -x], [0.0, 0.0, -y], [x, y, 0.0]])
    turn = np.eye(3) + k + k @ k / (1.0 + z)
    vertices = mesh.vertices @ turn.T
    return Mesh(vertices - [0.0, 0.0, plane.offset], mesh.triangles)


def _rim_plane(mesh: Mesh) -> _RimPlane:
    """Return the highest plane of a mesh about upright; the normal points up."""
    low, high = mesh.bounds
    size = float((high - low)[:2].max())
    grid = grid_over(low[:2], high[:2], size / FIRST_ACROSS)
    heights = top_heights_mm(mesh, grid)
    seen = np.isfinite(heights)
    points = np.column_stack([grid.points_mm(seen), heights[seen]])
    points = points[:: max(len(points) // PLANE_POINTS, 1)]
    middle = points.mean(axis=0)
    points = points - middle
    first = _tried_plane(points, FIRST_OFF * size)
    normal, offset, noise = _fitted_plane(points, first, FIRST_OFF * size)
    return _RimPlane(normal=normal, offset=offset + float(normal @ middle), noise=noise)


def _tried_plane(points: Points, off: float) -> tuple[Points, float]:
    """Return the plane with most points on it and next to none above, its normal pointing up."""
    rows = (even_points(PLANE_TRIALS, 3) * len(points)).astype(int)
    a, b, c = np.moveaxis(points[rows], 1, 0)
    normals = np.cross(b - a, c - a)
    normals *= np.where(normals[:, 2:] < 0.0, -1.0, 1.0)
    lengths = np.linalg.norm(normals, axis=1)
    usable = normals[:, 2] > lengths * sqrt(0.5)  # within 45 deg
    normals = normals[usable] / lengths[usable, None]
    offsets = np.einsum("ij,ij->i", normals, a[usable])
    over = points @ normals.T - offsets
    on = np.where((over > off).mean(axis=0) <= MOST_ABOVE, (np.abs(over) <= off).mean(axis=0), 0.0)
    if not len(on) or on.max() < LEAST_RIM:
        raise SpecError("scan", "no rim", say("fit.no-rim"))
    best = int(on.argmax())
    return normals[best], float(offsets[best])


def _fitted_plane(
    points: Points, first: tuple[Points, float], off: float
) -> tuple[Points, float, float]:
    """Return normal, offset and scatter of the plane that fits the points near a first one."""
    normal, offset = first
    spread = off
    for _ in range(20):
        over = points @ normal - offset
        near = np.abs(over) < min(TUKEY * spread, off)
        spread = max(TO_SD * float(np.median(np.abs(over[near]))), 1e-6 * off)
        weight = np.where(near, (1.0 - (over / (TUKEY * spread)) ** 2).clip(0.0) ** 2, 0.0)
        middle = weight @ points / weight.sum()
        around = (points - middle) * np.sqrt(weight)[:, None]
        normal = np.linalg.eigh(around.T @ around)[1][:, 0]
        normal = normal if normal[2] > 0.0 else -normal
        offset = float(normal @ middle)
    return normal, offset, spread


def _seen(mesh: Mesh, grid: Grid) -> tuple[HeightRaster, PixelMask]:
    """Return the depth of what faces up at each pixel, and where nothing does (depth 0).

    Through a hole one sees the inside of the back, which faces away: that is a hole too.
    """
    normals, areas = normals_and_areas(mesh.corners)
    rises = normals[:, 2] > 0.0
    falls = normals[:, 2] < 0.0
    heights = [top_heights_mm(Mesh(mesh.vertices, mesh.triangles[some]), grid)
               for some in (rises, falls)]  # fmt: skip
    seen = np.isfinite(heights[0]) | np.isfinite(heights[1])
    share = float((heights[0] >= heights[1])[seen].mean())
    if MIXED[0] < share < MIXED[1] and areas[falls].sum() > 0.0:
        top = np.maximum(*heights)
    else:
        top = heights[0] if share >= MIXED[1] else heights[1]
    missing = ~np.isfinite(top)
    return np.where(missing, 0.0, -top), missing


def _hollow(
    depths: HeightRaster, missing: PixelMask, grid: Grid, *, noise: float
) -> tuple[shapely.Polygon, int]:
    """Return the mouth of the largest hollow that a rim encloses, and how many there are."""
    level = max(CLEAR_NOISE * noise, LEAST_LEVEL * float(np.quantile(depths, 0.995)))
    below = (depths > level) | missing
    labels, _ = ndimage.label(below)
    border = np.unique(np.concatenate([labels[0], labels[-1], labels[:, 0], labels[:, -1]]))
    sizes = np.bincount(labels.ravel())
    sizes[0] = 0
    sizes[border] = 0
    view_px = float(sizes.sum() + (~below).sum())
    large = np.flatnonzero(sizes > LEAST_HOLLOW * view_px)
    if not len(large):
        raise SpecError("scan", "no hollow", say("fit.no-hollow"))
    mask = ndimage.binary_fill_holes(labels == int(sizes.argmax()))
    around = ndimage.binary_dilation(mask, iterations=2)
    # Where a wall is missing the mouth is known to a pixel; else it lies between two of them.
    known = np.where(missing & mask, 2.0 * level, depths)
    solid = ndimage.binary_erosion(mask, iterations=2)
    edge = np.where(solid, 2.0 * level, np.where(around, known, 0.0))
    return _contour(edge, level, grid), len(large)


def _silhouette(seen: PixelMask, grid: Grid) -> shapely.Polygon:
    """Return the outline of all that is seen of a stamp."""
    labels, _ = ndimage.label(seen)
    sizes = np.bincount(labels.ravel())
    sizes[0] = 0
    mask = ndimage.binary_fill_holes(labels == int(sizes.argmax()))
    return _contour(mask.astype(np.float64), 0.5, grid)


def _contour(values: HeightRaster, level: float, grid: Grid) -> shapely.Polygon:
    """Return the longest contour of values at a level as a polygon."""
    lines = find_contours(values.clip(max=2.0 * level), level)
    rows, columns = max(lines, key=len).T
    points = np.column_stack([columns, rows]) + 0.5
    return shapely.Polygon(points * grid.pixel_mm + grid.low_mm).buffer(0.0)


def membrane(values: HeightRaster, missing: PixelMask) -> HeightRaster:
    """Return values with holes filled by the surface that is the mean of its neighbours."""
    if not missing.any():
        return values
    number = np.full(values.shape, -1)
    number[missing] = np.arange(int(missing.sum()))
    rows, columns = np.nonzero(missing)
    count = len(rows)
    here: list[NDArray[np.int64]] = []
    there: list[NDArray[np.int64]] = []
    degree, given = np.zeros(count), np.zeros(count)
    for row, column in ((0, 1), (1, 0), (0, -1), (-1, 0)):
        r, c = rows + row, columns + column
        inside = (r >= 0) & (r < values.shape[0]) & (c >= 0) & (c < values.shape[1])
        which = np.flatnonzero(inside)
        r, c = r[which], c[which]
        degree[which] += 1.0
        free = missing[r, c]
        here.append(which[free])
        there.append(number[r[free], c[free]])
        given[which[~free]] += values[r[~free], c[~free]]
    pairs = np.concatenate(here), np.concatenate(there)
    system = sparse.diags(degree) - sparse.csr_matrix((np.ones(len(pairs[0])), pairs), (count,) * 2)
    filled = values.copy()
    filled[missing] = spsolve(system.tocsc(), given)
    return filled


def _smoothed(depths: HeightRaster, noise_mm: float, edge_px: float) -> HeightRaster:
    """Return depths without noise, steps kept; as they are where there is next to none."""
    if noise_mm < QUIET_MM:
        return depths
    spread = min(max(edge_px, 1.5), MOST_SPREAD_PX)
    calm = ndimage.median_filter(depths, 2 * round(spread) + 1)
    low, range_mm = float(calm.min()), float(np.ptp(calm))
    made = denoise_bilateral(
        (calm - low) / range_mm,
        sigma_color=3.0 * noise_mm / range_mm,
        sigma_spatial=spread,
        win_size=2 * round(2.0 * spread) + 1,
        bins=10_000,
        mode="edge",
    )
    return np.asarray(made * range_mm + low, dtype=np.float64)


def _undercut_mm2(mesh: Mesh, inside: PixelMask, grid: Grid, *, depths: HeightRaster) -> float:
    """Return the area of facets within the mouth that lie below what is seen around them."""
    _, areas = normals_and_areas(mesh.corners)
    middles = mesh.corners.mean(axis=1)
    pixels = np.floor((middles[:, :2] - grid.low_mm) / grid.pixel_mm).astype(int)
    kept = ((pixels >= 0) & (pixels < grid.shape[::-1])).all(axis=1)
    columns, rows = pixels[kept].T
    # Beside a steep wall the deepest neighbour counts: the wall itself hides nothing.
    around = ndimage.maximum_filter(depths, HIDDEN_PX)[rows, columns] + HIDDEN_MM
    depth = -middles[kept, 2]
    hidden = (depth > around) & (depth < depths[inside].max()) & inside[rows, columns]
    return float(areas[kept][hidden].sum())
