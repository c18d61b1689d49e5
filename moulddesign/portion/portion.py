"""Masses and volumes of one piece, from its finished weight; masses as a scale shows them.

The raw mass is the finished one and what baking and resting take. It divides into crust and
filling by the ratio; centres come out of the filling, or stand apart. Volumes are masses over
densities, and the trapped air makes them larger.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, floor, fsum, isclose
from statistics import NormalDist
from typing import Final

from moulddesign.core import (
    SpecError,
    ml_from_mm3,
    require_not_negative,
    require_positive,
    say,
    word,
)
from moulddesign.design import CentresWeighed, CountsIn, PortionTable
from moulddesign.portion.centres import centres_g, centres_sd_g, known_centres
from moulddesign.portion.loss import finished_from_raw_g, loss_of, raw_from_finished_g


@dataclass(frozen=True, slots=True, kw_only=True)
class Portion:
    """What goes on the scale for one piece, and the room that it takes."""

    finished_g: float
    """When eaten."""
    raw_g: float
    """Before baking."""
    loss: float
    """Share of the raw mass that is lost by the end of resting."""
    crust_g: float
    filling_g: float
    """Paste, and the centres that count in it."""
    paste_g: float
    centre_g: float
    """All centres together."""
    crust_ml: float
    paste_ml: float
    centre_ml: float
    volume_ml: float
    """Pressed: crust, paste, centres and the trapped air."""

    @property
    def filled_ml(self) -> float:
        """Volume inside the crust: paste and centres, without trapped air [mL]."""
        return self.paste_ml + self.centre_ml


def portion(table: PortionTable, finished_g: float | None = None) -> Portion:
    """Return the masses and volumes of one piece.

    Parameters
    ----------
    table : PortionTable
        Finished weight, ratio, loss, densities and centres.
    finished_g : float, optional
        Finished weight in the place of the table's [g].

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
    if finished_g is None:
        finished_g = table.finished_weight_g
    raw_g = raw_from_finished_g(table, finished_g)
    centres = known_centres(table)
    inside_g = centres_g(centres, CountsIn.FILLING)
    apart_g = centres_g(centres, CountsIn.APART)
    if apart_g >= raw_g:
        raise SpecError(
            "portion.centres",
            f"{apart_g:g} g",
            say("portion.centres-outweigh-piece", raw_g=raw_g),
        )
    crust_g = table.crust_share * (raw_g - apart_g)
    filling_g = raw_g - apart_g - crust_g
    if table.is_filled and inside_g >= filling_g:
        raise SpecError(
            "portion.centres",
            f"{inside_g:g} g",
            say("portion.centres-outweigh-filling", filling_g=filling_g),
        )
    paste_g = filling_g - inside_g
    crust_ml = crust_g / table.crust_density.g_per_ml
    paste_ml = paste_g / table.filling_density.g_per_ml
    centre_ml = fsum(centre.total_ml for centre in centres)
    return Portion(
        finished_g=finished_g,
        raw_g=raw_g,
        loss=loss_of(table, raw_g=raw_g, crust_g=crust_g, paste_g=paste_g).ratio,
        crust_g=crust_g,
        filling_g=filling_g,
        paste_g=paste_g,
        centre_g=inside_g + apart_g,
        crust_ml=crust_ml,
        paste_ml=paste_ml,
        centre_ml=centre_ml,
        volume_ml=(crust_ml + paste_ml + centre_ml) / (1.0 - table.trapped_air),
    )


GRAM_DECIMALS: Final = 9
FINEST_STEP_G: Final = 10.0**-GRAM_DECIMALS
"""No scale's step is finer than what masses are rounded to; our choice [g]."""


