"""What the page shows of a piece in figures."""

from dataclasses import dataclass

from moulddesign.portion import Figures, Roll


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """The figures of one piece, those that hang on its shape too.

    Parameters
    ----------
    figures : Figures
        Masses, volumes, spread, label, balls.
    outline : str
        Name of the outline.
    width_mm, height_mm, crust_mm : float
        Width, height to the flat top, thickness of the crust [mm].
    relief_ml : float
        Volume of the relief [mL].
    roll : Roll or None
        How to roll it so that it enters the bore; None where the ball enters as it is.
    """

    figures: Figures
    outline: str
    width_mm: float
    height_mm: float
    crust_mm: float
    relief_ml: float
    roll: Roll | None
