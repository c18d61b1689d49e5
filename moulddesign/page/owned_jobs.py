"""What is asked of a mould that one owns, by the way in which its size is known, and its jobs."""

from collections.abc import Mapping
from enum import StrEnum
from pathlib import Path
from types import MappingProxyType
from typing import Any, Final, Self

from pydantic import model_validator

from moulddesign.core import SpecError, say
from moulddesign.design import (
    DESIGN_FILE,
    Design,
    FileKind,
    OwnedMould,
    Register,
    RegisteredMould,
    Table,
    Tool,
    given,
    named_files,
    parse_paper,
    read_register,
)
from moulddesign.design.piece_tables import MEANT_FOR
from moulddesign.export.owned_card import owned_files
from moulddesign.fit import (
    Fit,
    Wording,
    fit,
    fit_of_own,
    fitted_design,
    nearest_remark,
    pressings,
    ranked_moulds,
    window_svg,
)
from moulddesign.fit.cavities import cavity_from_water
from moulddesign.fit.mesh_cavities import way_up
from moulddesign.fit.twin import KnownOfMould, twin_of_scan
from moulddesign.geometry.fill_volume import upright
from moulddesign.geometry.mesh_files import read_mesh
from moulddesign.kitchen import Recipe
from moulddesign.page.jobs import Answer, MadeFiles, Plain
from moulddesign.workers import Checkpoint, Job


class Way(StrEnum):
    """How one knows the size of a mould."""

    RULER = "by-ruler"
    WATER = "by-water"
    FILE = "by-file"
    VOLUME = "by-volume"


Only = tuple[tuple[str, tuple[Any, ...]], ...]
"""Fields, each with the values under which another one counts."""

BY_SIZES: Final[Only] = (("way", (Way.RULER.value, Way.WATER.value)),)
BY_HEIGHT: Final[Only] = (("way", (Way.RULER.value, Way.WATER.value, Way.VOLUME.value)),)
BY_VOLUME: Final[Only] = (("way", (Way.VOLUME.value,)),)
BY_RULER: Final[Only] = (("way", (Way.RULER.value,)),)
BY_WATER: Final[Only] = (("way", (Way.WATER.value,)),)
BY_FILE: Final[Only] = (("way", (Way.FILE.value,)),)
KNOWN: Final[Only] = (("way", tuple(way.value for way in Way)),)
PRESS: Final[Only] = (("press", (True,)),)
FILLED: Final[Only] = (("press", (False, None)),)

COUNTS: Final[Mapping[str, Only]] = MappingProxyType(
    {
        "way": (),
        "press": KNOWN,
        "name": KNOWN,
        "outline": BY_SIZES,
        "width_mm": BY_SIZES,
        "height_mm": BY_HEIGHT,
        **{key: (*BY_SIZES, ("outline", outlines)) for key, outlines in MEANT_FOR.items()},
        "water_g": BY_WATER,
        "volume_ml": BY_VOLUME,
        "area_mm2": (*BY_VOLUME, *PRESS),
        "mesh": BY_FILE,
        "stamp": (*BY_FILE, *PRESS),
        "unit": BY_FILE,
        "least_height_mm": (*KNOWN, *PRESS),
        "most_height_mm": (*KNOWN, *PRESS),
        "finished_g": (*KNOWN, *PRESS),
        "tool": BY_RULER,
        "shoulder_radius_mm": BY_SIZES,
        "draft_deg": (*BY_RULER, *FILLED),
        "highest_mm": BY_HEIGHT,
        "relief_depth_mm": BY_SIZES,
        "relief_cover": BY_RULER,
        "sense": BY_RULER,
        "at_c": BY_WATER,
        "empty_g": BY_WATER,
        "up": BY_FILE,
        "mend": BY_FILE,
        "print_error_mm": BY_FILE,
        "bore_length_mm": (*BY_SIZES, *PRESS),
        "guide_mm": (*BY_SIZES, *PRESS),
        "ratios": KNOWN,
        "pressed_g": (*KNOWN, *PRESS),
        "pressed_mm": (*KNOWN, *PRESS),
        "volume_sd_ml": BY_VOLUME,
        "id": KNOWN,
        "kind": KNOWN,
        "state": KNOWN,
        "marks": KNOWN,
        "picture": KNOWN,
        "material": KNOWN,
        "cavities": KNOWN,
        "copies": KNOWN,
        "printed_on": KNOWN,
        "pressed": KNOWN,
        "washed_on": KNOWN,
        "inspected_on": KNOWN,
        "design": KNOWN,
    }
)
"""Every field in the order in which it is asked for, and when it counts."""

ASKED_AT_ONCE: Final = frozenset(
    {
        "way", "press", "name", "outline", "width_mm", "height_mm", "corner_radius_mm", "lobes",
        "lobe_depth_mm", "water_g", "mesh", "stamp", "unit", "most_height_mm", "finished_g",
        "volume_ml", "area_mm2",
    }
)  # fmt: skip
"""The others are among the advanced fields."""


