"""What is checked of each kind of mould: the numbers of the design go to `verify`."""

import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import lru_cache, partial
from itertools import chain
from math import pi, sqrt
from types import MappingProxyType
from typing import Final

import numpy as np
from shapely import MultiPolygon

from moulddesign.artwork.legibility import least_gap_mm, least_stroke_mm
from moulddesign.building.remedies import (
    lighter_centre,
    room_for_centres,
    shallower_relief,
    thicker_crust,
)
from moulddesign.core import Finding, Message, Verdict, mm3_from_ml, say
from moulddesign.core.findings import SEPARATOR
from moulddesign.design import BlockTable, CastTable, Design, PressTable, Profile
from moulddesign.geometry import Mesh, section_region
from moulddesign.geometry.mending import in_float32
from moulddesign.kitchen.firmness import dough_yield, fill_force_n, squash_force_n
from moulddesign.mould import (
    BlockLayout,
    CastLayout,
    Mould,
    Part,
    PressLayout,
    not_food_inscription,
    wanted_lettering,
)
from moulddesign.mould.cast import VENT_MM
from moulddesign.mould.press import LOBE_RADIUS_MM
from moulddesign.pastry.interior import Interior
from moulddesign.pastry.pastry import Pastry
from moulddesign.pastry.variants import FurtherPastry
from moulddesign.portion import Figures
from moulddesign.verify import (
    block_checks,
    block_limits,
    piece_checks,
    press_checks,
    printing,
    walls,
)
from moulddesign.verify.press_checks import Press
from moulddesign.verify.press_limits import PressSizes, press_limit_findings
from moulddesign.verify.printed_fit import printed_fit_findings, stamp_fit_findings
from moulddesign.verify.printed_press import PrintedPress
from moulddesign.verify.pull import pull_findings
from moulddesign.verify.soundness import soundness, volume_finding, volume_mm3


def relief_findings(pastry: Pastry, solid: Mesh, *, line_mm: float) -> tuple[Finding, ...]:
    """Return what is found of a pastry's relief."""
    return (
        *(
            piece_checks.reading_finding(
                solid, artwork=shape, flat_mm=pastry.height_mm, depth_mm=depth
            )
            for shape, depth in pastry.artwork
        ),
        *_widths(pastry, line_mm),
        *(
            piece_checks.full_depth_finding(
                solid, flat_mm=pastry.height_mm, depth_mm=part.depth_mm, artwork_mm2=part.shape.area
            )
            for part in pastry.relief
            if part.profile is Profile.FLAT
        ),
    )


RAISED_WIDTHS: Final = say("building.thinnest-raised-stroke"), say("building.thinnest-raised-gap")
SUNK_WIDTHS: Final = say("building.thinnest-sunk-stroke"), say("building.thinnest-sunk-gap")
"""What is found of the strokes and of the gaps of a relief."""


def _widths(pastry: Pastry, line_mm: float) -> Iterator[Finding]:
    """Yield whether strokes and gaps can be printed and filled."""
    for shape, depth_mm in pastry.artwork:
        raised = depth_mm > 0.0
        limits = piece_checks.least_widths_mm(line_mm=line_mm, raised=raised)
        for what, search, limit_mm in zip(
            RAISED_WIDTHS if raised else SUNK_WIDTHS,
            (least_stroke_mm, least_gap_mm),
            limits,
            strict=True,
        ):
            thin = search(shape, below_mm=limit_mm)
            place = None if thin is None else (thin.width_mm, thin.x_mm, thin.y_mm)
            yield piece_checks.width_finding(what, thinnest=place, limit_mm=limit_mm)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CheckInput:
    """What was made of a design, for the checks to measure."""

    design: Design
    figures: Figures
    pastry: Pastry
    interior: Interior
    mould: Mould
    meshes: MappingProxyType[str, Mesh]
    """What is written: parts as they lie on the bed, and the pastry."""
    pastry_name: str
    """Which of the meshes is the pastry."""
    stamp_name: str = "stamp"
    """Which of the parts is its stamp, in a press."""

    @property
    def target_mm3(self) -> float:
        """Volume asked for [mm^3]."""
        return mm3_from_ml(self.figures.piece.volume_ml)

    @property
    def widest_mm(self) -> float:
        """Larger extent of the outline [mm]."""
        return max(self.pastry.outline.width_mm, self.pastry.outline.depth_mm)


