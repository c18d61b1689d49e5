"""What the 3D view draws: bodies made light enough, with normals, baked light and cut faces."""

import io
import json
import struct
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from math import inf
from typing import Any, Final

import numpy as np
import shapely
from PIL import Image

from moulddesign.building import PASTRY, Shape
from moulddesign.core import KernelError, word
from moulddesign.design import Along, Design, Layer
from moulddesign.geometry import Mesh, joined, manifold_of, upright_section
from moulddesign.mould import MouldSet, Part
from moulddesign.render import baked_map, board_shadow
from moulddesign.render.shading import smooth_parts

FILLING: Final = "filling"
CENTRE: Final = "centre"
PART: Final = "part"

MOST_TRIANGLES: Final = 40_000
"""A body of the view has at most so many."""
FIRST_SIMPLE_MM: Final = 0.004
"""A heavier body is simplified first within this, then within twice as much, and so on [mm]."""

COARSE_MAP_PX: Final = 192
FINE_MAP_PX: Final = 448
PART_MAP_PX: Final = 256

RIND_MM: Final = 0.5
"""How deep the browned rind of a cut piece looks; a look, no source [mm]."""
SECTION_CHORD_MM: Final = 0.01

THIN_PASTE_MM: Final = 2.0
"""Less paste over a centre is told at the cut: it tears there; common practice, no source [mm]."""

OUTLINE_MM: Final = 0.15
"""How far the outline of a layer that is moved may be off [mm]."""

GAP_RATIO: Final = 0.3
"""Air between parts that are laid out, as a share of the pastry's width."""
LOW_RATIO: Final = 0.75
"""Parts no higher than this share of the pastry's width lie in the front row."""
IN_A_ROW: Final = 3
FACE_UP: Final = ("stamp", "block")
"""Parts that show their engraving only when they are turned over."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ViewBody:
    """One body of the view."""

    name: str
    """Its name, and its key among the page's texts."""
    role: str
    """`pastry`, `part`, `filling` or `centre`."""
    mesh: Mesh
    """As it stands in the assembly [mm]."""
    cut: shapely.Geometry
    """Its section through the plane y = 0: x to the right, z up [mm]."""
    map_px: int = 0
    """Side of its map of light; 0 for what is only ever seen cut [px]."""
    is_turned: bool = False
    """Whether it is laid out turned over about the x axis."""
    laid_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    """How it is moved, once turned over, to lie beside the others [mm]."""
    is_further: bool = False
    """Whether it has no place in the assembly."""

    @property
    def laid(self) -> Mesh:
        """As it lies beside the others, but not moved there."""
        return self.mesh.turned_over() if self.is_turned else self.mesh


def pastry_bodies(shape: Shape) -> tuple[ViewBody, ...]:
    """Return the pastry, its filling and its centres."""
    inside = shape.interior
    within = {
        FILLING: [inside.filling] if inside.is_filled else [],
        CENTRE: [centre.mesh for centre in inside.centres],
    }
    whole = light_enough(shape.pastry.mesh)
    pastry = ViewBody(name=PASTRY, role=PASTRY, mesh=whole, cut=_cut(whole), map_px=COARSE_MAP_PX)
    inner = [
        ViewBody(name=name, role=name, mesh=mesh, cut=_cut(mesh))
        for name, mesh in ((name, joined(meshes)) for name, meshes in within.items() if meshes)
    ]
    return pastry, *inner


def cut_sizes(shape: Shape) -> dict[str, Any]:
    """Return the sizes that are written beside the cut, rounded as they are read [mm]."""
    inside, pastry = shape.interior, shape.pastry
    paste_mm = inside.least_paste_mm
    return {
        "width": round(pastry.outline.width_mm, 1),
        "height": round(pastry.height_mm, 1),
        "crust": round(inside.crust_mm, 1) if inside.is_filled else None,
        "filling": round(inside.ceiling_mm - inside.floor_mm, 1) if inside.is_filled else None,
        "centres": [
            {"name": ball.name, "across": round(ball.diameter_mm, 1), "at": list(ball.at_mm)}
            for ball in inside.centres
        ],
        "paste": None if paste_mm == inf else round(paste_mm, 1),
        "thin_paste": THIN_PASTE_MM,
    }


