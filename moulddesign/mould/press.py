"""The press mould: sleeve, stamp, plunger and stop for one pastry, stamps for others like it."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import partial
from types import MappingProxyType
from typing import Final, Protocol

import numpy as np

from moulddesign.core import say
from moulddesign.design import KeptSet, PressTable, PrinterTable
from moulddesign.geometry import Mesh, difference, first_near
from moulddesign.geometry.topology import compact, unfolded
from moulddesign.mould import cad_kernel, faceted, plans
from moulddesign.mould.cad_kernel import BodyT, Kernel, Solid, UprightProfile
from moulddesign.mould.mould_set import MouldSet, Part, pose_on_bed, rounded_rectangle
from moulddesign.mould.press_joint import foot, key, slot
from moulddesign.mould.press_layout import (
    LIP_MM,
    RELIEVED_MM,
    STOP_WALL_MM,
    TAB_MM,
    PastryShape,
    PressLayout,
    press_layout,
)

PALM_CHAMFER_MM: Final = 2.0
"""Chamfer of the disc's edge under the palm; our choice [mm]."""

LIP_CHAMFER_MM: Final = 0.6
"""Chamfer of the lip's outer edge; our choice [mm]."""

LIP_LEAD_MM: Final = 1.0
"""Chamfer of the lip's inner edge, which finds the stop; our choice [mm]."""

VANE_EASE_MM: Final = 0.6
"""Chamfer of the vanes' edges, which slide in the bore; our choice [mm]."""

PAST_MM: Final = 0.2
"""How far a vane reaches beyond the profile that cuts it: little, for its chamfer goes on [mm]."""

OVER_MM: Final = 1.0
"""How far a tool reaches beyond a body, or one body into another [mm]."""


def plunger(layout: PressLayout, draw: Kernel[BodyT]) -> BodyT:
    """Return the plunger as it stands on the stamp at the nominal press.

    Foot down, palm disc up, the key towards +x.
    """
    half_mm = layout.mould.vane_thickness_mm / 2.0
    _, end = plans.plate_ends_mm(layout.outline, layout.clearance_mm, half_mm)
    pin = key(
        layout.joint,
        layout.back_mm,
        end.side_mm,
        # Narrower than what the chamfers leave of the vane, for faces not to coincide.
        thickness_mm=layout.mould.vane_thickness_mm - 2.5 * _vane_ease_mm(layout),
        draw=draw,
    )
    bodies = [
        _core(layout, draw),
        *_vanes(layout, draw),
        _disc(layout, draw),
        foot(layout.joint, layout.back_mm, draw),
        *([] if pin is None else [pin]),
    ]
    return draw.fuse(bodies, say("mould.plunger"))


def _core(layout: PressLayout, draw: Kernel[BodyT]) -> BodyT:
    """Stem and the cone under the disc, turned in one piece."""
    stem, low, back = layout.joint.stem_radius_mm, layout.disc_low_mm, layout.back_mm
    inside_disc = low + layout.mould.disc_thickness_mm / 2.0
    profile = [
        (0.0, back),
        (stem, back),
        (stem, low - layout.gusset_mm),
        (stem + layout.gusset_mm, low),
        (stem + layout.gusset_mm, inside_disc),
        (0.0, inside_disc),
    ]
    return draw.revolve(profile, say("mould.plunger-stem"))


def _vanes(layout: PressLayout, draw: Kernel[BodyT]) -> tuple[BodyT, BodyT]:
    """Return plates along x and y with the profile of bore less clearance, narrowing to the stem.

    They cross in the stem. One after the other takes half the time that a cross of both takes.
    """
    outline, inset = layout.outline, layout.clearance_mm
    half = layout.mould.vane_thickness_mm / 2.0
    profile = plans.parallel_curve(outline, -inset)
    low, high = layout.back_mm - OVER_MM, layout.disc_high_mm
    bore = draw.loft([(low, profile), (high, profile)], say("mould.vanes-profile"))
    along_x = draw.intersect(
        _vane(layout, plans.plate_ends_mm(outline, inset, half), draw),
        bore,
        say("mould.guide-vane"),
    )
    if plans.is_fourfold(outline):
        return along_x, draw.rotate_quarter(along_x)
    along_y = _vane(layout, plans.plate_ends_mm(outline, inset, half, quarter_turns=1), draw)
    return along_x, draw.intersect(draw.rotate_quarter(along_y), bore, say("mould.guide-vane"))


