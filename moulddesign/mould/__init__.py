"""Moulds: every part is a complement of the pastry."""

from moulddesign.mould.block import block
from moulddesign.mould.block_layout import BlockLayout
from moulddesign.mould.cast import CastLayout, cast
from moulddesign.mould.layout import PressLayout
from moulddesign.mould.mould_set import MouldSet, Part, Pose
from moulddesign.mould.moulded import Mould, moulded
from moulddesign.mould.press import press
from moulddesign.mould.solid import Solid

__all__ = [
    "BlockLayout",
    "CastLayout",
    "Mould",
    "MouldSet",
    "Part",
    "Pose",
    "PressLayout",
    "Solid",
    "block",
    "cast",
    "moulded",
    "press",
]
