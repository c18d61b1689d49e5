"""How much a mould holds.

The catchments of its surface from above, and the air that does not run out.
"""

from bisect import bisect_left
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import ConvexHull
from skimage.morphology import reconstruction

from moulddesign.core import SpecError, say
from moulddesign.geometry.booleans import pieces_of_air
from moulddesign.geometry.mesh import Indices, Mesh, Points
from moulddesign.geometry.sampling import Grid, grid_over, top_heights_mm
from moulddesign.geometry.topology import bounds_a_solid, components, topology

PIXELS: Final = 300
"""Pixels along the longer side; a cavity narrower than a few of them is not looked for."""
LEAST_DEPTH_MM: Final = 0.2
"""Shallower hollows are dents: one layer of a print [mm]."""
LEAST_SHARE: Final = 0.01
"""Hollows that hold less than this share of the largest are dents, such as lettering."""
NEARS_MM: Final = (0.01, 1.0, float("inf"))
"""How near the spill level is looked for to the raster's: a level rim, a sloping one, any [mm]."""
CROSS: Final = np.array([[0, 1, 0], [1, 1, 1], [0, 1, 0]], dtype=bool)
"""Water runs over the sides of a pixel; walls are closed over its corners too."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Catchment:
    """A hollow that holds water."""

    spill_mm: float
    """z above which it runs out [mm]."""
    deepest_mm: Points
    """x and y of its deepest pixel; nothing stands between it and the sky [mm]."""


def catchments(mesh: Mesh) -> tuple[Catchment, ...]:
    """Return the hollows that hold water poured along -z, dents left out.

    They are found on a raster of the topmost heights, flooded from its border. The level at
    which each spills is then found exactly, on the mesh: the lowest corner by which the surface
    below the level connects the floor of the hollow with the outside.
    """
    # Water that rains on the mould stands in hollows up to the lowest pass on a way to the border:
    #
    #       _      spill level          A pixel is as high as its highest point, its crest, so that
    #      / \......._                  no wall between two centres leaks.
    #     /   \_____/ \__  border
    low, high = mesh.bounds[:, :2]
    grid = grid_over(low, high, float((high - low).max() / PIXELS))
    heights = _crests_mm(mesh, grid)
    depths = _depths(heights)
    labels, count = ndimage.label(depths > LEAST_DEPTH_MM, structure=CROSS)
    numbers = np.arange(1, count + 1)
    volumes = ndimage.sum_labels(depths, labels, numbers)
    levels = ndimage.maximum(np.where(labels > 0, heights + depths, -np.inf), labels, numbers)
    surface = _Surface(mesh)
    return tuple(
        _catchment(surface, grid, np.where(labels == number, heights, np.inf), about_mm=level)
        for number, (volume, level) in enumerate(zip(volumes, levels, strict=True), 1)
        if volume >= LEAST_SHARE * volumes.max()
    )


def _catchment(surface: "_Surface", grid: Grid, floor_mm: Points, *, about_mm: float) -> Catchment:
    rows, columns = np.nonzero(np.isfinite(floor_mm))
    x, y = grid.centres_mm
    lowest = np.argmin(floor_mm[rows, columns])
    deepest = np.array([x[columns[lowest]], y[rows[lowest]]])
    floor = surface.corner_below(deepest)
    return Catchment(spill_mm=surface.spill_mm(floor, about_mm=about_mm), deepest_mm=deepest)


def _crests_mm(mesh: Mesh, grid: Grid) -> Points:
    """Return the greatest height in each pixel, so that no wall is missed between two centres."""
    heights = top_heights_mm(_over_centres(mesh, grid), grid).reshape(-1)
    for points in (mesh.vertices, _along_sides(mesh, grid.pixel_mm / 2.0)):
        column, row = ((points[:, :2] - grid.low_mm) / grid.pixel_mm).astype(int).T
        np.maximum.at(heights, row * grid.shape[1] + column, points[:, 2])
    return heights.reshape(grid.shape)


def _over_centres(mesh: Mesh, grid: Grid) -> Mesh:
    """Return the facets whose box holds the centre of a pixel; of a fine mesh's they are few."""
    kept = np.ones(len(mesh.triangles), dtype=bool)
    for axis in (0, 1):
        pixels = (mesh.vertices[:, axis] - grid.low_mm[axis]) / grid.pixel_mm - 0.5
        a, b, c = pixels[mesh.triangles.T]
        least = np.minimum(np.minimum(a, b), c)
        kept &= np.ceil(least, out=least) <= np.maximum(np.maximum(a, b), c)
    return Mesh(mesh.vertices, mesh.triangles[kept])


