"""Cavities from meshes: every hollow of a mould, or a press mould's sleeve and stamp."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import KDTree

from moulddesign.artwork.outline import Outline, exterior_points, outline_of_points
from moulddesign.core import FileError, LengthUnit, SpecError, ml_from_mm3
from moulddesign.design import OwnedMould
from moulddesign.fit.cavities import Bore, Cup, Measured
from moulddesign.geometry import Mesh, Points, filled, hole, section_region, shadow
from moulddesign.geometry.fill_volume import Cavity, Up, pour_cavities, upright
from moulddesign.geometry.mesh_files import read_mesh
from moulddesign.geometry.raster import Grid, grid_over, top_heights_mm
from moulddesign.geometry.topology import mended, topology, without_collapsed
from moulddesign.verify.press_checks import closed_cavity_mm3, face_mm

HOLLOW_FEW_TRIANGLES: Final = 500_000
"""Larger meshes are made coarser first, or their many facets take seconds."""
COARSE_MM: Final = 0.2
"""Corners in one cube of this side become one: finer than a crust is ever rolled [mm]."""
PIXELS: Final = 20_000
"""Pixels of the smallest cavity's mouth: 0.4 mm in a cake of 60 mm."""
MOST_PIXELS: Final = 4_000_000
"""Pixels over the whole mesh."""
AT_RIM_MM: Final = 0.01
"""So near below the rim nothing is a hollow: a level rim is rough by float32 steps [mm]."""
SAME_RATIO: Final = 0.05
"""A hollow seen from above is the cavity where both hold the same within this."""
DROPS: Final = 20_000
"""Points of the water that are looked at: shares of volume are known within 0.1 %."""
WALL_POINTS: Final = 100_000
"""Points of the wall: 0.3 mm apart in a cake of 60 mL, which lengthens 2 mm by 0.01 mm."""
PLASTIC: Final = 1.2207440846057596
"""g of g^4 = g + 1: multiples of 1 / g, 1 / g^2, 1 / g^3 spread points evenly over a cube."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Seen:
    """A mesh seen from above, and the hollows that have their cavity already.

    Parameters
    ----------
    grid : Grid
        The pixels.
    heights_mm : ndarray
        Topmost height in each [mm].
    taken : set of (float, int)
        Rim and label of each.
    """

    grid: Grid
    heights_mm: Points
    taken: set[tuple[float, int]]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Hollow:
    """A cavity of any shape that is open to the sky all over.

    Parameters
    ----------
    volume_mm3 : float
        Pour volume [mm^3].
    width_mm, height_mm : float
        Least extent across, and depth below the rim [mm].
    distances_mm : ndarray, shape (n,)
        Distances of evenly spread points to wall, floor or rim plane, rising, at most half the
        depth [mm].
    """

    volume_mm3: float
    width_mm: float
    height_mm: float
    distances_mm: Points

    def inside_mm3(self, thickness_mm: float) -> float:
        """Return the volume that lies deeper than a thickness under wall, floor and rim plane.

        Parameters
        ----------
        thickness_mm : float
            0 for the whole, at most half the depth [mm].

        Returns
        -------
        float
            Share of the points that lie deeper, times the volume [mm^3].
        """
        shallower = np.arange(len(self.distances_mm) + 1) / len(self.distances_mm)
        levels = np.concatenate([[0.0], self.distances_mm])
        return self.volume_mm3 * (1.0 - float(np.interp(thickness_mm, levels, shallower)))


def hollows(mesh: Mesh, cavities: Sequence[Cavity]) -> tuple[Hollow | None, ...]:
    """Return the shapes of cavities, in their order.

    Parameters
    ----------
    mesh : Mesh
        Turned so that the way up is z [mm].
    cavities : sequence of Cavity
        What was found in it.

    Returns
    -------
    tuple of Hollow or None
        None where a cavity is wider inside than its mouth, so that it is not seen from above.
    """
    mesh = mesh if len(mesh.triangles) <= HOLLOW_FEW_TRIANGLES else _coarser(mesh)
    least = min(cavity.mouth_mm2 for cavity in cavities)
    low, high = mesh.bounds[:, :2]
    coarsest = float(np.sqrt(np.prod(high - low) / MOST_PIXELS))
    grid = grid_over(low, high, max(float(np.sqrt(least / PIXELS)), coarsest))
    seen = Seen(grid=grid, heights_mm=top_heights_mm(mesh, grid), taken=set())
    return tuple(_hollow(mesh, cavity, seen) for cavity in cavities)


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


def _hollow(mesh: Mesh, cavity: Cavity, seen: Seen) -> Hollow | None:
    """Return the shape of the hollow below the rim that holds what the cavity holds."""
    below = cavity.rim_mm - seen.heights_mm
    depths = np.where(np.isfinite(below) & (below > AT_RIM_MM), below, 0.0)
    labels, count = ndimage.label(depths > 0.0)
    held = ndimage.sum_labels(depths, labels, np.arange(1, count + 1)) * seen.grid.pixel_mm**2
    off = np.abs(held / cavity.volume_mm3 - 1.0)
    order = [int(n) for n in np.argsort(off, kind="stable")]
    free = [n for n in order if (cavity.rim_mm, n) not in seen.taken and off[n] <= SAME_RATIO]
    if not free:
        return None
    seen.taken.add((cavity.rim_mm, free[0]))
    return _filled(mesh, cavity, seen.grid, depths=np.where(labels == free[0] + 1, depths, 0.0))


def _filled(mesh: Mesh, cavity: Cavity, grid: Grid, *, depths: Points) -> Hollow:
    drops = _drops_mm(depths, grid, cavity)
    # Nothing is sought beyond half the depth: a crust on floor and rim leaves nothing there.
    # Unbalanced, for points in planes take the balanced tree longer.
    half_mm = cavity.depth_mm / 2.0
    walls = KDTree(_wall_points_mm(mesh, drops, cavity.rim_mm), balanced_tree=False)
    to_wall_mm = walls.query(drops, distance_upper_bound=half_mm)[0]
    distances = np.minimum(to_wall_mm, cavity.rim_mm - drops[:, 2])
    wet = depths > 0.0
    across = min(wet.any(axis=0).sum(), wet.any(axis=1).sum())
    return Hollow(
        volume_mm3=cavity.volume_mm3,
        width_mm=float(across * grid.pixel_mm),
        height_mm=cavity.depth_mm,
        distances_mm=np.sort(distances.clip(max=half_mm)),
    )


def _drops_mm(depths: Points, grid: Grid, cavity: Cavity) -> Points:
    """Return points spread evenly over water of some depths, shape (n, 3) [mm]."""
    rows, columns = (np.flatnonzero(np.any(depths > 0.0, axis=axis)) for axis in (1, 0))
    low = np.array([rows[0], columns[0], 0.0])
    size = np.array([rows[-1] + 1, columns[-1] + 1, cavity.depth_mm]) - low
    held = depths.sum() / np.prod(size)
    row, column, below = (low + size * _spread(round(DROPS / held), 3)).T
    wet = below < depths[row.astype(int), column.astype(int)]
    across = np.column_stack([column, row])[wet] * grid.pixel_mm + grid.low_mm
    return np.column_stack([across, cavity.rim_mm - below[wet]])


def _wall_points_mm(mesh: Mesh, drops: Points, rim_mm: float) -> Points:
    """Return points spread evenly over the facets around drops, up to the rim [mm].

    Facets behind the wall do no harm, for the wall is nearer.
    """
    corners = mesh.corners
    near = _meet(corners, drops.min(axis=0) - 1.0, drops.max(axis=0) + 1.0)
    a, b, c = np.moveaxis(corners[near], 1, 0)
    ends = np.cumsum(np.linalg.norm(np.cross(b - a, c - a), axis=1))
    facet = np.searchsorted(ends, (np.arange(WALL_POINTS) + 0.5) * ends[-1] / WALL_POINTS)
    shares = _spread(WALL_POINTS, 2)
    shares = np.where(shares.sum(axis=1, keepdims=True) > 1.0, 1.0 - shares, shares)
    points: Points = a[facet] + shares[:, :1] * (b - a)[facet] + shares[:, 1:] * (c - a)[facet]
    return points[points[:, 2] <= rim_mm]


def _meet(corners: Points, low: Points, high: Points) -> NDArray[np.bool_]:
    """Whether the box of each facet meets a box."""
    inside = (corners.max(axis=1) >= low) & (corners.min(axis=1) <= high)
    meet: NDArray[np.bool_] = inside.all(axis=1)
    return meet


def _spread(count: int, dimensions: int) -> Points:
    """Return points spread evenly over the unit square or cube, the same every time."""
    steps = PLASTIC ** -np.arange(1.0, dimensions + 1.0)
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
        From the table to the stamp's flat face [mm].

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
    bore = hole(shadow(standing, "the bore"))
    if not 0.0 < height_mm < standing.bounds[1, 2]:
        raise SpecError("height_mm", height_mm, "must be above 0 and inside the sleeve")
    placed = _at(stamp.turned_over(), bore, height_mm)
    if not bore.contains(filled(shadow(placed, "the stamp"))):
        raise SpecError("stamp", "mesh", "must be narrower than the sleeve's bore and turned alike")
    return closed_cavity_mm3(standing, placed)


def _narrow_end_down(sleeve: Mesh) -> Mesh:
    """Return the sleeve on z = 0 with the end down that has no lead-in."""
    ends = [mesh.moved((0.0, 0.0, -mesh.bounds[0, 2])) for mesh in (sleeve, sleeve.turned_over())]
    areas = [hole(section_region(end, 0.05, "the bore's end")).area for end in ends]
    if max(areas) == 0.0:
        raise SpecError("sleeve", "mesh", "must have a bore along z that is open at its end")
    return min(zip(areas, ends, strict=True), key=lambda pair: (pair[0] == 0.0, pair[0]))[1]


def _at(stamp: Mesh, bore: shapely.Polygon, height_mm: float) -> Mesh:
    plan = shadow(stamp, "the stamp").centroid
    x, y = bore.centroid.x - plan.x, bore.centroid.y - plan.y
    return stamp.moved((x, y, height_mm - face_mm(stamp)))


FOOD_ML: Final = (3.0, 1500.0)
"""Volumes between which a pastry lies; our choice [mL]."""
FOOD_MM: Final = 10.0
"""A mould is longer; our choice [mm]."""
MESHES_FEW_TRIANGLES: Final = 200_000
"""Up to so many, the other ways up are looked at too where a mesh holds nothing."""
ON_WALL_MM: Final = 0.01
"""A corner this near the edge of a stamp's shadow lies on its side [mm]."""

