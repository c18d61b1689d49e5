"""The piece before it is pressed: balls, the roll that enters the bore, the wrapping disc."""

from dataclasses import dataclass
from math import pi, sqrt

from moulddesign.core import SpecError, mm3_from_ml, require_not_negative, require_positive, say
from moulddesign.design import Design
from moulddesign.portion.portion import Portion


def ball_diameter_mm(volume_ml: float) -> float:
    """Return the diameter of a ball.

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
    volume_mm3 = mm3_from_ml(require_positive("volume_ml", volume_ml, "mL"))
    return float((6.0 * volume_mm3 / pi) ** (1 / 3))


def shell_thickness_mm(inside_ml: float, whole_ml: float) -> float:
    """Return the thickness of the crust around the ball of filling.

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
        raise SpecError(
            "inside_ml", inside_ml, say("portion.inside-exceeds-whole", whole_ml=whole_ml)
        )
    return (ball_diameter_mm(whole_ml) - ball_diameter_mm(inside_ml)) / 2.0


def disc_diameter_mm(crust_ml: float, thickness_mm: float) -> float:
    """Return the diameter of the disc that all of the crust makes.

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
    require_positive("crust_ml", crust_ml, "mL")
    require_positive("crust_thickness_mm", thickness_mm, "mm")
    return sqrt(4.0 * mm3_from_ml(crust_ml) / (pi * thickness_mm))


@dataclass(frozen=True, slots=True, kw_only=True)
class Roll:
    """A standing cylinder or block that enters the bore."""

    across_mm: float
    """Diameter of the cylinder, or side of the square block."""
    length_mm: float
    """Its height."""


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

    As `cylinder_for_bore`; the block's corners are pressed in to the bore's radius by hand.

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

    A square is entered by a block, any other outline by a cylinder.

    Raises
    ------
    SpecError
        No width is left beside the room.
    """
    width_mm, least_mm = design.pastry.width_mm, 2.0 * design.portion.bore_room_mm
    if width_mm is not None and width_mm <= least_mm:
        need = say("portion.width-within-room", least_mm=least_mm)
        raise SpecError("pastry.width_mm", width_mm, need)
    shape = block_for_bore if design.pastry.outline == "square" else cylinder_for_bore
    roll = shape(piece.volume_ml, bore_mm, design.portion.bore_room_mm)
    return None if ball_diameter_mm(piece.volume_ml) <= roll.across_mm else roll


def _across_mm(volume_ml: float, bore_mm: float, room_mm: float) -> float:
    require_positive("volume_ml", volume_ml, "mL")
    require_positive("bore_mm", bore_mm, "mm")
    across_mm = bore_mm - 2.0 * require_not_negative("bore_room_mm", room_mm, "mm")
    if across_mm <= 0.0:
        need = say("portion.room-fills-bore", bore_mm=bore_mm)
        raise SpecError("portion.bore_room_mm", room_mm, need)
    return across_mm


@dataclass(frozen=True, slots=True, kw_only=True)
class Balls:
    """Diameters of the balls before pressing."""

    crust_mm: float
    """Diameter of the ball of crust dough, as of the next two."""
    filling_mm: float | None
    """Filling with its centres; this, shell and disc are None where there is no filling."""
    wrapped_mm: float
    """The wrapped piece with trapped air."""
    shell_mm: float | None
    """Thickness of the crust around the ball of filling."""
    disc_mm: float | None
    """Diameter of a disc of that thickness made of all the crust."""


def balls(piece: Portion) -> Balls:
    """Return the balls to roll for a piece, and the disc that wraps the filling's ball."""
    whole_ml = piece.crust_ml + piece.filled_ml
    if piece.filled_ml == 0.0:
        return Balls(
            crust_mm=ball_diameter_mm(piece.crust_ml),
            filling_mm=None,
            wrapped_mm=ball_diameter_mm(piece.volume_ml),
            shell_mm=None,
            disc_mm=None,
        )
    shell_mm = shell_thickness_mm(piece.filled_ml, whole_ml)
    return Balls(
        crust_mm=ball_diameter_mm(piece.crust_ml),
        filling_mm=ball_diameter_mm(piece.filled_ml),
        wrapped_mm=ball_diameter_mm(piece.volume_ml),
        shell_mm=shell_mm,
        disc_mm=disc_diameter_mm(piece.crust_ml, shell_mm),
    )
