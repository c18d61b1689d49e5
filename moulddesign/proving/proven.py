"""All that a build has to prove."""

import os
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from itertools import chain
from types import MappingProxyType
from typing import Final

from moulddesign.check import soundness, volume_finding
from moulddesign.check.block import block_findings
from moulddesign.check.cast import cast_findings, silicone, tray
from moulddesign.check.lettering import lettering_finding
from moulddesign.check.printing import printing_findings
from moulddesign.check.pull import pull_findings
from moulddesign.design.mould import Kind
from moulddesign.finding import Finding
from moulddesign.mould import CastLayout, Mould
from moulddesign.mould.lettered import texts
from moulddesign.pastry.further import Further
from moulddesign.proving.evidence import Evidence
from moulddesign.proving.piece import piece_findings, relief_layers
from moulddesign.proving.press import pressed, under_further
from moulddesign.settling import settled

LETTERED: Final = ("sleeve", "plunger", "block")
"""Parts that have a face to write on."""


def proven(made: Evidence, further: Sequence[Further] = ()) -> tuple[Finding, ...]:
    """Return all findings about a build, measured on the meshes that will be written.

    Parameters
    ----------
    made : Evidence
        What was made.
    further : sequence of Further
        Pastries under further stamps.

    Raises
    ------
    KernelError
        A mesh is not closed where a check needs it so.
    """
    # Much of a check is numpy's or GEOS's own work, which lets the other cores go on meanwhile.
    judges: list[Callable[[], tuple[Finding, ...]]] = [
        partial(piece_findings, made),
        partial(KINDS[made.design.mould.kind], made),
        *(partial(_printed, made, part.name) for part in made.mould.parts),
        partial(relief_layers, made),
        *(partial(soundness, mesh, name=name) for name, mesh in made.meshes.items()),
        partial(_against_exact, made.mould),
        partial(_lettering, made),
        *(partial(under_further, made, one) for one in further),
    ]
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        return tuple(chain.from_iterable(pool.map(lambda judge: judge(), judges)))


def _block(made: Evidence) -> tuple[Finding, ...]:
    """Judge what the cavities of a block hold, and whether the pastry falls out of them."""
    part = made.mould.part("block")
    drafts = [part.draft_deg for part in made.pastry.relief]
    return (
        *block_findings(
            made.meshes["block"],
            target_mm3=part.pose.scale**3 * made.target_mm3,
            count=made.design.mould.cavities,
        ),
        *pull_findings(
            name="pastry from block",
            body=made.meshes[made.pastry_name],
            tool=settled(part.mesh),
            direction=(0.0, 0.0, -1.0),
            least_draft_deg=min([made.pastry.side_draft_deg, *drafts]),
        ),
    )


def _cast(made: Evidence) -> tuple[Finding, ...]:
    """Judge the pastries in a tray, the silicone over them, and whether it comes out."""
    master, table, layout = made.meshes["master"], made.design.mould, made.mould.layout
    assert isinstance(layout, CastLayout)  # noqa: S101 (the layout goes with the kind)
    grown = made.mould.part("master").pose.scale ** 3
    drafts = [part.draft_deg for part in made.pastry.relief]
    held = tray(master)
    return (
        *cast_findings(
            master,
            held,
            pastry_mm3=grown * made.target_mm3 / (1.0 - table.silicone_shrink) ** 3,
            count=table.cavities,
            silicone_mm3=grown * layout.silicone_mm3,
        ),
        *pull_findings(
            name="silicone from tray",
            body=silicone(master, held),
            tool=master,
            direction=(0.0, 0.0, 1.0),
            least_draft_deg=min([made.pastry.side_draft_deg, table.tray_draft_deg, *drafts]),
        ),
    )


def _printed(made: Evidence, name: str) -> tuple[Finding, ...]:
    """Judge a part as it lies on the bed."""
    printer = made.design.printer
    return printing_findings(
        made.meshes[name],
        name=name,
        bed_mm=printer.bed_mm,
        line_mm=printer.line_width_mm,
        layer_mm=printer.layer_height_mm,
    )


def _lettering(made: Evidence) -> tuple[Finding, ...]:
    """Say what is written on the parts that have a face for it."""
    wanted = texts(made.design)
    return tuple(
        lettering_finding(name=part.name, written=part.lettering, wanted=wanted)
        for part in made.mould.parts
        if made.design.mould.lettering and part.name in LETTERED
    )


def _against_exact(mould: Mould) -> tuple[Finding, ...]:
    return tuple(
        volume_finding(
            name=f"{part.name}: mesh against exact surfaces",
            measured_mm3=(part.mesh if part.plain is None else part.plain).volume_mm3,
            target_mm3=part.solid.volume_mm3,
            source="the CAD kernel's volume of the same body",
        )
        for part in mould.parts
        if part.solid is not None
    )


KINDS: Final[Mapping[Kind, Callable[[Evidence], tuple[Finding, ...]]]] = MappingProxyType(
    {Kind.PRESS: pressed, Kind.BLOCK: _block, Kind.CAST: _cast}
)
"""What is judged of each kind of mould beside what is judged of all."""
