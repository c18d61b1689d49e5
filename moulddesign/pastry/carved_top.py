"""A carved face as the top of a pastry: its mesh, and the ground that the filling follows."""

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, map_coordinates
from scipy.spatial import cKDTree

from moulddesign.artwork.outline import Outline
from moulddesign.design import Design
from moulddesign.face.bands import Band
from moulddesign.face.carved_face import CarvedFace, LaidCarving, carved_face
from moulddesign.geometry import Indices, Mesh, Points, volume_over_plane_mm3
from moulddesign.geometry.sampling import Grid, grid_over_shape, region_mask, top_heights_mm
from moulddesign.pastry.side_bands import reach_mm
from moulddesign.relief.carved_surface import CarvedSurface, SurfaceMaker, carved_surface
from moulddesign.relief.field import EdgeDistance, Field, Heights
from moulddesign.relief.roof import ReliefRegion, Roof, relief_regions, set_apart
from moulddesign.relief.stamp_rim import StampRim, stamp_rim

PIXEL_MM: Final = 0.25
"""Pixel of the ground: a tenth of a usual crust [mm]."""
SAME_MM: Final = 1e-9
"""Round-off of a height of some hundred millimetres [mm]."""
SMOOTHING_MM: Final = 1.4
"""Spread of the blur between face and filling [mm].

In two doughs of one stiffness a wave of the length l reaches the depth t with the share
(1 + k t) exp(-k t) of its height, k = 2 pi / l: creeping flow under a wavy load, from memory. Under
a usual crust, t = 2.2 mm, a Gaussian of this spread comes within a tenth of that for 6 to 20 mm.
"""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class SmoothTop:
    """A carved top without what is finer than the crust, on pixels over the outline."""

    grid: Grid
    heights: NDArray[np.float64]
    """Over the plane of the face, shape `grid.shape`; beyond the outline as at its nearest [mm]."""
    inside: NDArray[np.bool_]
    from_edge: Heights
    """Distance from the outline of each pixel inside, row by row [mm]."""

    def __call__(self, points: Points) -> Heights:
        """Return heights at points, shape (n, 2) to (n,) [mm]."""
        pixels = (points - self.grid.low_mm) / self.grid.pixel_mm - 0.5
        made: Heights = map_coordinates(self.heights, pixels.T[::-1], order=1, mode="nearest")
        return made

    @property
    def slope(self) -> NDArray[np.float64]:
        """Rise over run at each pixel."""
        rows, columns = np.gradient(self.heights, self.grid.pixel_mm)
        made: NDArray[np.float64] = np.hypot(rows, columns)
        return made


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class CarvedTop:
    """A carved face, heights over its plane at z = 0, and the vectors on it."""

    field: Field
    plain_field: Field
    """Its ground alone."""
    regions: tuple[ReliefRegion, ...]
    """Artwork that stands on the ground."""
    carvings: tuple[LaidCarving, ...]
    """Height maps that are part of the field."""
    bands: tuple[Band, ...]
    """Bands along its edge."""
    surface: CarvedSurface
    inset_mm: float
    """Outline to the stamp's, whose facets are those of the surface within it."""
    ground: SmoothTop
    side: Roof | None = None
    """Drafted side around it, its plateau the edge of the face; none where it is upright."""
    bands_mm: float = 0.0
    """How far bands around that side reach up from the table."""

    def top(self, height_mm: float) -> tuple[Points, Indices, Indices]:
        """Return vertices, triangles and outer edge of the top and of a drafted side.

        Parameters
        ----------
        height_mm : float
            Table to the plane of the face; a drafted side ends on the table [mm].
        """
        if self.side is None:
            return self.surface.vertices, self.surface.triangles, self.surface.rim
        vertices = self.side.vertices.copy()
        was_mm = -float(vertices[:, 2].min())
        # Bands keep their heights over the table: what is above them is stretched.
        above = vertices[:, 2] >= self.bands_mm - was_mm
        vertices[above, 2] *= (height_mm - self.bands_mm) / (was_mm - self.bands_mm)
        vertices[~above, 2] -= height_mm - was_mm
        side = replace(self.side, vertices=vertices)
        return joined_side(side, self.surface, bands_mm=self.bands_mm)

    def heights_over(self, grid: Grid) -> NDArray[np.float64]:
        """Return heights of the face at pixels, minus infinity beyond its edge, `grid.shape`."""
        return top_heights_mm(self.mesh, grid)

    @property
    def mesh(self) -> Mesh:
        """The face as an open surface."""
        return Mesh(self.surface.vertices, self.surface.triangles)

    @property
    def highest_mm(self) -> float:
        """Highest point over the plane of the face [mm]."""
        return float(self.surface.vertices[:, 2].max())

    @property
    def lowest_mm(self) -> float:
        """Lowest point over the plane of the face, mostly below 0 [mm]."""
        return float(self.surface.vertices[:, 2].min())

    @property
    def stamp(self) -> shapely.Polygon:
        """The stamp's outline [mm]."""
        return shapely.Polygon(self.surface.vertices[self.surface.stamp_rim, :2])

    @property
    def rim_mm(self) -> tuple[float, float]:
        """Lowest and highest point of the stamp's edge over the plane of the face [mm]."""
        heights = self.surface.vertices[self.surface.stamp_rim, 2]
        return float(heights.min()), float(heights.max())


