"""The piece before it is pressed: balls, the roll that enters the bore, the wrapping disc."""

from dataclasses import dataclass
from math import pi, sqrt

from moulddesign.core import SpecError, mm3_from_ml, not_negative, positive
from moulddesign.design import Design
from moulddesign.portion.portion import Portion


def ball_diameter_mm(volume_ml: float) -> float:
    """Return the diameter of a ball.

    Parameters
    ----------
    volume_ml : float
        Its volume [mL].

    Returns
    -------
    float
        (6 V / pi)^(1/3), exact [mm].

    Raises
    ------
    SpecError
        The volume is not above 0.

    Examples
    --------
    >>> from math import pi
    >>> round(ball_diameter_mm(pi / 6), 9)
    10.0
    """
    return float((6.0 * mm3_from_ml(positive("volume_ml", volume_ml, "mL")) / pi) ** (1 / 3))


def shell_thickness_mm(inside_ml: float, whole_ml: float) -> float:
    """Return how thick the crust lies around the ball of filling.

    Parameters
    ----------
    inside_ml, whole_ml : float
        Volume of the filling, and of the wrapped piece [mL].

    Returns
    -------
    float
        Half the difference of the two balls' diameters, exact [mm].

    Raises
    ------
    SpecError
        A volume is not above 0, or the inside is larger than the whole.
    """
    if inside_ml > whole_ml:
        raise SpecError("inside_ml", inside_ml, f"must be at most the whole {whole_ml:.4g} mL")
    return (ball_diameter_mm(whole_ml) - ball_diameter_mm(inside_ml)) / 2.0


def disc_diameter_mm(crust_ml: float, thickness_mm: float) -> float:
    """Return the diameter of the disc that all of the crust makes.

    Parameters
    ----------
    crust_ml : float
        Volume of the crust [mL].
    thickness_mm : float
        Thickness to roll it to [mm].

    Returns
    -------
    float
        sqrt(4 V / (pi t)), exact [mm].

    Raises
    ------
    SpecError
        A value is not above 0.

    Examples
    --------
    >>> from math import pi
    >>> round(disc_diameter_mm(2.5 * pi, 1.0), 9)
    100.0
    """
    positive("crust_ml", crust_ml, "mL")
    positive("crust_thickness_mm", thickness_mm, "mm")
    return sqrt(4.0 * mm3_from_ml(crust_ml) / (pi * thickness_mm))


@dataclass(frozen=True, slots=True, kw_only=True)
class Roll:
    """A standing cylinder or block that enters the bore.

    Parameters
    ----------
    across_mm : float
        Diameter of the cylinder, or side of the square block [mm].
    length_mm : float
        Its height [mm].
    """

    across_mm: float
    length_mm: float


def cylinder_for_bore(volume_ml: float, bore_mm: float, room_mm: float) -> Roll:
    """Return the cylinder to roll so that it enters a bore with room around it.

    Parameters
    ----------
    volume_ml : float
        Volume of the wrapped piece [mL].
    bore_mm : float
        Narrowest width of the bore: the diameter of the largest circle in it [mm].
    room_mm : float
        Gap on each side [mm].

    Returns
    -------
    Roll
        Of the bore's width less twice the room, exact.

    Raises
    ------
    SpecError
        A value is out of range, or no width is left.

    Examples
    --------
    >>> from math import pi
    >>> cylinder_for_bore(10 * pi, 23.0, 1.5)
    Roll(across_mm=20.0, length_mm=100.0)
    """
    across_mm = _across_mm(volume_ml, bore_mm, room_mm)
    return Roll(
        across_mm=across_mm, length_mm=mm3_from_ml(volume_ml) / (pi * (across_mm / 2.0) ** 2)
    )


def block_for_bore(volume_ml: float, bore_mm: float, room_mm: float) -> Roll:
    """Return the square block to shape so that it enters a square bore with room around it.

    Parameters
    ----------
    volume_ml : float
        Volume of the wrapped piece [mL].
    bore_mm : float
        Side of the square bore [mm].
    room_mm : float
        Gap on each side; the block's corners are pressed in to the bore's radius by hand [mm].

    Returns
    -------
    Roll
        Of the bore's side less twice the room, exact.

    Raises
    ------
    SpecError
        A value is out of range, or no side is left.

    Examples
    --------
    >>> block_for_bore(40.0, 23.0, 1.5)
    Roll(across_mm=20.0, length_mm=100.0)
    """
    across_mm = _across_mm(volume_ml, bore_mm, room_mm)
    return Roll(across_mm=across_mm, length_mm=mm3_from_ml(volume_ml) / across_mm**2)


def roll_for(design: Design, piece: Portion, bore_mm: float) -> Roll | None:
    """Return what to roll so that the piece enters its bore; None where its ball enters as it is.

    Parameters
    ----------
    design : Design
        Outline and room: a square is entered by a block, any other outline by a cylinder.
    piece : Portion
        Its volume, with trapped air.
    bore_mm : float
        Diameter of the largest circle in the bore [mm].

    Raises
    ------
    SpecError
        No width is left beside the room.
    """
    width_mm, least_mm = design.pastry.width_mm, 2.0 * design.portion.bore_room_mm
    if width_mm is not None and width_mm <= least_mm:
        need = (
            f"must be above {least_mm:g} mm, twice portion.bore_room_mm; take a wider pastry or "
            "leave less room"
        )
        raise SpecError("pastry.width_mm", width_mm, need)
    shape = block_for_bore if design.pastry.outline == "square" else cylinder_for_bore
    roll = shape(piece.volume_ml, bore_mm, design.portion.bore_room_mm)
    return None if ball_diameter_mm(piece.volume_ml) <= roll.across_mm else roll


def _across_mm(volume_ml: float, bore_mm: float, room_mm: float) -> float:
    positive("volume_ml", volume_ml, "mL")
    positive("bore_mm", bore_mm, "mm")
    across_mm = bore_mm - 2.0 * not_negative("bore_room_mm", room_mm, "mm")
    if across_mm <= 0.0:
        raise SpecError(
            "portion.bore_room_mm",
            room_mm,
            f"must be below half of the bore's {bore_mm:.4g} mm; leave less room",
        )
    return across_mm


@dataclass(frozen=True, slots=True, kw_only=True)
class Balls:
    """Diameters of the balls before pressing.

    Parameters
    ----------
    crust_mm, filling_mm, wrapped_mm : float
        Crust dough; filling with its centres; the wrapped piece with trapped air [mm].
    shell_mm : float
        Thickness of the crust around the ball of filling [mm].
    disc_mm : float
        Diameter of a disc of that thickness made of all the crust [mm].
    """

    crust_mm: float
    filling_mm: float
    wrapped_mm: float
    shell_mm: float
    disc_mm: float


def balls(piece: Portion) -> Balls:
    """Return the balls to roll for a piece, and the disc that wraps the filling's ball.

    Parameters
    ----------
    piece : Portion
        Its volumes.
    """
    whole_ml = piece.crust_ml + piece.filled_ml
    shell_mm = shell_thickness_mm(piece.filled_ml, whole_ml)
    return Balls(
        crust_mm=ball_diameter_mm(piece.crust_ml),
        filling_mm=ball_diameter_mm(piece.filled_ml),
        wrapped_mm=ball_diameter_mm(piece.volume_ml),
        shell_mm=shell_mm,
        disc_mm=disc_diameter_mm(piece.crust_ml, shell_mm),
    )
