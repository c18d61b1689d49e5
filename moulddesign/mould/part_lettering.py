"""Id, weight, ratio and name on the parts, so that moulds in a drawer can be told apart."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Final, TypeVar

import numpy as np
import shapely
from shapely.affinity import rotate, scale, translate

from moulddesign.artwork.path_lettering import rim_lettering
from moulddesign.core import SpecError, say, word
from moulddesign.design import Design, Profile, Purpose
from moulddesign.geometry import Mesh, Points, difference
from moulddesign.mould.block import BlockLayout
from moulddesign.mould.cast import CORNER_MM, CastLayout
from moulddesign.mould.mould_set import MouldSet, Part
from moulddesign.mould.plans import FIGURE_CHORD_MM, half_extents_mm, text_region
from moulddesign.mould.press import LOBE_RADIUS_MM, STOP, tab_middle_mm, vane_reach_mm
from moulddesign.mould.press_layout import TAB_MM, PressLayout
from moulddesign.relief.roof import ReliefRegion, Roof, triangulated_loops
from moulddesign.relief.voronoi import snapped_to_grid

L = TypeVar("L")

DEPTH_MM: Final = 0.6
"""Depth of the letters, three usual layers; our choice [mm]."""

DRAFT_DEG: Final = 20.0
"""Draft of their walls, so that they wash out; our choice [deg]."""

MOST_EM_MM: Final = 7.0
"""Largest letters: the font's em; our choice [mm]."""

LEAST_EM_MM: Final = 4.0
"""Smallest letters whose strokes are wider than a usual line; our choice [mm]."""

MARGIN_MM: Final = 0.5
"""Least distance from letters to an edge; our choice [mm]."""

OVER_MM: Final = 0.5
"""How far the letters' tool reaches out of the part [mm]."""

ASCENT: Final = 0.8
"""Height of the tallest letters over the base line, as a share of the em."""

LINE: Final = 1.2
"""From one line to the next, as a share of the em."""

DESCENT: Final = 0.25
"""Depth of the lowest letters under the base line, as a share of the em."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Face:
    """A level face: where it is, how thick the part is there, what is free.

    `ring_mm` is the least and greatest radius of a free ring about the axis, if it has one;
    `strip` the middle, length and width of a free strip, and its turn from x [mm, deg].
    """

    height_mm: float
    thickness_mm: float
    ring_mm: tuple[float, float] | None = None
    strip: tuple[tuple[float, float], float, float, float] | None = None
    looks_up: bool = False
    """Whether it faces away from the table."""


def inscriptions(design: Design) -> tuple[str, ...]:
    """Return what to write on a part, the longest first."""
    weight = _with_id(design, f"{round(design.portion.finished_weight_g, 1):g} g")
    made_of = design.portion.ratio if design.portion.is_filled else design.portion.composition.value
    short = f"{weight}  {made_of}"
    return f"{short}  {design.name}", short, weight


def _with_id(design: Design, weight: str) -> str:
    """Return a weight after the short id of the mould, where it has one."""
    return f"{getattr(design.mould, 'id', '')}  {weight}" if _has_id(design) else weight


def _has_id(design: Design) -> bool:
    return getattr(design.mould, "id", None) is not None


def not_food_inscription(design: Design) -> str | None:
    """Return what a mould says whose pieces nobody may eat; None for food."""
    return "NOT FOR FOOD" if design.portion.purpose is Purpose.NOT_FOOD else None


def inscribe_press(design: Design, mould: MouldSet[PressLayout]) -> MouldSet[PressLayout]:
    """Return a press with its capacity on sleeve, plunger and stop, where there is room."""
    faces = {
        "sleeve": _lobe(mould.layout.base),
        "plunger": _disc(mould.layout.base),
        STOP: _tab(mould.layout),
    }
    return _lettered(design, mould, faces)


def stop_inscriptions(design: Design, layout: PressLayout) -> tuple[str, ...]:
    """Return what to write on a stop, the longest first: the mould's id, weight, own height."""
    weight = f"{round(design.portion.finished_weight_g, 1):g} g"
    texts = (f"{weight}  {layout.stop_height_mm:.1f}", weight)
    # The height goes before the id: a press has several stops.
    return (_with_id(design, texts[0]), *texts) if _has_id(design) else texts


def inscribe_block(design: Design, mould: MouldSet[BlockLayout]) -> MouldSet[BlockLayout]:
    """Return blocks with their capacity on each handle; the parameters are `inscribe_press`'s."""
    faces = (_handle(plate) for plate in mould.layout.plates)
    names = (part.name for part in mould.parts)
    return _lettered(design, mould, dict(zip(names, faces, strict=True)))


