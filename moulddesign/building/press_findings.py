"""What is checked of a press, under its first stamp and under each further one."""

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache, partial
from itertools import chain
from math import pi, sqrt

from shapely import MultiPolygon

from moulddesign.building.piece_findings import (
    CheckInput,
    piece_findings,
    relief_layer_findings,
    with_remedy,
)
from moulddesign.building.remedies import more_draft, rim_figures, wider_land, width_for_stop
from moulddesign.core import Finding, mm3_from_ml, say
from moulddesign.core.findings import SEPARATOR
from moulddesign.design.services import Process
from moulddesign.geometry import Mesh
from moulddesign.geometry.mending import in_float32
from moulddesign.kitchen.firmness import dough_yield, fill_force_n, squash_force_n
from moulddesign.mould import (
    PressLayout,
)
from moulddesign.mould.press import LOBE_RADIUS_MM
from moulddesign.pastry.pastry import Pastry
from moulddesign.pastry.variants import FurtherPastry
from moulddesign.relief.stamp_rim import stamp_rim
from moulddesign.verify import (
    press_checks,
    printing,
    walls,
)
from moulddesign.verify.face_checks import rim_findings
from moulddesign.verify.press_checks import Press
from moulddesign.verify.press_limits import PressSizes, press_limit_findings
from moulddesign.verify.printed_fit import stamp_fit_findings, stop_fit_findings
from moulddesign.verify.printed_press import FLARE_MM, PrintedPress
from moulddesign.verify.pull import pull_findings

Judge = partial[tuple[Finding, ...]]
"""Measures something of a build, beside others that do so at the same time."""


def press_judges(made: CheckInput, further: Sequence[FurtherPastry]) -> tuple[Judge, ...]:
    """Return what judges a press under its first stamp, each about as long as another."""
    press = _assembled(made)
    printed = _printed_press(made, press)
    return (
        partial(_press, made, press),
        partial(_strength, made, press, further),
        partial(stamp_fit_findings, printed),
        partial(stop_fit_findings, printed),
        *_pull(made, press.stamp),
        partial(_rim, made),
        *(() if made.design.printer.service is not None else (partial(_in_layers, made, press),)),
    )


def _in_layers(made: CheckInput, press: Press) -> tuple[Finding, ...]:
    """Judge what layers do to the stop, and the first one to bore and stamp."""
    layer_mm = made.design.printer.layer_height_mm
    return (
        _stop_in_layers(made, press),
        printing.bore_foot_finding(made.meshes["sleeve"], part="sleeve", layer_mm=layer_mm),
        _stamp_foot(made, "stamp"),
    )


def _stamp_foot(made: CheckInput, name: str) -> Finding:
    layer_mm = made.design.printer.layer_height_mm
    return printing.outer_foot_finding(made.meshes[name], part=name, layer_mm=layer_mm)


def _stop_in_layers(made: CheckInput, press: Press) -> Finding:
    """Judge what the stop's whole layers take from a piece, with the width that mends it."""
    weights, area_mm2 = made.figures, made.pastry.outline.area_mm2
    found = press_checks.stop_layers_finding(
        press,
        low_mm=weights.stop_low_mm(area_mm2) + _lower_stop_mm(made),
        area_mm2=area_mm2,
        density_g_per_ml=weights.piece.raw_g / weights.piece.volume_ml,
        piece_g=weights.piece.raw_g,
    )
    return with_remedy(found, lambda: width_for_stop(made.design, made.pastry))


def _lower_stop_mm(made: CheckInput) -> float:
    """Return how much lower a stop is drawn for what calipers showed of the prints [mm]."""
    kept = made.design.kept
    return 0.0 if kept is None or kept.press is None else kept.press.lower_stop_mm


def further_stamp_findings(made: CheckInput, one: FurtherPastry) -> tuple[Finding, ...]:
    """Judge a further stamp and its pastry as the first are judged."""
    own = _under(made, one)
    press = _assembled(own)
    found = (
        *piece_findings(own),
        *_press(own, press),
        *stamp_fit_findings(_printed_press(own, press)),
        *chain.from_iterable(judge() for judge in _pull(own, press.stamp)),
        *_rim(own),
        *relief_layer_findings(own),
    )
    return (
        *(replace(f, part=_nested(one.stamp_name, f.part)) for f in found),
        *(() if made.design.printer.service else (_stamp_foot(made, one.stamp_name),)),
    )