def _vane(
    layout: PressLayout, ends: tuple[plans.PlateEnd, plans.PlateEnd], draw: Kernel[BodyT]
) -> BodyT:
    """One plate with chamfered edges; it reaches beyond the bore's profile, which then cuts it."""
    half = layout.mould.vane_thickness_mm / 2.0
    ease = _vane_ease_mm(layout)
    faces, edges = [], []
    for end in ends:
        slope = _slope(layout, end.far_mm)
        # Where an outline ends in so sharp a tip that the plate's faces end under the slope, they
        # are cut by the profile alone.
        near = end.side_mm - 2.0 * ease <= slope[1][0]
        at = plans.PlateEnd(far_mm=slope[0][0], side_mm=slope[0][0]) if near else end
        faces.append(_half_face(layout, at, slope, ease=ease))
        edges.append(_half_edge(layout, at, slope, ease=ease))
    inner, outer = ([(-x, z) for x, z in left[::-1]] + right for left, right in (faces, edges))
    sections = [(-half, outer), (ease - half, inner), (half - ease, inner), (half, outer)]
    return draw.upright_loft(sections, say("mould.guide-vane"))


def _vane_ease_mm(layout: PressLayout) -> float:
    return min(VANE_EASE_MM, layout.mould.vane_thickness_mm / 5.0)


def _slope(layout: PressLayout, far_mm: float) -> UprightProfile:
    """Return where a vane begins to narrow, and where that ends: in the stem or in the disc."""
    inside_disc = layout.disc_low_mm + layout.mould.disc_thickness_mm / 4.0
    inside_stem = layout.joint.stem_radius_mm / 2.0
    rise = min(plans.RISE * (far_mm - inside_stem), inside_disc - layout.vane_top_mm)
    return [(far_mm, layout.vane_top_mm), (far_mm - rise / plans.RISE, layout.vane_top_mm + rise)]


def _half_face(
    layout: PressLayout, end: plans.PlateEnd, slope: UprightProfile, *, ease: float
) -> UprightProfile:
    """Return a vane's profile at x above 0, from below, between its chamfered faces."""
    low, beyond = layout.back_mm, end.far_mm + PAST_MM
    far, top = slope[0]
    return [
        (end.far_mm - ease, low),
        (beyond, low + ease + PAST_MM),
        (beyond, top + plans.RISE * (far - beyond)),
        slope[1],
    ]


def _half_edge(
    layout: PressLayout, end: plans.PlateEnd, slope: UprightProfile, *, ease: float
) -> UprightProfile:
    """Return the same on the plate's faces, where each edge is chamfered."""
    low, side = layout.back_mm + ease, end.side_mm - ease
    far, top = slope[0]
    return [
        (side - ease, low),
        (side, low + ease),
        (side, top + plans.RISE * (far - ease - side)),
        (slope[1][0] - ease, slope[1][1]),
    ]


def vane_reach_mm(layout: PressLayout) -> float:
    """Return how far stem, cone and vanes reach from the axis at the palm disc [mm]."""
    risen = (layout.disc_low_mm - layout.vane_top_mm) / plans.RISE
    vanes = max(plans.half_extents_mm(layout.outline)) - layout.clearance_mm - risen
    return max(layout.joint.stem_radius_mm + layout.gusset_mm, vanes)


