"""Masses and volumes of one piece, from its finished weight."""

from dataclasses import dataclass
from math import fsum

from moulddesign.design import CountsIn, PortionTable
from moulddesign.errors import SpecError


@dataclass(frozen=True, slots=True, kw_only=True)
class Portion:
    """What goes on the scale for one piece, and the room that it takes.

    Parameters
    ----------
    finished_g, raw_g : float
        Mass when eaten, and before baking [g].
    loss : float
        Share of the raw mass lost by the end of resting.
    crust_g, filling_g, paste_g, centre_g : float
        Crust dough; filling (paste, and the centres that count in it); paste alone; all centres
        together [g].
    crust_ml, paste_ml, centre_ml : float
        Volumes of crust, paste and centres [mL].
    volume_ml : float
        Pressed volume: the three together and the trapped air [mL].
    """

    finished_g: float
    raw_g: float
    loss: float
    crust_g: float
    filling_g: float
    paste_g: float
    centre_g: float
    crust_ml: float
    paste_ml: float
    centre_ml: float
    volume_ml: float

    @property
    def filled_ml(self) -> float:
        """Volume inside the crust: paste and centres, without trapped air [mL]."""
        return self.paste_ml + self.centre_ml


def raw_mass_g(finished_g: float, loss: float) -> float:
    """Return the mass to scale for a mass that is left after baking and resting.

    Parameters
    ----------
    finished_g : float
        Mass of the finished piece [g].
    loss : float
        Share of the raw mass that is lost, below 1.

    Returns
    -------
    float
        finished / (1 - loss), exact [g].

    Examples
    --------
    >>> raw_mass_g(75.0, 0.25)
    100.0
    """
    return finished_g / (1.0 - loss)


def portion(table: PortionTable) -> Portion:
    """Return the masses and volumes of one piece.

    Parameters
    ----------
    table : PortionTable
        Finished weight, ratio, loss, densities and centres.

    Raises
    ------
    SpecError
        The centres are as heavy as the filling they count in, or as the piece.

    Notes
    -----
    Centres that count in the filling leave paste = filling - centres. Centres that stand apart
    come off the raw mass first, and the ratio divides what is left. The volume is
    sum(m_i / rho_i) / (1 - trapped air).
    """
    raw_g = raw_mass_g(table.finished_weight_g, table.loss)
    inside_g = _centres_g(table, CountsIn.FILLING)
    apart_g = _centres_g(table, CountsIn.APART)
    if apart_g >= raw_g:
        raise SpecError(
            "portion.centres",
            f"{apart_g:g} g",
            f"must weigh less than the raw piece of {raw_g:.4g} g; take a lighter centre or a "
            "heavier piece",
        )
    crust_g = table.crust_share * (raw_g - apart_g)
    filling_g = raw_g - apart_g - crust_g
    if inside_g >= filling_g:
        raise SpecError(
            "portion.centres",
            f"{inside_g:g} g",
            f"must weigh less than the filling of {filling_g:.4g} g that they count in; take a "
            'lighter centre, more filling, or counts_in = "apart"',
        )
    paste_g = filling_g - inside_g
    crust_ml = crust_g / table.crust_density_g_per_ml
    paste_ml = paste_g / table.filling_density_g_per_ml
    centre_ml = fsum(c.count * c.mass_g / c.density_g_per_ml for c in table.centres)
    return Portion(
        finished_g=table.finished_weight_g,
        raw_g=raw_g,
        loss=table.loss,
        crust_g=crust_g,
        filling_g=filling_g,
        paste_g=paste_g,
        centre_g=inside_g + apart_g,
        crust_ml=crust_ml,
        paste_ml=paste_ml,
        centre_ml=centre_ml,
        volume_ml=(crust_ml + paste_ml + centre_ml) / (1.0 - table.trapped_air),
    )


def _centres_g(table: PortionTable, counts_in: CountsIn) -> float:
    return fsum(c.count * c.mass_g for c in table.centres if c.counts_in is counts_in)
