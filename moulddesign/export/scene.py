"""What a picture shows: coloured bodies and where the eye is."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import cos, radians, sin, tan
from typing import Final

import numpy as np

from moulddesign.export.colour import colour_of
from moulddesign.mesh import Mesh, Points

GAP: Final = 0.15
"""Between parts in a row, as a share of the widest."""

APART: Final = 0.5
"""Between parts pulled apart, as a share of the pastry's width."""

APART_ELEVATION_DEG: Final = 24.0
"""How high the eye stands over parts pulled apart [deg]."""

MARGIN: Final = 0.04
"""Empty rim of a picture, as a share of its size."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Body:
    """A mesh and its colour.

    Parameters
    ----------
    mesh : Mesh
        The mesh [mm].
    rgb : tuple of float
        sRGB shares, 0 to 1.
    """

    mesh: Mesh
    rgb: tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Scene:
    """Bodies seen in parallel projection, filling the picture.

    Parameters
    ----------
    bodies : tuple of Body
        What is seen.
    azimuth_deg, elevation_deg : float
        Direction to the eye: from the front (-y) towards the right (+x), and up [deg].
    size_px : tuple of int
        Width and height of the picture [px].
    """

    bodies: tuple[Body, ...]
    azimuth_deg: float
    elevation_deg: float
    size_px: tuple[int, int]

    @property
    def axes(self) -> Points:
        """Right, up and towards the eye, shape (3, 3)."""
        turn, tilt = radians(self.azimuth_deg), radians(self.elevation_deg)
        right = (cos(turn), sin(turn), 0.0)
        eye = (sin(turn) * cos(tilt), -cos(turn) * cos(tilt), sin(tilt))
        return np.array([right, np.cross(eye, right), eye])

    @property
    def frame(self) -> tuple[Points, float]:
        """The point in the middle of the picture, and half the picture's height [mm]."""
        axes = self.axes
        seen = np.concatenate([body.mesh.vertices for body in self.bodies]) @ axes.T
        low, high = seen.min(axis=0), seen.max(axis=0)
        wide, tall = (high - low)[:2].tolist()
        aspect = self.size_px[0] / self.size_px[1]
        half_mm = max(tall, wide / aspect) / 2.0 / (1.0 - 2.0 * MARGIN)
        return ((low + high) / 2.0) @ axes, half_mm


def pastry_scene(pastry: Mesh) -> Scene:
    """Return the pastry seen from the front and above, so that its relief reads upright."""
    return Scene(
        bodies=(Body(mesh=pastry, rgb=colour_of("pastry", 0)),),
        azimuth_deg=0.0,
        elevation_deg=52.0,
        size_px=(1000, 800),
    )


def exploded_scene(parts: Mapping[str, Mesh], pastry: Mesh) -> Scene:
    """Return the parts pulled apart upwards above the pastry, in the order of their list.

    Parameters
    ----------
    parts : mapping of str to Mesh
        As they stand in the assembly [mm].
    pastry : Mesh
        Standing on z = 0 [mm].
    """
    bodies = [Body(mesh=pastry, rgb=colour_of("pastry", 0))]
    gap_mm = APART * float(pastry.size_mm[:2].max())
    top_mm = float(pastry.bounds[1, 2])
    reach_mm, rise = _reach_mm(pastry), tan(radians(APART_ELEVATION_DEG))
    for number, (name, mesh) in enumerate(parts.items()):
        # What reaches farther towards the eye than the part below hangs over it in the picture.
        overhang_mm = max(0.0, rise * (_reach_mm(mesh) - reach_mm))
        lift = top_mm + gap_mm + overhang_mm - float(mesh.bounds[0, 2])
        moved = mesh.moved((0.0, 0.0, lift))
        bodies.append(Body(mesh=moved, rgb=colour_of(name, number)))
        top_mm, reach_mm = float(moved.bounds[1, 2]), _reach_mm(mesh)
    return Scene(
        bodies=tuple(bodies),
        azimuth_deg=22.0,
        elevation_deg=APART_ELEVATION_DEG,
        size_px=(780, 1300),
    )


def _reach_mm(mesh: Mesh) -> float:
    """Return how far a mesh reaches from the z axis along x or y [mm]."""
    return float(np.abs(mesh.bounds[:, :2]).max())


def row_scene(parts: Mapping[str, Mesh]) -> Scene:
    """Return the parts in a row, turned as they lie on the printer's bed.

    Parameters
    ----------
    parts : mapping of str to Mesh
        As they are printed, on z = 0 [mm].
    """
    gap_mm = GAP * max(float(mesh.size_mm[0]) for mesh in parts.values())
    bodies, x = [], 0.0
    for number, (name, mesh) in enumerate(parts.items()):
        low, high = mesh.bounds
        shift = (x - low[0], -(low[1] + high[1]) / 2.0, 0.0)
        bodies.append(Body(mesh=mesh.moved(shift), rgb=colour_of(name, number)))
        x += float(high[0] - low[0]) + gap_mm
    return Scene(bodies=tuple(bodies), azimuth_deg=0.0, elevation_deg=38.0, size_px=(1000, 500))