@dataclass(frozen=True, slots=True, kw_only=True)
class FacePlan:
    """What of a face decides a pastry's size, from its raster."""

    volume_mm3: float
    """Above the plane of the face, less what is missing below it."""
    rim_mm: float
    """Highest point of its edge, at least 0."""


def face_plan(design: Design, edge: Outline) -> FacePlan:
    """Return volume and edge of a design's face within an outline, without its mesh.

    Raises
    ------
    SpecError
        The outline has no room for the face.
    """
    made, regions = _face(design, edge)
    grid = grid_over_shape(edge.shape, PIXEL_MM)
    points = grid.points_mm(region_mask(edge.shape, grid))
    along = shapely.get_coordinates(shapely.segmentize(edge.shape.exterior, PIXEL_MM))
    # The pixels whose middle is inside cover a little more or less than the outline does.
    ground_mm3 = float(made.field(points).height.mean()) * edge.area_mm2
    return FacePlan(
        volume_mm3=ground_mm3
        + sum(volume_over_plane_mm3(part.roof().surface.corners) for part in regions),
        rim_mm=max(float(made.field(along).height.max()), 0.0),
    )


def carved_top(
    design: Design,
    edge: Outline,
    outline: Outline,
    side: Roof | None,
    *,
    surface_of: SurfaceMaker = carved_surface,
) -> CarvedTop:
    """Return the carved top of a design's pastry.

    Parameters
    ----------
    edge : Outline
        Where the face ends.
    outline : Outline
        The pastry's at the table: the same, but for a drafted side.
    side : Roof or None
        The drafted side between them.
    surface_of : callable
        Makes the surface: the true one, or a coarse one to look at.

    Raises
    ------
    SpecError
        The outline has no room for the face, or artwork on it lies over a step.
    KernelError
        The triangulation failed.
    """
    if side is not None:
        # The face begins exactly where the side ends, or its creases there would cross that line.
        (plateau,) = side.plateaus
        edge = replace(edge, points=np.ascontiguousarray(side.vertices[plateau, :2]))
    made, regions = _face(design, edge)
    within = edge.shape
    surface = surface_of(
        within,
        made.field,
        regions,
        inset_mm=design.stamp_inset_mm,
        draft_deg=design.relief.draft_deg,
    )
    return CarvedTop(
        field=made.field,
        plain_field=made.ground,
        regions=regions,
        carvings=made.carvings,
        bands=made.bands,
        surface=surface,
        inset_mm=design.stamp_inset_mm,
        ground=smooth_top_of(made.field, within, outline.shape),
        side=side,
        bands_mm=reach_mm(design.pastry.side_bands),
    )


