"""What each task asks, the jobs that a worker does, and the bytes that the 3D view reads."""

import json
import os
import struct
import tempfile
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass
from functools import lru_cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final

from moulddesign.building import PASTRY, Build, Shape, build, inlays, mould_of, shaped
from moulddesign.core import Message, SpecError, ml_from_mm3, say
from moulddesign.design import (
    Design,
    FileKind,
    OwnedMould,
    PressTable,
    PrinterTable,
    Shelf,
    Table,
    given,
)
from moulddesign.export import publish, publish_failing
from moulddesign.export.drawing import build_sections
from moulddesign.export.formats import part_colour
from moulddesign.export.pictures import pastry_scene
from moulddesign.export.press_steps import press_steps
from moulddesign.fit import (
    Wording,
    fit,
    nearest_remark,
    pressings,
    ranked_moulds,
    window_svg,
)
from moulddesign.geometry import Mesh, joined
from moulddesign.kitchen import OnHand, Recipe, WeighedPiece, Weighing, batch, trial
from moulddesign.mould import MouldSet, Part
from moulddesign.pastry.pastry import trial_mould
from moulddesign.portion import Figures, Roll, figures, roll_for
from moulddesign.render import picture_png
from moulddesign.workers import Checkpoint, Job

FILLING: Final = "filling"
CENTRE: Final = "centre"

INTERIOR_COLOURS: Final = {FILLING: "#7a4b2a", CENTRE: "#e9c46a"}
EXPLODED_GAP_RATIO: Final = 0.45
"""Air between parts in the exploded view, as a share of the pastry's width."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ViewBody:
    """One body of the view."""

    name: str
    """Its name, and its key among the page's texts."""
    role: str
    """`pastry`, `part`, `filling` or `centre`."""
    mesh: Mesh
    """As it stands in the assembly [mm]."""
    colour: str
    """As CSS writes it."""
    lift_mm: float = 0.0
    """How far it rises in the exploded view [mm]."""


def pastry_bodies(shape: Shape) -> tuple[ViewBody, ...]:
    """Return the pastry, its filling and its centres."""
    made = [
        ViewBody(name=PASTRY, role=PASTRY, mesh=shape.pastry.mesh, colour=_css_colour(PASTRY, 0))
    ]
    inside = shape.interior
    within = {
        FILLING: [inside.filling] if inside.is_filled else [],
        CENTRE: [centre.mesh for centre in inside.centres],
    }
    for name, meshes in within.items():
        if meshes:
            colour = INTERIOR_COLOURS[name]
            made.append(ViewBody(name=name, role=name, mesh=joined(meshes), colour=colour))
    return tuple(made)


def part_bodies(mould: MouldSet[Any], made: Shape | Build) -> tuple[ViewBody, ...]:
    """Return a mould's parts; in the exploded view each rises clear of the one before it."""
    pastry = made.pastry.mesh
    width_mm = float(pastry.size_mm[:2].max())
    gap_mm = EXPLODED_GAP_RATIO * width_mm
    top_mm = float(pastry.bounds[1, 2])
    bodies = []
    for number, part in enumerate(mould.assembled):
        low, high = part.mesh.bounds[:, 2].tolist()
        lift_mm = max(top_mm + gap_mm - low, 0.0)
        top_mm = high + lift_mm
        bodies.append(_part_body(part, part.mesh, number, lift_mm=lift_mm))
    return (*bodies, *_further_part_bodies(mould, gap_mm=gap_mm))


def _further_part_bodies(mould: MouldSet[Any], *, gap_mm: float) -> Iterator[ViewBody]:
    """Yield the parts that take another's place, on the table beside the assembly."""
    right_mm = max(float(part.mesh.bounds[1, 0]) for part in mould.assembled)
    further = [part for part in mould.parts if part.is_further]
    for number, part in enumerate(further, start=len(mould.assembled)):
        low, high = part.mesh.bounds
        by_mm = (right_mm + gap_mm - low[0], 0.0, -low[2])
        right_mm += gap_mm + float(high[0] - low[0])
        yield _part_body(part, part.mesh.moved(by_mm), number)


