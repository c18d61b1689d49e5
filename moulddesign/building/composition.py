"""The one composition: a Design becomes a Portion, a Pastry, a mould, and findings about them."""

from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import asdict, dataclass, field, replace
from functools import partial
from time import perf_counter
from types import MappingProxyType
from typing import Any, TypeVar

from moulddesign import __version__
from moulddesign.artwork.outline import Outline
from moulddesign.building.checks import begin_findings
from moulddesign.building.least_weight import with_least_weight
from moulddesign.building.notebook import build_html, build_png
from moulddesign.building.piece_findings import (
    CheckInput,
    PieceInput,
    face_figures_of,
    piece_findings,
)
from moulddesign.building.sleeve_weights import (
    SleeveWeights,
    other_weight,
    sleeve_weights,
    stop_for_weight_layout,
)
from moulddesign.core import (
    Finding,
    Message,
    SpecError,
    Verdict,
    ml_from_mm3,
    say,
    word,
)
from moulddesign.core.concurrency import Submit, deferred
from moulddesign.design import SIZES, Design, Kind, PieceComposition, Purpose
from moulddesign.design.face_tables import FaceTable
from moulddesign.geometry import Mesh
from moulddesign.geometry.topology import topology
from moulddesign.mould import (
    CastLayout,
    Mould,
    Part,
    PressLayout,
    filament,
    make_mould,
    print_report,
    refuse_full_bed,
    stop_for,
)
from moulddesign.mould.print_estimate import PrintEstimate
from moulddesign.pastry.interior import Interior, interior
from moulddesign.pastry.pastry import Pastry, pastry
from moulddesign.pastry.variants import FurtherPastry, further_pastries, pastry_report
from moulddesign.portion import Figures, Portion, cautions_of, figures
from moulddesign.relief.carved_surface import SurfaceMaker, carved_surface, coarse_surface

T = TypeVar("T")

Fits = Callable[[Design, Outline, float], None]
"""Refuses a carved piece of an outline and a volume [mL] before its face is made."""