Stage = Callable[[str], None]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Found:
    """What meshes hold, and what is to be said of them.

    Parameters
    ----------
    cavities : tuple of Measured
        The largest first.
    notes : tuple of str
        What was mended, and doubts about the size; sentences.
    bore_length_mm, guide_mm : float or None
        Of a press mould: height of the sleeve, and of the stamp's side [mm].
    """

    cavities: tuple[Measured, ...]
    notes: tuple[str, ...]
    bore_length_mm: float | None = None
    guide_mm: float | None = None


def from_mesh(mould: OwnedMould, stage: Stage) -> Found:
    """Return every cavity that opens upward in a mesh.

    Parameters
    ----------
    mould : OwnedMould
        With a mesh, its unit and way up; the relief's depth where it is known.
    stage : callable
        Called with the name of each stage before it starts: reading, mending, checking, basins,
        cavities, crust.

    Raises
    ------
    FileError
        The file cannot be read, or its mesh bounds no solid and is not to be mended.
    SpecError
        It holds nothing that way up, or cannot be mended.
    """
    up = _way_up(mould.up)
    mesh, notes = _read(mould, mould.mesh, stage)
    found = _poured(str(mould.mesh), mesh, up, stage=stage)
    stage("crust")
    shapes = hollows(upright(mesh, up), found)
    cavities = tuple(
        Measured(
            volume_mm3=cavity.volume_mm3,
            doubts=(),
            body=shape,
            relief_depth_mm=mould.relief_depth_mm,
            remarks=() if shape is not None else (_undercut(cavity),),
        )
        for cavity, shape in zip(found, shapes, strict=True)
    )
    return Found(cavities=cavities, notes=(*notes, *_size_doubts(cavities, mould.unit)))


