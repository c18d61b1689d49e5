"""Cavities from meshes: every hollow of a mould, or a press mould's sleeve and stamp.

What a hollow holds is its fill volume. Its crust needs the volume that lies deeper than a
thickness: that is counted over points which fill the hollow evenly, by their distances to the wall.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import isfinite, pi
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import KDTree

from moulddesign.artwork.outline import Outline, exterior_points, outline_of_points
from moulddesign.core import FileError, LengthUnit, Message, SpecError, ml_from_mm3, say
from moulddesign.design import OwnedMould
from moulddesign.fit.cavities import (
    CavityShape,
    MeasuredCavity,
    SizedShape,
    VolumeUncertainty,
    bore_of,
)
from moulddesign.geometry import Mesh, Points, filled, hole, section_region, shadow
from moulddesign.geometry.fill_volume import Cavity, Stage, Up, find_cavities, upright
from moulddesign.geometry.mending import mended
from moulddesign.geometry.mesh_files import made_larger, read_mesh
from moulddesign.geometry.sampling import (
    Grid,
    grid_over,
    grid_over_shape,
    region_mask,
    top_heights_mm,
)
from moulddesign.geometry.topology import topology, without_collapsed
from moulddesign.verify.press_checks import closed_cavity_mm3, face_mm

MOST_SAMPLED_TRIANGLES: Final = 500_000
"""Larger meshes are made coarser first, or their many facets take seconds."""
COARSE_MM: Final = 0.2
"""Corners in one cube of this side become one: finer than a crust is ever rolled [mm]."""
MOUTH_PIXELS: Final = 20_000
"""Pixels of the smallest cavity's mouth: 0.4 mm in a cake of 60 mm."""
MOST_VIEW_PIXELS: Final = 4_000_000
"""Pixels over the whole mesh."""
RIM_TOLERANCE_MM: Final = 0.01
"""Up to this below the rim nothing is a hollow: a level rim is rough by float32 steps [mm]."""
SAME_HOLLOW_RATIO: Final = 0.05
"""A hollow seen from above is the cavity where both hold the same within this."""
FILL_POINTS: Final = 20_000
"""Points that fill a hollow: shares of its volume are known within 0.1 %."""
WALL_POINTS: Final = 100_000
"""Points of the wall: 0.3 mm apart in a cake of 60 mL, which lengthens 2 mm by 0.01 mm."""
PLASTIC_NUMBER: Final = 1.2207440846057596
"""g of g^4 = g + 1: multiples of 1 / g, 1 / g^2, 1 / g^3, each less its whole part, spread points
evenly over a cube, as multiples of the golden section do over a line."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class TopView:
    """A mesh seen from above, and the hollows of it that are some cavity's already."""

    grid: Grid
    heights_mm: Points
    """Topmost height in each pixel."""
    taken: set[tuple[float, int]]
    """Rim and label of each hollow that is some cavity's already."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class SampledShape:
    """A cavity of any shape that is open to the sky all over."""

    volume_mm3: float
    """Fill volume."""
    width_mm: float
    """Least extent across."""
    height_mm: float
    """Depth below the rim."""
    distances_mm: Points
    """Of points that fill it evenly, to wall, floor or rim plane; rising, at most half the depth.
    Shape (n,)."""

    def inset_volume_mm3(self, thickness_mm: float) -> float:
        """Return the volume that lies deeper than a thickness, at most half the depth.

        Returns
        -------
        float
            Share of the points that lie deeper, times the volume [mm^3].
        """
        # The distribution of the distances: so many points of n lie at most as deep as each.
        shallower = np.arange(len(self.distances_mm) + 1) / len(self.distances_mm)
        levels = np.concatenate([[0.0], self.distances_mm])
        return self.volume_mm3 * (1.0 - float(np.interp(thickness_mm, levels, shallower)))


def sampled_shapes(mesh: Mesh, cavities: Sequence[Cavity]) -> tuple[SampledShape | None, ...]:
    """Return the shapes of cavities, in their order.

    Returns
    -------
    tuple of SampledShape or None
        None where a cavity is wider inside than its mouth, so that it is not seen from above.
    """
    mesh = mesh if len(mesh.triangles) <= MOST_SAMPLED_TRIANGLES else _coarser(mesh)
    least = min(cavity.mouth_mm2 for cavity in cavities)
    low, high = mesh.bounds[:, :2]
    coarsest = float(np.sqrt(np.prod(high - low) / MOST_VIEW_PIXELS))
    grid = grid_over(low, high, max(float(np.sqrt(least / MOUTH_PIXELS)), coarsest))
    view = TopView(grid=grid, heights_mm=top_heights_mm(mesh, grid), taken=set())
    return tuple(_sampled_shape(mesh, cavity, view) for cavity in cavities)


def _coarser(mesh: Mesh) -> Mesh:
    """Return a mesh in which the corners of each small cube are one, in their middle."""
    cubes = ((mesh.vertices - mesh.bounds[0]) / COARSE_MM).astype(np.int64)
    _, rows, counts = np.unique(
        np.ravel_multi_index(tuple(cubes.T), tuple(cubes.max(axis=0) + 1)),
        return_inverse=True,
        return_counts=True,
    )
    sums = [np.bincount(rows, weights=along) for along in mesh.vertices.T]
    return without_collapsed(Mesh(np.column_stack(sums) / counts[:, None], rows[mesh.triangles]))


def _sampled_shape(mesh: Mesh, cavity: Cavity, view: TopView) -> SampledShape | None:
    """Return the shape of the hollow below the rim that holds what the cavity holds."""
    below = cavity.rim_mm - view.heights_mm
    depths = np.where(np.isfinite(below) & (below > RIM_TOLERANCE_MM), below, 0.0)
    labels, count = ndimage.label(depths > 0.0)
    held = ndimage.sum_labels(depths, labels, np.arange(1, count + 1)) * view.grid.pixel_mm**2
    off = np.abs(held / cavity.volume_mm3 - 1.0)
    order = [int(n) for n in np.argsort(off, kind="stable")]
    free = [
        n for n in order if (cavity.rim_mm, n) not in view.taken and off[n] <= SAME_HOLLOW_RATIO
    ]
    if not free:
        return None
    view.taken.add((cavity.rim_mm, free[0]))
    return _sampled(mesh, cavity, view.grid, depths=np.where(labels == free[0] + 1, depths, 0.0))


def _sampled(mesh: Mesh, cavity: Cavity, grid: Grid, *, depths: Points) -> SampledShape:
    points = _fill_points_mm(depths, grid, cavity)
    # Nothing is sought beyond half the depth: a crust on floor and rim leaves nothing there.
    # Points on the axis have the whole wall as near: large leaves search it four times as fast.
    half_mm = cavity.depth_mm / 2.0
    walls = KDTree(_wall_points_mm(mesh, points, cavity.rim_mm), leafsize=128)
    to_wall_mm = walls.query(points, distance_upper_bound=half_mm)[0]
    distances = np.minimum(to_wall_mm, cavity.rim_mm - points[:, 2])
    wet = depths > 0.0
    across = min(wet.any(axis=0).sum(), wet.any(axis=1).sum())
    return SampledShape(
        volume_mm3=cavity.volume_mm3,
        width_mm=float(across * grid.pixel_mm),
        height_mm=cavity.depth_mm,
        distances_mm=np.sort(distances.clip(max=half_mm)),
    )


def _fill_points_mm(depths: Points, grid: Grid, cavity: Cavity) -> Points:
    """Return points spread evenly over water of some depths, shape (n, 3) [mm]."""
    # The water stands in a box of pixels and depth; points spread over the box are kept where they
    # are above the floor. Their number is larger by the ratio of the box to the water.
    rows, columns = (np.flatnonzero(np.any(depths > 0.0, axis=axis)) for axis in (1, 0))
    low = np.array([rows[0], columns[0], 0.0])
    size = np.array([rows[-1] + 1, columns[-1] + 1, cavity.depth_mm]) - low
    held = depths.sum() / np.prod(size)
    row, column, below = (low + size * even_points(round(FILL_POINTS / held), 3)).T
    wet = below < depths[row.astype(int), column.astype(int)]
    across = np.column_stack([column, row])[wet] * grid.pixel_mm + grid.low_mm
    return np.column_stack([across, cavity.rim_mm - below[wet]])


def _wall_points_mm(mesh: Mesh, inside: Points, rim_mm: float) -> Points:
    """Return points spread evenly over the facets around points inside, up to the rim [mm].

    Facets behind the wall do no harm, for the wall is nearer.
    """
    corners = mesh.corners
    near = _boxes_meet(corners, inside.min(axis=0) - 1.0, inside.max(axis=0) + 1.0)
    a, b, c = np.moveaxis(corners[near], 1, 0)
    # Points in proportion to area: the i-th lies in the facet in which the sum of the areas passes
    # (i + 1/2) / n of the whole. In a facet, points of a square beyond its diagonal are mirrored.
    ends = np.cumsum(np.linalg.norm(np.cross(b - a, c - a), axis=1))
    facet = np.searchsorted(ends, (np.arange(WALL_POINTS) + 0.5) * ends[-1] / WALL_POINTS)
    shares = even_points(WALL_POINTS, 2)
    shares = np.where(shares.sum(axis=1, keepdims=True) > 1.0, 1.0 - shares, shares)
    points: Points = a[facet] + shares[:, :1] * (b - a)[facet] + shares[:, 1:] * (c - a)[facet]
    return points[points[:, 2] <= rim_mm]


def _boxes_meet(corners: Points, low: Points, high: Points) -> NDArray[np.bool_]:
    """Return whether the box of each facet meets a box."""
    inside = (corners.max(axis=1) >= low) & (corners.min(axis=1) <= high)
    meet: NDArray[np.bool_] = inside.all(axis=1)
    return meet


def even_points(count: int, dimensions: int) -> Points:
    """Return points spread evenly over the unit square or cube, the same every time."""
    steps = PLASTIC_NUMBER ** -np.arange(1.0, dimensions + 1.0)
    points: Points = np.outer(np.arange(count) + 0.5, steps) % 1.0
    return points


def press_volume_mm3(sleeve: Mesh, stamp: Mesh, *, height_mm: float) -> float:
    """Return what a press mould holds with its stamp's flat face at a height over the table.

    Parameters
    ----------
    sleeve : Mesh
        Either end up, its bore along z [mm].
    stamp : Mesh
        Relief up, turned about z as it enters the sleeve [mm].
    height_mm : float
        From the table to the stamp's flat face, or, where a carved one has no level at all, to
        the highest point of the piece [mm].

    Returns
    -------
    float
        Closed cavity between table, bore and stamp, relief counted [mm^3].

    Raises
    ------
    SpecError
        The stamp does not enter the sleeve, or the height is not inside the sleeve.
    KernelError
        A mesh is not closed.
    """
    standing = _narrow_end_down(sleeve)
    bore = hole(shadow(standing, say("fit.bore")))
    if not 0.0 < height_mm < standing.bounds[1, 2]:
        raise SpecError("height_mm", height_mm, say("fit.height-outside-sleeve"))
    placed = _placed_stamp(stamp.turned_over(), bore, height_mm)
    if not bore.contains(filled(shadow(placed, say("fit.stamp")))):
        raise SpecError("stamp", "mesh", say("fit.stamp-too-wide"))
    return closed_cavity_mm3(standing, placed)


def _narrow_end_down(sleeve: Mesh) -> Mesh:
    """Return the sleeve on z = 0 with the end down that has no lead-in."""
    ends = [mesh.moved((0.0, 0.0, -mesh.bounds[0, 2])) for mesh in (sleeve, sleeve.turned_over())]
    areas = [hole(section_region(end, 0.05, say("fit.end-of-bore"))).area for end in ends]
    if max(areas) == 0.0:
        raise SpecError("sleeve", "mesh", say("fit.bore-closed-at-end"))
    return min(zip(areas, ends, strict=True), key=lambda pair: (pair[0] == 0.0, pair[0]))[1]


def _placed_stamp(stamp: Mesh, bore: shapely.Polygon, height_mm: float) -> Mesh:
    plan = shadow(stamp, say("fit.stamp")).centroid
    x, y = bore.centroid.x - plan.x, bore.centroid.y - plan.y
    return stamp.moved((x, y, height_mm - _plane_mm(stamp)))


def _plane_mm(stamp: Mesh) -> float:
    """Return the z of a stamp's flat face, relief down, or of its deepest engraving."""
    flat_mm = face_mm(stamp)
    return flat_mm if isfinite(flat_mm) else _deepest_mm(stamp)


