"""The triangles of OBJ and PLY files, read by trimesh."""

import io
import re
import struct
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from trimesh.exchange.obj import load_obj
from trimesh.exchange.ply import load_ply

from moulddesign.mesh import Mesh, joined

PARSER_ERRORS: Final = (
    ValueError, IndexError, KeyError, TypeError, AttributeError, struct.error, EOFError,
    OverflowError, StopIteration, UnboundLocalError,
)  # fmt: skip
"""What trimesh's parsers let through where a file is not what they expect."""
NO_MESH: Final = "is not a mesh that can be read; export it again, as binary STL if need be"


def parse_obj(data: bytes, *, most_triangles: int) -> Mesh:
    """Return the triangles of an OBJ file; faces of more corners are split.

    Raises
    ------
    ValueError
        With the end of a sentence.
    """
    if b"\0" in data:
        raise ValueError(NO_MESH)
    _limited(len(re.findall(rb"(?m)^f\s", data)), most_triangles)
    # Names in it may be in any encoding; trimesh 4 would ask a package for it that may be missing.
    text = data.decode("utf-8", errors="replace").encode()
    try:
        scene = load_obj(io.BytesIO(text), skip_materials=True, maintain_order=True)
        parts = scene.get("geometry", {"only": scene})
        meshes = [Mesh(part["vertices"], _fanned(part["faces"])) for part in parts.values()]
    except PARSER_ERRORS as error:
        raise ValueError(NO_MESH) from error
    return joined(meshes) if meshes else Mesh(np.empty((0, 3)), np.empty((0, 3), dtype=np.int64))


def parse_ply(data: bytes, *, most_triangles: int) -> Mesh:
    """Return the triangles of a PLY file, text or binary.

    Raises
    ------
    ValueError
        With the end of a sentence.
    """
    head = data[: data.find(b"end_header")]
    for _, count in re.findall(rb"(?m)^element\s+(\w+)\s+(\d+)", head):
        # Each element takes a byte or more, so a head that promises more than there is lies.
        if int(count) > len(data):
            raise ValueError("is truncated: its head promises more than the file holds")
    for count in re.findall(rb"(?m)^element\s+face\s+(\d+)", head):
        _limited(int(count), most_triangles)
    try:
        part = load_ply(io.BytesIO(data), fix_texture=False, skip_materials=True)
        return Mesh(part["vertices"], _fanned(part["faces"]))
    except PARSER_ERRORS as error:
        raise ValueError(NO_MESH) from error


def _fanned(faces: ArrayLike) -> NDArray[np.int64]:
    """Return faces of as many corners each as triangles: trimesh leaves such as they are."""
    rows = np.asarray(faces, dtype=np.int64)
    fans = [rows[:, [0, second, second + 1]] for second in range(1, rows.shape[1] - 1)]
    return np.stack(fans, axis=1).reshape(-1, 3)


def _limited(count: int, most: int) -> None:
    if count > most:
        raise ValueError(
            f"has {count} faces; the limit is {most}, so reduce it in a mesh editor first"
        )
