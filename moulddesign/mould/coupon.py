"""Coupons to print before a mould: a clearance gauge with its key, and a relief sampler.

The gauge has four slots of the press's joint and four rings. The key has the foot of that joint on
a round that goes into the rings. How tight a slot and a ring the key goes into tells how far the
printer's walls lie from their mesh. All are drawn as they are used, and turned over to be printed,
as stamp and plunger are.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import radians, tan
from typing import Final

import numpy as np
import shapely

from moulddesign.artwork.outline import Outline, exterior_points, outline_of_points
from moulddesign.core import say
from moulddesign.design import GAUGE_GAPS_MM, Design, Profile
from moulddesign.geometry import Mesh, box, difference, union
from moulddesign.mould import faceted
from moulddesign.mould.mould_set import MouldSet, Part, pose_on_bed
from moulddesign.mould.plans import FIGURE_CHORD_MM, RISE, text_region
from moulddesign.mould.press_joint import SlideJoint, foot, slide_joint, slot_profile
from moulddesign.pastry.top_surface import shoulder_roof, top_surface
from moulddesign.relief.roof import ReliefRegion
from moulddesign.relief.voronoi import snapped_to_grid

PITCH_MM: Final = 17.6
"""From one slot and ring to the next, so that the walls of the rings run into each other [mm]."""

SLOT_MM: Final = 6.0
"""Length of a slot; our choice [mm]."""

FOOT_MM: Final = 8.0
"""Length of the key's foot: it passes the rings; our choice [mm]."""

BESIDE_SLOT_MM: Final = 1.8
"""Plastic beside a slot, four usual lines; our choice [mm]."""

OVER_SLOT_MM: Final = 1.0
"""Plastic over a slot's roof, five usual layers; our choice [mm]."""

SPINE_MM: Final = 1.6
"""Thickness of the wall that joins slots and rings, and of the rings; our choice [mm]."""

RING_MM: Final = 5.0
"""Height of spine and rings, over which the key is guided; our choice [mm]."""

ROUND_MM: Final = 15.0
"""Diameter of the key's round; our choice [mm]."""

ROUND_HEIGHT_MM: Final = 9.0
"""Height of the round, so that fingers hold it; our choice [mm]."""

ROUND_WALL_MM: Final = 1.6
"""Wall of the round, which is hollow from below; our choice [mm]."""

RING_CHAMFER_MM: Final = 0.5
"""Chamfer of rings and round on the bed, where the first layer flares out; our choice [mm]."""

BAR_MM: Final = (1.2, 0.9)
"""Width of the bars that number slots and rings, and how far they stand out; our choice [mm]."""

BAR_PITCH_MM: Final = 2.5
"""From bar to bar, as far as from dot to dot of braille; from memory [mm]."""

WIDTHS_MM: Final = (0.6, 0.8, 1.0, 1.3, 1.6)
"""Widths of the sampler's single strokes [mm]."""

GAPS_MM: Final = (0.4, 0.6, 0.8, 1.2)
"""Gaps between the two strokes of the sampler's pairs [mm]."""

PAIR_WIDTH_MM: Final = 1.2
"""Width of each stroke of a pair [mm]."""

DEPTHS_MM: Final = (0.6, 1.0, 1.4, 1.8)
"""Depths of the sampler's strokes, where their width lets them reach it [mm]."""

CELL_MM: Final = (11.2, 7.8)
"""From stroke to stroke along x and y, with room for a figure at each; our choice [mm]."""

SINGLES_AT_MM: Final = (-22.4, 29.2)
"""First single stroke, from the middle of the sampler [mm]."""

PAIRS_AT_MM: Final = (-11.2, -11.6)
"""First pair, a column further in: its depth stands before it [mm]."""

HEAD_UP_MM: Final = 6.0
"""From the first stroke up to the head of its column [mm]."""

UNDER_MM: Final = 3.5
"""From a single stroke down to its depth [mm]."""

STROKE_MM: Final = 8.0
"""Length of a single stroke; our choice [mm]."""

PAIR_MM: Final = 5.5
"""Length of the strokes of a pair; our choice [mm]."""

SAMPLER_MM: Final = (60.0, 80.0)
"""Width and length of the sampler; our choice [mm]."""

FLOOR_MM: Final = 1.2
"""Plastic behind the deepest stroke, six usual layers; our choice [mm]."""

FIGURE_MM: Final = 3.0
"""Height of a figure that tells a depth; our choice [mm]."""