def _deepest_mm(stamp: Mesh) -> float:
    """Return the z of a stamp's deepest engraving, relief down, to a pixel."""
    relief_up = stamp.turned_over()
    # Beside its land a stamp is stepped back.
    inside = filled(shadow(relief_up, say("fit.stamp"))).buffer(-EDGE_MM)
    grid = grid_over_shape(inside, PIXEL_MM)
    seen = top_heights_mm(relief_up, grid)
    return -float(seen[region_mask(inside, grid) & np.isfinite(seen)].min())


def _height_notes(stamp: Mesh) -> tuple[Message, ...]:
    """Return which height of an embossed or carved piece is meant, the stamp relief down."""
    plane_mm, deepest_mm = _plane_mm(stamp), _deepest_mm(stamp)
    if deepest_mm - plane_mm > LEVEL_MM:
        return (say("fit.height-to-level", above_mm=deepest_mm - plane_mm),)
    is_flat = plane_mm - float(stamp.bounds[0, 2]) <= LEVEL_MM
    return () if is_flat else (say("fit.height-to-highest"),)


PASTRY_ML: Final = (3.0, 1500.0)
"""Volumes between which a pastry lies; our choice [mL]."""
SHORTEST_MOULD_MM: Final = 10.0
"""A mould is longer; our choice [mm]."""
MOST_TURNED_TRIANGLES: Final = 200_000
"""Up to so many, the other ways up are looked at too where a mesh holds nothing."""
LEVEL_MM: Final = 0.05
"""Differences of height that a print does not show: half a thin layer; our choice [mm]."""
PIXEL_MM: Final = 0.1
"""Pixel on which the deepest engraving of a stamp is found: a quarter of a printed line [mm]."""
EDGE_MM: Final = 1.5
"""Beside the edge a stamp is stepped back above its land; our choice [mm]."""
ON_SIDE_MM: Final = 0.01
"""A corner this near the edge of a stamp's shadow lies on its side [mm]."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class MeasuredMould:
    """What meshes hold, and remarks about them."""

    cavities: tuple[MeasuredCavity, ...]
    """The largest first."""
    notes: tuple[Message, ...]
    """What was mended, and what is odd about the size."""
    bore_length_mm: float | None = None
    """Of a press mould: height of the sleeve."""
    guide_mm: float | None = None
    """Of a press mould: height of the stamp's side."""


