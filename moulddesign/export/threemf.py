"""3MF, core specification 1.x, written by the 3MF Consortium's own library."""

from collections.abc import Mapping
from ctypes import c_ubyte
from typing import Any, Final
from uuid import NAMESPACE_URL, UUID, uuid5

import lib3mf
import numpy as np

from moulddesign import __version__
from moulddesign.errors import KernelError
from moulddesign.export.bed import laid_out
from moulddesign.mesh import Mesh

DECIMALS: Final = 6
"""Decimals of a coordinate in the file: a nanometre [mm]."""

NAMES: Final = uuid5(NAMESPACE_URL, "moulddesign:set.3mf")
"""Root of the names that stand for random identifiers, so that the same set is the same bytes."""


def threemf_bytes(
    meshes: Mapping[str, Mesh],
    *,
    bed_mm: tuple[float, float, float],
    title: str,
    description: str,
    thumbnail: bytes | None,
) -> bytes:
    """Return parts as one 3MF file, laid out on the bed.

    Parameters
    ----------
    meshes : mapping of str to Mesh
        As they are printed, each on z = 0 [mm].
    bed_mm : tuple of float
        Build volume: x, y, z [mm].
    title, description : str
        What a slicer shows of it.
    thumbnail : bytes or None
        A PNG picture; none where it is left out.

    Raises
    ------
    KernelError
        The library refuses.
    """
    try:
        wrapper = lib3mf.get_wrapper()
        model = wrapper.CreateModel()
        model.SetUnit(lib3mf.ModelUnit.MilliMeter)
        model.SetBuildUUID(_identifier(title, "build"))
        _describe(model, title, description)
        centred = {name: _centred(mesh) for name, mesh in meshes.items()}
        for name, shift in laid_out(centred, bed_mm):
            item = model.AddBuildItem(_object(model, name, centred[name]), _moved(shift))
            item.SetUUID(_identifier(name, "item"))
            item.SetPartNumber(name)
        if thumbnail is not None:
            model.CreatePackageThumbnailAttachment().ReadFromBuffer(_buffer(thumbnail))
        writer = model.QueryWriter("3mf")
        writer.SetDecimalPrecision(DECIMALS)
        writer.SetStrictModeActive(True)  # noqa: FBT003 (the library's own interface)
        return bytes(writer.WriteToBuffer())
    except lib3mf.ELib3MFException as error:
        raise KernelError("set.3mf", f"the 3MF library said {error}") from error


def _centred(mesh: Mesh) -> Mesh:
    """Return a mesh about the origin, moved by whole millimetres, so that no corner is rounded.

    lib3mf 2.5 writes coordinates within about one float32 step; about the origin steps are small.
    """
    middle = np.round(mesh.bounds.mean(axis=0))
    return mesh.moved((-middle[0], -middle[1], 0.0))


def _describe(model: Any, title: str, description: str) -> None:  # noqa: ANN401 (no types)
    group = model.GetMetaDataGroup()
    for key, text in (
        ("Title", title),
        ("Description", description),
        ("Application", f"moulddesign {__version__}"),
    ):
        group.AddMetaData("", key, text, "xs:string", True)  # noqa: FBT003 (the same)


def _object(model: Any, name: str, mesh: Mesh) -> Any:  # noqa: ANN401 (no types)
    made = model.AddMeshObject()
    made.SetName(name)
    made.SetUUID(_identifier(name, "object"))
    points = np.ascontiguousarray(mesh.vertices, dtype=np.float32)
    corners = np.ascontiguousarray(mesh.triangles, dtype=np.uint32)
    made.SetGeometry(
        (lib3mf.Position * len(points)).from_buffer_copy(points),
        (lib3mf.Triangle * len(corners)).from_buffer_copy(corners),
    )
    return made


def _moved(shift_mm: tuple[float, float, float]) -> Any:  # noqa: ANN401 (no types)
    place = lib3mf.Transform()
    for column, row in ((0, 0), (1, 1), (2, 2)):
        place.Fields[column][row] = 1.0
    for axis, length in enumerate(shift_mm):
        place.Fields[3][axis] = length
    return place


def _identifier(name: str, role: str) -> str:
    return str(uuid5(UUID(str(NAMES)), f"{role} {name}"))


def _buffer(raw: bytes) -> Any:  # noqa: ANN401 (no types)
    return (c_ubyte * len(raw)).from_buffer_copy(raw)