def piece_findings(made: CheckInput) -> tuple[Finding, ...]:
    """Judge the pastry: volume, crust, centres, and whether its relief reads right."""
    solid = made.meshes[made.pastry_name]
    return (
        volume_finding(
            say("building.volume"),
            part="pastry",
            measured_mm3=volume_mm3(solid),
            target_mm3=made.target_mm3,
            source=say("building.portion"),
        ),
        *_crust_findings(made),
        *_centre_findings(made),
        *relief_findings(made.pastry, solid, line_mm=made.design.printer.line_width_mm),
    )


def _crust_findings(made: CheckInput) -> Iterator[Finding]:
    """Yield whether the crust holds, with the least change where it does not."""
    if not made.interior.is_filled:
        return
    thick, *sunk = piece_checks.crust_findings(
        thickness_mm=made.interior.crust_mm, deepest_sunk_mm=made.pastry.deepest_sunk_mm
    )
    yield _with_remedy(thick, lambda: thicker_crust(made.design, made.interior, made.figures.piece))
    for found in sunk:
        yield _with_remedy(found, lambda: shallower_relief(made.design, made.interior))


def _centre_findings(made: CheckInput) -> Iterator[Finding]:
    """Yield whether the centres have room, and paste beside them."""
    design, inside, weights = made.design, made.interior, made.figures
    if inside.centres:
        found = piece_checks.centre_finding(
            least_paste_mm=inside.least_paste_mm, least_rigid_mm=inside.least_rigid_mm
        )
        yield _with_remedy(found, lambda: room_for_centres(design, inside))
    if weights.together:
        found = piece_checks.paste_finding(least_paste_g=weights.split.paste_range_g[0])
        yield _with_remedy(found, lambda: lighter_centre(design, weights))


def _with_remedy(found: Finding, remedy: Callable[[], Message | None]) -> Finding:
    """Return a finding with what mends it, which is sought only where it is not good."""
    return found if found.verdict is Verdict.GOOD else replace(found, remedy=remedy())


def relief_layer_findings(made: CheckInput) -> tuple[Finding, ...]:
    """Judge whether the layers draw the shallowest of the relief."""
    depths = [abs(part.depth_mm) for part in made.pastry.relief]
    if not depths:
        return ()
    layer_mm = made.design.printer.layer_height_mm
    return (printing.layers_finding(depth_mm=min(depths), layer_mm=layer_mm),)


def first_stamp_findings(made: CheckInput, table: PressTable) -> tuple[Finding, ...]:
    """Judge a press under its first stamp."""
    layer_mm = made.design.printer.layer_height_mm
    press = _assembled(made)
    return (
        *_press(made, table, press),
        *printed_fit_findings(_printed_press(made, press)),
        *_pull(made, press.stamp),
        printing.bore_foot_finding(made.meshes["sleeve"], part="sleeve", layer_mm=layer_mm),
        printing.outer_foot_finding(made.meshes["stamp"], part="stamp", layer_mm=layer_mm),
    )


def further_stamp_findings(
    made: CheckInput, table: PressTable, one: FurtherPastry
) -> tuple[Finding, ...]:
    """Judge a further stamp and its pastry as the first are judged."""
    own = replace(
        made,
        pastry=one.pastry,
        interior=one.interior,
        pastry_name=one.pastry_name,
        stamp_name=one.stamp_name,
    )
    press = _assembled(own)
    found = (
        *piece_findings(own),
        *_press(own, table, press),
        *stamp_fit_findings(_printed_press(own, press)),
        *_pull(own, press.stamp),
        *relief_layer_findings(own),
    )
    return (
        *(replace(f, part=_nested(one.stamp_name, f.part)) for f in found),
        printing.outer_foot_finding(
            made.meshes[one.stamp_name],
            part=one.stamp_name,
            layer_mm=made.design.printer.layer_height_mm,
        ),
    )


def _nested(stamp: str, part: str) -> str:
    return f"{stamp}{SEPARATOR}{part}" if part else stamp