def _disc(layout: PressLayout, draw: Kernel[BodyT]) -> BodyT:
    """Return the palm disc with its lip, which reaches down around the stop."""
    mould, low, high = layout.mould, layout.disc_low_mm, layout.disc_high_mm
    rim = plans.surrounding_curve(layout.outline, layout.disc_reach_mm)
    palm = min(PALM_CHAMFER_MM, mould.disc_thickness_mm / 3.0)
    lip, step = low - LIP_MM, say("mould.palm-disc")
    sections = [
        (lip, rim.inset(LIP_CHAMFER_MM)),
        (lip + LIP_CHAMFER_MM, rim),
        (high - plans.RISE * palm, rim),
        (high, rim.inset(palm)),
    ]
    inside = plans.surrounding_curve(layout.outline, layout.lip_inside_mm)
    room = [
        (lip - LIP_LEAD_MM / 2.0, inside.inset(-1.5 * LIP_LEAD_MM)),
        (lip + LIP_LEAD_MM, inside),
        (low, inside),
    ]
    return draw.subtract(draw.loft(sections, step), draw.loft(room, step), step)


CHAMFER_MM: Final = 0.6
"""Chamfer of the sleeve's foot, where the wall has it to give; our choice [mm]."""

FLANGE_CHAMFERS_MM: Final = (1.6, 0.8)
"""Chamfers of the flange's lower edge, which fingers meet, and of its upper one; our choice [mm].
"""

CONE_MM: Final = 4.0
"""Cone under the flange, 45 deg, against a crack in the corner; our choice [mm]."""

LOBE_RADIUS_MM: Final = 13.0
"""Radius of a grip lobe's end, for two fingers; our choice [mm]."""

LOBE_ROOT: Final = 0.8
"""Width of the lobes at their root, as a share of a flange that is not round."""

SLEEVE_OVER_MM: Final = 0.1
"""How far a tool reaches beyond the body that it cuts [mm]."""


def sleeve(layout: PressLayout, draw: Kernel[BodyT]) -> BodyT:
    """Return the sleeve, standing on the table as it does in use.

    Bore sharp at the table, outer edges chamfered, flange and grip lobes at the top.
    """
    body = draw.fuse([_wall(layout, draw), *_flange(layout, draw)], say("mould.sleeve-outside"))
    return draw.subtract(body, _bore(layout, draw), say("mould.sleeve-bore"))


def cone_mm(layout: PressLayout) -> float:
    """Return the width and height of the cone under the flange [mm]."""
    beside = layout.flange_reach_mm - layout.wall_mm
    return min(CONE_MM, beside - FLANGE_CHAMFERS_MM[0] / 4.0)


def _wall(layout: PressLayout, draw: Kernel[BodyT]) -> BodyT:
    mould, top = layout.mould, layout.sleeve_height_mm
    wall = plans.surrounding_curve(layout.outline, layout.wall_mm)
    chamfer, cone = min(CHAMFER_MM, layout.wall_mm / 4.0), cone_mm(layout)
    under = top - mould.flange_thickness_mm
    wide = wall.inset(-cone)
    sections = [
        (0.0, wall.inset(chamfer)),
        (chamfer, wall),
        (under - cone, wall),
        (under, wide),
        (under + mould.flange_thickness_mm / 2.0, wide),
    ]
    return draw.loft(sections, say("mould.sleeve-wall"))


def _flange(layout: PressLayout, draw: Kernel[BodyT]) -> list[BodyT]:
    """Return the flange and its lobes; round a circle they are one plate."""
    rim = plans.surrounding_curve(layout.outline, layout.flange_reach_mm)
    if not layout.mould.lobe_mm:
        return [_plate(layout, rim, draw)]
    if isinstance(rim, plans.CircleCurve):
        return [_plate(layout, lobes(layout, rim.radius_mm), draw)]
    root = min(plans.half_extents_mm(layout.outline)) + layout.flange_reach_mm
    return [_plate(layout, rim, draw), _plate(layout, lobes(layout, LOBE_ROOT * root), draw)]