def _face(design: Design, edge: Outline) -> tuple[CarvedFace, tuple[ReliefRegion, ...]]:
    """Return a design's face within an outline, and all artwork that lies on it."""
    assert design.face is not None  # noqa: S101 (whoever asks has looked)
    made = carved_face(
        design.face,
        edge.plain,
        draft_deg=design.relief.draft_deg,
        shoulder_radius_mm=design.pastry.shoulder_radius_mm,
        rim_mm=design.stamp_inset_mm,
        side_mm=0.0 if edge.around is None else design.pastry.side_depth_mm,
    )
    layers = relief_regions(design.relief, made.room) if design.relief.layers else ()
    return made, set_apart([*made.regions, *layers])


def stamp_rim_of(design: Design, outline: Outline, stamp: shapely.Polygon) -> StampRim:
    """Return what the rim of a stamp is like under a design's face, without its mesh."""
    return stamp_rim(stamp, _face(design, outline)[0].field)


def smooth_top_of(field: Field, edge: shapely.Polygon, outline: shapely.Polygon) -> SmoothTop:
    """Return the ground of a face, known within its edge, for all that is within an outline."""
    grid = grid_over_shape(outline, PIXEL_MM)
    known, inside = region_mask(edge, grid), region_mask(outline, grid)
    heights = np.zeros(grid.shape)
    heights[known] = field(grid.points_mm(known)).height
    # What is not known does not count: the blur of the heights over that of their number.
    spread = SMOOTHING_MM / PIXEL_MM
    number = gaussian_filter(known.astype(np.float64), spread)
    smooth = gaussian_filter(heights, spread) / np.maximum(number, 1e-9)
    from_edge = EdgeDistance(outline)(grid.points_mm(inside))
    return SmoothTop(grid=grid, heights=smooth, inside=inside, from_edge=from_edge)


def joined_side(
    side: Roof, surface: CarvedSurface, *, bands_mm: float = 0.0
) -> tuple[Points, Indices, Indices]:
    """Return a drafted side and the carved surface within it as one.

    The surface's outline is the side's plateau, with points added on its edges and at heights of
    its own. The edge of the table below, or that above bands which reach up so far [mm], is divided
    in the same shares: the strips between lean as the side does, where a facet from far along the
    table would lean less. Ridges of the side, which run down from sharp corners of the plateau, are
    stretched with it.

    Returns
    -------
    vertices, triangles, rim
        The rim is the side's edge on the table.
    """
    (rim,), (plateau,), shift = side.eaves, side.plateaus, len(side.vertices)
    side = replace(side, vertices=_stretched(side, surface, bands_mm=bands_mm))
    upper = _divided_edges(side.vertices, plateau, surface)
    after_foot = _edges_above(side, float(side.vertices[rim[0], 2]) + bands_mm)
    after = dict(zip(plateau.tolist(), np.roll(plateau, -1).tolist(), strict=True))
    beside = {
        (facet[turn], facet[turn - 2]): (facet[turn - 1], row)
        for row, facet in enumerate(side.walls.tolist())
        for turn in range(3)
    }
    lower: dict[int, list[int]] = {}
    added: list[Points] = []
    walls: dict[int, list[tuple[int, ...]]] = {}

    def divide(start: int, end: int, chain: list[int]) -> list[int]:
        """Return the table's edge below a chain, with a point below each of the chain's."""
        (ends,) = [surface.vertices[[row - shift for row in (chain[0], chain[-1])], :2]]
        inner = surface.vertices[[row - shift for row in chain[1:-1]], :2]
        shares = np.linalg.norm(inner - ends[0], axis=1) / np.linalg.norm(ends[1] - ends[0])
        a, b = side.vertices[start], side.vertices[end]
        first = shift + len(surface.vertices) + len(added)
        added.extend(a + shares[:, None] * (b - a))
        lower[start] = list(range(first, len(added) + shift + len(surface.vertices)))
        return [start, *lower[start], end]

    for row, facet in enumerate(side.walls.tolist()):
        for turn in range(3):
            # The plateau lies on the left of its loop, so a wall has the edge the other way round.
            end, start, apex = facet[turn], facet[turn - 2], facet[turn - 1]
            if after.get(start) != end or len(upper[start]) == 2:  # noqa: PLR2004 (not divided)
                continue
            chain = upper[start]
            right, right_row = beside.get((end, apex), (-1, -1))
            left, left_row = beside.get((apex, start), (-1, -1))
            if after_foot.get(apex) == right and right_row not in walls:
                below = divide(apex, right, chain)
                walls[right_row] = []
            elif after_foot.get(left) == apex and left_row not in walls:
                below = divide(left, apex, chain)
                walls[left_row] = []
            else:
                walls[row] = [(late, early, apex) for early, late in pairwise(chain)]
                break
            walls[row] = [
                strip
                for (p, q), (u, v) in zip(pairwise(below), pairwise(chain), strict=True)
                for strip in ((p, q, u), (q, v, u))
            ]
            break
    walls |= _fans_below(side.walls, after_foot, lower)
    number = np.arange(shift + len(surface.vertices) + len(added))
    number[list(upper)] = [chain[0] for chain in upper.values()]
    facets = [
        strip
        for row, facet in enumerate(side.walls.tolist())
        for strip in walls.get(row, [tuple(facet)])
    ]
    divided_rim = [each for row in rim.tolist() for each in (row, *lower.get(row, ()))]
    return (
        np.concatenate([side.vertices, surface.vertices, np.reshape(added, (-1, 3))]),
        np.concatenate([number[np.array(facets, dtype=np.int64)], surface.triangles + shift]),
        np.array(divided_rim, dtype=np.int64),
    )


