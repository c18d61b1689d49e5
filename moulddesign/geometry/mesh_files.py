"""Reading mesh files of other programs (STL, OBJ, PLY, 3MF).

Bounded, checked, in millimetres.
"""

import io
import re
import struct
import zipfile
from array import array
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import pairwise
from os import PathLike
from pathlib import Path
from typing import Any, Final
from xml.parsers import expat

import numpy as np
from numpy.typing import ArrayLike, NDArray

from moulddesign.core import FileError, LengthUnit, Message, limits, read_bytes, say
from moulddesign.core.files import ZIP_DAMAGED, ZIP_METHODS, count_zip_entries
from moulddesign.geometry.mesh import Mesh, Points, joined
from moulddesign.geometry.topology import compact, welded

HEAD_BYTES: Final = 84
"""80 bytes of text, then the number of triangles as a little-endian uint32."""
RECORD: Final = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
"""One triangle of a binary file: 50 bytes."""
BLOCK_BYTES: Final = 16_000_000
"""ASCII is taken apart in blocks of this size, so that its words never fill the memory."""


class UnreadableMeshError(ValueError):
    """The bytes of a file are no mesh, or too large a one; `reason` ends the sentence."""

    def __init__(self, reason: Message) -> None:
        super().__init__(reason)
        self.reason = reason


def parse_stl(data: bytes, *, most_triangles: int) -> Mesh:
    """Return the triangles of an STL file, which is binary where its head tells its length.

    The limit is kept before it is parsed.
    """
    promised = int.from_bytes(data[80:HEAD_BYTES], "little") if len(data) >= HEAD_BYTES else 0
    if promised and len(data) == HEAD_BYTES + RECORD.itemsize * promised:
        _limited(promised, most_triangles)
        records = np.frombuffer(data, RECORD, offset=HEAD_BYTES)
        with np.errstate(invalid="ignore"):  # what is not finite is refused later
            return _soup(records["corners"].astype(np.float64))
    if data.lstrip()[:5].lower() == b"solid" and re.search(rb"facet|endsolid", data[:100_000]):
        return _ascii(data, most_triangles)
    raise UnreadableMeshError(_why_not(data, promised))