def _press(made: CheckInput, table: PressTable, assembled: Press) -> tuple[Finding, ...]:
    """Judge the assembled press, and the wall of its sleeve under a hand's push."""
    plastic = made.design.printer.plastic
    layout = made.mould.layout
    assert isinstance(layout, PressLayout)  # noqa: S101 (the layout goes with the kind)
    area_mm2 = made.pastry.outline.area_mm2
    found = (
        *press_checks.press_findings(
            assembled,
            target_mm3=made.target_mm3,
            clearance_mm=layout.clearance_mm,
            past_rim_mm=table.past_rim_mm,
            width_mm=made.widest_mm,
        ),
        press_checks.stop_finding(
            assembled,
            target_mm3=made.target_mm3,
            area_mm2=area_mm2,
            mean_mm3=made.target_mm3 + mm3_from_ml(made.figures.split.rounding_ml),
            sd_mm3=mm3_from_ml(made.figures.spread.all_volume_ml),
        ),
    )
    forces, force_n = _forces(made)
    pressure_mpa = walls.pressing_pressure_mpa(area_mm2, force_n)
    if made.pastry.outline.name == "round":
        load = walls.thin_cylinder(
            pressure_mpa=pressure_mpa,
            radius_mm=(made.widest_mm + table.wall_mm) / 2.0,
            wall_mm=table.wall_mm,
            modulus_mpa=1000.0 * plastic.modulus_gpa,
        )
    else:  # the widest side as a plate clamped at its edges, as high as the pastry
        load = walls.clamped_rectangle(
            pressure_mpa=pressure_mpa,
            sides_mm=(made.widest_mm, made.pastry.height_mm),
            wall_mm=table.wall_mm,
            modulus_mpa=1000.0 * plastic.modulus_gpa,
        )
    return (
        *found,
        *forces,
        *press_limit_findings(
            _press_sizes(made, layout),
            force_n=force_n,
            along_mpa=plastic.tensile_along_mpa,
            across_mpa=plastic.tensile_across_mpa,
            modulus_mpa=1000.0 * plastic.modulus_gpa,
        ),
        *walls.wall_strength_findings(
            load, strength_mpa=plastic.tensile_across_mpa, clearance_mm=layout.clearance_mm
        ),
    )


def _press_sizes(made: CheckInput, layout: PressLayout) -> PressSizes:
    """Return what bears loads in a press."""
    joint, table, half_mm = layout.joint, layout.mould, made.widest_mm / 2.0
    vane_mm = half_mm - layout.clearance_mm
    stop = made.mould.part("stop").mesh
    top = section_region(stop, stop.bounds[1, 2] - 0.01, say("verify.stops-top"))
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
        lobe_mm=max(table.lobe_mm - (layout.flange_reach_mm - layout.disc_reach_mm), 0.0),
        lobe_width_mm=2.0 * LOBE_RADIUS_MM,
        flange_thickness_mm=table.flange_thickness_mm,
        stop_mm2=float(top.area),
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
        over_stop_mm=layout.stroke_mm - layout.stop_height_mm,
    )


def _pull(made: CheckInput, stamp: Mesh) -> tuple[Finding, ...]:
    """Judge whether the pastry leaves the stamp downwards."""
    if not made.pastry.relief:
        return ()
    return pull_findings(
        say("building.pastry-from-stamp"),
        body=made.meshes[made.pastry_name],
        tool=stamp,
        direction=(0.0, 0.0, -1.0),
        least_draft_deg=min(part.draft_deg for part in made.pastry.relief),
    )


LETTERED: Final = ("sleeve", "plunger", "stop", "block")
"""Parts that have a face to write on."""


def build_findings(made: CheckInput, further: Sequence[FurtherPastry] = ()) -> tuple[Finding, ...]:
    """Return all findings about a build, measured on the meshes that will be written."""
    # Much of a check is numpy's or GEOS's own work, which lets the other cores go on meanwhile.
    judges: list[Callable[[], tuple[Finding, ...]]] = [
        partial(piece_findings, made),
        partial(_kind_findings, made),
        *(partial(_printed, made, part.name) for part in made.mould.parts),
        partial(relief_layer_findings, made),
        partial(_as_printed, made),
        *(partial(soundness, mesh, part=name) for name, mesh in made.meshes.items()),
        partial(_against_exact, made.mould),
        partial(_lettering, made),
    ]
    table = made.design.mould
    if isinstance(table, PressTable):
        judges += [partial(further_stamp_findings, made, table, one) for one in further]
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        return tuple(chain.from_iterable(pool.map(lambda judge: judge(), judges)))


