"""What is checked of every piece, whatever mould it comes from: volume, crust, centres, relief."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import Final

import numpy as np
import shapely

from moulddesign.building.artwork_findings import artwork_findings
from moulddesign.building.remedies import (
    crust_for_face,
    lighter_centre,
    room_for_centres,
    shallower_relief,
    thicker_crust,
)
from moulddesign.core import Finding, Message, Verdict, mm3_from_ml, say
from moulddesign.design import Design, Profile
from moulddesign.face.carved_face import fold_of
from moulddesign.geometry import Mesh
from moulddesign.geometry.sampling import grid_over_shape, region_mask
from moulddesign.mould import (
    Mould,
)
from moulddesign.pastry.interior import Interior
from moulddesign.pastry.pastry import Pastry
from moulddesign.portion import Figures
from moulddesign.relief.lifted_walls import LEAST_WALL
from moulddesign.verify import (
    face_checks,
    legible,
    piece_checks,
    printing,
)
from moulddesign.verify.piece_checks import CARVED_FOOT_MM as FOOT_MM
from moulddesign.verify.soundness import volume_finding, volume_mm3


def relief_findings(design: Design, pastry: Pastry, solid: Mesh) -> tuple[Finding, ...]:
    """Return what is found of a pastry's relief, which is that of the design."""
    carved = pastry.carved
    ground = None if carved is None else lambda points: carved.field(points).height
    runs_mm = [] if carved is None else [part.run_mm(FOOT_MM) for part in pastry.relief]
    return (
        *artwork_findings(design, pastry),
        *(
            piece_checks.reading_finding(
                solid,
                artwork=shape,
                flat_mm=pastry.height_mm,
                depth_mm=depth,
                ground=ground,
                foot_run_mm=max([FOOT_MM / LEAST_WALL, *runs_mm]),
            )
            for shape, depth in pastry.artwork
        ),
        *full_depth_findings(pastry, solid),
    )


def full_depth_findings(pastry: Pastry, solid: Mesh) -> tuple[Finding, ...]:
    """Return whether enough of a flat relief reaches its depth."""
    return tuple(
        piece_checks.full_depth_finding(
            solid, flat_mm=pastry.height_mm, depth_mm=part.depth_mm, artwork_mm2=part.shape.area
        )
        for part in pastry.relief
        if part.profile is Profile.FLAT and pastry.carved is None
    )


FACE_PIXEL_MM: Final = 0.2
"""Pixel on which a carved face is compared with what was asked for [mm]."""
CLEAR_MM: Final = 0.1
"""Beside artwork and edge so much is left out: there the face is not the field alone [mm]."""


