"""What a rotating cutter leaves of an engraving: its morphological closing by the cutter's shape.

The tip of a cutter that touches the surface M, and gouges it nowhere, stands at

    t(p) = max over u of M(p + u) - c(u),

c(u) the height of the cutter over its tip at the distance u from its axis: a dilation. What it cuts
when it has been everywhere is the lowest surface that it has swept, min over u of t(p - u) + c(u):
an erosion. One after the other they are the closing of M by -c [1]_. It never lies below M, and
where it lies above, the cutter does not get in.

.. [1] S. R. Sternberg, "Grayscale morphology", Computer Vision, Graphics, and Image Processing 35
   (1986), 333-355.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import ceil, isfinite, radians, sqrt, tan
from typing import Final

import numpy as np

from moulddesign.core import SpecError, read_number, say
from moulddesign.geometry import Points


class CutterForm(StrEnum):
    """Shape of a cutter's end."""

    BALL = "ball"
    FLAT = "flat"
    V = "v"


MOST_MM: Final = 20.0
"""Widest cutter for a mould as small as a pastry's; our choice [mm]."""
V_DEG: Final = (10.0, 150.0)
"""Angles of engraving cutters, point to point; our choice [deg]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cutter:
    """A cutter of a router or an engraving machine."""

    form: CutterForm
    diameter_mm: float
    """Of a V its flat tip, 0 for a point [mm]."""
    angle_deg: float | None = None
    """Of a V, from side to side [deg]."""

    def height_mm(self, radius_mm: float) -> float | None:
        """Return how high the cutter is over its tip at a distance from its axis [mm].

        None beyond the cutter.

        Examples
        --------
        >>> Cutter(form=CutterForm.BALL, diameter_mm=4.0).height_mm(2.0)
        2.0
        >>> Cutter(form=CutterForm.FLAT, diameter_mm=4.0).height_mm(2.1) is None
        True
        >>> round(Cutter(form=CutterForm.V, diameter_mm=0.0, angle_deg=90.0).height_mm(1.5), 9)
        1.5
        """
        half = self.diameter_mm / 2.0
        if self.angle_deg is not None:
            return max(radius_mm - half, 0.0) / tan(radians(self.angle_deg / 2.0))
        if radius_mm > half:
            return None
        return half - sqrt(half**2 - radius_mm**2) if self.form is CutterForm.BALL else 0.0

    def reach_mm(self, range_mm: float) -> float:
        """Return how far from its axis it can touch a surface of so large a range [mm]."""
        half = self.diameter_mm / 2.0
        if self.angle_deg is None:
            return half
        return half + range_mm * tan(radians(self.angle_deg / 2.0))

    def __str__(self) -> str:
        """Return it as it is typed."""
        sizes = [self.diameter_mm] if self.angle_deg is None else [self.angle_deg, self.diameter_mm]
        return ":".join([self.form.value, *(f"{size:g}" for size in sizes)])


def read_cutter(text: str) -> Cutter:
    """Return a cutter as it is typed: ball:3, flat:2, v:60 or v:60:0.2 with a flat tip.

    Raises
    ------
    SpecError
        The form is unknown, or a size cannot be used.

    Examples
    --------
    >>> str(read_cutter("ball:3mm")), read_cutter("v:60").diameter_mm
    ('ball:3', 0.0)
    """
    form, *sizes = (part.strip().lower() for part in text.split(":"))
    counts = {"ball": (1,), "flat": (1,), "v": (1, 2)}.get(form, ())
    if len(sizes) not in counts:
        raise SpecError("--cutter", text, say("relief.cutter-expected"))
    if form == "v":
        angle_deg = read_number("--cutter", sizes[0], "deg")
        if not V_DEG[0] <= angle_deg <= V_DEG[1]:
            raise SpecError("--cutter", text, say("relief.v-angle", least=V_DEG[0], most=V_DEG[1]))
        tip_mm = read_number("--cutter", sizes[1], "mm") if sizes[1:] else 0.0
        _refuse_size(text, tip_mm, least_is_zero=True)
        return Cutter(form=CutterForm.V, diameter_mm=tip_mm, angle_deg=angle_deg)
    diameter_mm = read_number("--cutter", sizes[0], "mm")
    _refuse_size(text, diameter_mm, least_is_zero=False)
    return Cutter(form=CutterForm(form), diameter_mm=diameter_mm)


def _refuse_size(text: str, size_mm: float, *, least_is_zero: bool) -> None:
    good = isfinite(size_mm) and 0.0 <= size_mm <= MOST_MM and (size_mm > 0.0 or least_is_zero)
    if not good:
        raise SpecError("--cutter", text, say("relief.cutter-size", most=MOST_MM))


def as_cut(surface: Points, cutter: Cutter, pixel_mm: float) -> Points:
    """Return the surface that a cutter leaves when it gouges nowhere: the closing.

    Parameters
    ----------
    surface : ndarray
        Heights of the mould, shape (rows, columns) [mm]. Beyond it there is nothing to gouge.
    pixel_mm : float
        Width of a pixel [mm].

    Returns
    -------
    ndarray
        Nowhere below the surface [mm]. The cutter's axis stands on pixels' centres: what it cuts
        between them is left out, so too much is counted as left by at most what the cutter's
        height changes over half a pixel.
    """
    offsets = tuple(_offsets(cutter, pixel_mm, float(np.ptp(surface))))
    tip = _shifted(surface, offsets, np.maximum, -1)
    return _shifted(tip, [(-row, -column, up) for row, column, up in offsets], np.minimum, 1)


def _offsets(cutter: Cutter, pixel_mm: float, range_mm: float) -> Iterator[tuple[int, int, float]]:
    """Yield the pixels under a cutter, and how high over its tip it is there [mm].

    What is higher than the surface's whole range touches nothing that the tip does not.
    """
    most = ceil(cutter.reach_mm(range_mm) / pixel_mm)
    for row in range(-most, most + 1):
        for column in range(-most, most + 1):
            up = cutter.height_mm(pixel_mm * float(np.hypot(row, column)))
            if up is not None and up <= range_mm:
                yield row, column, up


def _shifted(
    surface: Points,
    offsets: Sequence[tuple[int, int, float]],
    extreme: Callable[..., Points],
    sign: int,
) -> Points:
    """Return the extreme over all offsets u of the surface at p + u, with the cutter added."""
    made = np.full(surface.shape, sign * np.inf)
    rows, columns = surface.shape
    for row, column, up in offsets:
        if abs(row) >= rows or abs(column) >= columns:
            continue
        here = made[max(-row, 0) : rows - max(row, 0), max(-column, 0) : columns - max(column, 0)]
        there = surface[max(row, 0) : rows + min(row, 0), max(column, 0) : columns + min(column, 0)]
        extreme(here, there + sign * up, out=here)
    return made
