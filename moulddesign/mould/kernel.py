"""What the parts ask of whatever draws them: exact bodies, or facets where there are no curves."""

from collections.abc import Sequence
from typing import Protocol, TypeVar

from moulddesign.mesh import Mesh
from moulddesign.mould.section import Section

Body = TypeVar("Body")

Profile = list[tuple[float, float]]
"""x and z of the corners of an upright polygon, in order round it [mm]."""


class Kernel(Protocol[Body]):
    """The verbs that bodies are made with; the modules `solid` and `faceted` both have them."""

    def stack(self, sections: Sequence[tuple[float, Section]], step: str) -> Body:
        """Return the solid between sections at rising heights [mm]."""

    def turned(self, profile: Sequence[tuple[float, float]], step: str) -> Body:
        """Return what a profile of radius and height sweeps round the z axis [mm]."""

    def plate(self, profile: Profile, thickness_mm: float, step: str) -> Body:
        """Return an upright plate in the plane of x and z."""

    def slab(self, sections: Sequence[tuple[float, Profile]], step: str) -> Body:
        """Return the solid between upright profiles at rising y, corner to corner [mm]."""

    def quarter_turned(self, body: Body, /) -> Body:
        """Return a body turned by a quarter about the z axis: x becomes y."""

    def moved(self, body: Body, by_mm: tuple[float, float, float], /) -> Body:
        """Return a body moved along a vector [mm]."""

    def fused(self, bodies: Sequence[Body], step: str) -> Body:
        """Return the union of bodies."""

    def without(self, body: Body, tool: Body, step: str) -> Body:
        """Return a body without another."""

    def shared(self, a: Body, b: Body, step: str) -> Body:
        """Return what two bodies share."""

    def facets(self, body: Body, /) -> Mesh:
        """Return a body's facets."""