def lobes(layout: PressLayout, root_mm: float) -> plans.Curve:
    """Return the plan of both grip lobes: a circle about the axis, drawn out along y."""
    _, across = plans.half_extents_mm(layout.outline)
    end = across + layout.disc_reach_mm + layout.mould.lobe_mm
    return plans.drawn_out_circle(root_mm, min(LOBE_RADIUS_MM, root_mm / 2.0), end)


def _plate(layout: PressLayout, rim: plans.Curve, draw: Kernel[BodyT]) -> BodyT:
    top, thick = layout.sleeve_height_mm, layout.mould.flange_thickness_mm
    lower, upper = (min(chamfer, thick / 4.0) for chamfer in FLANGE_CHAMFERS_MM)
    sections = [
        (top - thick, rim.inset(lower)),
        (top - thick + lower, rim),
        (top - plans.RISE * upper, rim),
        (top, rim.inset(upper)),
    ]
    return draw.loft(sections, say("mould.sleeve-flange"))


def _bore(layout: PressLayout, draw: Kernel[BodyT]) -> BodyT:
    """Return the bore with its lead-in, longer than the sleeve so that no faces coincide."""
    bore = plans.parallel_curve(layout.outline, 0.0)
    top, lead_in = layout.sleeve_height_mm, layout.mould.lead_in_mm
    beyond = lead_in + SLEEVE_OVER_MM / plans.RISE
    if layout.outline.around is not None:
        # The cone begins at the valleys of the flutes, and does not follow them.
        low = plans.parallel_curve(layout.outline.plain, -layout.outline.side_depth_mm)
        mouth = low.inset(-layout.outline.side_depth_mm - beyond)
        levels = [(top - layout.lead_in_height_mm, low), (top + SLEEVE_OVER_MM, mouth)]
        upright = [(-SLEEVE_OVER_MM, bore), (top + SLEEVE_OVER_MM / 2.0, bore)]
        step = say("mould.sleeve-bore")
        return draw.fuse([draw.loft(upright, step), draw.loft(levels, step)], step)
    mouth = bore.inset(-beyond)
    sections = [
        (-SLEEVE_OVER_MM, bore),
        (top - layout.lead_in_height_mm, bore),
        (top + SLEEVE_OVER_MM, mouth),
    ]
    return draw.loft(sections, say("mould.sleeve-bore"))


STOP_CHAMFERS_MM: Final = (0.5, 0.8)
"""Chamfers of the stop's outer edges below and above; our choice [mm]."""

TAB_CORNER_MM: Final = 6.0
"""Radius of the tab's corners; our choice [mm]."""

CORD_MM: Final = 4.0
"""Hole for a cord in the stop's tab; our choice [mm]."""

SHIM_TAB_MM: Final = (12.0, 10.0)
"""Length and width of a shim's tab; our choice [mm]."""


def stop(layout: PressLayout, draw: Kernel[BodyT]) -> BodyT:
    """Return the stop, standing on the flange: open towards -x, its tab towards +x."""
    low, high = layout.sleeve_height_mm, layout.sleeve_height_mm + layout.stop_height_mm
    outside = plans.surrounding_curve(layout.outline, layout.stop_outside_mm)
    below, above = STOP_CHAMFERS_MM
    sections = [
        (low, outside.inset(below)),
        (low + plans.RISE * below, outside),
        (high - above, outside),
        (high, outside.inset(above)),
    ]
    step = say("mould.stop")
    length, width, height = TAB_MM
    tab = _tab(layout, (length, width), (low, low + min(height, layout.stop_height_mm)), draw)
    disc = draw.fuse([draw.loft(sections, step), tab], step)
    whole = _open_ring(layout, disc, (low, high), draw)
    x = tab_middle_mm(layout)[0] + length / 2.0 - CORD_MM
    hole = draw.revolve(
        [(0.0, low - OVER_MM), (CORD_MM / 2.0, low - OVER_MM), (CORD_MM / 2.0, high + OVER_MM),
         (0.0, high + OVER_MM)], step,
    )  # fmt: skip
    return draw.subtract(whole, draw.translate(hole, (x, 0.0, 0.0)), step)


