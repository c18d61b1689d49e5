"""What a press bears in the hand: its joint, stem, disc, vanes, lobes and stop by stress.

None of these limits comes from the request: a design can ask for less than works.
"""

from dataclasses import dataclass
from math import cbrt, pi
from typing import Final

from moulddesign.core import OUR_CHOICE, Finding, Verdict, judged, say, tenths_up
from moulddesign.verify.walls import (
    LEAST_SAFETY,
    PLATE_SOURCE,
    PUSH_N,
    Load,
    clamped_circle,
    strength_finding,
    thick_enough_mm,
)

PULL_N: Final = 50.0
"""Pull on the joint when dough holds the stamp; our choice [N]."""
SIDE_N: Final = 20.0
"""Sideways push on a stamp that hangs from the plunger; our choice [N]."""
HOLD_N: Final = 60.0
"""Pull of two fingers on a grip lobe, half of a strong push; our choice [N]."""
MOST_BOW_MM: Final = 0.2
"""Most that the disc may bow under a push, a usual layer: by so much the stop would lie; our choice
[mm]."""
USUAL_VANE_MM: Final = 4.0
"""Vanes so thick break only where they guide too short; our choice [mm]."""
MOST_VANE_MM: Final = 2.0 * USUAL_VANE_MM
"""No thicker vanes are offered; our choice [mm]."""
LEAST_GRIP_MM: Final = 20.0
"""Least reach of a grip lobe, about a finger's width; our choice [mm]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PressSizes:
    """Sizes of a press that bear loads [mm, mm2]."""

    neck_width_mm: float
    """Of the foot's neck across the slide [mm]."""
    foot_length_mm: float
    """Of the foot along the slide [mm]."""
    foot_depth_mm: float
    """Shoulder to the foot's lower end [mm]."""
    lug_root_mm: float
    """Height of a lug where it leaves the neck [mm]."""
    lug_mm: float
    """Reach of a lug [mm]."""
    lug_held_mm: float
    """How much of it lies on the slot's ledge, as drawn [mm]."""
    stem_radius_mm: float
    disc_thickness_mm: float
    disc_free_mm: float
    """Radius of the disc inside the stop [mm]."""
    disc_reach_mm: float
    """From the axis to the disc's edge [mm]."""
    guide_mm: float
    """Length over which stamp and vanes guide [mm]."""
    vane_thickness_mm: float
    vane_mm: float
    """How far a vane reaches beyond the stem [mm]."""
    vane_height_mm: float
    lobe_mm: float
    """How far a lobe reaches beyond the palm disc; 0 for none [mm]."""
    flange_beyond_disc_mm: float
    """How far the flange itself does [mm]."""
    lobe_width_mm: float
    flange_thickness_mm: float
    stop_mm2: float
    """Level area of the stop's top [mm2]."""

    @property
    def grip_mm(self) -> float:
        """How far a lobe reaches beyond the flange; 0 for none [mm]."""
        return max(self.lobe_mm - self.flange_beyond_disc_mm, 0.0)


def press_limit_findings(
    sizes: PressSizes,
    *,
    force_n: float,
    along_mpa: float,
    across_mpa: float,
    modulus_mpa: float,
) -> tuple[Finding, ...]:
    """Return how far each member is from breaking under a hand.

    Parameters
    ----------
    sizes : PressSizes
        What bears.
    force_n : float
        Push that the dough takes; at least a whole push of a hand is reckoned with [N].
    along_mpa, across_mpa : float
        Strength of the plastic along and across its layers [MPa].
    modulus_mpa : float
        Its Young's modulus [MPa].
    """
    push_n = max(PUSH_N, force_n)
    plastic = say("verify.stronger-plastic")
    vane_safety = along_mpa / _vane_mpa(sizes, push_n)
    vane_mm = thick_enough_mm(sizes.vane_thickness_mm, vane_safety)
    is_thin = sizes.vane_thickness_mm < USUAL_VANE_MM and vane_mm <= MOST_VANE_MM
    disc = _disc(sizes, push_n, modulus_mpa)
    disc_mm = _thick_disc_mm(sizes, disc, along_mpa / disc.stress_mpa)
    thicker = say("verify.thicker-disc", disc_mm=disc_mm)
    members = [
        (say("verify.neck-by-stress"), "plunger", across_mpa / _neck_mpa(sizes), plastic),
        (say("verify.lug-by-stress"), "plunger", along_mpa / _lug_mpa(sizes), plastic),
        (say("verify.stem-by-stress"), "plunger", across_mpa / _stem_mpa(sizes, push_n), plastic),
        (say("verify.vane-by-stress"), "plunger", vane_safety,
         say("verify.thicker-vane", vane_mm=vane_mm) if is_thin else say("verify.longer-guide")),
        (say("verify.disc-by-stress"), "plunger", along_mpa / disc.stress_mpa, thicker),
        (say("verify.stop-by-stress"), "stop", across_mpa * sizes.stop_mm2 / push_n, plastic),
    ]  # fmt: skip
    if sizes.grip_mm:
        safety = along_mpa / _lobe_mpa(sizes)
        flange_mm = thick_enough_mm(sizes.flange_thickness_mm, safety)
        remedy = say("verify.thicker-flange", flange_mm=flange_mm)
        members.append((say("verify.lobe-by-stress"), "sleeve", safety, remedy))
    return (
        *(strength_finding(*member, source=say("verify.beam-theory")) for member in members),
        Finding(
            what=say("verify.bow-of-disc"),
            part="plunger",
            measured=disc.bow_mm,
            limit=say("core.at-most", limit=MOST_BOW_MM),
            unit="mm",
            source=PLATE_SOURCE,
            verdict=judged(good=disc.bow_mm <= MOST_BOW_MM, otherwise=Verdict.WARN),
            remedy=None if disc.bow_mm <= MOST_BOW_MM else thicker,
        ),
        _grip_finding(sizes),
    )