@lru_cache(maxsize=16)
def face_figures_of(pastry: Pastry, solid: Mesh) -> face_checks.FaceFigures | None:
    """Return the measures of a carved face on a written pastry; None without one."""
    carved = pastry.carved
    if carved is None:
        return None
    edge = shapely.Polygon(carved.surface.vertices[carved.surface.rim, :2]).buffer(-CLEAR_MM)
    artwork = shapely.union_all([part.shape for part in pastry.relief]).buffer(CLEAR_MM)
    grid = grid_over_shape(edge, FACE_PIXEL_MM)
    inside = region_mask(edge, grid)
    points = grid.points_mm(inside)
    heights, ground = np.full(grid.shape, np.nan), np.full(grid.shape, np.nan)
    heights[inside] = pastry.height_mm + carved.field(points).height
    ground[inside] = pastry.height_mm + carved.plain_field(points).height
    heights[region_mask(artwork, grid)] = np.nan
    return face_checks.face_figures(
        solid, face_checks.AskedHeights(grid=grid, heights_mm=heights, ground_mm=ground)
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PieceInput:
    """The piece of a design, for the checks that need no mould."""

    design: Design
    figures: Figures
    pastry: Pastry
    interior: Interior
    solid: Mesh
    """The pastry as it is written."""

    @property
    def target_mm3(self) -> float:
        """Volume asked for [mm^3]."""
        return mm3_from_ml(self.figures.piece.volume_ml)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CheckInput(PieceInput):
    """What was made of a design, for the checks to measure."""

    mould: Mould
    meshes: MappingProxyType[str, Mesh]
    """What is written: parts as they lie on the bed, and the pastry."""
    stamp_name: str = "stamp"
    """Which of the parts is its stamp, in a press."""

    @property
    def widest_mm(self) -> float:
        """Larger extent of the outline [mm]."""
        return max(self.pastry.outline.width_mm, self.pastry.outline.depth_mm)


def piece_findings(made: PieceInput) -> tuple[Finding, ...]:
    """Judge the pastry: volume, crust, centres, and whether its relief reads right."""
    return (
        volume_finding(
            say("building.volume"),
            part="pastry",
            measured_mm3=volume_mm3(made.solid),
            target_mm3=made.target_mm3,
            source=say("building.portion"),
        ),
        *_crust_findings(made),
        *_face_findings(made),
        *_centre_findings(made),
        *relief_findings(made.design, made.pastry, made.solid),
    )


def _crust_findings(made: PieceInput) -> Iterator[Finding]:
    """Yield whether the crust holds, with the least change where it does not."""
    if not made.interior.is_filled:
        return
    thick, *sunk = piece_checks.crust_findings(
        thickness_mm=made.interior.crust_mm,
        deepest_sunk_mm=made.pastry.deepest_sunk_mm if made.pastry.carved is None else 0.0,
        held_mm=made.design.dough.least_crust_mm,
    )
    yield with_remedy(thick, lambda: thicker_crust(made.design, made.interior, made.figures.piece))
    for found in sunk:
        yield with_remedy(found, lambda: shallower_relief(made.design, made.interior))


def _face_findings(made: PieceInput) -> Iterator[Finding]:
    """Yield whether a carved face is what was asked for, and what crust it leaves."""
    figures = face_figures_of(made.pastry, made.solid)
    if figures is None:
        return
    yield face_checks.face_finding(figures)
    assert made.pastry.carved is not None  # noqa: S101 (it has figures)
    for laid in made.pastry.carved.carvings:
        yield face_checks.moved_finding(
            moved_mm=laid.carving.moved_mm,
            at_mm=laid.carving.moved_at_mm,
            depth_mm=laid.depth_mm,
            part=Path(laid.file).stem,
        )
    yield from _face_counts(made)
    if made.interior.is_filled:
        found = face_checks.crust_under_face_finding(
            least_mm=made.interior.least_crust_mm, crust_mm=made.interior.crust_mm
        )
        yield with_remedy(
            found, lambda: crust_for_face(made.design, made.interior, made.figures.piece)
        )


def _face_counts(made: PieceInput) -> Iterator[Finding]:
    """Yield which bands and crowns did not get the repeats that were asked for, or break a fold."""
    face, carved = made.design.face, made.pastry.carved
    assert face is not None  # noqa: S101 (its pastry is carved)
    assert carved is not None  # noqa: S101 (the same)
    # Who takes a bundled face as it is has not counted: its bands drop repeats on a small piece.
    for number, band in enumerate(carved.bands if "bands" in face.model_fields_set else (), 1):
        part, asked, count = f"band-{number}", band.table.count, int(band.repeats.sum())
        if band.asked_mm < band.least_mm:
            yield face_checks.fine_repeats_finding(
                asked_mm=band.asked_mm,
                least_mm=band.least_mm,
                width_mm=band.least_width_mm,
                part=part,
            )
        elif asked is not None and asked != count:
            yield face_checks.repeat_count_finding(asked=asked, made=count, part=part)
    if not {"fold", "crowns"} & face.model_fields_set:
        return
    whole = face.whole()
    fold = fold_of(whole, made.pastry.outline)
    for number, crown in enumerate(whole.crowns, 1):
        if crown.count is not None and crown.count % fold and fold % crown.count:
            part = f"crown-{number}"
            yield legible.repeats_finding(count=crown.count, step=fold, part=part)


def _centre_findings(made: PieceInput) -> Iterator[Finding]:
    """Yield whether the centres have room, and paste beside them."""
    design, inside, weights = made.design, made.interior, made.figures
    if inside.centres:
        found = piece_checks.centre_finding(
            least_paste_mm=inside.least_paste_mm, least_rigid_mm=inside.least_rigid_mm
        )
        yield with_remedy(found, lambda: room_for_centres(design, inside))
    if weights.together:
        found = piece_checks.paste_finding(least_paste_g=weights.split.paste_range_g[0])
        yield with_remedy(found, lambda: lighter_centre(design, weights))


def with_remedy(found: Finding, remedy: Callable[[], Message | None]) -> Finding:
    """Return a finding with what mends it, which is sought only where it is not good."""
    return found if found.verdict is Verdict.GOOD else replace(found, remedy=remedy())


def relief_layer_findings(made: PieceInput) -> tuple[Finding, ...]:
    """Judge whether the layers draw the shallowest of the relief."""
    depths = [abs(part.depth_mm) for part in made.pastry.relief]
    if not depths or made.design.printer.service is not None:
        return ()
    layer_mm = made.design.printer.layer_height_mm
    return (printing.layers_finding(depth_mm=min(depths), layer_mm=layer_mm),)


def side_band_findings(design: Design) -> tuple[Finding, ...]:
    """Judge whether the bands around the side are printed."""
    bands, printer = design.pastry.side_bands, design.printer
    if not bands or printer.service is not None:
        return ()
    lengths = [length for band in bands for length in (band.height_mm, band.depth_mm)]
    found = legible.side_bands_finding(
        lengths, line_mm=printer.line_width_mm, layer_mm=printer.layer_height_mm
    )
    return (found,)


def asked_depth_findings(design: Design) -> tuple[Finding, ...]:
    """Judge whether the depths that a design asks for, of all its stamps, are printed as drawn."""
    if design.printer.service is not None:
        return ()
    reliefs = (design.relief, *(stamp.relief(design.relief) for stamp in design.further_stamps))
    depths = [
        relief.depth_mm if layer.depth_mm is None else layer.depth_mm
        for relief in reliefs
        for layer in relief.layers
    ]
    layer_mm = design.printer.layer_height_mm
    return (printing.whole_layers_finding(depths, layer_mm=layer_mm),) if depths else ()
