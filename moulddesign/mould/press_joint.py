"""The joint of a press: a foot under the plunger that slides sideways into a slot in the stamp.

Pressed, the plunger's shoulder bears on the stamp's back. Lifted, the stamp drops until the foot's
flanks hang in the slot, behind a lip that keeps it from sliding out. Inside the sleeve it cannot
slide at all. A key under one vane fits the open end of the slot and nothing else, so that plunger
and stamp go together one way round only.

Foot and slot are drawn along y and turned by a quarter: the slot is open towards +x.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from moulddesign.core import SpecError, say
from moulddesign.mould.cad_kernel import BodyT, Kernel, UprightProfile
from moulddesign.mould.plans import RISE

KEY_END_MM: Final = 2.0
"""How far inside the end of its vane the key ends; our choice [mm]."""

LEAST_SCALE: Final = 0.5
"""Smallest form of the joint, as a share of the full size; our choice."""

LEAST_LUG_MM: Final = 1.6
"""Least reach of the foot's lugs, four lines; our choice [mm]."""

HALF_LENGTH_MM: Final = 8.0
"""Half the length of the foot in its full size; our choice [mm]."""

CLOSED_END_MM: Final = 0.3
"""Air at the slot's closed end beyond the gap, for corners that print round; our choice [mm]."""

STEM_RIM_MM: Final = 1.5
"""Least distance from the stem to the edge of the stamp's back; our choice [mm]."""

SLOT_WALL_MM: Final = 2.0
"""Least plastic behind the slot's closed end; our choice [mm]."""

END_CHAMFER_MM: Final = 0.4
"""Chamfer of the foot's ends, which finds the slot; our choice [mm]."""

MOUTH_CHAMFER_MM: Final = 0.6
"""Chamfer of the slot's edges on the bed, where the first layer flares out; our choice [mm]."""

KEY_LENGTH_MM: Final = 3.0
"""Least length of the key; our choice [mm]."""

OVER_MM: Final = 0.5
"""How far a tool reaches beyond the body that it cuts, or one body into another [mm]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SlideJoint:
    """Sizes of foot and slot; depths are measured down from the stamp's back."""

    gap_mm: float
    """Air on each side of the foot, and above its lugs while it slides [mm]."""
    neck_mm: float
    """Half the width of the foot's neck [mm]."""
    neck_depth_mm: float
    """Shoulder to where the lugs begin [mm]."""
    lug_mm: float
    """How far each lug reaches beyond the neck [mm]."""
    half_length_mm: float
    """Half the length of the foot along the slot [mm]."""
    stem_radius_mm: float
    """Radius of the plunger's stem, whose shoulder bears on the stamp [mm]."""
    waist_mm: float = 0.4
    """Height over which the foot is widest, two usual layers [mm]."""
    ridge_mm: float = 0.1
    """Half the width of the foot's lower end, and of the slot's roof [mm]."""
    lip_mm: float = 1.0
    """Height of the lip behind which the lifted foot hangs [mm]."""

    @property
    def lift_mm(self) -> float:
        """How far the plunger may be lifted off the stamp while the foot slides [mm]."""
        return self.gap_mm + 0.3

    @property
    def drop_mm(self) -> float:
        """How far the stamp drops when the plunger is lifted [mm]."""
        return self.lift_mm + self.lip_mm

    @property
    def foot_half_width_mm(self) -> float:
        """Half the greatest width of the foot [mm]."""
        return self.neck_mm + self.lug_mm

    @property
    def foot_depth_mm(self) -> float:
        """Shoulder to the foot's lower end [mm]."""
        widest = self.neck_depth_mm + RISE * self.lug_mm + self.waist_mm
        return widest + RISE * (self.foot_half_width_mm - self.ridge_mm)

    @property
    def mouth_mm(self) -> float:
        """Half the width of the slot at the stamp's back [mm]."""
        return self.neck_mm + self.gap_mm

    @property
    def slot_half_width_mm(self) -> float:
        """Half the greatest width of the slot [mm]."""
        return self.mouth_mm + self.lug_mm

    @property
    def depth_mm(self) -> float:
        """Stamp's back to the slot's roof [mm]."""
        # As wide as the foot is, the roof lies a gap beside it and a little more.
        widest = self.neck_depth_mm + RISE * self.lug_mm + self.waist_mm
        return widest + RISE * (self.slot_half_width_mm + 0.4 - self.ridge_mm)

    @property
    def ledge_mm(self) -> float:
        """Thickness of the ledges over the lugs where the foot slides in, at the neck [mm]."""
        # The slot's flanks are the foot's, moved out by the gap and up by the lift.
        return self.neck_depth_mm + RISE * self.gap_mm - self.lift_mm

    @property
    def closed_end_mm(self) -> float:
        """How far the slot's closed end lies from the axis [mm]."""
        return self.lip_at_mm + CLOSED_END_MM

    @property
    def lip_at_mm(self) -> float:
        """How far the lip lies from the axis, towards the open end [mm]."""
        return self.half_length_mm + self.gap_mm


