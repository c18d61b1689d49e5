"""A cavity as it was measured, whichever way."""

from dataclasses import dataclass
from math import hypot
from typing import Protocol

from scipy.optimize import brentq

from moulddesign.pastry.outline import Outline
from moulddesign.portion import Mean


class Body(Protocol):
    """The shape of a cavity, as far as a crust needs it."""

    @property
    def width_mm(self) -> float:
        """Least extent across [mm]."""

    @property
    def height_mm(self) -> float:
        """Rim to floor [mm]."""

    def inside_mm3(self, thickness_mm: float) -> float:
        """Return the volume that lies deeper than a thickness [mm^3]."""


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Doubt:
    """What one cause alone makes of the volume.

    Parameters
    ----------
    name : str
        The cause, in words.
    volume_mm3 : float
        Standard uncertainty of the volume [mm^3].
    """

    name: str
    volume_mm3: float


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Bore:
    """A press mould's bore, in which the pressed height follows the volume.

    Parameters
    ----------
    outline : Outline
        Of the bore.
    beyond_mm3 : float
        Volume beyond area times height: relief less shoulder [mm^3].
    """

    outline: Outline
    beyond_mm3: float

    def volume_mm3(self, height_mm: float) -> float:
        """Return what it holds with the stamp's flat face at a height, exact [mm^3]."""
        return self.outline.area_mm2 * height_mm + self.beyond_mm3

    def height_mm(self, volume_mm3: float) -> float:
        """Return the height to the flat top at which it holds a volume, exact [mm]."""
        return (volume_mm3 - self.beyond_mm3) / self.outline.area_mm2


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Measured:
    """A cavity as it was measured.

    Parameters
    ----------
    volume_mm3 : float
        What it holds [mm^3].
    doubts : tuple of Doubt
        How well that is known, by cause.
    body : Body or None
        Its shape, where it is known.
    relief_depth_mm : float
        Depth of the relief, 0 where there is none or it is not known [mm].
    bore : Bore or None
        Where it is a press mould.
    remarks : tuple of str
        Sentences on how it was measured.
    weighings : Mean or None
        Mass of the water that fills it [g].
    """

    volume_mm3: float
    doubts: tuple[Doubt, ...]
    body: Body | None
    relief_depth_mm: float = 0.0
    bore: Bore | None = None
    remarks: tuple[str, ...] = ()
    weighings: Mean | None = None

    @property
    def volume_sd_mm3(self) -> float:
        """Standard uncertainty of the volume, causes taken as independent [mm^3]."""
        return hypot(*(doubt.volume_mm3 for doubt in self.doubts))


def crust_mm(body: Body, filled_mm3: float) -> float | None:
    """Return the thickness of a crust that is the same under wall, floor and mouth.

    Parameters
    ----------
    body : Body
        The cavity.
    filled_mm3 : float
        Volume inside the crust [mm^3].

    Returns
    -------
    float or None
        None where the filling alone needs all of the room [mm].
    """
    if filled_mm3 >= body.inside_mm3(0.0):
        return None

    def left_mm3(thickness_mm: float) -> float:
        return body.inside_mm3(thickness_mm) - filled_mm3

    return float(brentq(left_mm3, 0.0, body.height_mm / 2.0, xtol=1e-6))
