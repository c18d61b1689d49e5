"""The triangles of a 3MF file, taken out of its archive within a bound."""

import io
import zipfile
from array import array
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, Final
from xml.parsers import expat

import numpy as np

from moulddesign.mesh import Mesh, Points, joined

MOST_BYTES: Final = 600_000_000
"""Most bytes that the models of an archive may unpack to."""
MOST_FILES: Final = 10_000
ENTRY: Final = b"PK\1\2"
"""Begins each entry of an archive's list of files (PKWARE's APPNOTE 4.3.12)."""
PACKED: Final = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
"""Ways of packing that 3MF allows; others may ask for any amount of memory."""
MOST_DEPTH: Final = 16
"""Most components inside components."""
CHUNK_BYTES: Final = 1_000_000
MOST_PARTS: Final = 100_000
"""Most objects, components and items together: each takes half a kilobyte."""
MOST_TAG_BYTES: Final = 4_000_000
"""Longest element that is waited for: the parser keeps what it has of it."""
MM_PER_UNIT: Final = {
    "micron": 0.001, "millimeter": 1.0, "centimeter": 10.0,
    "inch": 25.4, "foot": 304.8, "meter": 1000.0,
}  # fmt: skip
"""Units of the 3MF core specification [mm]."""

Key = tuple[str, str]


@dataclass(slots=True)
class _Object:
    # Packed arrays: a tuple a triangle would take four times the memory.
    corners: "array[float]" = field(default_factory=lambda: array("d"))
    triangles: "array[int]" = field(default_factory=lambda: array("q"))
    components: list[tuple[Key, Points]] = field(default_factory=list)


@dataclass(slots=True)
class _Model:
    """What the reader has met so far, over all model files of an archive."""

    most_triangles: int
    objects: dict[Key, _Object] = field(default_factory=dict)
    items: list[tuple[Key, Points]] = field(default_factory=list)
    mm_per_unit: float = 1.0
    count: int = 0
    corners: int = 0
    parts: int = 0


def parse_3mf(data: bytes, *, most_triangles: int) -> Mesh:
    """Return the triangles of all items that a 3MF file builds, in millimetres.

    Parameters
    ----------
    data : bytes
        The whole file.
    most_triangles : int
        Limit; components that repeat an object count each time.

    Raises
    ------
    ValueError
        With the end of a sentence: no archive, no model, too large, or not as the 3MF core
        specification has it.
    """
    if data.count(ENTRY) > MOST_FILES:  # before the list of files is read, which takes memory
        raise ValueError(f"holds more than {MOST_FILES} files")
    model = _Model(most_triangles=most_triangles)
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            for entry in _model_entries(archive):
                _read_model(archive, entry, model)
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError) as error:
        raise ValueError("is not a 3MF: its archive cannot be unpacked") from error
    except expat.ExpatError as error:
        raise ValueError(f"holds a model that is not XML: {error}") from error
    except (KeyError, OverflowError) as error:
        raise ValueError(f"holds a model without a needed value: {error}") from error
    return _built(model)


def _model_entries(archive: zipfile.ZipFile) -> list[zipfile.ZipInfo]:
    entries = [e for e in archive.infolist() if e.filename.lower().endswith(".model")]
    if not entries:
        raise ValueError("is not a 3MF: its archive holds no model")
    if any(entry.compress_type not in PACKED for entry in entries):
        raise ValueError("is packed in a way that 3MF does not allow; export it again")
    total = sum(entry.file_size for entry in entries)
    if total > MOST_BYTES:
        raise ValueError(f"unpacks to {total} bytes; the limit is {MOST_BYTES}")
    return entries


def _read_model(archive: zipfile.ZipFile, entry: zipfile.ZipInfo, model: _Model) -> None:
    parser = expat.ParserCreate(namespace_separator=" ")
    reader = _Reader(name="/" + entry.filename.lstrip("/"), model=model)
    parser.StartElementHandler = reader.start
    parser.StartDoctypeDeclHandler = _refuse_doctype
    with archive.open(entry) as stream:
        fed = 0
        for chunk in _bounded(stream):
            parser.Parse(chunk, False)  # noqa: FBT003 (expat's own signature)
            fed += len(chunk)
            if fed - parser.CurrentByteIndex > MOST_TAG_BYTES:
                raise ValueError(f"holds an element longer than {MOST_TAG_BYTES} bytes")
    parser.Parse(b"", True)  # noqa: FBT003


def _bounded(stream: Any) -> Iterator[bytes]:  # noqa: ANN401 (zipfile's stream)
    left = MOST_BYTES
    while chunk := stream.read(CHUNK_BYTES):
        left -= len(chunk)
        if left < 0:
            raise ValueError(f"unpacks to more than {MOST_BYTES} bytes")
        yield chunk