def movable_layers(design: Design, shape: Shape) -> dict[str, Any]:
    """Return the top and the layers that can be moved on it, with their outlines [mm].

    Lettering along a rim or an outline has no place of its own and is left out.
    """
    pastry = shape.pastry
    free = pastry.outline.shape.buffer(-pastry.shoulder_radius_mm - design.relief.margin_mm)
    # A layer that is as large as it may be reaches to its edge, and either may be off.
    outline = free.buffer(2.0 * OUTLINE_MM).simplify(OUTLINE_MM)
    layers = []
    for place, layer in enumerate(design.relief.layers):
        drawn = [
            part.shape
            for region in pastry.relief
            for part in region.parts
            if part.place == place and part.layer == layer
        ]
        if drawn and layer.along in {None, Along.STRAIGHT}:
            layers.append(_movable(place, layer, shapely.union_all(drawn)))
    top = {
        "z": pastry.height_mm,
        "width": pastry.outline.width_mm,
        "rim": _coordinates(outline.exterior),
    }
    return {"top": top, "layers": layers}


def _movable(place: int, layer: Layer, shape: shapely.Geometry) -> dict[str, Any]:
    at = (layer.x_mm, layer.y_mm)
    upright = shapely.affinity.rotate(shape, -layer.turn_deg, origin=at)
    left, low, right, high = upright.bounds
    drawn_mm = round(max(right - left, high - low), 1)
    rings = shapely.get_rings(shapely.get_parts(shape.simplify(OUTLINE_MM)))
    return {
        "place": place,
        "name": layer.pattern or layer.motif or layer.text,
        "x": layer.x_mm,
        "y": layer.y_mm,
        "turn": layer.turn_deg,
        "size": drawn_mm if layer.size_mm is None else layer.size_mm,
        "reach": float(np.hypot(*(shapely.get_coordinates(shape) - at).T).max()),
        "rings": [_coordinates(ring) for ring in rings],
    }


def _coordinates(ring: shapely.LinearRing) -> list[list[float]]:
    found: list[list[float]] = np.round(shapely.get_coordinates(ring)[:-1], 2).tolist()
    return found


def part_bodies(mould: MouldSet[Any], shape: Shape) -> tuple[ViewBody, ...]:
    """Return a mould's parts, laid out in rows around the pastry.

    What is low lies beside and before it and what is tall behind, so that nothing hides the rest; a
    stamp and a block lie face up.
    """
    pastry = shape.pastry.mesh
    width_mm = float(pastry.size_mm[:2].max())
    bodies = [_part_body(part) for part in mould.parts]
    low = [one for one in bodies if one.laid.size_mm[2] <= LOW_RATIO * width_mm]
    tall = [one for one in bodies if one not in low]
    beside, before = low[: IN_A_ROW - 1], low[IN_A_ROW - 1 :]
    rows: list[list[ViewBody | Mesh]] = [[*tall], [pastry, *beside]]
    rows += [[*before[n : n + IN_A_ROW]] for n in range(0, len(before), IN_A_ROW)]
    return tuple(_laid_out(rows, gap_mm=GAP_RATIO * width_mm))


