"""Bodies with exact surfaces.

The one module that calls the CAD kernel. It imports that late, for it takes seconds.
"""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from math import dist
from typing import Any, Final, Protocol, TypeVar

import numpy as np

from moulddesign.core import KernelError, Message, say
from moulddesign.mould.plans import ArcPolyline, CircleCurve, Curve

BodyT = TypeVar("BodyT")

UprightProfile = list[tuple[float, float]]
"""x and z of the corners of an upright polygon, in order round it [mm]."""


class Kernel(Protocol[BodyT]):
    """How bodies are made; the modules `cad_kernel` and `faceted` both have these functions."""

    def loft(self, sections: Sequence[tuple[float, Curve]], step: Message) -> BodyT:
        """Return the solid between sections at rising heights [mm]."""

    def revolve(self, profile: Sequence[tuple[float, float]], step: Message) -> BodyT:
        """Return what a profile of radius and height sweeps round the z axis [mm]."""

    def upright_prism(self, profile: UprightProfile, thickness_mm: float, step: Message) -> BodyT:
        """Return an upright plate in the plane of x and z."""

    def upright_loft(
        self, sections: Sequence[tuple[float, UprightProfile]], step: Message
    ) -> BodyT:
        """Return the solid between upright profiles at rising y, corner to corner [mm]."""

    def rotate_quarter(self, body: BodyT, /) -> BodyT:
        """Return a body turned by a quarter about the z axis: x becomes y."""

    def translate(self, body: BodyT, by_mm: tuple[float, float, float], /) -> BodyT:
        """Return a body moved along a vector [mm]."""

    def fuse(self, bodies: Sequence[BodyT], step: Message) -> BodyT:
        """Return the union of bodies."""

    def subtract(self, body: BodyT, tool: BodyT, step: Message) -> BodyT:
        """Return a body without another."""

    def intersect(self, a: BodyT, b: BodyT, step: Message) -> BodyT:
        """Return what two bodies share."""


WELD_MM: Final = 1e-6
"""Places nearer than this are one: ten times the kernel's own point tolerance, 1e-7 [mm]."""


@dataclass(frozen=True, slots=True, eq=False)
class Solid:
    """A body bounded by exact surfaces."""

    _shape: Any
    """The kernel's own shape, private to this module."""

    @property
    def volume_mm3(self) -> float:
        """Volume enclosed by the exact surfaces [mm^3]."""
        return float(_kernel().enclosed_mm3(self._shape))

    @property
    def area_mm2(self) -> float:
        """Area of the exact surfaces [mm^2]."""
        return float(_kernel().surface_mm2(self._shape))

    def step_text(self, step: Message) -> str:
        """Return the text of a STEP file in millimetres; its header carries the time of writing."""
        with _step(step):
            return str(_kernel().step_text(self._shape))


def loft(sections: Sequence[tuple[float, Curve]], step: Message) -> Solid:
    """Return the solid between sections of rising height, with straight sides between them."""
    kernel = _kernel()
    return _made(lambda: kernel.lofted([_wire(s, z) for z, s in sections]), step)


def revolve(profile: Sequence[tuple[float, float]], step: Message) -> Solid:
    """Return the solid that a closed profile sweeps round the z axis."""
    kernel = _kernel()
    border = [(r, 0.0, z) for r, z in profile]
    return _made(lambda: kernel.revolved(kernel.face(kernel.polygon(border))), step)


def upright_prism(profile: UprightProfile, thickness_mm: float, step: Message) -> Solid:
    """Return an upright plate in the plane of x and z, half its thickness to each side [mm].

    It is a slab of one profile, and takes and raises what `upright_loft` does.
    """
    return upright_loft([(-thickness_mm / 2.0, profile), (thickness_mm / 2.0, profile)], step)