def inscribe_cast(design: Design, mould: MouldSet[CastLayout]) -> MouldSet[CastLayout]:
    """Return a casting master that says so where its pieces are no food, if there is room.

    What silicone is poured over is cast with it, so nothing else is written on a master, and this
    is mirrored: the silicone mould reads right.
    """
    text, face = not_food_inscription(design), _tray_floor(mould.layout)
    shape = None if text is None else _along(text, face)
    if text is None or shape is None:
        return mould
    (master,) = mould.parts
    tool = _tool(shape, face)
    mesh = difference(master.mesh, [tool], say("mould.letters", part=word("master")))
    sunk_mm3 = master.mesh.volume_mm3 - mesh.volume_mm3
    return MouldSet(
        parts=(replace(master, mesh=mesh, lettering=text),),
        layout=replace(
            mould.layout, lettering_mm3=sunk_mm3, lettering_depth_mm=-float(tool.bounds[0, 2])
        ),
    )


def inscribe_stop(design: Design, layout: PressLayout, part: Part) -> Part:
    """Return a stop that was made by itself with its weight and height on it."""
    return _written(stop_inscriptions(design, layout), part, _tab(layout))


def _lettered(design: Design, mould: MouldSet[L], faces: dict[str, _Face | None]) -> MouldSet[L]:
    parts = tuple(
        _written(wanted_lettering(design, mould, part.name), part, faces.get(part.name))
        for part in mould.parts
    )
    return replace(mould, parts=parts)


def wanted_lettering(design: Design, mould: MouldSet[L], name: str) -> tuple[str, ...]:
    """Return what to write on the part of a name, the longest first."""
    if name == STOP and isinstance(mould.layout, PressLayout):
        return stop_inscriptions(design, mould.layout)
    if design.kept is not None and design.kept.press is not None:
        return design.kept.press.says
    return inscriptions(design)


def _written(texts: tuple[str, ...], part: Part, face: _Face | None) -> Part:
    """Return a part with the longest text that its face takes."""
    if face is None:
        return part
    for text in texts:
        for shape in _layouts(text, face):
            mesh = difference(
                part.mesh, [_tool(shape, face)], say("mould.letters", part=word(part.name))
            )
            return replace(part, mesh=mesh, plain=part.mesh, lettering=text)
    return part


def _layouts(text: str, face: _Face) -> Iterator[shapely.Geometry]:
    """Yield the text where it fits, as it reads from below."""
    made = (_around(text, face), _along(text, face))
    yield from (scale(shape, 1.0, -1.0, origin=(0.0, 0.0)) for shape in made if shape is not None)


def _around(text: str, face: _Face) -> shapely.Geometry | None:
    if face.ring_mm is None:
        return None
    low, high = face.ring_mm
    em = min((high - low - 2.0 * MARGIN_MM) / (ASCENT + DESCENT), MOST_EM_MM)
    if em < LEAST_EM_MM:
        return None
    base = high - MARGIN_MM - ASCENT * em
    try:
        found = rim_lettering(text, None, radius_mm=base, height_mm=em)
    except SpecError:  # too long for the ring, or a name in letters that the font lacks
        return None
    return shapely.union_all([region.shape for region in found])


def _along(text: str, face: _Face) -> shapely.Geometry | None:
    """Return the text in one line or two, whichever is larger on the strip."""
    if face.strip is None:
        return None
    (x, y), length, width, turn_deg = face.strip
    head, _, tail = text.rpartition("  ")
    fitted = [_line(text, (length, width), 1)]
    if head:
        fitted.append(_line(f"{head}\n{tail}", (length, width), 2))
    em_mm, shape = max(fitted, key=lambda pair: pair[0])
    if em_mm < LEAST_EM_MM:
        return None
    return translate(rotate(shape, turn_deg, origin=(0.0, 0.0)), x, y)


def _line(text: str, room_mm: tuple[float, float], lines: int) -> tuple[float, shapely.Geometry]:
    """Return the em of text as large as a strip takes, and the text about the origin."""
    try:
        shape = text_region(text, height_mm=ASCENT + DESCENT + LINE * (lines - 1))
    except SpecError:  # a name in letters that the font lacks
        return 0.0, shapely.Polygon()
    x0, y0, x1, y1 = shape.bounds
    length, width = (room - 2.0 * MARGIN_MM for room in room_mm)
    em_mm = min(length / (x1 - x0), width / (y1 - y0), MOST_EM_MM)
    return em_mm, scale(shape, em_mm, em_mm, origin=(0.0, 0.0))


def _lobe(layout: PressLayout) -> _Face | None:
    """Return the underside of the grip lobe towards +y, beyond the disc."""
    if not layout.mould.lobe_mm:
        return None
    _, across = half_extents_mm(layout.outline)
    low = across + layout.flange_reach_mm
    width = across + layout.disc_reach_mm + layout.mould.lobe_mm - LOBE_RADIUS_MM / 2.0 - low
    # The lobe narrows to its end: text as long as it is wide there lies well inside it.
    strip = ((0.0, -(low + width / 2.0)), 2.0 * LOBE_RADIUS_MM - 4.0, width, 0.0)
    thickness = layout.mould.flange_thickness_mm
    return _Face(height_mm=layout.sleeve_height_mm - thickness, thickness_mm=thickness, strip=strip)


