"""The jobs that a worker knows, what each task asks, and what the 3D view is sent."""

import json
import os
import struct
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import asdict, dataclass
from functools import lru_cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final

from moulddesign.building import PASTRY, Build, Shape, build, shaped
from moulddesign.core import SpecError, ml_from_mm3, say
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
from moulddesign.export.formats import colour_of
from moulddesign.export.pictures import Artist, pastry_scene
from moulddesign.fit import fit, pressings, ranked
from moulddesign.geometry import Mesh, joined
from moulddesign.kitchen import OnHand, Recipe, Weighing, batch, trial
from moulddesign.mould import MouldSet, Part, make_mould
from moulddesign.pastry.pastry import pastry
from moulddesign.portion import Figures, Roll, TrialMould, figures, roll_for
from moulddesign.workers import Checkpoint, Job

FILLING: Final = "filling"
CENTRE: Final = "centre"

INSIDE_COLOURS: Final = {FILLING: "#7a4b2a", CENTRE: "#e9c46a"}
APART_SHARE: Final = 0.45
"""Air between parts that are laid apart, as a share of the pastry's width."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Body:
    """One body of the view.

    Parameters
    ----------
    name : str
        Its name, and its key among the page's texts.
    role : str
        `pastry`, `part`, `filling` or `centre`.
    mesh : Mesh
        As it stands in the assembly [mm].
    colour : str
        As CSS writes it.
    lift_mm : float
        How far it rises when all parts are laid apart [mm].
    """

    name: str
    role: str
    mesh: Mesh
    colour: str
    lift_mm: float = 0.0


def pastry_bodies(shape: Shape) -> tuple[Body, ...]:
    """Return the pastry, its filling and its centres."""
    made = [Body(name=PASTRY, role=PASTRY, mesh=shape.pastry.mesh, colour=_css(PASTRY, 0))]
    within = {FILLING: [shape.interior.filling], CENTRE: [c.mesh for c in shape.interior.centres]}
    for name, meshes in within.items():
        if meshes:
            colour = INSIDE_COLOURS[name]
            made.append(Body(name=name, role=name, mesh=joined(meshes), colour=colour))
    return tuple(made)


def part_bodies(mould: MouldSet[Any], made: Shape | Build) -> tuple[Body, ...]:
    """Return a mould's parts; laid apart, each rises clear of the one before it.

    Parameters
    ----------
    mould : MouldSet
        The parts.
    made : Shape or Build
        What holds the pastry that they press.
    """
    pastry = made.pastry.mesh
    width_mm = float(pastry.size_mm[:2].max())
    gap_mm = APART_SHARE * width_mm
    top_mm = float(pastry.bounds[1, 2])
    bodies = []
    for number, part in enumerate(mould.assembled):
        low, high = part.mesh.bounds[:, 2].tolist()
        lift_mm = max(top_mm + gap_mm - low, 0.0)
        top_mm = high + lift_mm
        bodies.append(_part(part, part.mesh, number, lift_mm=lift_mm))
    return (*bodies, *_beside(mould, gap_mm=gap_mm))


def _beside(mould: MouldSet[Any], *, gap_mm: float) -> Iterator[Body]:
    """Yield the parts that take another's place, on the table beside the assembly."""
    right_mm = max(float(part.mesh.bounds[1, 0]) for part in mould.assembled)
    further = [part for part in mould.parts if part.is_further]
    for number, part in enumerate(further, start=len(mould.assembled)):
        low, high = part.mesh.bounds
        by_mm = (right_mm + gap_mm - low[0], 0.0, -low[2])
        right_mm += gap_mm + float(high[0] - low[0])
        yield _part(part, part.mesh.moved(by_mm), number)


def _part(part: Part, mesh: Mesh, number: int, *, lift_mm: float = 0.0) -> Body:
    colour = _css(part.name, number)
    return Body(name=part.name, role="part", mesh=mesh, colour=colour, lift_mm=lift_mm)


