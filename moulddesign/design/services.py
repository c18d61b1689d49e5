"""Printing services: what is known of parts that somebody else makes, by process.

A service prints from files in nominal sizes and makes up for its own shrinkage. Nobody knows its
bed and, but for melted filament, which way round it lays a part: so heights are not rounded to
layers there. What one can ask for is a tolerance, and each wall of a width may take half of it.
"""

from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from types import MappingProxyType
from typing import Any, Final

from moulddesign.core import bundled_toml

SERVICE: Final = "service"
"""What stands for a printing service in the place of a printer's name."""

OWN_PRINTER: Final = ("print_error_mm", "shrink", "material")
"""Keys of a printer's table that tell of one's own printer, not of a service."""

FINE_STEP_MM: Final = 0.01
"""Step of the heights of parts whose layers nobody knows: as fine as calipers read [mm]."""


def left_behind(machine: object, other: object) -> tuple[str, ...]:
    """Return the keys of a printer's table that tell nothing of another machine.

    Examples
    --------
    >>> left_behind("common-220", "service"), left_behind("service", "small-bed")
    (('print_error_mm', 'shrink', 'material'), ('process',))
    """
    if other in {None, machine}:
        return ()
    return OWN_PRINTER if other == SERVICE else ("process",)


class Process(StrEnum):
    """How a service makes a part: the families of ISO/ASTM 52900, in workshop words."""

    FFF = "fff"
    """Melted filament: material extrusion."""
    RESIN = "resin"
    """Resin cured by light: vat photopolymerization."""
    POWDER = "powder"
    """Polymer powder fused by a laser or a lamp: powder bed fusion."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ServiceProcess:
    """What parts by a process are like."""

    tolerance_mm: float
    """How far a length may be off, either way [mm]."""
    detail_mm: float
    """Narrowest stroke that comes out [mm]."""
    least_wall_mm: float
    layer_height_mm: float
    material: str
    """What it usually prints, by its name among the materials."""
    source: str

    @property
    def error_mm(self) -> float:
        """How far one wall may lie from its mesh: a width has two of them [mm]."""
        return self.tolerance_mm / 2.0

    @property
    def figures(self) -> dict[str, Any]:
        """What a printer's table takes from it, where the table does not say so itself."""
        return {
            "line_width_mm": self.detail_mm,
            "layer_height_mm": self.layer_height_mm,
            "material": self.material,
        }


@cache
def service_processes() -> MappingProxyType[Process, ServiceProcess]:
    """Return the processes that services offer.

    Examples
    --------
    >>> service_processes()[Process.POWDER].error_mm  # of 0.3 mm on a width, half on each wall
    0.15
    """
    tables = bundled_toml("data", "processes.toml")
    return MappingProxyType({Process(name): ServiceProcess(**row) for name, row in tables.items()})