def _along_sides(mesh: Mesh, step_mm: float) -> Points:
    """Return points along the sides of facets that are longer than a step, shape (n, 3) [mm]."""
    tails, heads = _long_sides(mesh, step_mm)
    starts = mesh.vertices[tails]
    ways = mesh.vertices[heads] - starts
    pieces = np.ceil(np.linalg.norm(ways[:, :2], axis=1) / step_mm).astype(int)
    side = np.repeat(np.arange(len(pieces)), pieces)
    share = (np.arange(len(side)) - np.repeat(np.cumsum(pieces) - pieces, pieces)) / pieces[side]
    points: Points = starts[side] + share[:, None] * ways[side]
    return points


def _long_sides(mesh: Mesh, step_mm: float) -> tuple[Indices, Indices]:
    """Return both ends of each side that is longer than a step, seen from above, once."""
    tails, heads = _sides(mesh)
    squares = np.zeros(len(tails))
    for axis in (0, 1):
        along = np.ascontiguousarray(mesh.vertices[:, axis])
        squares += (along[heads] - along[tails]) ** 2
    long = squares > step_mm**2
    return tails[long], heads[long]


def _sides(mesh: Mesh) -> tuple[Indices, Indices]:
    """Return the lower and the higher row of each side of a closed mesh, once."""
    tails = mesh.triangles.T.reshape(-1)
    heads = np.roll(mesh.triangles, -1, axis=1).T.reshape(-1)
    up = tails < heads
    return tails[up], heads[up]


def _depths(heights: Points) -> Points:
    """Return how deep water stands on each pixel; where nothing is, it runs out."""
    nothing = ~np.isfinite(heights)
    ground = np.where(nothing, heights[~nothing].min() - 1.0, heights)
    # Flooding is a reconstruction by erosion: water begins at the greatest height everywhere but on
    # the border, and sinks until each pixel holds the higher of its ground and its lowest
    # neighbour. That is the lowest pass on any way to the border.
    water = np.full_like(ground, ground.max())
    edge = nothing.copy()
    edge[[0, -1], :] = edge[:, [0, -1]] = True
    water[edge] = ground[edge]
    filled: Points = reconstruction(water, ground, method="erosion", footprint=CROSS)
    return filled - ground