def _part_body(part: Part, mesh: Mesh, number: int, *, lift_mm: float = 0.0) -> ViewBody:
    colour = _css_colour(part.name, number)
    return ViewBody(name=part.name, role="part", mesh=mesh, colour=colour, lift_mm=lift_mm)


def encode_bodies(stage: str, bodies: Iterable[ViewBody]) -> bytes:
    """Return the bodies of a stage, `pastry` or `mould`, as the view reads them.

    The length of the head (uint32), the head in JSON, then for each body its corners (float32) and
    its triangles (uint32), all little-endian.
    """
    bodies = tuple(bodies)
    head = {
        "stage": stage,
        "bodies": [
            {
                "name": body.name,
                "role": body.role,
                "colour": body.colour,
                "lift": body.lift_mm,
                "points": len(body.mesh.vertices),
                "facets": len(body.mesh.triangles),
            }
            for body in bodies
        ],
    }
    text = json.dumps(head).encode()
    text += b" " * (-len(text) % 4)
    arrays = [
        part
        for body in bodies
        for part in (body.mesh.vertices.astype("<f4"), body.mesh.triangles.astype("<u4"))
    ]
    return struct.pack("<I", len(text)) + text + b"".join(a.tobytes() for a in arrays)


def _css_colour(name: str, number: int) -> str:
    return "#" + "".join(f"{round(255 * share):02x}" for share in part_colour(name, number))


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceFigures:
    """The figures of one piece, with those that depend on its shape."""

    figures: Figures
    outline: str
    width_mm: float
    height_mm: float
    """To the flat top [mm]."""
    crust_mm: float | None
    relief_ml: float
    roll: Roll | None
    """How to roll it so that it enters the bore; None where the ball enters as it is."""
    inlays: tuple[Message, ...]
    """Coloured doughs that are pressed into the engraving first."""
    rounding: Message | None
    """What rounding to the scale does to its height."""


class FitRequest(OwnedMould):
    """A mould that one owns, and what else is calculated for it."""

    ratios: str = given(
        "", "More ratios for the table, such as 1:9; 35:65", max_length=200, main=True
    )
    pressed_g: tuple[float, ...] = given(
        (), "Raw weights whose pressed height is asked for", unit="g", max_length=20, main=True
    )
    pressed_mm: tuple[float, ...] = given(
        (), "Pressed heights whose raw weight is asked for", unit="mm", max_length=20, main=True
    )

    @property
    def mould(self) -> OwnedMould:
        """The mould alone."""
        return OwnedMould.of(self.model_dump(include=set(OwnedMould.model_fields)))

    @property
    def more_ratios(self) -> tuple[str, ...]:
        """The ratios that were named."""
        return tuple(self.ratios.replace(";", " ").replace(",", " ").split())


class RankingRequest(Table):
    """Several moulds in a file, to be ranked for the portion."""

    moulds: str | None = given(
        None,
        "File (TOML) with one table [[mould]] each",
        min_length=1,
        main=True,
        file=FileKind.MOULDS,
    )


class TrialRequest(Table):
    """A trial bake."""

    weighings: tuple[WeighedPiece, ...] = given(
        (), "Pieces, weighed before and after", max_length=200, main=True
    )


class BatchRequest(Table):
    """What there is already; where anything is given it decides the number of pieces."""

    crust_g: float | None = given(
        None, "Crust dough that is ready", unit="g", gt=0, le=1e7, main=True
    )
    filling_g: float | None = given(None, "Paste that is ready", unit="g", gt=0, le=1e7, main=True)
    centres: int | None = given(
        None, "Centres that are there, of each kind", ge=0, le=1_000_000, main=True
    )