HEAD_MM: Final = 4.0
"""Height of the figures at the head of a column; our choice [mm]."""

FIGURE_DEPTH_MM: Final = 0.6
"""Depth of the figures, three usual layers; our choice [mm]."""

FIGURE_DRAFT_DEG: Final = 10.0
"""Draft of the figures' walls, so that dough and crumbs come out; our choice [deg]."""

CORNER_MM: Final = 4.0
"""Corners of the sampler; our choice [mm]."""

OVER_MM: Final = 1.0
"""How far a tool reaches beyond the body that it cuts, or one body into another [mm]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Strokes:
    """A single stroke along x, or a pair along y, as it stands on the dough."""

    x_mm: float
    y_mm: float
    """Middle of it [mm]."""
    head_mm: float
    """What its column varies: the width of a single stroke, the gap of a pair [mm]."""
    depth_mm: float
    """Depth that it is given [mm]."""
    reached_mm: float
    """Depth that its width lets it reach [mm]."""
    size_mm: tuple[float, float]
    """Length along x and y, a pair with its gap [mm]."""

    @property
    def corners_mm(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """Two opposite corners of the rectangle around it [mm]."""
        x, y = (side / 2.0 for side in self.size_mm)
        return (self.x_mm - x, self.y_mm - y), (self.x_mm + x, self.y_mm + y)


@dataclass(frozen=True, slots=True, kw_only=True)
class CouponLayout:
    """Where slots, rings and strokes lie in the coupons as they are used."""

    slots_mm: tuple[tuple[float, float, float], ...]
    """x and y of the middle of each slot, and the gap on each side of the foot in it [mm]."""
    rings_mm: tuple[tuple[float, float, float], ...]
    """x and y of each ring, and the gap on each side of the round in it [mm]."""
    singles: tuple[Strokes, ...]
    """The sampler's single strokes, row by row."""
    pairs: tuple[Strokes, ...]
    """The sampler's pairs of strokes, row by row."""
    shoulder_mm: float = ROUND_HEIGHT_MM
    """Height of the key's shoulder as it is printed, its foot above it [mm]."""


def coupons(design: Design) -> MouldSet[CouponLayout]:
    """Return the coupons for a design's printer: `gauge` with `key`, and `sampler`.

    The figures of the sampler read right on the dough. `SpecError` where the bed is too small.
    """
    draft_deg = design.relief.draft_deg
    layout = coupon_layout(draft_deg)

    def part(name: str, mesh: Mesh) -> Part:
        pose = pose_on_bed(mesh, design.printer, half_turns=1, name=name)
        return Part(name=name, mesh=mesh, pose=pose)

    parts = (
        part("gauge", gauge(layout)),
        part("key", key_of_gauge()),
        part("sampler", sampler(layout, draft_deg)),
    )
    return MouldSet(parts=parts, layout=layout)


def coupon_layout(draft_deg: float) -> CouponLayout:
    """Return where everything lies, for strokes of a draft [deg]."""
    rows = [((1.5 - number) * PITCH_MM, gap) for number, gap in enumerate(GAUGE_GAPS_MM)]
    ring_x = _ring_outside_mm() + SPINE_MM / 2.0
    return CouponLayout(
        slots_mm=tuple((-SLOT_MM / 2.0, y, gap) for y, gap in rows),
        rings_mm=tuple((ring_x, y, gap) for y, gap in rows),
        singles=_strokes(
            [(width, width, (STROKE_MM, width)) for width in WIDTHS_MM], draft_deg, SINGLES_AT_MM
        ),
        pairs=_strokes(
            [(gap, PAIR_WIDTH_MM, (2.0 * PAIR_WIDTH_MM + gap, PAIR_MM)) for gap in GAPS_MM],
            draft_deg,
            PAIRS_AT_MM,
        ),
    )


def _strokes(
    columns: Sequence[tuple[float, float, tuple[float, float]]],
    draft_deg: float,
    first_mm: tuple[float, float],
) -> tuple[Strokes, ...]:
    """Return a row of strokes for each depth; a column is its head, the width and the size."""
    (x, y), (along, down) = first_mm, CELL_MM
    return tuple(
        Strokes(
            x_mm=x + along * column,
            y_mm=y - down * row,
            head_mm=head,
            depth_mm=depth,
            reached_mm=reached_mm(depth, width, draft_deg),
            size_mm=size,
        )
        for row, depth in enumerate(DEPTHS_MM)
        for column, (head, width, size) in enumerate(columns)
    )