def shim(layout: PressLayout, thickness_mm: float) -> Mesh:
    """Return a shim, lying on the flange where the stop stands."""
    low, high = layout.sleeve_height_mm, layout.sleeve_height_mm + thickness_mm
    outside = plans.surrounding_curve(layout.outline, layout.stop_outside_mm)
    step = say("mould.shim")
    plate = faceted.loft([(low, outside), (high, outside)], step)
    tab = _tab(layout, SHIM_TAB_MM, (low, high), faceted)
    return _open_ring(layout, faceted.fuse([plate, tab], step), (low, high), faceted)


def _open_ring(
    layout: PressLayout, disc: BodyT, z_mm: tuple[float, float], draw: Kernel[BodyT]
) -> BodyT:
    """Return what a stop's inside and mouth leave of a disc."""
    low, high = z_mm[0] - OVER_MM, z_mm[1] + OVER_MM
    inside = plans.surrounding_curve(layout.outline, layout.stop_inside_mm)
    step = say("mould.stop")
    ring = draw.subtract(disc, draw.loft([(low, inside), (high, inside)], step), step)
    reach = max(plans.half_extents_mm(layout.outline)) * OUTSIDE + layout.stop_outside_mm
    way = [(-reach, low), (0.0, low), (0.0, high), (-reach, high)]
    mouth = draw.upright_loft([(y, way) for y in layout.stop_mouth_mm], step)
    return draw.subtract(ring, mouth, step)


OUTSIDE: Final = 2.0
"""Any outline lies within this many times its largest extent from the axis."""


def _tab(
    layout: PressLayout,
    size_mm: tuple[float, float],
    z_mm: tuple[float, float],
    draw: Kernel[BodyT],
) -> BodyT:
    (length, width), (low, high) = size_mm, z_mm
    x, _ = tab_middle_mm(layout)
    start = x - TAB_MM[0] / 2.0
    box = ((start, -width / 2.0), (start + length, width / 2.0))
    corner = min(TAB_CORNER_MM, 0.4 * width)
    plan = plans.ArcPolyline(arcs=rounded_rectangle(box, corner))
    return draw.loft([(low, plan), (high, plan)], say("mould.stop"))


def tab_middle_mm(layout: PressLayout) -> tuple[float, float]:
    """Return the middle of the stop's tab; it begins half-way through the stop's wall [mm]."""
    outside = plans.surrounding_curve(layout.outline, layout.stop_outside_mm)
    return plans.reach_along_x_mm(outside) - STOP_WALL_MM / 2.0 + TAB_MM[0] / 2.0, 0.0


FOOT_MM: Final = 0.6
"""Chamfer of the stamp's edge on the bed, where the first layer flares out; our choice [mm]."""

STEEP_RISE: Final = 2.0 * plans.RISE
"""Height of that chamfer, and of the step under the land, for each millimetre: where they meet the
slot's mouth or its roof in a corner, it reaches out too little in a layer to need support."""

DRAWN_FOOT_PARTS: Final = 7
"""Sections of that chamfer under an outline of points: a tenth of a millimetre each way."""

NEAR_MM: Final = 0.1
"""How far the edge's tool reaches beyond the stamp: little, for notches to survive [mm]."""

SLIVER_MM: Final = 1e-4
"""Corners on the land's edge nearer than this are one: some steps of float32 at 200 mm [mm]."""


class PastryTop(PastryShape, Protocol):
    """A pastry that can say what lies above it."""

    def block_above(self, inset_mm: float, top_mm: float) -> Mesh:
        """Return the closed solid between the pastry's top and the plane z = `top_mm` [mm]."""


def stamp_tools(layout: PressLayout, draw: Kernel[BodyT]) -> tuple[BodyT, BodyT]:
    """Return what is cut from a block to make a stamp: the slot, and what lies beside the land."""
    out = OUTSIDE * max(plans.half_extents_mm(layout.outline))
    return slot(layout.joint, layout.back_mm, out, draw), _beside_land(layout, draw)