PASTRY = "pastry"
"""Name of the pastry among the files: for looking at and measuring, not for printing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Inlay:
    """Coloured dough that is pressed into the engraving first. It is taken off the crust."""

    colour: str
    mass_g: float
    crust_g: float
    """What is left to weigh of the crust once all inlays are off."""

    @property
    def said(self) -> Message:
        """What to do with it."""
        return say("building.inlay", mass_g=self.mass_g, colour=self.colour, crust_g=self.crust_g)


def inlays(made: Pastry, weights: Figures) -> tuple[Inlay, ...]:
    """Return the coloured doughs of a piece, as dense as its crust, in the order of the layers."""
    density = weights.crust_density.g_per_ml
    masses = {c: ml_from_mm3(volume) * density for c, volume in made.inlays_mm3.items()}
    left_g = weights.split.crust_g - sum(masses.values())
    return tuple(
        Inlay(colour=colour, mass_g=mass_g, crust_g=left_g) for colour, mass_g in masses.items()
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Build:
    """What a design became, and what was found true of it."""

    design: Design
    portion: Figures
    pastry: Pastry
    interior: Interior
    mould: Mould
    meshes: MappingProxyType[str, Mesh]
    """What is written: each part as it lies on the bed, and the pastry as it stands."""
    findings: tuple[Finding, ...]
    seconds: MappingProxyType[str, float]
    """Time of each stage, and of each file [s]."""
    written: tuple[str, ...] = ()
    """Names of the files that it was written as; none before that."""
    further: tuple[FurtherPastry, ...] = ()
    """Pastries under further stamps."""
    sliced: Mapping[str, PrintEstimate] = field(default_factory=dict)
    """What a slicer says of each part with its own infill; nothing where none was named."""
    height_maps: Mapping[str, Any] = field(default_factory=dict)
    """What the height maps among its files mean, by file."""
    digests: Mapping[str, Any] = field(default_factory=dict)
    """What its folder was made from and holds; nothing before it is written."""
    sleeve_weights: SleeveWeights | None = None
    """Which weights the sleeve of a press takes; None for other moulds."""

    @property
    def failed(self) -> tuple[str, ...]:
        """Names of the findings that failed."""
        return tuple(found.name for found in self.findings if found.verdict is Verdict.FAIL)

    @property
    def cautions(self) -> tuple[Message | str, ...]:
        """What can hurt someone: of all moulds, of the plastic, and of what is not baked."""
        return (*self.design.printer.cautions, *cautions_of(self.design.portion))

    @property
    def inlays(self) -> tuple[Inlay, ...]:
        """Coloured doughs that are pressed into the engraving first."""
        return inlays(self.pastry, self.portion)

    @property
    def stop_sentences(self) -> tuple[Message, ...]:
        """What a press's stop does, and what to do where it comes too early or too late."""
        layout = self.mould.layout
        if not isinstance(layout, PressLayout):
            return ()
        low_mm = self.pastry.height_mm - layout.stopped_height_mm
        stop_mm, stopped_mm = layout.stop_height_mm, layout.stopped_height_mm
        gap_mm = self.portion.heavy_gap_mm(self.pastry.outline.area_mm2, low_mm)
        stop = say("building.stop", stop_mm=stop_mm, stopped_mm=stopped_mm, gap_mm=gap_mm)
        if self.pastry.carved is not None:
            stop = say(
                "building.stop-of-face",
                stop_mm=stop_mm,
                stopped_mm=stopped_mm,
                highest_mm=stopped_mm + self.pastry.depth_above_mm,
                gap_mm=gap_mm,
            )
        return (
            *_kept_sentences(layout, self.further),
            stop,
            say("building.shims", shims_mm=tuple(f"{each:g}" for each in layout.shims_mm)),
            *(() if self.sleeve_weights is None else (self.sleeve_weights.said,)),
        )

    @property
    def inlay_sentences(self) -> tuple[Message, ...]:
        """What to do with the coloured doughs, of the further stamps too."""
        further = (
            say("building.inlay-under", stamp=one.stamp_name, said=inlay.said)
            for one in self.further
            for inlay in inlays(one.pastry, self.portion)
        )
        return (*(inlay.said for inlay in self.inlays), *further)

    @property
    def parts(self) -> tuple[str, ...]:
        """Names of the parts and of the pastry, in the order of the files."""
        return tuple(self.meshes)

    def _repr_html_(self) -> str:
        """Return what a notebook shows of it."""
        return build_html(self)

    def _repr_png_(self) -> bytes:
        """Return its picture, for whoever shows no HTML."""
        return build_png(self)

    def report(self) -> dict[str, Any]:
        """Return everything as plain values, as in `report.json`."""
        return {
            "moulddesign": __version__,
            "design": self.design.report(),
            "portion": self.portion.report(),
            "pastry": pastry_report(self.pastry, self.meshes[PASTRY], self.interior)
            | {"rounding_mm": self.portion.rounding_mm(self.pastry.outline.area_mm2)}
            | {"face": _face_report(self.design.face, self.pastry, self.meshes[PASTRY])},
            "inlays": [asdict(one) for one in self.inlays],
            "further_pastries": [
                one.report(self.pastry, self.meshes[one.pastry_name])
                | {"face": _face_report(stamp.face, one.pastry, self.meshes[one.pastry_name])}
                for one, stamp in zip(self.further, self.design.further_stamps, strict=True)
            ],
            "mould": self._mould_report(),
            "printer": self.design.printer.report(),
            "parts": [self._part_report(name) for name in self.meshes],
            "findings": [finding.report() for finding in self.findings],
            "files": list(self.written),
            **({"height_maps": dict(self.height_maps)} if self.height_maps else {}),
            "cautions": [str(caution) for caution in self.cautions],
            "seconds": dict(self.seconds),
            **({"digests": dict(self.digests)} if self.digests else {}),
        }

    def _files(self, name: str) -> list[str]:
        """Return the files of a part alone; before it is written, the one that it will have."""
        further = {one.stamp_name for one in self.further}
        stems = {name, "stamp-blank" if name in further else f"{name}-blank"}
        return [f for f in self.written if f.rpartition(".")[0] in stems] or [f"{name}.stl"]

    def _part_report(self, name: str) -> dict[str, Any]:
        mesh = self.meshes[name]
        shape = topology(mesh)
        printed = name in {part.name for part in self.mould.parts}
        return {
            "name": name,
            "files": self._files(name),
            "size_mm": mesh.size_mm.tolist(),
            "volume_ml": ml_from_mm3(mesh.volume_mm3),
            "area_mm2": mesh.area_mm2,
            "triangles": len(mesh.triangles),
            "watertight": shape.watertight,
            "bodies": shape.shells,
            "lettering": {part.name: part.lettering for part in self.mould.parts}.get(name, ""),
            **self._print_report(name, mesh if printed else None),
        }

    def _print_report(self, name: str, mesh: Mesh | None) -> dict[str, Any]:
        """Return what printing a part takes; of a service's its grams alone, of no part nothing."""
        printer = self.design.printer
        made = filament(0.0 if mesh is None else mesh.volume_mm3, printer).report()
        if mesh is None:
            return made
        if printer.service is not None:
            return {"print_g": made["print_g"], "filament_m": None, "least_print_min": None}
        return made | print_report(name, mesh, printer) | self._slicer_report(name)

    def _slicer_report(self, name: str) -> dict[str, float]:
        """Return the grams and time of a part as a slicer says."""
        found = self.sliced.get(name)
        if found is None:
            return {}
        density = self.design.printer.plastic.density_g_per_ml
        return {
            "slicer_print_g": density * ml_from_mm3(found.volume_mm3),
            "slicer_print_min": found.minutes,
        }

    def _sleeve_report(self) -> dict[str, Any]:
        """Return which finished weights the same sleeve presses."""
        made = self.sleeve_weights
        return {} if made is None else {"sleeve_takes_g": [made.least_g, made.most_g]}

    def _mould_report(self) -> dict[str, Any]:
        """Return what kind of mould it is, and the silicone that is poured over a master."""
        table, layout = self.design.mould, self.mould.layout
        figures = {"kind": table.kind.value, "cavities": table.cavities}
        match layout:
            case CastLayout():
                return figures | layout.silicone_report(self.mould.parts[0].pose.scale)
            case PressLayout():
                heavy_mm = self.portion.heavy_gap_mm(
                    self.pastry.outline.area_mm2, self.pastry.height_mm - layout.stopped_height_mm
                )
                return (
                    figures
                    | layout.report()
                    | {"heavy_piece_stays_open_mm": heavy_mm}
                    | self._sleeve_report()
                )
            case _:
                return figures


