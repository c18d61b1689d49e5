"""The Design: what is asked for, checked at birth.

No geometry library is loaded here.
"""

from moulddesign.design.design import Design
from moulddesign.design.further import FurtherStamp
from moulddesign.design.layer import Along, Layer, Motif, Profile, Sense
from moulddesign.design.mould import Kind, MouldTable, PrinterTable
from moulddesign.design.pastry import PastryTable, ReliefTable
from moulddesign.design.portion import Centre, CountsIn, PortionTable

__all__ = [
    "Along",
    "Centre",
    "CountsIn",
    "Design",
    "FurtherStamp",
    "Kind",
    "Layer",
    "Motif",
    "MouldTable",
    "PastryTable",
    "PortionTable",
    "PrinterTable",
    "Profile",
    "ReliefTable",
    "Sense",
]
