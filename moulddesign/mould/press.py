"""The press mould: sleeve, stamp and plunger for one pastry, and stamps for others like it."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType
from typing import Final, Protocol

import numpy as np

from moulddesign.core import say
from moulddesign.design import PressTable, PrinterTable
from moulddesign.geometry import Mesh, difference, first_near
from moulddesign.geometry.topology import compact, unfolded
from moulddesign.mould import cad_kernel, faceted, plans
from moulddesign.mould.cad_kernel import BodyT, Kernel, Solid, UprightProfile
from moulddesign.mould.mould_set import MouldSet, Part, pose_on_bed
from moulddesign.mould.press_layout import (
    LEDGE_MM,
    PastryShape,
    Peg,
    PressLayout,
    Screw,
    press_layout,
)

PALM_EASE_MM: Final = 1.2
"""Chamfer of the disc's edge under the palm; our choice [mm]."""

STOP_EASE_MM: Final = 0.6
"""Chamfer of the disc's other edge; our choice [mm]."""

TIP_EASE_MM: Final = 0.6
"""Chamfer of the peg's tip, so that it finds its pocket; our choice [mm]."""

SLOT_OVER_MM: Final = 0.1
"""How much further than the shank's hole the bridged layers leave open, each side [mm]."""

VANE_EASE_MM: Final = 0.6
"""Chamfer of the vanes' edges, which slide in the bore; our choice [mm]."""

PAST_MM: Final = 0.2
"""How far a vane reaches beyond the profile that cuts it: little, for its chamfer goes on [mm]."""

OVER_MM: Final = 1.0
"""How far a tool reaches beyond a body, or one body into another [mm]."""


def plunger(layout: PressLayout, draw: Kernel[BodyT]) -> BodyT:
    """Return the plunger as it stands on the stamp at the nominal press.

    Peg down, palm disc up.
    """
    body = draw.fuse(
        [_core(layout, draw), *_vanes(layout, draw), _disc(layout, draw)], say("mould.plunger")
    )
    if isinstance(layout.joint, Screw):
        return draw.subtract(
            body, _bolt_hole(layout, layout.joint, draw), say("mould.plunger-bolt-hole")
        )
    return body


def _core(layout: PressLayout, draw: Kernel[BodyT]) -> BodyT:
    """Peg, stem and the cone under the disc, turned in one piece."""
    stem, low, back = layout.stem_radius_mm, layout.disc_low_mm, layout.back_mm
    inside_disc = low + layout.mould.disc_thickness_mm / 2.0
    profile = [
        *_foot(layout.joint, back),
        (stem, back),
        *_grooves(layout),
        (stem, low - layout.gusset_mm),
        (stem + layout.gusset_mm, low),
        (stem + layout.gusset_mm, inside_disc),
        (0.0, inside_disc),
    ]
    return draw.revolve(profile, say("mould.plunger-stem"))


def _foot(joint: Peg | Screw, back_mm: float) -> list[tuple[float, float]]:
    """Return the peg's profile from its tip to the stem; flat where a bolt holds the stamp."""
    if isinstance(joint, Screw):
        return [(0.0, back_mm)]
    tip, root = joint.tip_radius_mm, joint.diameter_mm / 2.0
    ease = min(TIP_EASE_MM, joint.length_mm / 4.0)
    slope = (root - tip) / joint.length_mm
    end = back_mm - joint.length_mm
    return [(0.0, end), (tip - ease, end), (tip + slope * ease, end + ease), (root, back_mm)]


def _grooves(layout: PressLayout) -> list[tuple[float, float]]:
    stem, depth = layout.stem_radius_mm, layout.groove_mm
    half = plans.RISE * depth
    return [
        corner
        for ring in sorted(layout.ring_heights_mm)
        for corner in ((stem, ring - half), (stem - depth, ring), (stem, ring + half))
    ]


