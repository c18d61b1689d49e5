"""What was made of a design, handed to the checks."""

from dataclasses import dataclass
from types import MappingProxyType

from moulddesign.design import Design
from moulddesign.mesh import Mesh
from moulddesign.mould import Mould
from moulddesign.pastry.pastry import Pastry
from moulddesign.portion import Portion
from moulddesign.units import mm3_from_ml


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Evidence:
    """What was made of a design, for the checks to measure.

    Parameters
    ----------
    design : Design
        What was asked for.
    portion : Portion
        Masses and volumes.
    pastry : Pastry
        The pressed piece.
    crust_mm : float
        Uniform crust thickness [mm].
    mould : Mould
        The parts.
    meshes : mapping of str to Mesh
        What is written: parts as they lie on the bed, and the pastry.
    pastry_name : str
        Which of the meshes is the pastry.
    stamp_name : str
        Which of the parts is its stamp, in a press.
    """

    design: Design
    portion: Portion
    pastry: Pastry
    crust_mm: float
    mould: Mould
    meshes: MappingProxyType[str, Mesh]
    pastry_name: str
    stamp_name: str = "stamp"

    @property
    def target_mm3(self) -> float:
        """Volume asked for [mm^3]."""
        return mm3_from_ml(self.portion.volume_ml)

    @property
    def widest_mm(self) -> float:
        """Larger extent of the outline [mm]."""
        return max(self.pastry.outline.width_mm, self.pastry.outline.depth_mm)