def _laid_out(rows: list[list[ViewBody | Mesh]], *, gap_mm: float) -> Iterator[ViewBody]:
    """Yield the bodies of rows one behind the other, the one mesh among them where it stands."""
    solids = [[one if isinstance(one, Mesh) else one.laid for one in row] for row in rows]
    depths = [max((float(mesh.size_mm[1]) for mesh in row), default=0.0) for row in solids]
    home = next(n for n, row in enumerate(rows) if any(isinstance(one, Mesh) for one in row))
    whole_mm = _row_mm(solids[home], gap_mm)
    left_mm = float(solids[home][0].bounds[0, 0])
    for number, (row, meshes) in enumerate(zip(rows, solids, strict=True)):
        between = depths[min(number, home) : max(number, home) + 1]
        away_mm = sum(between) - (between[0] + between[-1]) / 2.0 + gap_mm * (len(between) - 1)
        y_mm = away_mm if number < home else -away_mm
        x_mm = left_mm + (whole_mm - _row_mm(meshes, gap_mm)) / 2.0
        for one, mesh in zip(row, meshes, strict=True):
            low, high = mesh.bounds.tolist()
            if not isinstance(one, Mesh):
                at_mm = (x_mm - low[0], y_mm - (low[1] + high[1]) / 2.0, -low[2])
                yield replace(one, laid_mm=at_mm)
            x_mm += high[0] - low[0] + gap_mm


def _row_mm(meshes: list[Mesh], gap_mm: float) -> float:
    return sum(float(mesh.size_mm[0]) for mesh in meshes) + gap_mm * (len(meshes) - 1)


def _part_body(part: Part) -> ViewBody:
    mesh = light_enough(part.mesh)
    return ViewBody(
        name=part.name,
        role=PART,
        mesh=mesh,
        cut=shapely.Polygon() if part.is_further else _cut(mesh),
        map_px=PART_MAP_PX,
        is_turned=part.name.partition("-")[0] in FACE_UP,
        is_further=part.is_further,
    )


def light_enough(mesh: Mesh) -> Mesh:
    """Return a mesh of at most 40,000 triangles for the view, or itself where it is not closed."""
    if len(mesh.triangles) <= MOST_TRIANGLES:
        return mesh
    try:
        body = manifold_of(mesh, word("view"))
    except KernelError:
        return mesh  # a check tells it; the view shows what there is
    within_mm = FIRST_SIMPLE_MM
    while body.num_tri() > MOST_TRIANGLES:
        body = body.simplify(within_mm)
        within_mm *= 2.0
    made = body.to_mesh64()
    return Mesh(made.vert_properties[:, :3], made.tri_verts)


def _cut(mesh: Mesh, at_mm: float = 0.0) -> shapely.Geometry:
    moved = Mesh(mesh.vertices - (0.0, at_mm, 0.0), mesh.triangles)
    return shapely.simplify(upright_section(moved), SECTION_CHORD_MM)


def cut_at(bodies: Iterable[ViewBody], at_mm: float) -> bytes:
    """Return the faces of bodies that are cut by the plane y = `at_mm`, as the view reads them."""
    faces = [replace(body, cut=_cut(body.mesh, at_mm)) for body in bodies if not body.is_further]
    described = [({"name": face.name, "role": face.role}, _faces(face)) for face in faces]
    return _packed({"stage": "cut", "at": at_mm}, described)


def finer_light(bodies: Iterable[ViewBody]) -> bytes:
    """Return a finer map of the light on the pastry, as the view reads it."""
    pastry = next(body for body in bodies if body.role == PASTRY)
    head = {"name": pastry.name, "role": pastry.role}
    return _packed({"stage": "light"}, [(head, _light(pastry, FINE_MAP_PX))])


def encode_bodies(stage: str, bodies: Iterable[ViewBody], **more: object) -> bytes:
    """Return the bodies of a stage, `pastry` or `mould`, as the view reads them.

    The length of the head (uint32), the head in JSON, then one array after the other as the head
    names them, each from a multiple of four bytes on, little-endian. Corners that lie on a crease
    come once for each of its sides. `more` is put into the head.
    """
    return _packed({"stage": stage} | more, [(_head(body), _arrays(body)) for body in bodies])


Arrays = dict[str, bytes]
"""Little-endian content by name."""