def _kept_sentences(layout: PressLayout, further: tuple[FurtherPastry, ...]) -> tuple[Message, ...]:
    """Return which parts of a kept set are to be printed; nothing where all of them are new."""
    changed = layout.changed_parts
    if not changed:
        return ()
    stamps = tuple(one.stamp_name for one in further)
    parts = tuple(word(name) for name in (*changed[:1], *stamps, *changed[1:]))
    if len(changed) == 1:
        return (say("building.kept-stamp", parts=parts, thick_mm=layout.stamp_thickness_mm),)
    return (say("building.kept-stop", parts=parts),)


def _face_report(table: FaceTable | None, made: Pastry, solid: Mesh) -> dict[str, Any] | None:
    """Return what is measured of a carved face; None without one."""
    figures = face_figures_of(made, solid)
    if figures is None or made.carved is None:
        return None
    surface = made.carved.surface
    return {
        "name": None if table is None else table.name,
        **asdict(figures),
        "moved_mm": surface.moved_mm,
        "triangles": len(surface.triangles),
    }


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shape:
    """What a design says of the piece alone, before any mould."""

    portion: Figures
    pastry: Pastry
    interior: Interior
    further: tuple[FurtherPastry, ...] = ()
    """Pastries under further stamps."""


def shaped(design: Design, *, surface_of: SurfaceMaker = carved_surface) -> Shape:
    """Return the piece of a design without its mould: the first part of `build`.

    Parameters
    ----------
    surface_of : callable
        Makes the surface of a carved face.

    Raises
    ------
    SpecError
        The piece cannot be made; the sentence names the field and what to change.
    FileError
        The artwork cannot be read.
    """
    return _Clock(lambda _: None).shaped(design, surface_of)


def coarse_shape(design: Design) -> Shape:
    """Return the same with a coarse surface of its carved face, without further stamps: to look at.

    Nothing is written or judged of it. Errors are those of `shaped`.
    """
    weights = figures(design)
    made = pastry(design, weights.piece.volume_ml, surface_of=coarse_surface)
    inside = interior(design, made, weights.piece)
    return Shape(portion=weights, pastry=made, interior=inside)


def mould_of(design: Design, shape: Shape) -> Mould:
    """Return the mould of a design's piece; the second part of `build`."""
    low_mm = shape.portion.stop_low_mm(shape.pastry.outline.area_mm2)
    return make_mould(design, shape.pastry, shape.further, low_mm=low_mm)


def stop_for_weight(design: Design, weight_g: float) -> tuple[Part, PressLayout]:
    """Return the stop for a piece of another finished weight in the press of a design [g].

    Raises
    ------
    SpecError
        The mould is no press, or its stamp does not reach the height of such a piece.
    """
    other = other_weight(design, weight_g)
    shape = shaped(design)
    layout = stop_for_weight_layout(
        design, shape.pastry, shape.further, portion=shape.portion, other=other
    )
    return stop_for(other, layout), layout


