"""Cavities from meshes: every hollow of a mould, or a press mould's sleeve and stamp."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import shapely

from moulddesign.check.mending import mended
from moulddesign.check.pour import Cavity, Up, pour_cavities, press_volume_mm3, upright
from moulddesign.check.reading import read_mesh
from moulddesign.check.regions import filled, hole, shadow
from moulddesign.check.topology import topology
from moulddesign.design.shelf import OwnedMould
from moulddesign.errors import FileError, SpecError
from moulddesign.fit.cup import Cup
from moulddesign.fit.hollow import hollows
from moulddesign.fit.measured import Bore, Measured
from moulddesign.mesh import Mesh
from moulddesign.pastry.outline import Outline, of_points, ring
from moulddesign.units import Unit, ml_from_mm3

FOOD_ML: Final = (3.0, 1500.0)
"""Volumes between which a pastry lies; our choice [mL]."""
FOOD_MM: Final = 10.0
"""A mould is longer; our choice [mm]."""
FEW_TRIANGLES: Final = 200_000
"""Up to so many, the other ways up are looked at too where a mesh holds nothing."""
ON_WALL_MM: Final = 0.01
"""A corner this near the edge of a stamp's shadow lies on its side [mm]."""

Stage = Callable[[str], None]


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class Found:
    """What meshes hold, and what is to be said of them.

    Parameters
    ----------
    cavities : tuple of Measured
        The largest first.
    notes : tuple of str
        What was mended, and doubts about the size; sentences.
    bore_length_mm, guide_mm : float or None
        Of a press mould: height of the sleeve, and of the stamp's side [mm].
    """

    cavities: tuple[Measured, ...]
    notes: tuple[str, ...]
    bore_length_mm: float | None = None
    guide_mm: float | None = None


def from_mesh(mould: OwnedMould, stage: Stage) -> Found:
    """Return every cavity that opens upward in a mesh.

    Parameters
    ----------
    mould : OwnedMould
        With a mesh, its unit and way up; the relief's depth where it is known.
    stage : callable
        Called with the name of each stage before it starts: reading, mending, checking, basins,
        cavities, crust.

    Raises
    ------
    FileError
        The file cannot be read, or its mesh bounds no solid and is not to be mended.
    SpecError
        It holds nothing that way up, or cannot be mended.
    """
    up = _way_up(mould.up)
    mesh, notes = _read(mould, mould.mesh, stage)
    found = _poured(str(mould.mesh), mesh, up, stage=stage)
    stage("crust")
    shapes = hollows(upright(mesh, up), found)
    cavities = tuple(
        Measured(
            volume_mm3=cavity.volume_mm3,
            doubts=(),
            body=shape,
            relief_depth_mm=mould.relief_depth_mm,
            remarks=() if shape is not None else (_undercut(cavity),),
        )
        for cavity, shape in zip(found, shapes, strict=True)
    )
    return Found(cavities=cavities, notes=(*notes, *_size_doubts(cavities, mould.unit)))


def from_press_meshes(mould: OwnedMould, stage: Stage) -> Found:
    """Return what a press mould's sleeve and stamp hold at a height.

    Parameters
    ----------
    mould : OwnedMould
        With mesh, stamp (relief up) and, unless it is the greatest, the height.
    stage : callable
        Called with the name of each stage before it starts: reading, mending, cavities.

    Raises
    ------
    FileError
        A file cannot be read, or its mesh bounds no solid and is not to be mended.
    SpecError
        The stamp does not enter the sleeve, or the height is not inside it.
    """
    up = _way_up(mould.up)
    (sleeve, said), (stamp, also) = (_read(mould, p, stage) for p in (mould.mesh, mould.stamp))
    stage("cavities")
    sleeve, stamp = upright(sleeve, up), upright(stamp, up)
    outline = _bore_outline(sleeve)
    length_mm, side_mm = float(sleeve.size_mm[2]), _side_mm(stamp)
    guide_mm = side_mm if mould.guide_mm is None else mould.guide_mm
    most_mm = length_mm - guide_mm if mould.most_height_mm is None else mould.most_height_mm
    height_mm = most_mm if mould.height_mm is None else mould.height_mm
    volume_mm3 = _pressed_mm3(mould, sleeve, stamp, height_mm=height_mm)
    cavity = Measured(
        volume_mm3=volume_mm3,
        doubts=(),
        body=Cup(outline=outline, height_mm=height_mm),
        relief_depth_mm=mould.relief_depth_mm,
        bore=Bore(outline=outline, beyond_mm3=volume_mm3 - outline.area_mm2 * height_mm),
    )
    return Found(
        cavities=(cavity,),
        notes=(*said, *also, *_size_doubts((cavity,), mould.unit)),
        bore_length_mm=length_mm,
        guide_mm=guide_mm,
    )