def cavities_from_mesh(mould: OwnedMould, stage: Stage) -> MeasuredMould:
    """Return every cavity that opens upward in a mesh.

    Raises
    ------
    FileError
        The file cannot be read, or its mesh bounds no solid and is not to be mended.
    SpecError
        It holds nothing that way up, or cannot be mended.
    """
    up = way_up(mould.up)
    mesh, notes = _read_mesh(mould, mould.mesh, stage)
    found = _poured(str(mould.mesh), mesh, up, stage=stage)
    stage("crust")
    shapes = sampled_shapes(upright(mesh, up), found)
    cavities = tuple(
        MeasuredCavity(
            volume_mm3=cavity.volume_mm3,
            uncertainties=_print_uncertainty(mould, cavity.volume_mm3, shape),
            shape=shape,
            relief_depth_mm=mould.rise_mm,
            remarks=()
            if shape is not None
            else (say("fit.wider-than-mouth", volume_ml=ml_from_mm3(cavity.volume_mm3)),),
        )
        for cavity, shape in zip(found, shapes, strict=True)
    )
    return MeasuredMould(cavities=cavities, notes=(*notes, *_size_notes(cavities, mould.unit)))


def cavity_from_press_meshes(mould: OwnedMould, stage: Stage) -> MeasuredMould:
    """Return what a press mould's sleeve and stamp hold at a height.

    Raises
    ------
    FileError
        A file cannot be read, or its mesh bounds no solid and is not to be mended.
    SpecError
        The stamp does not enter the sleeve, or the height is not inside it.
    """
    up = way_up(mould.up)
    sleeve, notes = _read_mesh(mould, mould.mesh, stage)
    stamp, more_notes = _read_mesh(mould, mould.stamp, stage)
    stage("cavities")
    sleeve, stamp = upright(sleeve, up), upright(stamp, up)
    outline = _bore_outline(sleeve)
    length_mm, side_mm = float(sleeve.size_mm[2]), _side_mm(stamp)
    guide_mm = side_mm if mould.guide_mm is None else mould.guide_mm
    most_mm = length_mm - guide_mm if mould.most_height_mm is None else mould.most_height_mm
    height_mm = most_mm if mould.height_mm is None else mould.height_mm
    volume_mm3 = _pressed_mm3(mould, sleeve, stamp, height_mm=height_mm)
    shape = SizedShape(outline=outline, height_mm=height_mm)
    cavity = MeasuredCavity(
        volume_mm3=volume_mm3,
        uncertainties=_print_uncertainty(mould, volume_mm3, shape),
        shape=shape,
        relief_depth_mm=mould.rise_mm,
        bore=bore_of(outline, volume_mm3, height_mm=height_mm),
    )
    return MeasuredMould(
        cavities=(cavity,),
        notes=(
            *notes,
            *more_notes,
            *_height_notes(stamp.turned_over()),
            *_size_notes((cavity,), mould.unit),
        ),
        bore_length_mm=length_mm,
        guide_mm=guide_mm,
    )


