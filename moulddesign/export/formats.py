"""What a build is written as, and bodies as files: STL, 3MF, GLB and STEP."""

import re
from collections.abc import Callable, Mapping, Sequence
from ctypes import c_ubyte
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final
from uuid import NAMESPACE_URL, uuid5

import lib3mf
import numpy as np

from moulddesign import __version__
from moulddesign.core import KernelError, say
from moulddesign.design import USUAL_FORMATS, Format, Paper
from moulddesign.geometry import Mesh
from moulddesign.kitchen import Recipe
from moulddesign.mould import Solid
from moulddesign.relief.cutter import Cutter

if TYPE_CHECKING:
    from trimesh import Trimesh


@dataclass(frozen=True, slots=True, kw_only=True)
class ExportOptions:
    """Which files a folder gets; the defaults are all usual formats, on A4."""

    formats: tuple[Format, ...] = USUAL_FORMATS
    """STL, the report and the design are always written."""
    paper: Paper = Paper.A4
    """Of card and drawing."""
    recipe: Recipe | None = None
    """Its ingredients tell the card's allergens."""
    overwrite: bool = False
    """Whether the folder may hold a mould of another geometry, which is lost then."""
    only: tuple[str, ...] = ()
    """Parts whose files are written, `shim` for every shim; all where it is empty."""
    cutter: Cutter | None = None
    """What cuts the engraving; None for the engraving as designed."""
    slicer: tuple[str, ...] = ()
    """What starts a slicer that says grams and time of each part; none where it is empty."""


PASTRY_RGB: Final = (0.87, 0.66, 0.38)
"""Baked crust; sRGB shares."""

PARTS_RGB: Final = ((0.62, 0.72, 0.78), (0.80, 0.84, 0.72), (0.72, 0.66, 0.74), (0.84, 0.78, 0.70))
"""Plastic, so that neighbours can be told apart; sRGB shares."""


def part_colour(name: str, number: int) -> tuple[float, float, float]:
    """Return the colour of a part by its number in the set, or of a pastry; sRGB shares, 0 to 1."""
    is_pastry = name.partition("-")[0] == "pastry"
    return PASTRY_RGB if is_pastry else PARTS_RGB[number % len(PARTS_RGB)]


STL_HEADER: Final = b"moulddesign, millimetres"
"""Text of the header; it must not begin with `solid`, which means the ASCII form."""

STL_RECORD: Final = np.dtype(
    [("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")]
)


def made_larger_text(scale: float) -> str:
    """Return what a file says of itself where it is larger than the design; empty where not.

    `geometry.mesh_files` reads it.

    Examples
    --------
    >>> made_larger_text(1.0 / 0.997), made_larger_text(1.0)
    (', made larger x1.003009, do not scale again', '')
    """
    return "" if scale == 1.0 else f", made larger x{scale:.6f}, do not scale again"


def stl_bytes(mesh: Mesh, scale: float = 1.0) -> bytes:
    """Return a mesh as a binary STL file: 80 bytes of header, count, 50 bytes a triangle.

    Its corners are float32 numbers already (`in_float32`), so that nothing is lost. The header says
    by how much it was made `scale` times larger.
    """
    corners = mesh.corners
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    lengths = np.linalg.norm(normals, axis=1, keepdims=True)
    records = np.zeros(len(corners), dtype=STL_RECORD)
    records["normal"] = np.divide(normals, lengths, out=np.zeros_like(normals), where=lengths > 0)
    records["corners"] = corners
    header = STL_HEADER + made_larger_text(scale).encode()
    return header.ljust(80) + np.uint32(len(corners)).tobytes() + records.tobytes()


BED_GAP_MM: Final = 8.0
"""Between neighbours on the bed, room for a brim around each; our choice [mm]."""


Corner = tuple[float, float]
"""Near left corner of a part on its plate [mm]."""


def arranged_on_bed(
    meshes: Mapping[str, Mesh], bed_mm: tuple[float, float, float]
) -> tuple[tuple[str, tuple[float, float, float]], ...]:
    """Return how far each part moves so that they lie side by side on the bed.

    The parts of the first bed are centred on it. What it has no room for lies to its right, where
    slicers count it as a plate of its own.
    """
    width, depth, _ = bed_mm
    sizes = {
        name: (float(mesh.size_mm[0]), float(mesh.size_mm[1])) for name, mesh in meshes.items()
    }
    large_first = sorted(sizes, key=lambda name: -sizes[name][0] * sizes[name][1])
    tried = [
        _plates([(name, sizes[name]) for name in order], (width, depth), along=along)
        for order in (list(sizes), large_first)
        for along in (0, 1)
    ]
    shifts = {}
    fewest = min(tried, key=len)
    for number, plate in enumerate(fewest):
        ends = [np.array(corner) + sizes[name] for name, corner in plate.items()]
        margin_x, margin_y = ((np.array([width, depth]) - np.max(ends, axis=0)) / 2.0).tolist()
        plate_x = number * (width + BED_GAP_MM)
        for name, (x, y) in plate.items():
            low = meshes[name].bounds[0]
            shifts[name] = (
                float(x + margin_x + plate_x - low[0]), float(y + margin_y - low[1]), 0.0
            )  # fmt: skip
    return tuple((name, shifts[name]) for name in meshes)