def build(
    design: Design,
    stage: Callable[[str], None] = lambda _: None,
    *,
    begun: tuple[Shape, Mould] | None = None,
    pressed: Callable[[Shape], None] = lambda _: None,
    drawn: Callable[[Build], None] = lambda _: None,
    submit: Submit = deferred,
) -> Build:
    """Return what a design becomes: weights, pastry, mould, and what was found.

    Parameters
    ----------
    stage : callable
        Called with the name of each stage before it starts: portion, pastry, mould, checks.
    begun : tuple of Shape and Mould, optional
        The design's piece and mould, where they were made already; those stages are left out.
    pressed : callable
        Called with the piece before its mould is made.
    drawn : callable
        Called with the build before it is checked: what needs no finding can be begun.
    submit : callable
        Given what samples a face and judges meshes, to let it be done meanwhile.

    Raises
    ------
    SpecError
        The design cannot be made; the sentence names the field and what to change.
    FileError
        The artwork cannot be read.
    KernelError
        A geometry library could not do a step.
    """
    if design.own_mould is not None:
        raise SpecError("mould.kind", design.mould.kind.value, say("building.mould-exists"))
    clock = _Clock(stage)
    surface_of = partial(carved_surface, submit=submit)
    shape = clock.shaped(design, surface_of, refuse_full_bed) if begun is None else begun[0]
    pressed(shape)
    # Much of a check is numpy's or GEOS's own work, which lets the mould's go on meanwhile.
    with ThreadPoolExecutor(1) as pool:
        piece_found = pool.submit(
            piece_findings,
            PieceInput(
                design=design,
                figures=shape.portion,
                pastry=shape.pastry,
                interior=shape.interior,
                solid=shape.pastry.mesh,
            ),
        )
        weights = pool.submit(sleeve_weights, design, shape.pastry, shape.further, shape.portion)
        mould = clock.timed("mould", lambda: mould_of(design, shape)) if begun is None else begun[1]
        meshes = MappingProxyType(
            {part.name: part.printed for part in mould.parts}
            | {PASTRY: shape.pastry.mesh}
            | {one.pastry_name: one.pastry.mesh for one in shape.further}
        )
        check_input = CheckInput(
            design=design,
            figures=shape.portion,
            pastry=shape.pastry,
            interior=shape.interior,
            solid=shape.pastry.mesh,
            mould=mould,
            meshes=meshes,
        )

        mould_found = begin_findings(check_input, shape.further, submit)

        def judged() -> tuple[Finding, ...]:
            found = (*piece_found.result(), *mould_found())
            return with_least_weight(design, shape.interior, found)

        unchecked = Build(
            design=design,
            portion=shape.portion,
            pastry=shape.pastry,
            interior=shape.interior,
            mould=mould,
            meshes=meshes,
            findings=(),
            seconds=MappingProxyType(clock.seconds),
            further=shape.further,
        )
        drawn(unchecked)
        findings = clock.timed("checks", judged)
        return replace(unchecked, findings=findings, sleeve_weights=weights.result())


def _pressed(
    design: Design, piece: Portion, surface_of: SurfaceMaker, fits: Fits
) -> tuple[Pastry, tuple[FurtherPastry, ...]]:
    made = pastry(
        design,
        piece.volume_ml,
        surface_of=surface_of,
        before_face=lambda outline: fits(design, outline, piece.volume_ml),
    )
    return made, further_pastries(design, piece, made.outline)


def _leave_room(design: Design, made: Pastry, piece: Portion) -> None:
    """Refuse a size so flat that the relief takes the room of the filling."""
    filled_ml = piece.volume_ml - piece.crust_ml
    left_ml = piece.volume_ml - ml_from_mm3(made.relief_mm3)
    size = next((key for key in SIZES if getattr(design.pastry, key) is not None), None)
    if size is None or filled_ml < left_ml:
        return
    raise SpecError(
        f"pastry.{size}",
        getattr(design.pastry, size),
        say(
            "building.relief-leaves-no-room",
            height_mm=made.height_mm,
            left_ml=max(left_ml, 0.0),
            volume_ml=piece.volume_ml,
            filled_ml=filled_ml,
        ),
    )


def _refuse_print(design: Design) -> None:
    """Refuse a printed mould for what is poured, and for what nobody may eat from it afterwards."""
    piece, kind = design.portion, design.mould.kind
    if kind is Kind.CAST:
        return
    if piece.composition is PieceComposition.POURED:
        raise SpecError("mould.kind", kind.value, say("design.poured-in-silicone"))
    if piece.purpose is Purpose.NOT_FOOD:
        raise SpecError("mould.kind", kind.value, say("design.not-food-in-silicone"))


class _Clock:
    """Runs stages by name and keeps how long each took."""

    def __init__(self, stage: Callable[[str], None]) -> None:
        self.stage = stage
        self.seconds: dict[str, float] = {}

    def shaped(
        self,
        design: Design,
        surface_of: SurfaceMaker = carved_surface,
        fits: Fits = lambda *_: None,
    ) -> Shape:
        _refuse_print(design)
        weights = self.timed("portion", lambda: figures(design))
        piece = weights.piece
        made, further = self.timed("pastry", lambda: _pressed(design, piece, surface_of, fits))
        _leave_room(design, made, piece)
        inside = interior(design, made, piece)
        return Shape(portion=weights, pastry=made, interior=inside, further=further)

    def timed(self, name: str, work: Callable[[], T]) -> T:
        self.stage(name)
        start = perf_counter()
        result = work()
        self.seconds[name] = perf_counter() - start
        return result