def reached_mm(depth_mm: float, width_mm: float, draft_deg: float) -> float:
    """Return the depth that a stroke reaches: where its walls meet, it gets no deeper.

    It is min(depth, width / (2 tan(draft))), exact for a straight stroke [mm].

    Examples
    --------
    >>> [round(reached_mm(1.4, width, 15.0), 2) for width in (0.6, 0.8)]
    [1.12, 1.4]
    """
    return min(depth_mm, width_mm / (2.0 * tan(radians(draft_deg))))


def gauge(layout: CouponLayout) -> Mesh:
    """Return slots and rings in one body, the back of the slots at z = 0 and all else below it."""
    joints = [_joint(gap) for *_, gap in layout.slots_mm]
    floor = -max(joint.depth_mm for joint in joints) - OVER_SLOT_MM
    wide = max(joint.slot_half_width_mm for joint in joints) + BESIDE_SLOT_MM
    end = layout.slots_mm[0][1] + wide
    bodies = [box((-OVER_MM / 2.0, -end, -RING_MM), (SPINE_MM, end, 0.0))]
    tools = []
    for count, (slot, ring, joint) in enumerate(
        zip(layout.slots_mm, layout.rings_mm, joints, strict=True), start=1
    ):
        bodies += [*_slot_block(slot[1], floor, wide, count), *_ring_body(ring, count)]
        tools += [_slot_tool(joint, slot[1]), _ring_tool(ring)]
    return difference(union(bodies, say("mould.gauge")), tools, say("mould.gauge"))


def key_of_gauge() -> Mesh:
    """Return the foot of the joint under a round, its shoulder at z = 0."""
    outside, hollow = ROUND_MM / 2.0, ROUND_MM / 2.0 - ROUND_WALL_MM
    ease, ceiling = RING_CHAMFER_MM, ROUND_WALL_MM
    profile = [
        (0.0, 0.0), (outside - ease, 0.0), (outside, RISE * ease),
        (outside, ROUND_HEIGHT_MM - RISE * ease), (outside - ease, ROUND_HEIGHT_MM),
        (hollow, ROUND_HEIGHT_MM), (hollow, ceiling + RISE * hollow), (0.0, ceiling),
    ]  # fmt: skip
    step = say("mould.gauge-key")
    short = replace(_joint(max(GAUGE_GAPS_MM)), half_length_mm=FOOT_MM / 2.0)
    return union([faceted.revolve(profile, step), foot(short, 0.0, faceted)], step)


def sampler(layout: CouponLayout, draft_deg: float) -> Mesh:
    """Return the plate that is pressed into dough, strokes engraved in its underside at z = 0."""
    regions = [
        _region(
            [bar for one in layout.singles if one.depth_mm == depth for bar in _single(one)]
            + [bar for one in layout.pairs if one.depth_mm == depth for bar in _pair(one)],
            depth,
            draft_deg,
        )
        for depth in DEPTHS_MM
    ]
    regions.append(_region(_figures(layout), FIGURE_DEPTH_MM, FIGURE_DRAFT_DEG))
    x, y = (side / 2.0 - CORNER_MM for side in SAMPLER_MM)
    plate = _outline(shapely.box(-x, -y, x, y).buffer(CORNER_MM, quad_segs=24))
    edge = shoulder_roof(plate, radius_mm=0.0, inset_mm=0.0)
    dough = top_surface(edge, tuple(region.roof() for region in regions))
    return dough.solid(0.0, max(DEPTHS_MM) + FLOOR_MM)


def _joint(gap_mm: float) -> SlideJoint:
    """Return the joint of a press in full size; the foot is the same for every gap."""
    return slide_joint(ROUND_MM, gap_mm)


def _ring_outside_mm() -> float:
    return ROUND_MM / 2.0 + max(GAUGE_GAPS_MM) + SPINE_MM


def _slot_block(y: float, floor: float, wide: float, count: int) -> list[Mesh]:
    """Return a block for a slot along x, and the bars on it, upside down."""
    cut = BESIDE_SLOT_MM + OVER_SLOT_MM
    profile = [
        (wide, 0.0), (wide, floor + RISE * cut), (wide - cut, floor),
        (cut - wide, floor), (-wide, floor + RISE * cut), (-wide, 0.0),
    ]  # fmt: skip
    block = faceted.upright_loft([(0.0, profile), (SLOT_MM, profile)], say("mould.gauge"))
    width, stands = BAR_MM
    bars = [
        box((-SLOT_MM, at - width / 2.0, floor - stands), (0.0, at + width / 2.0, floor + OVER_MM))
        for at in _bar_places(y, count)
    ]
    # A quarter turn takes y to -x: the slot is open towards -x.
    return [faceted.rotate_quarter(block).moved((0.0, y, 0.0)), *bars]


