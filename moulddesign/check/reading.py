"""Reading a mesh that somebody else wrote: bounded, checked, in millimetres."""

from collections.abc import Callable
from os import PathLike
from pathlib import Path
from typing import Final

import numpy as np

from moulddesign.check.polygons import parse_obj, parse_ply
from moulddesign.check.stl import parse_stl
from moulddesign.check.threemf import parse_3mf
from moulddesign.check.topology import welded
from moulddesign.errors import FileError
from moulddesign.mesh import Mesh
from moulddesign.units import Unit

MOST_TRIANGLES: Final = 2_000_000
"""Larger meshes are refused: with this many, memory stays under 2 GB."""
MOST_BYTES: Final = 600_000_000
"""Largest file: an ASCII STL of that many triangles takes about 530 MB."""
MOST_MM: Final = 1e5
"""Farthest coordinate: 100 m is no mould, and float32 there has steps of 8 um [mm]."""
FLAT_RATIO: Final = 1e-6
"""Thickness to length below which a mesh is a sheet: float32 holds no more digits."""


Parser = Callable[..., Mesh]
PARSERS: Final[dict[str, Parser]] = {
    ".stl": parse_stl,
    ".3mf": parse_3mf,
    ".obj": parse_obj,
    ".ply": parse_ply,
}


def read_mesh(path: str | PathLike[str], unit: Unit | None = None) -> Mesh:
    """Return the mesh in an STL, 3MF, OBJ or PLY file.

    Parameters
    ----------
    path : path-like
        The file; its ending names the format.
    unit : Unit, optional
        Unit of the coordinates. Where it is None they are taken as millimetres; a 3MF names its
        own unit and takes none.

    Returns
    -------
    Mesh
        Corners in one place welded, in order of x, y, z; otherwise as it stands in the file [mm].

    Raises
    ------
    FileError
        It cannot be read, is no mesh, is truncated, too large, flat, or has coordinates that are
        not finite.
    """
    file = Path(path)
    parser = _parser(file, unit)
    data = _bytes(file)
    _holds_what_it_says(file, data)
    try:
        mesh = parser(data, most_triangles=MOST_TRIANGLES)
    except ValueError as error:
        raise FileError(str(path), str(error)) from error
    del data
    return _checked(file, mesh, Unit.MM if unit is None else unit)


def _parser(file: Path, unit: Unit | None) -> Parser:
    parser = PARSERS.get(file.suffix.lower())
    if parser is None:
        raise FileError(str(file), f"must end in {', '.join(PARSERS)}; export it as one of them")
    if parser is parse_3mf and unit is not None:
        raise FileError(str(file), "is a 3MF, which names its own unit; leave the unit out")
    return parser


def _bytes(file: Path) -> bytes:
    if file.is_dir():
        raise FileError(str(file), "is a folder; name a file in it")
    if file.exists() and not file.is_file():
        raise FileError(str(file), "is not a file")
    try:
        with file.open("rb") as stream:
            data = stream.read(MOST_BYTES + 1)
    except OSError as error:
        raise FileError(str(file), f"cannot be read ({error.strerror})") from error
    if not data:
        raise FileError(str(file), "is empty; export it again")
    if len(data) > MOST_BYTES:
        raise FileError(str(file), f"is larger than {MOST_BYTES} bytes, the limit; reduce it")
    return data


def _holds_what_it_says(file: Path, data: bytes) -> None:
    held = ".3mf" if data[:4] == b"PK\3\4" else ".ply" if data[:4] in {b"ply\n", b"ply\r"} else None
    ending = file.suffix.lower()
    if held is not None and held != ending:
        raise FileError(str(file), f"ends in {ending} but holds a {held} file; rename it")
    if held is None and ending in {".3mf", ".ply"}:
        raise FileError(str(file), f"ends in {ending} but holds something else; export it again")


def _checked(file: Path, mesh: Mesh, unit: Unit) -> Mesh:
    if not len(mesh.triangles):
        raise FileError(str(file), "holds no triangles; export it again")
    if len(mesh.triangles) > MOST_TRIANGLES:
        raise FileError(str(file), f"has more than {MOST_TRIANGLES} triangles, the limit")
    if mesh.triangles.min() < 0 or mesh.triangles.max() >= len(mesh.vertices):
        raise FileError(str(file), "names a corner that it does not hold; export it again")
    if not np.isfinite(mesh.vertices).all():
        raise FileError(str(file), "has coordinates that are not finite numbers; export it again")
    made = welded(_used(Mesh(mesh.vertices * unit.in_mm, mesh.triangles)))
    _has_size(file, made)
    return made


def _used(mesh: Mesh) -> Mesh:
    used = np.zeros(len(mesh.vertices), dtype=bool)
    used[mesh.triangles.reshape(-1)] = True
    if used.all():
        return mesh
    return Mesh(mesh.vertices[used], (np.cumsum(used) - 1)[mesh.triangles])


def _has_size(file: Path, mesh: Mesh) -> None:
    if np.abs(mesh.vertices).max() > MOST_MM:
        raise FileError(str(file), f"reaches farther than {MOST_MM:g} mm; check its unit")
    middle = mesh.vertices - mesh.vertices.mean(axis=0)
    spread = np.sqrt(np.linalg.eigvalsh(middle.T @ middle).clip(0.0))
    if spread[2] == 0.0:
        raise FileError(str(file), "has no size: all its corners are in one place")
    if _thickness_mm(middle) <= FLAT_RATIO * np.ptp(middle, axis=0).max():
        raise FileError(str(file), "is a flat sheet without volume; a body is needed")


def _thickness_mm(middle: np.ndarray) -> float:
    """Extent across the plane that fits the corners best [mm]."""
    across = np.linalg.eigh(middle.T @ middle)[1][:, 0]
    return float(np.ptp(middle @ across))
