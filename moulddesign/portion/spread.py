"""How far pieces scatter: from the scale, the hand, the centres, the densities, the loss.

Each cause acts to first order and by itself; together they add in squares.
"""

from dataclasses import asdict, dataclass
from math import hypot, sqrt
from typing import Any

from moulddesign.core import mm3_from_ml, require_positive
from moulddesign.design import CentresWeighed, Design
from moulddesign.portion.centres import centres_sd_g, known_centres
from moulddesign.portion.loss import loss_of
from moulddesign.portion.portion import Portion


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """What one cause alone would make of the piece: standard deviations."""

    name: str
    """In words."""
    raw_g: float
    """Standard deviation of the raw mass."""
    volume_ml: float
    """Of the pressed volume."""
    finished_g: float
    """Of the finished mass."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """Standard deviations of one piece, each cause taken as independent.

    What differs from piece to piece averages out over a pack or a batch. What is common, such as a
    density that is not well known, moves all pieces alike: no average helps, only a measurement.
    """

    pieces: tuple[Cause, ...]
    """Causes that act on each piece by itself: scale, hand, centres, loss from piece to piece."""
    common: tuple[Cause, ...]
    """Causes that act on all pieces alike: densities, the mean loss."""

    @property
    def raw_g(self) -> float:
        """Of the raw mass, from piece to piece; nothing common moves it [g]."""
        return hypot(*(cause.raw_g for cause in self.pieces))

    @property
    def volume_ml(self) -> float:
        """Of the pressed volume, from piece to piece [mL]."""
        return hypot(*(cause.volume_ml for cause in self.pieces))

    @property
    def finished_g(self) -> float:
        """Of the finished mass, from piece to piece [g]."""
        return hypot(*(cause.finished_g for cause in self.pieces))

    @property
    def common_volume_ml(self) -> float:
        """Of the pressed volume of all pieces alike [mL]."""
        return hypot(*(cause.volume_ml for cause in self.common))

    @property
    def common_finished_g(self) -> float:
        """Of the finished mass of all pieces alike [g]."""
        return hypot(*(cause.finished_g for cause in self.common))

    @property
    def all_volume_ml(self) -> float:
        """Of the pressed volume, from piece to piece and of all alike together [mL]."""
        return hypot(self.volume_ml, self.common_volume_ml)

    def report(self) -> dict[str, Any]:
        """Return the causes, and what those of each kind come to together, as plain values."""
        together = ("raw_g", "volume_ml", "finished_g", "common_volume_ml", "common_finished_g")
        return asdict(self) | {name: getattr(self, name) for name in together}

    def height_mm(self, area_mm2: float) -> float:
        """Return the standard deviation of the pressed height from piece to piece.

        Returns
        -------
        float
            That of the volume over the area of the outline [mm].

        Raises
        ------
        SpecError
            The area is not above 0.
        """
        return mm3_from_ml(self.volume_ml) / require_positive("area_mm2", area_mm2, "mm^2")


def weighing_sd_g(resolution_g: float, hand_error_g: float) -> float:
    """Return the standard deviation of one weighed part.

    Parameters
    ----------
    resolution_g : float
        Smallest step of the scale: the truth lies evenly within it [g].
    hand_error_g : float
        Standard deviation that the hand adds [g].

    Returns
    -------
    float
        sqrt(step^2 / 12 + hand^2) [g].

    Examples
    --------
    >>> weighing_sd_g(0.0, 0.5)
    0.5
    """
    return hypot(resolution_g / sqrt(12.0), hand_error_g)


def spread(design: Design, piece: Portion) -> Spread:
    """Return how far pieces scatter, to first order.

    Returns
    -------
    Spread
        sqrt(sum((df/dx_i s_i)^2)) [1]_. Crust and filling are weighed; a heavy centre makes a heavy
        piece only where centres are counted. Densities move the volume of all pieces alike.

    References
    ----------
    .. [1] JCGM 100:2008, Guide to the expression of uncertainty in measurement, 5.1.2.
    """
    table = design.portion
    loss = loss_of(table, raw_g=piece.raw_g, crust_g=piece.crust_g, paste_g=piece.paste_g)
    return Spread(
        pieces=(
            *_weighed(design, piece),
            *_centres(design, piece),
            _lost("loss of one piece", piece, table.loss_sd),
        ),
        common=(
            *_densities(design, piece),
            _lost("loss of all pieces", piece, loss.uncertainty),
        ),
    )


def _lost(name: str, piece: Portion, sd: float) -> Cause:
    """Return what an uncertain loss does: it moves the finished mass alone."""
    return Cause(name=name, raw_g=0.0, volume_ml=0.0, finished_g=piece.raw_g * sd)


def _weighed(design: Design, piece: Portion) -> tuple[Cause, ...]:
    """Return what scale and hand do: crust and paste are weighed, each with its own error."""
    # Each error has the deviation s: the mass of n parts scatters by sqrt(n) s, and the volume by s
    # times the root of the sum of 1 / rho^2.
    kept = 1.0 - piece.loss
    parts = ((piece.crust_ml, piece.crust_g), (piece.paste_ml, piece.paste_g))
    weighed = [volume_ml / mass_g for volume_ml, mass_g in parts if mass_g > 0.0]
    per_g = hypot(*weighed) * _air_factor(design)
    scale = design.scale
    errors = {"scale": weighing_sd_g(scale.resolution_g, 0.0), "hand": scale.hand_error_g}
    return tuple(
        Cause(
            name=name,
            raw_g=sqrt(len(weighed)) * sd,
            volume_ml=per_g * sd,
            finished_g=kept * sqrt(len(weighed)) * sd,
        )
        for name, sd in errors.items()
    )


def _centres(design: Design, piece: Portion) -> tuple[Cause, ...]:
    """Return what the masses of the centres do.

    Weighed together with the paste they do not change the mass: a heavy centre takes the place of
    as much paste, and only the difference of their densities is left, in the volume.
    """
    table = design.portion
    centres = known_centres(table)
    together = table.centres_weighed is CentresWeighed.WITH_PASTE
    paste_ml_per_g = 1.0 / table.filling_density.g_per_ml if together else 0.0
    volumes = [c.total_sd_g * (1.0 / c.density_g_per_ml - paste_ml_per_g) for c in centres]
    mass_sd_g = 0.0 if together else centres_sd_g(centres)
    mass = Cause(
        name="centre mass",
        raw_g=mass_sd_g,
        volume_ml=hypot(*volumes) * _air_factor(design),
        finished_g=(1.0 - piece.loss) * mass_sd_g,
    )
    return (mass,) if centres else ()


def _densities(design: Design, piece: Portion) -> tuple[Cause, ...]:
    table = design.portion
    only = "crust density" if table.is_filled else "density"
    shares = {
        only: piece.crust_ml * table.crust_density.sd_g_per_ml / table.crust_density.g_per_ml,
        "filling density": piece.paste_ml
        * table.filling_density.sd_g_per_ml
        / table.filling_density.g_per_ml,
        "centre density": hypot(
            *(c.total_ml * c.density_sd_g_per_ml / c.density_g_per_ml for c in known_centres(table))
        ),
    }
    return tuple(
        Cause(name=name, raw_g=0.0, volume_ml=sd * _air_factor(design), finished_g=0.0)
        for name, sd in shares.items()
        if table.is_filled or name == only
    )


def _air_factor(design: Design) -> float:
    """Return the factor by which trapped air makes every volume larger."""
    return 1.0 / (1.0 - design.portion.trapped_air)
