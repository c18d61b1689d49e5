"""Binary STL, millimetres."""

import numpy as np

from moulddesign.mesh import Mesh

HEADER = b"moulddesign, millimetres"
"""Text of the header; it must not begin with `solid`, which means the ASCII form."""
RECORD = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])


def stl_bytes(mesh: Mesh) -> bytes:
    """Return a mesh as a binary STL file: 80 bytes of header, count, 50 bytes a triangle.

    Parameters
    ----------
    mesh : Mesh
        Its corners are float32 numbers already (`mesh.settled`), so nothing is lost.
    """
    corners = mesh.corners
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    lengths = np.linalg.norm(normals, axis=1, keepdims=True)
    records = np.zeros(len(corners), dtype=RECORD)
    records["normal"] = np.divide(normals, lengths, out=np.zeros_like(normals), where=lengths > 0)
    records["corners"] = corners
    return HEADER.ljust(80) + np.uint32(len(corners)).tobytes() + records.tobytes()