def _plates(
    parts: Sequence[tuple[str, Corner]], bed: Corner, *, along: int
) -> list[dict[str, Corner]]:
    """Return plates of parts of a size, each part as near to an edge of the bed as it goes."""
    plates: list[dict[str, Corner]] = []
    sizes = dict(parts)
    for name, size in parts:
        for plate in plates:
            corner = _free_corner(plate, sizes, size, bed=bed, along=along)
            if corner is not None:
                plate[name] = corner
                break
        else:
            plates.append({name: (0.0, 0.0)})
    return plates


def _free_corner(
    plate: Mapping[str, Corner],
    sizes: Mapping[str, Corner],
    size: Corner,
    *,
    bed: Corner,
    along: int,
) -> Corner | None:
    """Return the free place nearest to an edge, beside or behind other parts; None without one."""
    taken = [
        (x, y, x + sizes[name][0] + BED_GAP_MM, y + sizes[name][1] + BED_GAP_MM)
        for name, (x, y) in plate.items()
    ]
    free = [
        (x, y)
        for x in {0.0, *(end for _, _, end, _ in taken)}
        for y in {0.0, *(end for *_, end in taken)}
        if x + size[0] <= bed[0]
        and y + size[1] <= bed[1]
        and all(
            x >= x1 or y >= y1 or x + size[0] + BED_GAP_MM <= x0 or y + size[1] + BED_GAP_MM <= y0
            for x0, y0, x1, y1 in taken
        )
    ]
    return min(free, key=lambda corner: (corner[along], corner[1 - along]), default=None)


THREEMF_DECIMALS: Final = 6
"""Decimals of a coordinate in the file: a nanometre [mm]."""

# lib3mf 2.5 draws a random UUID for every object, item and build that is given none. A UUID of
# version 5 is a hash of a name, so that the same set is the same bytes.
UUID_ROOT: Final = uuid5(NAMESPACE_URL, "moulddesign:set.3mf")


def threemf_bytes(
    meshes: Mapping[str, Mesh],
    *,
    bed_mm: tuple[float, float, float],
    title: str,
    description: str,
    thumbnail: bytes | None,
) -> bytes:
    """Return parts as one 3MF file, laid out on the bed."""
    try:
        wrapper = lib3mf.get_wrapper()
        model = wrapper.CreateModel()
        model.SetUnit(lib3mf.ModelUnit.MilliMeter)
        model.SetBuildUUID(_uuid(title, "build"))
        _add_metadata(model, title, description)
        centred = {name: _centred(mesh) for name, mesh in meshes.items()}
        for name, shift in arranged_on_bed(centred, bed_mm):
            item = model.AddBuildItem(_add_object(model, name, centred[name]), _translation(shift))
            item.SetUUID(_uuid(name, "item"))
            item.SetPartNumber(name)
        if thumbnail is not None:
            model.CreatePackageThumbnailAttachment().ReadFromBuffer(_buffer(thumbnail))
        writer = model.QueryWriter("3mf")
        writer.SetDecimalPrecision(THREEMF_DECIMALS)
        writer.SetStrictModeActive(True)  # noqa: FBT003 (the library's own interface)
        return bytes(writer.WriteToBuffer())
    except lib3mf.ELib3MFException as error:
        raise KernelError(
            say("export.set-of-parts"), say("export.threemf-library", reason=str(error))
        ) from error


def _centred(mesh: Mesh) -> Mesh:
    """Return a mesh about the origin, moved by whole millimetres, so that no corner is rounded."""
    # lib3mf 2.5 writes coordinates within about one float32 step; near the origin steps are small.
    middle = np.round(mesh.bounds.mean(axis=0))
    return mesh.moved((-middle[0], -middle[1], 0.0))


def _add_metadata(model: Any, title: str, description: str) -> None:  # noqa: ANN401 (no types)
    group = model.GetMetaDataGroup()
    for key, text in (
        ("Title", title),
        ("Description", description),
        ("Application", f"moulddesign {__version__}"),
    ):
        group.AddMetaData("", key, text, "xs:string", True)  # noqa: FBT003 (the same)


def _add_object(model: Any, name: str, mesh: Mesh) -> Any:  # noqa: ANN401 (no types)
    made = model.AddMeshObject()
    made.SetName(name)
    made.SetUUID(_uuid(name, "object"))
    points = np.ascontiguousarray(mesh.vertices, dtype=np.float32)
    corners = np.ascontiguousarray(mesh.triangles, dtype=np.uint32)
    made.SetGeometry(
        (lib3mf.Position * len(points)).from_buffer_copy(points),
        (lib3mf.Triangle * len(corners)).from_buffer_copy(corners),
    )
    return made