def _ring_body(ring: tuple[float, float, float], count: int) -> list[Mesh]:
    """Return a ring before it is bored, and the bars on its outside."""
    (x, y, _), outside = ring, _ring_outside_mm()
    profile = [(0.0, -RING_MM), (outside, -RING_MM), (outside, 0.0), (0.0, 0.0)]
    width, stands = BAR_MM
    bars = [
        box((x, at - width / 2.0, -RING_MM), (x + outside + stands, at + width / 2.0, 0.0))
        for at in _bar_places(y, count)
    ]
    return [faceted.revolve(profile, say("mould.gauge-ring")).moved((x, y, 0.0)), *bars]


def _bar_places(y: float, count: int) -> list[float]:
    """Return y of as many bars as tell a number, about a middle."""
    return [y + BAR_PITCH_MM * (number - (count - 1) / 2.0) for number in range(count)]


def _slot_tool(joint: SlideJoint, y: float) -> Mesh:
    profile = slot_profile(joint, 0.0, joint.ledge_mm)
    tool = faceted.upright_loft(
        [(0.0, profile), (SLOT_MM + OVER_MM, profile)], say("mould.stamp-slot")
    )
    return faceted.rotate_quarter(tool).moved((0.0, y, 0.0))


def _ring_tool(ring: tuple[float, float, float]) -> Mesh:
    x, y, gap = ring
    bore = ROUND_MM / 2.0 + gap
    wide = bore + RING_CHAMFER_MM + OVER_MM
    profile = [
        (0.0, -RING_MM - OVER_MM), (bore, -RING_MM - OVER_MM), (bore, -RISE * RING_CHAMFER_MM),
        (wide, RISE * OVER_MM), (0.0, RISE * OVER_MM),
    ]  # fmt: skip
    return faceted.revolve(profile, say("mould.gauge-ring")).moved((x, y, 0.0))


def _single(one: Strokes) -> list[shapely.Geometry]:
    half = (one.size_mm[0] - one.head_mm) / 2.0
    line = shapely.LineString([(one.x_mm - half, one.y_mm), (one.x_mm + half, one.y_mm)])
    return [line.buffer(one.head_mm / 2.0, quad_segs=4)]


def _pair(one: Strokes) -> list[shapely.Geometry]:
    off, half = (one.head_mm + PAIR_WIDTH_MM) / 2.0, (one.size_mm[1] - PAIR_WIDTH_MM) / 2.0
    low, high = one.y_mm - half, one.y_mm + half
    places = (one.x_mm - off, one.x_mm + off)
    lines = [shapely.LineString([(x, low), (x, high)]) for x in places]
    return [line.buffer(PAIR_WIDTH_MM / 2.0, quad_segs=4) for line in lines]


def _figures(layout: CouponLayout) -> list[shapely.Geometry]:
    """Return the heads of the columns and the depths, as they read on the dough."""
    heads = (*layout.singles[: len(WIDTHS_MM)], *layout.pairs[: len(GAPS_MM)])
    above = [
        text_region(
            f"{one.head_mm:.1f}", height_mm=HEAD_MM, at_mm=(one.x_mm, one.y_mm + HEAD_UP_MM)
        )
        for one in heads
    ]
    depths = [((one.x_mm, one.y_mm - UNDER_MM), one.reached_mm) for one in layout.singles]
    # Strokes of one width: what the first of a row reaches, all of them reach.
    depths += [
        ((one.x_mm - CELL_MM[0], one.y_mm), one.reached_mm) for one in layout.pairs[:: len(GAPS_MM)]
    ]
    under = [
        text_region(f"{depth:.2f}", height_mm=FIGURE_MM, at_mm=at_mm) for at_mm, depth in depths
    ]
    return [figure.simplify(FIGURE_CHORD_MM) for figure in (*above, *under)]


def _region(shapes: list[shapely.Geometry], depth_mm: float, draft_deg: float) -> ReliefRegion:
    return ReliefRegion(
        shape=snapped_to_grid(shapely.union_all(shapes)),
        depth_mm=depth_mm,
        profile=Profile.FLAT,
        draft_deg=draft_deg,
    )


def _outline(shape: shapely.Geometry) -> Outline:
    return outline_of_points("drawn", np.array(exterior_points(shape)))
