"""Publishing a build or coupons: which files there are, how each is made, and the folder of all."""

import json
import shutil
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property, partial
from pathlib import Path
from time import perf_counter
from types import MappingProxyType
from typing import Any, Final, Protocol, TypeVar

from moulddesign import __version__
from moulddesign.artwork.font_files import with_fonts
from moulddesign.building import PASTRY, Build, exact_findings
from moulddesign.core import (
    PUBLISH_FAILING,
    Finding,
    FindingError,
    Message,
    Verdict,
    ml_from_mm3,
    say,
)
from moulddesign.design import DESIGN_FILE, GAUGE_GAPS_MM, Design, collect_drawings
from moulddesign.export.card import Card, card_figures
from moulddesign.export.card_html import CARD_HTML, card_html
from moulddesign.export.drawing import (
    Drawing,
    Sections,
    build_sections,
    card_section,
    drawing,
    dxf_bytes,
    svg_bytes,
)
from moulddesign.export.folder import atomic_folder
from moulddesign.export.fonts import Fonts, fonts_of, unprintable_findings
from moulddesign.export.formats import (
    NO_RELIEF,
    ExportOptions,
    Format,
    glb_bytes,
    made_larger_text,
    step_bytes,
    stl_bytes,
    threemf_bytes,
)
from moulddesign.export.held_moulds import REPORT, refuse_to_lose
from moulddesign.export.pictures import (
    CAPTION,
    ReliefPlan,
    assembled_parts,
    further_pastry_scenes,
    parts_scene,
    pastry_scene,
    printed_parts,
    relief_pictures,
    relief_plan,
    row_scene,
)
from moulddesign.export.press_steps import press_steps
from moulddesign.export.slicing import sliced_build
from moulddesign.geometry import Mesh
from moulddesign.geometry.mending import in_float32
from moulddesign.mould import CouponLayout, MouldSet, coupons, filament
from moulddesign.pastry.pastry import Pastry
from moulddesign.render import Scene, picture_png
from moulddesign.verify.coupon_checks import (
    GaugeMarks,
    MarkedStroke,
    depth_finding,
    gap_findings,
)
from moulddesign.verify.printing import printing_findings
from moulddesign.verify.soundness import soundness, written_findings

PASTRY_PNG: Final = "pastry.png"
PARTS_PNG: Final = "parts.png"
PRINT_PNG: Final = "print.png"
RELIEF_PNG: Final = "relief.png"
CARD_PDF: Final = "card.pdf"

SCENES_OF: Final = MappingProxyType(
    {
        Format.PICTURES: (PASTRY_PNG, PARTS_PNG),
        Format.CARD: (PASTRY_PNG, PARTS_PNG, PRINT_PNG),
        Format.THREEMF: (PRINT_PNG,),
    }
)
"""Pictures that a format needs, whether or not they become files."""

ROW_GAP: Final = 0.5
"""Between further stamps in a row, as a share of the sleeve's width."""

Progress = Callable[[str], None]
"""Told the name of each file before it is made."""

EVERYTHING: Final = ExportOptions()


class Judged(Protocol):
    """Something that knows which of its findings failed."""

    @property
    def failed(self) -> tuple[str, ...]:
        """Names of the findings that failed."""


J = TypeVar("J", bound=Judged)


def _no_progress(_: str) -> None:
    """Report no progress."""


def publish(
    build: Build,
    folder: str | Path,
    options: ExportOptions = EVERYTHING,
    *,
    progress: Progress = _no_progress,
) -> Build:
    """Write a build's files into a folder, whole or not at all, if no finding failed.

    Parameters
    ----------
    folder : str or Path
        Made new; an earlier build of the same geometry there is refreshed.

    Returns
    -------
    Build
        The same with the names of the files, and with what was found when they were read back.

    Raises
    ------
    FileError
        The folder holds another mould, which `options` do not give up.
    WriteError
        The folder cannot be written, or holds something else; it is as it was.
    FindingError
        A finding failed; the folder is as it was.
    KernelError
        A library could not make a file; the folder is as it was.
    """
    folder = Path(folder)
    if not options.overwrite:
        refuse_to_lose(build.design, folder)
    return write_if_good(build, folder, partial(_write, options=options, progress=progress))


