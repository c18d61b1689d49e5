"""Moulds: every part is a complement of the pastry."""

from moulddesign.mould.layout import PressLayout
from moulddesign.mould.mould_set import MouldSet, Part, Pose
from moulddesign.mould.press import press
from moulddesign.mould.solid import Solid

__all__ = ["MouldSet", "Part", "Pose", "PressLayout", "Solid", "press"]