def from_press_meshes(mould: OwnedMould, stage: Stage) -> Found:
    """Return what a press mould's sleeve and stamp hold at a height.

    Parameters
    ----------
    mould : OwnedMould
        With mesh, stamp (relief up) and, unless it is the greatest, the height.
    stage : callable
        Called with the name of each stage before it starts: reading, mending, cavities.

    Raises
    ------
    FileError
        A file cannot be read, or its mesh bounds no solid and is not to be mended.
    SpecError
        The stamp does not enter the sleeve, or the height is not inside it.
    """
    up = _way_up(mould.up)
    (sleeve, said), (stamp, also) = (_read(mould, p, stage) for p in (mould.mesh, mould.stamp))
    stage("cavities")
    sleeve, stamp = upright(sleeve, up), upright(stamp, up)
    outline = _bore_outline(sleeve)
    length_mm, side_mm = float(sleeve.size_mm[2]), _side_mm(stamp)
    guide_mm = side_mm if mould.guide_mm is None else mould.guide_mm
    most_mm = length_mm - guide_mm if mould.most_height_mm is None else mould.most_height_mm
    height_mm = most_mm if mould.height_mm is None else mould.height_mm
    volume_mm3 = _pressed_mm3(mould, sleeve, stamp, height_mm=height_mm)
    cavity = Measured(
        volume_mm3=volume_mm3,
        doubts=(),
        body=Cup(outline=outline, height_mm=height_mm),
        relief_depth_mm=mould.relief_depth_mm,
        bore=Bore(outline=outline, beyond_mm3=volume_mm3 - outline.area_mm2 * height_mm),
    )
    return Found(
        cavities=(cavity,),
        notes=(*said, *also, *_size_doubts((cavity,), mould.unit)),
        bore_length_mm=length_mm,
        guide_mm=guide_mm,
    )