def _refuse_doctype(*_: object) -> None:
    raise ValueError("holds a model with a document type, which 3MF forbids")


class _Reader:
    """Takes the elements of one model file as they come."""

    def __init__(self, *, name: str, model: _Model) -> None:
        self.name = name
        self.model = model
        self.object = _Object()

    def start(self, tag: str, values: dict[str, str]) -> None:
        match tag.rsplit(" ", 1)[-1]:
            case "vertex":
                self._corner(values)
            case "triangle":
                self._triangle(values)
            case "object":
                self._part()
                self.object = self.model.objects[self.name, values["id"]] = _Object()
            case "component":
                self._part()
                self.object.components.append((self._key(values), _transform(values)))
            case "item":
                self._part()
                self.model.items.append((self._key(values), _transform(values)))
            case "model":
                self.model.mm_per_unit = MM_PER_UNIT[values.get("unit", "millimeter")]

    def _corner(self, values: dict[str, str]) -> None:
        self.model.corners += 1
        most = 3 * self.model.most_triangles  # none of them shared
        if self.model.corners > most:
            raise ValueError(f"has more than {most} corners, the limit")
        self.object.corners.extend(float(values[axis]) for axis in "xyz")

    def _part(self) -> None:
        self.model.parts += 1
        if self.model.parts > MOST_PARTS:
            raise ValueError(f"has more than {MOST_PARTS} objects, components and items, the limit")

    def _triangle(self, values: dict[str, str]) -> None:
        self.model.count += 1
        _limited(self.model.count, self.model.most_triangles)
        self.object.triangles.extend(int(values[corner]) for corner in ("v1", "v2", "v3"))

    def _key(self, values: dict[str, str]) -> Key:
        elsewhere = [v for k, v in values.items() if k.rsplit(" ", 1)[-1] == "path"]
        return (elsewhere[0] if elsewhere else self.name, values["objectid"])


def _limited(count: int, most: int) -> None:
    if count > most:
        raise ValueError(
            f"has more than {most} triangles, the limit; reduce it in a mesh editor first"
        )


def _transform(values: dict[str, str]) -> Points:
    """Return the 4 x 3 matrix that a row of corners and 1 is multiplied by."""
    words = values.get("transform", "1 0 0 0 1 0 0 0 1 0 0 0").split()
    if len(words) != 12:  # noqa: PLR2004 (the specification's matrix)
        raise ValueError("holds a transform that is not twelve numbers")
    return np.array([float(word) for word in words]).reshape(4, 3)


def _built(model: _Model) -> Mesh:
    placed = [(key, move) for key, move in model.items if key in model.objects]
    if not placed:
        raise ValueError("builds nothing: it has no item that names an object")
    counts: dict[Key, int] = {}
    _limited(sum(_count(model, key, counts) for key, _ in placed), model.most_triangles)
    full = {key for key, count in counts.items() if count}
    meshes = [
        m for key, move in placed if key in full for m in _placed(model, key, move, full=full)
    ]
    if not meshes:
        raise ValueError("builds nothing: its objects have no triangles")
    whole = joined(meshes)
    return Mesh(whole.vertices * model.mm_per_unit, whole.triangles)


def _count(model: _Model, key: Key, counts: dict[Key, int], *, depth: int = 0) -> int:
    """Return the triangles of an object with all it holds; each object is counted once."""
    if depth > MOST_DEPTH:
        raise ValueError(f"nests components deeper than {MOST_DEPTH}")
    if key not in counts:
        here = _found(model, key)
        inside = sum(_count(model, name, counts, depth=depth + 1) for name, _ in here.components)
        counts[key] = len(here.triangles) // 3 + inside
    return counts[key]


def _placed(model: _Model, key: Key, move: Points, *, full: set[Key]) -> Iterator[Mesh]:
    here = _found(model, key)
    if here.triangles:
        yield Mesh(_moved(np.array(here.corners).reshape(-1, 3), move), np.array(here.triangles))
    for name, step in here.components:
        if name in full:
            yield from _placed(model, name, _then(step, move), full=full)


def _found(model: _Model, key: Key) -> _Object:
    if key not in model.objects:
        raise ValueError(f"names object {key[1]}, which it does not hold")
    return model.objects[key]


def _moved(corners: Points, move: Points) -> Points:
    with np.errstate(invalid="ignore", over="ignore"):  # what is not finite is refused later
        moved: Points = corners @ move[:3] + move[3]
    return moved


def _then(first: Points, second: Points) -> Points:
    return np.vstack([first[:3] @ second[:3], first[3] @ second[:3] + second[3]])