class _Surface:
    """A surface as a graph of its corners, and which of them are certainly outside."""

    def __init__(self, mesh: Mesh) -> None:
        self.mesh = mesh
        self.sides = np.stack(_sides(mesh))
        self.heights = np.ascontiguousarray(mesh.vertices[:, 2])
        self.rises = np.maximum(*self.heights[self.sides])
        self.outside = ConvexHull(mesh.vertices).vertices

    def corner_below(self, point_mm: Points) -> int:
        """Return the lowest corner of the topmost facet at a point of the table."""
        triangles = self.mesh.triangles[self._around(point_mm)]
        a, b, c = np.moveaxis(self.mesh.vertices[triangles], 1, 0)
        turns = [_turn(one, two, point_mm) for one, two in ((a, b), (b, c), (c, a))]
        whole = _turn(a, b, c[:, :2])
        within = np.flatnonzero((np.minimum.reduce(turns) >= 0.0) & (whole > 0.0))
        shares = np.stack([turns[1], turns[2], turns[0]], axis=1)[within] / whole[within, None]
        levels = np.einsum("ij,ij->i", shares, self.heights[triangles[within]])
        corners = triangles[within[np.argmax(levels)]]
        return int(corners[np.argmin(self.heights[corners])])

    def _around(self, point_mm: Points) -> NDArray[np.bool_]:
        """Whether the box of each facet, seen from above, holds a point."""
        around = np.ones(len(self.mesh.triangles), dtype=bool)
        for axis in (0, 1):
            beyond = self.mesh.vertices[:, axis] > point_mm[axis]
            before = self.mesh.vertices[:, axis] < point_mm[axis]
            for side in (beyond, before):
                around &= ~np.all(side[self.mesh.triangles], axis=1)
        return around

    def spill_mm(self, floor: int, *, about_mm: float) -> float:
        """Return the lowest level below which the floor is connected with the outside [mm].

        The surface is split into connected pieces a little below a close guess; few sides above
        that join them, so the search is short.
        """
        # The raster has told the level to a pixel, so what lies further off is asked only if it
        # must.
        for near_mm in NEARS_MM:
            below_mm = max(about_mm - near_mm, float(self.heights[floor]))
            pieces = self._pieces(below_mm)
            if not self._is_drained(pieces, floor, below_mm):
                return self._spill_above(below_mm, pieces, floor, about_mm=about_mm)
        return below_mm

    def _spill_above(
        self, below_mm: float, pieces: Indices, floor: int, *, about_mm: float
    ) -> float:
        for near_mm in NEARS_MM:
            higher = self.rises > below_mm
            sides = np.flatnonzero(higher & (self.rises <= about_mm + near_mm))
            sides = sides[np.argsort(self.rises[sides])]
            place = self._first_drained(pieces, floor, sides)
            if place < len(sides):
                return float(self.rises[sides[place]])
        return float(self.heights.max())

    def _pieces(self, level_mm: float) -> Indices:
        """Return for each corner which piece of the surface below a level it belongs to."""
        return components(self.sides[:, self.rises <= level_mm], len(self.heights))

    def _is_drained(self, pieces: Indices, floor: int, level_mm: float) -> bool:
        low = self.outside[self.heights[self.outside] <= level_mm]
        return bool(np.any(pieces[low] == pieces[floor]))

    def _first_drained(self, pieces: Indices, floor: int, sides: Indices) -> int:
        """Return which of some sides, in the order of their rise, is the first to drain a floor."""
        rows = np.concatenate([[floor], self.outside])
        corners = np.concatenate([rows, self.sides[:, sides].reshape(-1)])
        names, places = np.unique(pieces[corners], return_inverse=True)
        out, ends = places[1 : len(rows)], places[len(rows) :].reshape(2, -1)

        def is_drained(last: int) -> bool:
            # Draining is monotone: once floor and outside are connected, higher sides keep them so.
            # So the first side that connects them is found by bisection.
            group = components(ends[:, : last + 1], len(names))
            low = self.heights[self.outside] <= self.rises[sides[last]]
            return bool(np.any(group[out[low]] == group[places[0]]))

        return bisect_left(range(len(sides)), x=True, key=is_drained)


def _turn(start: Points, end: Points, point: Points) -> Points:
    """Return twice the area, seen from above, of start, end, point; above 0 to the left."""
    way, to = end[:, :2] - start[:, :2], point - start[:, :2]
    turn: Points = way[:, 0] * to[:, 1] - way[:, 1] * to[:, 0]
    return turn


BELOW_MM: Final = 0.001
"""The air is cut this far below the spill level, so that float32 noise of the rim opens no leak."""
SAME_MM: Final = 0.0005
"""Cavities that spill within this of each other are cut out at once [mm]."""

Stage = Callable[[str], None]


class Up(StrEnum):
    """Which way is up when the mould is filled."""

    PLUS_X = "+x"
    MINUS_X = "-x"
    PLUS_Y = "+y"
    MINUS_Y = "-y"
    PLUS_Z = "+z"
    MINUS_Z = "-z"


@dataclass(frozen=True, slots=True, kw_only=True)
class Cavity:
    """What one hollow holds, filled to the level at which it spills."""

    volume_mm3: float
    rim_mm: float
    """Level at which it spills, measured along the way up from the file's origin [mm]."""
    depth_mm: float
    """From that level down to the lowest point [mm]."""
    mouth_mm2: float
    """Area of the water's face [mm^2]."""


def _silent(_: str) -> None:
    """Report no stage."""