def sent(stage: str, bodies: Iterable[Body]) -> bytes:
    """Return bodies as the view reads them.

    Parameters
    ----------
    stage : str
        What is complete: `pastry` or `mould`.
    bodies : iterable of Body
        What is drawn.

    Returns
    -------
    bytes
        Length of the head (uint32), the head in JSON, then for each body its corners (float32)
        and its triangles (uint32), all little-endian.
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


def _css(name: str, number: int) -> str:
    return "#" + "".join(f"{round(255 * share):02x}" for share in colour_of(name, number))


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """The figures of one piece, those that hang on its shape too.

    Parameters
    ----------
    figures : Figures
        Masses, volumes, spread, label, balls.
    outline : str
        Name of the outline.
    width_mm, height_mm, crust_mm : float
        Width, height to the flat top, thickness of the crust [mm].
    relief_ml : float
        Volume of the relief [mL].
    roll : Roll or None
        How to roll it so that it enters the bore; None where the ball enters as it is.
    """

    figures: Figures
    outline: str
    width_mm: float
    height_mm: float
    crust_mm: float
    relief_ml: float
    roll: Roll | None


class OwnedAsk(OwnedMould):
    """A mould that one has, and what else shall be worked out for it."""

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


class ShelfAsk(Table):
    """Several moulds in a file, to be ranked for the portion."""

    moulds: str | None = given(
        None,
        "File (TOML) with one table [[mould]] each",
        min_length=1,
        main=True,
        file=FileKind.MOULDS,
    )


class Weighed(Table):
    """One piece of a trial bake."""

    raw_g: float = given(..., "Before baking", unit="g", gt=0, le=10_000, main=True)
    finished_g: float = given(
        ..., "The same piece when it is eaten", unit="g", gt=0, le=10_000, main=True
    )
    height_mm: float | None = given(
        None, "Its pressed height to the flat top; of every piece or of none", unit="mm",
        gt=0, le=400, main=True,
    )  # fmt: skip


class TrialAsk(Table):
    """A trial bake."""

    weighings: tuple[Weighed, ...] = given(
        (), "Pieces, weighed before and after", max_length=200, main=True
    )


class OnHandAsk(Table):
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
    """Tell which weights fit a mould that exists, and the plot of a press mould's window.

    Parameters
    ----------
    checkpoint : callable
        Called before each stage.
    plain : mapping
        The design.
    *asked : mapping
        An `OwnedAsk`, and what the plot says, as `plot.Wording` names it.
    """
    from moulddesign.fit import Wording, window_svg  # noqa: PLC0415 (matplotlib)

    design, given, wording = Design.of(plain), OwnedAsk.of(asked[0]), Wording(**asked[1])
    made = fit(design, given.mould, ratios=given.more_ratios, stage=lambda _: checkpoint())
    window = made.window(design)
    pressed = pressings(window, raw_g=given.pressed_g, heights_mm=given.pressed_mm)
    plot = b""
    if window is not None:
        sd_g = made.row(design).raw_g_sd
        pieces = [each.piece for each in pressed]
        plot = window_svg(made.mould.name, window, sd_g=sd_g, pieces=pieces, wording=wording)
    yield "fit", (made.report(design) | {"pressed": [each.report() for each in pressed]}, plot)


def rank_moulds(checkpoint: Checkpoint, plain: Plain, asked: Plain) -> Answer:
    """Tell which of several moulds take the portion.

    Parameters
    ----------
    checkpoint : callable
        Called before each mould.
    plain, asked : mapping
        The design, and a `ShelfAsk`.
    """
    given = ShelfAsk.of(asked)
    if given.moulds is None:
        raise SpecError("moulds", "not given", "must be given; upload a file of moulds")
    moulds = Shelf.read(given.moulds).mould
    found = ranked(Design.of(plain), moulds, lambda _: checkpoint())
    yield "shelf", [each.report() for each in found]


def evaluate_trial(_checkpoint: Checkpoint, plain: Plain, asked: Plain) -> Answer:
    """Tell what a trial bake taught, and the weights that follow.

    Parameters
    ----------
    plain, asked : mapping
        The design, and a `TrialAsk`.
    """
    design, given = Design.of(plain), TrialAsk.of(asked)
    weighings = [Weighing(**piece.model_dump()) for piece in given.weighings]
    measured = any(piece.height_mm is not None for piece in weighings)
    found = trial(design, weighings, _mould(design) if measured else None)
    designs = {"before": design, "same_mould": found.same_mould, "new_mould": found.corrected}
    yield (
        "trial",
        {
            "loss": asdict(found.loss),
            "density": None if found.density_g_per_ml is None else asdict(found.density_g_per_ml),
            "weights": {name: figures(each) for name, each in designs.items()},
            "designs": {name: each.plain() for name, each in designs.items()},
        },
    )


def total_batch(_checkpoint: Checkpoint, plain: Plain, asked: Plain) -> Answer:
    """Tell the totals of a batch.

    Parameters
    ----------
    plain, asked : mapping
        The design, and an `OnHandAsk`.
    """
    design, given = Design.of(plain), OnHandAsk.of(asked)
    recipe = None if design.batch.recipe is None else Recipe.read(design.batch.recipe)
    yield "batch", batch(design, recipe, OnHand(**given.model_dump()))


def _mould(design: Design) -> TrialMould:
    """Return the mould that the design builds, for heights that were measured."""
    volume_ml = figures(design).piece.volume_ml
    made = pastry(design, volume_ml)
    return TrialMould(volume_ml=volume_ml, height_mm=made.height_mm, area_mm2=made.outline.area_mm2)


def preview(_checkpoint: Checkpoint, plain: Mapping[str, Any]) -> Answer:
    """Tell the piece's figures, and what the view needs to draw it.

    Parameters
    ----------
    plain : mapping
        The design, as nested plain values.
    """
    design = Design.of(plain)
    shape = _shape(_of_the_piece(design))
    yield "figures", _piece(design, shape)
    yield "bodies", sent("pastry", pastry_bodies(shape))


def check(checkpoint: Checkpoint, plain: Mapping[str, Any]) -> Answer:
    """Tell what the view needs to draw the mould, and then all findings and cautions.

    Parameters
    ----------
    checkpoint : callable
        Called before each stage.
    plain : mapping
        The design.
    """
    design = Design.of(plain)
    if _built.get(design) is None:
        shape = _shape(_of_the_piece(design))
        checkpoint()
        mould = make_mould(design, shape.pastry, shape.further)
        yield "bodies", sent("mould", part_bodies(mould, shape))
        made = build(design, lambda _: checkpoint(), begun=(shape, mould))
        _built.clear()
        _built[design] = made
    else:
        made = _built[design]
        yield "bodies", sent("mould", part_bodies(made.mould, made))
    yield "findings", (made.findings, made.cautions)


def write_files(_checkpoint: Checkpoint, plain: Mapping[str, Any]) -> Answer:
    """Tell the bytes of every file of the build, by name, if nothing failed.

    Parameters
    ----------
    plain : mapping
        The design.
    """
    yield from _files(plain, publish)


def write_failing(_checkpoint: Checkpoint, plain: Mapping[str, Any]) -> Answer:
    """Tell the bytes of every file of the build in spite of findings that failed."""
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


def draw_picture(_checkpoint: Checkpoint, plain: Mapping[str, Any]) -> Answer:
    """Tell a picture of the pastry as a PNG file, for browsers that draw nothing in 3D."""
    shape = _shape(_of_the_piece(Design.of(plain)))
    with Artist({"pastry": pastry_scene(shape.pastry.mesh)}) as artist:
        yield "picture", artist.png("pastry")


_built: dict[Design, Build] = {}
"""The last build of this process, so that checking and writing do not build twice."""


@lru_cache(maxsize=8)
def _shape(design: Design) -> Shape:
    return shaped(design)


def _of_the_piece(design: Design) -> Design:
    """Return the design with usual mould and printer, but for the lean of the side.

    The piece depends on nothing else of them, so one shape serves while they are changed.
    """
    mould = design.mould
    lean = {} if isinstance(mould, PressTable) else {"side_draft_deg": mould.side_draft_deg}
    usual = {"name": "piece", "mould": type(mould).of(lean), "printer": PrinterTable()}
    return design.model_copy(update=usual)


def _piece(design: Design, shape: Shape) -> Piece:
    width_mm = shape.pastry.outline.width_mm
    return Piece(
        figures=shape.portion,
        outline=shape.pastry.outline.name,
        width_mm=width_mm,
        height_mm=shape.pastry.height_mm,
        crust_mm=shape.interior.crust_mm,
        relief_ml=ml_from_mm3(shape.pastry.relief_mm3),
        roll=roll_for(design, shape.portion.piece, width_mm),
    )


PREVIEW: Final = Job(say("page.the-piece"), preview)
CHECKS: Final = Job(say("page.the-checks"), check)
FILES: Final = Job(say("page.the-files"), write_files)
FILES_FAILING: Final = Job(say("page.the-files"), write_failing)
PICTURE: Final = Job(say("page.the-picture"), draw_picture)
FIT: Final = Job(say("page.the-fit"), fit_mould)
RANKING: Final = Job(say("page.the-ranking"), rank_moulds)
TRIAL: Final = Job(say("page.the-trial"), evaluate_trial)
BATCH: Final = Job(say("page.the-batch"), total_batch)


def prepare(folder: str, niceness: int) -> None:
    """Prepare a worker's process: all that the jobs need is loaded with this module.

    Parameters
    ----------
    folder : str
        Where uploaded artwork lies: what relative names in a design start from.
    niceness : int
        How much it gives way to other processes: 0 not at all, 19 wholly.
    """
    os.chdir(folder)
    os.nice(niceness)
