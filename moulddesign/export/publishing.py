"""Publishing a build or coupons: each file written, read back and timed, in a folder of all."""

import shutil
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cache, partial
from pathlib import Path
from time import perf_counter
from types import MappingProxyType
from typing import Any, Final, Protocol, TypeVar

from moulddesign import __version__
from moulddesign.building import Build, exact_findings, set_file
from moulddesign.core import (
    PUBLISH_FAILING,
    Finding,
    FindingError,
    Message,
    MouldError,
    Verdict,
    ml_from_mm3,
    say,
)
from moulddesign.design import (
    DESIGN_FILE,
    GAUGE_GAPS_MM,
    SET_FILE,
    Design,
    Format,
    read_set_file,
)
from moulddesign.export.build_files import (
    CARD_PDF,
    EVERYTHING,
    PARTS_PNG,
    BuildFiles,
    file_names,
    in_order_of_making,
)
from moulddesign.export.card_html import CARD_HTML, card_html
from moulddesign.export.digests import (
    DIGESTS,
    asked_digest,
    design_as_written,
    digests_of,
    plain_text,
)
from moulddesign.export.folder import atomic_folder
from moulddesign.export.fonts import unprintable_findings
from moulddesign.export.formats import (
    ExportOptions,
    made_larger_text,
    stl_bytes,
    threemf_bytes,
)
from moulddesign.export.held_moulds import REPORT, refuse_to_lose
from moulddesign.export.pictures import row_scene
from moulddesign.export.slicing import sliced_build
from moulddesign.geometry import Mesh
from moulddesign.mould import CouponLayout, MouldSet, coupons, filament
from moulddesign.mould.press import SHIM
from moulddesign.render import picture_png
from moulddesign.verify.coupon_checks import (
    GaugeMarks,
    MarkedStroke,
    depth_finding,
    gap_findings,
)
from moulddesign.verify.printing import printing_findings
from moulddesign.verify.soundness import soundness, written_findings

SHIMS: Final = "shim"
"""Stands for all shims among the parts that are asked for."""

Progress = Callable[[str], None]
"""Told the name of each file before it is made."""


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
    files: BuildFiles | None = None,
) -> Build:
    """Write a build's files into a folder, whole or not at all, if no finding failed.

    Parameters
    ----------
    folder : str or Path
        Made new; an earlier build of the same geometry there is refreshed.
    files : BuildFiles or None
        Of this build and these options, some of them made already.

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
    files = BuildFiles(build, options) if files is None else files
    write = partial(_write, files=files, progress=progress, held=folder)
    return write_if_good(build, folder, write)


def publish_failing(
    build: Build,
    folder: Path,
    options: ExportOptions = EVERYTHING,
    *,
    progress: Progress = _no_progress,
    files: BuildFiles | None = None,
) -> Build:
    """Write a build's files as `publish` does, even if findings failed."""
    if not options.overwrite:
        refuse_to_lose(build.design, folder)
    files = BuildFiles(build, options) if files is None else files
    with atomic_folder(folder) as inside:
        return _write(build, inside, files=files, progress=progress, held=folder)


def keep_readings(held: Path, made: Path) -> None:
    """Copy what was measured of a press to the folder of the same sizes that takes its place."""
    try:
        before, now = read_set_file(held), read_set_file(made)
    except MouldError:
        return  # nothing there, or what another version wrote, and nothing measured to keep
    if before.readings is not None and before.sizes == now.sizes:
        text = now.model_copy(update={"readings": before.readings}).toml(__version__)
        (made / SET_FILE).write_text(text, encoding="utf-8", newline="\n")


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


def _write(
    build: Build, folder: Path, *, files: BuildFiles, progress: Progress, held: Path
) -> Build:
    """Write every file; what was measured of the set that a folder holds is kept."""
    options = files.options
    meshes = {
        name: mesh
        for name, mesh in build.meshes.items()
        if not options.only
        or name in options.only
        or name.startswith(SHIM) & (SHIMS in options.only)
    }
    stls = [f"{name}.stl" for name in meshes]
    design, drawings = design_as_written(build.design)
    asked = asked_digest(design, drawings, options)
    for name, path in drawings.items():
        shutil.copyfile(path, folder / name)
    made = set_file(replace(build, design=design))
    own = () if made is None else (SET_FILE,)
    first, last = (*stls, *file_names(build, options)), (*drawings, REPORT, DESIGN_FILE, *own)
    findings = (*build.findings, *_lettering_findings(build, options))
    build = replace(build, design=design, findings=findings, written=(*first, *last))
    scales = {part.name: part.pose.scale for part in build.mould.parts}
    if made is not None:
        (folder / SET_FILE).write_text(made.toml(__version__), encoding="utf-8", newline="\n")
        keep_readings(held, folder)
    for name, mesh in meshes.items():
        path = folder / f"{name}.stl"
        progress(path.name)
        build = _write_timed(build, path, partial(stl_bytes, mesh, scales.get(name, 1.0)))
        build = replace(build, findings=build.findings + written_findings(path, mesh))
    if options.slicer:
        progress("slicer")
        build = sliced_build(build, folder, options.slicer)
    for name, make in _made_in_turn(build, files):
        progress(name)
        build = _write_timed(build, folder / name, make)
        if name in files.exact_mm3:
            found = exact_findings(build.mould, name, files.exact_mm3[name])
            build = replace(build, findings=build.findings + found)
        if name not in build.written:  # a page of the card
            first = (*first, name)
            build = replace(build, written=(*first, *last))
    build = replace(build, height_maps=files.map_reports)
    (folder / DESIGN_FILE).write_text(design.toml(), encoding="utf-8", newline="\n")
    report = build.report()
    digests = digests_of(report, folder, asked)
    text = plain_text(report | {DIGESTS: digests})
    (folder / REPORT).write_text(text, encoding="utf-8", newline="\n")
    return replace(build, digests=digests)


def _made_in_turn(build: Build, files: BuildFiles) -> Iterator[tuple[str, Callable[[], bytes]]]:
    """Yield each file's name, and what returns its bytes; the card's pages once it is set."""
    card = cache(lambda: files.card(build))
    for name in in_order_of_making(file_names(build, files.options)):
        if name == CARD_HTML:
            yield name, lambda: card_html(card())
        elif name == CARD_PDF:
            yield name, lambda: card().pdf()
            for number, page in enumerate(card().pngs(), start=1):
                yield f"card-{number}.png", partial(bytes, page)
        else:
            yield name, partial(files.file, name)


def _lettering_findings(build: Build, options: ExportOptions) -> tuple[Finding, ...]:
    lettered = {Format.CARD, Format.DRAWING, Format.APPROVAL}.intersection(options.formats)
    return unprintable_findings(build) if lettered else ()


def _write_timed(build: Build, path: Path, make: Callable[[], bytes]) -> Build:
    """Write one file, and note how long it took."""
    start = perf_counter()
    path.write_bytes(make())
    seconds = dict(build.seconds) | {path.name: perf_counter() - start}
    return replace(build, seconds=MappingProxyType(seconds))


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
    (folder / DESIGN_FILE).write_text(coupons.design.toml(), encoding="utf-8", newline="\n")
    (folder / REPORT).write_text(plain_text(coupons.report()), encoding="utf-8", newline="\n")
    return coupons