def _way_up(up: str) -> Up:
    try:
        return Up(up)
    except ValueError as error:
        raise SpecError("up", up, f"must be one of {', '.join(Up)}") from error


def _read(mould: OwnedMould, path: str | None, stage: Stage) -> tuple[Mesh, tuple[str, ...]]:
    """Return a mesh, mended where that is asked for, and what was done to it."""
    stage("reading")
    name = str(path)
    mesh = read_mesh(name, mould.unit)
    if mould.mend:
        stage("mending")
        mesh, done = mended(mesh)
        said = "; ".join(done) if done else "it needed nothing"
        return mesh, (f"Mended {name}: {said}.",)
    return mesh, ()


def _poured(path: str, mesh: Mesh, up: Up, *, stage: Stage) -> tuple[Cavity, ...]:
    try:
        found = pour_cavities(mesh, up, stage=stage)
    except SpecError as error:  # it bounds no solid; what is wrong with it is said
        raise FileError(path, f"{error.need} with --mend") from error
    if not found:
        raise SpecError("up", up.value, _holds_nothing(mesh, up))
    return found


def _pressed_mm3(mould: OwnedMould, sleeve: Mesh, stamp: Mesh, *, height_mm: float) -> float:
    for path, mesh in ((mould.mesh, sleeve), (mould.stamp, stamp)):
        if not topology(mesh).solid or mesh.volume_mm3 <= 0.0:
            raise FileError(str(path), "bounds no solid; add --mend, or mend it in a mesh editor")
    return press_volume_mm3(sleeve, stamp, height_mm=height_mm)


def _holds_nothing(mesh: Mesh, up: Up) -> str:
    longest_mm = float(mesh.size_mm.max())
    if longest_mm < FOOD_MM:
        return f"this mesh is {longest_mm:.3g} mm long and holds nothing; check its unit"
    need = "this mesh holds nothing that way up"
    if len(mesh.triangles) > MESHES_FEW_TRIANGLES:
        return f"{need}; turn it with --up -z, or another way"
    others = [other.value for other in Up if other is not up and pour_cavities(mesh, other)]
    if others:
        return f"{need}, but it does with --up {' or '.join(others)}"
    return f"{need}, nor any other way up; a hollow with a closed floor and rim is needed"


def _undercut(cavity: Cavity) -> str:
    return (
        f"The cavity of {ml_from_mm3(cavity.volume_mm3):.3g} mL is wider inside than its mouth, "
        "so that no piece comes out of it whole; its crust is not told."
    )


def _size_doubts(cavities: Sequence[Measured], unit: LengthUnit | None) -> tuple[str, ...]:
    """Return a sentence where no pastry has such a size, and the unit in which one has."""
    least_ml, most_ml = FOOD_ML
    largest_ml = ml_from_mm3(max(cavity.volume_mm3 for cavity in cavities))
    if least_ml <= largest_ml <= most_ml:
        return ()
    now = LengthUnit.MM if unit is None else unit
    others = {other: largest_ml * (other.in_mm / now.in_mm) ** 3 for other in LengthUnit}
    fitting = [
        f"--unit {other.value} makes it {volume_ml:.3g} mL"
        for other, volume_ml in others.items()
        if least_ml <= volume_ml <= most_ml
    ]
    advice = f": {', '.join(fitting)}" if fitting else ""
    return (f"{largest_ml:.3g} mL is no size for a pastry; is the unit right{advice}?",)


def _bore_outline(sleeve: Mesh) -> Outline:
    """Return what one sees through the sleeve, centred."""
    bore = hole(shadow(sleeve, "the bore"))
    if bore.is_empty:
        raise SpecError("mesh", "the sleeve", "must have a bore along z that is open at both ends")
    points = exterior_points(bore) - shapely.get_coordinates(bore.centroid)
    return replace(outline_of_points("drawn", points), name="bore")


def _side_mm(stamp: Mesh) -> float:
    """Return the height over which the stamp's side lies along the bore [mm]."""
    edge = filled(shadow(stamp, "the stamp")).boundary
    shapely.prepare(edge)
    on_side = shapely.dwithin(edge, shapely.points(stamp.vertices[:, :2]), ON_WALL_MM)
    return float(np.ptp(stamp.vertices[on_side, 2]))