def find_cavities(mesh: Mesh, up: Up = Up.PLUS_Z, *, stage: Stage = _silent) -> tuple[Cavity, ...]:
    """Return every cavity that opens upward and holds water, the largest first.

    Dents are left out: hollows under 0.2 mm deep, and those that hold less than 1 % of the largest.
    Each cavity is filled to its own spill level, so rims may differ in height and slope; a wall
    inside that is lower than the rim is under water, and both sides are one cavity.

    The mesh is welded, as `read_mesh` returns it; `SpecError` where it bounds no solid. `stage` is
    called with the name of each stage before it starts: checking, catchments, cavities.
    """
    stage("checking")
    _bounds_a_solid(mesh)
    stage("catchments")
    turned = upright(mesh, up)
    found = sorted(catchments(turned), key=lambda catchment: catchment.spill_mm)
    if not found:
        return ()
    stage("cavities")
    spills = np.array([catchment.spill_mm for catchment in found])
    groups = np.split(np.arange(len(found)), np.flatnonzero(np.diff(spills) > SAME_MM) + 1)
    cavities = [c for group in groups for c in _cut_out(turned, [found[i] for i in group])]
    return tuple(sorted(cavities, key=lambda cavity: -cavity.volume_mm3))


def upright(mesh: Mesh, up: Up) -> Mesh:
    """Return a mesh turned so that the way up is z; it is not mirrored.

    Examples
    --------
    >>> from moulddesign.geometry import box
    >>> upright(box((0, 0, 0), (1, 2, 3)), Up.PLUS_X).bounds.tolist()
    [[0.0, 0.0, 0.0], [2.0, 3.0, 1.0]]
    """
    axis = "xyz".index(up[1])
    order = [(axis + 1) % 3, (axis + 2) % 3, axis]
    # Turning the axis over and swapping the other two keeps right-handed what was.
    if up[0] == "-":
        order[:2] = order[1::-1]
    return Mesh(mesh.vertices[:, order] * (1.0, 1.0, float(up[0] + "1")), mesh.triangles)


def _bounds_a_solid(mesh: Mesh) -> None:
    if not bounds_a_solid(mesh):
        found = topology(mesh)
        raise SpecError(
            "mesh",
            f"{len(mesh.triangles)} triangles",
            say(
                "geometry.bounds-no-solid",
                open=found.open_edges,
                crowded=found.crowded_edges,
                clashing=found.clashing_edges,
            ),
        )
    if mesh.volume_mm3 <= 0.0:
        raise SpecError("mesh", f"{len(mesh.triangles)} triangles", say("geometry.inside-out"))


def _cut_out(mesh: Mesh, group: list[Catchment]) -> list[Cavity]:
    """Return the cavities of catchments that spill at one level."""
    level_mm = group[0].spill_mm
    low, high = mesh.bounds + np.array([[-1.0], [1.0]])
    high[2] = level_mm - BELOW_MM
    air = pieces_of_air([mesh], low, high, step=say("geometry.air-in-mould"))
    points = shapely.points([catchment.deepest_mm for catchment in group])
    # Air that is connected to the outside below the level has run out.
    closed = [part for part in air if _within(part, low, high)]
    faces = [(part, _face(part, high[2])) for part in closed]
    return [_cavity(part, face, level_mm) for part, face in faces if _over(face, points)]


def _within(part: Mesh, low: Points, high: Points) -> bool:
    """Whether a piece of air reaches neither the sides nor the bottom of the box."""
    return bool(np.all(part.bounds[0] > low + 0.5) and np.all(part.bounds[1, :2] < high[:2] - 0.5))


def _face(part: Mesh, top_mm: float) -> Points:
    """Return the facets of the water's face, shape (n, 3, 2) [mm]."""
    high = part.vertices[:, 2] > top_mm - BELOW_MM / 2.0
    return part.vertices[part.triangles[np.all(high[part.triangles], axis=1)], :2]


def _over(face: Points, points: np.ndarray) -> bool:
    """Whether one of the points lies over the water's face."""
    tree = shapely.STRtree(shapely.polygons(face))
    return bool(tree.query(points, predicate="intersects").size)


def _cavity(part: Mesh, face: Points, level_mm: float) -> Cavity:
    mouth_mm2 = float(shapely.area(shapely.polygons(face)).sum())
    # The air was cut 1 um below the spill level: the slab between is added as a prism.
    return Cavity(
        volume_mm3=part.volume_mm3 + mouth_mm2 * BELOW_MM,
        rim_mm=level_mm,
        depth_mm=level_mm - float(part.bounds[0, 2]),
        mouth_mm2=mouth_mm2,
    )