SKIN_MM: Final = 1.0
"""Thickness of a skin that shows how large a cavity's walls are: the points by which a sampled
shape knows its walls lie a fraction of that apart [mm]."""


def _print_uncertainty(
    mould: OwnedMould, volume_mm3: float, shape: CavityShape | None
) -> tuple[VolumeUncertainty, ...]:
    """Return what walls that were printed off their mesh make of the volume.

    All walls are off alike, as by lines that come out too wide: the error is that of their area.
    The rim's plane counts as a wall, for its height is printed, too.
    """
    if mould.print_error_mm == 0.0:
        return ()
    if shape is None:  # no cavity of the volume has less wall than half a ball
        walls_mm2 = 2.0 * pi * (1.5 * volume_mm3 / pi) ** (2.0 / 3.0)
    else:
        # The area is how fast the volume inside a skin falls with its thickness t, at t = 0:
        # (3 V(0) - 4 V(t) + V(2 t)) / 2 t, exact where V is a parabola in t.
        skin_mm = min(SKIN_MM, shape.height_mm / 8.0)
        whole, once, twice = (shape.inset_volume_mm3(n * skin_mm) for n in (0, 1, 2))
        walls_mm2 = (3.0 * whole - 4.0 * once + twice) / (2.0 * skin_mm)
    return (VolumeUncertainty(name="print", volume_mm3=walls_mm2 * mould.print_error_mm),)


