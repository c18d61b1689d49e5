"""The pastry's top as one surface: side or shoulder, flat and reliefs."""

from dataclasses import dataclass
from math import sqrt
from typing import Final

import numpy as np

from moulddesign.mesh import Indices, Mesh, Points
from moulddesign.pastry.flat import filled
from moulddesign.pastry.medial import on_grid
from moulddesign.pastry.outline import Outline
from moulddesign.pastry.profile import shoulder_section
from moulddesign.pastry.roof import Roof, roof
from moulddesign.settling import settled

SAME_MM: Final = 1e-9
"""Round-off of a height of some hundred millimetres [mm]."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Top:
    """The pastry's top surface, the flat top at z = 0.

    Parameters
    ----------
    vertices : ndarray, shape (n, 3)
        Vertices [mm].
    triangles : ndarray of int64, shape (m, 3)
        Counter-clockwise seen from above.
    rim : ndarray of int64, shape (k,)
        The outer edge, counter-clockwise; rows of `vertices`.
    """

    vertices: Points
    triangles: Indices
    rim: Indices

    @property
    def volume_mm3(self) -> float:
        """Volume between the surface and z = 0, negative below it [mm^3]."""
        a, b, c = np.moveaxis(self.vertices[self.triangles], 1, 0)
        ab, ac = b - a, c - a
        seen = (ab[:, 0] * ac[:, 1] - ab[:, 1] * ac[:, 0]) / 2.0
        return float(seen @ (a[:, 2] + b[:, 2] + c[:, 2]) / 3.0)

    @property
    def rim_mm(self) -> float:
        """Height of the outer edge, 0 or below [mm]."""
        return float(self.vertices[self.rim[0], 2])

    def solid(self, flat_mm: float, other_mm: float) -> Mesh:
        """Return what lies between the surface, with its flat at one height, and a level plane.

        Parameters
        ----------
        flat_mm : float
            z of the flat top [mm].
        other_mm : float
            z of the plane, clear of the surface: below it for a pastry, above for a stamp [mm].
        """
        if abs(self.rim_mm + flat_mm - other_mm) < SAME_MM:
            return self._closed(flat_mm)
        lift = np.array([0.0, 0.0, flat_mm])
        count = len(self.rim)
        end = self.vertices[self.rim].copy()
        end[:, 2] = other_mm
        low = len(self.vertices) + np.arange(count)
        high = self.rim
        side = np.concatenate(
            [
                np.column_stack([low, np.roll(low, -1), np.roll(high, -1)]),
                np.column_stack([low, np.roll(high, -1), high]),
            ]
        )
        vertices = np.concatenate([self.vertices + lift, end])
        floor = filled(vertices, [low])[:, ::-1]
        made = Mesh(vertices, np.concatenate([self.triangles, side, floor]))
        return settled(made if other_mm < flat_mm else made.inside_out())

    def _closed(self, flat_mm: float) -> Mesh:
        """Return the solid whose floor is filled in the rim: a drafted side ends on the table."""
        vertices = self.vertices + np.array([0.0, 0.0, flat_mm])
        floor = filled(vertices, [self.rim])[:, ::-1]
        return settled(Mesh(vertices, np.concatenate([self.triangles, floor])))


def roofs_mm3(roofs: tuple[Roof, ...]) -> float:
    """Return the volume of reliefs above z = 0, less what is below it [mm^3]."""
    return sum(
        Top(
            vertices=made.surface.vertices,
            triangles=made.surface.triangles,
            rim=np.empty(0, dtype=np.int64),
        ).volume_mm3
        for made in roofs
    )


def joined(edge: Roof, roofs: tuple[Roof, ...]) -> Top:
    """Return an edge, the flat within it and the reliefs on that as one surface.

    Parameters
    ----------
    edge : Roof
        What lies round the flat, which is at z = 0: a shoulder, a side, or just a loop.
    roofs : tuple of Roof
        The reliefs, each from z = 0 at its own edge.
    """
    parts = [edge, *roofs]
    starts = np.cumsum([0, *(len(part.vertices) for part in parts)])
    vertices = np.concatenate([part.vertices for part in parts])
    inner = [loop + starts[0] for loop in edge.rims]
    holes = [
        loop[::-1] + start
        for part, start in zip(roofs, starts[1:], strict=False)
        for loop in part.eaves
    ]
    surfaces = [edge.walls] + [
        part.surface.triangles + start for part, start in zip(roofs, starts[1:], strict=False)
    ]
    flat = filled(vertices, inner + holes)
    return Top(vertices=vertices, triangles=np.concatenate([*surfaces, flat]), rim=edge.eaves[0])


def shoulder(outline: Outline, *, radius_mm: float, inset_mm: float) -> Roof:
    """Return the shoulder, the flat at z = 0; without one, just the outline's loop.

    Parameters
    ----------
    outline : Outline
        Where it ends.
    radius_mm : float
        Radius of the arc [mm].
    inset_mm : float
        How far the outline lies inside the pastry's [mm].
    """
    run_mm = radius_mm * sqrt(0.5)
    if run_mm <= inset_mm:
        loop = np.arange(len(outline.points))
        return Roof(
            vertices=np.column_stack([outline.points, np.zeros(len(loop))]),
            walls=np.empty((0, 3), dtype=np.int64),
            eaves=(loop,),
            rims=(loop,),
        )
    wall = shoulder_section(radius_mm, inset_mm)
    made = roof(on_grid(outline.shape), wall)
    drop = np.array([0.0, 0.0, float(wall.heights[-1])])
    return Roof(vertices=made.vertices - drop, walls=made.walls, eaves=made.eaves, rims=made.rims)