class FitRequest(RegisteredMould):
    """A mould that one owns, and what else is calculated for it."""

    way: Way | None = given(None, "Choose one; only what it needs is asked for", main=True)
    press: bool = given(
        default=False,
        says="A sleeve over the piece and a stamp in it, which press to any height",
        main=True,
    )
    finished_g: float | None = given(
        None, "Of the piece that is pressed with it; that of the design where it is left out",
        unit="g", gt=0, le=10_000, main=True,
    )  # fmt: skip
    ratios: str = given("", "More ratios for the table, such as 1:9; 35:65", max_length=200)
    pressed_g: tuple[float, ...] = given(
        (), "Raw weights whose pressed height is asked for", unit="g", max_length=20
    )
    pressed_mm: tuple[float, ...] = given(
        (), "Pressed heights whose raw weight is asked for", unit="mm", max_length=20
    )

    @model_validator(mode="after")
    def _is_known(self) -> Self:
        """Let a form be filled in bit by bit: `of` asks for what its way needs, at that field."""
        return self

    @classmethod
    def of(cls, values: Mapping[str, Any]) -> Self:
        """Return the request; refuse one that leaves open how large the mould is, at its field."""
        way = values.get("way")
        if way is None:
            raise SpecError("way", "not given", say("page.way-not-given"))
        needed = {
            Way.RULER.value: ("width_mm", "most_height_mm" if values.get("press") else "height_mm"),
            Way.WATER.value: ("water_g", *(PRESS_BY_WATER if values.get("press") else ())),
            Way.FILE.value: ("mesh",),
            Way.VOLUME.value: ("volume_ml",),
        }
        for field in needed[way]:
            if values.get(field) in (None, "", [], ()):
                raise SpecError(field, "not given", say("page.size-not-given"))
        if way == Way.FILE and values.get("press") and not values.get("stamp"):
            raise SpecError("stamp", "not given", say("page.sleeve-without-stamp"))
        return super().of(values)

    @property
    def mould(self) -> RegisteredMould:
        """The mould alone."""
        own = RegisteredMould.model_fields
        return RegisteredMould.of({key: value for key, value in self if key in own})

    @property
    def more_ratios(self) -> tuple[str, ...]:
        """The ratios that were named."""
        return tuple(self.ratios.replace(";", " ").replace(",", " ").split())


PRESS_BY_WATER: Final = ("width_mm", "height_mm", "most_height_mm")


def what_counts(tree: Mapping[str, Any]) -> dict[str, Any]:
    """Return of all that was typed what counts for the way in which the mould is known.

    Examples
    --------
    >>> what_counts({"way": "by-water", "water_g": [61.0], "mesh": "own-1.stl", "lobes": 8})
    {'way': 'by-water', 'water_g': [61.0]}
    """
    usual = {"outline": "round"} | dict(tree)
    return {
        key: tree[key]
        for key, only in COUNTS.items()
        if key in tree and all(usual.get(name) in allowed for name, allowed in only)
    }


def way_of(mould: Mapping[str, Any]) -> dict[str, Any]:
    """Return the values of a mould as the form holds them: with how its size is known.

    Examples
    --------
    >>> way_of({"width_mm": 60.0, "most_height_mm": 40.0})["way"]
    'by-ruler'
    """
    keys = {"mesh": Way.FILE, "water_g": Way.WATER, "volume_ml": Way.VOLUME}
    way = next((way for key, way in keys.items() if key in mould), Way.RULER)
    return dict(mould) | {"way": way.value, "press": RegisteredMould.of(mould).is_press}


class RankingRequest(Table):
    """Several moulds in a file, to be ranked for the portion."""

    moulds: str | None = given(
        None,
        "File of other moulds (TOML), one table [[mould]] each",
        min_length=1,
        main=True,
        file=FileKind.MOULDS,
    )


def _fitted(design: Design, given: FitRequest, checkpoint: Checkpoint) -> Fit:
    try:
        return fit(design, given.mould, ratios=given.more_ratios, stage=lambda _: checkpoint())
    except SpecError as error:
        if error.need.id == "fit.holds-nothing" and not given.press:
            raise SpecError("mesh", str(given.mesh), say("page.hollow-or-sleeve")) from error
        raise