def _packed(head: dict[str, object], bodies: Iterable[tuple[dict[str, Any], Arrays]]) -> bytes:
    described, content = [], []
    for body, arrays in bodies:
        described.append(body | {"arrays": {name: len(data) for name, data in arrays.items()}})
        content += [data + bytes(-len(data) % 4) for data in arrays.values()]
    text = json.dumps(head | {"bodies": described}).encode()
    text += b" " * (-len(text) % 4)
    return struct.pack("<I", len(text)) + text + b"".join(content)


def _head(body: ViewBody) -> dict[str, Any]:
    if not body.map_px:
        return {"name": body.name, "role": body.role}
    low, high = body.laid.bounds
    return {
        "name": body.name,
        "role": body.role,
        "turned": body.is_turned,
        "laid": body.laid_mm,
        "further": body.is_further,
        "low": low.tolist(),
        "high": high.tolist(),
    }


def _arrays(body: ViewBody) -> Arrays:
    if not body.map_px:
        return _faces(body)
    smooth = smooth_parts(body.laid)
    # One corner stands for all of its group: they have one place and one normal.
    _, first = np.unique(smooth.group.ravel(), return_index=True)
    _, triangles = np.unique(smooth.group.ravel(), return_inverse=True)
    normals = np.zeros((len(first), 4), dtype=np.int8)
    normals[:, :3] = np.rint(127.0 * smooth.corner_normals.reshape(-1, 3)[first])
    return {
        "vertices": body.laid.corners.reshape(-1, 3)[first].astype("<f4").tobytes(),
        "normals": normals.tobytes(),
        "triangles": triangles.astype("<u4").tobytes(),
        **_faces(body),
        **_light(body, body.map_px),
    }


def _faces(body: ViewBody) -> Arrays:
    core = _cut_arrays("core", body.cut.buffer(-RIND_MM)) if body.role == PASTRY else {}
    return _cut_arrays("cut", body.cut) | core


def _cut_arrays(name: str, shape: shapely.Geometry) -> Arrays:
    """Return corners (x, z), three for each triangle of a section."""
    # Not manifold3d's triangulation (3.5): it breaks down where two loops touch.
    triangles = shapely.get_parts(shapely.constrained_delaunay_triangles(shape))
    rings = shapely.get_coordinates(triangles).reshape(-1, 4, 2)
    return {name: rings[:, :3].astype("<f4").tobytes()}


def _light(body: ViewBody, size_px: int) -> Arrays:
    """Return what light from above leaves on a body and on the board, as WebP, lowest y first.

    `top`: browning, sky, lamp. `walls`: heights of the ground, below which the lamp is hidden, and
    of what stands around, as shares of the span. `board`: how dark the board is. `places`: corner,
    side and pixel of the map, corner and side of the board's, span, ground, relief [mm].
    """
    baked = baked_map(body.laid, size_px)
    walls = baked.walls
    span_mm = max(float(walls.max()), 0.1)
    shadow = board_shadow(body.laid)
    grid = baked.grid
    places = [
        *grid.corner, size_px * grid.pixel_mm, grid.pixel_mm,
        *shadow.corner, len(shadow.dark) * shadow.pixel_mm,
        span_mm, baked.flat_mm, baked.relief_mm,
    ]  # fmt: skip
    return {
        "top": _webp(baked.layers, quality=90),
        "walls": _webp(walls / span_mm, lossless=True, quality=0),
        "board": _webp(np.repeat(shadow.dark[:, :, None], 3, axis=2), lossless=True, quality=0),
        "places": np.array(places, dtype="<f4").tobytes(),
    }


def _webp(shares: np.ndarray[Any, Any], **how: object) -> bytes:
    file = io.BytesIO()
    image = Image.fromarray((shares.clip(0.0, 1.0) * 255.0).round().astype(np.uint8))
    image.save(file, format="WEBP", method=0, **how)
    return file.getvalue()
