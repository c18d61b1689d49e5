"""Checks, by other code than made what is checked: meshes and numbers in, findings out."""

from moulddesign.check.assembly import Press, closed_cavity_mm3
from moulddesign.check.press import peg_findings, press_findings
from moulddesign.check.soundness import soundness, volume_finding

__all__ = [
    "Press",
    "closed_cavity_mm3",
    "peg_findings",
    "press_findings",
    "soundness",
    "volume_finding",
]
