"""What a press has to prove, under its first stamp and under every further one."""

from dataclasses import replace

from moulddesign.check import Press, peg_findings, press_findings
from moulddesign.check.foot import bore_foot_finding, outer_foot_finding
from moulddesign.check.pull import pull_findings
from moulddesign.check.rings import ring_finding
from moulddesign.check.strength import (
    clamped_rectangle,
    force_finding,
    pressing_pressure_mpa,
    thin_cylinder,
    wall_strength_findings,
)
from moulddesign.design.mould import Joint
from moulddesign.finding import Finding
from moulddesign.mesh import Mesh
from moulddesign.pastry.further import Further
from moulddesign.proving.evidence import Evidence
from moulddesign.proving.piece import piece_findings, relief_layers
from moulddesign.settling import settled


def pressed(made: Evidence) -> tuple[Finding, ...]:
    """Judge a press under its first stamp.

    Parameters
    ----------
    made : Evidence
        What was made.

    Raises
    ------
    KernelError
        A mesh is not closed.
    """
    layer_mm = made.design.printer.layer_height_mm
    press = _assembled(made)
    return (
        *_press(made, press),
        *_pull(made, press.stamp),
        bore_foot_finding(made.meshes["sleeve"], name="sleeve", layer_mm=layer_mm),
        outer_foot_finding(made.meshes["stamp"], name="stamp", layer_mm=layer_mm),
    )


def under_further(made: Evidence, one: Further) -> tuple[Finding, ...]:
    """Judge a further stamp and its pastry as the first are judged.

    Parameters
    ----------
    made : Evidence
        What was made.
    one : Further
        The pastry under that stamp.

    Returns
    -------
    tuple of Finding
        Each name begins with the stamp's.

    Raises
    ------
    KernelError
        A mesh is not closed.
    """
    own = replace(
        made,
        pastry=one.pastry,
        crust_mm=one.crust_mm,
        pastry_name=one.pastry_name,
        stamp_name=one.stamp_name,
    )
    rings = ring_finding(
        made.mould.part(one.stamp_name).mesh,
        first=made.mould.part("stamp").mesh,
        band_mm=made.design.mould.height_band * made.pastry.height_mm,
    )
    press = _assembled(own)
    found = (
        *piece_findings(own),
        *_press(own, press),
        *_pull(own, press.stamp),
        *relief_layers(own),
        rings,
    )
    return (
        *(replace(f, name=f"{one.stamp_name}: {f.name}") for f in found),
        outer_foot_finding(
            made.meshes[one.stamp_name],
            name=one.stamp_name,
            layer_mm=made.design.printer.layer_height_mm,
        ),
    )


def _press(made: Evidence, assembled: Press) -> tuple[Finding, ...]:
    """Judge the assembled press, and the wall of its sleeve under a hand's push."""
    table, plastic = made.design.mould, made.design.printer.plastic
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


def _assembled(made: Evidence) -> Press:
    """Return the press with the stamp that is judged, the plunger sitting in it."""
    sleeve, first, stamp, plunger = (
        made.mould.part(name).mesh for name in ("sleeve", "stamp", made.stamp_name, "plunger")
    )
    higher_mm = stamp.bounds[1, 2] - first.bounds[1, 2]
    return Press(
        sleeve=settled(sleeve),
        stamp=settled(stamp),
        plunger=settled(plunger.moved((0.0, 0.0, higher_mm))),
    )


def _pull(made: Evidence, stamp: Mesh) -> tuple[Finding, ...]:
    """Judge whether the pastry leaves the stamp downwards."""
    if not made.pastry.relief:
        return ()
    return pull_findings(
        name="pastry from stamp",
        body=made.meshes[made.pastry_name],
        tool=stamp,
        direction=(0.0, 0.0, -1.0),
        least_draft_deg=min(part.draft_deg for part in made.pastry.relief),
    )
