"""The PNG pictures of a build: what each shows."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from math import radians, tan
from types import MappingProxyType
from typing import Final

import numpy as np
import shapely

from moulddesign.artwork.artwork_check import ThinMark, thin_marks
from moulddesign.artwork.layers import thickened_places
from moulddesign.building import PASTRY, Build, Shape
from moulddesign.core import LANGUAGES, Message, in_words, say
from moulddesign.design import Kind
from moulddesign.export import flat_pictures
from moulddesign.export.formats import part_colour
from moulddesign.geometry import Mesh
from moulddesign.geometry.mending import in_float32
from moulddesign.geometry.sampling import Grid, top_heights_mm
from moulddesign.pastry.pastry import Pastry
from moulddesign.render import Body, Picture, Scene, height_picture, png_bytes
from moulddesign.verify.piece_checks import ReadWidths, least_widths_mm

GAP: Final = 0.15
"""Between parts in a row, as a share of the widest."""

APART: Final = 0.5
"""Between parts pulled apart, as a share of the pastry's width."""

APART_ELEVATION_DEG: Final = 24.0
"""How high the eye stands over parts pulled apart [deg]."""

PLASTER_RGB: Final = (0.91, 0.88, 0.83)
"""Of a part in pictures, in which light has to show its shape; sRGB shares."""

TINT: Final = 0.35
"""How much of its own colour a part has beside that, so that neighbours can be told apart."""


def pastry_scene(pastry: Mesh) -> Scene:
    """Return the pastry seen from the front and above, so that its relief reads upright."""
    return Scene(
        bodies=(Body(mesh=pastry),),
        azimuth_deg=0.0,
        elevation_deg=52.0,
        size_px=(1000, 800),
    )


def parts_scene(build: Build) -> Scene:
    """Return the pastry and its mould; a block's cavity is seen only when it is turned over."""
    pastry = build.meshes[PASTRY]
    if build.design.mould.kind is Kind.BLOCK:
        return cavity_up_scene(printed_parts(build), pastry)
    return exploded_scene(assembled_parts(build), pastry)


def printed_parts(build: Build) -> dict[str, Mesh]:
    """Return the parts to print, as they lie on the bed."""
    return {part.name: build.meshes[part.name] for part in build.mould.parts}


def assembled_parts(build: Build) -> dict[str, Mesh]:
    """Return the parts that go together as they stand in the assembly."""
    return {part.name: in_float32(part.mesh) for part in build.mould.assembled}


def exploded_scene(parts: Mapping[str, Mesh], pastry: Mesh) -> Scene:
    """Return the assembled parts pulled apart above the pastry, in their order from below."""
    bodies = [Body(mesh=pastry)]
    gap_mm = APART * float(pastry.size_mm[:2].max())
    top_mm = float(pastry.bounds[1, 2])
    reach_mm, rise = _reach_mm(pastry), tan(radians(APART_ELEVATION_DEG))
    for number, (name, mesh) in enumerate(parts.items()):
        # What reaches farther towards the eye than the part below hangs over it in the picture.
        overhang_mm = max(0.0, rise * (_reach_mm(mesh) - reach_mm))
        lift = top_mm + gap_mm + overhang_mm - float(mesh.bounds[0, 2])
        moved = mesh.moved((0.0, 0.0, lift))
        bodies.append(Body(mesh=moved, rgb=_plaster(name, number)))
        top_mm, reach_mm = float(moved.bounds[1, 2]), _reach_mm(mesh)
    return Scene(
        bodies=tuple(bodies),
        azimuth_deg=22.0,
        elevation_deg=APART_ELEVATION_DEG,
        size_px=(780, 1300),
    )


def _reach_mm(mesh: Mesh) -> float:
    """Return how far a mesh reaches from the z axis along x or y [mm]."""
    return float(np.abs(mesh.bounds[:, :2]).max())


def cavity_up_scene(blocks: Mapping[str, Mesh], pastry: Mesh) -> Scene:
    """Return the pastry and, behind it, blocks as they lie on the bed: with their cavities up."""
    bodies = [Body(mesh=pastry)]
    gap_mm = APART * float(pastry.size_mm[:2].max())
    back_mm = float(pastry.bounds[1, 1])
    for number, (name, mesh) in enumerate(blocks.items()):
        low, high = mesh.bounds
        shift = (-(low[0] + high[0]) / 2.0, back_mm + gap_mm - low[1], -low[2])
        bodies.append(Body(mesh=mesh.moved(shift), rgb=_plaster(name, number)))
        back_mm += gap_mm + float(high[1] - low[1])
    return Scene(bodies=tuple(bodies), azimuth_deg=12.0, elevation_deg=48.0, size_px=(1000, 900))


def row_scene(parts: Mapping[str, Mesh]) -> Scene:
    """Return the parts in a row, as they lie on the printer's bed."""
    gap_mm = GAP * max(float(mesh.size_mm[0]) for mesh in parts.values())
    bodies, x = [], 0.0
    for number, (name, mesh) in enumerate(parts.items()):
        low, high = mesh.bounds
        shift = (x - low[0], -(low[1] + high[1]) / 2.0, 0.0)
        bodies.append(Body(mesh=mesh.moved(shift), rgb=_plaster(name, number)))
        x += float(high[0] - low[0]) + gap_mm
    return Scene(bodies=tuple(bodies), azimuth_deg=0.0, elevation_deg=38.0, size_px=(1000, 500))