def rounded_keeping_total(
    masses_g: Sequence[float], step_g: float, least_g: float = 0.0
) -> tuple[float, ...]:
    """Return masses in whole steps of the scale whose sum is as near as it can be.

    Parameters
    ----------
    masses_g : sequence of float
        Masses to round [g].
    step_g : float
        Smallest step of the scale [g].
    least_g : float
        What the rounded sum must reach, at most the exact sum [g].

    Returns
    -------
    tuple of float
        Each mass one of its two neighbours on the scale; the sum is within half a step of the
        exact sum, or the next above where that is below `least_g`. Those whose remainder is
        largest go up, the first of equals first [g].

    Raises
    ------
    SpecError
        A mass is negative or not a number, or the step is not above 0.

    Examples
    --------
    >>> rounded_keeping_total([22.4, 37.4, 10.3], 1.0)  # 70.1 in all
    (23.0, 37.0, 10.0)
    """
    require_positive("resolution_g", step_g, "g")
    steps = [_steps(require_not_negative("mass_g", mass, "g"), step_g) for mass in masses_g]
    # Largest remainders: all go down, and as many go up as the rounded sum lacks. There are fewer
    # of these than masses, so no mass moves by more than its neighbour on the scale.
    down = [floor(count) for count in steps]
    total = max(floor(fsum(steps) + 0.5), ceil(_steps(least_g, step_g)))
    missing = total - sum(down)
    order = sorted(range(len(steps)), key=lambda i: (down[i] - steps[i], i))
    up = set(order[:missing])
    return tuple(on_scale_g(count + (i in up), step_g) for i, count in enumerate(down))


def on_scale_g(count: int, step_g: float) -> float:
    """Return a number of steps in grams, without the noise of binary fractions.

    Examples
    --------
    >>> on_scale_g(3, 0.1)
    0.3
    """
    return round(count * step_g, GRAM_DECIMALS)


def _steps(mass_g: float, step_g: float) -> float:
    """Return the steps in a mass; a whole number where only binary fractions keep it from one."""
    if step_g < FINEST_STEP_G:
        raise SpecError("resolution_g", step_g, say("portion.scale-too-fine", finest=FINEST_STEP_G))
    count = mass_g / step_g
    return float(round(count)) if isclose(count, round(count), rel_tol=1e-12) else count


