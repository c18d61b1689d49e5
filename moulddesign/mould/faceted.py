"""Bodies as facets, from the same plans as those with exact surfaces, in a tenth of the time."""

from collections.abc import Sequence
from itertools import pairwise
from math import acos, ceil, pi
from typing import Final

import numpy as np

from moulddesign.core import Message
from moulddesign.geometry import Indices, Mesh, Points, booleans
from moulddesign.mould.cad_kernel import UprightProfile
from moulddesign.mould.plans import ArcPolyline, CircleCurve, Curve

FACET_MM: Final = 0.005
"""Largest distance of a facet from the circle that it stands for [mm]."""


def loft(sections: Sequence[tuple[float, Curve]], step: Message) -> Mesh:
    """Return the solid between sections at rising heights; see `cad_kernel.loft`.

    Of two neighbours that differ, one lies inside the other.
    """
    loops = [_points(section) for _, section in sections]
    starts = np.cumsum([0, *map(len, loops)])
    levels = [
        np.column_stack([loop, np.full(len(loop), z)])
        for loop, (z, _) in zip(loops, sections, strict=True)
    ]
    sides = [
        _side(low, high) + start
        for (low, high), start in zip(pairwise(loops), starts, strict=False)
    ]
    floor = booleans.triangulated([loops[0]])[:, ::-1]
    ceiling = booleans.triangulated([loops[-1]]) + starts[-2]
    made = Mesh(np.concatenate(levels), np.concatenate([floor, *sides, ceiling]))
    return booleans.union([made], step)


def revolve(profile: Sequence[tuple[float, float]], step: Message) -> Mesh:
    """Return what a closed profile of radius and height sweeps round the z axis."""
    return booleans.solid_of_revolution(
        profile, _chords(max(radius for radius, _ in profile)), step
    )


def upright_prism(profile: UprightProfile, thickness_mm: float, step: Message) -> Mesh:
    """Return an upright plate in the plane of x and z, half its thickness to each side."""
    half = thickness_mm / 2.0
    return upright_loft([(-half, profile), (half, profile)], step)


def upright_loft(sections: Sequence[tuple[float, UprightProfile]], step: Message) -> Mesh:
    """Return the solid between upright profiles at rising y, with as many corners each."""
    flats = [np.array(_counter_clockwise(profile)) for _, profile in sections]
    count = len(flats[0])
    points = [
        np.column_stack([flat[:, 0], np.full(count, y), flat[:, 1]])
        for flat, (y, _) in zip(flats, sections, strict=True)
    ]
    # Seen from -y, x to the right and z up: the near face is counter-clockwise.
    near, far = booleans.triangulated([flats[0]]), booleans.triangulated([flats[-1]])[:, ::-1]
    sides = [_band(count)[:, ::-1] + count * number for number in range(len(sections) - 1)]
    faces = [near, *sides, far + count * (len(sections) - 1)]
    return booleans.union([Mesh(np.concatenate(points), np.concatenate(faces))], step)


def rotate_quarter(body: Mesh) -> Mesh:
    """Return a body turned by a quarter about the z axis: x becomes y."""
    x, y, z = body.vertices.T
    return Mesh(np.column_stack([-y, x, z]), body.triangles)


def translate(body: Mesh, by_mm: tuple[float, float, float]) -> Mesh:
    """Return a body moved along a vector [mm]."""
    return body.moved(by_mm)


def fuse(bodies: Sequence[Mesh], step: Message) -> Mesh:
    """Return the union of bodies; `step` names it in a `KernelError`."""
    return booleans.union(bodies, step)


def subtract(body: Mesh, tool: Mesh, step: Message) -> Mesh:
    """Return a body without another; `step` names it in a `KernelError`."""
    return booleans.difference(body, [tool], step)


def intersect(a: Mesh, b: Mesh, step: Message) -> Mesh:
    """Return what two bodies share; `step` names it in a `KernelError`."""
    return booleans.intersection([a, b], step)


def _points(section: Curve) -> Points:
    if isinstance(section, CircleCurve):
        turn = 2.0 * pi * np.arange(_chords(section.radius_mm)) / _chords(section.radius_mm)
        return section.radius_mm * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    if isinstance(section, ArcPolyline):
        return np.concatenate([arc.chords() for arc in section.arcs])
    return section.points


def _chords(radius_mm: float) -> int:
    if radius_mm <= FACET_MM:
        return 4
    return 4 * ceil(pi / 4.0 / acos(1.0 - FACET_MM / radius_mm))


def _side(low: Points, high: Points) -> Indices:
    """Return triangles between two loops, those of the lower one counted first."""
    if low is high or (low.shape == high.shape and np.array_equal(low, high)):
        return _band(len(low))
    count = len(low)
    if _area(high) < _area(low):
        return _ring(low, high)
    # The upper loop lies outside: seen from below, and counted the other way about.
    turned_over = _ring(high, low)[:, ::-1]
    return np.where(turned_over < len(high), turned_over + count, turned_over - len(high))


def _ring(outer: Points, inner: Points) -> Indices:
    """Return triangles that fill the ring between two loops, the outer one counted first."""
    rows = booleans.triangulated([outer, inner[::-1]])
    count = len(outer)
    return np.where(rows < count, rows, 2 * count + len(inner) - 1 - rows)


def _band(count: int) -> Indices:
    i = np.arange(count)
    j = np.roll(i, -1)
    return np.concatenate(
        [np.stack([i, j, j + count], axis=1), np.stack([i, j + count, i + count], axis=1)]
    )


def _counter_clockwise(profile: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    return list(profile) if _area(np.array(profile)) > 0.0 else list(profile)[::-1]


def _area(loop: Points) -> float:
    x, y = loop.T
    return float(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2.0