def _edges_above(side: Roof, level_mm: float) -> dict[int, int]:
    """Return the lower edges of a side's walls above a level, each corner with the next one."""
    over = side.vertices[:, 2] - level_mm
    upper = side.walls[over[side.walls].max(axis=1) > SAME_MM]
    edges = np.concatenate([upper[:, [0, 1]], upper[:, [1, 2]], upper[:, [2, 0]]])
    at_level = np.abs(over[edges]).max(axis=1) < SAME_MM
    return dict(edges[at_level].tolist())


def _fans_below(
    walls: Indices, after: dict[int, int], divided: dict[int, list[int]]
) -> dict[int, list[tuple[int, ...]]]:
    """Return the facets under level edges that were divided, each in pieces, by its row."""
    made: dict[int, list[tuple[int, ...]]] = {}
    for row, facet in enumerate(walls.tolist()):
        for turn in range(3):
            end, start, apex = facet[turn - 1], facet[turn], facet[turn - 2]
            if start in divided and after[start] == end:
                chain = [start, *divided[start], end]
                made[row] = [(late, early, apex) for early, late in pairwise(chain)]
    return made


def _stretched(side: Roof, surface: CarvedSurface, *, bands_mm: float) -> Points:
    """Return a side's corners, those between bands and plateau as the plateau above is raised."""
    (foot,), (plateau,) = side.eaves, side.plateaus
    vertices = side.vertices.copy()
    low_mm = float(vertices[foot[0], 2]) + bands_mm
    between = np.delete(np.arange(len(vertices)), np.concatenate([foot, plateau]))
    rim = surface.vertices[surface.rim]
    _, nearest = cKDTree(rim[:, :2]).query(vertices[between, :2])
    share = (rim[nearest, 2] - low_mm) / -low_mm
    over = vertices[between, 2] - low_mm
    vertices[between, 2] = low_mm + over * np.where(over > 0.0, share, 1.0)
    return vertices


def _divided_edges(
    vertices: Points, plateau: Indices, surface: CarvedSurface
) -> dict[int, list[int]]:
    """Return for each corner of a plateau the surface's points up to the next one.

    They are rows of the side's vertices followed by the surface's.
    """
    places = dict(zip(map(tuple, vertices[plateau, :2].tolist()), plateau.tolist(), strict=True))
    rim = surface.rim
    found = [places.get(tuple(at), -1) for at in surface.vertices[rim, :2].tolist()]
    at_corner = [place for place, row in enumerate(found) if row >= 0]
    loop = (rim + len(vertices)).tolist()
    chains: dict[int, list[int]] = {}
    for place, following in zip(at_corner, at_corner[1:] + at_corner[:1], strict=True):
        end = following if following > place else following + len(loop)
        chains[found[place]] = [loop[k % len(loop)] for k in range(place, end + 1)]
    return chains