def _translation(shift_mm: tuple[float, float, float]) -> Any:  # noqa: ANN401 (no types)
    place = lib3mf.Transform()
    for column, row in ((0, 0), (1, 1), (2, 2)):
        place.Fields[column][row] = 1.0
    for axis, length in enumerate(shift_mm):
        place.Fields[3][axis] = length
    return place


def _uuid(name: str, role: str) -> str:
    return str(uuid5(UUID_ROOT, f"{role} {name}"))


def _buffer(raw: bytes) -> Any:  # noqa: ANN401 (no types)
    return (c_ubyte * len(raw)).from_buffer_copy(raw)


Y_UP_METRES: Final = np.array(
    [[1e-3, 0.0, 0.0, 0.0], [0.0, 0.0, 1e-3, 0.0], [0.0, -1e-3, 0.0, 0.0], [0.0, 0.0, 0.0, 1.0]]
)
"""From millimetres with z up to what glTF 2.0 asks for: metres with y up."""


def glb_bytes(meshes: Mapping[str, Mesh]) -> bytes:
    """Return meshes as one GLB file, each a node of its name.

    Meshes have z up and millimetres; the file has y up and metres, as glTF 2.0 says. It holds no
    normals, so that a viewer shows the facets as they are.
    """
    import trimesh  # noqa: PLC0415 (a third of what a build loads)

    scene = trimesh.Scene()
    for number, (name, mesh) in enumerate(meshes.items()):
        scene.add_geometry(_coloured(mesh, name, part_colour(name, number)), name, name)
    return bytes(scene.export(file_type="glb", include_normals=False))


def _coloured(mesh: Mesh, name: str, rgb: Sequence[float]) -> "Trimesh":
    import trimesh  # noqa: PLC0415 (the same)
    from trimesh.visual.material import PBRMaterial  # noqa: PLC0415 (the same)

    made = trimesh.Trimesh(
        mesh.vertices @ Y_UP_METRES[:3, :3].T, mesh.triangles, process=False, validate=False
    )
    colour = [*(round(255 * share) for share in rgb), 255]
    made.visual = trimesh.visual.TextureVisuals(
        material=PBRMaterial(
            name=name, baseColorFactor=colour, metallicFactor=0.0, roughnessFactor=0.7
        )
    )
    return made


NO_RELIEF: Final = "blank: the relief and the shoulder are NOT in this file, take them from the STL"
"""What the file of a blank says of itself."""

STEP_TIME: Final = "1970-01-01T00:00:00"
"""Replaces the time of writing."""

STEP_HEADER: Final = """ISO-10303-21;
HEADER;
FILE_DESCRIPTION(('{description}','lengths in millimetres'),'2;1');
FILE_NAME('{name}.step','{time}',(''),(''),'{program}','{program}','');
"""


@dataclass(frozen=True, slots=True)
class StepFile:
    """A STEP file whose header says what it is and holds no time."""

    content: bytes
    volume_mm3: float
    """Of the exact body in it [mm^3]."""


def step_file(draw: Callable[[], Solid], *, name: str, description: str) -> StepFile:
    """Return the STEP file of a body, which is drawn for it."""
    solid = draw()
    text = solid.step_text(say("export.step-file", name=name))
    own = _with_own_header(text, name=name, description=description)
    return StepFile(own.encode("ascii"), solid.volume_mm3)


def step_string(text: str) -> str:
    r"""Return text as it stands between the quotes of a STEP string (ISO 10303-21, 6.4.3).

    Examples
    --------
    >>> step_string("the baker's café")
    "the baker''s caf\\X2\\00E9\\X0\\"
    """
    return "".join(map(_step_character, text))


def _step_character(character: str) -> str:
    if character in "'\\":
        return character * 2
    if " " <= character <= "~":
        return character
    if ord(character) <= 0xFFFF:  # noqa: PLR2004 (the basic multilingual plane)
        return f"\\X2\\{ord(character):04X}\\X0\\"
    return f"\\X4\\{ord(character):08X}\\X0\\"


def _with_own_header(text: str, *, name: str, description: str) -> str:
    """Return the file with a header of our own, and the product under our name."""
    # The kernel's header holds the time, and its product's name the number of files that the
    # process has written: both would change the bytes of an unchanged body.
    name = step_string(name)
    header = STEP_HEADER.format(
        description=step_string(description),
        name=name,
        time=STEP_TIME,
        program=f"moulddesign {__version__}",
    )
    body = text[text.index("FILE_SCHEMA") :]
    product = f"PRODUCT('{name}','{step_string(description)}'".replace("\\", "\\\\")
    return header + re.sub(r"PRODUCT\('[^']*',\s*'[^']*'", product, body, count=1)