def _neck_mpa(sizes: PressSizes) -> float:
    """Return the neck's stress: a pull along it, or a push from the side on a hanging stamp."""
    width, length = sizes.neck_width_mm, sizes.foot_length_mm
    pulled = PULL_N / (width * length)
    # The stamp's middle hangs about as deep under the shoulder as the foot reaches.
    pushed = SIDE_N * sizes.foot_depth_mm / (length * width**2 / 6.0)
    return max(pulled, pushed)


def _lug_mpa(sizes: PressSizes) -> float:
    """Return a lug's stress: half the pull on the middle of what lies on the ledge."""
    arm = sizes.lug_mm - sizes.lug_held_mm / 2.0
    return PULL_N / 2.0 * arm / (sizes.foot_length_mm * sizes.lug_root_mm**2 / 6.0)


def _stem_mpa(sizes: PressSizes, push_n: float) -> float:
    """Return the stem's pull on one side where a palm leans on the edge of the disc."""
    radius = sizes.stem_radius_mm
    bent = push_n * sizes.disc_reach_mm / (pi * radius**3 / 4.0)
    return bent - push_n / (pi * radius**2)


def _vane_mpa(sizes: PressSizes, push_n: float) -> float:
    """Return a vane's stress where the same push leans it on the bore, from the worst side."""
    tip_n = push_n * sizes.disc_reach_mm / sizes.guide_mm
    return tip_n * sizes.vane_mm / (sizes.vane_height_mm * sizes.vane_thickness_mm**2 / 6.0)


def _disc(sizes: PressSizes, push_n: float, modulus_mpa: float) -> Load:
    """Return the disc's load where it lies on the stop all round and the palm pushes on it."""
    return clamped_circle(
        pressure_mpa=push_n / (pi * sizes.disc_free_mm**2),
        radius_mm=sizes.disc_free_mm,
        wall_mm=sizes.disc_thickness_mm,
        modulus_mpa=modulus_mpa,
    )


def _thick_disc_mm(sizes: PressSizes, disc: Load, safety: float) -> float:
    """Return how thick the disc has to be: its bow goes with one over its thickness cubed."""
    level_mm = sizes.disc_thickness_mm * cbrt(disc.bow_mm / MOST_BOW_MM)
    strong_mm = thick_enough_mm(sizes.disc_thickness_mm, min(safety, LEAST_SAFETY))
    return max(strong_mm, tenths_up(level_mm))


def _lobe_mpa(sizes: PressSizes) -> float:
    """Return a lobe's stress: two fingers pull at its end."""
    return HOLD_N * sizes.grip_mm / (sizes.lobe_width_mm * sizes.flange_thickness_mm**2 / 6.0)


def _grip_finding(sizes: PressSizes) -> Finding:
    """Return whether fingers find a grip outside the disc, where nothing closes on them."""
    good = sizes.grip_mm >= LEAST_GRIP_MM
    lobe_mm = tenths_up(LEAST_GRIP_MM + sizes.flange_beyond_disc_mm)
    return Finding(
        what=say("verify.grip-outside-disc"),
        part="sleeve",
        measured=sizes.grip_mm,
        limit=say("core.at-least", limit=LEAST_GRIP_MM),
        unit="mm",
        source=OUR_CHOICE,
        verdict=judged(good=good, otherwise=Verdict.WARN),
        remedy=None if good else say("verify.longer-lobes", lobe_mm=lobe_mm),
    )
