"""The Design: what is asked for, checked at birth.

No geometry library is loaded here.
"""

from moulddesign.design.design import Design
from moulddesign.design.mould import Kind, MouldTable, PrinterTable
from moulddesign.design.pastry import Layer, PastryTable, Profile, ReliefTable, Sense
from moulddesign.design.portion import Centre, CountsIn, PortionTable

__all__ = [
    "Centre",
    "CountsIn",
    "Design",
    "Kind",
    "Layer",
    "MouldTable",
    "PastryTable",
    "PortionTable",
    "PrinterTable",
    "Profile",
    "ReliefTable",
    "Sense",
]