def _ascii(data: bytes, most_triangles: int) -> Mesh:
    _limited(data.count(b"vertex") // 3, most_triangles)
    if b"endsolid" not in data[-1000:]:
        raise UnreadableMeshError(say("geometry.stl-ends-early"))
    corners = np.concatenate([_corners(block) for block in _blocks(data)])
    if len(corners) == 0 or len(corners) % 3 or len(corners) != data.count(b"vertex"):
        raise UnreadableMeshError(say("geometry.stl-lacks-corner"))
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
        raise UnreadableMeshError(say("geometry.stl-corner-not-numbers")) from error


def _soup(corners: Points) -> Mesh:
    return Mesh(corners.reshape(-1, 3), np.arange(corners.size // 3).reshape(-1, 3))


def _limited(count: int, most: int) -> None:
    if count > most:
        raise UnreadableMeshError(say("geometry.too-many-triangles", count=count, most=most))


def _why_not(data: bytes, promised: int) -> Message:
    held = max(len(data) - HEAD_BYTES, 0) // RECORD.itemsize
    if len(data) < HEAD_BYTES or (data[:1000].isascii() and b"\0" not in data[:1000]):
        return say("geometry.not-stl-at-all")
    if promised > held:
        return say("geometry.stl-truncated", promised=promised, held=held)
    return say("geometry.stl-of-other-length", promised=promised, held=held)


PARSER_ERRORS: Final = (
    ValueError, IndexError, KeyError, TypeError, AttributeError, struct.error, EOFError,
    OverflowError, StopIteration, UnboundLocalError,
)  # fmt: skip
"""What trimesh's parsers let through where a file is not what they expect."""
NO_MESH: Final = say("geometry.no-mesh")


def parse_obj(data: bytes, *, most_triangles: int) -> Mesh:
    """Return the triangles of an OBJ file; faces of more corners are split."""
    from trimesh.exchange import obj  # noqa: PLC0415 (a third of what a build loads)

    if b"\0" in data:
        raise UnreadableMeshError(NO_MESH)
    _limited_polygons(len(re.findall(rb"(?m)^f\s", data)), most_triangles)
    # Names in it may be in any encoding; trimesh 4 would ask a package for it that may be missing.
    text = data.decode("utf-8", errors="replace").encode()
    try:
        with np.errstate(invalid="ignore", over="ignore"):
            scene = obj.load_obj(io.BytesIO(text), skip_materials=True, maintain_order=True)
        parts = scene.get("geometry", {"only": scene})
        meshes = [
            Mesh(part["vertices"], _fanned(part["faces"], most_triangles))
            for part in parts.values()
        ]
    except UnreadableMeshError:
        raise
    except PARSER_ERRORS as error:
        raise UnreadableMeshError(NO_MESH) from error
    return joined(meshes) if meshes else Mesh(np.empty((0, 3)), np.empty((0, 3), dtype=np.int64))


def parse_ply(data: bytes, *, most_triangles: int) -> Mesh:
    """Return the triangles of a PLY file, text or binary."""
    from trimesh.exchange import ply  # noqa: PLC0415 (a third of what a build loads)

    head = data[: data.find(b"end_header")]
    for _, count in re.findall(rb"(?m)^element\s+(\w+)\s+(\d+)", head):
        # Each element takes a byte or more, so a head that promises more than there is lies.
        if int(count) > len(data):
            raise UnreadableMeshError(say("geometry.ply-truncated"))
    for count in re.findall(rb"(?m)^element\s+face\s+(\d+)", head):
        _limited_polygons(int(count), most_triangles)
    try:
        with np.errstate(invalid="ignore", over="ignore"):  # what is not finite is refused later
            part = ply.load_ply(io.BytesIO(data), fix_texture=False, skip_materials=True)
        return Mesh(part["vertices"], _fanned(part["faces"], most_triangles))
    except UnreadableMeshError:
        raise
    except PARSER_ERRORS as error:
        raise UnreadableMeshError(NO_MESH) from error


def _fanned(faces: ArrayLike, most: int) -> NDArray[np.int64]:
    """Return faces of as many corners each as triangles: trimesh leaves such as they are."""
    rows = np.asarray(faces, dtype=np.int64)
    _limited(len(rows) * (rows.shape[1] - 2), most)
    fans = [rows[:, [0, second, second + 1]] for second in range(1, rows.shape[1] - 1)]
    return np.stack(fans, axis=1).reshape(-1, 3)


def _limited_polygons(count: int, most: int) -> None:
    if count > most:
        raise UnreadableMeshError(say("geometry.too-many-faces", count=count, most=most))


CHUNK_BYTES: Final = 1_000_000
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

    Components that repeat an object count each time towards the limit.
    """
    # The consortium's lib3mf 2.5 reads in half the time but takes 2.7 times the memory, and a file
    # of 1.3 kB whose objects repeat each other twice, forty deep, keeps it busy without end.
    if count_zip_entries(data) > limits.MOST_MESH_FILES:
        raise UnreadableMeshError(say("geometry.threemf-many-files", most=limits.MOST_MESH_FILES))
    model = _Model(most_triangles=most_triangles)
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            for entry in _model_entries(archive):
                _read_model(archive, entry, model)
    except ZIP_DAMAGED as error:
        raise UnreadableMeshError(say("geometry.threemf-no-archive")) from error
    except expat.ExpatError as error:
        raise UnreadableMeshError(say("geometry.threemf-not-xml", cause=str(error))) from error
    except UnreadableMeshError:
        raise
    except ValueError as error:
        raise UnreadableMeshError(say("geometry.threemf-not-a-number", cause=str(error))) from error
    except (KeyError, OverflowError) as error:
        raise UnreadableMeshError(say("geometry.threemf-lacks-value", cause=str(error))) from error
    return _built(model)


def _model_entries(archive: zipfile.ZipFile) -> list[zipfile.ZipInfo]:
    entries = [e for e in archive.infolist() if e.filename.lower().endswith(".model")]
    if not entries:
        raise UnreadableMeshError(say("geometry.threemf-no-model"))
    if any(entry.compress_type not in ZIP_METHODS for entry in entries):
        raise UnreadableMeshError(say("geometry.threemf-packed-otherwise"))
    total = sum(entry.file_size for entry in entries)
    if total > limits.MOST_MESH_BYTES:
        raise UnreadableMeshError(
            say("geometry.threemf-too-large", size=total, most=limits.MOST_MESH_BYTES)
        )
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
            if fed - parser.CurrentByteIndex > limits.MOST_TAG_BYTES:
                raise UnreadableMeshError(
                    say("geometry.threemf-long-element", most=limits.MOST_TAG_BYTES)
                )
    parser.Parse(b"", True)  # noqa: FBT003


def _bounded(stream: Any) -> Iterator[bytes]:  # noqa: ANN401 (zipfile's stream)
    left = limits.MOST_MESH_BYTES
    while chunk := stream.read(CHUNK_BYTES):
        left -= len(chunk)
        if left < 0:
            raise UnreadableMeshError(
                say("geometry.threemf-unpacks-to-more", most=limits.MOST_MESH_BYTES)
            )
        yield chunk


def _refuse_doctype(*_: object) -> None:
    raise UnreadableMeshError(say("geometry.threemf-document-type"))


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
            raise UnreadableMeshError(say("geometry.threemf-many-corners", most=most))
        self.object.corners.extend(float(values[axis]) for axis in "xyz")

    def _part(self) -> None:
        self.model.parts += 1
        if self.model.parts > limits.MOST_MESH_PARTS:
            raise UnreadableMeshError(
                say("geometry.threemf-many-parts", most=limits.MOST_MESH_PARTS)
            )

    def _triangle(self, values: dict[str, str]) -> None:
        self.model.count += 1
        _limited_threemf(self.model.count, self.model.most_triangles)
        self.object.triangles.extend(int(values[corner]) for corner in ("v1", "v2", "v3"))

    def _key(self, values: dict[str, str]) -> Key:
        elsewhere = [v for k, v in values.items() if k.rsplit(" ", 1)[-1] == "path"]
        return (elsewhere[0] if elsewhere else self.name, values["objectid"])


def _limited_threemf(count: int, most: int) -> None:
    if count > most:
        raise UnreadableMeshError(say("geometry.threemf-many-triangles", most=most))


def _transform(values: dict[str, str]) -> Points:
    """Return the 4 x 3 matrix that a row of corners and 1 is multiplied by."""
    words = values.get("transform", "1 0 0 0 1 0 0 0 1 0 0 0").split()
    if len(words) != 12:  # noqa: PLR2004 (the specification's matrix)
        raise UnreadableMeshError(say("geometry.threemf-bad-transform"))
    return np.array([float(word) for word in words]).reshape(4, 3)


def _built(model: _Model) -> Mesh:
    placed = [(key, move) for key, move in model.items if key in model.objects]
    if not placed:
        raise UnreadableMeshError(say("geometry.threemf-no-item"))
    counts: dict[Key, int] = {}
    _limited_threemf(sum(_count(model, key, counts) for key, _ in placed), model.most_triangles)
    full = {key for key, count in counts.items() if count}
    meshes = [
        m for key, move in placed if key in full for m in _placed(model, key, move, full=full)
    ]
    if not meshes:
        raise UnreadableMeshError(say("geometry.threemf-no-triangles"))
    whole = joined(meshes)
    return Mesh(whole.vertices * model.mm_per_unit, whole.triangles)


def _count(model: _Model, key: Key, counts: dict[Key, int], *, depth: int = 0) -> int:
    """Return the triangles of an object with all it holds; each object is counted once."""
    if depth > limits.MOST_COMPONENTS_DEEP:
        raise UnreadableMeshError(
            say("geometry.threemf-too-deep", most=limits.MOST_COMPONENTS_DEEP)
        )
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
        raise UnreadableMeshError(say("geometry.threemf-unknown-object", object=key[1]))
    return model.objects[key]


def _moved(corners: Points, move: Points) -> Points:
    with np.errstate(invalid="ignore", over="ignore"):  # what is not finite is refused later
        moved: Points = corners @ move[:3] + move[3]
    return moved


def _then(first: Points, second: Points) -> Points:
    return np.vstack([first[:3] @ second[:3], first[3] @ second[:3] + second[3]])


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


def read_mesh(path: str | PathLike[str], unit: LengthUnit | None = None) -> Mesh:
    """Return the mesh in an STL, 3MF, OBJ or PLY file.

    Parameters
    ----------
    path : path-like
        The file; its ending names the format.
    unit : LengthUnit, optional
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
        mesh = parser(data, most_triangles=limits.MOST_TRIANGLES)
    except UnreadableMeshError as error:
        raise FileError(str(path), error.reason) from error
    del data
    return _checked(file, mesh, LengthUnit.MM if unit is None else unit)


MADE_LARGER: Final = re.compile(rb"moulddesign.{0,80}?made larger x(1\.\d{6})", re.DOTALL)
"""What a file of ours says of itself where it allows for the shrinkage of a plastic."""
HEADER_BYTES: Final = 16_000
"""It stands in so many bytes from the start."""


def made_larger(path: str | PathLike[str]) -> float:
    """Return how much larger than its design a file of this program is; 1 for any other file.

    The file is one that `read_mesh` has read.
    """
    file = Path(path)
    if file.suffix.lower() == ".3mf":
        with zipfile.ZipFile(file) as archive, archive.open(_model_entries(archive)[0]) as model:
            head = model.read(HEADER_BYTES)
        found = re.search(rb"made larger x(1\.\d{6})", head) if b"moulddesign" in head else None
    else:
        with file.open("rb") as stream:
            found = MADE_LARGER.match(stream.read(80))
    return 1.0 if found is None else float(found[1])


def _parser(file: Path, unit: LengthUnit | None) -> Parser:
    parser = PARSERS.get(file.suffix.lower())
    if parser is None:
        raise FileError(str(file), say("geometry.wrong-ending", endings=tuple(PARSERS)))
    if parser is parse_3mf and unit is not None:
        raise FileError(str(file), say("geometry.threemf-has-unit"))
    return parser


def _bytes(file: Path) -> bytes:
    data = read_bytes(file, most_bytes=limits.MOST_MESH_BYTES, advice=say("geometry.reduce-mesh"))
    if not data:
        raise FileError(str(file), say("geometry.file-empty"))
    return data


def _holds_what_it_says(file: Path, data: bytes) -> None:
    held = ".3mf" if data[:4] == b"PK\3\4" else ".ply" if data[:4] in {b"ply\n", b"ply\r"} else None
    ending = file.suffix.lower()
    if held is not None and held != ending:
        raise FileError(str(file), say("geometry.file-of-other-kind", ending=ending, held=held))
    if held is None and ending in {".3mf", ".ply"}:
        raise FileError(str(file), say("geometry.file-of-unknown-kind", ending=ending))


def _checked(file: Path, mesh: Mesh, unit: LengthUnit) -> Mesh:
    if not len(mesh.triangles):
        raise FileError(str(file), say("geometry.no-triangles"))
    if len(mesh.triangles) > limits.MOST_TRIANGLES:
        raise FileError(str(file), say("geometry.more-triangles", most=limits.MOST_TRIANGLES))
    if mesh.triangles.min() < 0 or mesh.triangles.max() >= len(mesh.vertices):
        raise FileError(str(file), say("geometry.unknown-corner"))
    if not np.isfinite(mesh.vertices).all():
        raise FileError(str(file), say("geometry.not-finite"))
    made = welded(compact(mesh.vertices * unit.in_mm, mesh.triangles)[0])
    _has_size(file, made)
    return made


def _has_size(file: Path, mesh: Mesh) -> None:
    if np.abs(mesh.vertices).max() > MOST_MM:
        raise FileError(str(file), say("geometry.too-far", most_mm=MOST_MM))
    middle = mesh.vertices - mesh.vertices.mean(axis=0)
    spread = np.sqrt(np.linalg.eigvalsh(middle.T @ middle).clip(0.0))
    if spread[2] == 0.0:
        raise FileError(str(file), say("geometry.no-size"))
    if _thickness_mm(middle) <= FLAT_RATIO * np.ptp(middle, axis=0).max():
        raise FileError(str(file), say("geometry.flat-sheet"))


def _thickness_mm(middle: np.ndarray) -> float:
    """Extent across the plane that fits the corners best [mm]."""
    across = np.linalg.eigh(middle.T @ middle)[1][:, 0]
    return float(np.ptp(middle @ across))
