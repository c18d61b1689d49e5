"""What each task asks, and the jobs that a worker does."""

import os
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from functools import lru_cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final

import shapely

from moulddesign.building import Build, Shape, build, coarse_shape, inlays, mould_of, shaped
from moulddesign.core import Message, MouldError, ml_from_mm3, mm3_from_ml, say, word
from moulddesign.design import (
    USUAL_FORMATS,
    BlockTable,
    CastTable,
    Design,
    Format,
    MouldState,
    Paper,
    PrinterTable,
    Table,
    find_mould,
    given,
    read_register,
)
from moulddesign.design.dough_book import LONGEST_DOUGH
from moulddesign.export import BuildFiles, ExportOptions, publish, publish_failing
from moulddesign.export.build_files import Makers
from moulddesign.export.formats import StepFile
from moulddesign.export.height_maps import has_relief
from moulddesign.export.label_sheet import smallest_sheet
from moulddesign.export.pictures import pastry_scene
from moulddesign.export.press_steps import PressStep
from moulddesign.fit import design_in
from moulddesign.geometry import Points, forget_bodies
from moulddesign.kitchen import Recipe
from moulddesign.kitchen.batch import Batch, OnHand, batch
from moulddesign.kitchen.food_label import food_label
from moulddesign.kitchen.ingredient_list import Law
from moulddesign.kitchen.joint_batch import BatchOrder, JointBatch, joint_batch, mark_remarks
from moulddesign.kitchen.pooling import measured_in, today
from moulddesign.kitchen.trial import WeighedPiece, Weighing, trial
from moulddesign.mould import MouldSet
from moulddesign.page.face_entries import face_to_tap
from moulddesign.page.view_bodies import (
    ViewBody,
    cut_at,
    cut_sizes,
    encode_bodies,
    finer_light,
    movable_layers,
    part_bodies,
    pastry_bodies,
)
from moulddesign.pastry.pastry import trial_mould
from moulddesign.pastry.resizing import PastrySize, resized
from moulddesign.portion import Figures, Roll, figures, roll_for
from moulddesign.relief.carved_surface import CarvedSurface, SurfaceMaker, carved_surface
from moulddesign.relief.field import Field, FieldValues
from moulddesign.relief.roof import ReliefRegion
from moulddesign.render import picture_png
from moulddesign.workers import Checkpoint, Job, resident_mb, trim_heap


@dataclass(frozen=True, slots=True, kw_only=True)
class PieceFigures:
    """The figures of one piece, with those that depend on its shape."""

    figures: Figures
    outline: str
    size: PastrySize
    highest_mm: float | None
    """To the highest point of a carved face; None where the top is flat [mm]."""
    crust_mm: float | None
    eaten: Mapping[str, tuple[float, float]]
    """Width, height and depth of the relief when it is eaten, as far as the dough's are known, each
    with its spread [mm]."""
    roll: Roll | None
    """How to roll it so that it enters the bore; None where the ball enters as it is."""
    inlays: tuple[Message, ...]
    """Coloured doughs that are pressed into the engraving first."""
    rounding: Message | None
    """What rounding to the scale does to its height."""

    @property
    def width_mm(self) -> float:
        """Width of the outline [mm]."""
        return self.size.width_mm

    @property
    def height_mm(self) -> float:
        """Height to the flat top, or to the ground of a carved face [mm]."""
        return self.size.height_mm

    @property
    def relief_ml(self) -> float:
        """Volume of the relief above the flat top, less what is sunk below it [mL]."""
        return ml_from_mm3(self.size.relief_mm3)


class TrialRequest(Table):
    """A trial bake."""

    weighings: tuple[WeighedPiece, ...] = given(
        (), "Pieces, weighed before and after", max_length=200, main=True
    )
    remember_as: str | None = given(
        None, "Dough of the dough book that this trial is of", min_length=1,
        max_length=LONGEST_DOUGH, main=True,
    )  # fmt: skip


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


