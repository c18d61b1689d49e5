"""Plastics that a mould can be printed from."""

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from types import MappingProxyType


@dataclass(frozen=True, slots=True, kw_only=True)
class Material:
    """A plastic.

    Parameters
    ----------
    density_g_per_ml : float
        Density of the solid [g/mL].
    softening_c : float
        Temperature at which a part begins to bend [deg C].
    tensile_along_mpa, tensile_across_mpa : float
        Tensile strength along and across the layers [MPa].
    modulus_gpa : float
        Young's modulus [GPa].
    shrink : float
        Share by which a part comes out smaller than drawn.
    source : str
        Where the figures come from, with their status.
    caution : str
        What belongs to this plastic in a kitchen.
    """

    density_g_per_ml: float
    softening_c: float
    tensile_along_mpa: float
    tensile_across_mpa: float
    modulus_gpa: float
    shrink: float
    source: str
    caution: str


@cache
def materials() -> MappingProxyType[str, Material]:
    """Return the plastics that come with the package, by name."""
    text = (files("moulddesign") / "data" / "materials.toml").read_text(encoding="utf-8")
    return MappingProxyType(
        {name: Material(**figures) for name, figures in tomllib.loads(text).items()}
    )
