"""The least weight from which a piece of the same proportions holds what a lighter one does not.

A piece takes up to seconds to make and to judge. So the weight is sought by how things grow: the
crust as that of the plain piece, which is halved in on, strokes and gaps with the cube root. Then
whole pieces near it are made and judged, a few at most, and the lightest that is good in all is
the answer. Nothing is sought where all findings are good.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from math import ceil, floor, inf
from typing import Final

from moulddesign.building.artwork_findings import artwork_findings
from moulddesign.building.piece_findings import full_depth_findings
from moulddesign.building.sizes import in_weight, plain_crust_mm, without_relief
from moulddesign.core import Finding, Message, MouldError, Verdict, say
from moulddesign.core.findings import SEPARATOR
from moulddesign.design import Design
from moulddesign.pastry.interior import Interior, interior
from moulddesign.pastry.pastry import pastry
from moulddesign.portion import figures
from moulddesign.relief.carved_surface import SurfaceMaker, carved_surface, coarse_surface
from moulddesign.verify import face_checks, piece_checks

CRUST: Final = frozenset(
    {"verify.crust-thickness", "verify.sunk-share-of-crust", "verify.crust-under-face"}
)
"""Findings about the crust."""
SIZED: Final = CRUST | {
    "verify.artwork-at-depth",
    "verify.share-at-full-depth",
    "building.thinnest-raised-stroke",
    "building.thinnest-raised-gap",
    "building.thinnest-sunk-stroke",
    "building.thinnest-sunk-gap",
}
"""Findings that a heavier piece mends."""
HEAVIEST_G: Final = 1000.0
"""No heavier piece is offered; our choice [g]."""
HEAVIEST_RATIO: Final = 4.0
"""Nor one so many times as heavy, which nobody would bake in its place; our choice."""
LOOKS: Final = (0.92, 1.0, 1.08, 1.2)
"""Shares of the sought weight of which whole pieces are made, until one is good: artwork grows a
little faster than its piece, for margins stay."""
FACE_GROWTH: Final = 1.0 / 6.0
"""Depths of a face grow with the root of lengths, so with this power of the weight."""


def with_least_weight(
    design: Design, inside: Interior, findings: tuple[Finding, ...]
) -> tuple[Finding, ...]:
    """Return findings with the least weight that mends them all, beside the worst's own remedy.

    Parameters
    ----------
    inside : Interior
        Of the design's piece.
    """
    if design.kept is not None:  # a heavier piece out of the same bore is no wider
        return findings
    sized = [found for found in findings if found.verdict is not Verdict.GOOD and is_sized(found)]
    weight_g = least_weight_g(design, inside, sized) if sized else None
    if weight_g is None:
        return findings
    worst = next((found for found in sized if found.verdict is Verdict.FAIL), sized[0])
    remedy = _remedy(design, weight_g, worst.remedy)
    return tuple(replace(found, remedy=remedy) if found is worst else found for found in findings)


def is_sized(found: Finding) -> bool:
    """Return whether a heavier piece mends a finding, of the first stamp's piece."""
    return found.id in SIZED and SEPARATOR not in found.part


def _remedy(design: Design, weight_g: int, other: Message | None) -> Message:
    # Where lengths are given, a weight alone would make a higher piece, not a larger one.
    alone = design.with_values({"portion.finished_weight_g": float(weight_g)})
    larger = in_weight(design, float(weight_g))
    is_same = alone.pastry == larger.pastry and alone.layers == larger.layers
    flag = "--weight" if is_same and alone.face == larger.face else "--sizes"
    if other is None:
        return say("building.from-weight", weight_g=weight_g, flag=flag)
    return say("building.or-from-weight", remedy=other, weight_g=weight_g, flag=flag)


def least_weight_g(design: Design, inside: Interior, sized: Sequence[Finding]) -> int | None:
    """Return the least whole weight at which a piece was found good [g]; None where none was.

    Parameters
    ----------
    sized : sequence of Finding
        What is not good of the design's piece, and a heavier one mends.
    """
    asked = [weight for found in sized for weight in _asked_weights(found.remedy)]
    crust_g = _least_for_crust(design, inside)
    if crust_g is None or inf in asked:
        return None
    own_g = design.portion.finished_weight_g
    low_g = max(crust_g, floor(own_g) + 1)
    start_g = max(low_g, *map(ceil, asked), ceil(own_g) + 1)
    looks_g = (ceil(look * start_g) for look in LOOKS)
    near_g = (each for each in looks_g if low_g <= each <= _heaviest_g(own_g))
    surfaces = _surfaces(design, sized)
    return next((g for g in near_g if all(is_good(design, g, each) for each in surfaces)), None)


