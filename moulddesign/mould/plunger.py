"""The plunger: palm disc, stem with height rings, guide vanes, and its half of the joint."""

from typing import Final

from moulddesign.core import say
from moulddesign.mould.cad_kernel import BodyT, Kernel, UprightProfile
from moulddesign.mould.joint import Peg, Screw
from moulddesign.mould.plans import (
    RISE,
    PlateEnd,
    half_extents_mm,
    is_fourfold,
    parallel_curve,
    plate_ends_mm,
    surrounding_curve,
)
from moulddesign.mould.press_layout import PressLayout

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
    half = RISE * depth
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
    profile = parallel_curve(outline, -inset)
    low, high = layout.back_mm - OVER_MM, layout.disc_high_mm
    bore = draw.loft([(low, profile), (high, profile)], say("mould.vanes-profile"))
    along_x = draw.intersect(
        _vane(layout, plate_ends_mm(outline, inset, half), draw), bore, say("mould.guide-vane")
    )
    if is_fourfold(outline):
        return along_x, draw.rotate_quarter(along_x)
    along_y = _vane(layout, plate_ends_mm(outline, inset, half, quarter_turns=1), draw)
    return along_x, draw.intersect(draw.rotate_quarter(along_y), bore, say("mould.guide-vane"))


def _vane(layout: PressLayout, ends: tuple[PlateEnd, PlateEnd], draw: Kernel[BodyT]) -> BodyT:
    """One plate with chamfered edges; it reaches beyond the bore's profile, which then cuts it."""
    half = layout.mould.vane_thickness_mm / 2.0
    ease = min(VANE_EASE_MM, half / 2.5)
    slope = _slope(layout, max(end.far_mm for end in ends))
    faces, edges = [], []
    for end in ends:
        # Where an outline is so lopsided that its near side lies under the slope, that side is cut
        # by the profile alone.
        near = end.side_mm - 2.0 * ease <= slope[1][0]
        at = PlateEnd(far_mm=slope[0][0], side_mm=slope[0][0]) if near else end
        faces.append(_half_face(layout, at, slope, ease=ease))
        edges.append(_half_edge(layout, at, slope, ease=ease))
    inner, outer = ([(-x, z) for x, z in left[::-1]] + right for left, right in (faces, edges))
    sections = [(-half, outer), (ease - half, inner), (half - ease, inner), (half, outer)]
    return draw.upright_loft(sections, say("mould.guide-vane"))


def _slope(layout: PressLayout, far_mm: float) -> UprightProfile:
    """Return where a vane begins to narrow, and where that ends: in the stem or in the disc."""
    inside_disc = layout.disc_low_mm + layout.mould.disc_thickness_mm / 4.0
    inside_stem = layout.stem_radius_mm / 2.0
    rise = min(RISE * (far_mm - inside_stem), inside_disc - layout.vane_top_mm)
    return [(far_mm, layout.vane_top_mm), (far_mm - rise / RISE, layout.vane_top_mm + rise)]


def _half_face(
    layout: PressLayout, end: PlateEnd, slope: UprightProfile, *, ease: float
) -> UprightProfile:
    """Return a vane's profile at x above 0, from below, between its chamfered faces."""
    low, beyond = layout.back_mm, end.far_mm + PAST_MM
    far, top = slope[0]
    return [
        (end.far_mm - ease, low),
        (beyond, low + ease + PAST_MM),
        (beyond, top + RISE * (far - beyond)),
        slope[1],
    ]


def _half_edge(
    layout: PressLayout, end: PlateEnd, slope: UprightProfile, *, ease: float
) -> UprightProfile:
    """Return the same on the plate's faces, where each edge is chamfered."""
    low, side = layout.back_mm + ease, end.side_mm - ease
    far, top = slope[0]
    return [
        (side - ease, low),
        (side, low + ease),
        (side, top + RISE * (far - ease - side)),
        (slope[1][0] - ease, slope[1][1]),
    ]


def vane_reach_mm(layout: PressLayout) -> float:
    """Return how far stem, cone and vanes reach from the axis at the palm disc [mm]."""
    risen = (layout.disc_low_mm - layout.vane_top_mm) / RISE
    vanes = max(half_extents_mm(layout.outline)) - layout.mould.clearance_mm - risen
    return max(layout.stem_radius_mm + layout.gusset_mm, vanes)


def _disc(layout: PressLayout, draw: Kernel[BodyT]) -> BodyT:
    mould, low, high = layout.mould, layout.disc_low_mm, layout.disc_high_mm
    rim = surrounding_curve(layout.outline, mould.disc_rim_mm)
    palm = min(PALM_EASE_MM, mould.disc_thickness_mm / 3.0)
    stop = min(
        STOP_EASE_MM, mould.disc_thickness_mm / 6.0, (mould.disc_rim_mm - mould.lead_in_mm) / 3.0
    )
    sections = [
        (low, rim.inset(stop)),
        (low + stop, rim),
        (high - RISE * palm, rim),
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
    # A slot exactly as wide as the shank would touch it along a line, which kernels dislike.
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