def fit_mould(checkpoint: Checkpoint, plain: Plain, *asked: Plain) -> Answer:
    """Yield which weights fit a mould that exists, and the plot of a press mould's window."""
    design, given, wording = Design.of(plain), FitRequest.of(asked[0]), Wording(**asked[1])
    made = _fitted(design, given, checkpoint)
    window = made.own_window(design)
    pressed = pressings(window, raw_g=given.pressed_g, heights_mm=given.pressed_mm)
    plot = b""
    if window is not None:
        sd_g = made.own_piece(design).raw_g_sd
        pieces = [each.piece for each in pressed]
        plot = window_svg(made.mould.name, window, sd_g=sd_g, pieces=pieces, wording=wording)
    report = made.report(design) | {"pressed": [each.report() for each in pressed]}
    yield "fit", (report | {"own_ratio": design.portion.ratio}, plot)


def take_row(checkpoint: Checkpoint, plain: Plain, asked: Plain, row: Plain | None) -> Answer:
    """Yield the design of the piece that fits a mould in a row's ratio, then its card's files.

    Without a row it is the recommended one.
    """
    design, given = Design.of(plain), FitRequest.of(asked)
    if row is None:
        row = _recommended_row(design, _fitted(design, given, checkpoint))
    centres: dict[str, Any] = {} if row["with_centre"] else {"portion.centres": []}
    of_row = design.with_values({"portion.ratio": row["ratio"]} | centres)
    made = _fitted(of_row, given, checkpoint)
    finished_g = None
    if made.own_window(of_row) is not None:
        asked_g, own_g = given.finished_g, design.portion.finished_weight_g
        finished_g = own_g if asked_g is None else asked_g
    found = fitted_design(of_row, made, finished_g).with_values({"name": made.mould.name})
    yield "design", found.plain()
    yield "files", _card_files(found, made)


def _recommended_row(design: Design, made: Fit) -> dict[str, Any]:
    best = made.recommended(design)
    if best is None or made.own_window(design) is not None:
        best = made.own_piece(design)
    return {"ratio": best.ratio, "with_centre": best.has_centres}


def make_card(checkpoint: Checkpoint, plain: Plain) -> MadeFiles:
    """Yield the files of the bench card of a piece whose mould exists."""
    design = Design.of(plain)
    yield _card_files(design, fit_of_own(design, lambda _: checkpoint())), ()


def _card_files(design: Design, made: Fit | None) -> dict[str, bytes]:
    recipe = None if design.batch.recipe is None else Recipe.read(design.batch.recipe)
    card = owned_files(design, made, recipe, parse_paper("a4"))
    return {DESIGN_FILE: design.toml().encode()} | card


class TwinRequest(Table):
    """The scan of an old mould, and what is known of it besides."""

    scan: str = given(..., "3D scan of the mould or of its stamp", file=FileKind.MESH, main=True)
    known_width_mm: float = given(
        ..., "Measured: the least of the mouth, or of a stamp at its face", unit="mm", gt=0, le=300,
        main=True,
    )  # fmt: skip
    piece_height_mm: float | None = given(
        None, "For the scan of a stamp, which has no walls: table to the flat top of the piece",
        unit="mm", gt=0, le=200, main=True,
    )  # fmt: skip
    water_g: tuple[float, ...] = given(
        (), "Water that fills the mould; its weight counts instead of the scan's sizes", unit="g",
        max_length=100,
    )  # fmt: skip
    up: str = given("+z", "Which way the mould's mouth looks in the file")


def make_twin(_checkpoint: Checkpoint, plain: Plain, asked: Plain) -> Answer:
    """Yield an old mould's twin: its design, the files that this names, and what was done."""
    design, given = Design.of(plain), TwinRequest.of(asked)
    water = OwnedMould.of({"water_g": given.water_g}) if given.water_g else None
    known = KnownOfMould(
        name="twin",
        design=design,
        width_mm=given.known_width_mm,
        height_mm=given.piece_height_mm,
        water=None if water is None else cavity_from_water(water, design),
        tool=Tool.RULER,
    )
    made = twin_of_scan(upright(read_mesh(Path(given.scan)), way_up(given.up)), known)
    named = {name for _, _, name in named_files(made.design.plain(), Design)}
    files = {name: content for name, content in made.files.items() if name in named}
    yield "twin", (made.design.plain(), files, made.says)


def rank_moulds(checkpoint: Checkpoint, plain: Plain, asked: Plain) -> Answer:
    """Yield which of several moulds take the portion."""
    given = RankingRequest.of(asked)
    moulds = read_register() if given.moulds is None else Register.read(given.moulds).mould
    if not moulds:
        raise SpecError("moulds", "not given", say("page.moulds-not-given"))
    found = ranked_moulds(Design.of(plain), moulds, lambda _: checkpoint())
    yield "shelf", {"ranked": [each.report() for each in found], "nearest": nearest_remark(found)}


FIT: Final = Job(say("page.the-fit"), fit_mould)
TAKE: Final = Job(say("page.the-fit"), take_row)
CARD: Final = Job(say("page.the-card"), make_card)
TWIN: Final = Job(say("page.the-fit"), make_twin)
RANKING: Final = Job(say("page.the-ranking"), rank_moulds)
