"""What is checked of each kind of mould: the numbers of the design go to `verify`."""

from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from itertools import chain
from typing import Final

import numpy as np

from moulddesign.building.piece_findings import (
    CheckInput,
    asked_depth_findings,
    relief_layer_findings,
    side_band_findings,
    with_remedy,
)
from moulddesign.building.press_findings import Judge, further_stamp_findings, press_judges
from moulddesign.building.remedies import RIBS_DEG, more_draft
from moulddesign.core import Finding, say, source_of
from moulddesign.core.concurrency import Submit, deferred
from moulddesign.design import BlockTable, CastTable, OwnTable, PressTable
from moulddesign.design.services import Process
from moulddesign.geometry import Mesh
from moulddesign.geometry.mending import in_float32
from moulddesign.mould import (
    BlockLayout,
    CastLayout,
    Mould,
    Part,
    not_food_inscription,
    wanted_lettering,
)
from moulddesign.mould.cast import VENT_MM
from moulddesign.pastry.variants import FurtherPastry
from moulddesign.verify import (
    block_checks,
    block_limits,
    printing,
    walls,
)
from moulddesign.verify.pull import SILICONE_DEG, pull_findings
from moulddesign.verify.soundness import soundness, volume_finding, volume_mm3

LETTERED: Final = ("sleeve", "plunger", "stop", "block")
"""Parts that have a face to write on."""


OF_MESHES: Final = (pull_findings, soundness)
"""What takes a while and meshes alone, which can be sent to another process."""


def begin_findings(
    made: CheckInput, further: Sequence[FurtherPastry] = (), submit: Submit = deferred
) -> Callable[[], tuple[Finding, ...]]:
    """Return what finds all of a build beside its first piece, on the meshes that will be written.

    `piece_findings` judges that piece, which is there before its mould. What takes a while and
    needs nothing else is handed on at once.
    """
    judges: list[Judge] = [
        *_kind_judges(made, further),
        *(partial(_printed, made, part.name) for part in made.mould.parts),
        partial(relief_layer_findings, made),
        partial(asked_depth_findings, made.design),
        partial(side_band_findings, made.design),
        partial(_as_printed, made),
        *(partial(soundness, mesh, part=name) for name, mesh in made.meshes.items()),
        partial(_lettering, made),
    ]
    judges += [partial(further_stamp_findings, made, one) for one in further]
    there = iter(submit([judge for judge in judges if judge.func in OF_MESHES]))
    return partial(
        _found, [(judge, next(there) if judge.func in OF_MESHES else None) for judge in judges]
    )


def _found(
    judges: Sequence[tuple[Judge, Callable[[], tuple[Finding, ...]] | None]],
) -> tuple[Finding, ...]:
    """Return all findings in order, those that another process was given as they come."""
    # One thread, beside that of the piece's checks: a second one takes more work and no less time.
    with ThreadPoolExecutor(1) as pool:
        waits = [pool.submit(judge).result if wait is None else wait for judge, wait in judges]
        return tuple(chain.from_iterable(wait() for wait in waits))


def _kind_judges(made: CheckInput, further: Sequence[FurtherPastry]) -> tuple[Judge, ...]:
    """Return what judges what only this kind of mould has to show."""
    match made.design.mould:
        case PressTable():
            return press_judges(made, further)
        case BlockTable():
            return (partial(_block, made),)
        case CastTable() as table:
            return (partial(_cast, made, table),)
        case OwnTable():  # none was made
            return ()


def _block(made: CheckInput) -> tuple[Finding, ...]:
    """Judge what the cavities of a block hold, and whether the pastry falls out of them."""
    layout, parts = made.mould.layout, made.mould.parts
    assert isinstance(layout, BlockLayout)  # noqa: S101 (the layout goes with the kind)
    return (
        *chain.from_iterable(
            _plate(made, part, plate) for part, plate in zip(parts, layout.plates, strict=True)
        ),
        *pull_findings(
            say("building.pastry-from-block"),
            body=made.solid,
            tool=in_float32(parts[0].mesh),
            direction=(0.0, 0.0, -1.0),
            remedy=more_draft(made.design),
        ),
    )


def _plate(made: CheckInput, part: Part, layout: BlockLayout) -> tuple[Finding, ...]:
    """Judge the cavities of one block, and what it bears."""
    mesh = made.meshes[part.name]
    vents = _vents(part, layout.vents_mm, layout.vent_level_mm, layout.mould.vent_mm)
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
        land_mm=mould.land_mm,
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
            limits_deg=SILICONE_DEG,
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
    """Judge a part as it lies on the bed, or as a service makes it."""
    printer = made.design.printer
    if printer.service is not None:
        least_mm, mesh = printer.service.least_wall_mm, made.meshes[name]
        wall = walls.ordered_wall_finding(mesh, part=name, least_mm=least_mm)
        if printer.process in {Process.RESIN, Process.POWDER}:
            return (wall,)  # what lies in powder or resin is the service's to support
        layer_mm = printer.layer_height_mm
        hanging = printing.overhang_findings(mesh, part=name, line_mm=least_mm, layer_mm=layer_mm)
        return (wall, *hanging)
    found = printing.printing_findings(
        made.meshes[name],
        part=name,
        bed_mm=printer.bed_mm,
        line_mm=printer.line_width_mm,
        layer_mm=printer.layer_height_mm,
        shrink=printer.plastic.shrink,
    )
    return tuple(_with_draft_for_ribs(made, one) for one in found)


def _with_draft_for_ribs(made: CheckInput, found: Finding) -> Finding:
    """Return a finding with the draft from which a face's ribs are wedges and no thin walls."""
    is_upright = made.design.relief.draft_deg < RIBS_DEG
    if found.id != "verify.thinnest-wall" or made.pastry.carved is None or not is_upright:
        return found
    return with_remedy(found, lambda: say("building.draft-for-ribs", draft_deg=RIBS_DEG))


def _as_printed(made: CheckInput) -> tuple[Finding, ...]:
    """Return the volume of the piece as its mould will print."""
    printer = made.design.printer
    found = printing.as_printed_finding(
        part="pastry",
        target_mm3=made.target_mm3,
        ratio=printer.printed_ratio,
        percent=printer.slicer_percent,
        material=(printer.material, source_of(printer.plastic.source)),
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
    if isinstance(table, OwnTable) or not table.lettering:
        return ()
    return tuple(
        printing.lettering_finding(
            part=part.name,
            written=part.lettering,
            wanted=wanted_lettering(made.design, made.mould, part.name),
        )
        for part in made.mould.parts
        if part.name.partition("-")[0] in LETTERED
    )


def exact_findings(mould: Mould, file: str, exact_mm3: float) -> tuple[Finding, ...]:
    """Return whether the mesh of a part has the volume of the exact body in its file [mm^3]."""
    return tuple(
        volume_finding(
            say("building.mesh-against-exact"),
            part=part.name,
            measured_mm3=volume_mm3(part.mesh if part.plain is None else part.plain),
            target_mm3=exact_mm3,
            source=say("building.kernels-volume"),
        )
        for part in mould.parts
        if file == f"{part.name}.step" and part.solid is not None
    )