def stamp(layout: PressLayout, pastry: PastryTop, tools: Sequence[Mesh]) -> Mesh:
    """Return the stamp pressed onto the pastry.

    In the assembly's coordinates, relief down.
    """
    block = pastry.block_above(layout.clearance_mm, layout.back_mm)
    cut = difference(block, tools, say("mould.stamp"))
    return _without_slivers(cut, above_mm=layout.land_top_mm - NEAR_MM)


def stamp_blank(layout: PressLayout, draw: Kernel[BodyT]) -> BodyT:
    """Return the stamp without relief or shoulder: its face is flat."""
    face = plans.parallel_curve(layout.outline, -layout.clearance_mm)
    blank = draw.loft([(layout.height_mm, face), (layout.back_mm, face)], say("mould.stamp-blank"))
    for tool in stamp_tools(layout, draw):
        blank = draw.subtract(blank, tool, say("mould.stamp-blank"))
    return blank


def _beside_land(layout: PressLayout, draw: Kernel[BodyT]) -> BodyT:
    """Return what is taken off above the land: a step back, and the chamfer of the back."""
    back, land, clearance = layout.back_mm, layout.land_top_mm, layout.clearance_mm
    face = plans.parallel_curve(layout.outline, -clearance)
    deepest = RELIEVED_MM + FOOT_MM + NEAR_MM
    parts = 1
    if isinstance(face, plans.ArcPolyline):
        # Else the cut would use up the smallest corners.
        face = face.sharpened(deepest)
    elif isinstance(face, plans.StraightPolyline):
        # Of points that the cut uses up, each part leaves a level step.
        parts = DRAWN_FOOT_PARTS
    outside = plans.parallel_curve(layout.outline, 2.0 * NEAR_MM - clearance)
    over = STEEP_RISE * NEAR_MM
    block = [(land - over / 2.0, outside), (back + over / 2.0, outside)]
    cone = [
        (land - over, face.inset(-NEAR_MM)),
        (land + STEEP_RISE * RELIEVED_MM, face.inset(RELIEVED_MM)),
        *(
            (back - STEEP_RISE * (FOOT_MM - by), face.inset(RELIEVED_MM + by))
            for by in np.linspace(0.0, FOOT_MM + NEAR_MM, parts + 1)
        ),
    ]
    step = say("mould.stamp-back-edge")
    return draw.subtract(draw.loft(block, step), draw.loft(cone, step), step)


def _without_slivers(mesh: Mesh, *, above_mm: float) -> Mesh:
    """Return the stamp with corners welded that its land's edge left a float32 step apart.

    Facets of the cut end on the block's own edges but for round-off.
    """
    high = np.flatnonzero(mesh.vertices[:, 2] > above_mm)
    lead = np.arange(len(mesh.vertices))
    lead[high] = high[first_near(mesh.vertices[high], SLIVER_MM)]
    return compact(mesh.vertices, unfolded(lead[mesh.triangles]))[0]


NONE: Final[Mapping[str, PastryTop]] = MappingProxyType({})
"""No further pastries."""


STOP: Final = "stop"
SHIM: Final = "shim-"
"""Name of the stop, and how those of its shims begin."""