def upright_loft(sections: Sequence[tuple[float, UprightProfile]], step: Message) -> Solid:
    """Return the solid between upright profiles, with flat sides from each to each.

    Sections have rising y; all have as many corners, and their sides are parallel.
    """
    kernel = _kernel()
    loops = [[(x, y, z) for x, z in profile] for y, profile in sections]
    sides = [
        side
        for near, far in pairwise(loops)
        for side in zip(near, [*near[1:], near[0]], [*far[1:], far[0]], far, strict=True)
    ]

    def make() -> Any:  # noqa: ANN401 (the kernel's shape)
        # The kernel's own loft has curved faces that happen to be flat: booleans take tenfold.
        faces = [kernel.face(kernel.polygon(loop)) for loop in (loops[0], *sides, loops[-1])]
        return kernel.within(faces)

    return _made(make, step)


def rotate_quarter(solid: Solid) -> Solid:
    """Return a body turned by a quarter about the z axis: x becomes y."""
    return Solid(_kernel().turned(solid._shape, 90.0))  # noqa: SLF001 (this module owns it)


def translate(solid: Solid, by_mm: tuple[float, float, float]) -> Solid:
    """Return a body moved along a vector [mm]."""
    return Solid(_kernel().moved(solid._shape, by_mm))  # noqa: SLF001


def fuse(solids: Sequence[Solid], step: Message) -> Solid:
    """Return the union of bodies that touch or overlap; `step` names it in a `KernelError`."""
    kernel = _kernel()
    return _made(lambda: kernel.fused([s._shape for s in solids]), step)  # noqa: SLF001


def subtract(solid: Solid, tool: Solid, step: Message) -> Solid:
    """Return a body without another; `step` names it in a `KernelError`."""
    kernel = _kernel()
    return _made(lambda: kernel.cut(solid._shape, tool._shape), step)  # noqa: SLF001


def intersect(a: Solid, b: Solid, step: Message) -> Solid:
    """Return what two bodies share; `step` names it in a `KernelError`."""
    kernel = _kernel()
    return _made(lambda: kernel.shared(a._shape, b._shape), step)  # noqa: SLF001


@cache
def _kernel() -> Any:  # noqa: ANN401 (a module without types)
    try:
        from moulddesign.mould import kernel_shapes  # noqa: PLC0415
    except ImportError as error:
        raise KernelError(say("mould.kernel-body"), _missing(str(error))) from error
    return kernel_shapes


def _missing(said: str) -> Message:
    if "libGL" in said:
        return say("mould.no-libgl")
    return say("mould.no-kernel", error=said)


def _made(make: Callable[[], Any], step: Message) -> Solid:
    with _step(step):
        shape = make()
        solids = _kernel().solids(shape)
    if len(solids) != 1:
        raise KernelError(step, say("mould.several-bodies", count=len(solids)))
    body = Solid(solids[0])
    if not (_kernel().is_valid(solids[0]) and body.volume_mm3 > 0.0):
        raise KernelError(step, say("mould.invalid-body"))
    return body


@contextmanager
def _step(step: Message) -> Iterator[None]:
    try:
        yield
    except (_kernel().Standard_Failure, ValueError) as error:
        raise KernelError(step, say("mould.kernel-said", error=str(error))) from error


def _wire(section: Curve, z_mm: float) -> Any:  # noqa: ANN401 (the kernel's shape)
    kernel = _kernel()
    if isinstance(section, CircleCurve):
        return kernel.circle(section.radius_mm, z_mm)
    if isinstance(section, ArcPolyline):
        return _bent(section, z_mm)
    return kernel.polygon((x, y, z_mm) for x, y in section.points.tolist())


def _bent(section: ArcPolyline, z_mm: float) -> Any:  # noqa: ANN401 (the kernel's shape)
    kernel, edges = _kernel(), []
    ends = np.array([0.0, 0.5, 1.0])
    bends = [[(x, y, z_mm) for x, y in arc.at(ends).tolist()] for arc in section.arcs]
    for arc, bend, after in zip(section.arcs, bends, [*bends[1:], bends[0]], strict=True):
        if arc.radius_mm > 0.0:
            edges.append(kernel.arc(*bend))
        # Where two arcs touch, there is no straight part between them.
        if dist(after[0], bend[2]) > WELD_MM:
            edges.append(kernel.segment(bend[2], after[0]))
    return kernel.wire(edges)