def _plaster(name: str, number: int) -> tuple[float, float, float]:
    """Return the colour of a part in pictures; sRGB shares."""
    own = part_colour(name, number)
    red, green, blue = (
        TINT * one + (1.0 - TINT) * pale for one, pale in zip(own, PLASTER_RGB, strict=True)
    )
    return red, green, blue


def further_pastry_scenes(build: Build) -> Mapping[str, Scene]:
    """Return a picture of each further pastry, by the name of its file."""
    return MappingProxyType(
        {
            f"{one.pastry_name}.png": pastry_scene(build.meshes[one.pastry_name])
            for one in build.further
        }
    )


def relief_pictures(build: Build | Shape) -> Mapping[str, Pastry]:
    """Return every pastry by the name of the picture of its relief, the first's first."""
    further = {
        f"{one.stamp_name.replace('stamp', 'relief', 1)}.png": one.pastry for one in build.further
    }
    return MappingProxyType({"relief.png": build.pastry} | further)


def face_name(relief: str) -> str:
    """Return the name of a carved face's picture by that of its relief's file, which shows it."""
    return relief.replace("relief", "face", 1).removesuffix(".png")


def face_pictures(build: Build | Shape) -> Mapping[str, Callable[[], Picture]]:
    """Return what makes the picture that `face_name` names of each carved face."""
    return MappingProxyType(
        {
            face_name(name): partial(face_seen, surface, each.outline.shape, each.height_mm)
            for name, each in relief_pictures(build).items()
            if each.carved is not None
            for top in [each.top]  # with a side that leans
            for surface in [Mesh(top.vertices, top.triangles)]
        }
    )


def face_seen(surface: Mesh, outline: shapely.Polygon, height_mm: float) -> Picture:
    """Return a carved face as it is seen from above, for `relief_plan`.

    Parameters
    ----------
    surface : Mesh
        What lies within the outline, heights over the face's plane.
    height_mm : float
        Table to that plane [mm].
    """
    pixels = 2 * flat_pictures.SIDE_PX  # two samples along each side of a pixel
    corner, side_mm = flat_pictures.seen_square(outline)
    grid = Grid(low_mm=corner, pixel_mm=side_mm / pixels, shape=(pixels, pixels))
    heights = top_heights_mm(surface, grid).astype(np.float32)
    heights += np.float32(height_mm)
    heights.clip(0.0, out=heights)
    return height_picture(heights, side_mm / flat_pictures.SIDE_PX)


CAPTION: Final = flat_pictures.CAPTION_PX / (flat_pictures.SIDE_PX + flat_pictures.CAPTION_PX)
"""Share of the picture's height that is its caption."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReliefPlan:
    """A picture of the relief, its caption below."""

    png: bytes
    caption: tuple[Message, ...]
    """The lines of the caption."""


def relief_plan(
    pastry: Pastry,
    *,
    line_mm: float,
    language: str = LANGUAGES[0],
    read_mm: ReadWidths = (None, None),
    face: Picture | None = None,
) -> ReliefPlan:
    """Return the relief's regions from above, raised ones dark, sunk ones light.

    A carved face's picture, `face`, takes their place. Strokes and gaps that are too thin for the
    width of a printed line are ringed, and what thickening added to strokes has its own colour.
    """
    drawn = [
        flat_pictures.ColouredRegion(shape=pastry.outline.shape, colour=flat_pictures.DOUGH_COLOUR)
    ]
    marks: list[ThinMark] = []
    caption: list[Message] = []
    for shape, depth_mm in pastry.artwork:
        raised = depth_mm > 0.0
        stroke_mm, gap_mm = least_widths_mm(line_mm=line_mm, raised=raised, read_mm=read_mm)
        drawn.append(
            flat_pictures.ColouredRegion(
                shape=shape,
                colour=flat_pictures.RAISED_COLOUR if raised else flat_pictures.SUNK_COLOUR,
            )
        )
        marks += thin_marks(shape, least_stroke_mm=stroke_mm, least_gap_mm=gap_mm)
        caption.append(
            say("export.relief-raised", stroke_mm=stroke_mm, gap_mm=gap_mm)
            if raised
            else say("export.relief-sunk", stroke_mm=stroke_mm, gap_mm=gap_mm)
        )
    added = thickened_places(part for region in pastry.relief for part in region.parts)
    caption.append(flat_pictures.outcome(marks, thickened=not added.is_empty))
    if not added.is_empty:
        thick = flat_pictures.ColouredRegion(shape=added, colour=flat_pictures.THICKENED_COLOUR)
        drawn.append(thick)
    bare = say("export.relief-none") if pastry.carved is None else say("export.relief-carved")
    lines = tuple(caption) if pastry.artwork else (bare,)
    shown = "\n".join(in_words(line, language) for line in lines)
    picture = flat_pictures.marked_picture(drawn, tuple(marks), shown, face)
    return ReliefPlan(png=png_bytes(picture), caption=lines)