def _disc(layout: PressLayout) -> _Face:
    """Return the palm disc's face that faces the table, between stem and stop."""
    ring = (vane_reach_mm(layout), layout.narrow_mm / 2.0 + layout.stop_inside_mm)
    thickness = layout.mould.disc_thickness_mm
    return _Face(height_mm=layout.disc_low_mm, thickness_mm=thickness, ring_mm=ring)


def _tab(layout: PressLayout) -> _Face:
    """Return the top of the stop's tab, short of the hole for the cord."""
    length, width, height = TAB_MM
    thick = min(height, layout.stop_height_mm)
    x, y = tab_middle_mm(layout)
    strip = ((x - 2.3, y), width - 2.0, length - 9.5, 90.0)
    return _Face(
        height_mm=layout.sleeve_height_mm + thick, thickness_mm=thick, strip=strip, looks_up=True
    )


def _handle(layout: BlockLayout) -> _Face | None:
    """Return the handle's face on the mouth side, between the block and the hole."""
    mould, ((x0, y0), (_, y1)) = layout.mould, layout.board_mm
    if not mould.handle_length_mm:
        return None
    free = mould.handle_length_mm - mould.handle_width_mm / 2.0 - mould.hole_mm
    length = free - 4.0 * MARGIN_MM
    middle = (x0 - free / 2.0, -(y0 + y1) / 2.0)  # as it reads from below
    strip = (middle, length, mould.handle_width_mm - 4.0, 0.0)
    height = layout.thickness_mm - layout.handle_thickness_mm
    return _Face(height_mm=height, thickness_mm=layout.handle_thickness_mm, strip=strip)


def _tray_floor(layout: CastLayout) -> _Face:
    """Return a free strip of a tray's floor beside the pastries, along a longer side.

    As letters are turned over about x, its y is that from below.
    """
    (x0, y0), (x1, y1) = layout.inside_mm
    half = layout.mould.land_mm / 2.0
    lying = x1 - x0 >= y1 - y0
    if lying:
        ends, length_mm = (y0 + half, y1 - half), x1 - x0
    else:
        ends, length_mm = (x0 + half, x1 - half), y1 - y0
    # The vent is near one side at the most.
    middle = max(ends, key=lambda end: abs(end - layout.vent_mm[1 if lying else 0]))
    along = (x0 + x1) / 2.0 if lying else (y0 + y1) / 2.0
    place, turn_deg = ((along, -middle), 0.0) if lying else ((middle, -along), 90.0)
    strip = (place, length_mm - 2.0 * CORNER_MM, layout.mould.land_mm, turn_deg)
    return _Face(height_mm=0.0, thickness_mm=layout.mould.floor_mm, strip=strip, looks_up=True)


def _tool(shape: shapely.Geometry, face: _Face) -> Mesh:
    """Return what is cut from a face: drafted letters that stand on it, into the part."""
    x0, y0, x1, y1 = shape.bounds
    x, y = (x0 + x1) / 2.0, (y0 + y1) / 2.0
    letters = _letters(
        snapped_to_grid(translate(shape.simplify(FIGURE_CHORD_MM), -x, -y)),
        min(DEPTH_MM, face.thickness_mm / 3.0),
    )
    if face.looks_up:
        return letters.turned_over().moved((x, -y, face.height_mm))
    return letters.moved((x, y, face.height_mm))


@lru_cache(maxsize=32)
def _letters(shape: shapely.Geometry, depth_mm: float) -> Mesh:
    """Return drafted letters about the origin, standing on z = 0; other sizes have the same."""
    region = ReliefRegion(shape=shape, depth_mm=depth_mm, profile=Profile.FLAT, draft_deg=DRAFT_DEG)
    return _closed(region.roof())


def _closed(roof: Roof) -> Mesh:
    """Return the solid under a roof, extended a little below it."""
    surface, starts = roof.surface, len(roof.vertices)
    vertices: list[Points] = [surface.vertices]
    faces, lows = [surface.triangles], []
    for loop in roof.eaves:
        low = starts + np.arange(len(loop))
        starts += len(loop)
        vertices.append(roof.vertices[loop] - (0.0, 0.0, OVER_MM))
        lows.append(low)
        after, high = np.roll(low, -1), np.roll(loop, -1)
        faces += [np.column_stack([low, after, high]), np.column_stack([low, high, loop])]
    points = np.concatenate(vertices)
    floor = triangulated_loops(points, lows)[:, ::-1]
    return Mesh(points, np.concatenate([*faces, floor]))
