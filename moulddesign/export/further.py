"""What further stamps add to the files: pictures of their pastries, and both beside the set."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from moulddesign.building import Build
from moulddesign.export.scene import APART, Scene, pastry_scene
from moulddesign.mesh import Mesh
from moulddesign.pastry.pastry import Pastry
from moulddesign.settling import settled

RELIEF: Final = "relief"
"""Begins the name of a picture of a relief."""


def pastry_scenes(made: Build) -> Mapping[str, Scene]:
    """Return a picture of each further pastry, by the name of its file."""
    return MappingProxyType(
        {
            f"{one.pastry_name}.png": pastry_scene(made.meshes[one.pastry_name])
            for one in made.further
        }
    )


def reliefs(made: Build) -> Mapping[str, Pastry]:
    """Return every pastry by the name of the picture of its relief, the first's first."""
    names = (one.stamp_name.replace("stamp", RELIEF, 1) for one in made.further)
    further = zip(names, (one.pastry for one in made.further), strict=True)
    return MappingProxyType(
        {f"{RELIEF}.png": made.pastry} | {f"{name}.png": pastry for name, pastry in further}
    )


def beside(made: Build) -> dict[str, Mesh]:
    """Return further stamps on their pastries, in a row to the right of the assembled set [mm]."""
    sleeve = made.mould.parts[0].mesh
    step_mm = (1.0 + APART) * float(sleeve.size_mm[0])
    placed: dict[str, Mesh] = {}
    for number, one in enumerate(made.further, start=1):
        aside = (number * step_mm, 0.0, 0.0)
        placed[one.stamp_name] = settled(made.mould.part(one.stamp_name).mesh).moved(aside)
        placed[one.pastry_name] = made.meshes[one.pastry_name].moved(aside)
    return placed


def of_the_blank(made: Build) -> str:
    """Return which further stamps share the first one's blank, as the end of a sentence."""
    names = ", ".join(one.stamp_name for one in made.further)
    return f"; the same blank serves {names}" if names else ""