def _vanes(layout: PressLayout, draw: Kernel[BodyT]) -> tuple[BodyT, BodyT]:
    """Return plates along x and y with the profile of bore less clearance, narrowing to the stem.

    They cross in the stem. One after the other takes half the time that a cross of both takes.
    """
    outline, inset = layout.outline, layout.mould.clearance_mm
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
    ease = min(VANE_EASE_MM, half / 2.5)
    slope = _slope(layout, max(end.far_mm for end in ends))
    faces, edges = [], []
    for end in ends:
        # Where an outline is so lopsided that its near side lies under the slope, that side is cut
        # by the profile alone.
        near = end.side_mm - 2.0 * ease <= slope[1][0]
        at = plans.PlateEnd(far_mm=slope[0][0], side_mm=slope[0][0]) if near else end
        faces.append(_half_face(layout, at, slope, ease=ease))
        edges.append(_half_edge(layout, at, slope, ease=ease))
    inner, outer = ([(-x, z) for x, z in left[::-1]] + right for left, right in (faces, edges))
    sections = [(-half, outer), (ease - half, inner), (half - ease, inner), (half, outer)]
    return draw.upright_loft(sections, say("mould.guide-vane"))


def _slope(layout: PressLayout, far_mm: float) -> UprightProfile:
    """Return where a vane begins to narrow, and where that ends: in the stem or in the disc."""
    inside_disc = layout.disc_low_mm + layout.mould.disc_thickness_mm / 4.0
    inside_stem = layout.stem_radius_mm / 2.0
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
    vanes = max(plans.half_extents_mm(layout.outline)) - layout.mould.clearance_mm - risen
    return max(layout.stem_radius_mm + layout.gusset_mm, vanes)


def _disc(layout: PressLayout, draw: Kernel[BodyT]) -> BodyT:
    mould, low, high = layout.mould, layout.disc_low_mm, layout.disc_high_mm
    rim = plans.surrounding_curve(layout.outline, mould.disc_rim_mm)
    palm = min(PALM_EASE_MM, mould.disc_thickness_mm / 3.0)
    stop = min(
        STOP_EASE_MM, mould.disc_thickness_mm / 6.0, (mould.disc_rim_mm - mould.lead_in_mm) / 3.0
    )
    sections = [
        (low, rim.inset(stop)),
        (low + stop, rim),
        (high - plans.RISE * palm, rim),
        (high, rim.inset(palm)),
    ]
    return draw.loft(sections, say("mould.palm-disc"))


def _bolt_hole(layout: PressLayout, screw: Screw, draw: Kernel[BodyT]) -> BodyT:
    """Shank, head, and two bridged layers between them so that the head's seat prints over air.

    The first bridged layer spans the head's hole with a slot as wide as the shank, the second
    closes the slot to a square: common practice, no source.
    """
    back, high = layout.back_mm, layout.disc_high_mm
    seat = back - screw.end_mm + screw.length_mm(high - back)
    shank, head = screw.size.hole_mm / 2.0, screw.head_room_mm / 2.0
    bore = [
        (0.0, back - OVER_MM), (shank, back - OVER_MM), (shank, seat),
        (head, seat), (head, high + OVER_MM), (0.0, high + OVER_MM),
    ]  # fmt: skip
    # A slot exactly as wide as the shank would touch it along a line, where kernels fail.
    side, layer = shank + SLOT_OVER_MM, screw.layer_mm
    chord = (head**2 - side**2) ** 0.5
    parts = [
        draw.revolve(bore, say("mould.bolt-hole")),
        draw.upright_prism(
            _rectangle(chord, (seat - layer, seat + layer)), 2.0 * side, say("mould.first-bridges")
        ),
        draw.upright_prism(
            _rectangle(side, (seat - 2.0 * layer, seat)), 2.0 * side, say("mould.second-bridges")
        ),
    ]
    return draw.fuse(parts, say("mould.bolt-hole"))


def _rectangle(half_length_mm: float, z_mm: tuple[float, float]) -> list[tuple[float, float]]:
    low, high = z_mm
    return [
        (-half_length_mm, low),
        (half_length_mm, low),
        (half_length_mm, high),
        (-half_length_mm, high),
    ]


CHAMFER_MM: Final = 0.6
"""Chamfer of outer edges, where the wall has it to give; our choice [mm]."""

GUSSET_MM: Final = 2.0
"""Cone under the flange, 45 deg, against a crack in the corner; our choice [mm]."""

SLEEVE_OVER_MM: Final = 0.1
"""How far a tool reaches beyond the body that it cuts [mm]."""