def _kind_findings(made: CheckInput) -> tuple[Finding, ...]:
    """Judge what only this kind of mould has to show."""
    match made.design.mould:
        case PressTable() as table:
            return first_stamp_findings(made, table)
        case BlockTable():
            return _block(made)
        case CastTable() as table:
            return _cast(made, table)


def _block(made: CheckInput) -> tuple[Finding, ...]:
    """Judge what the cavities of a block hold, and whether the pastry falls out of them."""
    layout, parts = made.mould.layout, made.mould.parts
    assert isinstance(layout, BlockLayout)  # noqa: S101 (the layout goes with the kind)
    drafts = [part.draft_deg for part in made.pastry.relief]
    pulled = pull_findings(
        say("building.pastry-from-block"),
        body=made.meshes[made.pastry_name],
        tool=in_float32(parts[0].mesh),
        direction=(0.0, 0.0, -1.0),
        least_draft_deg=min([made.pastry.side_draft_deg, *drafts]),
    )
    least_deg = pulled[0].measured
    return (
        *chain.from_iterable(
            _plate(made, part, plate) for part, plate in zip(parts, layout.plates, strict=True)
        ),
        *pulled,
        *(
            block_limits.side_draft_finding(least_deg, part=part.name)
            for part in parts[:1]
            if isinstance(least_deg, float)
        ),
    )


def _plate(made: CheckInput, part: Part, layout: BlockLayout) -> tuple[Finding, ...]:
    """Judge the cavities of one block, and what it bears."""
    mesh = made.meshes[part.name]
    vents = _vents(part, layout.vents_mm, layout.height_mm, layout.mould.vent_mm)
    held = block_checks.block_findings(
        block_checks.closed(mesh, vents),
        part=part.name,
        target_mm3=part.pose.scale**3 * made.target_mm3,
        count=layout.grid.count,
    )
    return (*held, *_vent_findings(mesh, vents, part.name), *_block_limits(made, part, layout))


def _block_limits(made: CheckInput, part: Part, layout: BlockLayout) -> Iterator[Finding]:
    """Yield whether floor, rim and handle of a struck block hold, and knuckles have room."""
    mould, plastic = layout.mould, made.design.printer.plastic
    outline, across_mpa = made.pastry.outline, plastic.tensile_across_mpa
    yield block_limits.floor_finding(
        floor_mm=mould.floor_mm,
        sides_mm=(outline.width_mm - 2.0 * layout.run_mm, outline.depth_mm - 2.0 * layout.run_mm),
        is_round=outline.name == "round",
        strength_mpa=across_mpa,
        part=part.name,
    )
    places = [part.pose.of_point((x, y, layout.height_mm)) for x, y in layout.grid.centres_mm]
    yield block_limits.rim_finding(
        made.meshes[part.name],
        places_mm=tuple((x, y) for x, y, _ in places),
        floor_mm=places[0][2] + part.pose.scale * made.pastry.depth_below_mm,
        strength_mpa=across_mpa,
        part=part.name,
    )
    if not mould.handle_length_mm:
        return
    thickness_mm = layout.handle_thickness_mm
    yield block_limits.handle_finding(
        length_mm=mould.handle_length_mm,
        width_mm=mould.handle_width_mm,
        thickness_mm=thickness_mm,
        strength_mpa=plastic.tensile_along_mpa,
        part=part.name,
    )
    yield block_limits.knuckles_finding(layout.thickness_mm - thickness_mm, part=part.name)


def _vents(
    part: Part, places_mm: Sequence[tuple[float, float]], floor_mm: float, diameter_mm: float
) -> block_checks.Vents:
    """Return a part's vents as they lie on the bed; `floor_mm` is the floor in the assembly."""
    _, _, z = part.pose.of_point((0.0, 0.0, floor_mm))
    return block_checks.Vents(
        places_mm=tuple(part.pose.of_point((x, y, floor_mm))[:2] for x, y in places_mm),
        floor_mm=float(np.float32(z)),
        diameter_mm=part.pose.scale * diameter_mm,
    )


