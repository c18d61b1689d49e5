"""Whether the flare of the first layer stays away from where parts slide (elephant's foot)."""

from typing import Final

from shapely.geometry.base import BaseGeometry

from moulddesign.check.regions import filled, hole, section_region, shadow
from moulddesign.finding import Finding, judged
from moulddesign.mesh import Mesh

FLARE_MM: Final = 0.2
"""How far a first layer is squeezed out; common practice, no source [mm]."""


def outer_foot_finding(mesh: Mesh, *, name: str, layer_mm: float) -> Finding:
    """Return how far the first layer stands back from the widest outline of a part that slides in.

    Parameters
    ----------
    mesh : Mesh
        Closed, in print pose [mm].
    name : str
        The part.
    layer_mm : float
        Height of a layer [mm].
    """
    first, widest = filled(_first(mesh, layer_mm)), filled(shadow(mesh, "the part's shadow"))
    return _finding(name, inner=first, outer=widest)


def bore_foot_finding(mesh: Mesh, *, name: str, layer_mm: float) -> Finding:
    """Return how far the first layer stands back from the narrowest bore of a part.

    Parameters
    ----------
    mesh : Mesh
        Closed, in print pose, its bore along z [mm].
    name : str
        The part.
    layer_mm : float
        Height of a layer [mm].
    """
    first, narrowest = hole(_first(mesh, layer_mm)), hole(shadow(mesh, "the part's shadow"))
    return _finding(name, inner=narrowest, outer=first)


def _first(mesh: Mesh, layer_mm: float) -> BaseGeometry:
    return section_region(mesh, float(mesh.bounds[0, 2]) + layer_mm / 2.0, "the first layer")


def _finding(name: str, *, inner: BaseGeometry, outer: BaseGeometry) -> Finding:
    back_mm = float(inner.boundary.distance(outer.boundary)) if outer.contains(inner) else 0.0
    return Finding(
        name=f"{name}: first layer stands back from the fit",
        measured=back_mm,
        limit=f"at least {FLARE_MM:g}, by which a first layer is squeezed out",
        unit="mm",
        source="common practice, no source",
        verdict=judged(good=back_mm >= FLARE_MM),
    )