def sleeve(layout: PressLayout, draw: Kernel[BodyT]) -> BodyT:
    """Return the sleeve, standing on the table as it does in use.

    Bore sharp at the table, outer edges chamfered, flange at the top.
    """
    outside = [_wall(layout, draw), *_flange(layout, draw)]
    body = draw.fuse(outside, say("mould.sleeve-outside")) if len(outside) > 1 else outside[0]
    return draw.subtract(body, _bore(layout, draw), say("mould.sleeve-bore"))


def _wall(layout: PressLayout, draw: Kernel[BodyT]) -> BodyT:
    mould, top = layout.mould, layout.sleeve_height_mm
    wall = plans.surrounding_curve(layout.outline, mould.wall_mm)
    chamfer = min(CHAMFER_MM, mould.wall_mm / 4.0)
    foot = [(0.0, wall.inset(chamfer)), (chamfer, wall)]
    if not mould.flange_width_mm:
        head = [(top - plans.RISE * chamfer, wall), (top, wall.inset(chamfer))]
        return draw.loft([*foot, *head], say("mould.sleeve-wall"))
    gusset = min(GUSSET_MM, mould.flange_width_mm / 2.0)
    under = top - mould.flange_thickness_mm
    inside_flange = under + mould.flange_thickness_mm / 2.0
    wide = wall.inset(-gusset)
    head = [(under - gusset, wall), (under, wide), (inside_flange, wide)]
    return draw.loft([*foot, *head], say("mould.sleeve-wall"))


def _flange(layout: PressLayout, draw: Kernel[BodyT]) -> list[BodyT]:
    mould, top = layout.mould, layout.sleeve_height_mm
    if not mould.flange_width_mm:
        return []
    rim = plans.surrounding_curve(layout.outline, mould.wall_mm + mould.flange_width_mm)
    chamfer = min(CHAMFER_MM, mould.flange_thickness_mm / 4.0, mould.flange_width_mm / 4.0)
    under = top - mould.flange_thickness_mm
    sections = [
        (under, rim.inset(chamfer)),
        (under + chamfer, rim),
        (top - plans.RISE * chamfer, rim),
        (top, rim.inset(chamfer)),
    ]
    return [draw.loft(sections, say("mould.sleeve-flange"))]


def _bore(layout: PressLayout, draw: Kernel[BodyT]) -> BodyT:
    """Return the bore with its lead-in, longer than the sleeve so that no faces coincide."""
    bore = plans.parallel_curve(layout.outline, 0.0)
    top, lead_in = layout.sleeve_height_mm, layout.mould.lead_in_mm
    mouth = bore.inset(-(lead_in + SLEEVE_OVER_MM / plans.RISE))
    sections = [
        (-SLEEVE_OVER_MM, bore),
        (top - layout.lead_in_height_mm, bore),
        (top + SLEEVE_OVER_MM, mouth),
    ]
    return draw.loft(sections, say("mould.sleeve-bore"))


FOOT_MM: Final = 0.6
"""Chamfer of the edges that lie on the bed, where the first layer flares out; our choice [mm]."""

NEAR_MM: Final = 0.1
"""How far the chamfer's tool reaches beyond the stamp: little, for notches to survive [mm]."""

SLIVER_MM: Final = 1e-4
"""Corners of the chamfer nearer than this are one: some steps of float32 at 200 mm [mm]."""

STAMP_OVER_MM: Final = 0.5
"""How far a tool reaches beyond the body that it cuts [mm]."""


class PastryTop(PastryShape, Protocol):
    """A pastry that can say what lies above it."""

    def block_above(self, inset_mm: float, top_mm: float) -> Mesh:
        """Return the closed solid between the pastry's top and the plane z = `top_mm` [mm]."""


def stamp_tools(layout: PressLayout, draw: Kernel[BodyT]) -> tuple[BodyT, BodyT]:
    """Return what is cut from a block to make a stamp: the pocket and the edge's chamfer."""
    joint = layout.joint
    if isinstance(joint, Peg):
        return _pocket(joint, layout.back_mm, draw), _ring(layout, draw)
    return _channel(joint, layout.back_mm, draw), _ring(layout, draw)


