"""What a build has to prove, kind by kind: the numbers of the design go to the checks."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from moulddesign.check import Press, peg_findings, press_findings, soundness, volume_finding
from moulddesign.check.block import block_findings
from moulddesign.check.cast import cast_findings, silicone
from moulddesign.check.crust import centre_findings, crust_findings
from moulddesign.check.foot import bore_foot_finding, outer_foot_finding
from moulddesign.check.lettering import lettering_finding
from moulddesign.check.printing import layers_finding, printing_findings
from moulddesign.check.pull import pull_findings
from moulddesign.check.strength import (
    clamped_rectangle,
    force_finding,
    pressing_pressure_mpa,
    thin_cylinder,
    wall_strength_findings,
)
from moulddesign.design import Design
from moulddesign.design.mould import Joint, Kind
from moulddesign.finding import Finding
from moulddesign.mesh import Mesh
from moulddesign.mould import CastLayout, Mould
from moulddesign.mould.lettered import texts
from moulddesign.pastry.pastry import Pastry
from moulddesign.portion import Portion
from moulddesign.reading import relief_findings
from moulddesign.settling import settled
from moulddesign.units import mm3_from_ml

LETTERED: Final = ("sleeve", "plunger", "block")
"""Parts that have a face to write on."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Evidence:
    """What was made of a design, for the checks to measure.

    Parameters
    ----------
    design : Design
        What was asked for.
    portion : Portion
        Masses and volumes.
    pastry : Pastry
        The pressed piece.
    crust_mm : float
        Uniform crust thickness [mm].
    mould : Mould
        The parts.
    meshes : mapping of str to Mesh
        What is written: parts as they lie on the bed, and the pastry.
    pastry_name : str
        Which of the meshes is the pastry.
    """

    design: Design
    portion: Portion
    pastry: Pastry
    crust_mm: float
    mould: Mould
    meshes: MappingProxyType[str, Mesh]
    pastry_name: str

    @property
    def target_mm3(self) -> float:
        """Volume asked for [mm^3]."""
        return mm3_from_ml(self.portion.volume_ml)

    @property
    def widest_mm(self) -> float:
        """Larger extent of the outline [mm]."""
        return max(self.pastry.outline.width_mm, self.pastry.outline.depth_mm)


def proven(made: Evidence) -> tuple[Finding, ...]:
    """Return all findings about a build, measured on the meshes that will be written.

    Parameters
    ----------
    made : Evidence
        What was made.

    Raises
    ------
    KernelError
        A mesh is not closed where a check needs it so.
    """
    return (
        *_piece(made),
        *KINDS[made.design.mould.kind](made),
        *_print(made),
        *(f for name, mesh in made.meshes.items() for f in soundness(mesh, name=name)),
        *_against_exact(made.mould),
        *_lettering(made),
    )


def _piece(made: Evidence) -> tuple[Finding, ...]:
    """Judge the pastry: volume, crust, centres, and whether its relief reads right."""
    solid, outline = made.meshes[made.pastry_name], made.pastry.outline
    centres = made.design.portion.centres
    return (
        volume_finding(
            name="pastry: volume",
            measured_mm3=solid.volume_mm3,
            target_mm3=made.target_mm3,
            source="the portion: masses over densities",
        ),
        *crust_findings(thickness_mm=made.crust_mm, deepest_sunk_mm=made.pastry.deepest_sunk_mm),
        *centre_findings(
            diameters_mm=[centre.diameter_mm for centre in centres for _ in range(centre.count)],
            crust_mm=made.crust_mm,
            width_mm=min(outline.width_mm, outline.depth_mm),
            height_mm=made.pastry.height_mm,
        ),
        *relief_findings(made.pastry, solid, line_mm=made.design.printer.line_width_mm),
    )


def _press(made: Evidence) -> tuple[Finding, ...]:
    """Judge the assembled press, and the wall of its sleeve under a hand's push."""
    table, plastic = made.design.mould, made.design.printer.plastic
    assembled = Press(**{part.name: settled(part.mesh) for part in made.mould.parts})
    found = press_findings(
        assembled,
        target_mm3=made.target_mm3,
        clearance_mm=table.clearance_mm,
        past_rim_mm=table.past_rim_mm,
        width_mm=made.widest_mm,
    )
    if table.joint is Joint.PEG:
        found += peg_findings(assembled, interference_asked_mm=table.peg_interference_mm)
    area_mm2 = made.pastry.outline.area_mm2
    pressure_mpa = pressing_pressure_mpa(area_mm2)
    if made.pastry.outline.name == "round":
        load = thin_cylinder(
            pressure_mpa=pressure_mpa,
            radius_mm=(made.widest_mm + table.wall_mm) / 2.0,
            wall_mm=table.wall_mm,
            modulus_mpa=1000.0 * plastic.modulus_gpa,
        )
    else:  # the widest side as a plate clamped at its edges, as high as the pastry
        load = clamped_rectangle(
            pressure_mpa=pressure_mpa,
            sides_mm=(made.widest_mm, made.pastry.height_mm),
            wall_mm=table.wall_mm,
            modulus_mpa=1000.0 * plastic.modulus_gpa,
        )
    return (
        *found,
        force_finding(area_mm2=area_mm2),
        *wall_strength_findings(
            load, strength_mpa=plastic.tensile_across_mpa, clearance_mm=table.clearance_mm
        ),
    )


def _pull(made: Evidence) -> tuple[Finding, ...]:
    """Judge whether the pastry leaves the stamp downwards."""
    if not made.pastry.relief:
        return ()
    return pull_findings(
        name="pastry from stamp",
        body=made.meshes[made.pastry_name],
        tool=settled(made.mould.part("stamp").mesh),
        direction=(0.0, 0.0, -1.0),
        least_draft_deg=min(part.draft_deg for part in made.pastry.relief),
    )


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
    return (
        *cast_findings(
            master,
            pastry_mm3=grown * made.target_mm3 / (1.0 - table.silicone_shrink) ** 3,
            count=table.cavities,
            silicone_mm3=grown * layout.silicone_mm3,
        ),
        *pull_findings(
            name="silicone from tray",
            body=silicone(master),
            tool=master,
            direction=(0.0, 0.0, 1.0),
            least_draft_deg=min([made.pastry.side_draft_deg, table.tray_draft_deg, *drafts]),
        ),
    )


def _pressed(made: Evidence) -> tuple[Finding, ...]:
    layer_mm = made.design.printer.layer_height_mm
    return (
        *_press(made),
        *_pull(made),
        bore_foot_finding(made.meshes["sleeve"], name="sleeve", layer_mm=layer_mm),
        outer_foot_finding(made.meshes["stamp"], name="stamp", layer_mm=layer_mm),
    )


def _print(made: Evidence) -> tuple[Finding, ...]:
    """Judge each part as it lies on the bed."""
    printer = made.design.printer
    parts = tuple(
        found
        for part in made.mould.parts
        for found in printing_findings(
            made.meshes[part.name],
            name=part.name,
            bed_mm=printer.bed_mm,
            line_mm=printer.line_width_mm,
            layer_mm=printer.layer_height_mm,
        )
    )
    depths = [abs(part.depth_mm) for part in made.pastry.relief]
    if not depths:
        return parts
    return (*parts, layers_finding(depth_mm=min(depths), layer_mm=printer.layer_height_mm))


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
    {Kind.PRESS: _pressed, Kind.BLOCK: _block, Kind.CAST: _cast}
)
"""What is judged of each kind of mould beside what is judged of all."""
