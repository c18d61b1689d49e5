"""Printers by what matters to a mould, not by who makes them."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Machine:
    """A printer.

    Parameters
    ----------
    nozzle_mm, line_width_mm, layer_height_mm : float
        Nozzle, line and layer that it is usually run with [mm].
    bed_mm : tuple of float
        Build volume: x, y, z [mm].
    flow_mm3_per_s : float
        Plastic that its nozzle can lay [mm^3/s].
    source : str
        Where the figures come from, with their status.
    """

    nozzle_mm: float
    line_width_mm: float
    layer_height_mm: float
    bed_mm: tuple[float, float, float]
    flow_mm3_per_s: float
    source: str