def publish_failing(
    build: Build,
    folder: Path,
    options: ExportOptions = EVERYTHING,
    *,
    progress: Progress = _no_progress,
) -> Build:
    """Write a build's files as `publish` does, even if findings failed."""
    if not options.overwrite:
        refuse_to_lose(build.design, folder)
    with atomic_folder(folder) as inside:
        return _write(build, inside, options=options, progress=progress)


def write_if_good(
    judged: J,
    folder: Path,
    write: Callable[[J, Path], J],
    *,
    advice: Message = PUBLISH_FAILING,
) -> J:
    """Write something into a folder if no finding failed, before or while it is written."""
    if judged.failed:
        raise FindingError(judged.failed, advice)
    with atomic_folder(folder) as inside:
        written = write(judged, inside)
        if written.failed:
            raise FindingError(written.failed, advice)
    return written


def _write(build: Build, folder: Path, *, options: ExportOptions, progress: Progress) -> Build:
    """Write every file."""
    stls = [f"{name}.stl" for name in build.meshes]
    # A name that follows from the design is written down: the drawings have other names now. So are
    # the fonts, for another machine may have others.
    named = with_fonts(build.design.with_values({"name": build.design.name}))
    design, drawings = collect_drawings(named)
    for name, path in drawings.items():
        shutil.copyfile(path, folder / name)
    first, last = (*stls, *file_names(build, options)), (*drawings, REPORT, DESIGN_FILE)
    findings = (*build.findings, *_lettering_findings(build, options))
    build = replace(build, design=design, findings=findings, written=(*first, *last))
    scales = {part.name: part.pose.scale for part in build.mould.parts}
    for name, mesh in build.meshes.items():
        path = folder / f"{name}.stl"
        progress(path.name)
        build = _write_timed(build, path, partial(stl_bytes, mesh, scales.get(name, 1.0)))
        build = replace(build, findings=build.findings + written_findings(path, mesh))
    if options.slicer:
        progress("slicer")
        build = sliced_build(build, folder, options.slicer)
    for name, make in BuildFiles(build, options).files():
        progress(name)
        build = _write_timed(build, folder / name, make)
        build = replace(build, findings=build.findings + exact_findings(build.mould, name))
        if name not in build.written:  # a page of the card
            first = (*first, name)
            build = replace(build, written=(*first, *last))
    _write_report(build, folder)
    return build


def _lettering_findings(build: Build, options: ExportOptions) -> tuple[Finding, ...]:
    lettered = {Format.CARD, Format.DRAWING}.intersection(options.formats)
    return unprintable_findings(build) if lettered else ()


def _write_timed(build: Build, path: Path, make: Callable[[], bytes]) -> Build:
    """Write one file, and note how long it took."""
    start = perf_counter()
    path.write_bytes(make())
    seconds = dict(build.seconds) | {path.name: perf_counter() - start}
    return replace(build, seconds=MappingProxyType(seconds))