def _under(made: CheckInput, one: FurtherPastry) -> CheckInput:
    """Return what is checked of a press under a further stamp."""
    stamps = {f"stamp-{stamp.name}": stamp for stamp in made.design.further_stamps}
    return replace(
        made,
        design=made.design.under(stamps[one.stamp_name]),
        pastry=one.pastry,
        interior=one.interior,
        solid=made.meshes[one.pastry_name],
        stamp_name=one.stamp_name,
    )


def _nested(stamp: str, part: str) -> str:
    return f"{stamp}{SEPARATOR}{part}" if part else stamp


def _press(made: CheckInput, assembled: Press) -> tuple[Finding, ...]:
    """Judge the assembled press under a stamp, and the forces that its pastry takes."""
    layout = made.mould.layout
    assert isinstance(layout, PressLayout)  # noqa: S101 (the layout goes with the kind)
    return (
        *press_checks.press_findings(
            assembled,
            target_mm3=made.target_mm3,
            clearance_mm=layout.least_gap_mm,
            past_rim_mm=layout.past_rim_mm,
            width_mm=made.widest_mm,
        ),
        press_checks.stop_finding(
            assembled,
            target_mm3=made.target_mm3,
            area_mm2=made.pastry.outline.area_mm2,
            mean_mm3=made.target_mm3 + mm3_from_ml(made.figures.split.rounding_ml),
            sd_mm3=mm3_from_ml(made.figures.spread.all_volume_ml),
        ),
        *_forces(made)[0],
    )


def _strength(
    made: CheckInput, assembled: Press, further: Sequence[FurtherPastry]
) -> tuple[Finding, ...]:
    """Judge what bears under the largest force of any stamp: all stamps share these parts."""
    plastic, layout = made.design.printer.plastic, made.mould.layout
    assert isinstance(layout, PressLayout)  # noqa: S101 (the layout goes with the kind)
    force_n = max(_forces(one)[1] for one in (made, *(_under(made, each) for each in further)))
    pressure_mpa = walls.pressing_pressure_mpa(made.pastry.outline.area_mm2, force_n)

    def load_of(wall_mm: float) -> walls.Load:
        if made.pastry.outline.name == "round":
            return walls.thin_cylinder(
                pressure_mpa=pressure_mpa,
                radius_mm=(made.widest_mm + wall_mm) / 2.0,
                wall_mm=wall_mm,
                modulus_mpa=1000.0 * plastic.modulus_gpa,
            )
        # The widest side as a plate clamped at its edges, as high as the highest pastry.
        return walls.clamped_rectangle(
            pressure_mpa=pressure_mpa,
            sides_mm=(made.widest_mm, layout.highest_mm),
            wall_mm=wall_mm,
            modulus_mpa=1000.0 * plastic.modulus_gpa,
        )

    return (
        *press_limit_findings(
            _press_sizes(made, layout, stop_mm2=float(assembled.stop_top.area)),
            force_n=force_n,
            along_mpa=plastic.tensile_along_mpa,
            across_mpa=plastic.tensile_across_mpa,
            modulus_mpa=1000.0 * plastic.modulus_gpa,
        ),
        *walls.wall_strength_findings(
            load_of,
            wall_mm=layout.wall_mm,
            strength_mpa=plastic.tensile_across_mpa,
            clearance_mm=layout.clearance_mm,
        ),
    )


def _press_sizes(made: CheckInput, layout: PressLayout, *, stop_mm2: float) -> PressSizes:
    """Return what bears loads in a press."""
    joint, table, half_mm = layout.joint, layout.mould, made.widest_mm / 2.0
    vane_mm = half_mm - layout.clearance_mm
    return PressSizes(
        neck_width_mm=2.0 * joint.neck_mm,
        foot_length_mm=2.0 * joint.half_length_mm,
        foot_depth_mm=joint.foot_depth_mm,
        lug_root_mm=2.0 * joint.lug_mm + joint.waist_mm,
        lug_mm=joint.lug_mm,
        lug_held_mm=joint.lug_mm - joint.gap_mm,
        stem_radius_mm=joint.stem_radius_mm,
        disc_thickness_mm=table.disc_thickness_mm,
        disc_free_mm=half_mm + layout.stop_inside_mm,
        disc_reach_mm=half_mm + layout.disc_reach_mm,
        guide_mm=layout.guide_length_mm,
        vane_thickness_mm=table.vane_thickness_mm,
        vane_mm=vane_mm - joint.stem_radius_mm,
        vane_height_mm=layout.vane_top_mm - layout.back_mm,
        lobe_mm=table.lobe_mm,
        flange_beyond_disc_mm=layout.flange_reach_mm - layout.disc_reach_mm,
        lobe_width_mm=2.0 * LOBE_RADIUS_MM,
        flange_thickness_mm=table.flange_thickness_mm,
        stop_mm2=stop_mm2,
    )