def stamp(layout: PressLayout, pastry: PastryTop, tools: Sequence[Mesh]) -> Mesh:
    """Return the stamp pressed onto the pastry.

    In the assembly's coordinates, relief down.
    """
    block = pastry.block_above(layout.mould.clearance_mm, layout.back_mm)
    cut = difference(block, tools, say("mould.stamp"))
    return _without_slivers(cut, above_mm=layout.back_mm - 2.0 * FOOT_MM)


def stamp_blank(layout: PressLayout, tools: Sequence[BodyT], draw: Kernel[BodyT]) -> BodyT:
    """Return the stamp without relief or shoulder: its face is flat."""
    face = plans.parallel_curve(layout.outline, -layout.mould.clearance_mm)
    blank = draw.loft([(layout.height_mm, face), (layout.back_mm, face)], say("mould.stamp-blank"))
    for tool in tools:
        blank = draw.subtract(blank, tool, say("mould.stamp-blank"))
    return blank


def _pocket(peg: Peg, back: float, draw: Kernel[BodyT]) -> BodyT:
    """Chamfered mouth, the peg's slope, then a cone to a small flat ceiling."""
    slope = (peg.mouth_radius_mm - peg.end_radius_mm) / peg.flank_mm
    # The bevel starts FOOT_MM outside the mouth and ends on the flank, which leans by `slope`.
    bevel = FOOT_MM / (1.0 / plans.RISE - slope)
    profile = [
        (0.0, back + STAMP_OVER_MM),
        (peg.mouth_radius_mm + FOOT_MM + STAMP_OVER_MM / plans.RISE, back + STAMP_OVER_MM),
        (peg.mouth_radius_mm - slope * bevel, back - bevel),
        (peg.end_radius_mm, back - peg.flank_mm),
        (peg.roof_radius_mm, back - peg.depth_mm),
        (0.0, back - peg.depth_mm),
    ]
    return draw.revolve(profile, say("mould.stamp-pocket"))


def _channel(screw: Screw, back_mm: float, draw: Kernel[BodyT]) -> BodyT:
    """Return the nut's channel under its ledge, the shank's slot and the opening beside it."""
    half, ledge, ceiling = screw.channel_mm / 2.0, back_mm - LEDGE_MM, back_mm - screw.depth_mm
    roof = screw.roof_mm / 2.0
    eaves = ceiling + screw.gable_mm
    near, far = screw.opening_mm
    gable = [
        (-half, ledge), (-half, eaves), (-roof, ceiling),
        (roof, ceiling), (half, eaves), (half, ledge),
    ]  # fmt: skip
    tunnel = draw.rotate_quarter(draw.upright_prism(gable, far + near, say("mould.nut-channel")))
    over = back_mm + STAMP_OVER_MM
    shank = -screw.size.hole_mm / 2.0
    slot = [
        (shank, ledge - STAMP_OVER_MM),
        (far, ledge - STAMP_OVER_MM),
        (far, over),
        (shank, over),
    ]
    door = [(near, ledge - STAMP_OVER_MM), (far, ledge - STAMP_OVER_MM), (far, over), (near, over)]
    parts = [
        draw.translate(tunnel, ((far - near) / 2.0, 0.0, 0.0)),
        draw.upright_prism(slot, screw.size.hole_mm, say("mould.bolt-slot")),
        draw.upright_prism(door, screw.channel_mm, say("mould.nut-door")),
    ]
    return draw.fuse(parts, say("mould.nut-channel"))


def _ring(layout: PressLayout, draw: Kernel[BodyT]) -> BodyT:
    """Return what the chamfer of the stamp's back takes away, and a little beyond the stamp."""
    back, clearance = layout.back_mm, layout.mould.clearance_mm
    face = plans.parallel_curve(layout.outline, -clearance)
    if isinstance(face, plans.ArcPolyline):
        # Else the chamfer would use up the smallest corners.
        face = face.sharpened(FOOT_MM + NEAR_MM)
    outside = plans.parallel_curve(layout.outline, 2.0 * NEAR_MM - clearance)
    low, over = back - plans.RISE * FOOT_MM, plans.RISE * NEAR_MM
    block = [(low - over / 2.0, outside), (back + over / 2.0, outside)]
    cone = [(low - over, face.inset(-NEAR_MM)), (back + over, face.inset(FOOT_MM + NEAR_MM))]
    step = say("mould.stamp-back-edge")
    return draw.subtract(draw.loft(block, step), draw.loft(cone, step), step)


