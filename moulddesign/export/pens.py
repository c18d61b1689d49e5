"""How each layer of a drawing looks."""

from dataclasses import dataclass
from typing import Final

from moulddesign.export.ink import Layer


@dataclass(frozen=True, slots=True, kw_only=True)
class Pen:
    """A line's width, colour and rhythm.

    Parameters
    ----------
    width_um : int
        Width of the line, from the series of ISO 128 [um].
    number : int
        Colour number in DXF; 7 is black on white and white on black.
    colour : str
        The same colour in SVG.
    line_type : str
        Name in DXF.
    dashes_mm : tuple of float
        Dash, gap and so on in SVG; none where the line is continuous [mm].
    """

    width_um: int
    number: int = 7
    colour: str = "#000"
    line_type: str = "CONTINUOUS"
    dashes_mm: tuple[float, ...] = ()


PENS: Final = {
    Layer.OUTLINE: Pen(width_um=500),
    Layer.EDGE: Pen(width_um=250),
    Layer.ARTWORK: Pen(width_um=250, number=30, colour="#a04000"),
    Layer.PASTRY: Pen(width_um=350, number=30, colour="#a04000"),
    Layer.CENTRE: Pen(width_um=250, number=30, colour="#a04000"),
    Layer.HATCH: Pen(width_um=130, number=8, colour="#777"),
    Layer.AXIS: Pen(
        width_um=180,
        number=150,
        colour="#3050a0",
        line_type="CENTER2",
        dashes_mm=(6.0, 1.2, 0.8, 1.2),
    ),
    Layer.CUT: Pen(width_um=500),
    Layer.DIMENSION: Pen(width_um=180, number=150, colour="#3050a0"),
    Layer.LABEL: Pen(width_um=180),
    Layer.FRAME: Pen(width_um=350),
}
"""Pen of each layer."""