class BuildFiles:
    """The files of a build besides STL, report and design, each made when it is asked for."""

    def __init__(self, build: Build, options: ExportOptions) -> None:
        self.build = build
        self.options = options
        self.drawn: dict[str, bytes] = {}

    def files(self) -> Iterator[tuple[str, Callable[[], bytes]]]:
        """Yield each file's name, and what returns its bytes."""
        for name in file_names(self.build, self.options):
            yield name, self._maker(name)
            if name == CARD_PDF:
                for number in range(len(self._card_pages)):
                    yield f"card-{number + 1}.png", partial(self._card_pages.__getitem__, number)

    def _maker(self, name: str) -> Callable[[], bytes]:
        stem, _, ending = name.rpartition(".")
        makers: dict[str, Callable[[], bytes]] = {
            "step": partial(self._step, stem),
            "dxf": self._dxf,
            "svg": self._svg,
            "glb": self._glb,
            "png": partial(self._picture, name),
            "3mf": self._threemf,
            "pdf": self._pdf,
            "html": self._html,
        }
        return makers[ending]

    def _step(self, name: str) -> bytes:
        blanks = {f"{part.name}-blank": part.blank for part in self.build.mould.parts}
        draw = blanks.get(name) or self.build.mould.part(name).solid
        assert draw is not None  # noqa: S101 (only names of bodies that exist are given)
        what = "as it stands in the assembly"
        if name in blanks:
            height = self.build.pastry.height_mm
            others = ", ".join(
                f"{one.stamp_name} with its face {one.pastry.height_mm - height:+.2f} mm higher"
                for one in self.build.further
            )
            what = f"{NO_RELIEF}; the same blank serves {others}" if others else NO_RELIEF
        return step_bytes(
            draw(), name=name, description=f"{self.build.design.name}, {name}, {what}"
        )

    @cached_property
    def _sections(self) -> Sections:
        return build_sections(self.build)

    @cached_property
    def _drawing(self) -> Drawing:
        return drawing(self.build, self._sections, self.options.paper)

    @cached_property
    def _fonts(self) -> Fonts:
        return fonts_of(self.build.design)

    def _dxf(self) -> bytes:
        return dxf_bytes(self._drawing, self._fonts)

    def _svg(self) -> bytes:
        sheet = self._drawing.sheet
        title = f"{self.build.design.name}: pastry and mould"
        size_mm = (sheet.width_mm, sheet.height_mm)
        return svg_bytes(size_mm, self._drawing.entities, title, fonts=self._fonts)

    def _glb(self) -> bytes:
        pressed = {PASTRY: self.build.meshes[PASTRY]}
        return glb_bytes(assembled_parts(self.build) | pressed | _further_row(self.build))

    def _threemf(self) -> bytes:
        design = self.build.design
        piece = f"{design.portion.finished_weight_g:g} g"
        if design.portion.is_filled:
            piece += f", crust to filling {design.portion.ratio}"
        return threemf_bytes(
            printed_parts(self.build),
            bed_mm=design.printer.bed_mm,
            title=design.name,
            description=f"Mould for a pastry of {piece}; print in {design.printer.material}"
            + made_larger_text(self.build.mould.parts[0].pose.scale),
            thumbnail=self._picture(PRINT_PNG),
        )

    def _picture(self, name: str) -> bytes:
        """Return a picture, drawn once: files and card show the same."""
        if name not in self.drawn:
            self.drawn[name] = self._made_picture(name)
        return self.drawn[name]

    def _made_picture(self, name: str) -> bytes:
        if name == RELIEF_PNG:
            return self._relief.png
        pastries = relief_pictures(self.build)
        if name in pastries:
            return self._plan(pastries[name]).png
        return picture_png(self._scenes[name])

    @cached_property
    def _scenes(self) -> Mapping[str, Scene]:
        return scenes(self.build, self.options)

    @cached_property
    def _relief(self) -> ReliefPlan:
        return self._plan(self.build.pastry)

    def _plan(self, pastry: Pastry) -> ReliefPlan:
        return relief_plan(pastry, line_mm=self.build.design.printer.line_width_mm)

    def _pdf(self) -> bytes:
        return self._card.pdf()

    def _html(self) -> bytes:
        return card_html(self._card)

    @cached_property
    def _card_pages(self) -> tuple[bytes, ...]:
        return self._card.pngs()

    @cached_property
    def _card(self) -> Card:
        size_mm, entities = card_section(self.build, self._sections)
        section = svg_bytes(size_mm, entities, "section", fonts=self._fonts)
        pictures = {name: self._picture(name) for name in (*SCENES_OF[Format.CARD], RELIEF_PNG)}
        others = enumerate(further_pastry_scenes(self.build))
        pictures |= {f"other-{number}.png": self._picture(name) for number, name in others}
        figures = card_figures(self.build, self.options.recipe)
        figures |= {"relief": list(self._relief.caption), "caption": CAPTION}
        steps = press_steps(self.build, self._sections.parts, self._sections.pastry)
        figures |= {"steps": [[str(step.name), str(step.says)] for step in steps]}
        pictures |= {f"step-{number}.svg": step.picture for number, step in enumerate(steps)}
        return Card(
            figures=figures,
            pictures=pictures | {"section.svg": section},
            paper=self.options.paper,
            fonts=self._fonts,
        )


