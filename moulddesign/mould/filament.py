"""What a part takes of filament, money and time, all of it printed solid."""

from dataclasses import dataclass
from math import pi

from moulddesign.design import PrinterTable


@dataclass(frozen=True, slots=True, kw_only=True)
class Filament:
    """What printing takes.

    Parameters
    ----------
    mass_g : float
        Mass [g].
    length_m : float
        Length of filament [m].
    price : float or None
        In the currency of the price; none where there is no price.
    least_min : float
        Lower bound of the time: volume by flow, no travel, no slow corners, no heating [min].
    """

    mass_g: float
    length_m: float
    price: float | None
    least_min: float

    def report(self) -> dict[str, float | None]:
        """Return it as plain values, as a part's row in `report.json`."""
        return {
            "print_g": self.mass_g,
            "filament_m": self.length_m,
            "least_print_min": self.least_min,
            "print_price": self.price,
        }


def filament(volume_mm3: float, printer: PrinterTable) -> Filament:
    """Return what printing a solid volume takes.

    Parameters
    ----------
    volume_mm3 : float
        Of the part [mm^3].
    printer : PrinterTable
        Plastic, filament, flow, price.

    Examples
    --------
    >>> round(filament(1000.0, PrinterTable(material="PLA")).mass_g, 2)  # 1 mL
    1.24
    """
    mass_g = volume_mm3 / 1000.0 * printer.plastic.density_g_per_ml
    priced = printer.price_per_kg
    return Filament(
        mass_g=mass_g,
        length_m=volume_mm3 / (pi / 4.0 * printer.filament_mm**2) / 1000.0,
        price=None if priced is None else priced * mass_g / 1000.0,
        least_min=volume_mm3 / printer.flow_mm3_per_s / 60.0,
    )