def press(
    mould: PressTable,
    printer: PrinterTable,
    pastry: PastryTop,
    *,
    further: Mapping[str, PastryTop] = NONE,
    low_mm: float = 0.0,
    kept: KeptSet | None = None,
) -> MouldSet[PressLayout]:
    """Return the press mould of a pastry.

    Its parts are sleeve, stamp, plunger, stop and shims, then the further stamps, in the
    coordinates of the assembly: the table is z = 0, and the pastry of each stamp stands on it,
    pressed to its nominal height. The stop is lower than the disc stands then, by `low_mm` and what
    whole layers take. A drawn outline has no exact bodies. Sleeve and plunger of a `kept` set are
    drawn as they were made; `at_its_place` puts the plunger onto the stamp.
    """
    layout = press_layout(
        mould, printer, pastry, further=tuple(further.values()), low_mm=low_mm, kept=kept
    )
    base = layout.base
    inside = layout.clearance_mm + RELIEVED_MM + FOOT_MM
    moves = 2.0 * max(layout.mould.lead_in_mm, inside)
    is_exact = plans.has_exact_parallels(layout.outline, moves)

    def exact(
        draw: Callable[[PressLayout, Kernel[Solid]], Solid], of: PressLayout
    ) -> Callable[[], Solid] | None:
        # Facets take a tenth of the time, and STEP files alone need more: it is drawn for them.
        return partial(_exact, draw, of) if is_exact else None

    tools = stamp_tools(layout, faceted)
    parts = (
        _part("sleeve", sleeve(base, faceted), printer, solid=exact(sleeve, base)),
        _part("stamp", stamp(layout, pastry, tools), printer, blank=exact(stamp_blank, layout)),
        _part("plunger", plunger(base, faceted), printer, solid=exact(plunger, base)),
        _part(STOP, stop(layout, faceted), printer, solid=exact(stop, layout)),
        *_shims(layout, printer),
        *_further(layout, further, tools, printer=printer),
    )
    return MouldSet(parts=parts, layout=layout)


def _exact(draw: Callable[[PressLayout, Kernel[Solid]], Solid], layout: PressLayout) -> Solid:
    return draw(layout, cad_kernel)


def at_its_place(mould: MouldSet[PressLayout]) -> MouldSet[PressLayout]:
    """Return a press whose plunger stands on the stamp, where its back is not as high as it was."""
    up = (0.0, 0.0, mould.layout.lifted_mm)
    if not mould.layout.lifted_mm:
        return mould

    def moved(part: Part) -> Part:
        plain = None if part.plain is None else part.plain.moved(up)
        return replace(part, mesh=part.mesh.moved(up), plain=plain, on_bed=part.printed)

    parts = tuple(moved(part) if part.name == "plunger" else part for part in mould.parts)
    return replace(mould, parts=parts)


def stop_part(layout: PressLayout, printer: PrinterTable) -> Part:
    """Return the stop of a press by itself, for other heights of the same mould."""
    return _part(STOP, stop(layout, faceted), printer)


def _shims(layout: PressLayout, printer: PrinterTable) -> tuple[Part, ...]:
    """Return the shims; they are plain plates, and have no exact bodies."""
    thinnest, low = layout.shims_mm[0], layout.sleeve_height_mm
    plate = shim(layout, thinnest)

    def stretched(thickness_mm: float) -> Mesh:
        # A plate with upright sides: only the height differs.
        x, y, z = plate.vertices.T
        risen = low + (z - low) * (thickness_mm / thinnest)
        return Mesh(np.column_stack([x, y, risen]), plate.triangles)

    plates = {f"{SHIM}{each:.1f}": stretched(each) for each in layout.shims_mm}
    return tuple(_part(name, mesh, printer) for name, mesh in plates.items())


def _further(
    layout: PressLayout,
    further: Mapping[str, PastryTop],
    facets: Sequence[Mesh],
    *,
    printer: PrinterTable,
) -> tuple[Part, ...]:
    """Return stamps that end where the first does, cut by its tools."""
    made = (_part(name, stamp(layout, pastry, facets), printer) for name, pastry in further.items())
    return tuple(replace(part, is_further=True) for part in made)


def _part(
    name: str,
    mesh: Mesh,
    printer: PrinterTable,
    *,
    solid: Callable[[], Solid] | None = None,
    blank: Callable[[], Solid] | None = None,
) -> Part:
    """Return a part that is printed upside down, but for the stop and its shims.

    Flange, palm disc and the stamp's back lie on the bed, so the relief is up.
    """
    is_shim = name.startswith(SHIM)
    upright = name == STOP or is_shim
    pose = pose_on_bed(mesh, printer, half_turns=0 if upright else 1, name=name)
    return Part(name=name, mesh=mesh, pose=pose, solid=solid, blank=blank, is_further=is_shim)
