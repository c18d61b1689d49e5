"""What a mould that exists takes: its volume at a height, and the piece that fills it."""

from dataclasses import dataclass
from math import fsum

from moulddesign.design import CountsIn, PortionTable
from moulddesign.errors import SpecError
from moulddesign.portion.limits import positive
from moulddesign.units import ml_from_mm3


@dataclass(frozen=True, slots=True, kw_only=True)
class PressedIn:
    """The mould that the trial was pressed in.

    Parameters
    ----------
    volume_ml : float
        Its volume at its nominal height, with the relief [mL].
    height_mm : float
        That height, to the flat top [mm].
    area_mm2 : float
        Area of its outline [mm^2].

    Raises
    ------
    SpecError
        A value is not above 0.
    """

    volume_ml: float
    height_mm: float
    area_mm2: float

    def __post_init__(self) -> None:
        positive("volume_ml", self.volume_ml, "mL")
        positive("height_mm", self.height_mm, "mm")
        positive("area_mm2", self.area_mm2, "mm^2")

    def volume_at_ml(self, height_mm: float) -> float:
        """Return the volume of a piece pressed to another height.

        Parameters
        ----------
        height_mm : float
            Height to the flat top [mm].

        Returns
        -------
        float
            Exact for a straight wall; the relief stays the same [mL].

        Raises
        ------
        SpecError
            Nothing but relief would be left.
        """
        positive("height_mm", height_mm, "mm")
        volume = self.volume_ml + ml_from_mm3(self.area_mm2 * (height_mm - self.height_mm))
        if volume <= 0.0:
            raise SpecError("height_mm", height_mm, "must be more than the relief; measure again")
        return volume


def finished_filling_g(table: PortionTable, volume_ml: float) -> float:
    """Return the finished weight of the piece that fills a volume.

    Parameters
    ----------
    table : PortionTable
        Ratio, loss, densities and centres; its finished weight does not count.
    volume_ml : float
        Volume to fill [mL].

    Returns
    -------
    float
        sum(m_i / rho_i) / (1 - trapped air) = V, solved for the mass; exact, for with the
        centres given it is linear in it [g].

    Raises
    ------
    SpecError
        The volume is not above 0, or the centres leave no room for crust and paste.
    """
    positive("volume_ml", volume_ml, "mL")
    inside_g = _centres_g(table, CountsIn.FILLING)
    apart_g = _centres_g(table, CountsIn.APART)
    centre_ml = fsum(c.count * c.mass_g / c.density_g_per_ml for c in table.centres)
    per_g = (
        table.crust_share / table.crust_density_g_per_ml
        + (1.0 - table.crust_share) / table.filling_density_g_per_ml
    )
    room_ml = volume_ml * (1.0 - table.trapped_air) - centre_ml
    dough_g = (room_ml + inside_g / table.filling_density_g_per_ml) / per_g
    if room_ml <= 0.0 or (1.0 - table.crust_share) * dough_g <= inside_g:
        raise SpecError(
            "volume_ml",
            volume_ml,
            f"must be more than the centres of {centre_ml:.3g} mL with crust and paste around "
            "them; take a smaller centre",
        )
    return (dough_g + apart_g) * (1.0 - table.loss)


def _centres_g(table: PortionTable, counts_in: CountsIn) -> float:
    return fsum(c.count * c.mass_g for c in table.centres if c.counts_in is counts_in)