def _without_slivers(mesh: Mesh, *, above_mm: float) -> Mesh:
    """Return the stamp with corners welded that its chamfer left a float32 step apart.

    The chamfer's facets end on the block's own edges but for round-off. The relief lies
    below and is left alone.
    """
    high = np.flatnonzero(mesh.vertices[:, 2] > above_mm)
    lead = np.arange(len(mesh.vertices))
    lead[high] = high[first_near(mesh.vertices[high], SLIVER_MM)]
    return compact(mesh.vertices, unfolded(lead[mesh.triangles]))[0]


NONE: Final[Mapping[str, PastryTop]] = MappingProxyType({})
"""No further pastries."""


def press(
    mould: PressTable,
    printer: PrinterTable,
    pastry: PastryTop,
    *,
    further: Mapping[str, PastryTop] = NONE,
) -> MouldSet[PressLayout]:
    """Return the press mould of a pastry.

    Its parts are sleeve, stamp, plunger, then the further stamps, in the coordinates of the
    assembly: the table is z = 0, and the pastry of each stamp stands on it, pressed to its nominal
    height. A drawn outline has no exact bodies.
    """
    layout = press_layout(mould, printer, pastry, further=tuple(further.values()))
    moves = 2.0 * max(layout.mould.lead_in_mm, layout.mould.clearance_mm + FOOT_MM)
    made = _exact if plans.has_exact_parallels(layout.outline, moves) else _faceted
    return MouldSet(parts=made(layout, pastry, printer, further=further), layout=layout)


def _exact(
    layout: PressLayout,
    pastry: PastryTop,
    printer: PrinterTable,
    *,
    further: Mapping[str, PastryTop],
) -> tuple[Part, ...]:
    tools = stamp_tools(layout, cad_kernel)
    facets = [tool.mesh() for tool in tools]
    face = stamp(layout, pastry, facets)
    outside, inside = sleeve(layout, cad_kernel), plunger(layout, cad_kernel)
    return (
        _part("sleeve", outside.mesh(), printer, solid=outside),
        _part("stamp", face, printer, blank=stamp_blank(layout, tools, cad_kernel)),
        _part("plunger", inside.mesh(), printer, solid=inside),
        *_further(layout, further, facets, printer=printer),
    )


def _faceted(
    layout: PressLayout,
    pastry: PastryTop,
    printer: PrinterTable,
    *,
    further: Mapping[str, PastryTop],
) -> tuple[Part, ...]:
    facets = stamp_tools(layout, faceted)
    return (
        _part("sleeve", sleeve(layout, faceted), printer),
        _part("stamp", stamp(layout, pastry, facets), printer),
        _part("plunger", plunger(layout, faceted), printer),
        *_further(layout, further, facets, printer=printer),
    )


def _further(
    layout: PressLayout,
    further: Mapping[str, PastryTop],
    facets: Sequence[Mesh],
    *,
    printer: PrinterTable,
) -> tuple[Part, ...]:
    """Return stamps as thick as the first, cut by its tools where they stand on their pastries."""
    made = []
    for name, pastry in further.items():
        up_mm = pastry.height_mm - layout.height_mm
        raised = [tool.moved((0.0, 0.0, up_mm)) for tool in facets]
        face = stamp(replace(layout, height_mm=pastry.height_mm), pastry, raised)
        made.append(replace(_part(name, face, printer), is_further=True))
    return tuple(made)


def _part(
    name: str,
    mesh: Mesh,
    printer: PrinterTable,
    *,
    solid: Solid | None = None,
    blank: Solid | None = None,
) -> Part:
    """Return a part that is printed upside down, as all three are.

    Flange, palm disc and the stamp's back lie on the bed, so the relief is up.
    """
    pose = pose_on_bed(mesh, printer, half_turns=1, name=name)
    return Part(name=name, mesh=mesh, pose=pose, solid=solid, blank=blank)
