"""Arithmetic of the piece: masses, volumes, densities. No geometry library."""

from moulddesign.portion.portion import Portion, portion, raw_mass_g

__all__ = ["Portion", "portion", "raw_mass_g"]
