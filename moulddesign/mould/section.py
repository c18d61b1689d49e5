"""Flat outlines that bodies are drawn from, kept as exact curves where the outline has a name."""

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from moulddesign.errors import SpecError
from moulddesign.mesh import Points


class Outline(Protocol):
    """What this room needs of a pastry's outline."""

    @property
    def name(self) -> str:
        """Its name: round, square or another."""

    @property
    def width_mm(self) -> float:
        """Extent along x [mm]."""

    @property
    def depth_mm(self) -> float:
        """Extent along y [mm]."""

    @property
    def corner_radius_mm(self) -> float:
        """Radius of its corners [mm]."""

    @property
    def points(self) -> Points:
        """Corners, counter-clockwise, centred on the origin, shape (n, 2) [mm]."""

    def inset(self, by_mm: float) -> "Outline":
        """Return the parallel outline inside it, outside it where `by_mm` is negative [mm]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Round:
    """A circle about the origin.

    Parameters
    ----------
    radius_mm : float
        Radius [mm].
    """

    radius_mm: float

    def eased(self, by_mm: float) -> "Round":
        """Return it smaller by a margin [mm], larger where that is negative."""
        return Round(radius_mm=self.radius_mm - by_mm)


@dataclass(frozen=True, slots=True, kw_only=True)
class Rectangle:
    """A rectangle about the origin, with rounded or sharp corners.

    Parameters
    ----------
    width_mm, depth_mm : float
        Extent along x and y [mm].
    corner_radius_mm : float
        Radius of the corners, 0 where they are sharp [mm].
    """

    width_mm: float
    depth_mm: float
    corner_radius_mm: float

    def eased(self, by_mm: float) -> "Rectangle":
        """Return it smaller by a margin [mm], larger where that is negative.

        A sharp corner stays sharp both ways, and a corner rounder than the margin stays round:
        then both sections have like edges, as `stack` needs.
        """
        radius = self.corner_radius_mm
        return Rectangle(
            width_mm=self.width_mm - 2.0 * by_mm,
            depth_mm=self.depth_mm - 2.0 * by_mm,
            corner_radius_mm=max(radius - by_mm, 0.0) if radius else 0.0,
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Polygon:
    """Any other outline.

    Parameters
    ----------
    points : ndarray of float64, shape (n, 2)
        Corners, counter-clockwise [mm].
    """

    points: Points

    def eased(self, by_mm: float) -> "Polygon":
        """Return it with every side moved inwards by a margin [mm], corner for corner.

        Raises
        ------
        SpecError
            A side vanishes on the way.
        """
        sides = np.roll(self.points, -1, axis=0) - self.points
        along = sides / np.linalg.norm(sides, axis=1)[:, None]
        inward = np.stack([-along[:, 1], along[:, 0]], axis=1)
        before = np.roll(inward, 1, axis=0)
        mitre = (before + inward) / (1.0 + (before * inward).sum(axis=1))[:, None]
        moved = self.points + by_mm * mitre
        if ((np.roll(moved, -1, axis=0) - moved) * along).sum(axis=1).min() <= 0.0:
            need = f"is too finely notched to have its edge eased by {by_mm:g} mm; smooth it"
            raise SpecError("pastry.outline", "(an outline)", need)
        return Polygon(points=moved)


Section = Round | Rectangle | Polygon


def section(outline: Outline, outset_mm: float) -> Section:
    """Return the exact parallel curve of an outline.

    Parameters
    ----------
    outline : Outline
        The pastry's outline.
    outset_mm : float
        How far outside it, inside where negative [mm].

    Returns
    -------
    Section
        A circle or rectangle as an exact curve, any other as its polygon. A sharp corner becomes
        round outside and stays sharp inside.
    """
    if outline.name == "round":
        return Round(radius_mm=outline.width_mm / 2.0 + outset_mm)
    if outline.name == "square":
        return Rectangle(
            width_mm=outline.width_mm + 2.0 * outset_mm,
            depth_mm=outline.depth_mm + 2.0 * outset_mm,
            corner_radius_mm=max(outline.corner_radius_mm + outset_mm, 0.0),
        )
    return Polygon(points=outline.inset(-outset_mm).points if outset_mm else outline.points)