def _vent_findings(mesh: Mesh, vents: block_checks.Vents, part: str) -> tuple[Finding, ...]:
    if not vents.diameter_mm:
        return ()
    return (block_checks.vent_finding(mesh, vents, name=part),)


def _cast(made: CheckInput, table: CastTable) -> tuple[Finding, ...]:
    """Judge the pastries in a tray, the silicone over them, and whether it comes out."""
    master, layout = made.meshes["master"], made.mould.layout
    assert isinstance(layout, CastLayout)  # noqa: S101 (the layout goes with the kind)
    scale = made.mould.part("master").pose.scale
    grown = scale**3
    drafts = [part.draft_deg for part in made.pastry.relief]
    part = made.mould.part("master")
    vents = _vents(part, layout.vents_mm, 0.0, VENT_MM)
    closed = block_checks.closed(master, vents)
    held = block_checks.tray(closed)
    return (
        *block_checks.cast_findings(
            closed,
            held,
            pastry_mm3=grown * made.target_mm3 / (1.0 - table.silicone_shrink) ** 3,
            count=table.cavities,
            silicone_mm3=grown * layout.silicone_mm3,
            lettering_mm=scale * layout.lettering_depth_mm,
        ),
        *pull_findings(
            say("building.silicone-from-tray"),
            body=block_checks.silicone(closed, held),
            tool=master,
            direction=(0.0, 0.0, 1.0),
            least_draft_deg=min([made.pastry.side_draft_deg, table.tray_draft_deg, *drafts]),
        ),
        *_vent_findings(master, vents, "master"),
        block_limits.tray_wall_finding(
            wall_mm=table.wall_mm,
            sides_mm=_longest_side_mm(layout),
            strength_mpa=made.design.printer.plastic.tensile_across_mpa,
        ),
    )


def _longest_side_mm(layout: CastLayout) -> tuple[float, float]:
    """Return the length of a tray's longest side, inside, and its height [mm]."""
    (x0, y0), (x1, y1) = layout.inside_mm
    return max(x1 - x0, y1 - y0), layout.brim_mm


def _printed(made: CheckInput, name: str) -> tuple[Finding, ...]:
    """Judge a part as it lies on the bed."""
    printer = made.design.printer
    return printing.printing_findings(
        made.meshes[name],
        part=name,
        bed_mm=printer.bed_mm,
        line_mm=printer.line_width_mm,
        layer_mm=printer.layer_height_mm,
        shrink=printer.plastic.shrink,
    )


def _as_printed(made: CheckInput) -> tuple[Finding, ...]:
    """Return the volume of the piece as its mould will print."""
    printer = made.design.printer
    found = printing.as_printed_finding(
        part="pastry",
        target_mm3=made.target_mm3,
        ratio=printer.printed_ratio,
        percent=printer.slicer_percent,
        material=(printer.material, printer.plastic.source),
    )
    return (found,)


def _lettering(made: CheckInput) -> tuple[Finding, ...]:
    """Say what is written on the parts that have a face for it."""
    table = made.design.mould
    if isinstance(table, CastTable):
        text, (master,) = not_food_inscription(made.design), made.mould.parts
        if text is None:
            return ()
        return (
            printing.lettering_finding(part=master.name, written=master.lettering, wanted=[text]),
        )
    if not table.lettering:
        return ()
    return tuple(
        printing.lettering_finding(
            part=part.name,
            written=part.lettering,
            wanted=wanted_lettering(made.design, made.mould, part.name),
        )
        for part in made.mould.parts
        if part.name in LETTERED
    )


def _against_exact(mould: Mould) -> tuple[Finding, ...]:
    return tuple(
        volume_finding(
            say("building.mesh-against-exact"),
            part=part.name,
            measured_mm3=volume_mm3(part.mesh if part.plain is None else part.plain),
            target_mm3=part.solid.volume_mm3,
            source=say("building.kernels-volume"),
        )
        for part in mould.parts
        if part.solid is not None
    )
