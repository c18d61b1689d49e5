"""The triangles of an STL file, binary or ASCII."""

import re
from itertools import pairwise
from typing import Final

import numpy as np

from moulddesign.mesh import Mesh, Points

HEAD_BYTES: Final = 84
"""80 bytes of text, then the number of triangles as a little-endian uint32."""
RECORD: Final = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
"""One triangle of a binary file: 50 bytes."""
BLOCK_BYTES: Final = 16_000_000
"""ASCII is taken apart in blocks of this size, so that its words never fill the memory."""


def parse_stl(data: bytes, *, most_triangles: int) -> Mesh:
    """Return the triangles of an STL file.

    Parameters
    ----------
    data : bytes
        The whole file. It is binary where its length is the one that its head promises.
    most_triangles : int
        Limit, kept before anything is parsed.

    Raises
    ------
    ValueError
        With the end of a sentence: truncated, no mesh at all, or too large.
    """
    promised = int.from_bytes(data[80:HEAD_BYTES], "little") if len(data) >= HEAD_BYTES else 0
    if promised and len(data) == HEAD_BYTES + RECORD.itemsize * promised:
        _limited(promised, most_triangles)
        return _soup(np.frombuffer(data, RECORD, offset=HEAD_BYTES)["corners"].astype(np.float64))
    if data.lstrip()[:5].lower() == b"solid" and re.search(rb"facet|endsolid", data[:100_000]):
        return _ascii(data, most_triangles)
    raise ValueError(_why_not(data, promised))


def _ascii(data: bytes, most_triangles: int) -> Mesh:
    _limited(data.count(b"vertex") // 3, most_triangles)
    if b"endsolid" not in data[-1000:]:
        raise ValueError("is truncated: its last line is not endsolid; export it again")
    corners = np.concatenate([_corners(block) for block in _blocks(data)])
    if len(corners) == 0 or len(corners) % 3 or len(corners) != data.count(b"vertex"):
        raise ValueError("is truncated: a facet has no three corners; export it again")
    return _soup(corners)


def _blocks(data: bytes) -> list[bytes]:
    cuts = [0]
    while cuts[-1] < len(data):
        end = data.find(b"\n", cuts[-1] + BLOCK_BYTES)
        cuts.append(len(data) if end < 0 else end)
    return [data[a:b] for a, b in pairwise(cuts)]


def _corners(block: bytes) -> Points:
    words = b" ".join(re.findall(rb"vertex([^\r\n]*)", block)).split()
    try:
        return np.array(words, dtype=bytes).astype(np.float64).reshape(-1, 3)
    except ValueError as error:
        raise ValueError("has a corner that is not three numbers; export it again") from error


def _soup(corners: Points) -> Mesh:
    return Mesh(corners.reshape(-1, 3), np.arange(corners.size // 3).reshape(-1, 3))


def _limited(count: int, most: int) -> None:
    if count > most:
        raise ValueError(
            f"has {count} triangles; the limit is {most}, so reduce it in a mesh editor first"
        )


def _why_not(data: bytes, promised: int) -> str:
    held = max(len(data) - HEAD_BYTES, 0) / RECORD.itemsize
    if len(data) < HEAD_BYTES or (data[:1000].isascii() and b"\0" not in data[:1000]):
        return "is not a mesh: it is neither a binary nor an ASCII STL; export it again as STL"
    if promised > held:
        return f"is truncated: its head promises {promised} triangles, it holds {held:.1f}"
    return f"is not an STL: its head promises {promised} triangles, its length is for {held:.1f}"
