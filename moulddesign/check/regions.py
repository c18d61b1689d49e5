"""Sections and shadows of a mesh as flat regions (shapely)."""

from collections.abc import Iterable
from functools import reduce

import shapely
from shapely import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from moulddesign.mesh import Mesh, Points
from moulddesign.probing import section, silhouette


def region(loops: Iterable[Points]) -> BaseGeometry:
    """Return the region that clean loops bound: inside an odd number of them.

    Parameters
    ----------
    loops : iterable of ndarray, shape (n_i, 2)
        Closed, not crossing themselves or each other [mm].
    """
    rings = [shapely.make_valid(Polygon(loop)) for loop in loops if len(loop) > 2]  # noqa: PLR2004
    return reduce(lambda a, b: a.symmetric_difference(b), rings, MultiPolygon())


def section_region(mesh: Mesh, height_mm: float, step: str) -> BaseGeometry:
    """Return the region in which a level plane cuts a closed mesh."""
    return region(section(mesh, height_mm, step))


def shadow(mesh: Mesh, step: str) -> BaseGeometry:
    """Return the region that a closed mesh covers, seen along z."""
    return region(silhouette(mesh, step))


def filled(area: BaseGeometry) -> BaseGeometry:
    """Return a region with its holes filled."""
    return shapely.union_all([Polygon(part.exterior) for part in _polygons(area)])


def hole(area: BaseGeometry) -> Polygon:
    """Return the largest hole of a region, an empty polygon where it has none."""
    holes = [Polygon(ring) for part in _polygons(area) for ring in part.interiors]
    return max(holes, key=lambda ring: ring.area, default=Polygon())


def _polygons(area: BaseGeometry) -> list[Polygon]:
    return [part for part in shapely.get_parts(area) if isinstance(part, Polygon)]