def file_names(build: Build, options: ExportOptions) -> tuple[str, ...]:
    """Return the names of the files besides STL, report and design, in the order of writing.

    A card's pages as pictures follow it; how many there are is known once it is set.
    """
    names = {
        Format.STL: [],
        Format.STEP: [f"{name}.step" for name in _names_of_bodies(build)],
        Format.DRAWING: ["drawing.dxf", "drawing.svg"],
        Format.GLB: ["set.glb"],
        Format.PICTURES: [
            *relief_pictures(build),
            PASTRY_PNG,
            PARTS_PNG,
            *further_pastry_scenes(build),
        ],
        Format.THREEMF: ["set.3mf"],
        Format.CARD: [CARD_HTML, CARD_PDF],
    }
    return tuple(name for one in options.formats for name in names[one])


def _names_of_bodies(build: Build) -> Iterator[str]:
    for part in build.mould.parts:
        if part.solid is not None:
            yield part.name
        if part.blank is not None:
            yield f"{part.name}-blank"


def scenes(build: Build, options: ExportOptions) -> Mapping[str, Scene]:
    """Return the pictures that the files need, by the name of their file."""
    needed = {name for one in options.formats for name in SCENES_OF.get(one, ())}
    pastry = build.meshes[PASTRY]
    every = {
        PASTRY_PNG: pastry_scene(pastry),
        PARTS_PNG: parts_scene(build),
        PRINT_PNG: row_scene(printed_parts(build)),
    }
    shows_further = {Format.PICTURES, Format.CARD} & set(options.formats)
    further = further_pastry_scenes(build) if shows_further else {}
    return {name: scene for name, scene in every.items() if name in needed} | dict(further)


def _further_row(build: Build) -> dict[str, Mesh]:
    """Return further stamps on their pastries, in a row to the right of the assembly [mm]."""
    step_mm = (1.0 + ROW_GAP) * float(build.mould.parts[0].mesh.size_mm[0])
    placed: dict[str, Mesh] = {}
    for number, one in enumerate(build.further, start=1):
        shift = (number * step_mm, 0.0, 0.0)
        placed[one.stamp_name] = in_float32(build.mould.part(one.stamp_name).mesh).moved(shift)
        placed[one.pastry_name] = build.meshes[one.pastry_name].moved(shift)
    return placed