def _way_up(up: str) -> Up:
    try:
        return Up(up)
    except ValueError as error:
        raise SpecError("up", up, f"must be one of {', '.join(Up)}") from error


def _read(mould: OwnedMould, path: str | None, stage: Stage) -> tuple[Mesh, tuple[str, ...]]:
    """Return a mesh, mended where that is asked for, and what was done to it."""
    stage("reading")
    name = str(path)
    mesh = read_mesh(name, mould.unit)
    if mould.mend:
        stage("mending")
        mesh, done = mended(mesh)
        said = "; ".join(done) if done else "it needed nothing"
        return mesh, (f"Mended {name}: {said}.",)
    return mesh, ()


def _poured(path: str, mesh: Mesh, up: Up, *, stage: Stage) -> tuple[Cavity, ...]:
    try:
        found = pour_cavities(mesh, up, stage=stage)
    except SpecError as error:  # it bounds no solid; what is wrong with it is said
        raise FileError(path, f"{error.need} with --mend") from error
    if not found:
        raise SpecError("up", up.value, _holds_nothing(mesh, up))
    return found


def _pressed_mm3(mould: OwnedMould, sleeve: Mesh, stamp: Mesh, *, height_mm: float) -> float:
    for path, mesh in ((mould.mesh, sleeve), (mould.stamp, stamp)):
        if not topology(mesh).solid or mesh.volume_mm3 <= 0.0:
            raise FileError(str(path), "bounds no solid; add --mend, or mend it in a mesh editor")
    return press_volume_mm3(sleeve, stamp, height_mm=height_mm)


def _holds_nothing(mesh: Mesh, up: Up) -> str:
    longest_mm = float(mesh.size_mm.max())
    if longest_mm < FOOD_MM:
        return f"this mesh is {longest_mm:.3g} mm long and holds nothing; check its unit"
    need = "this mesh holds nothing that way up"
    if len(mesh.triangles) > FEW_TRIANGLES:
        return f"{need}; turn it with --up -z, or another way"
    others = [other.value for other in Up if other is not up and pour_cavities(mesh, other)]
    if others:
        return f"{need}, but it does with --up {' or '.join(others)}"
    return f"{need}, nor any other way up; a hollow with a closed floor and rim is needed"


def _undercut(cavity: Cavity) -> str:
    return (
        f"The cavity of {ml_from_mm3(cavity.volume_mm3):.3g} mL is wider inside than its mouth, "
        "so that no piece comes out of it whole; its crust is not told."
    )


def _size_doubts(cavities: Sequence[Measured], unit: Unit | None) -> tuple[str, ...]:
    """Return a sentence where no pastry has such a size, and the unit in which one has."""
    least_ml, most_ml = FOOD_ML
    largest_ml = ml_from_mm3(max(cavity.volume_mm3 for cavity in cavities))
    if least_ml <= largest_ml <= most_ml:
        return ()
    now = Unit.MM if unit is None else unit
    others = {other: largest_ml * (other.in_mm / now.in_mm) ** 3 for other in Unit}
    fitting = [
        f"--unit {other.value} makes it {volume_ml:.3g} mL"
        for other, volume_ml in others.items()
        if least_ml <= volume_ml <= most_ml
    ]
    advice = f": {', '.join(fitting)}" if fitting else ""
    return (f"{largest_ml:.3g} mL is no size for a pastry; is the unit right{advice}?",)


def _bore_outline(sleeve: Mesh) -> Outline:
    """Return what one sees through the sleeve, centred."""
    bore = hole(shadow(sleeve, "the bore"))
    if bore.is_empty:
        raise SpecError("mesh", "the sleeve", "must have a bore along z that is open at both ends")
    points = ring(bore) - shapely.get_coordinates(bore.centroid)
    return replace(of_points("drawn", points), name="bore")


def _side_mm(stamp: Mesh) -> float:
    """Return the height over which the stamp's side lies along the bore [mm]."""
    edge = filled(shadow(stamp, "the stamp")).boundary
    shapely.prepare(edge)
    on_side = shapely.dwithin(edge, shapely.points(stamp.vertices[:, :2]), ON_WALL_MM)
    return float(np.ptp(stamp.vertices[on_side, 2]))