def way_up(up: str) -> Up:
    """Return which way is up, as it is typed; else `SpecError`."""
    try:
        return Up(up)
    except ValueError as error:
        raise SpecError("up", up, say("fit.way-up-unknown", choices=tuple(Up))) from error


def _read_mesh(
    mould: OwnedMould, path: str | None, stage: Stage
) -> tuple[Mesh, tuple[Message, ...]]:
    """Return a mesh, mended where that is asked for, and what was done to it."""
    stage("reading")
    name = str(path)
    mesh = read_mesh(name, mould.unit)
    notes: tuple[Message, ...] = ()
    larger = made_larger(name)
    if larger != 1.0:
        mesh = mesh.scaled(1.0 / larger)
        notes = (say("fit.made-larger", name=name, larger=larger - 1.0),)
    if mould.mend:
        stage("mending")
        mesh, done = mended(mesh)
        if not done:
            return mesh, (*notes, say("fit.mended-nothing", name=name))
        return mesh, (*notes, say("fit.mended", name=name, done=tuple(done)))
    return mesh, notes


def _poured(path: str, mesh: Mesh, up: Up, *, stage: Stage) -> tuple[Cavity, ...]:
    try:
        found = find_cavities(mesh, up, stage=stage)
    except SpecError as error:  # it bounds no solid
        raise FileError(path, say("fit.mend-by-option", need=error.need)) from error
    if not found:
        raise SpecError("up", up.value, _holds_nothing(mesh, up))
    return found