def evaluate_trial(_checkpoint: Checkpoint, plain: Plain, asked: Plain) -> Answer:
    """Yield what a trial bake taught, and the weights that follow."""
    design, given = Design.of(plain), TrialRequest.of(asked)
    weighings = [Weighing(**piece.model_dump()) for piece in given.weighings]
    measured = any(piece.needs_mould for piece in weighings)
    found = trial(design, weighings, trial_mould(design) if measured else None)
    designs = {"before": design, "same_mould": found.same_mould, "new_mould": found.corrected}
    yield (
        "trial",
        {
            "loss": asdict(found.loss),
            "density": None if found.density_g_per_ml is None else asdict(found.density_g_per_ml),
            "springback": None if found.springback_mm is None else asdict(found.springback_mm),
            **{
                name: None if (each := getattr(found, name)) is None else asdict(each)
                for name in ("width_ratio", "height_ratio", "relief_ratio")
            },
            "measured": [each.plain() for each in measured_in(found, today())],
            "pressed_mm": found.pressed_mm,
            "remarks": found.remarks,
            "weights": {name: figures(each) for name, each in designs.items()},
            "designs": {name: each.plain() for name, each in designs.items()},
        },
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchAnswer:
    """A batch of one design, or of one design in several moulds at once."""

    made: Batch | JointBatch
    orders: tuple[BatchOrder, ...]
    remarks: tuple[Message, ...]
    """What speaks against a mould: it is not in use, or kept for another dough."""

    @property
    def pieces(self) -> Mapping[str, int]:
        """How many pieces each mould of the register presses, by its id."""
        return {
            str(order.design.own_mould.id): each.pieces
            for order, each in zip(self.orders, batches_of(self.made), strict=True)
            if order.design.own_mould is not None and order.design.own_mould.id is not None
        }


def batches_of(made: Batch | JointBatch) -> tuple[Batch, ...]:
    """Return the batch of each design."""
    return (made,) if isinstance(made, Batch) else tuple(each for _, each in made.batches)


def total_batch(_checkpoint: Checkpoint, plain: Plain, asked: Plain, ids: Sequence[str]) -> Answer:
    """Yield the totals of a batch, in the moulds of some ids, or in the design's own."""
    design, given = Design.of(plain), BatchRequest.of(asked)
    recipe = None if design.batch.recipe is None else Recipe.read(design.batch.recipe)
    on_hand = OnHand(**given.model_dump())
    if ids and on_hand.is_given:  # it decides how many there are
        design = design.with_values({"batch.pieces": None})
    known = read_register() if ids else ()
    moulds = [find_mould(known, each) for each in ids]
    designs = [design_in(design, mould) for mould in moulds] or [design]
    orders = tuple(BatchOrder(design=each, recipe=recipe) for each in designs)
    several = len(orders) > 1
    made = joint_batch(orders, on_hand) if several else batch(designs[0], recipe, on_hand)
    remarks = [
        say("kitchen.mould-not-in-use", mould=mould.name, state=word(mould.state.value))
        for mould in moulds
        if mould.state is not MouldState.IN_USE
    ]
    for each, one in zip(designs, batches_of(made), strict=True):
        remarks += mark_remarks(each, one.allergens, known=recipe is not None)
    yield "batch", BatchAnswer(made=made, orders=orders, remarks=tuple(remarks))


def typeset_labels(_checkpoint: Checkpoint, plain: Plain, recipe: Plain, law: str) -> Answer:
    """Yield a sheet of labels for the packs of a design, by its recipe."""
    design = Design.of(plain)
    made = food_label(design, Recipe.of(recipe), Law(law))
    yield "labels", smallest_sheet(design, made, Paper.A4)


def coarse_preview(_checkpoint: Checkpoint, plain: Mapping[str, Any]) -> Answer:
    """Yield what `preview` does with a coarse face, which takes some tenths of a second.

    Nothing where the true face is known already.
    """
    design = Design.of(plain)
    if _without_mould(design) not in _shapes:
        shape = coarse_shape(design)
        yield "figures", _figures(design, shape)
        yield "coarse", _encoded_piece(design, "coarse", shape, pastry_bodies(shape))


def preview(checkpoint: Checkpoint, plain: Mapping[str, Any]) -> Answer:
    """Yield the piece's figures, and what the view needs to draw it."""
    design = Design.of(plain)
    piece = _without_mould(design)
    shape = _cached_shape(piece, checkpoint)
    yield "figures", _figures(design, shape)
    yield "pastry", _encoded_piece(design, "pastry", shape, _cached_bodies(piece))


def _encoded_piece(design: Design, stage: str, shape: Shape, bodies: tuple[ViewBody, ...]) -> bytes:
    """Return bodies of a piece with its sizes, and what of it can be moved or tapped."""
    more = {"sizes": cut_sizes(shape), "face": face_to_tap(design, shape)}
    return encode_bodies(stage, bodies, **movable_layers(design, shape), **more)


def check_design(checkpoint: Checkpoint, plain: Mapping[str, Any]) -> Answer:
    """Yield finer light on the piece and the mould for the view, then all findings and cautions."""
    design = Design.of(plain)
    _cached_shape(_without_mould(design), checkpoint)
    yield "light", _cached_light(_without_mould(design))
    checkpoint()
    if design.own_mould is not None:
        return
    yield "mould", _cached_mould_view(design)
    files = _built_before(design)
    if files is None:
        begun = _cached_shape(_without_mould(design)), _cached_mould(design)
        files = _kept(design, build(design, lambda _: checkpoint(), begun=begun))
    yield "findings", (files.build.findings, files.build.cautions)


def cut_piece(_checkpoint: Checkpoint, plain: Plain, at_mm: float, with_parts: bool) -> Answer:  # noqa: FBT001 (sent as it is)
    """Yield the faces of the piece cut at y = `at_mm` [mm], and of the mould around it if asked."""
    design = Design.of(plain)
    parts = _cached_parts(design) if with_parts else ()
    yield "cut", cut_at((*_cached_bodies(_without_mould(design)), *parts), at_mm)


MOST_BUILDS: Final = 3
"""Designs whose build and pictures are kept: what is undone or loaded again is there at once."""


@lru_cache(maxsize=MOST_BUILDS)
def _cached_bodies(design: Design) -> tuple[ViewBody, ...]:
    return pastry_bodies(_cached_shape(design))


@lru_cache(maxsize=MOST_BUILDS)
def _cached_light(design: Design) -> bytes:
    return finer_light(_cached_bodies(design))


@lru_cache(maxsize=1)
def _cached_parts(design: Design) -> tuple[ViewBody, ...]:
    return part_bodies(_cached_mould(design), _cached_shape(_without_mould(design)))


@lru_cache(maxsize=1)
def _cached_mould(design: Design) -> MouldSet[Any]:
    return mould_of(design, _cached_shape(_without_mould(design)))


@lru_cache(maxsize=MOST_BUILDS)
def _cached_mould_view(design: Design) -> bytes:
    return encode_bodies("mould", _cached_parts(design))


StepFiles = Mapping[str, StepFile]
MadeFiles = Iterator[tuple[dict[str, bytes], tuple[PressStep, ...]]]
"""What making files yields once: their bytes by name, and the steps of the work with a press."""


def step_makers(_checkpoint: Checkpoint, plain: Plain) -> Iterator[Makers]:
    """Yield what makes those STEP files of a design that this process has not got yet."""
    files = _files_of(Design.of(plain))
    yield files.exact_makers


def make_steps(checkpoint: Checkpoint, makers: Makers) -> Iterator[StepFiles]:
    """Yield STEP files by name: for a process that ends with them, the CAD kernel with it."""
    made: dict[str, Any] = {}
    for name, make in makers.items():
        checkpoint()
        made[name] = make()
    yield made


def prepare_files(checkpoint: Checkpoint, plain: Plain, steps: StepFiles) -> MadeFiles:
    """Yield the files of a design that was checked, ahead, as `write_files` does."""
    yield from _files(plain, steps, publish, checkpoint)


def write_files(_checkpoint: Checkpoint, plain: Plain, steps: StepFiles) -> MadeFiles:
    """Yield the bytes of every file of the build, by name, and the steps, if nothing failed."""
    yield from _files(plain, steps, publish)


def write_failing(_checkpoint: Checkpoint, plain: Plain, steps: StepFiles) -> MadeFiles:
    """Yield the same in spite of findings that failed."""
    yield from _files(plain, steps, publish_failing)


def _files(
    plain: Plain,
    steps: StepFiles,
    write: Callable[..., Build],
    checkpoint: Checkpoint = lambda: None,
) -> MadeFiles:
    made = _files_of(Design.of(plain))
    made.keep_exact(steps)
    for name in made.names:
        checkpoint()
        made.file(name)
    with TemporaryDirectory(prefix="moulddesign-") as folder:
        target = Path(folder) / "set"
        write(made.build, target, files=made)
        files = {path.name: path.read_bytes() for path in sorted(target.iterdir())}
    yield files, made.steps


def draw_picture(_checkpoint: Checkpoint, plain: Mapping[str, Any]) -> Answer:
    """Yield a picture of the pastry as a PNG file, for browsers that draw nothing in 3D."""
    shape = _cached_shape(_without_mould(Design.of(plain)))
    yield "picture", picture_png(pastry_scene(shape.pastry.mesh))


_built: dict[Design, BuildFiles] = {}
"""The last builds of this process, with what was made of their files; the last used is the last."""


def _built_before(design: Design) -> BuildFiles | None:
    files = _built.pop(design, None)
    return None if files is None else _built.setdefault(design, files)


def _files_of(design: Design) -> BuildFiles:
    return _built_before(design) or _kept(design, build(design))


def _kept(design: Design, made: Build) -> BuildFiles:
    """Return the files of a build; the one that was not used for longest is given up."""
    _make_room(_built, MOST_BUILDS)
    # A plain top has no heights to show.
    maps = (Format.HEIGHTMAP,) if has_relief(made) else ()
    options = ExportOptions(formats=(*USUAL_FORMATS, *maps))
    return _built.setdefault(design, BuildFiles(made, options))


MOST_SHAPES: Final = 8
_shapes: dict[Design, Shape] = {}
"""The last pieces of this process; the last used is the last."""


def _cached_shape(design: Design, checkpoint: Checkpoint = lambda: None) -> Shape:
    made = _shapes.pop(design, None)
    if made is None:
        _make_room(_shapes, MOST_SHAPES)
        made = shaped(design, surface_of=_stoppable(checkpoint))
    return _shapes.setdefault(design, made)


MOST_KEPT_MB: Final = 200.0
"""A process that holds more keeps nothing of other designs: two of them, the server and the CAD
kernel's 330 stay under 900. One that has just begun takes 120 [MB]."""


def _make_room(kept: dict[Design, Any], most: int) -> None:
    """Give up what was not used for longest; all that is kept, where this process holds much."""
    forget_bodies()  # up to 10 MB each under a carved face, and no other design asks for them
    for oldest in list(kept)[: 1 - most]:
        del kept[oldest]
    if resident_mb(os.getpid()) > MOST_KEPT_MB:
        trim_heap()  # of what is freed already, much may lie between
        if resident_mb(os.getpid()) > MOST_KEPT_MB:
            kept.clear()
            for cached in (_cached_bodies, _cached_light, _cached_mould_view):
                cached.cache_clear()


def _stoppable(checkpoint: Checkpoint) -> SurfaceMaker:
    """Return what makes a true surface, with a checkpoint wherever it asks for heights.

    A true face takes seconds, and asks some hundred times.
    """

    def surface(
        outline: shapely.Polygon,
        field: Field,
        regions: Sequence[ReliefRegion],
        *,
        inset_mm: float,
        draft_deg: float,
    ) -> CarvedSurface:
        def asked(points: Points) -> FieldValues:
            checkpoint()
            return field(points)

        return carved_surface(outline, asked, regions, inset_mm=inset_mm, draft_deg=draft_deg)

    return surface


def _without_mould(design: Design) -> Design:
    """Return the design with default mould, printer and batch, but for draft of side and layers.

    The piece depends on nothing else of them, so one shape serves while they are changed.
    """
    usual = Design()
    mould, layers = design.mould, {"layer_height_mm": design.printer.layer_height_mm}
    draft = {}
    if isinstance(mould, BlockTable | CastTable):
        draft = {"side_draft_deg": mould.side_draft_deg}
    default = {"name": "piece", "mould": type(mould).of(draft), "printer": PrinterTable.of(layers)}
    rest: dict[str, Any] = {"batch": usual.batch, "bake_day": usual.bake_day, "price": usual.price}
    rest |= {"from_workshop": ()}
    return design.model_copy(update=default | rest)


def _figures(design: Design, shape: Shape) -> PieceFigures:
    width_mm = shape.pastry.outline.width_mm
    return PieceFigures(
        figures=shape.portion,
        outline=shape.pastry.outline.name,
        size=PastrySize(
            width_mm=width_mm,
            height_mm=shape.pastry.height_mm,
            area_mm2=shape.pastry.outline.area_mm2,
            volume_mm3=mm3_from_ml(shape.portion.piece.volume_ml),
            relief_mm3=shape.pastry.relief_mm3,
        ),
        highest_mm=None if shape.pastry.carved is None else shape.pastry.highest_mm,
        crust_mm=shape.interior.crust_mm if shape.interior.is_filled else None,
        eaten=design.dough.as_eaten(
            width_mm=width_mm,
            height_mm=shape.pastry.height_mm,
            relief_mm=design.relief.depth_mm if design.relief.layers else None,
        ),
        roll=roll_for(design, shape.portion.piece, width_mm),
        inlays=tuple(one.said for one in inlays(shape.pastry, shape.portion)),
        rounding=shape.portion.rounding(design.mould.kind, shape.pastry.outline.area_mm2),
    )


def resized_piece(piece: PieceFigures, of: Design, design: Design) -> PieceFigures | None:
    """Return a piece of one design in the size of another one, near enough to show it meanwhile.

    None where the designs differ in more than what is weighed, and how large pictures are.
    """
    if _without_portion(of) != _without_portion(design):
        return None
    try:
        weights = figures(design)
        size = resized(piece.size, design, weights.piece.volume_ml)
    except MouldError:  # the true piece says what is wrong
        return None
    higher_mm = size.height_mm - piece.height_mm
    highest_mm = None if piece.highest_mm is None else piece.highest_mm + higher_mm
    return replace(piece, figures=weights, size=size, highest_mm=highest_mm)


def _without_portion(design: Design) -> Design:
    piece = _without_mould(design)
    layers = tuple(layer.model_copy(update={"size_mm": None}) for layer in piece.relief.layers)
    relief = piece.relief.model_copy(update={"layers": layers})
    return piece.model_copy(update={"portion": Design().portion, "relief": relief})


COARSE_PREVIEW: Final = Job(say("page.the-piece"), coarse_preview)
PREVIEW: Final = Job(say("page.the-piece"), preview)
CHECKS: Final = Job(say("page.the-checks"), check_design)
PREPARING: Final = Job(say("page.the-files"), prepare_files)
STEP_MAKERS: Final = Job(say("page.the-files"), step_makers)
STEPS: Final = Job(say("page.the-files"), make_steps)
FILES: Final = Job(say("page.the-files"), write_files)
FILES_FAILING: Final = Job(say("page.the-files"), write_failing)
CUT: Final = Job(say("page.the-picture"), cut_piece)
PICTURE: Final = Job(say("page.the-picture"), draw_picture)
TRIAL: Final = Job(say("page.the-trial"), evaluate_trial)
LABEL_SHEET: Final = Job(say("page.the-labels"), typeset_labels)
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