Answer = Iterator[tuple[str, Any]]
"""What a job yields: the name of each part, and the part."""
Plain = Mapping[str, Any]


def fit_mould(checkpoint: Checkpoint, plain: Plain, *asked: Plain) -> Answer:
    """Yield which weights fit a mould that exists, and the plot of a press mould's window."""
    design, given, wording = Design.of(plain), FitRequest.of(asked[0]), Wording(**asked[1])
    made = fit(design, given.mould, ratios=given.more_ratios, stage=lambda _: checkpoint())
    window = made.own_window(design)
    pressed = pressings(window, raw_g=given.pressed_g, heights_mm=given.pressed_mm)
    plot = b""
    if window is not None:
        sd_g = made.own_piece(design).raw_g_sd
        pieces = [each.piece for each in pressed]
        plot = window_svg(made.mould.name, window, sd_g=sd_g, pieces=pieces, wording=wording)
    yield "fit", (made.report(design) | {"pressed": [each.report() for each in pressed]}, plot)


def rank_moulds(checkpoint: Checkpoint, plain: Plain, asked: Plain) -> Answer:
    """Yield which of several moulds take the portion."""
    given = RankingRequest.of(asked)
    if given.moulds is None:
        raise SpecError("moulds", "not given", say("page.moulds-not-given"))
    moulds = Shelf.read(given.moulds).mould
    found = ranked_moulds(Design.of(plain), moulds, lambda _: checkpoint())
    yield "shelf", {"ranked": [each.report() for each in found], "nearest": nearest_remark(found)}


def evaluate_trial(_checkpoint: Checkpoint, plain: Plain, asked: Plain) -> Answer:
    """Yield what a trial bake taught, and the weights that follow."""
    design, given = Design.of(plain), TrialRequest.of(asked)
    weighings = [Weighing(**piece.model_dump()) for piece in given.weighings]
    measured = any(piece.height_mm is not None for piece in weighings)
    found = trial(design, weighings, trial_mould(design) if measured else None)
    designs = {"before": design, "same_mould": found.same_mould, "new_mould": found.corrected}
    yield (
        "trial",
        {
            "loss": asdict(found.loss),
            "density": None if found.density_g_per_ml is None else asdict(found.density_g_per_ml),
            "springback": None if found.springback_mm is None else asdict(found.springback_mm),
            "pressed_mm": found.pressed_mm,
            "weights": {name: figures(each) for name, each in designs.items()},
            "designs": {name: each.plain() for name, each in designs.items()},
        },
    )


def total_batch(_checkpoint: Checkpoint, plain: Plain, asked: Plain) -> Answer:
    """Yield the totals of a batch."""
    design, given = Design.of(plain), BatchRequest.of(asked)
    recipe = None if design.batch.recipe is None else Recipe.read(design.batch.recipe)
    yield "batch", batch(design, recipe, OnHand(**given.model_dump()))


def preview(_checkpoint: Checkpoint, plain: Mapping[str, Any]) -> Answer:
    """Yield the piece's figures, and what the view needs to draw it."""
    design = Design.of(plain)
    shape = _cached_shape(_without_mould(design))
    yield "figures", _figures(design, shape)
    yield "bodies", encode_bodies("pastry", pastry_bodies(shape))


def check_design(checkpoint: Checkpoint, plain: Mapping[str, Any]) -> Answer:
    """Yield what the view needs to draw the mould, and then all findings and cautions."""
    design = Design.of(plain)
    if _built.get(design) is None:
        shape = _cached_shape(_without_mould(design))
        checkpoint()
        mould = mould_of(design, shape)
        yield "bodies", encode_bodies("mould", part_bodies(mould, shape))
        made = build(design, lambda _: checkpoint(), begun=(shape, mould))
        _built.clear()
        _built[design] = made
    else:
        made = _built[design]
        yield "bodies", encode_bodies("mould", part_bodies(made.mould, made))
    yield "findings", (made.findings, made.cautions)