def _heaviest_g(own_g: float) -> float:
    return min(HEAVIEST_G, HEAVIEST_RATIO * own_g)


def _asked_weights(remedy: Message | None) -> Iterator[float]:
    """Yield the weights at which artwork is to hold by its remedy; infinite where at none."""
    if remedy is None:
        return
    values = dict(remedy.values)
    if remedy.id == "building.heavier-piece":
        yield float(values["weight_g"])
    elif remedy.id in {"building.bolder-artwork", "building.larger-artwork"}:
        yield inf
    for value in values.values():
        if isinstance(value, Message):
            yield from _asked_weights(value)


def _least_for_crust(design: Design, inside: Interior) -> int | None:
    """Return the least whole weight at which the crust is to hold; None where at none."""
    own_g = design.portion.finished_weight_g
    low_g, high_g = floor(own_g), floor(_heaviest_g(own_g))
    if not inside.is_filled:
        return low_g
    plain_mm = plain_crust_mm(without_relief(design), own_g, in_weight)
    if _crust_holds(design, inside, low_g, plain_mm):
        return low_g
    if low_g >= high_g or not _crust_holds(design, inside, high_g, plain_mm):
        return None
    while high_g - low_g > 1:
        middle_g = (low_g + high_g) // 2
        good = _crust_holds(design, inside, middle_g, plain_mm)
        low_g, high_g = (low_g, middle_g) if good else (middle_g, high_g)
    return high_g


def _surfaces(design: Design, sized: Sequence[Finding]) -> tuple[SurfaceMaker, ...]:
    """Return the surfaces with which a piece is looked at: a coarse one is a tenth of the work.

    Under a carved face it is enough unless the crust is to be mended, for artwork on it is judged
    by its regions alone, and a crust that is good already grows.
    """
    if design.face is None:
        return (carved_surface,)
    fine = (carved_surface,) if any(found.id in CRUST for found in sized) else ()
    return (coarse_surface, *fine)


def is_good(design: Design, weight_g: int, surface_of: SurfaceMaker) -> bool:
    """Return whether crust, strokes and gaps are good in a piece of a weight [g]."""
    try:
        larger = in_weight(design, float(weight_g))
        piece = figures(larger).piece
        made = pastry(larger, piece.volume_ml, surface_of=surface_of)
        inside = interior(larger, made, piece)
    except MouldError:
        return False
    if not _all_good(_crust_findings(inside, larger.dough.least_crust_mm)):
        return False
    return _all_good(
        [*filter(is_sized, artwork_findings(larger, made)), *full_depth_findings(made, made.mesh)]
    )


def _all_good(findings: Sequence[Finding]) -> bool:
    return all(found.verdict is Verdict.GOOD for found in findings)


def _crust_findings(inside: Interior, held_mm: float | None) -> tuple[Finding, ...]:
    if not inside.is_filled:
        return ()
    carved = inside.pastry.carved
    found = piece_checks.crust_findings(
        thickness_mm=inside.crust_mm,
        deepest_sunk_mm=inside.pastry.deepest_sunk_mm if carved is None else 0.0,
        held_mm=held_mm,
    )
    if carved is None:
        return found
    least_mm = inside.least_crust_mm
    return (
        *found,
        face_checks.crust_under_face_finding(least_mm=least_mm, crust_mm=inside.crust_mm),
    )


def _crust_holds(design: Design, inside: Interior, weight_g: int, plain_mm: float | None) -> bool:
    """Return whether the crust of a piece will be good, by how it grows.

    It grows as that of the plain piece, `plain_mm` in the design's own weight; how far the face
    lies below its ground grows less.
    """
    own_g = design.portion.finished_weight_g
    larger_mm = plain_crust_mm(without_relief(design), float(weight_g), in_weight)
    if plain_mm is None or larger_mm is None:
        return False
    crust_mm = inside.crust_mm * larger_mm / plain_mm
    held_mm = design.dough.least_crust_mm
    if inside.pastry.carved is None:
        sunk_mm = inside.pastry.deepest_sunk_mm
        return _all_good(
            piece_checks.crust_findings(
                thickness_mm=crust_mm, deepest_sunk_mm=sunk_mm, held_mm=held_mm
            )
        )
    dip_mm = (inside.crust_mm - inside.least_crust_mm) * (weight_g / own_g) ** FACE_GROWTH
    return _all_good(
        [
            *piece_checks.crust_findings(
                thickness_mm=crust_mm, deepest_sunk_mm=0.0, held_mm=held_mm
            ),
            face_checks.crust_under_face_finding(least_mm=crust_mm - dip_mm, crust_mm=crust_mm),
        ]
    )
