"""The file of a set: what its press keeps for parts made later, and the sizes of its parts."""

from collections.abc import Iterator
from dataclasses import asdict

from moulddesign.artwork.outline import usual_repeats
from moulddesign.building.composition import Build
from moulddesign.design import (
    FORM,
    Design,
    JointTable,
    KeptPress,
    KeptSet,
    PieceSize,
    PressedPiece,
    SetFile,
    SideForm,
)
from moulddesign.mould import PressLayout, inscriptions
from moulddesign.pastry.pastry import as_written_mm, outline_table


def set_file(build: Build) -> SetFile | None:
    """Return the file of a build's set; None for other moulds than a press."""
    layout, made = build.mould.layout, build.sleeve_weights
    if not isinstance(layout, PressLayout):
        return None
    own_g = build.portion.piece.finished_g
    kept = build.design.kept
    if kept is None or kept.press is None:
        kept = _kept(build.design, layout)
    piece = PressedPiece(
        finished_g=own_g,
        volume_ml=build.portion.piece.volume_ml,
        height_mm=build.pastry.height_mm,
        area_mm2=build.pastry.outline.area_mm2,
        stopped_mm=layout.stopped_height_mm,
        guide_mm=layout.guide_length_mm,
        clearance_mm=layout.clearance_mm,
        shim_layer_mm=layout.shim_layer_mm,
        least_g=own_g if made is None else made.least_g,
        most_g=own_g if made is None else made.most_g,
    )
    return SetFile(
        **dict(kept),
        name=build.design.name,
        piece=piece,
        sizes=tuple(_sizes(build, layout)),
    )


def _kept(design: Design, layout: PressLayout) -> KeptSet:
    """Return what a press keeps whose sleeve or plunger is new."""
    table, outline = outline_table(design), layout.outline
    bore = {
        "width_mm": as_written_mm(outline.width_mm),
        "height_mm": None,
        "height_to_width": None,
        "shoulder_radius_mm": 0.0,
    }
    if table.side is not SideForm.PLAIN and table.side_count is None:
        bore["side_count"] = usual_repeats(table.outline, 1)
    press = KeptPress(
        form=FORM,
        clearance_mm=layout.clearance_mm,
        back_mm=layout.back_mm,
        vane_top_mm=layout.vane_top_mm,
        disc_low_mm=layout.disc_low_mm,
        stop_mm=layout.stop_height_mm,
        says=inscriptions(design),
        joint=JointTable(**asdict(layout.joint)),
        table=layout.mould,
    )
    return KeptSet.of(
        {
            "sleeve_height_mm": layout.sleeve_height_mm,
            "bore": {key: v for key, v in (table.plain() | bore).items() if v is not None},
            "press": press.plain(),
        }
    )


def _sizes(build: Build, layout: PressLayout) -> Iterator[PieceSize]:
    """Yield what calipers can read of the parts, and how far the prints may be off.

    Each wall of a width may be off by the printing error that the gaps are proven for; a height
    is whole layers, and one of them is the first; a service's tolerance is for both.
    """
    printer = build.design.printer
    wall_mm, height_mm = 2.0 * printer.proven_error_mm, printer.height_tolerance_mm
    stamp, plunger = (build.mould.part(name).mesh.size_mm for name in ("stamp", "plunger"))
    for key, part, mm, within_mm in (
        ("bore_mm", "sleeve", layout.outline.width_mm, wall_mm),
        ("sleeve_mm", "sleeve", layout.sleeve_height_mm, height_mm),
        ("stamp_mm", "stamp", float(stamp[0]), wall_mm),
        ("thickness_mm", "stamp", float(stamp[2]), height_mm),
        ("stop_mm", "stop", layout.stop_height_mm, height_mm),
        ("plunger_mm", "plunger", float(plunger[2]), height_mm),
    ):
        yield PieceSize(key=key, part=part, mm=round(mm, 3), within_mm=within_mm)