def _forces(made: CheckInput) -> tuple[tuple[Finding, ...], float]:
    """Return whether a hand presses the piece flat and fills its relief, and the larger force [N].

    Force and yield stress go together, so the range of the one is that of the other.
    """
    dough = dough_yield(made.design.portion.crust_yield_kpa)
    area_mm2 = made.pastry.outline.area_mm2
    asked = {
        say("verify.hand-force"): squash_force_n(
            radius_mm=sqrt(area_mm2 / pi), height_mm=made.pastry.height_mm, yield_kpa=dough.kpa
        )
    }
    fill_n = [
        fill_force_n(
            area_mm2=area_mm2,
            depth_mm=abs(depth_mm),
            width_mm=_groove_width_mm(shape, made.pastry, raised=depth_mm > 0.0),
            yield_kpa=dough.kpa,
        )
        for shape, depth_mm in made.pastry.artwork
        if not shape.is_empty
    ]
    if fill_n:
        asked[say("verify.relief-fill-force")] = max(fill_n)
    least, most = dough.least_kpa / dough.kpa, dough.most_kpa / dough.kpa
    found = tuple(
        walls.force_finding(
            what, force_n=force_n, range_n=(least * force_n, most * force_n), tested=dough.measured
        )
        for what, force_n in asked.items()
    )
    return found, max(asked.values())


def _groove_width_mm(shape: MultiPolygon, pastry: Pastry, *, raised: bool) -> float:
    """Return the mean width of what dough has to fill: a strip's area over half its edge.

    Dough rises into the strokes of a raised relief, and into what lies between those of a sunk one.
    """
    if raised:
        return float(2.0 * shape.area / shape.length)
    face = pastry.outline.shape
    return float(2.0 * (face.area - shape.area) / (face.length + shape.length))


def _assembled(made: CheckInput) -> Press:
    """Return the press with the stamp that is judged, the plunger sitting in it."""
    sleeve, stamp, plunger, stop = (
        _in_float32(made.mould.part(name).mesh)
        for name in ("sleeve", made.stamp_name, "plunger", "stop")
    )
    return Press(sleeve=sleeve, stamp=stamp, plunger=plunger, stop=stop)


@lru_cache(maxsize=16)
def _in_float32(mesh: Mesh) -> Mesh:
    """Return a mesh in float32 numbers: one for all stamps, so that its layers are cut once."""
    return in_float32(mesh)


def _printed_press(made: CheckInput, press: Press) -> PrintedPress:
    """Return a press with what is known of how it is printed."""
    printer, layout = made.design.printer, made.mould.layout
    assert isinstance(layout, PressLayout)  # noqa: S101 (the layout goes with the kind)
    return PrintedPress(
        press=press,
        layer_mm=printer.layer_height_mm,
        error_mm=printer.proven_error_mm,
        is_measured=printer.print_error_mm is not None,
        is_ordered=printer.service is not None,
        flare_mm=FLARE_MM if printer.process in {None, Process.FFF} else 0.0,
        over_stop_mm=layout.stroke_mm - layout.stop_height_mm,
    )


def _rim(made: CheckInput) -> tuple[Finding, ...]:
    """Judge how a stamp ends at its rim under a carved face, with the land that mends it."""
    carved = made.pastry.carved
    if carved is None:
        return ()
    figures = rim_figures(stamp_rim(carved.stamp, carved.field))
    remedy = None if figures.is_good else wider_land(made.design, made.pastry.outline, carved.stamp)
    return rim_findings(figures, remedy)


def _pull(made: CheckInput, stamp: Mesh) -> tuple[Judge, ...]:
    """Return what judges whether the pastry leaves the stamp downwards."""
    if not made.pastry.relief and made.pastry.carved is None:
        return ()
    pulled = partial(
        pull_findings,
        say("building.pastry-from-stamp"),
        body=made.solid,
        tool=stamp,
        direction=(0.0, 0.0, -1.0),
        remedy=more_draft(made.design),
    )
    return (pulled,)
