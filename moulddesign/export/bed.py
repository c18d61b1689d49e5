"""Parts side by side on the printer's bed."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from moulddesign.mesh import Mesh

GAP_MM: Final = 8.0
"""Between neighbours, room for a brim around each; our choice [mm]."""


@dataclass(slots=True)
class _Plate:
    """Rows of parts from the front of a bed to its back."""

    width_mm: float
    depth_mm: float
    x: float = 0.0
    y: float = 0.0
    row: float = 0.0

    def place(self, wide: float, deep: float) -> tuple[float, float] | None:
        """Return the near left corner of a free place; None where the bed is full."""
        if self.x > 0.0 and self.x + wide > self.width_mm:
            self.x, self.y, self.row = 0.0, self.y + self.row + GAP_MM, 0.0
        if self.y > 0.0 and self.y + deep > self.depth_mm:
            return None
        corner = (self.x, self.y)
        self.x += wide + GAP_MM
        self.row = max(self.row, deep)
        return corner


def laid_out(
    meshes: Mapping[str, Mesh], bed_mm: tuple[float, float, float]
) -> tuple[tuple[str, tuple[float, float, float]], ...]:
    """Return how far each part moves so that they lie side by side on the bed.

    Parameters
    ----------
    meshes : mapping of str to Mesh
        Each on z = 0 [mm].
    bed_mm : tuple of float
        Build volume: x, y, z [mm].

    Returns
    -------
    tuple of (str, tuple of float)
        Name and shift of each, in the order given. The first bed's parts are centred on it; what
        it has no room for lies to its right, where slicers count it as a plate of its own [mm].
    """
    width, depth, _ = bed_mm
    plates: list[list[tuple[str, float, float]]] = [[]]
    plate = _Plate(width, depth)
    for name, mesh in meshes.items():
        wide, deep, _ = mesh.size_mm.tolist()
        corner = plate.place(wide, deep)
        if corner is None:
            plates.append([])
            plate = _Plate(width, depth)
            corner = plate.place(wide, deep) or (0.0, 0.0)
        plates[-1].append((name, *corner))
    return tuple(
        (name, _shift(meshes, name, (x + ox + number * (width + GAP_MM), y + oy)))
        for number, rows in enumerate(plates)
        for ox, oy in [_margin(meshes, rows, (width, depth))]
        for name, x, y in rows
    )


def _margin(
    meshes: Mapping[str, Mesh], rows: list[tuple[str, float, float]], bed_mm: tuple[float, float]
) -> tuple[float, float]:
    """Return how far the whole lies from the bed's near left corner when it is centred."""
    ends = [np.array([x, y]) + meshes[name].size_mm[:2] for name, x, y in rows]
    x, y = ((np.array(bed_mm) - np.max(ends, axis=0)) / 2.0).tolist()
    return x, y


def _shift(
    meshes: Mapping[str, Mesh], name: str, corner: tuple[float, float]
) -> tuple[float, float, float]:
    low = meshes[name].bounds[0]
    return float(corner[0] - low[0]), float(corner[1] - low[1]), 0.0