def slide_joint(stamp_radius_mm: float, gap_mm: float) -> SlideJoint:
    """Return the joint for a stamp, in full size where there is room, else in a smaller form.

    Parameters
    ----------
    stamp_radius_mm : float
        Radius of the largest circle about the axis inside the stamp's back [mm].
    gap_mm : float
        Air on each side of the foot [mm].

    Raises
    ------
    SpecError
        The stamp has no room for the smallest form.
    """
    beside = gap_mm + CLOSED_END_MM + SLOT_WALL_MM
    scale = (stamp_radius_mm - beside) / HALF_LENGTH_MM
    if scale < LEAST_SCALE:
        least = 2.0 * (beside + LEAST_SCALE * HALF_LENGTH_MM)
        need = say("mould.no-room-for-joint", least_mm=least)
        raise SpecError("pastry.width_mm", round(2.0 * stamp_radius_mm, 2), need)
    scale = min(scale, 1.0)
    return SlideJoint(
        gap_mm=gap_mm,
        neck_mm=max(3.0 * scale, 2.0),
        neck_depth_mm=2.6,
        lug_mm=max(2.0 * scale, LEAST_LUG_MM),
        half_length_mm=HALF_LENGTH_MM * scale,
        stem_radius_mm=min(10.0 * scale, stamp_radius_mm - STEM_RIM_MM),
    )


def foot(joint: SlideJoint, back_mm: float, draw: Kernel[BodyT]) -> BodyT:
    """Return the foot, its neck reaching a little into the stem above the stamp's back."""
    long, ease = joint.half_length_mm, END_CHAMFER_MM
    whole, eased = _foot_profile(joint, back_mm, 0.0), _foot_profile(joint, back_mm, ease)
    sections = [(-long, eased), (ease - long, whole), (long - ease, whole), (long, eased)]
    return draw.rotate_quarter(draw.upright_loft(sections, say("mould.foot")))


def _foot_profile(joint: SlideJoint, back: float, ease: float) -> UprightProfile:
    """Return the foot across the slide, from the ridge up; narrower by a chamfer at its ends."""
    neck, wide, ridge = joint.neck_mm - ease, joint.foot_half_width_mm - ease, joint.ridge_mm
    low = back - joint.foot_depth_mm + RISE * ease
    lugs = back - joint.neck_depth_mm
    return _mirrored([
        (ridge, low),
        (wide, low + RISE * (wide - ridge)),
        (wide, lugs - RISE * joint.lug_mm),
        (neck, lugs),
        (neck, back + OVER_MM),
    ])  # fmt: skip


def slot(joint: SlideJoint, back_mm: float, out_mm: float, draw: Kernel[BodyT]) -> BodyT:
    """Return what is cut from a stamp's back: the way in up to `out_mm`, and the room to hang."""
    way_in = slot_profile(joint, back_mm, joint.ledge_mm)
    room = slot_profile(joint, back_mm, joint.ledge_mm - joint.lip_mm)
    end, step = joint.closed_end_mm, say("mould.stamp-slot")
    # A quarter turn takes y to -x: what is to be open towards +x is drawn towards -y.
    parts = [
        draw.upright_loft([(-out_mm, way_in), (end, way_in)], step),
        draw.upright_loft([(-joint.lip_at_mm, room), (end, room)], step),
    ]
    return draw.rotate_quarter(draw.fuse(parts, step))


def slot_profile(joint: SlideJoint, back_mm: float, ledge_mm: float) -> UprightProfile:
    """Return the slot across the slide, under ledges of a thickness; open above the back [mm]."""
    mouth, wide, ridge = joint.mouth_mm, joint.slot_half_width_mm, joint.ridge_mm
    back, ledge = back_mm, ledge_mm
    roof, chamfer = back - joint.depth_mm, MOUTH_CHAMFER_MM
    return _mirrored([
        (ridge, roof),
        (wide, roof + RISE * (wide - ridge)),
        (wide, back - ledge - RISE * joint.lug_mm),
        (mouth, back - ledge),
        (mouth, back - RISE * chamfer),
        (mouth + chamfer + OVER_MM, back + RISE * OVER_MM),
    ])  # fmt: skip


def key(
    joint: SlideJoint, back_mm: float, far_mm: float, *, thickness_mm: float, draw: Kernel[BodyT]
) -> BodyT | None:
    """Return the key under the vane towards +x, which lies in the open end of the slot.

    It ends a little inside the vane's own end, which is nowhere nearer to the axis than `far_mm`.
    None where the stem leaves no room for it.
    """
    near, far, deep = joint.stem_radius_mm + 1.0, far_mm - KEY_END_MM, joint.lift_mm + joint.gap_mm
    if far - near < KEY_LENGTH_MM:
        return None
    profile = [
        (near, back_mm + OVER_MM), (near, back_mm - deep), (far - deep, back_mm - deep),
        (far + OVER_MM, back_mm + OVER_MM),
    ]  # fmt: skip
    width = min(thickness_mm, 2.0 * (joint.mouth_mm - 1.0))
    return draw.upright_prism(profile, width, say("mould.joint-key"))


def _mirrored(right: Sequence[tuple[float, float]]) -> UprightProfile:
    """Return a profile symmetric about x = 0, from its right half, lowest corner first."""
    return [*right, *((-x, z) for x, z in reversed(right))]