def _pressed_mm3(mould: OwnedMould, sleeve: Mesh, stamp: Mesh, *, height_mm: float) -> float:
    for path, mesh in ((mould.mesh, sleeve), (mould.stamp, stamp)):
        if not topology(mesh).solid or mesh.volume_mm3 <= 0.0:
            raise FileError(str(path), say("fit.no-solid"))
    return press_volume_mm3(sleeve, stamp, height_mm=height_mm)


def _holds_nothing(mesh: Mesh, up: Up) -> Message:
    """Return what to try with a mesh that holds nothing with that way up."""
    longest_mm = float(mesh.size_mm.max())
    if longest_mm < SHORTEST_MOULD_MM:
        return say("fit.holds-nothing-small", longest_mm=longest_mm)
    if len(mesh.triangles) > MOST_TURNED_TRIANGLES:
        return say("fit.holds-nothing-turn-it")
    others = tuple(other.value for other in Up if other is not up and find_cavities(mesh, other))
    return say("fit.holds-nothing-but", others=others) if others else say("fit.holds-nothing")


def _size_notes(cavities: Sequence[MeasuredCavity], unit: LengthUnit | None) -> tuple[Message, ...]:
    """Return a sentence where no pastry has such a size, and the unit in which one has."""
    least_ml, most_ml = PASTRY_ML
    largest_ml = ml_from_mm3(max(cavity.volume_mm3 for cavity in cavities))
    if least_ml <= largest_ml <= most_ml:
        return ()
    vented = (say("fit.vent-lets-it-run"),) if largest_ml < least_ml else ()
    now = LengthUnit.MM if unit is None else unit
    others = {other: largest_ml * (other.in_mm / now.in_mm) ** 3 for other in LengthUnit}
    fitting = tuple(
        say("fit.unit-makes", unit=other.value, volume_ml=volume_ml)
        for other, volume_ml in others.items()
        if least_ml <= volume_ml <= most_ml
    )
    if not fitting:
        return (say("fit.no-pastry-size", volume_ml=largest_ml), *vented)
    return (say("fit.no-pastry-size-but", volume_ml=largest_ml, others=fitting), *vented)


def _bore_outline(sleeve: Mesh) -> Outline:
    """Return what one sees through the sleeve, centred."""
    bore = hole(shadow(sleeve, say("fit.bore")))
    if bore.is_empty:
        raise SpecError("mesh", "the sleeve", say("fit.bore-closed"))
    points = exterior_points(bore) - shapely.get_coordinates(bore.centroid)
    return replace(outline_of_points("drawn", points), name="bore")


def _side_mm(stamp: Mesh) -> float:
    """Return the height over which the stamp's side lies along the bore [mm]."""
    edge = filled(shadow(stamp, say("fit.stamp"))).boundary
    shapely.prepare(edge)
    on_side = shapely.dwithin(edge, shapely.points(stamp.vertices[:, :2]), ON_SIDE_MM)
    return float(np.ptp(stamp.vertices[on_side, 2]))