def write_files(_checkpoint: Checkpoint, plain: Mapping[str, Any]) -> Answer:
    """Yield the bytes of every file of the build, by name, if nothing failed.

    After them, the steps of the work with a press, with pictures.
    """
    yield from _files(plain, publish)


def write_failing(_checkpoint: Checkpoint, plain: Mapping[str, Any]) -> Answer:
    """Yield the bytes of every file of the build in spite of findings that failed."""
    yield from _files(plain, publish_failing)


def _files(plain: Mapping[str, Any], write: Callable[[Build, Path], Build]) -> Answer:
    design = Design.of(plain)
    made = _built.get(design)
    made = build(design) if made is None else made
    with TemporaryDirectory(prefix="moulddesign-") as folder:
        target = Path(folder) / "set"
        write(made, target)
        files = {path.name: path.read_bytes() for path in sorted(target.iterdir())}
    yield "files", files
    sections = build_sections(made)
    yield "steps", press_steps(made, sections.parts, sections.pastry)


def draw_picture(_checkpoint: Checkpoint, plain: Mapping[str, Any]) -> Answer:
    """Yield a picture of the pastry as a PNG file, for browsers that draw nothing in 3D."""
    shape = _cached_shape(_without_mould(Design.of(plain)))
    yield "picture", picture_png(pastry_scene(shape.pastry.mesh))


_built: dict[Design, Build] = {}
"""The last build of this process, so that checking and writing do not build twice."""


@lru_cache(maxsize=8)
def _cached_shape(design: Design) -> Shape:
    return shaped(design)


def _without_mould(design: Design) -> Design:
    """Return the design with default mould and printer, but for the draft of the side and layers.

    The piece depends on nothing else of them, so one shape serves while they are changed.
    """
    mould, layers = design.mould, {"layer_height_mm": design.printer.layer_height_mm}
    draft = {} if isinstance(mould, PressTable) else {"side_draft_deg": mould.side_draft_deg}
    default = {"name": "piece", "mould": type(mould).of(draft), "printer": PrinterTable.of(layers)}
    return design.model_copy(update=default)


def _figures(design: Design, shape: Shape) -> PieceFigures:
    width_mm = shape.pastry.outline.width_mm
    return PieceFigures(
        figures=shape.portion,
        outline=shape.pastry.outline.name,
        width_mm=width_mm,
        height_mm=shape.pastry.height_mm,
        crust_mm=shape.interior.crust_mm if shape.interior.is_filled else None,
        relief_ml=ml_from_mm3(shape.pastry.relief_mm3),
        roll=roll_for(design, shape.portion.piece, width_mm),
        inlays=tuple(one.said for one in inlays(shape.pastry, shape.portion)),
        rounding=shape.portion.rounding(design.mould.kind, shape.pastry.outline.area_mm2),
    )


PREVIEW: Final = Job(say("page.the-piece"), preview)
CHECKS: Final = Job(say("page.the-checks"), check_design)
FILES: Final = Job(say("page.the-files"), write_files)
FILES_FAILING: Final = Job(say("page.the-files"), write_failing)
PICTURE: Final = Job(say("page.the-picture"), draw_picture)
FIT: Final = Job(say("page.the-fit"), fit_mould)
RANKING: Final = Job(say("page.the-ranking"), rank_moulds)
TRIAL: Final = Job(say("page.the-trial"), evaluate_trial)
BATCH: Final = Job(say("page.the-batch"), total_batch)


def prepare(uploads: str, temporary: str, *, niceness: int) -> None:
    """Prepare a worker's process: all that the jobs need is loaded with this module.

    Relative names in a design start from the folder `uploads`. What is half-made lies in
    `temporary`, for a process that is ended leaves it behind. `niceness` is how much the process
    gives way to others: 0 not at all, 19 wholly.
    """
    os.chdir(uploads)
    tempfile.tempdir = temporary
    os.nice(niceness)