INSTRUCTIONS: Final[tuple[Message, ...]] = (
    say("export.coupons-print"),
    say("export.coupons-read-rings"),
    say("export.coupons-read-slots"),
    say("export.coupons-keep-reading"),
    say("export.coupons-press-sampler"),
    say("export.coupons-read-sampler"),
)
"""What to do with the coupons, step by step."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Coupons:
    """Coupons and what was found of them."""

    design: Design
    """Whose printer they are for."""
    meshes: Mapping[str, Mesh]
    """As they are printed, by name [mm]."""
    findings: tuple[Finding, ...]

    @property
    def failed(self) -> tuple[str, ...]:
        """Names of the findings that failed."""
        return tuple(found.name for found in self.findings if found.verdict is Verdict.FAIL)

    def report(self) -> dict[str, Any]:
        """Return everything as plain values, as in `report.json`."""
        return {
            "moulddesign": __version__,
            "design": self.design.report(),
            "gauge_gaps_mm": list(GAUGE_GAPS_MM),
            "how": [str(step) for step in INSTRUCTIONS],
            "parts": [
                {
                    "name": name,
                    "files": [f"{name}.stl"],
                    "size_mm": mesh.size_mm.tolist(),
                    "volume_ml": ml_from_mm3(mesh.volume_mm3),
                    "print_g": filament(mesh.volume_mm3, self.design.printer).mass_g,
                }
                for name, mesh in self.meshes.items()
            ],
            "findings": [finding.report() for finding in self.findings],
        }


def made_coupons(design: Design) -> Coupons:
    """Return the coupons for a design's printer, measured.

    Raises
    ------
    SpecError
        The bed is too small.
    KernelError
        A boolean failed.
    """
    printer, mould = design.printer, coupons(design)
    meshes = {part.name: part.printed for part in mould.parts}
    findings = _marked_findings(mould, meshes, shrink=printer.shrink)
    for name, mesh in meshes.items():
        printed = printing_findings(
            mesh,
            part=name,
            bed_mm=printer.bed_mm,
            line_mm=printer.line_width_mm,
            layer_mm=printer.layer_height_mm,
            shrink=printer.plastic.shrink,
        )
        findings += [_of_strokes(found) if name == "sampler" else found for found in printed]
        findings += soundness(mesh, part=name)
    return Coupons(design=design, meshes=MappingProxyType(meshes), findings=tuple(findings))


def _of_strokes(found: Finding) -> Finding:
    """Return a finding about the sampler, whose thin strokes show what a printer draws of them."""
    if found.id != "verify.thinnest-wall" or found.verdict is Verdict.GOOD:
        return found
    return replace(found, verdict=Verdict.WARN, remedy=say("export.thin-strokes"))


def _marked_findings(
    mould: MouldSet[CouponLayout], meshes: Mapping[str, Mesh], *, shrink: float
) -> list[Finding]:
    """Return whether gauge and sampler, as they are printed, are what is marked on them."""
    layout, on_gauge = mould.layout, mould.part("gauge").pose
    on_sampler, on_key = mould.part("sampler").pose, mould.part("key").pose
    marks = GaugeMarks(
        slots=[(*on_gauge.of_point((x, y, 0.0))[:2], gap) for x, y, gap in layout.slots_mm],
        rings=[(*on_gauge.of_point((x, y, 0.0))[:2], gap) for x, y, gap in layout.rings_mm],
        shoulder_mm=on_key.of_point((0.0, 0.0, 0.0))[2],
    )
    strokes = [
        MarkedStroke(
            corners_mm=(
                on_sampler.of_point((*one.corners_mm[0], 0.0))[:2],
                on_sampler.of_point((*one.corners_mm[1], 0.0))[:2],
            ),
            depth_mm=round(one.reached_mm, 2),
        )
        for one in (*layout.singles, *layout.pairs)
    ]
    return [
        *gap_findings(meshes["gauge"], meshes["key"], marks, shrink=shrink),
        depth_finding(meshes["sampler"], strokes, shrink=shrink),
    ]


def publish_coupons(coupons: Coupons, folder: Path, *, overwrite: bool = False) -> Coupons:
    """Write coupons into a folder, whole or not at all, if no finding failed.

    Parameters
    ----------
    folder : Path
        Made new; earlier coupons there are replaced.
    overwrite : bool
        Whether a mould there may be lost.

    Returns
    -------
    Coupons
        The same with what was found when the files were read back.

    Raises
    ------
    FileError
        The folder holds a mould.
    WriteError
        The folder cannot be written, or holds something else; it is as it was.
    FindingError
        A finding failed; the folder is as it was.
    KernelError
        A library could not make a file; the folder is as it was.
    """
    if not overwrite:
        refuse_to_lose(None, folder)
    return write_if_good(coupons, folder, _write_coupons, advice=say("export.coupons-failed"))


def _write_coupons(coupons: Coupons, folder: Path) -> Coupons:
    printer, findings = coupons.design.printer, list(coupons.findings)
    scale = 1.0 / (1.0 - printer.shrink)
    for name, mesh in coupons.meshes.items():
        path = folder / f"{name}.stl"
        path.write_bytes(stl_bytes(mesh, scale))
        findings += written_findings(path, mesh)
    picture = picture_png(row_scene(coupons.meshes))
    (folder / PARTS_PNG).write_bytes(picture)
    whole = threemf_bytes(
        coupons.meshes,
        bed_mm=printer.bed_mm,
        title="coupons",
        description=f"Clearance gauge and relief sampler, in {printer.material}"
        + made_larger_text(scale),
        thumbnail=picture,
    )
    (folder / "set.3mf").write_bytes(whole)
    coupons = replace(coupons, findings=tuple(findings))
    _write_report(coupons, folder)
    return coupons


def _write_report(made: Build | Coupons, folder: Path) -> None:
    (folder / DESIGN_FILE).write_text(made.design.toml(), encoding="utf-8", newline="\n")
    report = json.dumps(made.report(), indent=1, ensure_ascii=False, allow_nan=False)
    (folder / REPORT).write_text(report + "\n", encoding="utf-8", newline="\n")
