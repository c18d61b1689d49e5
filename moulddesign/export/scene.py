"""What a picture shows: coloured bodies and where the eye is."""

from collections.abc import Mapping
from dataclasses import dataclass
from math import cos, radians, sin
from typing import Final

import numpy as np

from moulddesign.export.colour import colour_of
from moulddesign.mesh import Mesh, Points

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
    gap_mm = 0.5 * float(pastry.size_mm[:2].max())
    top_mm = float(pastry.bounds[1, 2])
    for number, (name, mesh) in enumerate(parts.items()):
        lift = top_mm + gap_mm - float(mesh.bounds[0, 2])
        moved = mesh.moved((0.0, 0.0, lift))
        bodies.append(Body(mesh=moved, rgb=colour_of(name, number)))
        top_mm = float(moved.bounds[1, 2])
    return Scene(bodies=tuple(bodies), azimuth_deg=22.0, elevation_deg=24.0, size_px=(780, 1300))


def bed_scene(
    parts: Mapping[str, Mesh], shifts: tuple[tuple[str, tuple[float, float, float]], ...]
) -> Scene:
    """Return the parts as they lie on the printer's bed.

    Parameters
    ----------
    parts : mapping of str to Mesh
        As they are printed [mm].
    shifts : tuple of (str, tuple of float)
        How far each moves to its place on the bed [mm].
    """
    return Scene(
        bodies=tuple(
            Body(mesh=parts[name].moved(shift), rgb=colour_of(name, number))
            for number, (name, shift) in enumerate(shifts)
        ),
        azimuth_deg=0.0,
        elevation_deg=55.0,
        size_px=(1000, 700),
    )