MOST_PIECES_SDS: Final = NormalDist().inv_cdf(0.975)
"""Standard deviations either way within which 95 of 100 pieces lie."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Split:
    """What to set on the scale for one piece.

    What is weighed is in whole steps of the scale: the crust, and the paste alone where centres are
    counted, else the filling.
    """

    crust_g: float
    filling_g: float
    """Paste and all centres, those that stand apart too."""
    paste_g: float
    """Beside centres of their nominal mass."""
    centre_g: float
    """All centres together."""
    paste_range_g: tuple[float, float]
    """Paste of 95 of 100 pieces: what heavy and light centres leave of a filling that is weighed
    with them; where the paste itself is weighed, that."""
    raw_g: float
    rounding_g: float
    """By how much the raw mass is above the exact one."""
    rounding_ml: float
    """By how much the pressed volume is."""
    crust_share: float
    """Crust as a share of crust and filling, after rounding."""

    @property
    def ratio(self) -> str:
        """Crust to filling after rounding, in parts of 10."""
        return f"{10 * self.crust_share:.2f}:{10 * (1 - self.crust_share):.2f}"


def split_on_scale(
    piece: Portion, table: PortionTable, step_g: float, least_raw_g: float = 0.0
) -> Split:
    """Return the piece's masses rounded to the scale.

    Parameters
    ----------
    piece : Portion
        The exact masses.
    table : PortionTable
        What they come from: densities, and which centres count in the filling.
    step_g : float
        Smallest step of the scale [g].
    least_raw_g : float
        What the raw piece must weigh at least, as a label asks for; at most its exact mass [g].

    Raises
    ------
    SpecError
        The scale is so coarse that crust or paste would round to nothing.
    """
    centres = known_centres(table)
    together = table.centres_weighed is CentresWeighed.WITH_PASTE
    # What is weighed beside the crust, and what is not: that is added as it is.
    beside_g = 0.0 if together else piece.centre_g
    weighed_g = piece.paste_g + piece.centre_g - beside_g
    least_g = max(least_raw_g - beside_g, 0.0)
    crust_g, on_scale = rounded_keeping_total((piece.crust_g, weighed_g), step_g, least_g)
    filling_g = on_scale + beside_g
    paste_g = round(filling_g - piece.centre_g, GRAM_DECIMALS)
    for part, rounded, exact in (
        ("crust", crust_g, piece.crust_g),
        ("paste", paste_g, piece.paste_g),
    ):
        if rounded <= 0.0 < exact:
            need = say("portion.part-rounds-to-nothing", part=word(part), exact_g=exact)
            raise SpecError("scale.resolution_g", step_g, need)
    reach_g = MOST_PIECES_SDS * centres_sd_g(centres) if together else 0.0
    return Split(
        crust_g=crust_g,
        filling_g=filling_g,
        paste_g=paste_g,
        centre_g=piece.centre_g,
        paste_range_g=(paste_g - reach_g, paste_g + reach_g),
        raw_g=crust_g + filling_g,
        rounding_g=crust_g + filling_g - piece.raw_g,
        rounding_ml=(
            (crust_g - piece.crust_g) / table.crust_density.g_per_ml
            + (paste_g - piece.paste_g) / table.filling_density.g_per_ml
        )
        / (1.0 - table.trapped_air),
        crust_share=crust_g / (crust_g + filling_g - centres_g(centres, CountsIn.APART)),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class TrialMould:
    """The mould that a trial was pressed in.

    Raises
    ------
    SpecError
        A value is not above 0.
    """

    volume_ml: float
    """At its nominal height, with the relief."""
    height_mm: float
    """The nominal height, to the flat top."""
    area_mm2: float
    """Of its outline."""
    width_mm: float | None = None
    """Of its outline; None where it is not known."""
    relief_mm: float | None = None
    """Depth of the relief; None without one."""

    def __post_init__(self) -> None:
        require_positive("volume_ml", self.volume_ml, "mL")
        require_positive("height_mm", self.height_mm, "mm")
        require_positive("area_mm2", self.area_mm2, "mm^2")

    def volume_at_ml(self, height_mm: float) -> float:
        """Return the volume of a piece pressed to another height.

        Returns
        -------
        float
            Exact for a straight wall; the relief stays the same [mL].

        Raises
        ------
        SpecError
            Nothing but relief would be left.
        """
        require_positive("height_mm", height_mm, "mm")
        volume = self.volume_ml + ml_from_mm3(self.area_mm2 * (height_mm - self.height_mm))
        if volume <= 0.0:
            raise SpecError("height_mm", height_mm, say("portion.height-only-relief"))
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
    require_positive("volume_ml", volume_ml, "mL")
    centres = known_centres(table)
    inside_g = centres_g(centres, CountsIn.FILLING)
    apart_g = centres_g(centres, CountsIn.APART)
    centre_ml = fsum(centre.total_ml for centre in centres)
    per_g = (
        table.crust_share / table.crust_density.g_per_ml
        + (1.0 - table.crust_share) / table.filling_density.g_per_ml
    )
    room_ml = volume_ml * (1.0 - table.trapped_air) - centre_ml
    # With the raw mass d without the centres that stand apart, the crust is c d and the paste
    # (1 - c) d less the centres inside; their volumes add up to the room, which is linear in d.
    dough_g = (room_ml + inside_g / table.filling_density.g_per_ml) / per_g
    paste_g = (1.0 - table.crust_share) * dough_g - inside_g
    if room_ml <= 0.0 or (table.is_filled and paste_g <= 0.0):
        raise SpecError(
            "volume_ml", volume_ml, say("portion.centres-fill-volume", centre_ml=centre_ml)
        )
    return finished_from_raw_g(table, dough_g + apart_g)
